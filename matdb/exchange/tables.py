"""Answers and readings as rectangular tables, and the files that hold them, CSV or JSON, and say where from."""

from __future__ import annotations

import json
import math
import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np

from matdb.advice.answers import PartAnswers
from matdb.advice.effective import service_warnings, state_warnings, worst_first
from matdb.advice.tabulated import RULE, squeeze_factors, table_rows
from matdb.api import Store
from matdb.arrays import Array
from matdb.checks import checked_state
from matdb.curve.band import Band, band
from matdb.curve.curve import DAMPING_UNREAD, Curve
from matdb.curve.parameters import ln_shift
from matdb.errors import FitError
from matdb.exchange.reading_file import columns
from matdb.exchange.spreadsheet import write_rows
from matdb.exchange.whole_store import store_fingerprint
from matdb.fields import ending_of, low_high, plain
from matdb.files import write_text
from matdb.form.part import Part
from matdb.material.record import Material
from matdb.material.shift import ZERO_C
from matdb.mounting.record import Mounting
from matdb.store import StoredReading
from matdb.version import VERSION

#: States computed at once; bounds the memory that the draws take.
_CHUNK = 400
_TEXT: Final = frozenset(
    {"material", "part", "axis", "basis", "warnings", "kind", "who", "note", "source", "matdb_version", "value",
     "store_fingerprint", "taken_at", "logged_at", "retired_at", "retired_why", "extrapolated", "term", "law",
     "fit_id", "is_current", "table_version"}
)  # fmt: skip


@dataclass(frozen=True)
class AnswerTable:
    """A table with what must be known of it.

    Attributes
    ----------
    header : tuple of str
        Column names with units, as in JSON.
    rows : list of tuple
        Plain values.
    basis : str
        "readings" or "family prior".
    warnings : tuple of str
        All warnings, each once.
    more : mapping
        What belongs to the table as a whole; a file of JSON has it too.
    """

    header: tuple[str, ...]
    rows: list[tuple[Any, ...]]
    basis: str = ""
    warnings: tuple[str, ...] = ()
    more: Mapping[str, Any] = field(default_factory=dict)

    def records(self) -> list[dict[str, Any]]:
        """The rows as dictionaries."""
        return [dict(zip(self.header, row, strict=True)) for row in self.rows]

    def banded(self) -> list[dict[str, Any]]:
        """The rows as dictionaries, each band whole; None for one that has no number."""
        rows = self.records()
        for row in rows:
            for name in [each for each in row if f"{each}_low" in row]:
                low, high = row.pop(f"{name}_low"), row.pop(f"{name}_high")
                row[name] = None if row[name] is None else Band(row[name], low, high)
        return rows


def _header(*names: str, bands: Sequence[str]) -> tuple[str, ...]:
    ends = [f"{name}{end}" for name in bands for end in ("", "_low", "_high")]
    return (*names, *ends, "basis", "extrapolated", "warnings")


def _chunks(temperature_c: Array, frequency_hz: Array | None) -> Iterator[tuple[Array, Array | None]]:
    """All pairs, temperature by temperature, so many at a time; or the temperatures alone."""
    t, f = temperature_c, frequency_hz
    if f is not None:
        t, f = np.repeat(t, len(f)), np.tile(f, len(t))
    for start in range(0, len(t), _CHUNK):
        some = slice(start, start + _CHUNK)
        yield t[some], None if f is None else f[some]


def curve_warnings(
    curve: Curve, temperature_c: Array, frequency_hz: Array, material: Material | None = None
) -> tuple[str, ...]:
    """What to know of a curve's answer for these states, in plain words.

    Parameters
    ----------
    curve : Curve
        The curve.
    temperature_c, frequency_hz : ndarray
        Degrees Celsius and Hz; broadcast.
    material : Material, optional
        Its record; without it nothing is said of what the material is made for.
    """
    found = [] if curve.basis == "readings" else [curve.without_readings()]
    found.extend(curve.range_notes(temperature_c, frequency_hz))
    found.extend([] if material is None else service_warnings(curve, material, temperature_c))
    found.extend(curve.report.get("warnings", ()))
    return worst_first(found)


