"""Readings as evidence: one row a reading, whatever its kind and on whatever part."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from matdb.bench.readings import Deflection, HardnessReading, ModulusPoint, Reading, Resonance, RingDown
from matdb.bench.thermal.soak import actual_temperatures
from matdb.curve.averaging import Average, average, disagree, split
from matdb.curve.evidence import BENCH, HARDNESS, LABEL, SWEEP, Evidence, Held
from matdb.curve.prior import HARDNESS_HZ
from matdb.curve.tolerance import FREQUENCY_SD, LOSS_SD, STIFFNESS_SD
from matdb.errors import InputError
from matdb.form.base import LEAST_BULK_SOFTENING, MOST_COMPRESSIBILITY, UNKNOWN_SD, FormBase
from matdb.form.part import Part
from matdb.material.crystallisation import crystallisation_of
from matdb.material.families import family_named
from matdb.material.hardness import modulus_from_hardness, parse_hardness
from matdb.material.shift import ZERO_C
from matdb.mounting.on_part import felt_by
from matdb.mounting.squeeze import pair_case
from matdb.units import STANDARD_GRAVITY_M_S2

Array = NDArray[np.float64]

#: What remains open even with a perfect instrument: how the part sits, how the mass is held.
FLOOR_SD: Final = 0.01
#: How far off a session's thermometer usually is, K: a bench's and a laboratory's (common practice, no source).
THERMOMETER_SD_K: Final = 1.0
_LABORATORY_SD_K: Final = 0.2
#: A gauge is read to about this, mm.
GAUGE_SD_MM: Final = 0.01
#: ln standard deviation of a laboratory specimen's own dimensions.
SPECIMEN_SD: Final = 0.03
#: Readings beyond this number are averaged in cells of temperature and frequency; the fit's time goes with it.
MOST_ROWS: Final = 80
#: Readings that do not fit their cell stay rows of their own, at most so many.
_MOST_ALONE: Final = 8


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
    rows = [_row(reading, parts, k, float(at_c[k]), float(sd_k[k]), family) for k, reading in enumerate(readings)]
    rows = _incompressible(rows, parts, family_named(family)["bulk_modulus"].value)
    # Specimens are told apart by what was read on them, so that a new name changes nothing.
    content: dict[str, list[tuple[float, ...]]] = {}
    for row in rows:
        if row.specimen:
            content.setdefault(row.specimen, []).append(row.sort_key)
    names = sorted(content, key=lambda name: sorted(content[name]))
    place = {name: k for k, name in enumerate(names)}
    rows.sort(key=lambda row: (row.sort_key, place.get(row.specimen, -1)))
    spread = {row.specimen: row.specimen_sd for row in rows if row.specimen}
    # Where no part that was read has a shape, the label holds the modulus, as if it had been a part.
    if min(spread.values(), default=0.0) >= UNKNOWN_SD:
        names.append(LABEL)
        spread[LABEL] = SPECIMEN_SD
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
        held=tuple(_held(rows, parts, family)),
    )


def _axis_of(form: FormBase, specimen: str, rows: Sequence[_Row]) -> str:
    """The direction that a specimen's own offset is of: the first of its form's that was read by itself."""
    read = {tuple(row.shares) for row in rows if row.specimen == specimen}
    return next((axis for axis in form.axes if (axis,) in read), form.axes[0])


def _held(rows: Sequence[_Row], parts: Mapping[str, Part], family: str) -> Iterator[Held]:
    """Rows on grommet pairs, those together that hold alike."""
    alike: dict[tuple[Any, ...], list[int]] = {}
    for k, row in enumerate(rows):
        if row.hangs:
            alike.setdefault((row.specimen, *row.hangs), []).append(k)
    for (name, mass_kg, squeeze_mm), which in alike.items():
        form, t = parts[name].form, np.array([rows[k].temperature_k for k in which]) - ZERO_C
        assert form.pair is not None
        hangs: dict[str, Any] = {"payload_kg": mass_kg, "count": 1, "temperature_c": t}
        case = pair_case(form.pair, family, static_modulus_mpa=np.ones(()), **hangs)
        unit = float(form.stiffness_n_per_mm(1.0, squeeze_mm=squeeze_mm))
        yield Held(np.array(which), case, squeeze_mm, unit)


@dataclass(frozen=True, kw_only=True)
class _Row:
    """One row before it goes into arrays; the specimen's name is empty where a reading has none.

    ``hangs``: the mass on each grommet pair, kg, that swings along its axis, and the pair's squeeze, mm.
    """

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
    hangs: tuple[float, ...] = ()
    indices: tuple[int, ...] = ()

    @property
    def ln_felt(self) -> complex:
        """Ln of the complex modulus that would explain it by itself; the loss about as rubber's where it tells none."""
        turns = 1.0 / math.pi if self.free else 1.0
        loss = 0.1 if math.isnan(self.loss) else turns * math.exp(self.loss)
        ln_stiff = 2.0 * (self.stiff + math.log(2.0 * math.pi)) - self.ln_factor if self.free else self.stiff
        return ln_stiff + 1j * math.atan(min(loss, 2.0))

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
    reading: Reading, parts: Mapping[str, Part], index: int, at_c: float, temperature_sd: float, family: str
) -> _Row:
    if type(reading) not in _ROW_OF:
        raise InputError("reading", reading.kind, "of a kind that the fit knows")
    height = None
    if isinstance(reading, RingDown | Resonance | Deflection):
        form = parts[reading.part].form
        unit, shares = felt_by(reading, form)
        if isinstance(reading, Deflection):
            unit = form.pressed_unit(reading.axis, reading.squeeze_mm, reading.deflection_mm)
        axis = _felt_most(form, shares)
        height = form.strained_mm(axis)
        row = replace(
            _ROW_OF[type(reading)](reading, unit),
            specimen=reading.part,
            specimen_sd=form.made_of_sd(axis, family),
            shares=shares,
            piece=reading.piece or 0,
            hangs=_hangs(reading, form),
        )
    else:
        row = _ROW_OF[type(reading)](reading, math.nan)
    usual = _LABORATORY_SD_K if row.group == SWEEP else THERMOMETER_SD_K
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


