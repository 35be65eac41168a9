"""One part, loaded once, for programs that ask it again and again: in a loop, or for thousands of states."""

from __future__ import annotations

import math
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import ArrayLike

from matdb.advice.effective import Effective, checked_question, effective, over_masses, several_masses, state_warnings
from matdb.arrays import Array, Complex, Places
from matdb.checks import ABSOLUTE_ZERO_C, checked_number, checked_state
from matdb.curve.band import SHARE, Band, band, drawn
from matdb.curve.curve import Curve
from matdb.errors import InputError
from matdb.form.part import Part
from matdb.material.record import Material, service_range
from matdb.mounting.suspended import natural_ln_omega

if TYPE_CHECKING:
    from matdb.curve.prony import SpringTerms

#: Nodes of the table of medians: every kelvin, and every half neper of frequency (13 of them from 1 to 500 Hz).
_COLDEST_C: Final = -120.0
_NODES_C: Final = 321
_LOWEST_LN_HZ: Final = math.log(1e-2)
_STEP_LN_HZ: Final = 0.5
_NODES_HZ: Final = 33
#: Temperatures computed together when a column of the table is first asked for.
_BLOCK: Final = 32
_LN_2PI: Final = math.log(2.0 * math.pi)
#: Types of a single number that cost and mean what a float does.
_ONE: Final = {int, np.float64, np.float32, np.int64, np.int32}


@dataclass(slots=True, eq=False)
class MedianAnswer:
    """Medians of what a part does, without bands.

    Attributes
    ----------
    stiffness_n_per_mm : float or ndarray
        Dynamic (storage) stiffness of one part, N/mm.
    damping_ratio : float or ndarray
        Half the loss factor.
    natural_frequency_hz : float, ndarray or None
        With a mass.
    frequency_hz : float or ndarray
        The frequency that the stiffness holds at: the one asked for, or the natural one.
    extrapolated : bool or ndarray
        Outside the measured temperatures or frequencies (everything, for a prior).
    """

    _answers: PartAnswers
    _temperature_c: Any
    stiffness_n_per_mm: Any
    damping_ratio: Any
    natural_frequency_hz: Any
    frequency_hz: Any
    extrapolated: Any

    @property
    def basis(self) -> str:
        """What the answer rests on: "readings" or "family prior"."""
        return self._answers.curve.basis

    @property
    def warnings(self) -> tuple[str, ...]:
        """What to know of these states; put into words when asked for. Of the mass itself nothing is said."""
        known = self._answers
        t, f = np.broadcast_arrays(np.asarray(self._temperature_c, float), np.asarray(self.frequency_hz, float))
        return state_warnings(
            known.curve, known.material, known.part, t, f, axis=known.axis, squeeze_mm=known.squeeze_mm
        )


