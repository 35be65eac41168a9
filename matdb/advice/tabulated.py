"""Effective stiffness as a table, for readers that only look up: what the store publishes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from matdb.advice.effective import ln_scale_at_rest, ln_scale_draws, suspended
from matdb.arrays import Array, Flags
from matdb.checks import checked_number
from matdb.curve.band import Band, band, median
from matdb.curve.curve import Curve
from matdb.errors import InputError
from matdb.fields import PlainRecord
from matdb.form.part import Part
from matdb.mounting.suspended import ln_storage

#: Every kelvin, so that a straight line between two rows stays within 0.5 % of the curve.
TEMPERATURES_C: Final = np.arange(-40.0, 61.0)
#: Lowest and least highest frequency, Hz, and the steps within a decade, at most a factor of two apart.
_LOWEST_HZ, _HIGHEST_HZ, _STEPS_HZ = 1.0, 100.0, (1.0, 2.0, 3.0, 5.0)
#: Squeezes over height that factors are told for.
_SQUEEZE_SHARES: Final = np.arange(0.0, 0.31, 0.05)
#: How readers are to look up between rows.
RULE: Final = (
    "between rows straight in temperature and in the logarithm of frequency; another squeeze than the rows' own "
    "squeeze_mm multiplies storage and loss stiffness by its factor over theirs, straight between squeezes"
)

#: The bands of each row, and how the names of their ends begin.
_BANDS: Final = {"stiffness_n_per_mm": "stiffness", "damping_ratio": "damping", "loss_n_per_mm": "loss"}
#: What each row holds, in this order.
COLUMNS: Final = (
    *("part", "axis", "temperature_c", "given_hz", "given_kg", "frequency_hz"),
    *(end for name, stem in _BANDS.items() for end in (name, f"{stem}_low", f"{stem}_high")),
    *("basis", "extrapolated"),
)


@dataclass(frozen=True, kw_only=True, eq=False)
class PartTable(PlainRecord):
    """A part in one direction over temperature and frequency, as the store publishes it; a row a state.

    Attributes
    ----------
    part, material, axis : str
        What it is of.
    squeeze_mm : float
        Static squeeze.
    temperature_c, frequency_hz : ndarray, shape (n,)
        Every kelvin, by frequency; look up between rows by ``rule``.
    stiffness_n_per_mm, loss_n_per_mm, damping_ratio : Band of ndarray, shape (n,)
        Storage and loss stiffness in N/mm, and half their ratio.
    extrapolated : ndarray of bool, shape (n,)
        Outside the measured temperatures or frequencies.
    basis : str
        "readings" or "family prior".
    fit_id : int or None
        The fit's number.
    is_current : bool
        Whether the fit knows every reading and record.
    table_version : int
        Of what the columns mean.
    rule : str
        How to look up between rows.
    """

    part: str
    material: str
    axis: str
    squeeze_mm: float
    temperature_c: Array
    frequency_hz: Array
    stiffness_n_per_mm: Band
    loss_n_per_mm: Band
    damping_ratio: Band
    extrapolated: Flags
    basis: str
    fit_id: int | None
    is_current: bool
    table_version: int = 2
    rule: str = RULE

    def _columns(self) -> dict[str, Any]:
        return {name: values.reshape(-1, len(TEMPERATURES_C)) for name, values in super()._columns().items()}


def part_table(curve: Curve, part: Part, axis: str, squeeze_mm: float, highest_hz: float) -> PartTable:
    """The table of one part in one direction, of :func:`stiffness_rows`. Raises InputError as a form does."""
    squeeze_mm = checked_number("squeeze_mm", squeeze_mm, 0.0, 1000.0, "mm")
    unit, squeezed = (float(part.form.stiffness_n_per_mm(1.0, axis, squeeze_mm=mm)) for mm in (0.0, squeeze_mm))
    rows = stiffness_rows(curve, [part], highest_hz=highest_hz, axes=(axis,))
    column = dict(zip(COLUMNS, map(np.array, zip(*rows, strict=True)), strict=True))

    def found(name: str, factor: float = 1.0) -> Band:
        ends = (name, f"{_BANDS[name]}_low", f"{_BANDS[name]}_high")
        return Band(*(factor * column[each] for each in ends))

    return PartTable(
        part=part.name,
        material=part.material,
        axis=axis,
        squeeze_mm=float(squeeze_mm),
        temperature_c=column["temperature_c"],
        frequency_hz=column["frequency_hz"],
        stiffness_n_per_mm=found("stiffness_n_per_mm", squeezed / unit),
        loss_n_per_mm=found("loss_n_per_mm", squeezed / unit),
        damping_ratio=found("damping_ratio"),
        extrapolated=column["extrapolated"].astype(bool),
        basis=curve.basis,
        fit_id=curve.fit_id,
        is_current=not curve.stale,
    )


def frequencies_hz(highest_hz: float = 0.0) -> list[float]:
    """Frequencies of the table in Hz, up to the first at or above the highest that matters, such as a rotor order."""
    found, decade = [_LOWEST_HZ], 0
    while found[-1] < max(highest_hz, _HIGHEST_HZ):
        decade, step = divmod(len(found), len(_STEPS_HZ))
        found.append(_LOWEST_HZ * _STEPS_HZ[step] * 10.0**decade)
    return found


def squeeze_factors(parts: Sequence[Part]) -> Iterator[tuple[str, str, float, float]]:
    """Part, axis, squeeze in mm and how much stiffer it is then: 1 unsqueezed, alone where a form takes no squeeze."""
    for part in parts:
        squeezes = np.unique(np.round(_SQUEEZE_SHARES * (part.form.squeezable_height_mm or 0.0), 6)).tolist()
        for axis in part.form.axes:
            with suppress(InputError):  # as far as the form can be squeezed
                unit = float(part.form.stiffness_n_per_mm(1.0, axis))
                for mm in squeezes:
                    yield part.name, axis, mm, float(part.form.stiffness_n_per_mm(1.0, axis, squeeze_mm=mm)) / unit


def stiffness_rows(
    curve: Curve,
    parts: Sequence[Part],
    masses_kg: Sequence[float] = (),
    highest_hz: float = 0.0,
    axes: Sequence[str] = (),
) -> Iterator[tuple[Any, ...]]:
    """Rows of stiffness and damping ratio of one unsqueezed piece; columns as ``COLUMNS``.

    Parameters
    ----------
    curve : Curve
        Of the material that the parts are made of.
    parts : sequence of Part
        All their axes are tabulated at :func:`frequencies_hz`, their first axis also under the masses.
    masses_kg : sequence of float
        Masses on one piece, kg: the row then holds at the natural frequency.
    highest_hz : float
        Highest frequency that matters.
    axes : sequence of str
        Only these; all without.

    Yields
    ------
    tuple
        The same numbers as :func:`matdb.advice.effective.effective`. ``given_hz`` or ``given_kg`` is None;
        ``extrapolated`` is 0 or 1. Axes in which a part cannot be computed are left out.
    """
    hertz = frequencies_hz(highest_hz)
    t = np.tile(TEMPERATURES_C, len(hertz))
    f = np.repeat(hertz, TEMPERATURES_C.size)
    ln_e = curve.ln_modulus(t, np.log(2.0 * np.pi * f))
    # The modulus is the same for all parts that give by their shape alone; only its scale is each part's own.
    alike = _stiffness_and_damping(ln_e)
    stiffest = curve.ln_stiffest(TEMPERATURES_C, hertz)
    outside = curve.extrapolated(t, f).astype(int)
    for part in parts:
        for axis in axes or part.form.axes:
            try:
                scale = ln_scale_draws(curve, part, axis, 0.0)
            except InputError:
                continue
            felt = curve.through(part.form, axis, stiffest)
            storage, damping = alike
            if felt is not curve:
                own = ln_e + part.form.ln_bulk_softening(axis, ln_e, curve.bulk_modulus_mpa)
                storage, damping = _stiffness_and_damping(own)
            found = _bands(storage * np.exp(scale)[:, None], damping)
            yield from table_rows(t.size, part.name, axis, t, f, None, f, *found, curve.basis, outside)
            for mass in masses_kg if axis == part.form.axes[0] else ():
                held = ln_scale_at_rest(felt, part, axis, 0.0, TEMPERATURES_C, mass)
                state = suspended(felt, held, mass, TEMPERATURES_C)
                at = median(state.frequency_hz)
                found = _bands(*_stiffness_and_damping(state.ln_stiffness))
                beyond = curve.extrapolated(TEMPERATURES_C, at).astype(int)
                columns = (part.name, axis, TEMPERATURES_C, None, mass, at, *found, curve.basis, beyond)
                yield from table_rows(TEMPERATURES_C.size, *columns)


def _stiffness_and_damping(ln_stiffness: Any) -> tuple[Any, Any]:
    return np.exp(ln_storage(ln_stiffness)), 0.5 * np.tan(ln_stiffness.imag)


def _bands(storage: Any, damping: Any) -> tuple[Band, Band, Band]:
    return band(storage), band(damping), band(2.0 * storage * damping)


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
