"""Six axes and shake with bands: against one axis, against the mechanics underneath, and in words."""

import dataclasses
import json

import numpy as np
import pytest

from matdb.advice.camera import camera_shake, cross_axis, six_axes
from matdb.advice.judge import Candidate
from matdb.advice.suit import suit
from matdb.curve.band import band
from matdb.errors import InputError
from matdb.form import Bush, Pad, Part, Ring, Strut
from matdb.mounting.record import Mounting, rectangle_positions
from matdb.mounting.shake import AirframeSpectrum, isolator_amplitude_mm, residual_shake
from matdb.mounting.six_axis import modes, suspension

CAMERA = Mounting(
    name="cam",
    mass_kg=0.6,
    count=4,
    rpm_idle=4500,
    rpm_full=9000,
    manoeuvre_hz=4.0,
    positions_mm=rectangle_positions(90, 70),
    box_mm=(100, 80, 60),
    row_time_us=12.5,
    rows=4000,
    focal_length_mm=24.0,
    pixel_pitch_um=4.0,
)
SPECTRUM = AirframeSpectrum(np.array([75.0, 150.0]), np.array([[1.0, 1.0, 3.0, 20.0, 20.0, 5.0]] * 2))


@pytest.fixture(scope="module")
def gel(materials):
    return Candidate(
        Part(name="ring", material="gel", form=Ring(outer_mm=12, inner_mm=5, height_mm=8)), *materials["gel"]
    )


@pytest.mark.slow
def test_bounce_of_a_centred_camera_is_the_one_axis_answer(gel):
    told = six_axes(gel, CAMERA, -5.0)
    bounce = next(m for m in told.modes if m.word == "bounce")
    row = suit([gel], CAMERA, [-5.0], squeeze_mm=0.0)[0]
    assert bounce.natural_frequency_hz.median == pytest.approx(row.cold.natural_frequency_hz.median, rel=1e-6)
    assert bounce.damping_ratio.median == pytest.approx(row.cold.damping_ratio.median, rel=1e-6)
    assert [m.word for m in row.six_axes.modes] == [m.word for m in told.modes]


def test_modes_agree_with_the_mechanics_draw_by_draw(materials):
    material, curve = materials["natural"]
    one = dataclasses.replace(curve, parameters=curve.parameters[:1], misfit=curve.misfit[:1] * 0.0)
    one = dataclasses.replace(one, offsets={"ring": np.zeros(1)})
    form = Ring(outer_mm=12, inner_mm=5, height_mm=8)
    each = Candidate(Part(name="ring", material="natural", form=form), material, one)
    off = dataclasses.replace(CAMERA, centre_mm=(4.0, -3.0, -20.0), inclination_deg=20.0)
    told = six_axes(each, off, 5.0, squeeze_mm=0.8)

    axial, shear = (form.stiffness_n_per_mm(1.0, axis, squeeze_mm=0.8) for axis in ("axial", "shear"))
    tilting = form.tilting_stiffness_n_mm_per_rad(1.0)
    for k, mode in enumerate(told.modes):
        f = mode.natural_frequency_hz.median
        for _ in range(30):  # each mode at the modulus of its own frequency
            e = np.exp(one.ln_modulus(np.array([5.0]), np.log(2 * np.pi * np.array([f]))))[0, 0]
            f = modes(suspension(off), axial * e.real, shear * e.real, tilting * e.real).frequency_hz[k]
        assert mode.natural_frequency_hz.median == pytest.approx(f, rel=1e-3)
        assert mode.damping_ratio.median == pytest.approx(0.5 * e.imag / e.real, rel=5e-3)
    assert any("turning about a point" in m.word for m in told.modes)
    assert any("couples with" in text for text in told.warnings)


def test_lowest_and_highest_mode_decide_what_lies_inside(gel):
    told = six_axes(gel, CAMERA, 10.0)
    f = [m.natural_frequency_hz.median for m in told.modes]
    assert f == sorted(f)
    assert (told.lowest, told.highest) == (told.modes[0], told.modes[-1])
    assert told.inside <= min(told.follows, told.isolates)
    assert told.follows <= min(m.probability for m in told.modes) + (1.0 - told.isolates)
    narrow = dataclasses.replace(CAMERA, manoeuvre_hz=0.5 * f[0] * 1.3, rpm_idle=60 * 2.5 * f[-1] * 0.8)
    outside = six_axes(gel, narrow, 10.0)
    assert max(outside.lowest.probability, outside.highest.probability, outside.inside) < 0.5
    json.dumps(outside.to_dict(), allow_nan=False)


def test_the_ranking_tells_six_axes_only_where_positions_are_known(gel):
    bare = dataclasses.replace(CAMERA, positions_mm=())
    assert suit([gel], bare, [0.0])[0].six_axes is None
    assert suit([gel], CAMERA, [0.0])[0].six_axes is not None
    assert suit([gel], CAMERA, [0.0])[0].shake is None
    with pytest.raises(InputError, match="positions_mm of cam"):
        six_axes(gel, bare, 0.0)


