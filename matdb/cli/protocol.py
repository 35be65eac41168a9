"""``matdb soak`` and ``matdb protocol``: minutes in the freezer or oven, and a sheet for the bench, for one part."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial
from typing import Annotated, Any, Final

import numpy as np

from matdb.api import Store
from matdb.bench.decrement import decrement_from_damping_ratio
from matdb.bench.protocol import ProtocolStep, bench_mass_kg, protocol_markdown
from matdb.bench.thermal.body import body_of
from matdb.bench.thermal.soak import check_soak, crystallisation_note, drift, service_note
from matdb.bench.thermal.soak import soak as soak_of
from matdb.cli import options
from matdb.cli.answering import BENCH, Asked, AskedNow, thinned
from matdb.cli.options import HeldFor, StepOption, TempsOption, arg, ends, option, quantity, temperatures
from matdb.cli.screen import given_text, number_text, show
from matdb.curve.band import Band
from matdb.errors import InputError
from matdb.fields import fields_of
from matdb.files import new_file, write_text
from matdb.form.part import Part
from matdb.material.record import Material, service_range
from matdb.units import mass_text, parse

AIR_WORDS = {"still": "still", "fan": "fanned", "fanned": "fanned"}


def air_of(word: str) -> str:
    """The air that the user named. Raises InputError."""
    if word.casefold() not in AIR_WORDS:
        raise InputError("--air", word, "still or fan")
    return AIR_WORDS[word.casefold()]


@dataclass(frozen=True, kw_only=True)
class SoakOptions:
    """What is soaked, where, and what is asked beside the minutes."""

    part: Annotated[str, arg("PART", "The part's name.")]
    temp: TempsOption
    step: StepOption = "5K"
    air: str = option("AIR", "Air in the chamber: still or fan.", "still")
    room: str = option("TEMPERATURE", "Temperature of the part before, and of the bench.", "23C")
    minutes: str | None = option("TIME", "Tell the likely core temperature after so long, such as 20min.")
    out: str | None = option("TIME", "Tell the temperature so long after it left the chamber, such as 8s.")

    @property
    def soaked_min(self) -> float | None:
        """Minutes that are asked about; the option's name says its unit, so that ``--minutes 20`` is clear."""
        plain = (self.minutes or "").strip()
        text = f"{plain} min" if plain.replace(".", "", 1).isdigit() else self.minutes
        return None if text is None else parse(text, "duration", "--minutes", "min")


def soak(said: SoakOptions, call: Asked) -> None:
    """Tell how long to soak a part.

    For instance: matdb soak leg --temp -18C.

    Minutes until its core is within 1 K of freezer or oven, and how many seconds from the chamber to the first tap
    cost 1 K and 2 K.
    """
    at = temperatures(said.temp, said.step)
    air, room_c = air_of(said.air), parse(said.room, "temperature", "--room")
    soaked_min, out_s = said.soaked_min, quantity(said.out, "duration", "--out")
    with call.existing() as store:
        known = store.part(said.part)
        family = store.material(known.material).family
    body = body_of(known.form)
    if body is None:
        cure = f"a {known.form.kind} does not say how thick it is; soak until a thermometer inside stands still"
        raise InputError("part", said.part, "of a form with dimensions", cure)
    need = soak_of(body, at, start_c=room_c, family=family, air=air)
    out = partial(drift, body, at, room_c=room_c, family=family, chamber_sd_k=0.3)
    figures: dict[str, Any] = {"temperature_c": at, "minutes": need.minutes, "minutes_safe": need.minutes_safe}
    figures |= {"minutes_planned": need.planned_min}
    figures |= {f"seconds_to_{kelvin}k": out(0.0, limit_k=kelvin).seconds_left for kelvin in (1, 2)}
    warnings = [*(service_note(family, t) for t in at), *(crystallisation_note(family, t, soaked_min) for t in at)]
    if soaked_min is not None:
        check = check_soak(body, soaked_min, at, start_c=room_c, family=family, air=air)
        figures |= {"core_c": check.core_c, "core_sd_k": check.core_sd_k, "enough": check.enough}
        warnings.append(check.warning)
    if out_s is not None:
        loss = out(out_s)
        figures |= {"out_temperature_c": loss.temperature_c, "out_temperature_sd_k": loss.temperature_sd_k}
    if known.form.pair is not None:
        warnings.append("of the pair, the taller half is reckoned with; soak it assembled on its screw")
    warnings = [*filter(None, dict.fromkeys(warnings)), need.note]
    rows = [dict(zip(figures, row, strict=True)) for row in zip(*(v.tolist() for v in figures.values()), strict=True)]
    content = {"part": said.part, "family": family, "air": air, "room_c": room_c, "within_k": 1.0, "rows": rows}

    least, most = (round(end(row["minutes_planned"] for row in rows)) for end in (min, max))
    span = f"{most}" if least == most else f"{least} to {most}"
    states = thinned(rows, _FEW)
    told = [
        f"{said.part}: soak {span} min at {', '.join(given_text(row['temperature_c']) for row in states)} degC.",
        *(_in_words(row, soaked_min, out_s) for row in states),
        f"From {room_c:g} degC in {air} air; still air on the bench.",
    ]

    def behind() -> None:
        for row in rows:
            show(_in_words(row, soaked_min, out_s))

    call.tell(told, content, behind, warnings, bench_c=at)


