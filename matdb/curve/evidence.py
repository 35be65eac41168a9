"""Readings as numbers that a likelihood can use: one row a reading, whatever its kind and on whatever part."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from matdb.bench.readings import Deflection, HardnessReading, ModulusPoint, Reading, Resonance, RingDown
from matdb.bench.thermal.soak import actual_temperatures
from matdb.curve.averaging import Average, average, disagree, split
from matdb.curve.parameters import (
    EXPONENT,
    MISFIT_LOSS,
    REFERENCE_K,
    VERTICAL,
    ln_time_and_slope,
    plateau_loss,
    shape_of,
)
from matdb.curve.prior import HARDNESS_HZ
from matdb.errors import InputError
from matdb.form.base import LEAST_BULK_SOFTENING, MOST_COMPRESSIBILITY, FormBase
from matdb.form.part import Part
from matdb.material.crystallisation import Crystallisation, crystallisation_of
from matdb.material.families import family_named
from matdb.material.hardness import modulus_from_hardness, parse_hardness
from matdb.material.modulus import ln_fractional_modulus
from matdb.material.shift import ZERO_C
from matdb.material.softening import ln_softening
from matdb.mounting.on_part import felt_by
from matdb.units import STANDARD_GRAVITY_M_S2

Array = NDArray[np.float64]

#: Usual noise of a bench reading: 3 % of frequency (6 % of stiffness), 15 % of loss factor.
FREQUENCY_SD: Final = 0.03
STIFFNESS_SD: Final = 0.06
LOSS_SD: Final = 0.15
#: What remains open even with a perfect instrument: how the part sits, how the mass is held.
FLOOR_SD: Final = 0.01
#: How far off a session's thermometer usually is, K: a bench's and a laboratory's (common practice, no source).
THERMOMETER_SD_K: Final = 1.0
_LABORATORY_SD_K: Final = 0.2
#: A gauge is read to about this, mm.
GAUGE_SD_MM: Final = 0.01
#: Share of fumbled readings at a bench and in a laboratory's sweep, and how much wider than the noise they scatter.
FUMBLED_SHARE: Final = 0.02
_FUMBLED_IN_SWEEP: Final = 0.0005
FUMBLED_WIDTH: Final = 10.0
#: ln standard deviation of a laboratory specimen's own dimensions.
SPECIMEN_SD: Final = 0.03
#: Readings beyond this number are averaged in cells of temperature and frequency; the fit's time goes with it.
MOST_ROWS: Final = 80
#: Readings that do not fit their cell stay rows of their own, at most so many.
_MOST_ALONE: Final = 8

#: Noise that is learned, as the report names it, and the ln standard deviation of its factor before any reading:
#: benches differ little, laboratories much.
GROUPS: Final = {"bench stiffness": 0.2, "bench loss": 0.2, "sweep stiffness": 0.8, "sweep loss": 0.8, "hardness": 0.2}
_BENCH, _BENCH_LOSS, _SWEEP, _SWEEP_LOSS, HARDNESS = range(len(GROUPS))
#: Where the noise of a row's loss stands, by the row's group.
_LOSS_OF: Final = np.array([_BENCH_LOSS, _BENCH_LOSS, _SWEEP_LOSS, _SWEEP_LOSS, HARDNESS])


@dataclass(frozen=True, eq=False)
class Evidence:
    """All readings of a material in arrays.

    One row has up to two components: a stiffness-like one (frequency, deflection, storage modulus) and a loss-like
    one (decrement, width, loss factor). ``ln_s`` is where the row looks at the modulus; rows with ``free`` set find
    their own complex ``s`` from m s^2 + n B E(s) = 0. Rows share what their session's thermometer shows too much,
    how the piece that was read differs from the part's usual one, where it was told which (``piece``, else -1), and
    what a direction of a part has over the one that its own offset is of (``turned``: the share of each of ``turns``).
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
        return len(self.sessions) + self.pieces + len(self.turns) + 2 * self.softens + 2 * (self.cold is not None)

    @property
    def fumbled_share(self) -> Array:
        """Share of fumbled readings among those of each row's kind, shape (rows,)."""
        return np.where(self.group == _SWEEP, _FUMBLED_IN_SWEEP, FUMBLED_SHARE)

    @property
    def pieces(self) -> int:
        """Number of pieces that were told apart."""
        return int(self.piece.max(initial=-1)) + 1

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
        softening : ndarray, shape (n, 2), optional
            Share that amplitude takes away and critical strain; none where None.
        rest : ndarray, shape (n, 2), optional
            How far and how slowly the material crystallises; not at all where None.

        Returns
        -------
        four ndarrays, shape (n, rows)
            ln f or ln modulus; ln of decrement or loss factor; d/dT of each.
        """
        t = self.temperature_k
        time, time_slope = ln_time_and_slope(draws, t)
        shape, vertical = shape_of(draws), draws[:, [VERTICAL]]
        ln_scale = self.ln_factor + self.ln_bulk + vertical * np.log(t / REFERENCE_K)
        if self.specimens:
            ln_scale = ln_scale + offsets[:, self.specimen] * (self.specimen >= 0)
        if offsets.shape[1] > len(self.specimens):
            ln_scale = ln_scale + offsets[:, len(self.specimens) + self.piece] * (self.piece >= 0)
            ln_scale = ln_scale + offsets[:, len(self.specimens) + self.pieces :] @ self.turned.T
        if softening is not None and softening.shape[1]:
            here, usual = (ln_softening(x, *softening.T[:, :, None]) for x in (self.strain, self.bench_strain))
            ln_scale = ln_scale + np.nan_to_num(here - usual)
        if rest is not None and self.cold is not None:
            ln_scale = ln_scale + self.cold.ln_stiffening(t - ZERO_C, self.soak_h, rest)
        ln_s = np.broadcast_to(self.ln_s, time.shape).copy()
        free = self.free
        ln_e, rise = ln_fractional_modulus(ln_s + time, *shape)
        ln_e += plateau_loss(draws[:, [EXPONENT]], self.ln_s)
        slope = rise + draws[:, [EXPONENT]]
        if free.any():
            sub = [np.broadcast_to(p, time.shape)[:, free] for p in shape]
            here, scale, start = time[:, free], ln_scale[:, free], ln_s[:, free]
            value, n = ln_e[:, free], slope[:, free]
            for last in (False, True):
                # Newton on 2 ln s - ln(-w E(s)) = 0; nearly linear in ln s, so two steps do.
                start = start - (2.0 * start - 1j * math.pi - scale - value) / (2.0 - n)
                start = np.clip(start.real, -20.0, 30.0) + 1j * np.clip(start.imag, 0.5, 3.1)
                if not last:
                    value, n = ln_fractional_modulus(start + here, *sub)
                    rise[:, free] = n
                    value += plateau_loss(draws[:, [EXPONENT]], start)
                    n += draws[:, [EXPONENT]]
            ln_s[:, free] = start
        rate = rise.real * time_slope + vertical / t
        twist = rise.imag * time_slope
        stiff = np.where(free, 0.0, ln_scale) + np.where(free, 0.0, np.log(np.maximum(np.exp(ln_e).real, 1e-12)))
        loss = np.log(np.maximum(np.tan(np.clip(ln_e.imag, -1.5, 1.5)), 1e-6))
        stiff_rate, loss_rate = rate, 2.0 * twist / np.maximum(np.sin(2.0 * ln_e.imag), 1e-3)
        if free.any():
            s = ln_s[:, free]
            angle = s.imag - 0.5 * math.pi
            stiff[:, free] = s.real + np.log(np.maximum(np.cos(angle), 1e-6)) - math.log(2.0 * math.pi)
            loss[:, free] = np.log(np.maximum(2.0 * math.pi * np.tan(np.clip(angle, 1e-7, 1.5)), 1e-6))
            stiff_rate = np.where(free, 0.5 * rate, rate)
            loss_rate = np.where(free, 0.0, loss_rate)
            loss_rate[:, free] = 0.5 * twist[:, free] / np.maximum(np.abs(np.sin(2 * angle)) * 0.5, 1e-3)
        if drift is not None:
            # The part was colder than the thermometer said.
            off = drift[:, self.session]
            stiff, loss = stiff - stiff_rate * off, loss - loss_rate * off
        return stiff, loss, stiff_rate, loss_rate

    def residual_scale(self, stiff_rate: Array, loss_rate: Array, noise: Array, misfit: Array) -> tuple[Array, Array]:
        """Standard deviation of each component: instrument times the learned factor, temperature, misfit.

        ``noise`` has shape (n, groups) of factors, ``misfit`` shape (n, 1) of ln standard deviations.
        """
        factor = noise[:, self.group]
        loss_factor = noise[:, _LOSS_OF[self.group]]
        own = np.where(self.free, 0.5, 1.0) * misfit
        stiff = np.sqrt((self.stiff_sd * factor) ** 2 + (stiff_rate * self.temperature_sd) ** 2 + own**2)
        loss = np.sqrt(
            (self.loss_sd * loss_factor) ** 2 + (loss_rate * self.temperature_sd) ** 2 + (MISFIT_LOSS * misfit) ** 2
        )
        return stiff, loss

    def log_likelihood(self, draws: Array, offsets: Array, noise: Array, misfit: Array, *shared: Array | None) -> Array:
        """Log likelihood, shape (n,); each component tolerates a fumbled reading."""
        stiff, loss, stiff_rate, loss_rate = self.predict(draws, offsets, *shared)
        stiff_sd, loss_sd = self.residual_scale(stiff_rate, loss_rate, noise, misfit)
        has = ~np.isnan(self.loss)
        share = self.fumbled_share
        total = _ln_density(self.weight, self.stiff - stiff, stiff_sd, share)
        if has.any():
            total += _ln_density(self.weight[has], self.loss[has] - loss[:, has], loss_sd[:, has], share[has])
        return total


def _ln_density(weight: Array, away: Array, sd: Array, share: Array) -> Array:
    """Weighted sum over the rows of the ln density of what was measured, shape (n,)."""
    return np.asarray(np.sum(weight * (ln_tolerant(away / sd, share) - np.log(sd)), axis=1))


def fumbled_probability(z: Array, share: Any = FUMBLED_SHARE) -> Array:
    """Probability that a component with standardised residual ``z`` is a fumbled one; ``share`` of all are."""
    good = (1.0 - share) * np.exp(-0.5 * z**2)
    bad = share / FUMBLED_WIDTH * np.exp(-0.5 * (z / FUMBLED_WIDTH) ** 2)
    return np.asarray(bad / np.maximum(good + bad, 1e-300))


def ln_tolerant(z: Array, share: Any = FUMBLED_SHARE) -> Array:
    """Ln density (not normalised) of a standardised residual: normal, or now and then a fumbled reading's."""
    square = z * z
    good = np.log1p(-share) - 0.5 * square
    bad = np.log(share / FUMBLED_WIDTH) - (0.5 / FUMBLED_WIDTH**2) * square
    top = np.maximum(good, bad)
    return np.asarray(top + np.log1p(np.exp(-np.abs(good - bad))))


