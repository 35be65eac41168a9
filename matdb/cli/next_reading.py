"""``matdb next``: which reading to take next, for a part or for choosing an isolator."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import MISSING, dataclass
from typing import Annotated, Any, Final

import numpy as np

from matdb.advice.summary import Answer, short
from matdb.api import Store
from matdb.cli.answering import AskedNow, refuse_beside_mounting
from matdb.cli.options import AtHandOption, Held, arg, at_hand, ends, option, quantity, squeezed_text
from matdb.cli.screen import band_cell, show
from matdb.curve.curve import READINGS
from matdb.curve.next_reading import MINUTES_HOLD, Affordable, NextReading, without_near_duplicates
from matdb.errors import InputError
from matdb.fields import low_high
from matdb.material.crystallisation import crystallisation_of
from matdb.units import parse

#: By so much more (ln of its upper over its lower end) a band is wide because rest in the cold may stiffen it.
_WIDER: Final = 0.5
#: A reading that narrows by this share of what the best one does is nearly as good.
_NEARLY: Final = 0.95


@dataclass(frozen=True, kw_only=True)
class NextOptions(Held):
    """What is asked about, and what readings can be taken."""

    temp: str = option("RANGE", "The temperatures that matter, such as -10C..25C, or one such as -5C.", MISSING)
    part: Annotated[
        list[str] | None, arg("[PART]...", "The part; with --mounting one or several, or none for those still open.")
    ] = None
    mass: str | None = option("MASS", "Ask at the natural frequency under this mass, such as 250g.")
    count: int | None = option("NUMBER", "How many parts share the mass; 1 without it.")
    frequency: str | None = option("FREQUENCY", "Ask at this frequency; 30Hz without it and a mass.")
    mounting: str | None = option("NAME", "Ask for this mounting: its mass and count, on its parts.")
    masses: str | None = option("MASSES", "Masses at hand, such as 100g,250g; usual ones without it.")
    temps: AtHandOption = None
    kinds: str | None = option("KINDS", "Kinds of reading that you can take: ring-down, deflection or both.")
    top: int = option("NUMBER", "How many readings to list.", 6, min=1)

    def check(self) -> None:
        """Refuse what does not go together. Raises InputError."""
        if self.mass is not None and self.frequency is not None:
            raise InputError("--frequency and --mass", "both", "one of the two")
        if self.mounting is not None:
            refuse_beside_mounting({"mass": self.mass, "count": self.count, "frequency": self.frequency})
            for name, value in (("--squeeze", self.squeeze), ("--turns", self.turns)):
                if value is not None:
                    raise InputError(name, value, "left out with --mounting", "ask for one part instead")
        elif len(self.part or ()) != 1:
            raise InputError("PART", ", ".join(self.part or ()) or None, "one part, or any number with --mounting")
        elif self.count is not None and self.mass is None:
            raise InputError("--count", self.count, "given with --mass")

    def affordable(self) -> Affordable:
        """The readings that can be taken. Raises UnitError, InputError."""
        kinds = "ring-down,deflection" if (self.kinds or "").strip() == "both" else self.kinds
        able = {
            "masses_kg": _listed(self.masses, lambda text: parse(text, "mass", "--masses")),
            "kinds": _listed(kinds, str),
        }
        return Affordable(
            **at_hand(self.temps), **{name: values for name, values in able.items() if values is not None}
        )

    def ranking(self, store: Store, low: float, high: float, able: Affordable) -> list[NextReading]:
        """The readings, best first."""
        if self.mounting is not None:
            return store.next_readings_for(
                self.mounting, low, high, parts=self.part or None, affordable=able, axis=self.axis
            )
        known = store.part((self.part or [""])[0])
        mass_kg, hertz = quantity(self.mass, "mass", "--mass"), quantity(self.frequency, "frequency", "--frequency")
        how = self.how(known) | {"mass_kg": mass_kg, "count": 1 if self.count is None else self.count}
        return store.next_readings(known.name, low, high, frequency_hz=hertz, affordable=able, **how)


def _listed(text: str | None, read: Callable[[str], Any]) -> Any:
    """What stands between the commas, None for None."""
    return None if text is None else tuple(read(each.strip()) for each in text.split(","))


def next_reading(said: NextOptions, call: AskedNow) -> None:
    """Rank the readings to take next.

    For instance: matdb next --mounting cam --temp -4C..9C; or of one part: matdb next leg --temp -4C..9C --mass
    150g.

    By how much each is expected to narrow the stiffness band over the temperatures that matter: for one part, or for
    choosing an isolator for a mounting. Nothing is written.
    """
    low, high = ends(said.temp, "temperature", "--temp")
    able = said.affordable()
    said.check()
    with call.existing() as store:
        ranking = said.ranking(store, low, high, able)
        if said.mounting is None:
            squeezed = said.said(store.part((said.part or [""])[0]))
        else:
            used = dict.fromkeys((each.part, each.squeeze_mm) for each in ranking if each.squeeze_mm)
            squeezed = "; ".join(squeezed_text(store.part(part), mm) for part, mm in used)
            squeezed += ", best for the mounting" if used else ""
        asked = list(dict.fromkeys(each.part for each in ranking)) or said.part or []
        soaked = [text for part in asked if (text := _long_soak(store, part, low, high))][:1]
    shown = without_near_duplicates(ranking)[: said.top]
    worth = any(each.worth_taking for each in ranking)
    quick = _quick(ranking) if worth else None
    none = "no affordable reading is sensible here: try other masses or temperatures"
    if said.mounting is not None and not said.part:
        none = "no reading would change which parts suit: 'matdb suit' has the verdicts"
    refusal = none if not ranking else "" if worth else _not_worth(shown[0])
    settles = ", to settle that part" if said.mounting else ""
    told = [f"{refusal[:1].upper()}{refusal[1:]}." if refusal else f"Take next{settles}: {shown[0].in_words}."]
    if soaked:
        told = [*told, f"Worth it too: {soaked[0]}."] if worth else [f"Take next {soaked[0]}.", f"Else {refusal}."]
    if quick is not None:
        told.append(f"Nearly as good and quicker: {quick.in_words}.")
    if shown:
        best = shown[0]
        across = "" if best.axis == "axial" else f" --axis {best.axis}"
        told += [
            f"What is known of the stiffness narrows: {_narrows(best)}.",
            f"Why: {best.why.partition(';')[0]}.",
            f"Log it with 'matdb reading add {best.kind}{across}'." if worth else "",
        ]
    told.append(f"Asked for {squeezed}." if squeezed else "")
    others = tuple(_other(each, len(asked) > 1) for each in shown[1:])
    content = {
        "parts": asked,
        "mounting": said.mounting,
        "axis": said.axis,
        "temperature_c": low_high((low, high)),
        "candidates": len(ranking),
        "worth_it": worth,
        "minutes_hold": MINUTES_HOLD,
        "readings": [{"rank": k} | each.to_dict() for k, each in enumerate(shown, 1)],
        "quicker": quick,
    }
    at, by = [each.temperature_c for each in shown], "Others, best first, with the band that each leaves"
    if said.mounting is None and shown and low < high:
        by = f"Others, best over the range first, with the band that each leaves at {shown[0].asked_c:g} degC"
    answer, refused = Answer(lines=short(told), others=others), [*soaked, *([refusal] if refusal else [])]
    call.tell(answer, content, lambda: _behind(shown), refused, others=by, bench_c=at)


def _long_soak(store: Store, part: str, low_c: float, high_c: float) -> str:
    """That a reading after a day's soak is worth more than others: where how far it crystallises makes a band wide."""
    curve = store.current_curve(store.part(part).material)
    cold, t = crystallisation_of(curve.family), np.linspace(low_c, high_c, 9)
    if cold is None or not curve.crystallises or curve.basis != READINGS or not cold.matters(t, math.inf):
        return ""
    rested, fresh = (each.modulus(t, 30.0).storage_mpa for each in (curve, curve.rested(0.0)))
    wider = np.log(rested.high / rested.low) - np.log(fresh.high / fresh.low)
    if wider.max() < _WIDER:
        return ""
    return (
        f"a reading on {part} after a day's soak at {t[wider.argmax()]:.0f} degC (--soak 24h): {curve.family} "
        "crystallises when it rests there, and how far makes the band wide"
    )