def _in_words(row: dict[str, Any], soaked_min: float | None, out_s: float | None) -> str:
    text = f"{given_text(row['temperature_c'])} degC: {row['minutes_planned']:.0f} min, likely through after "
    text += f"{row['minutes']:.0f}"
    one, two = (row[f"seconds_to_{kelvin}k"] for kelvin in (1, 2))
    if math.isfinite(one):
        text += f"; tap within {one:.0f} s (1 K off)"
        text += f", {two:.0f} at most (2 K)" if math.isfinite(two) else ""
    if soaked_min is not None:
        core = f"{row['core_c']:.1f} +- {row['core_sd_k']:.1f}" + ("" if row["enough"] else " (too short)")
        text += f"; core after {given_text(soaked_min)} min {core} degC"
    if out_s is not None:
        text += f"; out for {given_text(out_s)} s it is at {row['out_temperature_c']:.1f} +- "
        text += f"{row['out_temperature_sd_k']:.1f} degC"
    return f"{text}."


#: Without ``--temp``: freezer, refrigerator, room and oven.
_USUAL_C: Final = (-18.0, 5.0, 23.0, 50.0)
#: So many states of a soak, and of a protocol, are told one by one.
_FEW, _FEW_STEPS = 4, 6


@dataclass(frozen=True, kw_only=True)
class ProtocolOptions(HeldFor):
    """What is to be read, and how."""

    part: Annotated[str, arg("PART", "The part's name.")]
    temps: list[str] | None = option(
        "TEMPERATURE", "A temperature or range; -18C, 5C, 23C and 50C without it.", name="--temp"
    )
    hold: options.AtHandOption = None
    step: StepOption = "20K"
    field_temp: str = option(
        "RANGE", "The temperatures of the flight, by which --mounting finds the squeeze.", "-10C..30C", "--for"
    )
    frequency: str = option("FREQUENCY", "Ring near this frequency: the camera's natural one.", "30Hz")
    mass: str | None = option("MASS", "The mass to ring with, instead of one worked out.")
    count: options.CountOption = 1
    air: str = option("AIR", "Air in the chamber: still or fan.", "still")
    out: str | None = option("FILE", "Write the sheet to this file, such as sheet.md.")
    force: options.ForceOption = False


def protocol(said: ProtocolOptions, call: AskedNow) -> None:
    """Write a bench protocol sheet.

    For instance: matdb protocol leg --mass 600g --count 4 --out sheet.md.

    In Markdown: steps, temperatures, soak minutes, the mass that rings near the field's natural frequency, cautions,
    and a table to fill in.
    """
    at: list[float] = (
        temperatures(said.temps, said.step).tolist()
        if said.temps
        else list(options.at_hand(said.hold).get("temperatures_c", _USUAL_C))
    )
    parse(said.frequency, "frequency", "--frequency")
    air = air_of(said.air)
    if said.out is not None:
        new_file(said.out, force=said.force)
    with call.existing() as store:
        known = store.part(said.part)
        material = store.material(known.material)
        curve = store.current_curve(material.name)
        said = said.best(store, [known], ends(said.field_temp, "temperature", "--for"))
        steps, basis, notes = _plan(store, known, material, at, said)
    rests = curve.rests_on(said.part, min(at), max(at))
    what: dict[str, Any] = {"part": said.part, "form": known.form.label(), "material": material.name}
    what |= {"family": material.family, "basis": rests, "count": said.count, "axis": said.axis, "air": air}
    what["screwed"] = said.said(known) if known.form.pair is not None else ""
    text = protocol_markdown(**what, steps=steps, notes=notes, cautions=BENCH)
    written = None if said.out is None else str(write_text(said.out, text, force=said.force))
    mass, count = mass_text(steps[0].mass_kg), f" on {said.count}" if said.count > 1 else ""
    told = [
        f"{said.part}: ring it with {mass}{count} at {', '.join(map(given_text, at))} degC; expect",
        *map(_step_in_words, thinned(steps, _FEW_STEPS)),
        f"Expected figures: {rests}.",
        "" if written else "The sheet to print and fill in: --out FILE, or --why.",
    ]
    foretold = [{name: Band(*getattr(step, name)) for name in ("frequency_hz", "log_decrement")} for step in steps]
    shown = [fields_of(step) | more for step, more in zip(steps, foretold, strict=True)]
    files = [] if written is None else [written]
    content = {"part": said.part, "steps": shown, "basis": basis, "files": files, "markdown": text}
    call.tell(told, content, partial(print, text, end=""), notes, bench_c=at)


