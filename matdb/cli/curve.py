"""``matdb curve``: a material's modulus and loss factor over temperature and frequency."""

from __future__ import annotations

from typing import Annotated

import typer

from matdb.cli.fit import MaterialArgument, summary
from matdb.cli.options import (
    CsvOption,
    ForceOption,
    FrequenciesOption,
    JsonOption,
    StepOption,
    StoreOption,
    TempsOption,
    existing,
    few_states,
    frequencies,
    temperatures,
    write_answer,
)


def curve(
    ctx: typer.Context,
    material: MaterialArgument,
    temp: TempsOption,
    frequency: FrequenciesOption = None,
    step: StepOption = "5K",
    fit_number: Annotated[
        int | None,
        typer.Option("--fit", min=1, metavar="NUMBER", help="Answer from this older fit instead of the newest."),
    ] = None,
    csv: CsvOption = None,
    force: ForceOption = False,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show storage modulus and loss factor over temperatures and frequencies (30 Hz without one)."""
    from matdb.cli.screen import band_text, document, given_text, lines, show, table
    from matdb.errors import InputError
    from matdb.exchange.tables import curve_table

    t, f = temperatures(temp, step), frequencies(frequency or ["30Hz"])
    few_states(t, len(f))
    with existing(ctx, store) as kept:
        found = kept.curve(material) if fit_number is None else kept.curve_of_fit(fit_number)
        if found.material != material:
            raise InputError("--fit", fit_number, f"a fit of {material}", f"that one is of {found.material}")
        answer = curve_table(found, t, f)
    written = write_answer(csv, answer.header, answer.rows, force)
    rows = answer.records()
    if as_json:
        document("curve", summary(found) | {"csv": written, "rows": rows}, answer.warnings)
        return
    show(f"{material}, from {answer.basis if found.basis != 'family prior' else 'the family prior'}; bands hold 95 %")
    table(
        ["at degC", "at Hz", "storage modulus, MPa", "loss factor", ""],
        [
            [
                given_text(r["temperature_c"]),
                given_text(r["frequency_hz"]),
                band_text(r["storage_mpa"], r["storage_mpa_low"], r["storage_mpa_high"]),
                band_text(r["loss_factor"], r["loss_factor_low"], r["loss_factor_high"], 2),
                _where(r["basis"], r["extrapolated"]),
            ]
            for r in rows
        ],
        right=(0, 1),
    )
    lines("Before you rely on it:", answer.warnings)
    if written:
        show(f"written: {written}", wrap=False)


def _where(basis: str, extrapolated: bool) -> str:
    if basis == "family prior":
        return "family prior"
    return "extrapolated" if extrapolated else ""
