"""A fitted (or prior) curve: complex modulus over temperature and frequency, with bands."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from matdb.arrays import Array, Complex, Flags
from matdb.checks import checked_number, checked_state, labelled
from matdb.curve.band import SHARE, ModulusBands, band, checked_share, drawn, plain_median
from matdb.curve.misfit import Misfit, shuffled_normals
from matdb.curve.parameters import (
    COLUMNS,
    EXPONENT,
    GLASS,
    PIECE_SD,
    PIECES,
    REFERENCE_K,
    TIME,
    VERTICAL,
    ShiftLaws,
    plateau_loss,
    shape_of,
)
from matdb.curve.prior import Prior
from matdb.errors import InputError
from matdb.form.base import LEAST_BULK_SOFTENING, TILTING, FormBase
from matdb.form.bulk_softening import BulkSoftening, bulk_softening
from matdb.form.part import Part
from matdb.material.crystallisation import crystallisation_of
from matdb.material.families import CABLE, family_named
from matdb.material.modulus import as_complex, at_angle, polar_at_angle
from matdb.material.shift import ZERO_C
from matdb.material.softening import ln_softening
from matdb.mounting.suspended import ln_storage, natural_ln_omega

#: Words for what an answer rests on.
READINGS: Final = "readings"
FAMILY_PRIOR: Final = "family prior"
#: What is said of a damping ratio far from the frequencies at which damping was read.
DAMPING_UNREAD: Final = "damping was not read near this temperature and frequency: it leans on the family prior"

#: A temperature this far outside the measured ones still counts as measured, K.
_MARGIN_K: Final = 0.5
#: So does a reduced frequency this far outside: half a decade.
_MARGIN_LN_HZ: Final = 0.5 * math.log(10.0)
#: Damping changes more slowly with frequency than it is read: two readings a few decades apart tell of it between.
_MARGIN_LOSS_LN_HZ: Final = 1.5 * math.log(10.0)


def _pair(values: Any) -> tuple[float, float] | None:
    if values is None:
        return None
    low, high = (float(v) for v in values)
    if not -math.inf < low <= high < math.inf:
        raise ValueError(f"a range of {low:g} to {high:g}")
    return low, high


#: What is stored with the draws, under the field's own name, and how it is read.
_STORED: Final[dict[str, Callable[[Any], Any]]] = {
    "axis_of": dict, "turns": lambda pairs: tuple(map(tuple, pairs)), "piecewise": tuple, "common_sd": float,
    "measured_c": _pair, "measured_ln_hz": _pair, "measured_loss_ln_hz": _pair,
    "read_c": lambda values: tuple(map(float, values)), "crystallises": bool, "bench_strain": lambda value: value,
    "weights": dict, "report": dict, "reading_count": int,
}  # fmt: skip
#: What older fits lack.
_LATER: Final = {"axis_of", "turns", "piecewise", "read_c", "crystallises", "bench_strain"}
#: And what may have been told of beside it.
_STORED_ARRAYS: Final = ("turned", "softening", "rest")
#: Beginning of what :meth:`Curve.rests_on` says where readings and label contradict each other.
CONTRADICTED: Final = "rests on its label: what was read"
#: Relaxation times of no more than so many draws and temperatures are kept.
_MOST_KEPT: Final = 1_000_000
#: Standard deviation, of 1 before any reading, below which readings have told how far a material crystallises.
_TOLD_OF_REST: Final = 0.9
#: Below this E / B no form gives noticeably by its volume.
_LEAST_COMPRESSIBILITY: Final = 0.001


def not_told(family: str, *what: str) -> str:
    """The warning of a fit that its readings left "amplitude" or "piece" untold."""
    known = family_named(family)
    name, softer = "rubber" if known.name == "unknown" else known.name, 100.0 * known["softening_share"].value
    words = {
        "amplitude": f"at which amplitude ({name} is some {softer:.0f} % softer at a larger one)",
        "piece": "which piece of several (they differ by some 10 %)",
    }
    untold = " nor ".join(words[each] for each in what)
    return f"it was not told {untold} was read: the band holds for what was read"


@dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class Curve:
    """Master curve of one material as draws of its parameters.

    Attributes
    ----------
    material, family : str
        Names.
    basis : str
        "readings" or "family prior".
    parameters : ndarray, shape (n, 13)
        Of every draw; columns as ``matdb.curve.parameters.COLUMNS``.
    offsets : dict of str to ndarray, shape (n,)
        ln of true over computed stiffness of the parts that were measured.
    axis_of : dict of str to str
        The direction of each part that its offset is of; without one, as in older fits, it is of all.
    turns, turned : tuple of (str, str), ndarray of shape (n, turns)
        Parts and other directions of them that were read; what their ln offsets have over the parts' own.
    piecewise : tuple of str
        Parts of several pieces of which it was told which were read: the others differ.
    common_sd : float
        What the geometry of the measured parts leaves open on any other part (ln).
    misfit : ndarray, shape (n,)
        ln standard deviation of the model's own misfit.
    measured_c : tuple of float or None
        Lowest and highest temperature of the readings, degrees Celsius.
    measured_ln_hz : tuple of float or None
        ln of the lowest and highest reduced frequency of the readings at 23 degC, Hz.
    measured_loss_ln_hz : tuple of float or None
        The same of the readings that tell of damping; None if none does.
    read_c : tuple of float
        Temperatures of the readings, ascending; empty for a prior and for fits that did not keep them.
    crystallises : bool
        Whether the family crystallises at rest in the cold.
    rest : ndarray, shape (n, 2) or (n, 0)
        How far and how slowly it does, where readings after a long soak there tell.
    rest_h : float
        Hours of rest in the cold that the answers are for; infinite where nothing says how many.
    formed : tuple of ndarray or None
        Rising temperatures, and at which each the crystals formed that it has; None: at each itself. Degrees Celsius.
    felt_by : BulkSoftening or None
        Form and axis through which the modulus is felt: the less, the nearer it comes to the bulk modulus.
    bench_strain : float or None
        Peak strain of the readings, to which the curve refers; None where no amplitude was told.
    softening : ndarray, shape (n, 3) or (0, 3)
        Share of the modulus that amplitude takes away, critical strain and power of loss, where readings of several
        amplitudes tell; older fits lack the power.
    weights : dict
        Posterior weight of each law.
    report : mapping
        The fit report in plain values; empty for a prior.
    reading_count, seed : int
        How many readings; the seed of the draws.
    fit_id, created_at, program_version, stale
        Given by the store; ``stale`` is true when newer evidence exists, for a prior: when there is any.
    """

    material: str
    family: str
    basis: str
    parameters: Array
    offsets: Mapping[str, Array] = field(default_factory=dict)
    axis_of: Mapping[str, str] = field(default_factory=dict)
    turns: tuple[tuple[str, str], ...] = ()
    turned: Array = field(default_factory=lambda: np.zeros((0, 0)))
    piecewise: tuple[str, ...] = ()
    common_sd: float = 0.0
    misfit: Array
    measured_c: tuple[float, float] | None = None
    measured_ln_hz: tuple[float, float] | None = None
    measured_loss_ln_hz: tuple[float, float] | None = None
    read_c: tuple[float, ...] = ()
    crystallises: bool = False
    rest: Array = field(default_factory=lambda: np.zeros((0, 0)))
    rest_h: float = math.inf
    formed: tuple[Array, Array] | None = None
    felt_by: BulkSoftening | None = None
    bench_strain: float | None = None
    softening: Array = field(default_factory=lambda: np.zeros((0, 3)))
    weights: Mapping[str, float] = field(default_factory=dict)
    report: Mapping[str, Any] = field(default_factory=dict)
    reading_count: int = 0
    seed: int = 0
    fit_id: int | None = None
    created_at: dt.datetime | None = None
    program_version: str = ""
    stale: bool = False

    def __repr__(self) -> str:
        return f"Curve({self.material!r}, {self.family!r}, rests on {self.basis}, {len(self.parameters)} draws)"

    def modulus(self, temperature_c: ArrayLike, frequency_hz: ArrayLike, *, share: float = SHARE) -> ModulusBands:
        """Storage part of Young's modulus and loss factor, with bands that hold a share of the draws.

        Parameters
        ----------
        temperature_c, frequency_hz : array_like
            Degrees Celsius, above absolute zero, at most 400; Hz, above 0. They broadcast.
        share : float
            Above 0 and at most 1.

        Raises
        ------
        InputError
            A temperature or frequency out of range, or not a number.
        """
        t, f = checked_state(temperature_c, frequency_hz)
        share = checked_share(share)
        ln_e = self.ln_modulus(t, np.log(2.0 * np.pi * f))
        storage = np.exp(ln_e.real) * np.cos(ln_e.imag)
        at, asked = (labelled(each, temperature_c, frequency_hz) for each in (t, f))
        outside = self.extrapolated(t, f)
        beyond = bool(outside) if outside.ndim == 0 else outside
        return ModulusBands(at, asked, band(storage, share), band(np.tan(ln_e.imag), share), beyond)

    def draws(self, temperature_c: ArrayLike, frequency_hz: ArrayLike, *, n: int = 400, seed: int = 0) -> Complex:
        """Draws of the complex Young's modulus in MPa, one and the same rubber in each row, misfit included.

        Parameters, rows and errors are those of :meth:`matdb.advice.answers.PartAnswers.draws`: shape (n, *S).
        """
        t, f = checked_state(temperature_c, frequency_hz)
        return drawn(self.ln_modulus(t, np.log(2.0 * np.pi * f)), n, seed)

    def extrapolated(self, temperature_c: Array, frequency_hz: Array) -> Flags:
        """Where a state lies outside the readings' temperatures or reduced frequencies; all of it for a prior."""
        t, f = np.broadcast_arrays(temperature_c, frequency_hz)
        return self.outside(t, np.log(f) + self.median_ln_shift(t))

    def outside(self, temperature_c: Any, ln_reduced_hz: Any) -> Flags:
        """As :meth:`extrapolated`, for a reduced frequency at 23 degC that is known already (its ln, in Hz)."""
        if self.measured_c is None or self.measured_ln_hz is None:
            return np.ones(np.shape(temperature_c), dtype=bool)
        outside = _leaves((temperature_c, temperature_c), self.measured_c, _MARGIN_K)
        return np.asarray(outside | _leaves((ln_reduced_hz, ln_reduced_hz), self.measured_ln_hz, _MARGIN_LN_HZ))

    def ln_modulus(self, temperature_c: Array, ln_omega: Array, *, misfit: bool = True) -> Complex:
        """Ln of the complex modulus (MPa) of every draw, shape (n, *S).

        Parameters
        ----------
        temperature_c : ndarray, shape S
            Degrees Celsius.
        ln_omega : ndarray, shape S or (n, *S)
            ln of the angular frequency in rad/s, for all draws or for each.
        """
        return self._evaluate(temperature_c, ln_omega, slope=False, misfit=misfit)[0]

    def ln_modulus_and_slope(self, temperature_c: Array, ln_omega: Array) -> tuple[Complex, Complex]:
        """As :meth:`ln_modulus`, with the slope d ln E / d ln s."""
        return self._evaluate(temperature_c, ln_omega, slope=True, misfit=True)

    def natural_ln_omega(self, temperature_c: Array, ln_w: Array) -> Array:
        """Natural angular frequency of every draw, ln, rad/s: :func:`matdb.mounting.suspended.natural_ln_omega`."""

        def law(ln_omega: Array) -> tuple[Array, Array]:
            value, slope = self.ln_modulus_and_slope(temperature_c, ln_omega)
            return ln_storage(value), np.clip(slope.real, 0.0, 1.0)

        return np.asarray(natural_ln_omega(ln_w, law))

    def median_ln_shift(self, temperature_c: Array) -> Array:
        """Median over the draws of ln a_T relative to 23 degC; same shape as the temperature."""
        t = np.asarray(temperature_c, dtype=float)
        return self._times(t)[1].reshape(t.shape).copy()

    def median_ln_vertical(self, temperature_c: Array) -> Array:
        """Ln of the vertical shift relative to 23 degC that goes with the median shift; same shape as the temperature.

        The part of plateau loss that no temperature moves is taken out of what the shift factor moved.
        """
        t = np.asarray(temperature_c, dtype=float)
        power, exponent = plain_median(self.parameters[:, [VERTICAL, EXPONENT]])
        return np.asarray(power * np.log((t + ZERO_C) / REFERENCE_K) - exponent * self.median_ln_shift(t))

    @cached_property
    def glass_transition_c(self) -> float:
        """Median over the draws of the glass transition, degrees Celsius."""
        return float(plain_median(self.parameters[:, GLASS])) - ZERO_C

    @property
    def measured_span(self) -> str:
        """The measured temperatures in words, such as "-18 to 50 degC"; empty for a prior."""
        if self.measured_c is None:
            return ""
        low, high = (f"{end:.3g}" for end in self.measured_c)
        return f"{low} degC" if low == high else f"{low} to {high} degC"

    def range_notes(self, temperature_c: Array, frequency_hz: Array, ln_reduced_hz: Array | None = None) -> list[str]:
        """What to know of states beside a prior's nature: where readings end, and whether the fit is out of date.

        The reduced frequency at 23 degC may be known already (its ln, in Hz).
        """
        found: list[str] = []
        t = np.asarray(temperature_c, dtype=float)
        if self.measured_c is not None and t.size:
            asked = span_of(np.log(frequency_hz) + self.median_ln_shift(t) if ln_reduced_hz is None else ln_reduced_hz)
            if _leaves(span_of(t), self.measured_c, _MARGIN_K):
                found.append(f"outside the measured temperatures ({self.measured_span}): extrapolated")
            elif _leaves(asked, self.measured_ln_hz, _MARGIN_LN_HZ):
                found.append("outside the frequencies that the readings speak for: extrapolated")
            if self.measured_loss_ln_hz and _leaves(asked, self.measured_loss_ln_hz, _MARGIN_LOSS_LN_HZ):
                found.append(DAMPING_UNREAD)
        cold = crystallisation_of(self.family) if self.crystallises else None
        if cold is not None and cold.matters(self._formed_at(t.reshape(-1)), self.rest_h):
            found.insert(0, cold.note(self.family, self.rest_h, was_read=self._rest_was_read))
        return [*found, *self.age_notes]

    @property
    def _rest_was_read(self) -> bool:
        """Whether readings say how far the material crystallises: a short soak hardly does."""
        return bool(self.rest.size) and float(self.rest[:, 0].std()) < _TOLD_OF_REST

    @property
    def contradicted(self) -> bool:
        """Whether no reading fits what the label says: then one of both is wrong, and nothing is sure."""
        return bool(rows := self.report.get("readings", ())) and all(row.get("fumbled") for row in rows)

    def rests_on(self, part: str | None, low_c: float, high_c: float) -> str:
        """What an answer between two temperatures rests on, in a builder's words; of the material itself for None."""
        if self.measured_c is None:
            return f"rests on its {self._said} only" + (", its readings are not fitted yet" if self.stale else "")
        low, high = self.measured_c
        beyond = [f"below {low:.3g}"] * (low_c < low - _MARGIN_K) + [f"above {high:.3g}"] * (high_c > high + _MARGIN_K)
        at = "elsewhere" if len(beyond) == 2 and low == high else f"{' and '.join(beyond)} degC"
        guessed = f"; guessed {at}" if beyond else ""
        old = "; newer readings are not fitted yet" if self.stale else ""
        on = "" if part is None or part in self.offsets else " on other parts of its material"
        if self.contradicted:
            return f"{CONTRADICTED} at {self.measured_span} does not fit it, check that first{old}"
        rows = self.report.get("readings", ())
        odd = sum(bool(row.get("fumbled")) for row in rows)
        either = sum(isinstance(row.get("or_else"), int) for row in rows)
        which = f"what does not fit ({odd} of {len(rows)} readings)" if odd else f"which of {either} readings is wrong"
        hardly = any(row.get("hardly_with") is not None for row in rows)
        amiss = f"; check first {which}" if odd or either else "; two readings hardly agree" if hardly else ""
        return f"measured at {self.measured_span}{on}{guessed}{amiss}{old}"

    @property
    def age_notes(self) -> tuple[str, ...]:
        """That a fit is out of date, if it is; of a prior :meth:`without_readings` says it."""
        if not self.stale or self.basis != READINGS:
            return ()
        return (f"the fit is older than the newest reading or record: run 'matdb fit \"{self.material}\"'",)

    @property
    def _said(self) -> str:
        """What a part's stiffness rests on where nothing was read."""
        return "load points" if self.family == CABLE else "label"

    def without_readings(self, label: str = "") -> str:
        """What to know of a family prior: that nothing was read, or that what was read is not fitted yet."""
        rests = f"rests on its {self._said} only ({self.family}{label}), not a measurement"
        if self.stale:
            return f"the readings of {self.material} are not fitted yet: {rests}; run 'matdb fit \"{self.material}\"'"
        return f"no reading of {self.material}: {rests}"

    def offset_draws(self, part: Part, axis: str, pieces: int = 1) -> Array:
        """Ln offset of a set of pieces of a part in a direction, shape (n,): measured, or what geometry leaves open.

        A direction that was not read goes with the one that was, but for what two directions of the form may differ by.
        Where it was told which pieces were read, the set scatters around them; a single one stands for a usual set.
        """
        form, name = part.form, part.name
        read, sd = self.offsets.get(name), form.made_of_sd(axis if axis in form.axes else form.axes[0], self.family)
        turn: Array | float = 0.0
        alike = 1.0
        if axis != (form.axes[0] if read is None else self.axis_of.get(name, axis)):
            turn = self._normal(11 + (*form.axes, TILTING).index(axis))
            alike = 1.0 - 0.5 * form.apart_share**2
        if read is None:
            # The same for every part, so that ranking is fair.
            own = alike * self._normal(4) + math.sqrt(1.0 - alike**2) * turn
            return np.asarray(math.hypot(sd, self.common_sd) * own)
        told = (name, axis) in self.turns
        found = read + (self.turned[:, self.turns.index((name, axis))] if told else sd * form.apart_share * turn)
        if name in self.piecewise:
            found = found + PIECE_SD / math.sqrt(PIECES if pieces == 1 else pieces) * self._normal(6)
        return np.asarray(found)

    def rested(self, rest_h: float | None) -> Curve:
        """The curve after so many hours of rest at the temperature asked about; however many when None.

        Raises
        ------
        InputError
            Hours below 0 or above a million.
        """
        if rest_h is None or not self.crystallises:
            return self
        return replace(self, rest_h=checked_number("rest_h", rest_h, 0.0, 1e6, "h"))

    def ln_stiffest(self, temperature_c: Array, frequency_hz: ArrayLike = 100.0) -> float:
        """Ln of the largest modulus of any draw in MPa at the lowest of some temperatures and highest frequency."""
        if not np.size(temperature_c):
            return -math.inf
        ln_omega = np.full(1, math.log(2.0 * math.pi * np.max(frequency_hz)))
        return float(self.ln_modulus(np.full(1, np.min(temperature_c)), ln_omega).real.max())

    def through(self, form: FormBase, axis: str, ln_stiffest: float) -> Curve:
        """The curve as a part feels it: bonded rubber whose modulus nears the bulk modulus gives by its volume.

        Parameters
        ----------
        form, axis
            The part's form and the axis of it that is asked about.
        ln_stiffest : float
            Of what is asked about, see :meth:`ln_stiffest`; where it matters nowhere, the curve is as it was.
        """
        if ln_stiffest < math.log(_LEAST_COMPRESSIBILITY * self.bulk_modulus_mpa):
            return self
        felt_by = bulk_softening(form, axis, self.bulk_modulus_mpa)
        return self if felt_by.at(ln_stiffest) > -LEAST_BULK_SOFTENING else replace(self, felt_by=felt_by)

    @property
    def bulk_modulus_mpa(self) -> float:
        """That of its family, MPa."""
        return family_named(self.family)["bulk_modulus"].value

    def softened(self, strain: float | Array) -> tuple[Array, Array]:
        """What another peak strain than the bench's adds to ln E and to ln of the loss factor, shape (n,).

        Without amplitudes at the bench its strain is taken to have been 0.3 %, give or take a factor 3 (common
        practice, no source).

        Parameters
        ----------
        strain : float or ndarray, shape (n,)
            Peak strain, above 0.
        """
        law = Prior(self.family, None, None).softening(self._normals(7, 8, 40))
        if self.softening.size:
            law[:, : self.softening.shape[1]] = self.softening
        bench = self.bench_strain or 0.003 * np.exp(1.1 * self._normal(9))
        *kraus, power = law.T
        softer = np.asarray(ln_softening(strain, *kraus) - ln_softening(bench, *kraus))
        return softer, -power * softer

    def to_meta_and_arrays(self) -> tuple[dict[str, Any], dict[str, Array]]:
        """Plain values and arrays that :meth:`from_meta_and_arrays` takes back."""
        names = list(self.offsets)
        meta: dict[str, Any] = {
            "format": 1,
            "family": self.family,
            "basis": self.basis,
            "columns": list(COLUMNS),
            "parts": names,
        }
        meta |= {name: getattr(self, name) for name in _STORED}
        offsets = (
            np.stack([self.offsets[name] for name in names], axis=1) if names else np.zeros((len(self.parameters), 0))
        )
        draws = self.parameters.copy()
        # Infinity has no place in a stored array; the joint is far enough away.
        draws[np.isinf(draws)] = 1e6
        more = {name: values for name in _STORED_ARRAYS if (values := getattr(self, name)).size}
        return meta, {"draws": draws, "offsets": offsets, "misfit": self.misfit, **more}

    @classmethod
    def from_meta_and_arrays(
        cls, material: str, meta: Mapping[str, Any], arrays: Mapping[str, Array], **given: Any
    ) -> Curve:
        """Rebuild a curve; ``given`` are the fields that the store adds.

        Raises
        ------
        InputError
            The arrays do not belong to this format.
        """
        try:
            if not isinstance(meta, Mapping) or meta.get("format") != 1:
                raise ValueError("it is of another format")
            names = meta["parts"]
            draws, misfit = np.array(arrays["draws"]), np.array(arrays["misfit"])
            offsets = np.array(arrays["offsets"])
            n = len(draws) if draws.ndim == 2 else 0
            # A fit stored before plateau loss was told apart has none.
            if "loss_exponent" not in meta["columns"] and draws.shape[1:] == (len(COLUMNS) - 1,):
                draws = np.insert(draws, EXPONENT, 0.0, axis=1)
            # A fit stored before damping had a range of its own took it to be that of the stiffness.
            meta = {"measured_loss_ln_hz": meta["measured_ln_hz"], **meta}
            more = {name: read(meta[name]) for name, read in _STORED.items() if name in meta or name not in _LATER}
            more |= {name: np.array(arrays[name]) for name in _STORED_ARRAYS if name in arrays}
            shapes = [a.shape for a in (draws, offsets, misfit)]
            if n < 1 or shapes != [(n, len(COLUMNS)), (n, len(names)), (n,)]:
                raise ValueError(f"arrays of shapes {shapes}")
            if not all(np.isfinite(a).all() for a in (draws, offsets, misfit)):
                raise ValueError("a value that is not finite")
            curve = cls(
                material=material,
                family=meta["family"],
                basis=meta["basis"],
                parameters=draws,
                offsets={name: offsets[:, k] for k, name in enumerate(names)},
                misfit=misfit,
                **more,
                **given,
            )
            if curve.turns and curve.turned.shape != (n, len(curve.turns)):
                raise ValueError(f"directions of shape {curve.turned.shape}")
            if not isinstance(curve.seed, int) or curve.seed < 0 or not 0.0 <= curve.common_sd < math.inf:
                raise ValueError(f"seed {curve.seed!r}, common sd {curve.common_sd!r}")
            report, rows = curve.report, ("parameters", "readings")
            if not all(isinstance(line, str) for line in report.get("warnings", ())):
                raise ValueError("warnings that are no text")
            if not all(isinstance(row, dict) for name in rows for row in report.get(name, ())) or not all(
                isinstance(row["name"], str) for row in report.get("parameters", ())
            ):
                raise ValueError("a report in another form")
            if curve.basis not in (READINGS, FAMILY_PRIOR) or not isinstance(curve.family, str):
                raise ValueError(f"basis {curve.basis!r}, family {curve.family!r}")
            return curve
        except (KeyError, IndexError, TypeError, ValueError, OverflowError) as error:
            raise InputError("fit", repr(error), "whole", "fit the material again") from None

    def _evaluate(self, temperature_c: Array, ln_omega: Array, *, slope: bool, misfit: bool) -> tuple[Complex, Any]:
        t = np.asarray(temperature_c, dtype=float)
        n, shape = len(self.parameters), t.shape
        times, shift = self._times(t)
        t = t.reshape(-1)
        ln_omega = np.asarray(ln_omega, dtype=float)
        ln_omega = ln_omega.reshape(n if ln_omega.ndim > len(shape) else 1, -1)
        law, vertical, exponent, lag = self._columns
        size, angle, *rise = polar_at_angle(law, times + ln_omega, slope=slope)
        size += plateau_loss(exponent, ln_omega) + vertical * np.log((t + ZERO_C) / REFERENCE_K)
        angle += lag
        if misfit and self._misses is not None:
            self._misses.add(size, angle, t, ln_omega, shift)
        if misfit and self.crystallises:
            size += self._crystallised(t)
        value = as_complex(size, angle)
        if self.felt_by is not None:
            value += self.felt_by.exact(value)
        return value.reshape((n, *shape)), as_complex(rise[0] + exponent, rise[1]).reshape(
            (n, *shape)
        ) if slope else None

    def _times(self, temperature_c: Array) -> tuple[Array, Array]:
        """Ln of the relaxation time of every draw, shape (n, m), and the median ln shift relative to 23 degC, (m,).

        Kept for the temperatures asked for last: a solver, the misfit and the warnings all ask for the same.
        """
        found = self._last_times.get(key := temperature_c.tobytes())
        if found is None:
            times = self._laws.ln_time(temperature_c.reshape(-1) + ZERO_C)
            found = times, plain_median(times - self.parameters[:, TIME, None])
            if times.size <= _MOST_KEPT:
                self._last_times.clear()
                self._last_times[key] = found
        return found

    @cached_property
    def _last_times(self) -> dict[bytes, tuple[Array, Array]]:
        return {}

    @cached_property
    def _columns(self) -> tuple[Any, Array, Array, Array]:
        law, exponent = at_angle(0.5 * math.pi, *shape_of(self.parameters)), self.parameters[:, [EXPONENT]]
        return law, self.parameters[:, [VERTICAL]], exponent, 0.5 * math.pi * exponent

    @cached_property
    def _laws(self) -> ShiftLaws:
        return ShiftLaws(self.parameters)

    def _crystallised(self, t: Array) -> Array:
        """What rest in the cold may add to ln E at flat temperatures, shape (n, m): a quarter of the draws stiffen."""
        cold, t = crystallisation_of(self.family), self._formed_at(t)
        if cold is None or not cold.shows(t):
            return np.zeros((1, 1))
        return cold.ln_stiffening(t, self.rest_h, self.rest if self.rest.size else self._normals(5, 10))

    def _formed_at(self, t: Array) -> Array:
        return t if self.formed is None else np.interp(t, *self.formed)

    @cached_property
    def _misses(self) -> Misfit | None:
        ranges = self.measured_ln_hz, self.measured_loss_ln_hz, self.measured_c
        return Misfit(self.misfit, self.seed, *ranges, self.read_c) if self.misfit.any() else None

    def _normal(self, stream: int) -> Array:
        """Evenly spread normal values in a shuffled order for a stream of chance, shape (n,)."""
        return shuffled_normals(self.seed, stream, len(self.parameters))

    def _normals(self, *streams: int) -> Array:
        return np.stack([self._normal(k) for k in streams], axis=1)


def span_of(values: Array) -> tuple[float, float]:
    """The least and the largest; what is no number is passed over."""
    if values.size == 1:
        return (one := values.item()), one
    return float(np.fmin.reduce(values, axis=None)), float(np.fmax.reduce(values, axis=None))


def _leaves(ends: tuple[Any, Any], span: tuple[float, float] | None, margin: float) -> Any:
    """Whether least or largest of some values lie more than a margin outside a span; they do outside none."""
    return span is None or (ends[0] < span[0] - margin) | (ends[1] > span[1] + margin)
