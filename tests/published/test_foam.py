"""A closed-cell vinyl-nitrile foam, measured: a few of its points fitted blind, the rest foretold.

Dynamic mechanical analysis in compression at 10 rad/s, means over the repeats at each temperature of one curve in the
calibration data of A. K. Landauer et al., Materials & Design 112381 (2023), doi 10.1016/j.matdes.2023.112381; data doi
10.18434/mds2-2989, National Institute of Standards and Technology, free use with acknowledgement.
"""

import numpy as np
import pytest

from matdb.bench.readings import ModulusPoint
from matdb.curve.fit import fit_curve
from matdb.material.record import Material

HERTZ = 1.5915494
#: Temperature in degC, storage modulus in MPa, loss factor.
MEASURED = np.array([
    (-29.99, 76.17, 0.02605),
    (-24.99, 79.23, 0.03457),
    (-20.00, 82.17, 0.03162),
    (-15.00, 75.73, 0.04238),
    (-10.00, 68.08, 0.06537),
    (-5.00, 57.11, 0.108),
    (0.00, 42.71, 0.1605),
    (5.00, 33.77, 0.2165),
    (10.00, 20.23, 0.2984),
    (15.00, 11.95, 0.3757),
    (20.01, 6.913, 0.4392),
    (25.00, 3.689, 0.5083),
    (30.00, 1.925, 0.5262),
    (35.00, 1.133, 0.4978),
    (40.00, 0.797, 0.4351),
    (45.01, 0.6062, 0.3587),
    (50.00, 0.4945, 0.2863),
    (54.99, 0.4236, 0.2289),
    (59.99, 0.3704, 0.1878),
])  # fmt: skip


@pytest.mark.parametrize("chosen", [(-30, -5, 20, 40, 60), (-30, 0, 25, 60), (-25, -10, 10, 25, 50)])
def test_the_rest_of_a_foam_is_foretold_from_a_few_points(chosen):
    known = np.isin((MEASURED[:, 0] / 5.0).round() * 5.0, chosen)
    readings = [
        ModulusPoint(material="foam", temperature_c=t, frequency_hz=HERTZ, storage_mpa=e, loss_factor=n)
        for t, e, n in MEASURED[known]
    ]
    curve = fit_curve(Material(name="foam", family="unknown"), {}, readings)
    t, storage, loss = MEASURED[~known].T
    got = curve.modulus(t, HERTZ)
    assert np.mean((got.storage_mpa.low <= storage) & (storage <= got.storage_mpa.high)) >= 0.9
    assert np.mean((got.loss_factor.low <= loss) & (loss <= got.loss_factor.high)) >= 0.9
    assert not any(row["fumbled"] for row in curve.report["readings"])