def _other(each: NextReading, with_part: bool) -> str:
    on = f" on {each.part}" if with_part else ""
    where = f"{each.kind_in_words}{on} at {each.temperature_c:g} degC with {each.load_in_words}"
    return f"{band_cell(each.band_after)}: {where}, {each.minutes:.0f} minutes"


def _narrows(each: NextReading) -> str:
    """What a reading is expected to do to the band at the first temperature asked for."""
    return f"at {each.asked_c:g} degC from {band_cell(each.band_before)} to {band_cell(each.band_after)} N/mm"


def _behind(shown: Sequence[NextReading]) -> None:
    """Print figures and reason of each."""
    for k, each in enumerate(shown, 1):
        show(f"{each.in_words}: {_narrows(each)}; {each.why}.", indent=f"{k}. ")
    show(f"Brackets hold 95 %. Minutes are for {MINUTES_HOLD}.")


def _quick(ranking: Sequence[NextReading]) -> NextReading | None:
    """The quickest of those that narrow nearly as much as the best, if it takes at most half as long."""
    best = ranking[0]
    least = best.width_before - _NEARLY * (best.width_before - best.width_after)
    good = [each for each in ranking if each.part == best.part and each.width_after <= least]
    quick = min(good, key=lambda each: (each.minutes, each.width_after))
    return quick if quick.minutes <= 0.5 * best.minutes else None


def _not_worth(best: NextReading) -> str:
    gain = f"{100.0 * best.narrowing:.1f} %" if best.narrowing >= 0.001 else "nothing"
    return f"no further reading is worth it: even the best, {best.in_words}, is expected to narrow the band by {gain}"
