"""A pair whose payload frees a half: one half alone acts, and every answer says and counts it."""

import dataclasses

import numpy as np
import pytest

from matdb.advice.camera import six_axes
from matdb.advice.effective import effective
from matdb.advice.judge import Candidate
from matdb.advice.squeeze import squeeze
from matdb.advice.suit import suit
from matdb.advice.tabulated import stiffness_rows
from matdb.bench.readings import RingDown
from matdb.curve.fit import fit_curve, prior_curve
from matdb.form import GrommetPair, Pad, Part, Ring
from matdb.material.record import Material
from matdb.mounting.record import Mounting
from matdb.mounting.squeeze import STATIC_HZ, pair_case, squeeze_state

HALF = Ring(outer_mm=14, inner_mm=5, height_mm=8)
MOUNTING = Mounting(
    name="m",
    mass_kg=1.2,
    count=4,
    rpm_idle=4500,
    rpm_full=9000,
    manoeuvre_hz=4.0,
    load_factors=(0.2, 2.0),
    positions_mm=((40, 40, 0), (-40, 40, 0), (-40, -40, 0), (40, -40, 0)),
    box_mm=(80.0, 60.0, 50.0),
)


@pytest.fixture(scope="module")
def pair(sure):
    material, curve = sure["gel"]
    curve = dataclasses.replace(curve, offsets={"pair": np.zeros(len(curve.parameters))})
    form = GrommetPair(lower=HALF, plate_mm=2.0, thread="M3")
    return Candidate(Part(name="pair", material="gel", form=form), material, curve)


def rings_at(candidate, hz, squeeze_mm, t=20.0):
    """Whether a half has lifted off under the payload at rest, and the natural frequency at the modulus of one."""
    at = np.log(2 * np.pi * np.array([STATIC_HZ, hz]))
    slow, fast = (np.exp(z).real for z in candidate.curve.ln_modulus(np.full(2, t), at)[0])
    case = pair_case(
        candidate.part.form,
        candidate.material.family,
        payload_kg=1.2,
        static_modulus_mpa=np.array([slow]),
        temperature_c=np.array([t]),
    )
    state = squeeze_state(case, squeeze_mm)
    frequency = np.sqrt(4e3 * fast * state.unit_stiffness[0] / 1.2) / (2 * np.pi)
    return min(state.lower_mm[0], state.upper_mm[0]) <= 0.0, frequency


@pytest.mark.parametrize("squeeze_mm", [0.0, 0.3, 2.0])
def test_every_answer_has_the_frequency_of_what_acts(pair, squeeze_mm):
    row = suit([pair], MOUNTING, [20.0], squeeze_mm=squeeze_mm)[0]
    hz = row.cold.natural_frequency_hz.median
    lifted, natural = rings_at(pair, hz, squeeze_mm)
    assert lifted == (squeeze_mm < 1.0)
    assert hz == pytest.approx(natural, rel=5e-3)
    told = effective(pair.curve, pair.material, pair.part, 20.0, mass_kg=1.2, count=4, squeeze_mm=squeeze_mm)
    assert told.natural_frequency_hz.median == pytest.approx(hz, rel=5e-3)
    asked = squeeze(pair, MOUNTING, 20.0, squeeze_mm=squeeze_mm)
    assert asked.point("asked").natural_frequency_hz.median[0] == pytest.approx(hz, rel=5e-3)
    # Bounce is one of the six and has the frequency of the one axis.
    six = six_axes(pair, MOUNTING, 20.0, squeeze_mm=squeeze_mm)
    bounce = next(m for m in six.modes if m.word == "bounce")
    assert bounce.natural_frequency_hz.median == pytest.approx(hz, rel=5e-3)
    for warnings in (row.warnings, told.warnings, six.warnings):
        assert any("at rest a half has lifted off" in text for text in warnings) == lifted


def fitted_to_a_pair(family, squeeze_mm, hz):
    """A pair fitted to three taps at one squeeze: what it does at that very state, and its warnings."""
    material = Material(name="m", family=family)
    part = Part(name="pair", material="m", form=GrommetPair(Ring(14, 5, 7)))
    how = {"mass_kg": 1.2, "count": 4, "squeeze_mm": squeeze_mm}
    taps = [RingDown(part="pair", temperature_c=t, frequency_hz=hz, log_decrement=0.4, **how) for t in (21, 22, 23)]
    told = effective(fit_curve(material, {"pair": part}, taps), material, part, 22.0, **how)
    return told.natural_frequency_hz, told.warnings


