"""Transient conduction against published figures."""

import numpy as np
import pytest

from matdb.bench.thermal import body as conduction
from matdb.bench.thermal import soak as bench
from matdb.bench.thermal.body import Body, body_theta


@pytest.mark.parametrize(("biot", "root"), [(0.1, 0.3111), (1.0, 0.8603), (10.0, 1.4289)])
def test_first_root_of_the_slab(biot, root):
    # Cengel, Heat and Mass Transfer, Table 4-2 (from memory)
    assert conduction.slab_roots(biot, 1)[0] == pytest.approx(root, abs=6e-5)


@pytest.mark.parametrize(("biot", "root"), [(0.1, 0.4417), (1.0, 1.2558), (10.0, 2.1795)])
def test_first_root_of_the_cylinder(biot, root):
    # Cengel, Heat and Mass Transfer, Table 4-2 (from memory)
    assert conduction.cylinder_roots(biot, 1)[0] == pytest.approx(root, abs=6e-5)


def test_slab_of_six_millimetres():
    # Worked from Cengel's one-term solution: 6 mm slab, h 20 W/m2K, k 0.2 W/mK, alpha 1e-7 m2/s, 20 to -40
    # degC: Bi 0.3, lambda 0.5218, A 1.0450, core within 1 K after 22.8 min.
    assert conduction.slab_roots(0.3, 1)[0] == pytest.approx(0.5218, abs=5e-5)
    assert conduction.Decay("slab", 0.3, "core", 1).weight[0] == pytest.approx(1.0450, abs=5e-5)
    for terms in (1, 40):
        minutes = np.linspace(22.0, 23.5, 1501)
        core = -40.0 + 60.0 * body_theta(Body(6.0), 20.0, 0.2, 0.1, terms=terms)(60.0 * minutes)
        assert minutes[np.argmax(core <= -39.0)] == pytest.approx(22.8, abs=0.05)


@pytest.mark.parametrize("family", ["natural rubber", "thermoplastic polyurethane ester", "polyurethane gel"])
def test_puck_out_of_the_freezer(family):
    # Common practice, no source: a 10 x 8 mm puck from -20 degC into still air of 23 degC drifts 1 K in
    # about 7 s.
    found = bench.drift(Body(8.0, 10.0), -20.0, 0.0, family=family, limit_k=1.0)
    assert found.seconds_left == pytest.approx(7.0, abs=1.5)
