"""The model's own misfit: how it grows where nothing was read."""

import math

import numpy as np
import pytest

from matdb.curve.misfit import Misfit


@pytest.mark.parametrize("read_c", [(), (-20.0, -14.0, 75.0)])
@pytest.mark.parametrize("loss_ln_hz", [None, (3.0, 4.0)])
def test_it_grows_by_its_size_with_the_way_to_what_was_read(read_c, loss_ln_hz):
    t, ln_hz = (each.ravel() for each in np.meshgrid(np.linspace(-90.0, 120.0, 22), np.linspace(-9.0, 19.0, 15)))
    shape, sd = (30, t.size), np.full(30, 0.02)

    def added(celsius):
        size, angle = np.zeros(shape), np.full(shape, 0.5)
        known = Misfit(sd, 1, (2.0, 5.0), loss_ln_hz, celsius, read_c)
        known.add(size, angle, t, ln_hz[None] + math.log(2.0 * math.pi), np.zeros(t.size))
        return size, angle - 0.5

    warm = np.maximum(np.maximum(-20.0 - t, t - 75.0), 0.0) / 10.0
    stiff = np.maximum(warm, np.maximum(2.0 - ln_hz, ln_hz - 5.0) / 1.5)
    loss = np.full_like(t, 4.0) if loss_ln_hz is None else np.maximum(3.0 - ln_hz, ln_hz - 4.0) / 4.5
    gap = np.min([abs(t - each) for each in read_c], axis=0) / 10.0 if read_c else 0.0
    plain, grown = added(None), added((-20.0, 75.0))
    assert grown[0] / plain[0] == pytest.approx(np.broadcast_to(1.0 + np.minimum(stiff, 4.0), shape), rel=1e-9)
    # The angle follows its misfit in a straight line while that is small.
    straight = (abs(grown[1]) < 0.3) & (abs(plain[1]) > 1e-3)
    most = 1.0 + np.minimum(np.maximum(np.maximum(loss, warm), gap), 4.0)
    assert straight.mean() > 0.5
    assert (grown[1] / plain[1])[straight] == pytest.approx(np.broadcast_to(most, shape)[straight], rel=1e-9)
