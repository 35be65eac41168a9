"""Answers and readings as rectangular tables: a header with units, and plain rows."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from matdb.advice.effective import state_warnings
from matdb.curve.band import Band
from matdb.exchange.columns import columns

if TYPE_CHECKING:
    from matdb.api import Store
    from matdb.curve.curve import Curve
    from matdb.form.part import Part
    from matdb.store.stored import StoredReading

Array = NDArray[np.float64]

#: States computed at once; bounds the memory that the draws take.
_CHUNK = 400


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
    """

    header: tuple[str, ...]
    rows: list[tuple[Any, ...]]
    basis: str
    warnings: tuple[str, ...]

    def records(self) -> list[dict[str, Any]]:
        """The rows as dictionaries."""
        return [dict(zip(self.header, row, strict=True)) for row in self.rows]


def _header(*names: str, bands: Sequence[str]) -> tuple[str, ...]:
    ends = [f"{name}{end}" for name in bands for end in ("", "_low", "_high")]
    return (*names, *ends, "basis", "extrapolated", "warnings")


def table_rows(count: int, *values: Any) -> Iterator[tuple[Any, ...]]:
    """Rows of plain values from columns: an array or a list over the rows, one value for all of them, or a band."""
    listed = []
    for value in values:
        for each in (value.median, value.low, value.high) if isinstance(value, Band) else (value,):
            if isinstance(each, np.ndarray):
                listed.append(np.broadcast_to(each, count).tolist())
            else:
                listed.append(each if isinstance(each, list) else [each] * count)
    return zip(*listed, strict=True)


def _chunks(temperature_c: Array, frequency_hz: Array | None) -> Iterator[tuple[Array, Array | None]]:
    """All pairs, temperature by temperature, so many at a time; or the temperatures alone."""
    t, f = temperature_c, frequency_hz
    if f is not None:
        t, f = np.repeat(t, len(f)), np.tile(f, len(t))
    for start in range(0, len(t), _CHUNK):
        some = slice(start, start + _CHUNK)
        yield t[some], None if f is None else f[some]


def curve_warnings(curve: Curve, temperature_c: Array, frequency_hz: Array) -> tuple[str, ...]:
    """What to know of a curve's answer for these states, in plain words.

    Parameters
    ----------
    curve : Curve
        The curve.
    temperature_c, frequency_hz : ndarray
        Degrees Celsius and Hz; broadcast.
    """
    found = [] if curve.basis == "readings" else [curve.without_readings()]
    found.extend(curve.range_notes(temperature_c, frequency_hz))
    found.extend(curve.report.get("warnings", ()))
    return tuple(dict.fromkeys(found))


def curve_table(curve: Curve, temperature_c: Array, frequency_hz: Array) -> AnswerTable:
    """Storage and loss modulus and loss factor over temperatures and frequencies, with 95 % bands.

    Parameters
    ----------
    curve : Curve
        A fit or a prior.
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
        notes = ["; ".join(curve_warnings(curve, t[i : i + 1], f[i : i + 1])) for i in range(len(t))]
        values = (curve.material, t, f, found.storage_mpa, found.loss_factor, curve.basis)
        rows += table_rows(len(t), *values, np.asarray(found.extrapolated), notes)
    header = _header("material", "temperature_c", "frequency_hz", bands=("storage_mpa", "loss_factor"))
    warnings = curve_warnings(curve, temperature_c[:, None], frequency_hz)
    return AnswerTable(header, rows, curve.basis, warnings)


def stiffness_table(
    store: Store,
    parts: Sequence[str],
    temperature_c: Array,
    *,
    frequency_hz: Array | None = None,
    mass_kg: float | None = None,
    count: int = 1,
    axis: str = "axial",
    squeeze_mm: Callable[[Part], float] | float = 0.0,
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
    mass_kg, count, axis, squeeze_mm
        As :meth:`matdb.api.Store.effective`; the squeeze may also be a function of the part.

    Raises
    ------
    NotFound, InputError
        As :meth:`matdb.api.Store.effective`.
    """
    header = _header(
        *("part", "material", "axis", "squeeze_mm", "temperature_c", "frequency_hz", "mass_kg", "count"),
        bands=("stiffness_n_per_mm", "damping_ratio", "natural_frequency_hz"),
    )
    rows: list[tuple[Any, ...]] = []
    every: dict[str, None] = {}
    bases = set()
    for name in parts:
        part = store.part(name)
        material, curve = store.material(part.material), store.current_curve(part.material)
        mm = squeeze_mm(part) if callable(squeeze_mm) else squeeze_mm
        for t, f in _chunks(temperature_c, frequency_hz):
            found = store.effective(name, t, f, mass_kg=mass_kg, count=count, axis=axis, squeeze_mm=mm)
            every |= dict.fromkeys(found.warnings)
            bases.add(found.basis)
            hertz = np.broadcast_to(np.asarray(found.frequency_hz, dtype=float), t.shape)
            notes = [
                "; ".join(state_warnings(curve, material, part, t[at], hertz[at], axis=axis, squeeze_mm=mm))
                for at in (slice(i, i + 1) for i in range(len(t)))
            ]
            rows += table_rows(
                len(t),
                *(part.name, part.material, axis, mm, t, hertz),
                *((None, None) if mass_kg is None else (mass_kg, count)),
                *(found.stiffness_n_per_mm, found.damping_ratio),
                *((None,) * 3 if found.natural_frequency_hz is None else (found.natural_frequency_hz,)),
                *(found.basis, np.asarray(found.extrapolated), notes),
            )
    basis = bases.pop() if len(bases) == 1 else "readings and family prior"
    return AnswerTable(header, rows, basis, tuple(every))


def readings_table(kept: Iterable[StoredReading]) -> tuple[tuple[str, ...], list[tuple[Any, ...]]]:
    """Readings as a table that an import takes back.

    Parameters
    ----------
    kept : iterable of StoredReading
        The readings.

    Returns
    -------
    tuple
        Header and rows; columns that no reading fills are left out.
    """
    rows = [each.to_dict() for each in kept]
    wanted = ("number", *columns(), "logged_at", "retired_at", "retired_why", "corrects")
    always = {"number", "kind", "part", "temperature_c"}
    header = tuple(n for n in wanted if n in always or any(row.get(n) not in (None, "") for row in rows))
    return header, [tuple(row.get(name) for name in header) for row in rows]