def curve_table(curve: Curve, material: Material, temperature_c: Array, frequency_hz: Array) -> AnswerTable:
    """Storage and loss modulus and loss factor over temperatures and frequencies, with 95 % bands.

    Parameters
    ----------
    curve, material
        A fit or a prior, and the record of what it is of.
    temperature_c : ndarray, shape (n,)
        Degrees Celsius.
    frequency_hz : ndarray, shape (m,)
        Hz.

    Returns
    -------
    AnswerTable
        n times m rows, temperature by temperature; moduli are of Young's kind, in MPa.

    Raises
    ------
    InputError
        A temperature or frequency out of range.
    """
    rows: list[tuple[Any, ...]] = []
    for t, f in _chunks(temperature_c, frequency_hz):
        assert f is not None
        found = curve.modulus(t, f)
        notes = [curve_warnings(curve, t[i : i + 1], f[i : i + 1], material) for i in range(len(t))]
        values = (curve.material, t, f, found.storage_mpa, found.loss_factor, curve.basis)
        rows += table_rows(len(t), *values, np.asarray(found.extrapolated), notes)
    header = _header("material", "temperature_c", "frequency_hz", bands=("storage_mpa", "loss_factor"))
    warnings = curve_warnings(curve, temperature_c[:, None], frequency_hz, material)
    return AnswerTable(header, rows, curve.basis, warnings)


def stiffness_table(
    store: Store,
    parts: Sequence[str],
    temperature_c: Array,
    *,
    frequency_hz: Array | None = None,
    squeeze_mm: Callable[[Part], float] | float = 0.0,
    **load: Any,
) -> AnswerTable:
    """Effective stiffness and damping ratio of parts over temperatures, at frequencies or under a mass.

    Parameters
    ----------
    store : Store
        The open store.
    parts : sequence of str
        Their names.
    temperature_c : ndarray, shape (n,)
        Degrees Celsius.
    frequency_hz : ndarray, shape (m,), optional
        Hz; give this or ``mass_kg``.
    squeeze_mm : float or callable
        Static squeeze in mm, of each part or of all.
    **load
        ``mass_kg``, ``count``, ``axis``, ``amplitude_mm`` and ``rest_h`` as of :meth:`matdb.api.Store.effective`.

    Raises
    ------
    NotFound, InputError
        As :meth:`matdb.api.Store.effective`.
    """
    header = _header(
        *("part", "material", "axis", "squeeze_mm", "temperature_c", "frequency_hz", "mass_kg", "count"),
        bands=("stiffness_n_per_mm", "damping_ratio", "natural_frequency_hz"),
    )
    mass_kg, count, axis = load.get("mass_kg"), load.get("count", 1), load.get("axis", "axial")
    rows: list[tuple[Any, ...]] = []
    every: dict[str, None] = {}
    bases = set()
    held = [(part, squeeze_mm(part) if callable(squeeze_mm) else squeeze_mm) for part in map(store.part, parts)]
    for part, mm in held:
        material, curve = store.material(part.material), store.current_curve(part.material).rested(load.get("rest_h"))
        for t, f in _chunks(temperature_c, frequency_hz):
            found = store.effective(part.name, t, f, squeeze_mm=mm, **load)
            every |= dict.fromkeys(found.warnings)
            bases.add(found.basis)
            hertz = np.broadcast_to(np.asarray(found.frequency_hz, dtype=float), t.shape)
            notes = [
                state_warnings(curve, material, part, t[at], hertz[at], axis=axis, squeeze_mm=mm)
                for at in (slice(i, i + 1) for i in range(len(t)))
            ]
            rung = found.natural_frequency_hz or Band(None, None, None)
            bands = (found.stiffness_n_per_mm, found.damping_ratio, rung)
            carried = (None, None) if mass_kg is None else (mass_kg, count)
            known = (part.name, part.material, axis, mm, t, hertz, *carried, *bands, found.basis)
            rows += table_rows(len(t), *known, np.asarray(found.extrapolated), notes)
    basis = bases.pop() if len(bases) == 1 else "readings and family prior"
    return AnswerTable(header, rows, basis, tuple(every))