def gather(readings: Sequence[Reading], parts: Mapping[str, Part], family: str = "unknown") -> Evidence:
    """Turn readings into :class:`Evidence`.

    The result does not depend on the order of the readings nor on the names of the parts.

    Parameters
    ----------
    readings : sequence of Reading
        All of one material.
    parts : mapping
        The parts that the readings name.
    family : str
        The material's family: how fast its parts take and lose heat.

    Raises
    ------
    InputError
        A reading names an axis that its part's form lacks, or a squeeze out of the form's range.
    """
    at_c, sd_k = actual_temperatures(readings, parts, family)
    bulk = family_named(family)["bulk_modulus"].value
    rows = [_row(reading, parts, k, float(at_c[k]), float(sd_k[k]), bulk) for k, reading in enumerate(readings)]
    # Specimens are told apart by what was read on them, so that a new name changes nothing.
    content: dict[str, list[tuple[float, ...]]] = {}
    for row in rows:
        if row.specimen:
            content.setdefault(row.specimen, []).append(row.sort_key)
    names = sorted(content, key=lambda name: sorted(content[name]))
    place = {name: k for k, name in enumerate(names)}
    rows.sort(key=lambda row: (row.sort_key, place.get(row.specimen, -1)))
    spread = {row.specimen: row.specimen_sd for row in rows if row.specimen}
    rows = _averaged(rows)
    # So are sessions and pieces, by the row where each appears first.
    sessions = list(dict.fromkeys(row.session for row in rows))
    pieces = list(dict.fromkeys((row.specimen, row.piece) for row in rows if row.piece))
    axis_of = {name: _axis_of(parts[name].form, name, rows) if name in parts else "" for name in names}
    turns = list(dict.fromkeys((r.specimen, a) for r in rows for a in r.shares if a != axis_of[r.specimen]))
    turned = [[row.shares.get(axis, 0.0) * (row.specimen == name) for name, axis in turns] for row in rows]
    columns = {name: np.array([getattr(row, name) for row in rows]) for name in _COLUMNS}
    cold = crystallisation_of(family)
    if cold is not None and not cold.matters(columns["temperature_k"] - ZERO_C, columns["soak_h"]):
        cold = None
    return Evidence(
        **columns,
        cold=cold,
        specimen=np.array([place.get(row.specimen, -1) for row in rows], dtype=np.int64),
        specimens=tuple(names),
        specimen_sd=np.array([spread[name] for name in names]),
        rows_of=tuple(row.indices for row in rows),
        session=np.array([sessions.index(row.session) for row in rows], dtype=np.int64),
        piece=np.array([pieces.index((row.specimen, row.piece)) if row.piece else -1 for row in rows], dtype=np.int64),
        sessions=tuple(sessions),
        session_sd=np.array([max(row.session_sd for row in rows if row.session == name) for name in sessions]),
        turned=np.array(turned).reshape(len(rows), len(turns)),
        turns=tuple(turns),
        turn_sd=np.array([spread[name] * parts[name].form.apart_share for name, _ in turns]),
        axis_of=axis_of,
    )