class PartAnswers:
    """A part with its curve and geometry at hand.

    It holds what the store said when it was made: ask the store for another after a fit or a correction.

    Parameters
    ----------
    curve, material, part
        The material's curve and record, and the part.
    axis : str
        One of the form's axes.
    squeeze_mm : float
        Static squeeze of each part.

    Raises
    ------
    InputError
        No such axis, or a squeeze that the form does not take.
    """

    def __init__(
        self, curve: Curve, material: Material, part: Part, *, axis: str = "axial", squeeze_mm: float = 0.0
    ) -> None:
        part.form.offset_sd(axis)  # refuses an axis that the form lacks
        self.material, self.part = material, part
        self.curve = curve = curve.through(part.form, axis, curve.ln_stiffest(np.array(service_range(material)[0])))
        self.axis, self.squeeze_mm = axis, float(squeeze_mm)
        unit = float(part.form.stiffness_n_per_mm(1.0, axis, squeeze_mm=squeeze_mm))
        self._ln_scale = math.log(unit) + curve.offset_draws(part, axis)
        # A pair under a mass may lose its upper half: then its draws are no longer one curve and a scale.
        self._one_scale = part.form.pair is None or axis != "axial"
        # ln of stiffness, of damping ratio, of their bands' ends; a block of temperatures at one frequency
        # is computed when asked for.
        self._table = np.full((6, _NODES_C, _NODES_HZ), np.nan)
        self._there = np.zeros((-(-_NODES_C // _BLOCK), _NODES_HZ), dtype=bool)
        self._ln_shift = curve.median_ln_shift(_COLDEST_C + np.arange(float(_NODES_C)))

    def __repr__(self) -> str:
        return f"PartAnswers({self.part.name!r}, {self.axis}, squeezed by {self.squeeze_mm:g} mm, of {self.curve!r})"

    def effective(
        self,
        temperature_c: ArrayLike,
        frequency_hz: ArrayLike | None = None,
        *,
        mass_kg: ArrayLike | None = None,
        count: int = 1,
        share: float = SHARE,
    ) -> Effective:
        """Stiffness and damping ratio with bands and warnings; see :func:`matdb.advice.effective.effective`."""
        return effective(
            self.curve,
            self.material,
            self.part,
            temperature_c,
            frequency_hz=frequency_hz,
            mass_kg=mass_kg,
            count=count,
            axis=self.axis,
            squeeze_mm=self.squeeze_mm,
            share=share,
        )

    def complex_stiffness(self, temperature_c: ArrayLike, frequency_hz: ArrayLike) -> Complex:
        """Complex stiffness of one part in N/mm, of the medians that :meth:`median` tells.

        Parameters
        ----------
        temperature_c, frequency_hz : array_like
            Degrees Celsius and Hz; they broadcast.

        Returns
        -------
        ndarray of complex, in their shape
            K' + i K'', with K''/K' the loss factor, twice the damping ratio.

        Raises
        ------
        InputError
            A value out of range.
        """
        known = self.median(temperature_c, frequency_hz)
        return np.asarray(np.asarray(known.stiffness_n_per_mm) * (1.0 + 2.0j * np.asarray(known.damping_ratio)))

    def draws(self, temperature_c: ArrayLike, frequency_hz: ArrayLike, *, n: int = 400, seed: int = 0) -> Complex:
        """Draws of the complex stiffness of one part in N/mm: one and the same part and rubber in each row.

        Rows hold together over states, so that what is computed from them has the right spread: the part's offset
        and the model's own misfit are in them. A curve has some 200 to 400 draws; more than those repeat them.

        Parameters
        ----------
        temperature_c, frequency_hz : array_like
            Degrees Celsius and Hz; they broadcast to a shape S.
        n : int
            1 to 100,000.
        seed : int
            0 or more, decides which draws and in which order.

        Returns
        -------
        ndarray of complex, shape (n, *S)

        Raises
        ------
        InputError
            A value out of range.
        """
        t, f = checked_state(temperature_c, frequency_hz)
        ln_k = self.curve.ln_modulus(t, np.log(2.0 * np.pi * f))
        return drawn(ln_k + self._ln_scale.reshape(-1, *(1,) * t.ndim), n, seed)

    def spring_terms(self, temperature_c: float) -> SpringTerms:
        """The part at one temperature as springs and dampers for a simulator, 1 to 300 Hz and at rest.

        They aim at 1 % of the median storage stiffness and 3 % of the loss, and tell what they reach.

        Parameters
        ----------
        temperature_c : float
            Degrees Celsius.

        Raises
        ------
        InputError
            A temperature out of range.
        """
        from matdb.curve.prony import asked_hz, medians, spring_terms

        t = checked_number("temperature_c", temperature_c, ABSOLUTE_ZERO_C, 400.0, "degrees Celsius", open_low=True)
        form, tilting = self.part.form, None
        with suppress(InputError):
            tilting = form.tilting_stiffness_n_mm_per_rad() / form.stiffness_n_per_mm(axis=self.axis)
        f = asked_hz()
        ln_k = self.curve.ln_modulus(np.full(f.shape, t), np.log(2.0 * np.pi * f)) + self._ln_scale[:, None]
        return spring_terms(medians(ln_k), t, tilting)

    def median(
        self,
        temperature_c: ArrayLike,
        frequency_hz: ArrayLike | None = None,
        *,
        mass_kg: ArrayLike | None = None,
        count: int = 1,
    ) -> MedianAnswer:
        """Median stiffness and damping ratio alone, some hundred times as fast as with bands.

        The medians over the draws are tabulated over temperature (-120 to 200 degC, every kelvin) and frequency (0.01
        Hz to 90 kHz, five a decade) as they are asked for, and interpolated with cubics. Stiffness is within 0.3 % of
        the median that :meth:`effective` gives at a frequency (or of its band's width in ln, where that is more), 0.6 %
        under a mass, where the natural frequency is that of the median stiffness; damping within 0.5 %, or 3 % of its
        band's width in ln (6 % under a mass) where that is more. States outside the table, and a grommet pair under a
        mass, are computed in full.

        Parameters
        ----------
        temperature_c : array_like
            Degrees Celsius, any shape.
        frequency_hz : array_like, optional
            Hz; broadcasts with the temperature. Give this or ``mass_kg``.
        mass_kg : array_like, optional
            Mass on ``count`` parts; the frequency is then the natural one. Broadcasts with the temperature.
        count : int
            Parts that share the mass.

        Raises
        ------
        InputError
            Neither or both of frequency and mass, or a value out of range.
        """
        try:
            if type(temperature_c) in _ONE:
                temperature_c = float(temperature_c)  # type: ignore[arg-type]
            if type(frequency_hz) in _ONE:
                frequency_hz = float(frequency_hz)  # type: ignore[arg-type]
        except OverflowError:
            pass  # too large, as the checks below say
        if several_masses(mass_kg):
            return over_masses(
                lambda t, m: self.median(t, frequency_hz, mass_kg=m, count=count), temperature_c, mass_kg
            )
        if mass_kg is None and type(temperature_c) is float and type(frequency_hz) is float:
            # The common call in a loop: none of NumPy's machinery for arrays of one element.
            found = self._single(temperature_c, frequency_hz)
            if found is not None:
                return found
        share = checked_question(frequency_hz, mass_kg, count)
        if share is not None and type(temperature_c) is float and self._one_scale:
            at = self._single_natural(temperature_c, share)
            found = None if at is None else self._single(temperature_c, at)
            if found is not None:
                found.natural_frequency_hz = at
                return found
        t, f = checked_state(temperature_c, 30.0 if frequency_hz is None else frequency_hz)
        rows = (t - _COLDEST_C).reshape(-1)
        if share is not None:
            f = (
                np.asarray(self._natural(rows, share).reshape(t.shape))
                if self._one_scale and t.size
                else np.full(t.shape, np.nan)
            )
        columns = ((np.log(f) - _LOWEST_LN_HZ) / _STEP_LN_HZ).reshape(-1)
        if not _inside(rows, columns):
            whole = self.effective(temperature_c, frequency_hz, mass_kg=mass_kg, count=count)
            natural = whole.natural_frequency_hz and whole.natural_frequency_hz.median
            medians = whole.stiffness_n_per_mm.median, whole.damping_ratio.median
            return MedianAnswer(self, t, *medians, natural, whole.frequency_hz, whole.extrapolated)
        stiffness, damping = np.exp(self._looked_up(rows, columns)).reshape(2, *t.shape)
        shift = _cubic(self._ln_shift, rows).reshape(t.shape)
        outside = self.curve.outside(t, np.log(f) + shift)
        if t.ndim == 0:
            stiffness, damping, f, outside = (np.asarray(v).item() for v in (stiffness, damping, f, outside))
        natural = None if share is None else f
        return MedianAnswer(self, t, stiffness, damping, natural, f if t.ndim == 0 else f.copy(), outside)

    def banded(self, temperature_c: ArrayLike, frequency_hz: ArrayLike) -> Effective:
        """As :meth:`effective` at frequencies, from the table that :meth:`median` looks up in: many times as fast.

        Medians as there; ends of bands within 1 %, or 5 % of their band's width where that is more. States outside the
        table are computed in full.

        Parameters
        ----------
        temperature_c, frequency_hz : array_like
            Degrees Celsius and Hz; they broadcast.

        Raises
        ------
        InputError
            A value out of range.
        """
        t, f = temperature_c, frequency_hz
        one = self._at(t, f, 6) if type(t) is float and type(f) is float else None
        if one is not None:
            found, reduced = one
            outside: Any = bool(self.curve.outside(t, reduced))
        else:
            t, f = checked_state(t, f)
            rows = (t - _COLDEST_C).reshape(-1)
            columns = ((np.log(f) - _LOWEST_LN_HZ) / _STEP_LN_HZ).reshape(-1)
            if not _inside(rows, columns):
                return self.effective(t, f)
            if t.ndim == 0:
                return self.banded(t.item(), f.item())
            found = np.exp(self._looked_up(rows, columns, 6)).reshape(6, *t.shape)
            reduced = np.log(f) + _cubic(self._ln_shift, rows).reshape(t.shape)
            outside = self.curve.outside(t, reduced)
        about: dict[str, Any] = {"axis": self.axis, "squeeze_mm": self.squeeze_mm, "ln_reduced_hz": np.asarray(reduced)}
        at, asked = np.asarray(t), np.asarray(f)
        return Effective(
            temperature_c=t,
            stiffness_n_per_mm=Band(found[0], found[2], found[3]),
            damping_ratio=Band(found[1], found[4], found[5]),
            natural_frequency_hz=None,
            frequency_hz=f,
            basis=self.curve.basis,
            extrapolated=outside,
            warnings=state_warnings(self.curve, self.material, self.part, at, asked, **about),
        )

    # -- inside --------------------------------------------------------------------------------------------

    def _single(self, t: float, f: float) -> MedianAnswer | None:
        """One state inside the table in plain Python; None for any other."""
        found = self._at(t, f, 2)
        if found is None:
            return None
        (stiffness, damping), reduced = found
        return MedianAnswer(self, t, stiffness, damping, None, f, bool(self.curve.outside(t, reduced)))

    def _at(self, t: float, f: float, kinds: int) -> tuple[list[float], float] | None:
        """What the table has at one state, and ln of its reduced frequency; None outside of the table."""
        x = t - _COLDEST_C
        if not (1.0 <= x < _NODES_C - 2 and f > 0.0):
            return None
        ln_hz = math.log(f)
        y = (ln_hz - _LOWEST_LN_HZ) / _STEP_LN_HZ
        if not 1.0 <= y < _NODES_HZ - 2:
            return None
        i, j = int(x), int(y)
        u, v = x - i, y - j
        self._fill(i, i, j, j)
        a, b = _weights(u), _weights(v)
        near = self._table[:kinds, i - 1 : i + 3, j - 1 : j + 3].tolist()
        found = [
            math.exp(
                sum(p * (b[0] * r[0] + b[1] * r[1] + b[2] * r[2] + b[3] * r[3]) for p, r in zip(a, rows, strict=True))
            )
            for rows in near
        ]
        shift = self._ln_shift[i - 1 : i + 3].tolist()
        return found, ln_hz + sum(p * s for p, s in zip(a, shift, strict=True))

    def _single_natural(self, t: float, mass_kg: float) -> float | None:
        """As :meth:`_natural` for one temperature in plain Python; None where the table ends."""
        x = t - _COLDEST_C
        if not 1.0 <= x < _NODES_C - 2:
            return None
        i = int(x)
        a = _weights(x - i)

        def law(ln_omega: float) -> tuple[float, float]:
            y = (ln_omega - _LN_2PI - _LOWEST_LN_HZ) / _STEP_LN_HZ
            if not 1.0 <= y < _NODES_HZ - 2:
                return math.nan, 0.0
            j = int(y)
            self._fill(i, i, j, j)
            r0, r1, r2, r3 = self._table[0, i - 1 : i + 3, j - 1 : j + 3].tolist()
            across = [a[0] * r0[c] + a[1] * r1[c] + a[2] * r2[c] + a[3] * r3[c] for c in range(4)]
            value = slope = 0.0
            for w, rate, k in zip(_weights(y - j), _weight_slopes(y - j), across, strict=True):
                value += w * k
                slope += rate * k
            return value, min(max(slope / _STEP_LN_HZ, 0.0), 1.0)

        ln_omega = float(natural_ln_omega(math.log(1e3 / mass_kg), law))
        return None if math.isnan(ln_omega) else math.exp(ln_omega - _LN_2PI)

    def _natural(self, rows: Array, mass_kg: float) -> Array:
        """Frequency in Hz where m (2 pi f)^2 is the median stiffness; nan where the table ends."""

        def law(ln_omega: Array) -> tuple[Array, Array]:
            columns = (ln_omega - _LN_2PI - _LOWEST_LN_HZ) / _STEP_LN_HZ
            if not _inside(rows, columns):
                return np.full(rows.shape, np.nan), np.zeros(rows.shape)
            ln_k, slope = self._storage_and_slope(rows, columns)
            return ln_k, np.clip(slope, 0.0, 1.0)

        return np.asarray(np.exp(natural_ln_omega(np.full(rows.shape, math.log(1e3 / mass_kg)), law) - _LN_2PI))

    def _storage_and_slope(self, rows: Array, columns: Array) -> tuple[Array, Array]:
        """Ln of the median stiffness, and its slope over ln f."""
        corner, u, v = self._corner(rows, columns)
        flat, a = self._table[0].reshape(-1), _weights(u)
        across = [sum(w * flat.take(corner + (r * _NODES_HZ + c)) for r, w in enumerate(a)) for c in range(4)]
        value = sum(w * k for w, k in zip(_weights(v), across, strict=True))
        slope = sum(w * k for w, k in zip(_weight_slopes(v), across, strict=True))
        return np.asarray(value), np.asarray(slope) / _STEP_LN_HZ

    def _looked_up(self, rows: Array, columns: Array, kinds: int = 2) -> Array:
        """Ln of median stiffness, of median damping ratio, and of the ends of their bands, shape (kinds, m)."""
        first = columns[0] if columns.size else 0.0
        if columns.size and bool((columns == first).all()):
            # One frequency: four columns become one before the many temperatures come in.
            at = int(first)
            self._fill(int(rows.min()), int(rows.max()), at, at)
            line = self._table[:kinds, :, at - 1 : at + 3] @ np.array(_weights(float(first) - at))
            return np.stack([_cubic(each, rows) for each in line])
        if not columns.size:
            return np.zeros((kinds, 0))
        corner, u, v = self._corner(rows, columns)
        flat, b = self._table[:kinds].reshape(kinds, -1), _weights(v)
        total = np.zeros((kinds, rows.size))
        for r, p in enumerate(_weights(u)):
            for c, q in enumerate(b):
                total += (p * q) * flat.take(corner + (r * _NODES_HZ + c), axis=1)
        return total

    def _corner(self, rows: Array, columns: Array) -> tuple[Places, Array, Array]:
        """First node of the cubics around each state in the flat table, filled there, and its place beyond the next."""
        i, j = rows.astype(np.intp), columns.astype(np.intp)
        self._fill(int(i.min()), int(i.max()), int(j.min()), int(j.max()))
        return (i - 1) * _NODES_HZ + (j - 1), rows - i, columns - j

    def _fill(self, low_i: int, high_i: int, low_j: int, high_j: int) -> None:
        """Compute the blocks that the cubics around these cells need and that are not there yet."""
        blocks = slice((low_i - 1) // _BLOCK, (high_i + 2) // _BLOCK + 1)
        columns = slice(low_j - 1, high_j + 3)
        if self._there[blocks, columns].all():
            return
        for block in range(blocks.start, blocks.stop):
            nodes = np.arange(block * _BLOCK, min((block + 1) * _BLOCK, _NODES_C))
            t = np.asarray(_COLDEST_C + nodes, dtype=float)
            for column in range(columns.start, columns.stop):
                if not self._there[block, column]:
                    ln_omega = _LN_2PI + _LOWEST_LN_HZ + _STEP_LN_HZ * column
                    ln_k = self.curve.ln_modulus(t, np.full(t.shape, ln_omega)) + self._ln_scale[:, None]
                    found = band(np.exp(ln_k.real) * np.cos(ln_k.imag)), band(0.5 * np.tan(ln_k.imag))
                    ends = [end for each in found for end in (each.low, each.high)]
                    self._table[:, nodes, column] = np.log([*(each.median for each in found), *ends])
                    self._there[block, column] = True


def _inside(rows: Array, columns: Array) -> bool:
    """Whether every state has the four nodes of a cubic on either axis; nan does not."""
    return bool(((rows >= 1.0) & (rows < _NODES_C - 2)).all() and ((columns >= 1.0) & (columns < _NODES_HZ - 2)).all())


def _weights(x: Any) -> tuple[Any, Any, Any, Any]:
    """Lagrange's weights of nodes -1, 0, 1, 2 at ``x`` between 0 and 1."""
    before, after, far = x - 1.0, x + 1.0, x - 2.0
    return (
        x * before * far * (-1.0 / 6.0),
        after * before * far * 0.5,
        after * x * far * -0.5,
        after * x * before * (1.0 / 6.0),
    )


def _weight_slopes(x: Any) -> tuple[Any, Any, Any, Any]:
    """Derivatives of :func:`_weights`."""
    square = x * x
    return (
        (3.0 * square - 6.0 * x + 2.0) * (-1.0 / 6.0),
        (3.0 * square - 4.0 * x - 1.0) * 0.5,
        (3.0 * square - 2.0 * x - 2.0) * -0.5,
        (3.0 * square - 1.0) * (1.0 / 6.0),
    )


def _cubic(line: Array, places: Array) -> Array:
    """Values of a line of nodes between them."""
    i = places.astype(np.intp)
    total = np.zeros(places.shape)
    for k, w in enumerate(_weights(places - i)):
        total += w * line.take(i + (k - 1))
    return total