def part_table(store: Store, parts: Sequence[str], axis: str | None = None, squeeze_mm: float = 0.0) -> AnswerTable:
    """The published table of some parts, see :meth:`matdb.api.Store.part_table`, and how to look up in it.

    Parameters
    ----------
    store : Store
        The open store.
    parts : sequence of str
        Their names.
    axis : str, optional
        Only this direction; all that a part can be computed in without it.
    squeeze_mm : float
        Static squeeze.

    Raises
    ------
    NotFound, InputError
        As there.
    """
    bands, last = ("stiffness_n_per_mm", "loss_n_per_mm", "damping_ratio"), ("fit_id", "is_current", "table_version")
    names = ("part", "material", "axis", "squeeze_mm", "temperature_c", "frequency_hz")
    rows: list[tuple[Any, ...]] = []
    factors = list(squeeze_factors([store.part(name) for name in parts]))
    every = [(name, axis) for name in parts] if axis else dict.fromkeys(row[:2] for row in factors)
    said: dict[str, None] = {}
    for name, each in every:
        found = store.part_table(name, axis=each, squeeze_mm=squeeze_mm)
        columns = (*names, *bands, "basis", "extrapolated", *last)
        warnings = store.current_curve(found.material).report.get("warnings", ())
        # What holds for all of them is told once, in the first row.
        notes = [tuple(warnings), *[()] * (len(found.temperature_c) - 1)]
        rows += table_rows(len(notes), *(getattr(found, column) for column in columns), notes)
        said |= dict.fromkeys(warnings)
    *own, told = _header(*names, bands=bands)
    header = (*own, *last, told)
    of_factors = ("part", "axis", "squeeze_mm", "stiffness_factor")
    more = {"rule": RULE, "squeeze_factors": [dict(zip(of_factors, row, strict=True)) for row in factors]}
    return AnswerTable(header, rows, warnings=tuple(said), more=more)


def readings_table(kept: Iterable[StoredReading]) -> AnswerTable:
    """Readings as a table that an import takes back.

    Parameters
    ----------
    kept : iterable of StoredReading
        The readings.

    Returns
    -------
    AnswerTable
        Columns that no reading fills are left out.
    """
    rows = [each.to_dict() for each in kept]
    wanted = ("number", *columns(), "logged_at", "retired_at", "retired_why", "corrects")
    always = {"number", "kind", "part", "temperature_c"}
    header = tuple(n for n in wanted if n in always or any(row.get(n) not in (None, "") for row in rows))
    return AnswerTable(header, [tuple(row.get(name) for name in header) for row in rows])


def records_table(records: Sequence[Material | Part | Mounting]) -> AnswerTable:
    """Materials, parts or mountings as a table, a row each: a part's dimensions beside its name, lists as JSON.

    Parameters
    ----------
    records : sequence of records
        Of one kind.

    Returns
    -------
    AnswerTable
        Columns that no record fills are left out.
    """
    rows: list[dict[str, Any]] = []
    for each in records:
        told = plain(each)
        told |= told.pop("form", {})
        nested = ((name, value) for name, value in told.items() if isinstance(value, list | dict))
        listed = {name: json.dumps(value, ensure_ascii=False) if value else "" for name, value in nested}
        rows.append(told | listed)
    header = dict.fromkeys(["name", *(name for row in rows for name, cell in row.items() if cell not in (None, ""))])
    return AnswerTable(tuple(header), [tuple(row.get(name) for name in header) for row in rows])


def units_of(header: Iterable[str]) -> dict[str, str]:
    """The unit of each column that holds a quantity; "1" for a plain number.

    Parameters
    ----------
    header : iterable of str
        Column names, each ending in its unit; a band's ends carry ``_low`` and ``_high`` behind it.
    """
    stems = {name: name.removesuffix("_low").removesuffix("_high") for name in header}
    return {name: ending_of(stem).label for name, stem in stems.items() if stem not in _TEXT}


