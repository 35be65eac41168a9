"""Answers and readings as rectangular tables: a header with units, and plain rows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from matdb.api import Store
    from matdb.curve.band import Band
    from matdb.curve.curve import Curve
    from matdb.store.stored import StoredReading

    Array = NDArray[np.float64]

__all__ = ["AnswerTable", "curve_table", "curve_warnings", "readings_table", "stiffness_table"]

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


def _band_columns(name: str) -> tuple[str, str, str]:
    return name, f"{name}_low", f"{name}_high"


def _at(found: Band | None, index: int) -> tuple[float | None, ...]:
    import numpy as np

    if found is None:
        return (None, None, None)
    return tuple(float(np.asarray(v).reshape(-1)[index]) for v in (found.median, found.low, found.high))


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
    import numpy as np

    t = np.repeat(temperature_c, len(frequency_hz))
    f = np.tile(frequency_hz, len(temperature_c))
    header = (
        "material",
        "temperature_c",
        "frequency_hz",
        *_band_columns("storage_mpa"),
        *_band_columns("loss_factor"),
        "basis",
        "extrapolated",
        "warnings",
    )
    rows: list[tuple[Any, ...]] = []
    for start in range(0, len(t), _CHUNK):
        part_t, part_f = t[start : start + _CHUNK], f[start : start + _CHUNK]
        found = curve.modulus(part_t, part_f)
        outside = np.asarray(found.extrapolated).reshape(-1)
        for i in range(len(part_t)):
            notes = curve_warnings(curve, part_t[i : i + 1], part_f[i : i + 1])
            rows.append(
                (
                    curve.material,
                    float(part_t[i]),
                    float(part_f[i]),
                    *_at(found.storage_mpa, i),
                    *_at(found.loss_factor, i),
                    curve.basis,
                    bool(outside[i]),
                    "; ".join(notes),
                )
            )
    return AnswerTable(header, rows, curve.basis, curve_warnings(curve, t, f))


def stiffness_table(
    store: Store,
    parts: Sequence[str],
    temperature_c: Array,
    *,
    frequency_hz: Array | None = None,
    mass_kg: float | None = None,
    count: int = 1,
    axis: str = "axial",
    squeeze_mm: float = 0.0,
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
        As :meth:`matdb.api.Store.effective`.

    Raises
    ------
    NotFound, InputError
        As :meth:`matdb.api.Store.effective`.
    """
    import numpy as np

    from matdb.advice.effective import state_warnings

    header = (
        "part",
        "material",
        "axis",
        "squeeze_mm",
        "temperature_c",
        "frequency_hz",
        "mass_kg",
        "count",
        *_band_columns("stiffness_n_per_mm"),
        *_band_columns("damping_ratio"),
        *_band_columns("natural_frequency_hz"),
        "basis",
        "extrapolated",
        "warnings",
    )
    rows: list[tuple[Any, ...]] = []
    every: dict[str, None] = {}
    bases = set()
    t = temperature_c
    f: Array | None = None
    if frequency_hz is not None:
        t, f = np.repeat(temperature_c, len(frequency_hz)), np.tile(frequency_hz, len(temperature_c))
    for name in parts:
        part = store.part(name)
        material, curve = store.material(part.material), store.curve(part.material)
        for start in range(0, len(t), _CHUNK):
            states = t[start : start + _CHUNK]
            found = store.effective(
                name,
                states,
                None if f is None else f[start : start + _CHUNK],
                mass_kg=mass_kg,
                count=count,
                axis=axis,
                squeeze_mm=squeeze_mm,
            )
            every |= dict.fromkeys(found.warnings)
            bases.add(found.basis)
            at_hz = np.broadcast_to(np.asarray(found.frequency_hz, dtype=float), states.shape)
            outside = np.broadcast_to(np.asarray(found.extrapolated), states.shape)
            for i in range(len(states)):
                notes = state_warnings(
                    curve,
                    material,
                    part,
                    states[i : i + 1],
                    at_hz[i : i + 1],
                    axis=axis,
                    squeeze_mm=squeeze_mm,
                )
                rows.append(
                    (
                        part.name,
                        part.material,
                        axis,
                        squeeze_mm,
                        float(states[i]),
                        float(at_hz[i]),
                        mass_kg,
                        count if mass_kg is not None else None,
                        *_at(found.stiffness_n_per_mm, i),
                        *_at(found.damping_ratio, i),
                        *_at(found.natural_frequency_hz, i),
                        found.basis,
                        bool(outside[i]),
                        "; ".join(notes),
                    )
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
    from matdb.exchange.columns import columns
    from matdb.plain import fields_of

    rows = []
    for each in kept:
        reading = each.reading
        rows.append(
            {
                "number": each.id,
                "kind": reading.kind,
                **fields_of(reading),
                "logged_at": each.logged_at,
                "retired_at": each.retired_at,
                "retired_why": each.retired_why,
                "corrects": each.corrects_id,
            }
        )
    wanted = ("number", *columns(), "logged_at", "retired_at", "retired_why", "corrects")
    always = {"number", "kind", "part", "temperature_c"}
    header = tuple(n for n in wanted if n in always or any(row.get(n) not in (None, "") for row in rows))
    return header, [tuple(row.get(name) for name in header) for row in rows]
