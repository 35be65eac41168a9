"""One suspended axis: the solver against closed forms and a scalar root finder, the ratios, the refusals."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matdb.errors import InputError
from matdb.mounting import one_axis as oa


def zener(f, k0=2.0, stiffer=50.0, alpha=0.5, tau=1e-3):
    s = (2j * np.pi * np.asarray(f) * tau) ** alpha
    return k0 * (1 + stiffer * s) / (1 + s)


def test_constant_stiffness_is_the_closed_form():
    m = np.array([0.1, 0.5, 2.0])
    assert oa.natural_frequency(m, 10.0) == pytest.approx(np.sqrt(1e4 / m) / (2 * np.pi), rel=1e-14)
    assert oa.natural_frequency(m, lambda f: np.full(f.shape, 10.0)) == pytest.approx(
        np.sqrt(1e4 / m) / (2 * np.pi), rel=1e-12
    )


def test_power_law_stiffness_has_a_closed_form():
    # K = c f^p: f^(2-p) = 1000 c / (4 pi^2 m)
    p = np.array([0.0, 0.2, 0.5, 0.9])
    got = oa.natural_frequency(0.3, lambda f: 1.5 * f**p)
    assert got == pytest.approx((1500 / (4 * np.pi**2 * 0.3)) ** (1 / (2 - p)), rel=1e-12)


def test_self_consistent_root_agrees_with_a_scalar_root_finder():
    from scipy.optimize import brentq

    masses = np.geomspace(0.01, 20, 9)
    got = oa.resonant(masses, zener)
    for m, f, z in zip(masses, got.frequency_hz, got.damping_ratio, strict=True):
        root = brentq(lambda x, m=m: m * (2 * np.pi * x) ** 2 - 1e3 * zener(x).real, 0.1, 1e4, xtol=1e-13, rtol=1e-14)
        assert f == pytest.approx(root, rel=1e-11)
        k = zener(root)
        assert z == pytest.approx(k.imag / k.real / 2, rel=1e-10)


@settings(max_examples=40, deadline=None)
@given(
    alpha=st.floats(0.1, 0.95),
    tau=st.floats(-7, 2),
    stiffer=st.floats(2, 3000),
    m=st.floats(1e-3, 100),
    k0=st.floats(1e-3, 1e3),
)
def test_solver_satisfies_its_equation_for_any_fractional_solid(alpha, tau, stiffer, m, k0):
    law = lambda f: zener(f, k0, stiffer, alpha, 10**tau)  # noqa: E731
    f = oa.natural_frequency(m, law)
    assert m * (2 * np.pi * f) ** 2 == pytest.approx(1e3 * law(f).real, rel=1e-9)


def test_draws_lead_and_masses_broadcast():
    k0 = np.array([1.0, 2.0, 4.0])[:, None]
    got = oa.natural_frequency(np.array([0.2, 0.8]), lambda f: zener(f, k0))
    assert got.shape == (3, 2)
    assert got[1, 1] == pytest.approx(oa.natural_frequency(0.8, zener), rel=1e-12)


def test_stiffness_not_above_zero_gives_nan_and_leaves_the_others_alone():
    got = oa.resonant(1.0, np.array([-1.0, 0.0, 4.0 + 0.4j]))
    assert np.isnan(got.frequency_hz[:2]).all()
    assert np.isnan(got.damping_ratio[:2]).all()
    assert got.damping_ratio[2] == pytest.approx(0.05)
    varying = oa.natural_frequency(1.0, lambda f: np.array([-1.0, 4.0]) * f**0)
    assert np.isnan(varying[0])
    assert varying[1] == pytest.approx(got.frequency_hz[2])


def test_table_agrees_with_the_solver_for_many_parts_at_once():
    grid = np.geomspace(1, 1000, 60)
    scale = np.array([[1.0], [3.0], [0.2]])
    unit = np.array([0.5, 2.0, 20.0])
    got = oa.natural_frequency_from_table(0.4, unit, grid, scale * zener(grid))
    assert got.shape == (3, 3)
    want = oa.natural_frequency(0.4, lambda f: scale * unit * zener(f))
    assert got == pytest.approx(want, rel=1e-3)
    assert np.isnan(oa.natural_frequency_from_table(0.4, 1e-9, grid, zener(grid)))
    with pytest.raises(InputError, match="rising row"):
        oa.natural_frequency_from_table(0.4, unit, grid[::-1], zener(grid))


def test_transmissibility_and_follow_error_hang_together():
    f = np.array([0.0, 5.0, 20.0, 80.0])
    k = np.array([10 + 1j, 10 + 1j, 11 + 2j, 14 + 4j])
    t = k / (k - 0.6e-3 * (2 * np.pi * f) ** 2)
    assert oa.transmissibility(0.6, k, f) == pytest.approx(np.abs(t), rel=1e-14)
    assert oa.follow_error(0.6, k, f) == pytest.approx(np.abs(t - 1), rel=1e-12)
    assert oa.follow_error(0.6, 10.0, oa.natural_frequency(0.6, 10.0) / 3) == pytest.approx(1 / 8)
    assert oa.transmissibility(1e3, 4 * np.pi**2, 1.0) == np.inf


def test_worst_follow_error_is_at_the_top_of_the_band_or_at_resonance():
    k = 10 * (1 + 0.2j)
    own = oa.natural_frequency(0.6, k)
    assert oa.worst_follow_error(0.6, k, own / 3) == pytest.approx(oa.follow_error(0.6, k, own / 3))
    assert oa.worst_follow_error(0.6, k, 3 * own) == pytest.approx(oa.follow_error(0.6, k, own), rel=1e-12)
    assert oa.worst_follow_error(0.6, k, 0.0) == 0.0
    got = oa.worst_follow_error(np.array([0.2, 0.6]), lambda f: zener(f, np.array([[1.0], [-1.0], [4.0]])), 8.0)
    assert got.shape == (3, 2)
    assert np.isnan(got[1]).all()
    assert got[2, 1] == pytest.approx(oa.worst_follow_error(0.6, lambda f: zener(f, 4.0), 8.0), rel=1e-12)
    with pytest.raises(InputError, match="points"):
        oa.worst_follow_error(0.6, k, points=1)


def test_viscous_limits():
    assert oa.viscous_transmissibility([0.0, 0.3, 1.0], 0.0) == pytest.approx([1, 1, 1])
    assert oa.viscous_transmissibility([0.01, 0.3, 1.0], np.sqrt(2)) == pytest.approx([1, 1, 1])
    with pytest.raises(InputError, match=r"damping_ratio: -0\.1 is not allowed"):
        oa.viscous_transmissibility(-0.1, 1.0)


def test_sag_and_frequency_are_inverse():
    f = np.array([3.0, 15.0, 40.0])
    assert oa.frequency_of_sag(oa.sag_of_frequency(f)) == pytest.approx(f, rel=1e-14)


def test_rotor_bands_come_in_order_and_twice_given_orders_once():
    bands = oa.rotor_bands(3000, 7200, 3)
    assert [(b.label, b.low_hz, b.high_hz) for b in bands] == [
        ("1/rev", 50.0, 120.0),
        ("3/rev", 150.0, 360.0),
    ]
    assert [b.order for b in oa.rotor_bands(3000, 7200, 2, [4, 1, 4])] == [1.0, 4.0]


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: oa.natural_frequency(-0.2, 1.0), "mass_kg"),
        (lambda: oa.natural_frequency("heavy", 1.0), "mass_kg"),
        (lambda: oa.transmissibility(0.2, 1.0, -3.0), "frequency_hz"),
        (lambda: oa.rotor_bands(8000, 3000, 2), "rpm_low"),
        (lambda: oa.rotor_bands(3000, 8000, 0), "blades"),
        (lambda: oa.rotor_bands(3000, 8000, True), "blades"),
        (lambda: oa.rotor_speed_from_thrust(0.0, 254), "thrust_n"),
        (lambda: oa.frequency_window(20.0, 0.0), "lowest_rotor_hz"),
        (lambda: oa.bands_per_frame(100, 0, 10), "rows"),
        (lambda: oa.damping_ratio(-0.1), "loss_factor"),
        (lambda: oa.sag_of_frequency(np.nan), "frequency_hz"),
    ],
)
def test_what_cannot_be_is_refused_by_field(call, field):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.field == field
    assert "\n" not in str(caught.value)


def test_window_edges_count_as_inside_and_nan_as_outside():
    f = np.array([19.9, 20.0, 25.0, 32.0, 32.1, np.nan])
    w = oa.frequency_window(f, 80.0, 10.0)
    assert w.inside.tolist() == [False, True, True, True, False, False]
    assert w.follows.tolist() == [False, True, True, True, True, False]
    assert w.isolates.tolist() == [True, True, True, True, False, False]
    assert oa.window_limits(80.0, 10.0) == (20.0, 32.0)
    low, high = oa.window_limits(np.array([40.0, 80.0]))
    assert (high < low).tolist() == [True, False]


def test_no_manoeuvre_band_always_follows():
    w = oa.frequency_window([5.0, np.nan], 80.0, 0.0)
    assert w.inside.tolist() == [True, False]
