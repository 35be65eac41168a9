"""Transient conduction against an independent numerical solution."""

import numpy as np
import pytest
from scipy import special

from matdb.bench.thermal import body as conduction


def _finite_differences(shape, biot, fourier, cells=200):
    """Implicit finite volumes (Crank-Nicolson after two backward steps) on 0..1: core, mean."""
    edges = np.linspace(0.0, 1.0, cells + 1)
    middle, width = 0.5 * (edges[1:] + edges[:-1]), 1.0 / cells
    power = 1 if shape == "cylinder" else 0
    area = edges**power
    volume = np.diff(edges ** (power + 1)) / (power + 1)
    flow = np.zeros((cells, cells))
    for i in range(cells - 1):
        g = area[i + 1] / width
        flow[i, i] -= g
        flow[i, i + 1] += g
        flow[i + 1, i + 1] -= g
        flow[i + 1, i] += g
    film = 1.0 / (1.0 / biot + 0.5 * width)
    flow[-1, -1] -= film
    rate = flow / volume[:, None]
    theta, steps = np.ones(cells), 400
    dt = fourier / steps
    eye = np.eye(cells)
    # Four quarter backward steps damp the jump at the surface, then Crank-Nicolson.
    start = np.linalg.inv(eye - 0.25 * dt * rate)
    for _ in range(4):
        theta = start @ theta
    step = np.linalg.solve(eye - 0.5 * dt * rate, eye + 0.5 * dt * rate)
    for _ in range(steps - 1):
        theta = step @ theta
    core = np.polyval(np.polyfit(middle[:4] ** 2, theta[:4], 1), 0.0)
    return {"core": core, "mean": volume @ theta * (power + 1)}


@pytest.mark.parametrize("shape", ["slab", "cylinder"])
@pytest.mark.parametrize("biot", [0.05, 0.3, 2.0, 30.0])
@pytest.mark.parametrize("fourier", [0.05, 0.4, 1.5])
def test_series_against_finite_differences(shape, biot, fourier):
    other = _finite_differences(shape, biot, fourier)
    for at, value in other.items():
        assert conduction.Decay(shape, biot, at)(np.array(fourier)) == pytest.approx(value, rel=5e-3, abs=1e-5)


def test_roots_satisfy_their_equation_for_every_biot_number():
    biot = np.logspace(-6, 6, 60)
    slab, cylinder = conduction.slab_roots(biot), conduction.cylinder_roots(biot)
    b = biot[:, None]
    assert np.max(np.abs(slab * np.sin(slab) - b * np.cos(slab)) / (slab + b)) < 1e-13
    assert np.max(np.abs(cylinder * special.j1(cylinder) - b * special.j0(cylinder)) / (cylinder + b)) < 1e-13
    n = np.arange(40)
    assert np.all((slab > n * np.pi) & (slab < (n + 0.5) * np.pi))
    assert np.all(cylinder < special.jn_zeros(0, 40))
    assert np.all(np.diff(cylinder) > 2.4)


def test_small_biot_number_is_lumped():
    # h V/A / k = 0.001: one temperature throughout, exp(-Bi Fo)
    fo = np.array([0.0, 100.0, 500.0, 2000.0])
    np.testing.assert_allclose(conduction.Decay("slab", 0.001, "core")(fo), np.exp(-0.001 * fo), rtol=2e-3)


@pytest.mark.parametrize("shape", ["slab", "cylinder"])
def test_one_term_is_within_two_percent_from_a_fifth_on(shape):
    biot, fo = np.logspace(-2, 2, 30)[:, None], np.linspace(0.2, 3, 30)
    one = conduction.Decay(shape, biot, "core", 1)(fo)
    np.testing.assert_allclose(one, conduction.Decay(shape, biot, "core")(fo), rtol=2e-2)


@pytest.mark.parametrize("shape", ["slab", "cylinder"])
@pytest.mark.parametrize("at", ["core", "mean"])
def test_theta_falls_steadily_from_one(shape, at):
    fo = np.concatenate([[0.0], np.logspace(-7, 1.5, 400)])
    theta = conduction.Decay(shape, np.array([0.02, 0.5, 5.0])[:, None], at)(fo)
    assert theta.shape == (3, 401)
    assert np.all(theta[:, 0] == 1.0)
    assert np.all(np.diff(theta) <= 1e-9)
    assert np.all((theta >= 0) & (theta <= 1))


def test_a_biot_number_is_above_zero():
    with pytest.raises(ValueError, match="biot"):
        conduction.slab_roots([0.3, -1.0])