def write_table(
    store: Store,
    path: str | os.PathLike[str],
    what: str,
    table: AnswerTable,
    *,
    force: bool = False,
    comma: bool = False,
) -> Path:
    """Write a table: JSON when the name ends in ``.json``, a workbook for ``.xlsx``, else CSV.

    The CSV is one plain rectangle, so that any spreadsheet opens it; what the JSON says once stands there in columns
    of its own: ``source``, ``matdb_version``, ``store_fingerprint``. Readings go without, since an import takes
    their columns back.

    Parameters
    ----------
    store : Store
        Where it comes from.
    what : str
        "curve", "shift", "prony", "stiffness", "readings".
    table : AnswerTable
        With cells of plain values, times, or None.
    path : str or path
        The file; its folder must be there.
    force : bool
        Replace a file that is there.
    comma : bool
        CSV with decimal commas, for people: answers with seven digits.

    Raises
    ------
    FileTaken
        The file is there already.
    MissingExtra
        A workbook without the package that writes it.
    InputError
        It is a folder.
    OSError
        The folder cannot be written.
    """
    header, rows = table.header, table.rows
    if Path(path).suffix.lower() == ".json":
        listed = plain(table.records(), finite=True)
        names = {row["material"] for row in listed if row.get("material")}
        names |= {store.part(name).material for name in {row["part"] for row in listed if row.get("part")}}
        document = {
            "format": "matdb table",
            "what": what,
            "matdb": VERSION,
            "store_fingerprint": store_fingerprint(store),
            "units": units_of(header),
            "sources": {name: store.material(name).source for name in sorted(names)},
            **table.more,
            "rows": listed,
        }
        return write_text(path, json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n", force=force)
    if what != "readings":
        mark, at = store_fingerprint(store), header.index("material")
        sources = {name: store.material(name).source for name in {row[at] for row in rows}}
        header = (*header, "source", "matdb_version", "store_fingerprint")
        rows = [(*row, sources[row[at]], VERSION, mark) for row in rows]
        if comma:
            rows = [tuple(float(f"{v:.7g}") if isinstance(v, float) else v for v in row) for row in rows]
    return write_rows(path, what, header, rows, notes=table.warnings, comma=comma, force=force)


def shift_table(curve: Curve, temperature_c: Array) -> AnswerTable:
    """Shift factors over temperature, relative to 23 degC, with 95 % bands.

    Parameters
    ----------
    curve : Curve
        A fit or a prior.
    temperature_c : ndarray, shape (n,)
        Degrees Celsius.

    Returns
    -------
    AnswerTable
        Of n rows: log10 a_T and its band, the median of log10 b_T, and whether it was measured.
    """
    t = checked_state(temperature_c, 1.0)[0].reshape(-1)
    shift = band(ln_shift(curve.parameters, t + ZERO_C) / math.log(10.0))
    low, high = curve.measured_c or (math.inf, -math.inf)
    columns = {
        "material": curve.material,
        "temperature_c": t,
        "log10_shift": curve.median_ln_shift(t) / math.log(10.0),
        "log10_shift_low": shift.low,
        "log10_shift_high": shift.high,
        "log10_vertical_shift": curve.median_ln_vertical(t) / math.log(10.0),
        "basis": curve.basis,
        "extrapolated": (t < low - 0.5) | (t > high + 0.5),
        "warnings": [_shift_warnings(curve, np.array([each])) for each in t],
    }
    rows = list(table_rows(len(t), *columns.values()))
    return AnswerTable(tuple(columns), rows, curve.basis, _shift_warnings(curve, temperature_c))


def _shift_warnings(curve: Curve, temperature_c: Array) -> tuple[str, ...]:
    """What to know of shift factors at temperatures in degrees Celsius, shape (n,), in plain words.

    A shift factor holds for any frequency, so the middle of those read is asked, and not of damping there.
    """
    ln_hz = np.mean(curve.measured_ln_hz or (0.0, 0.0)) - curve.median_ln_shift(temperature_c)
    hertz = np.exp(np.clip(ln_hz, -600.0, 27.0))  # no frequency overflows or is none
    return tuple(note for note in curve_warnings(curve, temperature_c, hertz) if note != DAMPING_UNREAD)


def prony_table(curve: Curve) -> AnswerTable:
    """Prony terms of the median curve at 23 degC, for finite-element programs and simulators.

    Parameters
    ----------
    curve : Curve
        A fit or a prior.

    Returns
    -------
    AnswerTable
        One row a term, the equilibrium modulus first with an endless time left empty; and what belongs to the series
        as a whole: equation, errors, range, the table of shift factors.

    Raises
    ------
    FitError
        No series meets the curve.
    """
    from matdb.curve.prony import prony_series

    found = prony_series(curve)
    total = found.equilibrium_mpa + float(found.moduli_mpa.sum())
    if not total > 0.0:
        raise FitError(curve.material, "the series has no stiffness")
    at_23, moduli = np.array([23.0]), np.array([found.equilibrium_mpa, *found.moduli_mpa])
    # A term speaks for the frequency at which it peaks; the equilibrium for the lowest of the range.
    hertz = np.array([found.range_hz[0], *(1.0 / (2.0 * math.pi * found.times_s))])
    columns = {
        "material": curve.material,
        "term": np.arange(len(moduli)),
        "relaxation_time_s": [None, *found.times_s.tolist()],
        "modulus_mpa": moduli,
        "relative_modulus": moduli / total,
        "basis": curve.basis,
        "extrapolated": np.broadcast_to(curve.extrapolated(at_23, hertz), len(moduli)),
        "warnings": [curve_warnings(curve, at_23, np.array([f])) for f in hertz],
    }
    more = {
        "equation": "E(s) = E0 + sum Ei s ti / (1 + s ti), s = 2 pi i f aT; at a temperature times bT",
        "reference_c": 23.0,
        "storage_error": found.storage_error,
        "loss_error": found.loss_error,
        "range_hz": low_high(found.range_hz),
        "extrapolated": found.extrapolated,
        "shift": {
            "temperature_c": found.shift_c.tolist(),
            "log10_shift": (found.ln_shift / math.log(10.0)).tolist(),
            "log10_vertical_shift": (found.ln_vertical / math.log(10.0)).tolist(),
        },
    }
    rows = list(table_rows(len(moduli), *columns.values()))
    warnings = curve_warnings(curve, np.full(2, 23.0), np.array(found.range_hz))
    return AnswerTable(tuple(columns), rows, curve.basis, warnings, more)


def springs_table(known: PartAnswers, temperature_c: float) -> AnswerTable:
    """A part at a temperature as springs and dampers; see :meth:`matdb.advice.answers.PartAnswers.spring_terms`.

    Parameters
    ----------
    known : PartAnswers
        The part, its direction and squeeze.
    temperature_c : float
        Degrees Celsius.

    Returns
    -------
    AnswerTable
        One row a term, the stiffness at rest first with an endless time left empty; what belongs to the series as a
        whole, with the matrices of a state space.
    """
    found = known.spring_terms(temperature_c)
    stiffness, ends = (
        np.array([found.static_n_per_mm, *found.terms_n_per_mm]),
        known.effective(temperature_c, found.range_hz),
    )
    columns = {
        "part": known.part.name,
        "material": known.part.material,
        "axis": known.axis,
        "squeeze_mm": known.squeeze_mm,
        "temperature_c": found.temperature_c,
        "term": np.arange(len(stiffness)),
        "relaxation_time_s": [None, *found.times_s.tolist()],
        "stiffness_n_per_mm": stiffness,
        "tilting_n_mm_per_rad": None if found.tilting_mm2 is None else stiffness * found.tilting_mm2,
        "basis": known.curve.basis,
        "extrapolated": bool(np.any(ends.extrapolated)),
        "warnings": ends.warnings,
    }
    more = {
        "equation": "K(s) = K0 + sum Ki s ti / (1 + s ti), s = 2 pi i f; z' = A z + B x, F = C z + D x in N, x in mm",
        "note": "the loss factor is twice the damping ratio; the decay ratio of a mass on it is some per cent off that",
        "storage_error": found.storage_error,
        "loss_error": found.loss_error,
        "range_hz": low_high(found.range_hz),
        "state_space": dict(zip("ABCD", (each.tolist() for each in found.state_space()), strict=True)),
    }
    rows = list(table_rows(len(stiffness), *columns.values()))
    return AnswerTable(tuple(columns), rows, known.curve.basis, ends.warnings, more)
