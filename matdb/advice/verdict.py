"""Verdicts, reasons and cures in plain words."""

from __future__ import annotations

import math

import numpy as np

from matdb.advice.judgement import Judgement
from matdb.advice.requirement import SERVICE_K, VERDICTS, Requirement, gives_way
from matdb.curve.curve import FAMILY_PRIOR
from matdb.material.record import service_range
from matdb.mounting.directions import MOTIONS, TURNS


def verdict(probability: float, all_directions: bool = True, contradicted: bool = False) -> str:
    """The word for a probability; judged up and down only, no part is better than the second.

    Where what was read contradicts the label, one of both is wrong, and the part is open at best.
    """
    words = VERDICTS[2:] if contradicted else VERDICTS if all_directions else VERDICTS[1:]
    return next(word for least, word in words if probability >= least)


def sags(sag_mm: float, height_mm: float) -> str:
    """How far a part gives way, in plain numbers; beyond its height no number means anything."""
    if sag_mm > height_mm:
        return "sags more than its height"
    return f"sags {float(f'{sag_mm:.2g}'):g} mm"


def reason(found: Judgement, package: str = "", *, timed: bool = False) -> str:
    """What decides, in one sentence without a full stop.

    Parameters
    ----------
    found : Judgement
        The part at its squeeze.
    package : str
        The camera package that is judged; may be empty.
    timed : bool
        Say when it is first as cold or warm as where that decides.
    """
    decides, judge = found.deciding, found.judge
    when = judge.exposed.when(found.index, judge.step(decides.temperature_c)) if timed else ""
    place = f"at {decides.temperature_c:.3g} degC" + (f" ({when})" if when else "")
    place += f" with {package}" if package else ""
    if decides.probability >= VERDICTS[0][0]:
        told = _measured(found, decides) if decides.name in MOTIONS else _pressed(found, decides)
        what = f"{decides.name}: {told}" if told else decides.name
        return f"holds throughout, nearest to its limit in {what} {place}"
    unsure = ", as far as the label tells" if found.judge.curve.basis == FAMILY_PRIOR else ""
    if found.judge.curve.contradicted:
        unsure = ", as far as the label tells, which what was read contradicts"
    return f"{_fails(found, decides)} {place}{unsure}"


def _fails(found: Judgement, decides: Requirement) -> str:
    """How a requirement fails, or may fail, in a builder's words."""
    judge, payload = found.judge, found.judge.payload
    may, s = ("may ", "") if decides.probability >= 0.5 else ("", "s")
    low, high = judge.mounting.load_factors
    if decides.name in MOTIONS:
        side = f"{'may be too' if may else 'too'} {'stiff' if decides.stiff else 'soft'}"
        where = f" in {decides.name}" if found.all_directions else ""
        return f"{side}{where}: {_measured(found, decides)}"
    if decides.name == "lift-off":
        step = int(np.argmin(np.abs(judge.exposed.steps - decides.temperature_c)))
        if found.lifted(step, payload.heavy.mass_kg) > 0.5:
            return (
                "a half has lifted off at rest already: one half alone carries the camera and it rattles; turn further"
            )
        return f"a half {may}lift{s} off between load factors {low:g} and {high:g}: too little squeeze"
    if decides.name == "service":
        ends = service_range(found.candidate.material)
        outside = max(-SERVICE_K * decides.margin, 0.0)
        return f"flown {outside:.3g} K outside the material's service range of {ends[0]:g} to {ends[1]:g} degC"
    if decides.name == "strain":
        return f"{may or 'is '}{'be ' if may else ''}{_pressed(found, decides)}"
    (word, *more), when, why = stops(found, decides)
    return f"{may}{' '.join((word + s, *more))} {when}: {why}"


def stops(found: Judgement, asked: Requirement) -> tuple[list[str], str, str]:
    """How a part ends its way, travel or buckling: the words of what it does, when it does so, and why."""
    judge, form = found.judge, found.candidate.part.form
    load = f"at load factor {judge.mounting.load_factor:g}"
    if asked.name == "buckling":
        squeeze = found.squeeze_mm * form.bearing_height_mm / (form.squeezable_height_mm or 1.0)
        left = max(form.buckling_share * form.bearing_height_mm - squeeze, 0.0)
        sag = left / max(1.0 + asked.margin, 0.01)
        beside = f" mm beside {squeeze:.2g} mm of squeeze" if squeeze else " mm"
        return [form.gives_way[0]], load, gives_way(form, f"{float(f'{sag:.2g}'):g}{beside}")
    needs = f"it needs {1.0 / max(1.0 + asked.margin, 0.01):.2g} times the travel that it has"
    leans = any(leaning for name, _, leaning in judge.travel(form, found.squeeze_mm, found.ratio) if name == "travel")
    when = "leaning aside under the camera's own weight" if leans else load
    return ["bottom", "out"], when, needs if asked.margin > -0.95 else "it cannot carry that"


