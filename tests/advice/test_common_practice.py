"""What the trade knows of families, without a reading: common practice, no source."""

import numpy as np
import pytest

from matdb.advice.effective import effective
from matdb.advice.suit import Candidate, suit
from matdb.curve.fit import prior_curve
from matdb.form import Part, Ring, Strut
from matdb.material.record import Material
from matdb.mounting.record import Mounting

HERTZ = (1.0, 10.0, 30.0, 80.0)


def ratio(family, hardness, cold_c, hertz, form=None, warm_c=23.0):
    """Median stiffness at ``cold_c`` over that at ``warm_c`` of a part, from its label alone."""
    material = Material(name="label", family=family, hardness=hardness)
    curve = prior_curve(material)
    part = Part(name="part", material="label", form=form or Ring(outer_mm=16, inner_mm=6, height_mm=5))
    got = effective(curve, material, part, [cold_c, warm_c], frequency_hz=hertz).stiffness_n_per_mm.median
    return float(got[0] / got[1])


@pytest.mark.slow
@pytest.mark.parametrize("family", ["thermoplastic polyurethane ester", "thermoplastic polyurethane ether"])
@pytest.mark.parametrize("hardness", ["70 A", "85 A", "95 A"])
@pytest.mark.parametrize("hertz", HERTZ)
def test_a_polyurethane_leg_is_at_least_twice_as_stiff_at_minus_5(family, hardness, hertz):
    leg = Strut(outer_mm=8, inner_mm=0, length_mm=30)
    assert ratio(family, hardness, -5.0, hertz, leg) >= 2.0


@pytest.mark.slow
@pytest.mark.parametrize("hardness", ["10 OO", "30 OO", "50 OO", None])
@pytest.mark.parametrize("hertz", HERTZ)
def test_a_silicone_gel_hardly_notices_minus_10(hardness, hertz):
    assert ratio("silicone gel", hardness, -10.0, hertz) == pytest.approx(1.0, abs=0.25)


@pytest.mark.slow
@pytest.mark.parametrize("hardness", ["30 A", "40 A", "60 A"])
@pytest.mark.parametrize("hertz", HERTZ)
def test_silicone_is_somewhat_stiffer_cold_and_softer_warm(hardness, hertz):
    assert 1.0 < ratio("silicone", hardness, -10.0, hertz) < 1.5
    assert 0.75 < ratio("silicone", hardness, 50.0, hertz) < 1.0


def test_a_silicone_grommet_is_stiffer_than_a_gel_one_and_lets_more_through():
    ring = Ring(outer_mm=16, inner_mm=6, height_mm=8)
    rows = {}
    candidates = []
    for family, hardness in (("silicone", "40 A"), ("silicone gel", "30 OO")):
        material = Material(name=family, family=family, hardness=hardness)
        candidates.append(Candidate(Part(name=family, material=family, form=ring), material, prior_curve(material)))
    mounting = Mounting(name="m", mass_kg=0.6, count=4, rpm_idle=9000, rpm_full=15000, manoeuvre_hz=5)
    for row in suit(candidates, mounting, [23.0]):
        rows[row.part] = row
    silicone, gel = rows["silicone"], rows["silicone gel"]
    assert silicone.cold.natural_frequency_hz.median > 2.0 * gel.cold.natural_frequency_hz.median
    assert silicone.cold.transmissibility.median > 2.0 * gel.cold.transmissibility.median
    assert np.isfinite(gel.cold.transmissibility.high)
