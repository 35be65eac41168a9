"""What readings say of a curve: a prediction of each, and how likely it is what was read."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from matdb.curve.parameters import EXPONENT, MISFIT_LOSS, REFERENCE_K, VERTICAL, ShiftLaws, plateau_loss, shape_of
from matdb.curve.tolerance import (
    FREQUENCY_SD,
    FUMBLED_SHARE,
    FUMBLED_WIDTH,
    LOSS_SD,
    STIFFNESS_SD,
    ln_tolerant,
    tolerant_slope,
)
from matdb.material.crystallisation import Crystallisation
from matdb.material.modulus import as_complex, polar_modulus
from matdb.material.shift import ZERO_C
from matdb.material.softening import ln_softening
from matdb.mounting.squeeze import STATIC_HZ, SqueezeCase, ln_left_at_rest
from matdb.mounting.suspended import ln_storage

Array = NDArray[np.float64]

#: Share of fumbled readings in a laboratory's sweep.
_FUMBLED_IN_SWEEP: Final = 0.0005

#: Noise that is learned, as the report names it, and the ln standard deviation of its factor before any reading:
#: benches differ little, laboratories much.
GROUPS: Final = {"bench stiffness": 0.2, "bench loss": 0.2, "sweep stiffness": 0.8, "sweep loss": 0.8, "hardness": 0.2}
BENCH, _BENCH_LOSS, SWEEP, _SWEEP_LOSS, HARDNESS = range(len(GROUPS))
#: Stands for a part where none that was read has a shape (no part can have the name: names hold no line break).
LABEL: Final = "\nlabel"
_LN_TURN: Final = math.log(2.0 * math.pi)
_LN_STATIC: Final = _LN_TURN + math.log(STATIC_HZ)
#: Where the noise of a row's loss stands, by the row's group.
_LOSS_OF: Final = np.array([_BENCH_LOSS, _BENCH_LOSS, _SWEEP_LOSS, _SWEEP_LOSS, HARDNESS])


@dataclass(frozen=True, eq=False)
class Held:
    """Rows read on one grommet pair at one squeeze, mm, under one mass: all of its case but the modulus."""

    rows: NDArray[np.int64]
    case: SqueezeCase
    squeeze_mm: float
    #: Of both halves at a modulus of 1 MPa, N/mm.
    unit: float


@dataclass(frozen=True, eq=False)
class Evidence:
    """All readings of a material in arrays.

    One row has up to two components: a stiffness-like one (frequency, deflection, storage modulus) and a loss-like
    one (decrement, width, loss factor). ``ln_s`` is where the row looks at the modulus; rows with ``free`` set find
    their own complex ``s`` from m s^2 + n B E(s) = 0. Rows share what their session's thermometer shows too much,
    how the piece that was read differs from the part's usual one, where it was told which (``piece``, else -1), and
    what a direction of a part has over the one that its own offset is of (``turned``: the share of each of ``turns``).
    Of ``held`` rows a draw tells by itself whether the mass at rest has freed a half.
    """

    temperature_k: Array
    temperature_sd: Array
    ln_s: NDArray[np.complex128]
    free: NDArray[np.bool_]
    ln_factor: Array
    ln_bulk: Array
    stiff: Array
    stiff_sd: Array
    loss: Array
    loss_sd: Array
    group: NDArray[np.int64]
    specimen: NDArray[np.int64]
    weight: Array
    session: NDArray[np.int64]
    piece: NDArray[np.int64]
    strain: Array
    soak_h: Array
    cold: Crystallisation | None
    sessions: tuple[str, ...]
    session_sd: Array
    specimens: tuple[str, ...]
    specimen_sd: Array
    rows_of: tuple[tuple[int, ...], ...]
    turned: Array
    turns: tuple[tuple[str, str], ...]
    turn_sd: Array
    axis_of: Mapping[str, str]
    held: tuple[Held, ...] = ()

    @property
    def size(self) -> int:
        """Number of rows."""
        return int(self.temperature_k.size)

    @property
    def bench_strain(self) -> float | None:
        """The readings' usual peak strain, to which the curve refers; None where no amplitude was told."""
        told = self.strain[~np.isnan(self.strain)]
        return float(np.exp(np.log(told).mean())) if told.size else None

    @property
    def softens(self) -> bool:
        """Whether amplitudes differ enough to tell how the material softens."""
        told = self.strain[~np.isnan(self.strain)]
        return bool(told.size > 1 and told.max() > 1.2 * told.min())

    @property
    def shared(self) -> int:
        """Number of coordinates that rows share besides the curve's: thermometers, pieces, turns, softening, rest."""
        return len(self.sessions) + self.pieces + len(self.turns) + 3 * self.softens + 2 * (self.cold is not None)

    @property
    def groups_read(self) -> set[int]:
        """Groups of noise, places in ``GROUPS``, that any reading tells of."""
        return {*self.group.tolist(), *_LOSS_OF[self.group[~np.isnan(self.loss)]].tolist()}

    @property
    def fumbled_share(self) -> Array:
        """Share of fumbled readings among those of each row's kind, shape (rows,)."""
        return np.where(self.group == SWEEP, _FUMBLED_IN_SWEEP, FUMBLED_SHARE)

    @property
    def fumbled_width(self) -> dict[str, Array]:
        """How much wider than its noise each row's "stiffness" and "loss" scatter where fumbled, shape (rows,).

        A wrong mass or mode is as far off however finely it was read, and is not to be explained by misfit instead.
        """
        usual = np.where(self.free, FREQUENCY_SD, STIFFNESS_SD)
        finer = {"stiffness": usual / self.stiff_sd, "loss": LOSS_SD / self.loss_sd}
        at_bench = self.group == BENCH
        return {name: FUMBLED_WIDTH * np.where(at_bench, np.maximum(x, 1.0), 1.0) for name, x in finer.items()}

    @property
    def pieces(self) -> int:
        """Number of pieces that were told apart."""
        return int(self.piece.max(initial=-1)) + 1

    @property
    def on_label(self) -> bool:
        """Whether no part that was read has a shape, so that the label holds the modulus."""
        return LABEL in self.specimens

    @property
    def common_sd(self) -> float:
        """Ln standard deviation that the geometry of all specimens together leaves on the absolute modulus."""
        if not self.specimens:
            return 0.0
        return float(1.0 / math.sqrt(np.sum(self.specimen_sd**-2.0)))

    def contrasts(self) -> Array:
        """Orthonormal basis of the specimens' offsets in units of their spread, shape (specimens, specimens - 1).

        It leaves their weighted mean at zero. The mean offset and the modulus cannot be told apart by readings; it
        stays with the modulus, which so is the modulus as felt through the parts that were measured, and
        ``common_sd`` is carried to other parts.
        """
        n = len(self.specimens)
        if n < 2:
            return np.zeros((n, 0))
        normal = 1.0 / self.specimen_sd
        normal = normal / np.linalg.norm(normal)
        # Householder reflection that takes the first axis to the normal; its other columns span the rest.
        mirror = normal.copy()
        mirror[0] += math.copysign(1.0, normal[0])
        reflect = np.eye(n) - 2.0 * np.outer(mirror, mirror) / (mirror @ mirror)
        return np.asarray(reflect[:, 1:])

    def by_part(self, offsets: Array) -> dict[str, Any]:
        """What a curve keeps of offsets: each part's own, of which direction it is, and those of other directions."""
        axis_of = {name: axis for name, axis in self.axis_of.items() if axis}
        own = {name: offsets[:, k] for k, name in enumerate(self.specimens) if name in axis_of}
        turned = offsets[:, len(self.specimens) + self.pieces :]
        return {"offsets": own, "axis_of": axis_of, "turns": self.turns, "turned": turned}

    def predict(
        self,
        draws: Array,
        offsets: Array,
        drift: Array | None = None,
        softening: Array | None = None,
        rest: Array | None = None,
        *,
        steps: int = 2,
    ) -> tuple[Array, Array, Array, Array]:
        """Stiffness-like and loss-like predictions of each row and their sensitivities to temperature in 1/K.

        Parameters
        ----------
        draws : ndarray, shape (n, 13)
            Parameter draws.
        offsets : ndarray, shape (n, specimens) or (n, specimens + pieces + turns)
            ln offsets of the specimens, and of the pieces and of other directions from them.
        drift : ndarray, shape (n, sessions), optional
            What each session's thermometer shows too much, K; nothing when None.
        softening : ndarray, shape (n, 3), optional
            Share that amplitude takes away, critical strain and power of loss; none where None.
        rest : ndarray, shape (n, 2), optional
            How far and how slowly the material crystallises; not at all where None.
        steps : int
            Newton steps from what was read to the free vibration of each draw: 2 find it to 0.0001, one finds ln f to
            0.001 where it lies within 7 % of what was read.

        Returns
        -------
        four ndarrays, shape (n, rows)
            ln f or ln modulus; ln of decrement or loss factor; d/dT of each.
        """
        out = np.empty((4, self.size, len(draws)))
        for free in (False, True):
            if (which := self.free == free).any():
                # All rows are a view, and their answer needs no scattering.
                rows = slice(None) if which.all() else which
                out[:, rows] = [each.T for each in self._felt(draws, offsets, softening, rest, rows, steps * free)]
        stiff, loss, stiff_rate, loss_rate = out.transpose(0, 2, 1)
        if softening is not None and softening.shape[1]:
            loss = loss - softening[:, [2]] * self._ln_softer(softening, slice(None))
        if drift is not None:
            # The part was colder than the thermometer said.
            off = drift.T[self.session].T
            stiff, loss = stiff - stiff_rate * off, loss - loss_rate * off
        return stiff, loss, stiff_rate, loss_rate

    def _felt(
        self, draws: Array, offsets: Array, softening: Array | None, rest: Array | None, rows: Any, steps: int
    ) -> tuple[Array, Array, Array, Array]:
        """What :meth:`predict` says of some rows, free vibrations with Newton steps; draws side by side in memory."""
        t, ln_w, angle = self.temperature_k[rows], self.ln_s[rows].real, self.ln_s[rows].imag
        scale = self._ln_scale(draws, offsets, softening, rest, rows)
        time, energy = ShiftLaws(draws).ln_time_and_slope(t)
        exponent = draws[:, [EXPONENT]]
        for _ in range(max(steps, 1)):
            size, phase, rise, twist = polar_modulus(ln_w + time, angle, *shape_of(draws))
            size, phase = size + plateau_loss(exponent, ln_w), phase + exponent * angle
            if not steps:
                break
            # Newton on 2 ln s - ln(-w E(s)) = 0 from what was read; nearly linear in ln s.
            far, turned, less = 2.0 * ln_w - scale - size, 2.0 * angle - math.pi - phase, 2.0 - rise - exponent
            whole = less**2 + twist**2
            ln_w = np.clip(ln_w - (far * less - turned * twist) / whole, -20.0, 30.0)
            angle = np.clip(angle - (turned * less + far * twist) / whole, 0.5, 3.1)
        phase = angle - 0.5 * math.pi if steps else phase
        tangent = np.tan(np.clip(phase, 1e-7, 1.5))
        ln_cosine, half_sine = -0.5 * np.log1p(tangent**2), tangent / (1.0 + tangent**2)
        rate, twist = draws[:, [VERTICAL]] / t - rise * energy / t**2, -twist * energy / t**2
        if steps:
            ln_loss = np.log(2.0 * math.pi * tangent)
            return ln_w + ln_cosine - _LN_TURN, ln_loss, 0.5 * rate, 0.5 * twist / np.maximum(half_sine, 1e-3)
        return scale + size + ln_cosine, np.log(tangent), rate, twist / np.maximum(half_sine, 5e-4)

    def _ln_scale(self, draws: Array, offsets: Array, softening: Array | None, rest: Array | None, rows: Any) -> Array:
        """Ln of what the modulus at some rows is multiplied with, shape (n, rows)."""
        scale = self._ln_own(draws, offsets, rest, rows, (self.ln_factor + self.ln_bulk)[rows])
        if softening is not None and softening.shape[1]:
            scale += self._ln_softer(softening, rows)
        if self.held:
            left = np.zeros((len(draws), self.size))
            for each in self.held:
                left[:, each.rows] = self._ln_left(each, draws, offsets, rest)
            scale += left[:, rows]
        return np.asarray(scale)

    def _ln_softer(self, softening: Array, rows: Any) -> Array:
        """What the amplitudes of some rows add to ln modulus over the bench's usual one; 0 where none was told."""
        law = softening.T[:2, :, None]
        return np.asarray(np.nan_to_num(ln_softening(self.strain[rows], *law) - ln_softening(self.bench_strain, *law)))

    def _ln_own(self, draws: Array, offsets: Array, rest: Array | None, rows: Any, factor: Any = 0.0) -> Array:
        """Ln of what the modulus at some rows is multiplied with, at any frequency and strain; ``factor`` is added."""
        t, specimens = self.temperature_k[rows], len(self.specimens)
        # From (rows, n), so that draws lie side by side in memory.
        scale = (np.log(t / REFERENCE_K)[:, None] * draws[:, VERTICAL]).T + factor
        if specimens:
            own = self.specimen[rows]
            scale += offsets.T[own].T * (own >= 0)
        if offsets.shape[1] > specimens:
            own = self.piece[rows]
            scale += offsets.T[specimens + own].T * (own >= 0)
            scale += offsets[:, specimens + self.pieces :] @ self.turned[rows].T
        if rest is not None and self.cold is not None:
            scale += self.cold.ln_stiffening(t - ZERO_C, self.soak_h[rows], rest)
        return np.asarray(scale)

    def _ln_left(self, held: Held, draws: Array, offsets: Array, rest: Array | None) -> Array:
        """Ln of what acts of a pair's halves while its mass hangs still, shape (n, rows): 0 where both do."""
        time, _ = ShiftLaws(draws).ln_time_and_slope(self.temperature_k[held.rows])
        size, phase, *_ = polar_modulus(_LN_STATIC + time, 0.5 * math.pi, *shape_of(draws))
        exponent = draws[:, [EXPONENT]]
        slow = as_complex(size + plateau_loss(exponent, _LN_STATIC), phase + 0.5 * math.pi * exponent)
        own = self._ln_own(draws, offsets, rest, held.rows)
        case = replace(held.case, static_modulus_mpa=np.exp(ln_storage(slow) + own))
        return ln_left_at_rest(case, held.squeeze_mm, held.unit)

    def residual_scale(self, stiff_rate: Array, loss_rate: Array, noise: Array, misfit: Array) -> tuple[Array, Array]:
        """Standard deviation of each component: instrument times the learned factor, temperature, misfit.

        ``noise`` has shape (n, groups) of factors, ``misfit`` shape (n, 1) of ln standard deviations.
        """
        factor, loss_factor = noise.T[self.group].T, noise.T[_LOSS_OF[self.group]].T
        own = misfit * (1.0 - 0.5 * self.free)
        stiff = np.sqrt((self.stiff_sd * factor) ** 2 + (stiff_rate * self.temperature_sd) ** 2 + own**2)
        loss = np.sqrt(
            (self.loss_sd * loss_factor) ** 2 + (loss_rate * self.temperature_sd) ** 2 + (MISFIT_LOSS * misfit) ** 2
        )
        return stiff, loss

    def residuals(self, draws: Array, offsets: Array, noise: Array, misfit: Array, *shared: Array | None) -> Array:
        """Standardised residuals of all components and the weighted sum of ln of their spreads, (n, components + 1)."""
        stiff, loss, stiff_rate, loss_rate = self.predict(draws, offsets, *shared, steps=1)
        stiff_sd, loss_sd = self.residual_scale(stiff_rate, loss_rate, noise, misfit)
        has = ~np.isnan(self.loss)
        sd = np.concatenate([stiff_sd.T, loss_sd.T[has]])
        away = np.concatenate([self.stiff[:, None] - stiff.T, self.loss[has, None] - loss.T[has]])
        return np.concatenate([away / sd, [self._tolerance[0] @ np.log(sd)]]).T

    def ln_tempered(self, terms: Array, power: float) -> Array:
        """Log likelihood of :meth:`residuals`, shape (n,), with its spreads wider by the root of 1 over ``power``.

        Each component tolerates a fumbled reading, of the same share at any power: the likelihood itself to a small
        power would take most readings for fumbled, and few particles would find back.
        """
        weight, share, width = self._tolerance
        z = math.sqrt(power) * terms.T[:-1]
        return np.asarray(weight @ ln_tolerant(z, share[:, None], width[:, None]) - power * terms[:, -1], dtype=float)

    def ln_tempered_slope(self, terms: Array, power: float) -> Array:
        """How :meth:`ln_tempered` rises with each of the terms, their shape."""
        weight, share, width = self._tolerance
        root = math.sqrt(power)
        out = np.full(terms.shape, -power)
        out[:, :-1] = weight * root * tolerant_slope(root * terms[:, :-1], share, width)
        return out

    @cached_property
    def _tolerance(self) -> tuple[Array, Array, Array]:
        """Weight of each component, share and width of fumbled ones: of each row's stiffness, then of losses read."""
        has, width = ~np.isnan(self.loss), self.fumbled_width
        columns = (self.weight, self.weight), (self.fumbled_share, self.fumbled_share), tuple(width.values())
        weight, share, wide = (np.concatenate([stiff, loss[has]]) for stiff, loss in columns)
        return weight, share, wide
