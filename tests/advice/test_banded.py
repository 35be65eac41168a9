"""Bands from the table that medians are looked up in, against bands over the draws."""

import dataclasses

import numpy as np
import pytest

from matdb.advice.answers import PartAnswers
from matdb.advice.effective import effective
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


def test_a_wide_foam_pad_is_told_not_to_be_stiffened_by_its_faces_as_solid_rubber_is():
    """Of Poisson's ratio 0.3 even an endless bonded layer is only 1.35 times as stiff as E A / h (Hooke's law)."""
    solid = Material(name="pad", family="EPDM", hardness="15 A")
    foam = dataclasses.replace(solid, relative_density=0.3)

    def told(material, diameter_mm, height_mm):
        part = Part(name="pad", material="pad", form=Pad(diameter_mm, height_mm))
        found = effective(prior_curve(material), material, part, 0.0, frequency_hz=30.0)
        return next((float(text.split("up to ")[1].split()[0]) for text in found.warnings if "a foam" in text), None)

    assert told(solid, 40, 5) is None
    assert told(foam, 8, 20) is None
    poisson, loose = 0.3, Pad(400, 5, bonded=False).stiffness_n_per_mm()
    endless = (1.0 - poisson) / ((1.0 + poisson) * (1.0 - 2.0 * poisson))
    assert told(foam, 400, 5) == pytest.approx(Pad(400, 5).stiffness_n_per_mm() / (endless * loose), rel=0.02)
    # By hand: 256 N/mm by E A / h and some 1.3 times that bonded, where solid rubber has 2240.
    assert told(foam, 40, 5) == pytest.approx(2240.0 / (1.33 * 256.0), rel=0.05)