def _axis_of(form: FormBase, specimen: str, rows: Sequence[_Row]) -> str:
    """The direction that a specimen's own offset is of: the first of its form's that was read by itself."""
    read = {tuple(row.shares) for row in rows if row.specimen == specimen}
    return next((axis for axis in form.axes if (axis,) in read), form.axes[0])


@dataclass(frozen=True, kw_only=True)
class _Row:
    """One row before it goes into arrays; the specimen's name is empty where a reading has none."""

    ln_s: complex
    stiff: float
    stiff_sd: float
    group: int
    loss: float = math.nan
    loss_sd: float = 1.0
    ln_factor: float = 0.0
    ln_bulk: float = 0.0
    free: bool = False
    weight: float = 1.0
    temperature_k: float = math.nan
    temperature_sd: float = math.nan
    specimen: str = ""
    specimen_sd: float = 0.0
    session: str = ""
    session_sd: float = THERMOMETER_SD_K
    piece: int = 0
    strain: float = math.nan
    soak_h: float = 0.0
    shares: Mapping[str, float] = field(default_factory=dict)
    indices: tuple[int, ...] = ()

    @property
    def sort_key(self) -> tuple[float, ...]:
        loss = -1e9 if math.isnan(self.loss) else self.loss
        return (
            float(self.group),
            self.temperature_k,
            self.ln_s.real,
            self.ln_s.imag,
            self.ln_factor,
            self.stiff,
            loss,
            self.stiff_sd,
            self.loss_sd,
            self.temperature_sd,
        )


