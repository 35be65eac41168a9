"""Bands from the table that medians are looked up in, against bands over the draws."""

import numpy as np
import pytest

from matdb.advice.answers import PartAnswers
from matdb.curve.fit import prior_curve
from matdb.form import Pad, Part, Ring
from matdb.material.record import Material


@pytest.mark.parametrize("form", [Ring(16, 6, 5), Pad(20, 5)], ids=["ring", "pad that gives by its volume"])
@pytest.mark.parametrize("family", ["silicone", "thermoplastic polyurethane ester"])
def test_bands_looked_up_are_those_over_the_draws(form, family):
    material = Material(name="m", family=family)
    answers = PartAnswers(prior_curve(material), material, Part(name="p", material="m", form=form))
    rng = np.random.default_rng(5)
    t, f = rng.uniform(-40.0, 60.0, 200), np.exp(rng.uniform(0.0, np.log(300.0), 200))
    found, whole = answers.banded(t, f), answers.effective(t, f)
    for name in ("stiffness_n_per_mm", "damping_ratio"):
        ours, theirs = getattr(found, name), getattr(whole, name)
        width = theirs.high - theirs.low
        np.testing.assert_array_less(
            np.abs(ours.median - theirs.median), np.maximum(5e-3 * theirs.median, 0.03 * width)
        )
        for end in ("low", "high"):
            off = np.abs(getattr(ours, end) - getattr(theirs, end))
            # Of 200 states one may lie where a band's end jumps from one draw to another.
            allowed = np.maximum(1e-2 * getattr(theirs, end), 0.05 * width)
            assert np.mean(off < allowed) >= 0.995
            np.testing.assert_array_less(off, 1.1 * allowed)
    assert (found.warnings, found.basis) == (whole.warnings, whole.basis)
    assert (found.extrapolated == whole.extrapolated).all()
    # One state alone goes another way and says the same.
    one = answers.banded(float(t[0]), float(f[0]))
    assert one.stiffness_n_per_mm.low == pytest.approx(found.stiffness_n_per_mm.low[0], rel=1e-12)
    assert one.damping_ratio.high == pytest.approx(found.damping_ratio.high[0], rel=1e-12)
    assert type(answers.banded(np.float64(t[0]), 30).stiffness_n_per_mm.median) is float
    # Beyond the table it is computed in full.
    assert answers.banded(5.0, 2e5).stiffness_n_per_mm == answers.effective(5.0, 2e5).stiffness_n_per_mm