def _step_in_words(step: ProtocolStep) -> str:
    soaked = "" if step.soak_min is None else f"soak {step.soak_min:g} min, "
    seconds = math.inf if step.seconds_left is None else step.seconds_left
    left = "" if math.isinf(seconds) else f"read in {seconds:.0f} s, "
    hertz, low, high = map(number_text, step.frequency_hz)
    decay = number_text(step.log_decrement[0], 2)
    return f"{step.temperature_c:g} degC: {soaked}{left}{hertz} ({low}-{high}) Hz, decrement {decay}"


def _plan(
    store: Store, part: Part, material: Material, temperature_c: list[float], said: ProtocolOptions
) -> tuple[list[ProtocolStep], str, list[str]]:
    """The steps, what the expected figures rest on, and what to know. Raises InputError, NotFound."""
    notes: list[str] = []
    frequency_hz = parse(said.frequency, "frequency", "--frequency")
    how = said.how(part)
    notes += [text] if (text := said.said(part)) else []
    mass_kg = quantity(said.mass, "mass", "--mass")
    if mass_kg is None:
        middle = store.effective(part.name, float(np.median(temperature_c)), frequency_hz=frequency_hz, **how)
        mass_kg = bench_mass_kg(float(middle.stiffness_n_per_mm.median), frequency_hz, said.count)
    body, family = body_of(part.form), material.family
    low, high = service_range(material)
    steps = []
    for t in temperature_c:
        if not low <= t <= high:
            notes.append(f"{t:g} degC is outside the service range, {low:g} to {high:g} degC: leave it out")
        soak_min = left = None
        if body is not None:
            soak_min = float(soak_of(body, t, family=family, air=air_of(said.air)).planned_min)
            left = float(drift(body, t, 0.0, family=family).seconds_left)
        # Rung after that soak, and not after however long a rest.
        rest_h = None if soak_min is None else soak_min / 60.0
        found = store.effective(part.name, t, mass_kg=mass_kg, count=said.count, rest_h=rest_h, **how)
        assert found.natural_frequency_hz is not None
        steps.append(
            ProtocolStep(
                temperature_c=t,
                soak_min=soak_min,
                seconds_left=math.inf if abs(t - 23.0) <= 2.0 else left,
                mass_kg=mass_kg,
                frequency_hz=_ends(found.natural_frequency_hz),
                log_decrement=_decrements(*_ends(found.damping_ratio)),
                note=crystallisation_note(family, t),
            )
        )
    if any(not 5.0 <= s.frequency_hz[0] <= 100.0 for s in steps):
        notes.append("expected outside 5 to 100 Hz somewhere: take another --mass or --frequency for a phone's sensor")
    if any(s.log_decrement[0] > 2.0 for s in steps):
        notes.append("a decrement above 2 rings for two cycles at most: add a static deflection at each temperature")
    if found.basis != "readings":
        notes.append("no reading yet: it may ring anywhere in these ranges; write the sheet anew after the first")
    if any(s.frequency_hz[2] > 5.0 * s.frequency_hz[1] for s in steps):
        unknown = "its stiffness is not known yet: the mass is a guess"
        notes.append(f"{unknown}; read it once at room temperature, then ask anew")
    if body is None:
        notes.append("the part's dimensions are not known: soak until a thermometer inside it stands still")
    return steps, found.basis, notes


def _ends(band: Band) -> tuple[float, float, float]:
    """Middle, low and high end."""
    return band.median, band.low, band.high


def _decrements(*damping_ratio: float) -> tuple[float, float, float]:
    """Logarithmic decrements of damping ratios; bands may reach past 1."""
    middle, low, high = (decrement_from_damping_ratio(min(zeta, 0.9)) for zeta in damping_ratio)
    return middle, low, high
