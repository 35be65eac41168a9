"""Reductions: limits, inverses, arrays and refusals."""

import numpy as np
import pytest

from matdb.bench import reduce
from matdb.errors import InputError


def test_decrement_and_damping_ratio_are_inverse():
    zeta = np.linspace(0.0, 0.9, 50)
    back = reduce.damping_ratio_from_decrement(reduce.decrement_from_damping_ratio(zeta))
    np.testing.assert_allclose(back, zeta, rtol=1e-12)


def test_iso_form_is_the_loss_factor_of_spring_and_dashpot_at_the_damped_frequency():
    k, c, m = 3.0, 0.7, 1.3
    s = np.roots([m, c, k])[0]
    decrement = 2 * np.pi * -s.real / abs(s.imag)
    assert reduce.loss_factor_from_decrement(decrement) == pytest.approx(c * abs(s.imag) / k, rel=1e-12)
    assert reduce.stiffness_from_ring_down(m, abs(s.imag) / 2 / np.pi, decrement) == pytest.approx(k / 1000)


def test_small_form_overstates():
    assert reduce.loss_factor_from_decrement(0.6315, form="small") == pytest.approx(0.20101, abs=1e-4)


def test_decrement_from_synthetic_peaks():
    assert reduce.decrement_from_amplitudes([8.0, 4.0], [1.0, 1.0], [3, 2]) == pytest.approx([np.log(2), np.log(2)])


@pytest.mark.parametrize("eta", [0.02, 0.2, 0.6])
def test_half_power_and_amplification_recover_the_loss_factor_of_a_sampled_peak(eta):
    r = np.linspace(0.0, 2.0, 2_000_001)
    force = 1 / np.abs(1 - r**2 + 1j * eta)
    inside = r[force >= force.max() / np.sqrt(2)]
    width, peak = inside[-1] - inside[0], r[np.argmax(force)]
    assert reduce.loss_factor_from_half_power(width, peak) == pytest.approx(eta, rel=1e-4)
    assert reduce.loss_factor_from_amplification(force.max(), kind="force") == pytest.approx(eta, rel=1e-6)
    moved = reduce.transmissibility(r, loss_factor=eta)
    assert reduce.loss_factor_from_amplification(moved.max()) == pytest.approx(eta, rel=1e-6)


def test_rebound():
    # a lossless bounce, and one that gives back exp(-pi/10) of the energy
    assert reduce.loss_factor_from_rebound([1.0, np.exp(-np.pi / 10)]) == pytest.approx([0.0, 0.1])


def test_stiffness_is_shared_by_the_parts():
    one = reduce.stiffness_from_ring_down(0.25, 31.2, 0.55)
    assert reduce.stiffness_from_ring_down(0.25, 31.2, 0.55, count=4) == pytest.approx(one / 4)


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: reduce.decrement_from_amplitudes(1.0, 2.0, 1), "last amplitude"),
        (lambda: reduce.decrement_from_amplitudes(0.0, 2.0, 1), "first amplitude"),
        (lambda: reduce.decrement_from_amplitudes(2.0, 1.0, 0), "cycles"),
        (lambda: reduce.damping_ratio_from_decrement([0.1, -0.1]), "log_decrement"),
        (lambda: reduce.damping_ratio_from_decrement(np.nan), "log_decrement"),
        (lambda: reduce.decrement_from_damping_ratio(1.0), "damping_ratio"),
        (lambda: reduce.loss_factor_from_decrement(7.0), "log_decrement"),
        (lambda: reduce.loss_factor_from_decrement(0.5, form="big"), "form"),
        (lambda: reduce.loss_factor_from_half_power(30.0, 20.0), "width_hz"),
        (lambda: reduce.loss_factor_from_amplification(1.0), "amplification"),
        (lambda: reduce.loss_factor_from_rebound(1.2), "resilience"),
        (lambda: reduce.loss_factor_from_rebound("a lot"), "resilience"),
        (lambda: reduce.natural_frequency_from_deflection(0.0), "deflection_mm"),
        (lambda: reduce.transmissibility(1.0), "damping"),
        (lambda: reduce.transmissibility(1.0, damping_ratio=0.1, loss_factor=0.2), "damping"),
    ],
)
def test_refusals_name_the_field(call, field):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.field == field
    assert "\n" not in str(caught.value)
