"""Readings along, across and of a whole mount that rocks: each direction of a part has an offset of its own."""

import math

import numpy as np
import pytest

from matdb.bench.readings import Deflection, Resonance, RingDown
from matdb.curve.curve import Curve
from matdb.curve.fit import fit_curve, prior_curve
from matdb.errors import InputError
from matdb.form import Measured, Part, Ring
from matdb.form.base import TILTING
from matdb.material.record import Material
from matdb.mounting.on_part import check_on_part, felt, felt_by

MATERIAL = Material(name="m", family="silicone", hardness="40 A")
RING = Part(name="ring", material="m", form=Ring(outer_mm=16, inner_mm=6, height_mm=5))
UNIT = {axis: RING.form.stiffness_n_per_mm(1.0, axis) for axis in RING.form.axes}
TILT = RING.form.tilting_stiffness_n_mm_per_rad(1.0)


def rocking_by_hand(along, across, tilt, spacing, gyration, above):
    """Square of the two angular frequencies over 1000, of 1 kg on two parts, and their shapes: sway x, turn q.

    The parts stand ``above`` below the centre of gravity: they move by x - above q sideways and by half the spacing
    times q along their axes.
    """
    k = np.array(
        [
            [2 * across, -2 * across * above],
            [-2 * across * above, 2 * across * above**2 + 2 * along * (spacing / 2) ** 2 + 2 * tilt],
        ]
    )
    values, shapes = np.linalg.eig(np.diag([1.0, gyration**-2.0]) @ k)
    turns = gyration**2 * shapes[1] ** 2 / (shapes[0] ** 2 + gyration**2 * shapes[1] ** 2)
    return values[np.argmax(turns)], turns.max()


@pytest.mark.parametrize(("spacing", "gyration", "above"), [(80.0, 30.0, 0.0), (60.0, 40.0, 12.0), (24.0, 20.0, -5.0)])
def test_a_rocking_mount_feels_what_its_two_equations_of_motion_say(spacing, gyration, above):
    asked = {"spacing_mm": spacing, "gyration_mm": gyration, "centre_above_mm": above}
    stiff = [UNIT["axial"], UNIT["shear"], TILT]
    unit, shares = felt(RING.form, "rocking", **asked)
    by_hand, turning = rocking_by_hand(*stiff, *asked.values())
    assert turning > 0.6
    assert unit == pytest.approx(by_hand / 2.0, rel=1e-6)
    # Shares are the derivatives of ln stiffness, here by difference.
    for k, axis in enumerate(("axial", "shear", TILTING)):
        more = [value * (1.0 + 1e-4 * (k == i)) for i, value in enumerate(stiff)]
        slope = math.log(rocking_by_hand(*more, *asked.values())[0] / by_hand) / 1e-4
        assert shares.get(axis, 0.0) == pytest.approx(slope, abs=2e-4)
    assert sum(shares.values()) == pytest.approx(1.0)


def test_a_rocking_reading_tells_what_it_lacks():
    how = {"part": "ring", "temperature_c": 20.0, "mass_kg": 0.4, "frequency_hz": 30.0}
    rocks = RingDown(**how, axis="rocking", count=4, spacing_mm=80.0, gyration_mm=30.0)
    check_on_part(rocks, RING)
    with pytest.raises(InputError, match="gyration_mm"):
        RingDown(**how, axis="rocking", count=4, spacing_mm=80.0)
    with pytest.raises(InputError, match="spacing_mm"):
        RingDown(**how, spacing_mm=80.0)
    with pytest.raises(InputError, match="even"):
        Resonance(**how, axis="rocking", count=3, spacing_mm=80.0, gyration_mm=30.0)
    with pytest.raises(InputError, match="axis"):
        check_on_part(Deflection(part="ring", temperature_c=20.0, mass_kg=0.4, deflection_mm=0.2, axis="rocking"), RING)
    with pytest.raises(InputError, match="sways as well as it rocks"):
        felt(RING.form, "rocking", spacing_mm=20.0, gyration_mm=30.0, centre_above_mm=10.0)


def ring_down(axis, hz_at_1mpa, modulus=1.5, **more):
    """What a ring-down of 400 g on four at a modulus shows, its stiffness per modulus told."""
    unit = hz_at_1mpa * 4 * modulus
    f = math.sqrt(unit * 1e3 / 0.4) / (2 * math.pi)
    return RingDown(
        part="ring", temperature_c=20.0, mass_kg=0.4, count=4, axis=axis, frequency_hz=f, log_decrement=0.4, **more
    )


def spread(curve, axis):
    """Median and standard deviation of ln stiffness of the part in a direction at 20 degC and 30 Hz."""
    ln_e = curve.ln_modulus(np.array(20.0), np.log(2 * np.pi * 30.0)).real
    values = ln_e + curve.offset_draws(RING, axis)
    return float(np.median(values)), float(values.std())