def _hangs(reading: RingDown | Resonance | Deflection, form: FormBase) -> tuple[float, ...]:
    """See :class:`_Row`."""
    if form.pair is None or reading.axis != "axial" or isinstance(reading, Deflection):
        return ()
    return reading.mass_kg / reading.count, reading.squeeze_mm


def _felt_most(form: FormBase, shares: Mapping[str, float]) -> str:
    """The direction, one that the form knows by itself if there is one, that a reading feels most."""
    return max(shares, key=lambda each: (each in form.axes, shares[each]))


def _incompressible(rows: list[_Row], parts: Mapping[str, Part], bulk_mpa: float) -> list[_Row]:
    """Rows of bonded parts that near glass give by their volume: what that takes off their stiffness and loss."""
    alike: dict[tuple[str, str], list[int]] = {}
    for k, row in enumerate(rows):
        if row.specimen in parts:
            alike.setdefault((row.specimen, _felt_most(parts[row.specimen].form, row.shares)), []).append(k)
    rows = list(rows)
    for (name, axis), which in alike.items():
        felt = np.array([rows[k].ln_felt for k in which])
        ln_e = felt
        for _ in range(12):
            ln_e = felt - parts[name].form.ln_bulk_softening(axis, ln_e, bulk_mpa)
        less, turned = (ln_e - felt).real, np.log(np.tan(ln_e.imag) / np.tan(felt.imag))
        gives = (less >= LEAST_BULK_SOFTENING) & (felt.real <= math.log(MOST_COMPRESSIBILITY * bulk_mpa))
        for i in np.flatnonzero(gives).tolist():
            row = rows[which[i]]
            rows[which[i]] = replace(row, ln_bulk=-float(less[i]), loss=row.loss + float(turned[i]))
    return rows


def _ring_down(reading: RingDown, unit: float) -> _Row:
    decrement = reading.log_decrement
    angle = 0.05 if decrement is None else math.atan(decrement / (2.0 * math.pi))
    return _Row(
        ln_s=math.log(2.0 * math.pi * reading.frequency_hz / math.cos(angle)) + 1j * (0.5 * math.pi + angle),
        ln_factor=math.log(reading.count * unit * 1e3 / reading.mass_kg),
        stiff=math.log(reading.frequency_hz),
        stiff_sd=_relative(reading.frequency_sd_hz, reading.frequency_hz, FREQUENCY_SD),
        group=BENCH,
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
        group=BENCH,
        **loss,
    )


def _deflection(reading: Deflection, unit: float) -> _Row:
    usual = max(STIFFNESS_SD, GAUGE_SD_MM / reading.deflection_mm)
    return _Row(
        ln_s=_on_axis(1.0 / (2.0 * math.pi * reading.dwell_s)),
        stiff=math.log(reading.mass_kg * STANDARD_GRAVITY_M_S2 / (reading.deflection_mm * reading.count * unit)),
        stiff_sd=_relative(reading.deflection_sd_mm, reading.deflection_mm, usual),
        group=BENCH,
    )


def _modulus_point(reading: ModulusPoint, _: float) -> _Row:
    return _Row(
        ln_s=_on_axis(reading.frequency_hz),
        stiff=math.log(reading.storage_mpa),
        stiff_sd=_relative(reading.storage_sd, 1.0, STIFFNESS_SD),
        group=SWEEP,
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
        (r.group, r.specimen, tuple(sorted(r.shares.items())), r.hangs, r.piece, r.session, r.free, math.isnan(r.loss))
        for r in rows
    ]
    number = {kind: k for k, kind in enumerate(sorted(set(kinds)))}
    # A ring-down is placed by its mass: its frequency is the outcome, about as the root of stiffness over mass.
    places = np.array([(row.temperature_k, 0.5 * row.ln_factor if row.free else row.ln_s.real) for row in rows])
    stretch = np.array([1.0 if row.group == SWEEP else 10.0 for row in rows])
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