def test_where_amplitudes_were_told_shake_is_of_rubber_as_soft_as_the_shake_makes_it(gel):
    curve = gel.curve
    some = {"parameters": curve.parameters[::20], "misfit": curve.misfit[::20]}
    some["offsets"] = {name: values[::20] for name, values in curve.offsets.items()}
    gel = dataclasses.replace(gel, curve=dataclasses.replace(curve, **some))
    law = np.repeat([[0.4, 0.01, 1.0]], len(some["misfit"]), axis=0)
    told = dataclasses.replace(gel.curve, bench_strain=1e-3, softening=law)
    hard = AirframeSpectrum(SPECTRUM.frequency_hz, 30.0 * SPECTRUM.acceleration)
    found = camera_shake(dataclasses.replace(gel, curve=told), CAMERA, hard, 5.0)
    assert found.vertical_rms_px.median < 0.97 * camera_shake(gel, CAMERA, hard, 5.0).vertical_rms_px.median
    # By hand: the softening at which the shake of so soft a rubber has just that softening, by bisection.
    body, form = suspension(CAMERA), gel.part.form
    axial, shear = (form.stiffness_n_per_mm(1.0, axis) for axis in ("axial", "shear"))
    f = hard.frequency_hz
    offset = gel.curve.offset_draws(gel.part, "axial", CAMERA.count)
    ln_e = gel.curve.ln_modulus(np.full(f.shape, 5.0), np.log(2.0 * np.pi * f)) + offset[:, None]
    rms = []
    for e in np.exp(ln_e)[:, :, None]:
        low, high = 0.5, 1.0
        for _ in range(40):
            softer = 0.5 * (low + high)
            # To the first power of softening, the loss modulus is as it was.
            soft = e.real * softer + 1j * e.imag
            strain = isolator_amplitude_mm(body, axial * soft, shear * soft, hard) / form.height_mm
            gone = [(x / 0.01) ** 1.1 for x in (float(strain), 1e-3)]
            want = np.divide(*(1.0 - 0.4 * g / (1.0 + g) for g in gone))
            low, high = (softer, high) if want > softer else (low, softer)
        rms.append(float(residual_shake(body, axial * soft, shear * soft, hard, CAMERA).vertical_rms_px))
    assert band(np.array(rms)).median == pytest.approx(found.vertical_rms_px.median, rel=5e-3)


def test_the_isolators_swing_as_one_spring_does_where_nothing_turns():
    body = dataclasses.replace(suspension(CAMERA), camera_mm=np.zeros(3))
    flat = dataclasses.replace(body, positions_mm=body.positions_mm * [1.0, 1.0, 0.0])
    f, k = np.array([50.0, 90.0]), 3.0 * (1.0 + 0.2j)
    acceleration = np.zeros((2, 6))
    acceleration[:, 2] = 4.0, 2.0
    w = 2.0 * np.pi * f
    stiff = 1e3 * k * len(flat.positions_mm)
    moved = np.abs(stiff / (stiff - flat.mass_kg * w**2) - 1.0) * acceleration[:, 2] * 1e3 / w**2
    found = isolator_amplitude_mm(flat, k, 0.4 * k, AirframeSpectrum(f, acceleration))
    assert found == pytest.approx(np.sqrt(np.sum(moved**2)), rel=1e-9)


def test_shake_grows_with_the_airframes_motion_and_shows_rows(gel):
    row = suit([gel], CAMERA, [-10.0, 20.0], squeeze_mm=0.0, spectrum=SPECTRUM)[0]
    double = AirframeSpectrum(SPECTRUM.frequency_hz, 2.0 * SPECTRUM.acceleration)
    again = camera_shake(gel, CAMERA, double, row.worst.temperature_c)
    assert again.horizontal_rms_px.median == pytest.approx(2.0 * row.shake.horizontal_rms_px.median)
    assert again.vertical_rms_px.high == pytest.approx(2.0 * row.shake.vertical_rms_px.high)
    assert row.shake.vertical_rms_px.low < row.shake.vertical_rms_px.median < row.shake.vertical_rms_px.high
    assert row.shake.worst_hz == 75.0
    assert row.shake.bands_per_frame == pytest.approx(75.0 * 4000 * 12.5e-6)
    # Shear of one line: 2 pi f x_rms t_row; the sum of both lines lies between those of either alone.
    shear = row.shake.shear_rms_px_per_row.median
    px = row.shake.horizontal_rms_px.median
    assert 2 * np.pi * 75.0 * px * 12.5e-6 <= shear * 1.001
    assert shear <= 2 * np.pi * 150.0 * px * 12.5e-6
    json.dumps(row.to_dict(), allow_nan=False)


def test_the_direction_across_is_found_or_refused(materials):
    assert cross_axis(Pad(10, 10)) == "shear"
    assert cross_axis(Strut(outer_mm=6, inner_mm=0, length_mm=20)) == "lateral"
    assert cross_axis(Bush(outer_mm=20, inner_mm=8, length_mm=15)) == "radial"
    loose = Candidate(Part(name="p", material="gel", form=Pad(10, 10, bonded=False)), *materials["gel"])
    row = suit([loose], CAMERA, [0.0])[0]
    assert row.six_axes is None
    assert any("six axes cannot be told" in text for text in row.warnings)
