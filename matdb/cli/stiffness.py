"""``matdb stiffness``: a part's effective stiffness and damping ratio at a field temperature."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Final

from matdb.api import Store
from matdb.cli import options
from matdb.cli.options import Held, Question, arg, collects
from matdb.cli.screen import Column, band_text, given_text, lines, number_text, records_table, show
from matdb.errors import InputError
from matdb.exchange.tables import AnswerTable, stiffness_table

_BANDS: Final = ("stiffness_n_per_mm", "damping_ratio", "natural_frequency_hz")


@dataclass(frozen=True, kw_only=True)
class States(Held):
    """At which states a part is asked about."""

    temp: options.TempsOption
    frequency: options.FrequenciesOption = None
    mass: options.MassOption = None
    count: options.CountOption = 1
    step: options.StepOption = "5K"

    def check(self, cure: str = "") -> None:
        """Refuse both frequency and mass, or neither. Raises InputError."""
        if (self.mass is None) == (not self.frequency):
            raise InputError("--frequency and --mass", "both" if self.mass else "neither", "one of the two", cure)


@collects
def stiffness(
    part: Annotated[str, arg("PART", "The part's name.")],
    states: States,
    csv: options.CsvOption = None,
    force: options.ForceOption = False,
    *,
    call: Question,
) -> None:
    """Show a part's stiffness and damping ratio at a frequency, or at the natural frequency under a mass."""
    states.check("--frequency 30Hz asks at a frequency; --mass 250g at the natural frequency under that mass")
    with call.existing() as store:
        answer = stiffness_answer(store, [part], states)
        squeezed = states.said(store.part(part))
    written = options.write_answer(csv, answer.header, answer.rows, force)
    content = {"part": part, "axis": states.axis, "basis": answer.basis, "csv": written, "rows": nested_rows(answer)}
    call.answer(content, lambda: _show(squeezed or part, states.axis, answer, written), answer.warnings)


def stiffness_answer(store: Store, parts: Sequence[str], states: States) -> AnswerTable:
    """The table of parts at these states; raises as :meth:`matdb.api.Store.effective`, UnitError, and InputError."""
    t = options.temperatures(states.temp, states.step)
    f = options.frequencies(states.frequency) if states.frequency else None
    options.few_states(t, (1 if f is None else len(f)) * len(parts))
    mass_kg = options.quantity(states.mass, "mass", "--mass")
    return stiffness_table(
        store,
        parts,
        t,
        frequency_hz=f,
        mass_kg=mass_kg,
        count=states.count,
        axis=states.axis,
        squeeze_mm=lambda part: states.on(part)[0],
    )


def _show(part: str, axis: str, answer: AnswerTable, written: str | None) -> None:
    show(f"{part}, {axis}, one piece; bands hold 95 %")
    stiffness_rows(answer.records())
    lines("Before you rely on it:", answer.warnings)
    if written:
        show(f"written: {written}", wrap=False)


def stiffness_rows(rows: Sequence[Mapping[str, Any]]) -> None:
    """Print rows of :func:`matdb.exchange.tables.stiffness_table`."""
    columns = [
        Column("at degC", lambda r: given_text(r["temperature_c"]), right=True),
        Column("at Hz", lambda r: number_text(r["frequency_hz"]), right=True),
        Column("stiffness, N/mm", lambda r: row_band(r, "stiffness_n_per_mm")),
        Column("damping ratio", lambda r: row_band(r, "damping_ratio", 2)),
    ]
    if any(r["mass_kg"] is not None for r in rows):
        columns.append(Column("natural frequency, Hz", lambda r: row_band(r, "natural_frequency_hz")))
    records_table(rows, [*columns, Column("rests on", _rests_on)])


def _rests_on(row: Mapping[str, Any]) -> str:
    return str(row["basis"]) + (", extrapolated" if row["extrapolated"] and row["basis"] == "readings" else "")


def nested_rows(answer: AnswerTable) -> list[dict[str, Any]]:
    """The rows of an answer with their bands as ``{"median", "low", "high"}``."""
    rows = answer.records()
    for row in rows:
        for name in _BANDS:
            low, high = row.pop(f"{name}_low"), row.pop(f"{name}_high")
            if row[name] is not None:
                row[name] = {"median": row[name], "low": low, "high": high}
    return rows


def row_band(row: Mapping[str, Any], name: str, digits: int = 3) -> str:
    """The band of a flat row: ``name``, ``name_low`` and ``name_high``."""
    return band_text(row[name], row[f"{name}_low"], row[f"{name}_high"], digits)