#: Laboratory rows share one specimen of this name (no part can have it: names hold no line break).
_LABORATORY: Final = "\nsweep"
#: What rows and evidence have alike.
_COLUMNS: Final = {f.name for f in fields(_Row)} & {f.name for f in fields(Evidence)} - {
    "specimen",
    "specimen_sd",
    "session",
    "session_sd",
    "piece",
}


def _row(
    reading: Reading, parts: Mapping[str, Part], index: int, at_c: float, temperature_sd: float, bulk_mpa: float
) -> _Row:
    if type(reading) not in _ROW_OF:
        raise InputError("reading", reading.kind, "of a kind that the fit knows")
    height = None
    if isinstance(reading, RingDown | Resonance | Deflection):
        form = parts[reading.part].form
        unit, shares = felt_by(reading, form)
        axis = max(shares, key=lambda each: (each in form.axes, shares[each]))
        height = form.strained_mm(axis)
        row = _incompressible(_ROW_OF[type(reading)](reading, unit), form, axis, bulk_mpa)
        row = replace(row, specimen=reading.part, specimen_sd=form.offset_sd(axis), shares=shares)
        row = replace(row, piece=reading.piece or 0)
    else:
        row = _ROW_OF[type(reading)](reading, math.nan)
    usual = _LABORATORY_SD_K if row.group == _SWEEP else THERMOMETER_SD_K
    return replace(
        row,
        strain=(getattr(reading, "amplitude_mm", None) or math.nan) / (height or math.nan),
        soak_h=(reading.soak_min or 0.0) / 60.0,
        session=reading.session or row.session,
        session_sd=usual if reading.thermometer_sd_k is None else reading.thermometer_sd_k,
        temperature_k=at_c + ZERO_C,
        temperature_sd=temperature_sd,
        stiff_sd=max(row.stiff_sd, FLOOR_SD),
        loss_sd=max(row.loss_sd, FLOOR_SD),
        indices=(index,),
    )