def test_a_fit_asks_which_halves_act_where_they_were_read():
    """Never squeezed, the lower half alone rings: a fit to both answered 0.77 of what was read."""
    rings, warnings = fitted_to_a_pair("silicone", 0.0, 52.5)
    assert rings.median == pytest.approx(52.5, rel=0.03)
    assert any("a half has lifted off (100% of the draws)" in text for text in warnings)


def test_a_draw_in_which_a_half_would_lift_where_both_were_read_is_no_answer():
    """One draw in five had a half lifted, at three quarters of the frequency that was read."""
    rings, _ = fitted_to_a_pair("polyurethane gel", 1.0, 33.0)
    assert rings.median == pytest.approx(33.0, rel=0.03)
    assert rings.low > 0.9 * rings.median


def test_both_halves_would_be_nearly_twice_as_stiff(pair):
    loose = effective(pair.curve, pair.material, pair.part, 20.0, mass_kg=1.2, count=4)
    both = effective(pair.curve, pair.material, pair.part, 20.0, frequency_hz=loose.frequency_hz)
    ratio = both.stiffness_n_per_mm.median / loose.stiffness_n_per_mm.median
    assert 1.2 < ratio < 2.0


def test_the_published_table_has_what_acts(pair):
    rows = [r for r in stiffness_rows(pair.curve, [pair.part], [0.3]) if r[4] == 0.3 and r[2] == 20.0]
    told = effective(pair.curve, pair.material, pair.part, 20.0, mass_kg=0.3)
    assert rows[0][6] == pytest.approx(told.stiffness_n_per_mm.median, rel=1e-9)


def test_the_published_table_of_a_bonded_pad_gives_by_its_volume_near_glass():
    material = Material(name="print", family="thermoplastic polyurethane ester")
    curve, part = prior_curve(material), Part(name="pad", material="print", form=Pad(20, 5))
    table = list(stiffness_rows(curve, [part], [0.5]))
    for asked, given in (({"mass_kg": 0.5}, (None, 0.5)), ({"frequency_hz": 30.0}, (30.0, None))):
        (row,) = [r for r in table if (r[1], r[2], r[3:5]) == ("axial", -40.0, given)]
        told = effective(curve, material, part, -40.0, **asked)
        band = told.stiffness_n_per_mm
        assert row[6:9] == pytest.approx((band.median, band.low, band.high), rel=1e-9)
        assert row[9] == pytest.approx(told.damping_ratio.median, rel=1e-9)
    bare = np.exp(curve.ln_modulus(np.array([-40.0]), np.log([60.0 * np.pi]))).real
    assert band.high < 0.9 * np.quantile(bare, 0.975) * part.form.stiffness_n_per_mm(1.0)


def test_a_reading_settles_what_lifts_off_in_some_draws(materials):
    material, curve = materials["gel"]
    part = Part(name="pair", material="gel", form=GrommetPair(Pad(12, 8)))
    shares = set()
    for squeeze_mm in np.linspace(0.0, 3.0, 16):
        row = suit([Candidate(part, material, curve)], MOUNTING, [20.0], squeeze_mm=float(squeeze_mm))[0]
        found = row.lift_off_margin
        assert row.probability <= 1.0
        if found < 0.0:
            assert row.probability < 0.5
        shares.add(round(found, 3))
    assert len(shares) > 8


@pytest.mark.parametrize("cold", [-30.0, -10.0, 20.0])
def test_ranking_and_squeeze_shrink_the_same_rubber(pair, cold):
    # Gel shrinks 3.2e-4 per K by its family, not the 2e-4 of rubbers at large.
    row = suit([pair], MOUNTING, [cold], squeeze_mm=1.5)[0]
    asked = squeeze(pair, MOUNTING, cold, squeeze_mm=1.5)
    assert asked.point("asked").holds == row.probability
    high = float(asked.point("asked").lift_off_high.median[0])
    assert row.lift_off_margin == pytest.approx(high / 2.0 - 1.0, rel=1e-6)