@pytest.fixture(scope="module")
def fits():
    """Of axial readings alone; with a sideways one 1.4 times as stiff as drawn; with one that rocks, 1.2 times."""
    along = [ring_down("axial", UNIT["axial"])] * 2
    rocks = {"spacing_mm": 24.0, "gyration_mm": 30.0}
    unit = felt(RING.form, "rocking", **rocks)[0]
    sets = (along, [*along, *[ring_down("shear", 1.4 * UNIT["shear"])] * 2])
    sets = (*sets, [*along, *[ring_down("rocking", 1.2 * unit, **rocks)] * 2])
    return [fit_curve(MATERIAL, {"ring": RING}, readings) for readings in sets]


def test_an_axial_reading_tells_less_of_the_sideways_stiffness(fits):
    alone = fits[0]
    along, across = spread(alone, "axial"), spread(alone, "shear")
    share = RING.form.apart_share * RING.form.offset_sd("shear")
    assert across[0] == pytest.approx(along[0], abs=0.03)
    assert across[1] == pytest.approx(math.hypot(along[1], share), rel=0.1)


def test_a_sideways_reading_moves_the_sideways_stiffness_alone(fits):
    alone, both, _ = fits
    assert both.axis_of == {"ring": "axial"}
    assert both.turns == (("ring", "shear"),)
    more = spread(both, "shear")[0] - spread(both, "axial")[0]
    assert more == pytest.approx(math.log(1.4), abs=0.09)
    assert spread(both, "axial")[0] == pytest.approx(spread(alone, "axial")[0], abs=0.05)
    assert spread(both, "shear")[1] < 0.7 * spread(alone, "shear")[1]


def test_a_rocking_reading_moves_what_tilts(fits):
    alone, _, rocked = fits
    shares = felt(RING.form, "rocking", spacing_mm=24.0, gyration_mm=30.0).shares
    assert shares[TILTING] > 0.08
    assert spread(rocked, TILTING)[0] > spread(alone, TILTING)[0] + 0.02
    assert spread(rocked, "axial")[0] > spread(alone, "axial")[0]


def test_what_is_kept_of_directions_comes_back(fits):
    for curve in fits:
        meta, arrays = curve.to_meta_and_arrays()
        back = Curve.from_meta_and_arrays("m", meta, arrays, seed=curve.seed)
        for axis in ("axial", "shear", TILTING):
            assert back.offset_draws(RING, axis) == pytest.approx(curve.offset_draws(RING, axis), abs=0.0)
    meta, arrays = fits[1].to_meta_and_arrays()
    with pytest.raises(InputError, match="directions"):
        Curve.from_meta_and_arrays("m", meta, {**arrays, "turned": np.zeros((3, 1))}, seed=0)


def test_an_older_fit_has_one_offset_for_all_directions(fits):
    meta, arrays = fits[0].to_meta_and_arrays()
    old = {name: value for name, value in meta.items() if name not in ("axis_of", "turns")}
    back = Curve.from_meta_and_arrays("m", old, arrays, seed=0)
    assert back.offset_draws(RING, "shear") == pytest.approx(back.offset_draws(RING, "axial"), abs=0.0)


def test_directions_of_a_part_that_was_not_read_go_together():
    curve = prior_curve(MATERIAL)
    along, across = (curve.offset_draws(RING, axis) for axis in ("axial", "shear"))
    sd = RING.form.offset_sd("shear")
    assert across.std() == pytest.approx(sd, rel=0.1)
    assert (across - along).std() == pytest.approx(RING.form.apart_share * sd, rel=0.1)


def test_a_part_known_by_its_readings_alone_keeps_its_directions_together():
    bought = Part(name="bought", material="m", form=Measured(height_mm=8))
    curve = prior_curve(MATERIAL)
    apart = curve.offset_draws(bought, "shear") - curve.offset_draws(bought, "axial")
    assert apart.std() == pytest.approx(0.45, rel=0.1)
    assert felt_by(ring_down("shear", 1.0), bought.form).shares == {"shear": 1.0}


@pytest.mark.slow
def test_a_part_without_a_shape_tells_nothing_of_how_stiff_another_is():
    rubber = Material(name="ring rubber", family="EPDM", hardness="30 A")
    parts = {"ring": RING, "odd": Part(name="odd", material="m", form=Measured())}
    readings = [
        RingDown(part="odd", temperature_c=t, mass_kg=0.41, count=4, frequency_hz=hz, log_decrement=0.5)
        for t, hz in ((20.0, 22.0), (-15.0, 30.0))
    ]
    curve, label = fit_curve(rubber, parts, readings), prior_curve(rubber)

    def ends(curve, name):
        ln_e = curve.ln_modulus(np.array(20.0), np.log(2 * np.pi * 30.0)).real + curve.offset_draws(
            parts[name], "axial"
        )
        return np.quantile(ln_e, (0.025, 0.5, 0.975))

    # Its size stays with the label, whatever was read; and the odd part's is known.
    assert ends(curve, "ring") == pytest.approx(ends(label, "ring"), abs=0.3)
    assert np.ptp(ends(curve, "odd")) < 1.0
    assert any("no part that was read has a shape" in warning for warning in curve.report["warnings"])
