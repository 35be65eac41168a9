"""Residual shake: a hand-made rocking body, densities against lines, the spectrum's reader."""

import numpy as np
import pytest

from matdb.errors import InputError
from matdb.mounting import six_axis as sa
from matdb.mounting import suspended as sus
from matdb.mounting.record import Mounting, rectangle_positions
from matdb.mounting.shake import AirframeSpectrum, read_spectrum, residual_shake

CAMERA = {"focal_length_mm": 24.0, "pixel_pitch_um": 4.0, "row_time_us": 12.5, "rows": 4000}


def mounting(**change):
    values = {
        "name": "quad",
        "mass_kg": 0.5,
        "count": 4,
        "rpm_idle": 3000,
        "rpm_full": 7200,
        "positions_mm": rectangle_positions(80, 60),
        "box_mm": (90, 60, 50),
        **CAMERA,
    }
    return Mounting(**{**values, **change})


def line(f, axis, size):
    a = np.zeros((1, 6))
    a[0, axis] = size
    return AirframeSpectrum(np.array([f]), a)


def test_level_isolators_turn_translation_into_no_shake_of_a_distant_scene():
    m = mounting()
    got = residual_shake(sa.suspension(m), 10 + 1j, 4 + 0.4j, line(82.0, 2, 9.81), m)
    assert got.horizontal_rms_px == pytest.approx(0, abs=1e-12)
    assert got.vertical_rms_px == pytest.approx(0, abs=1e-12)


def test_airframe_pitch_reaches_the_picture_as_one_axis_would_have_it():
    m = mounting()
    body = sa.suspension(m)
    f, accel = 82.0, 3.0  # Hz, rad/s2
    got = residual_shake(body, 10 + 1j, 4 + 0.4j, line(f, 4, accel), m)
    stiffness = 4 * (10 + 1j) * 40**2  # N mm/rad, pitch rocking alone
    gain = sus.transmissibility(body.inertia_kg_mm2[1, 1], stiffness, f)  # kg mm2 and N mm: as kg and N/mm
    pixels = gain * accel / (2 * np.pi * f) ** 2 * 24e3 / 4.0
    assert got.vertical_px[0] == pytest.approx(pixels, rel=1e-9)
    assert got.vertical_rms_px == pytest.approx(pixels / np.sqrt(2), rel=1e-9)
    assert got.horizontal_px[0] == pytest.approx(0, abs=1e-12)
    assert got.bands_per_frame == pytest.approx(sus.bands_per_frame(f, 4000, 12.5))


def test_yaw_shears_the_rows():
    m = mounting()
    got = residual_shake(sa.suspension(m), 10 + 1j, 4 + 0.4j, line(100.0, 5, 40.0), m)
    assert got.shear_rms_px_per_row == pytest.approx(
        sus.rolling_shutter_shear(100.0, got.horizontal_px[0], 12.5) / np.sqrt(2), rel=1e-12
    )


def test_a_low_centre_of_gravity_turns_surge_into_shake():
    m = mounting(centre_mm=(0, 0, -25))
    got = residual_shake(sa.suspension(m), 10 + 1j, 4 + 0.4j, line(82.0, 0, 9.81), m)
    assert got.vertical_px[0] > 0.05


def test_a_narrow_density_equals_a_line_of_the_same_mean_square():
    m = mounting()
    body = sa.suspension(m)
    one = residual_shake(body, 10 + 1j, 4 + 0.4j, line(82.0, 4, 2.0), m)
    f = np.array([81.99, 82.0, 82.01])
    a = np.zeros((3, 6))
    a[:, 4] = [0.0, 2.0**2 / 2 / 0.01, 0.0]  # a triangle of area 2^2 / 2
    many = residual_shake(body, 10 + 1j, 4 + 0.4j, AirframeSpectrum(f, a, density=True), m)
    assert many.vertical_rms_px == pytest.approx(one.vertical_rms_px, rel=1e-3)
    assert many.worst_hz == 82.0


def test_draws_lead():
    m = mounting(centre_mm=(0, 0, -25))
    body = sa.suspension(m)
    scale = np.array([1.0, 2.0])[:, None, None]
    spectrum = AirframeSpectrum(np.array([50.0, 82.0, 164.0]), np.ones((3, 6)))
    got = residual_shake(body, 10 * scale, 4 * scale, spectrum, m)
    assert got.vertical_px.shape == (2, 3)
    assert got.worst_hz.shape == (2,)
    alone = residual_shake(body, 20.0, 8.0, spectrum, m)
    assert got.vertical_rms_px[1] == pytest.approx(alone.vertical_rms_px, rel=1e-12)


def test_spectrum_reader_takes_the_usual_headers():
    g = 9.80665
    got = read_spectrum("Frequency [Hz];Z (g);yaw (deg/s^2)\n50;0,1;\n100;0,2;3\n".replace(";\n", ";0\n"))
    assert not got.density
    assert got.acceleration[:, 2] == pytest.approx([0.1 * g, 0.2 * g])
    assert got.acceleration[1, 5] == pytest.approx(np.radians(3))
    assert (got.acceleration[:, :2] == 0).all()
    psd = read_spectrum(
        b"\xef\xbb\xbff_Hz,vertical (g^2/Hz),lateral ((m/s\xc2\xb2)\xc2\xb2/Hz)\n10,1e-3,2\n20,2e-3,3\n"
    )
    assert psd.density
    assert psd.acceleration[0, 2] == pytest.approx(1e-3 * g**2)
    assert psd.acceleration[1, 1] == 3


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("", "two columns or more"),
        ("a,b\n1,2\n", "columns frequency"),
        ("frequency,z (g)\n1,2\n", "in Hz"),
        ("frequency (Hz),z\n1,2\n", "m/s2, mm/s2"),
        ("frequency (Hz),pitch (g)\n1,2\n", "rad/s2"),
        ("frequency (Hz),z (g),z (g)\n1,2,3\n", "once per axis"),
        ("frequency (Hz),x (g),z (g2/Hz)\n1,2,3\n", "either amplitudes or densities"),
        ("frequency (Hz),z (g)\n", "a row with a frequency"),
        ("frequency (Hz),z (g)\n,2\n", "line 2"),
        ("frequency (Hz),z (g)\n1,\n", "line 2, z (g)"),
        ("frequency (Hz),z (g)\n1,two\n", "'two'"),
        ("frequency (Hz),z (g)\n2,1\n1,1\n", "sort the rows"),
        ("frequency (Hz),z (g)\n2,-1\n", "0 or more"),
        ("frequency (Hz),z (g2/Hz)\n2,1\n", "two rows"),
        ("frequency (Hz),z (g)\n1,2,3\n", "at most 2 cells"),
        (b"\x00\x01", "zero bytes"),
        (b"\xff\xfe\x00", "plain text"),
        (3, "text"),
    ],
)
def test_bad_spectra_are_refused_with_one_line(text, word):
    with pytest.raises(InputError) as caught:
        read_spectrum(text)
    assert word in str(caught.value)
    assert "\n" not in str(caught.value)


def test_shake_needs_a_camera():
    m = mounting(focal_length_mm=None)
    with pytest.raises(InputError, match="focal_length_mm of quad"):
        residual_shake(sa.suspension(m), 1.0, 1.0, line(50.0, 0, 1.0), m)
