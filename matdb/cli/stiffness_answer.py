"""What ``matdb stiffness`` answers, and its table; Typer is not needed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any


def stiffness_answer(
    store: str | None = None,
    *,
    part: str,
    temp: Sequence[str],
    frequency: Sequence[str] | None = None,
    mass: str | None = None,
    count: int = 1,
    axis: str = "axial",
    squeeze: str = "0mm",
    step: str = "5K",
    csv: str | None = None,
    force: bool = False,
    as_json: bool = False,
) -> None:
    """Print a part's stiffness and damping ratio at a frequency, or at the natural frequency under a mass."""
    from matdb.cli.given import few_states, frequencies, needed, quantity, temperatures, write_answer
    from matdb.cli.opening import open_existing
    from matdb.cli.screen import document, lines, show
    from matdb.errors import InputError
    from matdb.exchange.tables import stiffness_table

    if (mass is None) == (not frequency):
        raise InputError(
            "--frequency and --mass",
            "both" if mass else "neither",
            "one of the two",
            "--frequency 30Hz asks at a frequency; --mass 250g at the natural frequency under that mass",
        )
    t = temperatures(temp, step)
    f = frequencies(frequency) if frequency else None
    few_states(t, 1 if f is None else len(f))
    with open_existing(store) as kept:
        answer = stiffness_table(
            kept,
            [part],
            t,
            frequency_hz=f,
            mass_kg=quantity(mass, "mass", "--mass"),
            count=count,
            axis=axis,
            squeeze_mm=needed(squeeze, "length", "--squeeze"),
        )
    written = write_answer(csv, answer.header, answer.rows, force)
    rows = answer.records()
    if as_json:
        content = {"part": part, "axis": axis, "basis": answer.basis, "csv": written}
        document("stiffness", content | {"rows": [nested(r) for r in rows]}, answer.warnings)
        return
    show(f"{part}, {axis}, one piece; bands hold 95 %")
    stiffness_rows(rows)
    lines("Before you rely on it:", answer.warnings)
    if written:
        show(f"written: {written}", wrap=False)


def stiffness_rows(rows: Sequence[dict[str, Any]], *, with_part: bool = False) -> None:
    """Print rows of :func:`matdb.exchange.tables.stiffness_table`."""
    from matdb.cli.screen import band_text, given_text, number_text, table

    suspended = any(r["mass_kg"] is not None for r in rows)
    table(
        [
            *(["part"] if with_part else []),
            "at degC",
            "at Hz",
            "stiffness, N/mm",
            "damping ratio",
            *(["natural frequency, Hz"] if suspended else []),
            "rests on",
        ],
        [
            [
                *([r["part"]] if with_part else []),
                given_text(r["temperature_c"]),
                number_text(r["frequency_hz"]),
                _band(r, "stiffness_n_per_mm", band_text),
                _band(r, "damping_ratio", band_text, 2),
                *([_band(r, "natural_frequency_hz", band_text)] if suspended else []),
                r["basis"] + (", extrapolated" if r["extrapolated"] and r["basis"] == "readings" else ""),
            ]
            for r in rows
        ],
        right=(1, 2) if with_part else (0, 1),
    )


def nested(row: dict[str, Any]) -> dict[str, Any]:
    """A flat row with its bands as ``{"median", "low", "high"}``."""
    bands = ("stiffness_n_per_mm", "damping_ratio", "natural_frequency_hz")
    out: dict[str, Any] = {}
    for key, value in row.items():
        stem = key.removesuffix("_low").removesuffix("_high")
        if stem not in bands:
            out[key] = value
        elif key == stem:
            low, high = row[f"{stem}_low"], row[f"{stem}_high"]
            out[key] = None if value is None else {"median": value, "low": low, "high": high}
    return out


def _band(row: dict[str, Any], name: str, text: Any, digits: int = 3) -> str:
    return str(text(row[name], row[f"{name}_low"], row[f"{name}_high"], digits))
