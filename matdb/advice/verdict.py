"""Verdicts, reasons and cures in plain words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from matdb.curve.band import Band
from matdb.mounting.record import Mounting
from matdb.mounting.suspended import FOLLOW_LEAST, ISOLATION_LEAST

__all__ = ["VERDICTS", "Causes", "percent", "reason", "sags", "settle", "verdict"]

#: Verdict words with the least probability that earns each. "suits" asks for so much that no 95 % band of a part that
#: earns it reaches past an end of the window.
VERDICTS: Final = (
    (0.98, "suits"),
    (0.75, "probably suits"),
    (0.25, "open"),
    (0.02, "probably not"),
    (0.0, "does not suit"),
)


@dataclass(frozen=True)
class Causes:
    """Probability of each way to fail at the worst temperature.

    Attributes
    ----------
    stiff, soft, bottoms, lifts : float
        Natural frequency above the window, below it; travel beyond the room for it; a half that lifts off.
    loose : float
        A half that has lifted off at rest already; part of ``lifts``.
    outside : float
        Kelvin by which the flight leaves the service range; 0 or less inside.
    leans : bool
        Whether the travel ends where a slender leg buckles, not at its full height.
    """

    stiff: float
    soft: float
    bottoms: float
    lifts: float
    outside: float
    loose: float = 0.0
    leans: bool = False

    @property
    def by_load(self) -> bool:
        """Whether travel or lift-off is more likely to fail than the natural frequency."""
        return max(self.bottoms, self.lifts) > max(self.stiff, self.soft)


def verdict(probability: float) -> str:
    """The word for a probability."""
    return next(word for least, word in VERDICTS if probability >= least)


def percent(probability: float) -> str:
    """A probability in percent; never 0 or 100 unless every draw said so."""
    if 0.0 < probability < 0.01:
        return "below 1 %"
    if 0.99 < probability < 1.0:
        return "above 99 %"
    return f"{100.0 * probability:.0f} %"


def sags(sag_mm: float, height_mm: float) -> str:
    """How far a part gives way, in plain numbers; beyond its height no number means anything."""
    if sag_mm > height_mm:
        return "sags more than its height"
    return f"sags {float(f'{sag_mm:.2g}'):g} mm"


def reason(
    frequency: Band,
    place: str,
    probability: float,
    causes: Causes,
    mounting: Mounting,
    service_c: tuple[float, float],
    *,
    prior: bool,
) -> str:
    """Why a part has its verdict, in one sentence without a full stop.

    Parameters
    ----------
    frequency : Band
        Natural frequency at the worst temperature, Hz.
    place : str
        That temperature in words, with its time and camera package where they are known.
    probability : float
        Of holding throughout.
    causes : Causes
        Ways to fail there.
    mounting : Mounting
        For the window, the rotors, the manoeuvre band and the load factors.
    service_c : (float, float)
        Service range, degrees Celsius.
    prior : bool
        Whether the answer rests on the family alone.
    """
    low, high = mounting.window_hz
    if causes.outside > 0.0:
        return (
            f"flown {causes.outside:.3g} K outside the material's service range of {service_c[0]:g} to "
            f"{service_c[1]:g} degC"
        )
    where = f"{frequency.median:.3g} Hz ({frequency.low:.3g} to {frequency.high:.3g}) {place}"
    near_stiff = high / frequency.median < frequency.median / max(low, 1e-9)
    worst = max(causes.stiff, causes.soft, causes.bottoms, causes.lifts)
    if worst == 0.0 or probability >= VERDICTS[0][0]:
        end = "stiff" if near_stiff else "soft"
        return f"inside {low:.3g} to {high:.3g} Hz throughout, nearest to the {end} end with {where}"
    unsure = "" if not prior else ", as far as the label tells"
    if worst > max(causes.stiff, causes.soft, causes.bottoms):
        if causes.loose > 0.5:
            return (
                f"a half has lifted off at rest already {place}: one half alone carries the camera and it rattles; too "
                f"little squeeze once it has set and shrunk{unsure}"
            )
        sure = "a half lifts off" if worst > 0.5 else "a half may lift off"
        loads = f"between load factors {mounting.load_factors[0]:g} and {mounting.load_factors[1]:g}"
        return f"{sure} {loads} {place}: too little squeeze once it has set and shrunk{unsure}"
    if worst > max(causes.stiff, causes.soft):
        most = max(map(abs, mounting.load_factors))
        if causes.leans:
            sure = "buckles" if worst > 0.5 else "may buckle"
            return f"{sure} at load factor {most:g}: so slender a leg leans over before it carries that {place}{unsure}"
        sure = "bottoms out" if worst > 0.5 else "may bottom out"
        return f"{sure} at load factor {most:g}: too little room for its travel {place}{unsure}"
    if causes.stiff >= causes.soft:
        limit = (
            f"the {high:.3g} Hz that isolate from {mounting.lowest_rotor_hz:.3g} Hz (rotor over {ISOLATION_LEAST:g})"
        )
        head = "too stiff" if causes.stiff > 0.5 else "may be too stiff"
        return f"{head}: {where} {_against('above', causes.stiff, limit)}{unsure}"
    limit = f"the {low:.3g} Hz that follow ({FOLLOW_LEAST:g} times the {mounting.manoeuvre_hz:.3g} Hz manoeuvre band)"
    head = "too soft" if causes.soft > 0.5 else "may be too soft"
    return f"{head}: {where} {_against('below', causes.soft, limit)}{unsure}"


def _against(side: str, share: float, limit: str) -> str:
    if share > 0.5:
        return f"lies {side} {limit}"
    return f"reaches {side} {limit}" if share > 0.025 else f"comes close to {limit}"


def settle(
    *,
    part: str,
    probability: float,
    temperature_c: float,
    mass_kg: float,
    measured: bool,
    geometry_share: float,
    cause_is_load: bool,
) -> str:
    """The reading that would settle an open verdict; empty when it is settled.

    Parameters
    ----------
    part, temperature_c, mass_kg
        The part, the worst temperature, one isolator's share of the payload.
    probability : float
        Of holding throughout.
    measured : bool
        Whether the material has readings.
    geometry_share : float
        Share of the variance of the natural frequency that a reading of this very part would take away at any
        temperature.
    cause_is_load : bool
        Whether travel or lift-off is what is open.
    """
    if probability >= VERDICTS[0][0] or probability < VERDICTS[-2][0]:
        return ""
    grams = f"{1e3 * mass_kg:.4g} g" if mass_kg < 9.9 else f"{mass_kg:.3g} kg"
    grams += " (one isolator's share)"
    if cause_is_load:
        return f"a static deflection of {part} under {grams} at {temperature_c:.3g} degC would settle it"
    if measured and geometry_share > 0.6:
        return f"a ring-down of {part} under {grams} at any temperature would settle it: only its geometry is open"
    return f"a ring-down of {part} under {grams} at {temperature_c:.3g} degC would settle it"
