"""``matdb curve``: a material's modulus and loss factor over temperature and frequency."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from matdb.advice.summary import Answer, short
from matdb.cli import options
from matdb.cli.answering import AskedNow, over_states
from matdb.cli.fit import summary
from matdb.cli.options import option
from matdb.cli.screen import Column, given_text, lines, records_table
from matdb.cli.stiffness import rests_text, row_band
from matdb.errors import InputError
from matdb.exchange.tables import AnswerTable, curve_table


def curve(
    call: AskedNow,
    material: options.MaterialArgument,
    temp: options.TempsOption,
    frequency: options.FrequenciesOption = None,
    step: options.StepOption = "5K",
    fit: int | None = option("NUMBER", "Answer from this older fit instead of the newest.", min=1),
    csv: options.CsvOption = None,
    force: options.ForceOption = False,
) -> None:
    """Show storage modulus and loss factor over temperatures and frequencies (30 Hz without one)."""
    t, f = options.temperatures(temp, step), options.frequencies(frequency or ["30Hz"])
    options.few_states(t, len(f))
    with call.existing() as store:
        found = store.current_curve(material) if fit is None else store.curve_of_fit(fit)
        if found.material != material:
            raise InputError("--fit", fit, f"a fit of {material}", f"that one is of {found.material}")
        answer = curve_table(found, t, f)
    written = options.write_answer(csv, answer.header, answer.rows, force)
    rests = found.rests_on(None, float(t.min()), float(t.max()))
    told = [*over_states(material, answer.records(), "storage_mpa", "MPa", _figures), rests_text(rests)]
    call.tell(
        Answer(lines=short(told, answer.warnings)),
        summary(found) | {"csv": written, "rows": answer.records()},
        lambda: _show(answer),
        answer.warnings,
        written=written,
    )


def _figures(row: Mapping[str, Any], _: bool) -> str:
    return f"{row_band(row, 'storage_mpa')} MPa, loss factor {row_band(row, 'loss_factor', 2)}"


def _show(answer: AnswerTable) -> None:
    records_table(
        answer.records(),
        [
            Column("at degC", lambda r: given_text(r["temperature_c"]), right=True),
            Column("at Hz", lambda r: given_text(r["frequency_hz"]), right=True),
            Column("storage modulus, MPa", lambda r: row_band(r, "storage_mpa")),
            Column("loss factor", lambda r: row_band(r, "loss_factor", 2)),
            Column("", _remark),
        ],
    )
    lines("Before you rely on it:", answer.warnings)


def _remark(row: Mapping[str, Any]) -> str:
    if row["basis"] == "family prior":
        return "family prior"
    return "extrapolated" if row["extrapolated"] else ""