def _incompressible(row: _Row, form: FormBase, axis: str, bulk_mpa: float) -> _Row:
    """The row of a bonded part that near glass gives by its volume: what that takes off its stiffness and loss."""
    turns = 1.0 / math.pi if row.free else 1.0
    loss = 0.1 if math.isnan(row.loss) else turns * math.exp(row.loss)
    ln_stiff = 2.0 * (row.stiff + math.log(2.0 * math.pi)) - row.ln_factor if row.free else row.stiff
    felt = ln_stiff + 1j * math.atan(min(loss, 2.0))
    ln_e = felt
    for _ in range(12):
        ln_e = felt - complex(form.ln_bulk_softening(axis, ln_e, bulk_mpa))
    less = ln_e - felt
    if less.real < LEAST_BULK_SOFTENING or felt.real > math.log(MOST_COMPRESSIBILITY * bulk_mpa):
        return row
    return replace(row, ln_bulk=-less.real, loss=row.loss + math.log(math.tan(ln_e.imag) / math.tan(felt.imag)))


def _ring_down(reading: RingDown, unit: float) -> _Row:
    decrement = reading.log_decrement
    angle = 0.05 if decrement is None else math.atan(decrement / (2.0 * math.pi))
    return _Row(
        ln_s=math.log(2.0 * math.pi * reading.frequency_hz / math.cos(angle)) + 1j * (0.5 * math.pi + angle),
        ln_factor=math.log(reading.count * unit * 1e3 / reading.mass_kg),
        stiff=math.log(reading.frequency_hz),
        stiff_sd=_relative(reading.frequency_sd_hz, reading.frequency_hz, FREQUENCY_SD),
        group=_BENCH,
        free=True,
        **_loss(decrement, reading.log_decrement_sd),
    )


def _resonance(reading: Resonance, unit: float) -> _Row:
    loss: dict[str, Any] = {}
    if reading.half_power_width_hz is not None:
        loss = _loss(reading.half_power_width_hz / reading.frequency_hz)
    elif reading.amplification is not None:
        loss = {"loss": -0.5 * math.log(reading.amplification**2 - 1.0), "loss_sd": LOSS_SD}
    omega = 2.0 * math.pi * reading.frequency_hz
    return _Row(
        ln_s=_on_axis(reading.frequency_hz),
        stiff=math.log(reading.mass_kg * omega**2 / (reading.count * unit * 1e3)),
        stiff_sd=2.0 * _relative(reading.frequency_sd_hz, reading.frequency_hz, FREQUENCY_SD),
        group=_BENCH,
        **loss,
    )


def _deflection(reading: Deflection, unit: float) -> _Row:
    usual = max(STIFFNESS_SD, GAUGE_SD_MM / reading.deflection_mm)
    return _Row(
        ln_s=_on_axis(1.0 / (2.0 * math.pi * reading.dwell_s)),
        stiff=math.log(reading.mass_kg * STANDARD_GRAVITY_M_S2 / (reading.deflection_mm * reading.count * unit)),
        stiff_sd=_relative(reading.deflection_sd_mm, reading.deflection_mm, usual),
        group=_BENCH,
    )


def _modulus_point(reading: ModulusPoint, _: float) -> _Row:
    return _Row(
        ln_s=_on_axis(reading.frequency_hz),
        stiff=math.log(reading.storage_mpa),
        stiff_sd=_relative(reading.storage_sd, 1.0, STIFFNESS_SD),
        group=_SWEEP,
        specimen=_LABORATORY,
        specimen_sd=SPECIMEN_SD,
        session=_LABORATORY,
        **_loss(reading.loss_factor, reading.loss_factor_sd),
    )


