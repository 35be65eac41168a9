"""``matdb compare``: parts and payloads side by side, also beside what a stored mounting carries."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Any, Final

from matdb.advice.effective import Effective
from matdb.advice.exposure import flight
from matdb.advice.suit import Suitability
from matdb.api import Store
from matdb.cli.answering import AskedNow
from matdb.cli.options import ForceOption, Held, arg, ends, option
from matdb.cli.picture import candidate
from matdb.cli.screen import Column, band_cell, number_text, records_table, show
from matdb.cli.suit import all_warnings
from matdb.errors import InputError
from matdb.fields import low_high, plain
from matdb.form.part import Part
from matdb.mounting.record import Mounting
from matdb.picture.figure import picture_file, save_picture
from matdb.picture.mounting_charts import frequency_chart
from matdb.units import mass_text, parse_list, percent

#: Lines of a table that are still compared at a glance.
_MOST: Final = 9


@dataclass(frozen=True)
class _Case:
    """One part under one payload: its figures at both ends of the temperatures, and the judge's verdict, if asked."""

    part: Part
    mass_kg: float
    count: int
    squeeze_mm: float
    found: Effective
    judged: Suitability | None

    @property
    def verdict(self) -> str:
        return "" if self.judged is None else f"{self.judged.verdict} ({percent(self.judged.probability)})"


def compare(
    call: AskedNow,
    parts: Annotated[list[str], arg("PART...", "One, two or three parts.")],
    held: Held,
    temp: str = option("RANGE", "Temperatures of the flight, such as -10C..25C.", "-10C..30C"),
    mass: str | None = option("MASSES", "Payloads on all isolators together, such as 900g,1200g."),
    count: int | None = option("NUMBER", "How many isolators carry it; 1 without it."),
    mounting: str | None = option("NAME", "Judge them for this mounting: with its payload, and with those of --mass."),
    out: str | None = option("FILE", "Also draw natural frequency over temperature, with --mounting: .png or .svg."),
    force: ForceOption = False,
) -> None:
    """Compare parts or payloads side by side.

    For instance: matdb compare leg bobbin --mounting cam --mass 500g,1200g.
    """
    low_c, high_c = ends(temp, "temperature", "--temp")
    masses = parse_list(mass, "mass", "--mass")
    if mounting is None and not masses:
        raise InputError("--mass", None, "given, or --mounting", "for instance --mass 900g,1200g")
    if mounting is not None and count is not None:
        raise InputError("--count", count, "left out with --mounting", "the mounting has its own")
    if out is not None:
        if mounting is None:
            raise InputError("--out", out, "given with --mounting, whose window is drawn")
        picture_file(out, force=force)
    with call.existing() as store:
        known = [store.part(name) for name in dict.fromkeys(parts)]
        wanted = None if mounting is None else store.mounting(mounting)
        payloads = [*([] if wanted is None else [wanted.mass_kg]), *masses]
        if len(known) * len(payloads) > _MOST:
            raise InputError("cases", len(known) * len(payloads), f"at most {_MOST}, parts times payloads")
        shared = (count or 1) if wanted is None else wanted.count
        cases = [
            case
            for kg in dict.fromkeys(payloads)
            for case in _cases(store, known, kg, shared, held, (low_c, high_c), wanted)
        ]
        if wanted is not None and out is not None:
            drawn = [candidate(store, each) for each in known]
            how: dict[str, Any] = {"squeeze_mm": [case.squeeze_mm for case in cases[: len(known)]], "axis": held.axis}
            chart = frequency_chart(drawn, wanted, low_c=low_c, high_c=max(high_c, low_c + 1.0), **how)
            out = str(save_picture(chart, out, force=force))
    told = [_first([case for case in cases if case.mass_kg == kg], low_c) for kg in dict.fromkeys(payloads)]
    columns = _columns(low_c, high_c, judged=wanted is not None)
    judged = [case.judged for case in cases if case.judged is not None]
    warnings = all_warnings(judged) or list(dict.fromkeys(text for case in cases for text in case.found.warnings))
    content: dict[str, Any] = {
        "mounting": mounting,
        "temperature_c": low_high((low_c, high_c)),
        "cases": [_plain(case) for case in cases],
    }
    if out is not None:
        content["files"] = [out]

    def behind() -> None:
        for case in cases:
            if case.judged is not None:
                show(f"{case.part.name} under {mass_text(case.mass_kg)}: {case.verdict}: {case.judged.reason}.")

    call.tell(told, content, behind, warnings, below=lambda: records_table(cases, columns))


