"""A loaded part: medians without bands are those with bands, and say as much."""

import numpy as np
import pytest

import matdb
from matdb.advice.answers import PartAnswers
from matdb.advice.effective import effective
from matdb.curve.fit import fit_curve, prior_curve
from matdb.errors import InputError

SILICONE = matdb.Material(name="amber", family="silicone", hardness="40 A")
RING = matdb.Part(name="ring", material="amber", form=matdb.Ring(16, 6, 5))
OTHER = matdb.Part(name="leg", material="amber", form=matdb.Strut(outer_mm=6, inner_mm=4, length_mm=10))
PAIR = matdb.Part(
    name="pair", material="amber", form=matdb.GrommetPair(matdb.Ring(14, 5, 7), matdb.Ring(14, 5, 5), plate_mm=2.0)
)


@pytest.fixture(scope="module")
def fitted():
    readings = [
        matdb.RingDown(part="ring", temperature_c=t, mass_kg=1.5, frequency_hz=f, log_decrement=d)
        for t, f, d in ((-18.0, 44.0, 0.55), (23.0, 38.0, 0.35), (50.0, 37.0, 0.3))
    ]
    return fit_curve(SILICONE, {"ring": RING}, readings)


@pytest.fixture(scope="module", params=["readings", "family prior"])
def curve(request, fitted):
    return fitted if request.param == "readings" else prior_curve(SILICONE)


def states(count, seed):
    rng = np.random.default_rng(seed)
    return rng.uniform(-70.0, 110.0, count), np.exp(rng.uniform(np.log(0.05), np.log(2000.0), count))


def off(value, band):
    """How far a median is off, as a share of the value and of the band's width (both in ln)."""
    ln = np.abs(np.log(value / band.median))
    return ln, ln / np.log(band.high / band.low)


@pytest.mark.slow
@pytest.mark.parametrize(("part", "axis"), [(RING, "axial"), (RING, "shear"), (OTHER, "lateral"), (PAIR, "axial")])
def test_medians_at_a_frequency_are_those_with_bands(curve, part, axis):
    loaded = PartAnswers(curve, SILICONE, part, axis=axis)
    t, f = states(150, 1)
    bare, whole = loaded.median(t, f), loaded.effective(t, f)
    share, of_band = off(bare.stiffness_n_per_mm, whole.stiffness_n_per_mm)
    # A median of 400 draws has corners where draws change places, wider where the band is wide.
    assert np.minimum(share / 0.003, of_band / 0.003).max() < 1.0
    share, of_band = off(bare.damping_ratio, whole.damping_ratio)
    assert np.minimum(share / 0.005, of_band / 0.03).max() < 1.0
    assert (bare.natural_frequency_hz, bare.basis) == (None, whole.basis)
    np.testing.assert_array_equal(bare.extrapolated, whole.extrapolated)
    np.testing.assert_array_equal(bare.frequency_hz, f)
    assert bare.warnings == whole.warnings


def test_medians_under_a_mass_are_those_with_bands(curve):
    loaded = PartAnswers(curve, SILICONE, RING)
    t, _ = states(100, 2)
    bare, whole = loaded.median(t, mass_kg=3.0, count=4), loaded.effective(t, mass_kg=3.0, count=4)
    share, _ = off(bare.natural_frequency_hz, whole.natural_frequency_hz)
    assert share.max() < 0.003
    share, _ = off(bare.stiffness_n_per_mm, whole.stiffness_n_per_mm)
    assert share.max() < 0.006
    share, of_band = off(bare.damping_ratio, whole.damping_ratio)
    assert np.minimum(share / 0.005, of_band / 0.06).max() < 1.0
    # The frequency is the one that the mass and the stiffness make.
    again = np.sqrt(1e3 * bare.stiffness_n_per_mm * 4 / 3.0) / (2.0 * np.pi)
    np.testing.assert_allclose(bare.natural_frequency_hz, again, rtol=1e-9)
    np.testing.assert_array_equal(bare.frequency_hz, bare.natural_frequency_hz)
    assert (bare.extrapolated == whole.extrapolated).mean() > 0.98


def test_one_state_is_the_same_alone_and_among_many(fitted):
    loaded = PartAnswers(fitted, SILICONE, RING)
    t, f = states(40, 3)
    many = loaded.median(t, f)
    for k in range(t.size):
        for one in (loaded.median(float(t[k]), float(f[k])), loaded.median(t[k], f[k])):
            assert type(one.stiffness_n_per_mm) is float
            assert type(one.extrapolated) is bool
            assert one.stiffness_n_per_mm == pytest.approx(many.stiffness_n_per_mm[k], rel=1e-12)
            assert one.damping_ratio == pytest.approx(many.damping_ratio[k], rel=1e-12)
            assert one.extrapolated == many.extrapolated[k]
    line = loaded.median(t, 30.0)
    np.testing.assert_allclose(line.damping_ratio, loaded.median(t, np.full(t.shape, 30.0)).damping_ratio, rtol=1e-12)
    alone = loaded.median(-5.0, mass_kg=0.5)
    assert type(alone.natural_frequency_hz) is float
    assert alone.natural_frequency_hz == alone.frequency_hz
    among = loaded.median(np.array([-5.0, 20.0]), mass_kg=0.5)
    assert alone.natural_frequency_hz == pytest.approx(among.natural_frequency_hz[0], rel=1e-12)
    assert alone.damping_ratio == pytest.approx(among.damping_ratio[0], rel=1e-12)