def stopped(found: Judgement, asked: Requirement) -> str:
    """The same as a warning, with what helps against buckling."""
    (word, *more), when, why = stops(found, asked)
    if asked.name == "buckling":
        return f"{word}s: {when} {why}; take {found.candidate.part.form.gives_way[2]}"
    return f"{' '.join((word + 's', *more))}: {when} it needs more travel than it has"


def _pressed(found: Judgement, decides: Requirement) -> str:
    """How far strain goes of what is allowed; nothing of other requirements."""
    if decides.name != "strain":
        return ""
    bears = f"the {100 * found.judge.mounting.strain_most:g} % of its height that it bears"
    if decides.margin <= -0.95:
        return f"pressed far past {bears}"
    share = f"{100.0 / (1.0 + decides.margin):.0f} %"
    may = VERDICTS[0][0] > decides.probability >= 0.5
    return f"pressed past {bears}, likely to {share} of that" if may else f"pressed to {share} of {bears}"


def _measured(found: Judgement, decides: Requirement) -> str:
    """A motion against its limit, median draw at its worst temperature, and in pixels where those are known."""
    judge, name, at_c = found.judge, decides.name, decides.temperature_c
    isolation, follow = judge.mounting.ratios
    if not found.all_directions:
        step = judge.step(at_c)
        mass = (judge.payload.light if decides.stiff else judge.payload.heavy).mass_kg
        ln_w = found.ln_stiffness(step, mass)[:, None] + math.log(1e3 / mass)
        natural = judge.window.natural(ln_w, np.array([step]), [found.softening])[0]
        middle, end = (float(np.quantile(natural, place)) for place in (0.5, _end(decides)))
        if decides.stiff:
            most, rotor = judge.payload.high_hz, judge.mounting.lowest_rotor_hz
            far = _far(decides, f"{end:.3g} Hz", middle <= most < end)
            return f"{middle:.3g} Hz{far}, and {most:.3g} Hz at most isolate from {rotor:.3g} Hz"
        least = judge.payload.low_hz
        far = _far(decides, f"{end:.3g} Hz", end < least <= middle)
        return f"{middle:.3g} Hz{far}, and {least:.3g} Hz that follow {judge.mounting.manoeuvre_hz:.3g} Hz"
    isolates = decides.stiff or name not in TURNS
    share, most = (judge.through, isolation) if isolates else (judge.missed, follow)
    most = 1.0 / (most**2 - 1.0)
    middle, at = share(found, name, at_c)
    end = share(found, name, at_c, _end(decides))[0] if middle <= most else 0.0
    far = _far(decides, f"{end:.2g}", end > most)
    limit = f"at {at:.3g} Hz{far} ({most:.2g} allowed){'; ' if decides.pixels is not None else ''}{in_pixels(decides)}"
    times = "times" if middle > 1.0 else "of"
    if not isolates:
        return f"misses {middle:.2g} {times} the airframe's {name} {limit}"
    if name in TURNS:
        return f"lets {middle:.2g} {times} the airframe's {name} through {limit}"
    return f"the airframe's {name} motion turns the camera by {middle:.2g} of it {limit}"


def _end(decides: Requirement) -> float:
    """Where among the draws, from the softest to the stiffest, the end lies that a motion fails at first."""
    return VERDICTS[0][0] if decides.stiff or decides.name not in TURNS else 1.0 - VERDICTS[0][0]


def _far(decides: Requirement, end: str, only_there: bool) -> str:
    """What is there at that end, of a motion that may fail only there."""
    if not only_there or decides.probability >= VERDICTS[0][0]:
        return ""
    return f", at the {'stiff' if decides.stiff else 'soft'} end of what is known {end}"


def in_pixels(decides: Requirement) -> str:
    """What a motion does to the picture; empty where that is not known."""
    if decides.pixels is None:
        return ""
    return f"as measured {decides.pixels:.2g} px rms of the picture ({decides.pixels_most:.2g} allowed)"