def _hardness(reading: HardnessReading, _: float) -> _Row:
    modulus, sd = modulus_from_hardness(parse_hardness(reading.value))
    return _Row(ln_s=_on_axis(HARDNESS_HZ), stiff=math.log(modulus), stiff_sd=sd, group=HARDNESS)


#: What each kind of reading says, from the reading and the stiffness of one part at 1 MPa in N/mm.
_ROW_OF: Final[dict[type[Reading], Callable[[Any, float], _Row]]] = {
    RingDown: _ring_down,
    Resonance: _resonance,
    Deflection: _deflection,
    ModulusPoint: _modulus_point,
    HardnessReading: _hardness,
}


def _loss(value: float | None, sd: float | None = None) -> dict[str, Any]:
    return {} if value is None else {"loss": math.log(value), "loss_sd": _relative(sd, value, LOSS_SD)}


def _relative(sd: float | None, value: float, usual: float) -> float:
    """Ln standard deviation: what was typed over the value, or the usual one."""
    return usual if sd is None else sd / value


def _on_axis(frequency_hz: float) -> complex:
    return math.log(2.0 * math.pi * frequency_hz) + 0.5j * math.pi


def _averaged(rows: list[_Row]) -> list[_Row]:
    """Average many rows in cells of temperature and frequency, so that a fit stays within seconds.

    Only rows of one group, on one specimen, share a cell; bench rows are cut ten times finer than sweeps, so that
    only repeats meet. A row that does not fit its cell stays on its own (the worst of them, if there are many), so
    that the report can name it.
    """
    if len(rows) <= MOST_ROWS:
        return rows
    kinds = [
        (r.group, r.specimen, tuple(sorted(r.shares.items())), r.piece, r.session, r.free, math.isnan(r.loss))
        for r in rows
    ]
    number = {kind: k for k, kind in enumerate(sorted(set(kinds)))}
    # A ring-down is placed by its mass: its frequency is the outcome, about as the root of stiffness over mass.
    places = np.array([(row.temperature_k, 0.5 * row.ln_factor if row.free else row.ln_s.real) for row in rows])
    stretch = np.array([1.0 if row.group == _SWEEP else 10.0 for row in rows])
    values = np.array([(row.stiff, row.loss) for row in rows])
    spreads = np.array([(row.stiff_sd, row.loss_sd) for row in rows])
    out: list[_Row] = []
    odd: list[tuple[float, int]] = []
    for cell in split(places, np.array([number[kind] for kind in kinds]), stretch, MOST_ROWS):
        has = ~np.isnan(values[cell[0]])
        here, sd = values[cell][:, has], spreads[cell][:, has]
        if len(cell) == 1 or (len(cell) == 2 and disagree(here, sd)):
            out.extend(rows[k] for k in cell)
            continue
        mean = average(places[cell], here, sd)
        far = np.max(np.abs(here - mean.values) / sd, axis=1)
        odd.extend((-float(far[k]), int(cell[k])) for k in np.flatnonzero(mean.weight == 0.0))
        out.append(_merged([rows[k] for k in cell], mean))
    alone = [rows[k] for _, k in sorted(odd)[:_MOST_ALONE]]
    gone = {row.indices[0] for row in alone}
    return [replace(row, indices=tuple(i for i in row.indices if i not in gone)) for row in out] + alone


def _merged(rows: list[_Row], mean: Average) -> _Row:
    """One row for a cell of rows."""
    share = mean.weight
    has_loss = not math.isnan(rows[0].loss)
    return replace(
        rows[0],
        temperature_k=float(share @ [row.temperature_k for row in rows]),
        temperature_sd=float(share @ [row.temperature_sd for row in rows]),
        ln_s=complex(share @ np.array([row.ln_s for row in rows])),
        ln_factor=float(share @ [row.ln_factor for row in rows]),
        ln_bulk=float(share @ [row.ln_bulk for row in rows]),
        stiff=float(mean.values[0]),
        stiff_sd=max(float(mean.spreads[0]), FLOOR_SD),
        loss=float(mean.values[1]) if has_loss else math.nan,
        loss_sd=max(float(mean.spreads[1]), FLOOR_SD) if has_loss else 1.0,
        indices=tuple(index for row in rows for index in row.indices),
    )