def _cases(
    store: Store,
    parts: Sequence[Part],
    mass_kg: float,
    count: int,
    held: Held,
    span_c: tuple[float, float],
    wanted: Mounting | None,
) -> list[_Case]:
    """The parts under one payload; each at the squeeze that was asked for, else where the judge finds it best."""
    judged: dict[str, Suitability] = {}
    if wanted is not None:
        asked = None if held.squeeze is None and held.turns is None else held.on(parts[0])[0]
        names, air = [part.name for part in parts], flight(low_c=span_c[0], high_c=span_c[1])
        carried = replace(wanted, mass_kg=mass_kg)
        judged = {row.part: row for row in store.suit(carried, air, parts=names, squeeze_mm=asked, axis=held.axis)}
    cases = []
    for part in parts:
        row = judged.get(part.name)
        mm = held.on(part)[0] if row is None else row.squeeze_mm
        how: dict[str, Any] = {"mass_kg": mass_kg, "count": count, "axis": held.axis, "squeeze_mm": mm}
        cases.append(_Case(part, mass_kg, count, mm, store.effective(part.name, span_c, **how), row))
    return cases


def _first(cases: Sequence[_Case], low_c: float) -> str:
    """What one payload comes to: the likeliest to suit first, or the softest."""
    with_ = f"With {mass_text(cases[0].mass_kg)}"
    if cases[0].judged is not None:
        ranked = sorted(cases, key=lambda case: -(case.judged.probability if case.judged else 0.0))
        return f"{with_}: {', '.join(f'{case.part.name} {case.verdict}' for case in ranked)}."
    ranked = sorted(cases, key=lambda case: _hertz(case))
    soft = ", ".join(f"{case.part.name} {number_text(_hertz(case))} Hz" for case in ranked)
    return f"{with_} at {low_c:g} degC{', softest first' * (len(cases) > 1)}: {soft}."


def _hertz(case: _Case) -> float:
    assert case.found.natural_frequency_hz is not None
    return float(case.found.natural_frequency_hz.median[0])


def _columns(low_c: float, high_c: float, *, judged: bool) -> list[Column]:
    stiffness = Column(f"N/mm at {low_c:g} degC", lambda case: band_cell(case.found.stiffness_n_per_mm))
    damping = Column("damping ratio", lambda case: band_cell(case.found.damping_ratio, 2))
    warm = Column(f"Hz at {high_c:g} degC", lambda case: band_cell(case.found.natural_frequency_hz, index=-1))
    verdict = [Column("held by", _held), Column("verdict", lambda case: str(case.verdict))]
    return [
        Column("part", lambda case: str(case.part.name)),
        Column("payload", lambda case: f"{mass_text(case.mass_kg)} on {case.count}"),
        Column(f"Hz at {low_c:g} degC", lambda case: band_cell(case.found.natural_frequency_hz)),
        *([warm] if high_c > low_c else []),
        *(verdict if judged else [stiffness, damping]),
    ]


def _held(case: _Case) -> str:
    turns = case.part.turns_at(case.squeeze_mm)
    return f"{case.squeeze_mm:.3g} mm" if turns is None else f"{turns:.3g} turns"


def _plain(case: _Case) -> dict[str, Any]:
    row = case.judged
    judged = {} if row is None else {"verdict": row.verdict, "probability": row.probability, "reason": row.reason}
    figures = {
        name: plain(getattr(case.found, name))
        for name in ("stiffness_n_per_mm", "natural_frequency_hz", "damping_ratio")
    }
    about = {"part": case.part.name, "mass_kg": case.mass_kg, "count": case.count, "squeeze_mm": case.squeeze_mm}
    return about | figures | judged
