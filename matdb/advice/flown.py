"""What a flight says of a mount: against what was foretold, in the picture, and as readings of its part."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from matdb.advice.camera import SixAxes
from matdb.arrays import Array
from matdb.bench.flight.following import AXES, Followed, Motion
from matdb.bench.readings import ROCKING, Resonance
from matdb.bench.thermal.body import body_of, film_coefficient, share_left, thermal_of
from matdb.curve.band import Band
from matdb.errors import InputError
from matdb.fields import PlainRecord
from matdb.form.part import Part
from matdb.mounting.on_part import check_on_part
from matdb.mounting.record import Mounting
from matdb.mounting.shake import AirframeSpectrum, pixels_per_rad
from matdb.mounting.six_axis import suspension
from matdb.mounting.suspended import rolling_shutter_shear

#: A mode that adds less to an axis' turn is not seen there.
_SEEN: Final = 0.2
#: Normal quantile of the central 95 %.
_95: Final = 1.96
#: Isolators off their places by less than this share of their distance stand in two rows, or around the middle.
_OFF: Final = 0.05


@dataclass(frozen=True, kw_only=True)
class Against(PlainRecord):
    """One natural frequency as measured, against the one that was foretold.

    Attributes
    ----------
    what : str
        The axis, or the motion.
    natural_frequency_hz, damping_ratio : Band or None
        As measured, with what 95 % of such measurements hold; None where nothing is told.
    foretold_hz, foretold_damping_ratio : Band or None
        What was foretold; None where nothing was.
    verdict : str
        "as expected", "softer than foretold", "stiffer than foretold", or why nothing is told.
    modes : int
        How many modes share in that axis.
    """

    what: str
    natural_frequency_hz: Band | None
    damping_ratio: Band | None
    foretold_hz: Band | None = None
    foretold_damping_ratio: Band | None = None
    verdict: str = ""
    modes: int = 1

    @property
    def line(self) -> str:
        """In one line."""
        found, told = self.natural_frequency_hz, self.foretold_hz
        if found is None:
            return f"{self.what}: not told; {self.verdict}"
        says = f"{self.what} {found.median:.3g} Hz"
        if told is not None:
            says += f", foretold {told.low:.3g}-{told.high:.3g}"
        says += f": {self.verdict}" if self.verdict else ""
        if self.damping_ratio is not None:
            says += f"; damping ratio {self.damping_ratio.median:.2g}"
            if self.foretold_damping_ratio is not None:
                says += f", foretold {self.foretold_damping_ratio.low:.2g}-{self.foretold_damping_ratio.high:.2g}"
        return says


def interval(value: float, sd: float) -> Band:
    """What 95 % of such measurements hold."""
    return Band(value, value - _95 * sd, value + _95 * sd)


def verdict(found: Band, told: Band) -> str:
    """Whether two bands meet; else by how much stiffness, which goes with the square, is off."""
    if found.low <= told.high and told.low <= found.high:
        return "as expected"
    ratio = (found.median / told.median) ** 2
    return f"{'stiffer' if ratio > 1.0 else 'softer'} than foretold by {100.0 * abs(ratio - 1.0):.0f} % of stiffness"


def _met(what: str, found: Band, damping: Band, told: Sequence[Any]) -> Against:
    """Against the nearest of the modes that may be it."""
    near = min(told, key=lambda mode: abs(math.log(mode.natural_frequency_hz.median / found.median)))
    hz, ratio = near.natural_frequency_hz, near.damping_ratio
    more = {"foretold_hz": hz, "foretold_damping_ratio": ratio, "modes": len(told)}
    return Against(what=what, natural_frequency_hz=found, damping_ratio=damping, verdict=verdict(found, hz), **more)


def against_foretold(axes: Sequence[Followed], six: SixAxes | None) -> tuple[Against, ...]:
    """What was measured in roll, pitch and yaw against the nearest mode that shares in each.

    Parameters
    ----------
    axes : sequence of Followed
        As measured.
    six : SixAxes or None
        As foretold; None where nothing is.
    """
    rows = []
    for each in axes:
        fit = each.fit
        if each.refused:
            rows.append(Against(what=each.axis, natural_frequency_hz=None, damping_ratio=None, verdict=each.refused))
            continue
        found = interval(fit.frequency_hz, fit.frequency_sd_hz)
        damping = interval(fit.damping_ratio, 0.5 * fit.loss_factor_sd)
        shares = () if six is None else np.abs(six.turned[AXES.index(each.axis)])
        told = [] if six is None else [mode for mode, share in zip(six.modes, shares, strict=True) if share > _SEEN]
        plain = Against(what=each.axis, natural_frequency_hz=found, damping_ratio=damping)
        rows.append(_met(each.axis, found, damping, told) if told else plain)
    return tuple(rows)


def flown_temperature(part: Part, family: str, start_c: float, air_c: float, flew_s: float) -> tuple[float, float]:
    """Temperature of a part over a flight in the rotors' wash, mean and standard deviation, degrees Celsius and K.

    Parameters
    ----------
    part : Part
        Taken as free in air all round; steel and plate slow it down further.
    family : str
        Of its material.
    start_c, air_c : float
        Its own at take-off and the air's, degrees Celsius.
    flew_s : float
        Time in the air, s.

    Raises
    ------
    InputError
        How the part warms is not known.
    """
    body = body_of(part.form)
    if body is None:
        raise InputError("--car", f"{start_c:g} degC", f"a part whose lag is known; of a {part.form.kind} it is not")
    film = film_coefficient("fanned", start_c, air_c)
    over = air_c + (start_c - air_c) * share_left(body, film, thermal_of(family), np.linspace(0.0, flew_s, 100))("mean")
    return float(over.mean()), float(over.std())


def flight_readings(
    rows: Sequence[Against],
    axes: Sequence[Followed],
    mounting: Mounting,
    part: Part,
    *,
    package: str = "main",
    **told: Any,
) -> tuple[list[Resonance], list[str]]:
    """What was measured in flight as readings of the part, and why an axis gives none.

    Roll and pitch of a mount in two rows are its rocking; yaw turns every isolator sideways, as a mass of the inertia
    over their mean square distance would.

    Parameters
    ----------
    rows, axes : sequence
        As :func:`against_foretold` gives and takes them.
    mounting, part, package : Mounting, Part, str
        What flew.
    **told
        Further fields of the readings: ``temperature_c`` and any other.
    """
    body = suspension(mounting, package)
    plan = body.positions_mm[:, :2]
    middle, radius = np.abs(plan.mean(axis=0)), np.sqrt((plan**2).sum(axis=1).mean())
    upright = bool(np.all(np.abs(body.directions[:, 2]) > 0.999)) and bool(np.all(middle < _OFF * radius))
    found, left = list[Resonance](), list[str]()
    for row, each in zip(rows, axes, strict=True):
        if each.refused:
            continue
        about = AXES.index(each.axis)
        inertia, across = float(body.inertia_kg_mm2[about, about]), np.abs(plan[:, 1 - about]) if about < 2 else None
        more: dict[str, Any] = {"count": mounting.count, "note": f"flight, {each.axis}", **told}
        try:
            if not upright:
                raise InputError("mounting", mounting.name, "upright isolators around the centre of gravity")
            if row.modes > 1:
                raise InputError(each.axis, f"{row.modes} modes", "one mode that it turns with")
            if across is None:
                mass, arm = inertia / radius**2, float(radius)
                more["axis"] = part.form.cross_axis
            else:
                mass, arm = body.mass_kg, float(across.mean())
                if np.any(np.abs(across - arm) > _OFF * arm):
                    raise InputError("mounting", mounting.name, "isolators in two rows")
                more |= {"axis": ROCKING, "spacing_mm": 2.0 * arm, "gyration_mm": math.sqrt(inertia / body.mass_kg)}
                more["centre_above_mm"] = -float(body.positions_mm[:, 2].mean())
            reading = each.fit.reading(part.name, mass_kg=mass, amplitude_mm=each.amplitude_rad * arm, **more)
            check_on_part(reading, part)
        except InputError as why:
            left.append(f"{each.axis} gives no reading: {why}")
        else:
            found.append(reading)
    return found, left


@dataclass(frozen=True, kw_only=True)
class Picture(PlainRecord):
    """What a flight left in the picture.

    Attributes
    ----------
    roll_px, pitch_px, yaw_px : float
        Root mean square of each turn, pixels; roll 45 degrees off the line of sight.
    kept_share : float
        Share of the turns' mean square above what stabilising afterwards removes.
    shear_px_per_row : float or None
        Root mean square sideways shift between neighbouring rows; None without a row time.
    """

    roll_px: float
    pitch_px: float
    yaw_px: float
    kept_share: float
    shear_px_per_row: float | None


def picture(mounting: Mounting, camera: Motion, stabilised_hz: float) -> Picture:
    """What the camera's own log says of the shake in its picture.

    Parameters
    ----------
    mounting : Mounting
        For its focal length, pixel pitch and row time.
    camera : Motion
        The camera's, in the airframe's axes.
    stabilised_hz : float
        Below it, Hz, stabilising afterwards removes what moves the picture; nothing at 0.

    Raises
    ------
    InputError
        Focal length or pixel pitch are not known.
    """
    per_rad, f = pixels_per_rad(mounting), camera.frequency_hz
    spectrum = AirframeSpectrum(f, camera.density, density=True)
    squares: Array = per_rad**2 * spectrum.moved[:, 3:].T
    left = np.where(f > stabilised_hz, squares, 0.0)
    rows = mounting.row_time_us
    shear = None if rows is None else rolling_shutter_shear(f, np.sqrt(left[2]), rows) ** 2
    return Picture(
        **{f"{axis}_px": float(np.sqrt(spectrum.mean_square(left[k]))) for k, axis in enumerate(AXES)},
        kept_share=float(spectrum.mean_square(left).sum() / spectrum.mean_square(squares).sum()),
        shear_px_per_row=None if shear is None else float(np.sqrt(spectrum.mean_square(shear))),
    )