def test_shapes_broadcast(fitted):
    loaded = PartAnswers(fitted, SILICONE, RING)
    grid = loaded.median(np.linspace(-20, 40, 3)[:, None], np.array([1.0, 10.0]))
    assert grid.stiffness_n_per_mm.shape == grid.extrapolated.shape == (3, 2)
    assert loaded.median(np.zeros((0,)), 30.0).stiffness_n_per_mm.shape == (0,)
    assert loaded.median(np.zeros((2, 2)), mass_kg=1.0).natural_frequency_hz.shape == (2, 2)


@pytest.mark.parametrize(("t", "f"), [(-150.0, 30.0), (250.0, 30.0), (0.0, 1e-3), (0.0, 1e7)])
def test_beyond_the_table_the_answer_is_computed_in_full(fitted, t, f):
    loaded = PartAnswers(fitted, SILICONE, RING)
    whole = loaded.effective(t, f)
    bare = loaded.median(t, f)
    assert bare.stiffness_n_per_mm == whole.stiffness_n_per_mm.median
    assert bare.damping_ratio == whole.damping_ratio.median
    assert bare.extrapolated is True
    assert "extrapolated" in " ".join(bare.warnings)


def test_a_pair_under_a_mass_is_computed_in_full(fitted):
    loaded = PartAnswers(fitted, SILICONE, PAIR)
    t = np.array([-10.0, 20.0])
    whole, bare = loaded.effective(t, mass_kg=2.0), loaded.median(t, mass_kg=2.0)
    np.testing.assert_array_equal(bare.natural_frequency_hz, whole.natural_frequency_hz.median)
    np.testing.assert_array_equal(bare.stiffness_n_per_mm, whole.stiffness_n_per_mm.median)


def test_a_prior_says_so(fitted):
    for curve, words in ((prior_curve(SILICONE), "family prior"), (fitted, "readings")):
        bare = PartAnswers(curve, SILICONE, RING).median(23.0, 30.0)
        assert bare.basis == words
        assert bare.extrapolated == (words == "family prior")
        assert bool([w for w in bare.warnings if "not a measurement" in w]) == (words == "family prior")


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"frequency_hz": 30.0, "mass_kg": 1.0}, "frequency_hz"),
        ({}, "frequency_hz"),
        ({"mass_kg": 0.0}, "mass_kg"),
        ({"mass_kg": 1.0, "count": 0}, "count"),
        ({"frequency_hz": -1.0}, "frequency_hz"),
        ({"frequency_hz": float("nan")}, "frequency_hz"),
    ],
)
def test_what_cannot_be_is_refused(fitted, given, field):
    loaded = PartAnswers(fitted, SILICONE, RING)
    with pytest.raises(InputError, match=field):
        loaded.median(20.0, **given)
    with pytest.raises(InputError, match="temperature_c"):
        loaded.median(float("nan"), 30.0)


def test_an_axis_that_is_not_there_is_refused_when_loading(fitted):
    with pytest.raises(InputError, match="axis"):
        PartAnswers(fitted, SILICONE, RING, axis="radial")


def test_many_states_are_those_one_by_one(fitted):
    """Blocks of states change nothing, where none is so cold that all are reckoned to give by their volume."""
    t = np.random.default_rng(4).uniform(-25.0, 110.0, 150)
    for asked in ({"frequency_hz": 30.0}, {"mass_kg": 2.0, "count": 4}):
        whole = effective(fitted, SILICONE, RING, t, **asked)
        for k in (0, 63, 64, 149):
            one = effective(fitted, SILICONE, RING, float(t[k]), **asked)
            for name in ("stiffness_n_per_mm", "damping_ratio"):
                for end in ("median", "low", "high"):
                    many = getattr(getattr(whole, name), end)[k]
                    assert getattr(getattr(one, name), end) == pytest.approx(many, rel=1e-9)
            assert one.extrapolated == whole.extrapolated[k]


def test_the_store_loads_a_part(tmp_path):
    with matdb.open_store(tmp_path / "s.sqlite") as store:
        store.add([SILICONE, RING])
        loaded = store.answers("ring", axis="shear", squeeze_mm=0.2)
        assert loaded.effective(0.0, 30.0) == store.effective("ring", 0.0, 30.0, axis="shear", squeeze_mm=0.2)
        with pytest.raises(matdb.NotFound):
            store.answers("gone")
