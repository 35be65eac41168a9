"""The suspended mass: the solver against closed forms and a scalar root finder, the ratios, the refusals."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from oracles.suspended import viscous_transmissibility

from matdb.errors import InputError
from matdb.mounting import suspended as sus


def zener(f, k0=2.0, stiffer=50.0, alpha=0.5, tau=1e-3):
    s = (2j * np.pi * np.asarray(f) * tau) ** alpha
    return k0 * (1 + stiffer * s) / (1 + s)


def natural(mass, law):
    """Natural frequency in Hz of a mass on a complex stiffness (N/mm) that is a function of frequency."""
    ln_w = np.log(1e3 / np.asarray(mass, dtype=float))

    def ln_law(u):
        step = 1e-4
        here, above = (sus.ln_storage(np.log(law(np.exp(x) / (2 * np.pi)))) for x in (u, u + step))
        return here, np.clip((above - here) / step, 0.0, 1.0)

    return np.exp(sus.natural_ln_omega(ln_w, ln_law)) / (2 * np.pi)


def test_constant_stiffness_is_the_closed_form():
    m = np.array([0.1, 0.5, 2.0])
    assert natural(m, lambda f: np.full(f.shape, 10.0 + 1j)) == pytest.approx(np.sqrt(1e4 / m) / (2 * np.pi), rel=1e-14)
    assert type(sus.natural_ln_omega(math.log(1e3), lambda u: (0.0, 0.0))) is float


def test_power_law_stiffness_has_a_closed_form():
    # K = c f^p: f^(2-p) = 1000 c / (4 pi^2 m)
    p = np.array([0.0, 0.2, 0.5, 0.9])
    got = natural(np.full(4, 0.3), lambda f: (1.5 + 0j) * f**p)
    assert got == pytest.approx((1500 / (4 * np.pi**2 * 0.3)) ** (1 / (2 - p)), rel=1e-12)


def test_root_agrees_with_a_scalar_root_finder():
    from scipy.optimize import brentq

    masses = np.geomspace(0.01, 20, 9)
    for m, f in zip(masses, natural(masses, zener), strict=True):
        root = brentq(lambda x, m=m: m * (2 * np.pi * x) ** 2 - 1e3 * zener(x).real, 0.1, 1e4, xtol=1e-13, rtol=1e-14)
        assert f == pytest.approx(root, rel=1e-9)


@settings(max_examples=40, deadline=None)
@given(
    alpha=st.floats(0.1, 0.95),
    tau=st.floats(-7, 2),
    stiffer=st.floats(2, 3000),
    m=st.floats(1e-3, 100),
    k0=st.floats(1e-2, 1e2),
)
def test_solver_satisfies_its_equation_for_any_fractional_solid(alpha, tau, stiffer, m, k0):
    law = lambda f: zener(f, k0, stiffer, alpha, 10**tau)  # noqa: E731
    f = natural(m, law)
    # Five steps; 1.1e-4 was once found where a wide glass transition lies on the root.
    assert m * (2 * np.pi * f) ** 2 == pytest.approx(1e3 * law(f).real, rel=2e-4)


def test_a_limit_of_the_frequency_is_a_limit_of_the_stiffness_per_mass():
    f = natural(0.4, zener)
    assert sus.ln_w_at(float(f), np.log(zener(f))) == pytest.approx(math.log(1e3 / 0.4), rel=1e-12)


def test_beyond_a_right_angle_the_storage_is_floored():
    assert sus.ln_storage(np.array([1.0 + 2.0j])) == pytest.approx([1.0 + math.log(1e-6)])


def test_table_agrees_with_the_solver_for_many_parts_at_once():
    scale = np.array([[1.0], [3.0], [0.2]])
    unit = np.array([0.5, 2.0, 20.0])
    table = sus.NaturalTable(lambda u: np.log(scale * zener(np.exp(u) / (2 * np.pi))))
    got, ln_modulus = table.natural(np.broadcast_to(np.log(1e3 * unit / 0.4), (3, 3)))
    assert got == pytest.approx(natural(np.full((3, 3), 0.4), lambda f: scale * unit * zener(f)), rel=1e-3)
    assert np.exp(ln_modulus) == pytest.approx(scale * zener(got), rel=3e-3)
    ends, _ = table.natural(np.array([[-99.0], [0.0], [99.0]]))
    assert ends[[0, 2], 0] == pytest.approx([0.1, 1e4])


def test_transmissibility_and_follow_error_hang_together():
    f = np.array([0.0, 5.0, 20.0, 80.0])
    k = np.array([10 + 1j, 10 + 1j, 11 + 2j, 14 + 4j])
    t = k / (k - 0.6e-3 * (2 * np.pi * f) ** 2)
    assert sus.transmissibility(0.6, k, f) == pytest.approx(np.abs(t), rel=1e-14)
    assert sus.follow_error(0.6, k, f) == pytest.approx(np.abs(t - 1), rel=1e-12)
    assert sus.follow_error(0.6, 10.0, np.sqrt(1e4 / 0.6) / (2 * np.pi) / 3) == pytest.approx(1 / 8)
    assert sus.transmissibility(1e3, 4 * np.pi**2, 1.0) == np.inf


def test_a_viscous_damper_is_one_complex_stiffness():
    zeta, r = np.array([0.0, 0.1, 0.3, 1.0]), np.array([0.4, 1.1, math.sqrt(2), 5.0])
    k = 4 * np.pi**2 * (1 + 2j * zeta * r)
    assert sus.transmissibility(1e3, k, r) == pytest.approx(viscous_transmissibility(zeta, r))
    assert viscous_transmissibility(zeta, math.sqrt(2))[1:] == pytest.approx(np.ones(3))


def test_rotor_bands_come_in_order_and_twice_given_orders_once():
    bands = sus.rotor_bands(3000, 7200, 3)
    assert [(b.label, b.low_hz, b.high_hz) for b in bands] == [("1/rev", 50.0, 120.0), ("3/rev", 150.0, 360.0)]
    assert [b.order for b in sus.rotor_bands(3000, 7200, 2, [4, 1, 4])] == [1.0, 4.0]


@pytest.mark.parametrize(
    ("blades", "orders", "field"), [(0, (), "blades"), (True, (), "blades"), (2, (1.0, -2.0), "orders")]
)
def test_what_cannot_be_is_refused_by_field(blades, orders, field):
    with pytest.raises(InputError) as caught:
        sus.rotor_bands(3000, 8000, blades, orders)
    assert caught.value.field == field
    assert "\n" not in str(caught.value)


def test_window():
    assert sus.window_limits(80.0, 10.0) == (20.0, 32.0)
    low, high = sus.window_limits(40.0, 10.0)
    assert high < low
    assert sus.window_limits(80.0, 0.0)[0] == 0.0
