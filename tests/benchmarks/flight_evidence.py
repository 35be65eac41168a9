"""What one flight adds to three ring-downs: how often the foretold pitch holds the truth, how much its band narrows.

    python tests/benchmarks/flight_evidence.py 40 [FIRST]

Each specimen is a virtual rubber outside the fitted family (``tests/rubbers.py``) in rings whose every dimension is off
its drawing (normal, 5 %). Three ring-downs along the axis at -18, 23 and 50 degC, then a flight at 8 degC of a camera
on four of them: natural frequency and damping in roll, pitch and yaw with the scatter that ``flights.py`` shows of what
is told (0.2 % and 1.2 %). The bench's thermometer and the flight's are off by a kelvin each (normal), as the fit takes
them to be. Asked is pitch every 5 K from -10 to 35 degC, but where it flew. The true modes are those of a box over four
springs (Harris' Shock and Vibration Handbook, 5th ed., chapter 3, from memory), whose frequency and modulus settle
together.
"""

import math
import sys
from pathlib import Path

import numpy as np

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS.parent), str(TESTS)]

import rubbers
import virtual

from matdb.advice.camera import six_axes
from matdb.advice.flown import against_foretold, flight_readings
from matdb.advice.requirement import Candidate
from matdb.bench.flight.following import AXES, Followed
from matdb.bench.forced import ForcedFit
from matdb.curve.fit import fit_curve
from matdb.form import Ring
from matdb.material.record import Material
from matdb.mounting.record import Mounting

SIZES = {"outer_mm": 16.0, "inner_mm": 6.0, "height_mm": 5.0}
SPREAD, BOX = (80.0, 60.0), (110.0, 80.0, 60.0)
FLOWN_C, ASKED_C = 8.0, (-10.0, -5.0, 0.0, 15.0, 20.0, 25.0, 30.0, 35.0)
FREQUENCY_SD, DAMPING_SD, THERMOMETER_SD_K = 0.002, 0.012, 1.0


def true_modes(truth, ring, mass_kg, temperature_c):
    """Natural frequency (Hz) and loss factor in roll, pitch and yaw."""
    x, y = (0.5 * side for side in SPREAD)
    a, b, c = BOX
    per_mpa = {axis: ring.stiffness_n_per_mm(1.0, axis) for axis in ("axial", "shear")}
    tilt = ring.tilting_stiffness_n_mm_per_rad(1.0)
    stiff = 4.0 * np.array([per_mpa["axial"] * arm**2 + tilt for arm in (y, x)] + [per_mpa["shear"] * (x**2 + y**2)])
    inertia = mass_kg / 12.0 * np.array([b * b + c * c, a * a + c * c, a * a + b * b])
    found = []
    for k, i in zip(stiff, inertia, strict=True):
        hz = 20.0
        for _ in range(60):
            modulus = complex(truth.at(hz, temperature_c))
            hz = math.sqrt(1e3 * k * modulus.real / i) / (2.0 * math.pi)
        found.append((hz, modulus.imag / modulus.real))
    return found


def flown(found, rng):
    """The axes as a flight's logs tell them."""
    for axis, (hz, loss) in zip(AXES, found, strict=True):
        hz *= math.exp(FREQUENCY_SD * rng.standard_normal())
        loss *= math.exp(DAMPING_SD * rng.standard_normal())
        sds = FREQUENCY_SD * hz, DAMPING_SD * loss
        fit = ForcedFit("good", (), hz, sds[0], loss, sds[1], 1.0 / loss, 1.0, 0.0, 0, None, np.empty(0, complex))
        yield Followed(axis, fit, 0.02, 1e-3, "")


def specimen(seed):
    """Of each temperature asked: whether the bands without and with the flight hold pitch, widths (ln), errors."""
    truth = rubbers.rubber(seed, rubbers.KINDS[seed % len(rubbers.KINDS)])
    rng = np.random.default_rng([seed, 21])
    actual = Ring(**{name: mm * math.exp(0.05 * rng.standard_normal()) for name, mm in SIZES.items()})
    off = actual.stiffness_n_per_mm(1.0) / virtual.UNIT
    material = Material(name="virtual", family=truth.family)
    off_k = THERMOMETER_SD_K * np.random.default_rng([seed, 22]).standard_normal(2)
    rung = rubbers.ring_downs(truth, rubbers.DESIGNS[3], rng, stiffer=off, off_k=off_k[0])
    mass = 4e3 * virtual.UNIT * truth.at(15.0, 23.0).real / (2.0 * math.pi * rng.uniform(10.0, 20.0)) ** 2
    mass = min(mass, 900.0)
    mounting = Mounting(
        name="flown", mass_kg=mass, count=4, rpm_idle=3000.0, rpm_full=9000.0, spread_mm=SPREAD, box_mm=BOX
    )
    axes = tuple(flown(true_modes(truth, actual, mass, FLOWN_C), rng))
    readings, without = flight_readings(
        against_foretold(axes, None), axes, mounting, virtual.PART, temperature_c=FLOWN_C + off_k[1], session="flight"
    )
    assert len(readings) == 3, without
    out = []
    for taken in (rung, [*rung, *readings]):
        curve = fit_curve(material, {"virtual": virtual.PART}, taken)
        row = []
        for t in ASKED_C:
            told = six_axes(Candidate(virtual.PART, material, curve), mounting, t)
            true = true_modes(truth, actual, mass, t)[1][0]
            bands = [mode.natural_frequency_hz for mode in told.modes if mode.word.startswith("pitch")]
            f = min(bands, key=lambda band: abs(math.log(band.median / true)))
            row.append((f.low <= true <= f.high, math.log(f.high / f.low), f.median / true - 1.0))
        out.append(row)
    return np.array(out, dtype=float)


def main(many, first=0):
    """Coverage and widths, as they come and in all."""
    found = []
    for seed in range(first, first + many):
        found.append(specimen(seed))
        if (seed - first + 1) % 5 == 0 or seed + 1 == first + many:
            every = np.array(found)
            print(f"\n{len(found)} specimens; pitch at a new temperature: covered, largest error, factor of the band")
            print(f"{'degC':32}" + "".join(f"{t:6g}" for t in ASKED_C))
            for k, name in enumerate(("three ring-downs", "and a flight")):
                covered, width, error = np.moveaxis(every[:, k], -1, 0)
                factors = "".join(f"{factor:6.2f}" for factor in np.exp(np.median(width, axis=0)))
                print(f"{name:18} {covered.mean():.3f}  {np.abs(error).max():.3f}  {factors}")
            less = 100.0 * (1.0 - every[:, 1, :, 1] / every[:, 0, :, 1])
            for name, each in {
                "narrower by, %": np.median(less, axis=0),
                "covered": every[:, 1, :, 0].mean(axis=0),
            }.items():
                print(f"{name:32}" + "".join(f"{value:6.3g}" for value in each))
            median, quarter = np.quantile(less, (0.5, 0.25))
            print(
                f"narrower by {median:.1f} % in the median of all, by {quarter:.0f} % at most in a quarter", flush=True
            )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
