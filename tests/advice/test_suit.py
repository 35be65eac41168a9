"""The ranking: its numbers, its words, and that nothing but the physics decides it."""

import dataclasses
import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matdb.advice.cover import cover
from matdb.advice.judge import Candidate
from matdb.advice.suit import suit
from matdb.advice.verdict import VERDICTS, sags, verdict
from matdb.advice.window import LOAD_HZ
from matdb.errors import InputError
from matdb.form import GrommetPair, Measured, Pad, Part, Ring, Strut
from matdb.mounting.record import CameraPackage, Mounting
from matdb.mounting.squeeze import STATIC_HZ, SqueezeCase
from matdb.mounting.suspended import window_limits
from matdb.units import counted, percent

HOURS = np.linspace(-15.0, 30.0, 10)


def ring(materials, name, height=8.0, part="ring"):
    return Candidate(
        Part(name=part, material=name, form=Ring(outer_mm=12, inner_mm=5, height_mm=height)), *materials[name]
    )


def on_target(sure, name, hz, manoeuvre_hz=4.0, **more):
    """A mounting whose mass makes a well known ring swing at ``hz`` at 20 degC."""
    probe = Mounting(name="p", mass_kg=1.0, count=4, rpm_idle=4500, rpm_full=9000, manoeuvre_hz=manoeuvre_hz)
    mass = 1.0
    for _ in range(30):
        row = suit([ring(sure, name)], dataclasses.replace(probe, mass_kg=mass), [20.0], squeeze_mm=0.0)[0]
        mass *= (row.cold.natural_frequency_hz.median / hz) ** 2
    return dataclasses.replace(probe, mass_kg=mass, **more)


def without_names(row):
    told = row.to_dict()
    for key in ("part", "settle", "reason", "warnings"):
        del told[key]
    return json.dumps(told, sort_keys=True)


ORDERED = Mounting(name="cam", mass_kg=0.6, count=4, rpm_idle=4500, rpm_full=9000, manoeuvre_hz=4.0)


@pytest.fixture(scope="module")
def plain(candidates):
    return suit(candidates, ORDERED, HOURS)


@pytest.mark.slow
@settings(max_examples=8, deadline=None)
@given(order=st.permutations(range(12)), names=st.permutations(range(12)))
def test_neither_order_nor_names_matter(candidates, plain, order, names):
    renamed = [
        dataclasses.replace(candidates[k], part=dataclasses.replace(candidates[k].part, name=f"n{names[k]:02d}"))
        for k in order
    ]
    back = {f"n{names[k]:02d}": candidates[k].part.name for k in range(12)}
    other = suit(renamed, ORDERED, HOURS)
    assert [(r.rank, without_names(r)) for r in other] == [(r.rank, without_names(r)) for r in plain]
    # Equal rows may stand in any order; all others keep their place.
    assert sorted((r.rank, back[r.part]) for r in other) == sorted((r.rank, r.part) for r in plain)


def test_equal_parts_share_a_rank(sure, mounting):
    twins = [ring(sure, "gel", part=name) for name in ("b", "a")]
    rows = suit([*twins, ring(sure, "urethane", part="c")], mounting, HOURS)
    ranks = {r.part: r.rank for r in rows}
    assert ranks["a"] == ranks["b"]
    assert sorted(ranks.values()) in ([1, 1, 3], [1, 2, 2])


@pytest.mark.slow
def test_a_band_that_straddles_the_window_never_suits_and_always_shows_its_probability(candidates):
    seen = 0
    for mass in (0.15, 0.3, 0.6, 1.2, 2.4):
        mounting = Mounting(name="cam", mass_kg=mass, count=4, rpm_idle=4500, rpm_full=9000, manoeuvre_hz=4.0)
        low, high = window_limits(mounting.lowest_rotor_hz, 4.0)
        for row in suit(candidates, mounting, HOURS):
            straddles = False
            for state in (row.cold, row.warm, row.worst):
                f = state.natural_frequency_hz
                straddles |= f.low < low < f.high or f.low < high < f.high
            told = row.to_dict()
            assert told["verdict"] in {word for _, word in VERDICTS}
            assert told["probability"] == row.probability
            assert f"{row.verdict} (probability {percent(row.probability)})" in str(row)
            if straddles:
                seen += 1
                assert row.verdict != "suits"
                assert row.probability < VERDICTS[0][0]
    assert seen > 10


def test_verdict_words_cover_every_probability():
    assert [verdict(p) for p in (1.0, 0.98, 0.9, 0.5, 0.1, 0.0)] == [
        "suits",
        "suits",
        "probably suits",
        "open",
        "probably not",
        "does not suit",
    ]
    told = [percent(p) for p in (0.0, 0.001, 0.5, 0.999, 1.0)]
    assert told == ["<1 %", "<1 %", "50 %", ">99 %", ">99 %"]


def test_margins_tell_the_distance_to_each_end(sure):
    mounting = on_target(sure, "gel", 20.0)
    row = suit([ring(sure, "gel")], mounting, [20.0], squeeze_mm=0.0)[0]
    # The part's own geometry stays open, so the median is what is exact here.
    assert row.isolation_margin == pytest.approx(30.0 / 20.0 - 1.0, rel=1e-3)
    assert row.follow_margin == pytest.approx(20.0 / 8.0 - 1.0, rel=2e-3)
    assert row.service_margin_k == pytest.approx(min(20.0 + 55.0, 200.0 - 20.0))
    assert row.lift_off_margin is None
    assert row.rotor_transmissibility.median == pytest.approx(row.worst.transmissibility.median, rel=1e-6)
    assert row.rotor_worst_hz == pytest.approx(75.0)
    # One axis, hardly any damping: |T - 1| at 4 Hz of 20 Hz is 1/24.
    assert row.follow_error.median == pytest.approx(1.0 / 24.0, rel=0.05)


def test_too_stiff_and_too_soft_are_said(sure):
    stiff = suit([ring(sure, "gel")], on_target(sure, "gel", 55.0), [20.0], squeeze_mm=0.0)[0]
    assert stiff.reason.startswith("too stiff: 55 Hz")
    assert stiff.isolation_margin < 0.0 < stiff.follow_margin
    assert stiff.verdict == "does not suit"
    assert any("below 2.5" in text for text in stiff.warnings)
    soft = suit([ring(sure, "gel")], on_target(sure, "gel", 10.0, 10.0), [20.0], squeeze_mm=0.0)[0]
    assert soft.reason.startswith("too soft")
    assert "20 Hz that follow 10 Hz" in soft.reason
    assert any("inside the manoeuvre band" in text for text in soft.warnings)


def test_a_resonance_within_the_rotors_range_is_warned_of(sure):
    row = suit([ring(sure, "gel")], on_target(sure, "gel", 90.0), [20.0], squeeze_mm=0.0)[0]
    assert any("resonates within the range of rotor order 1/rev" in text for text in row.warnings)
    assert row.rotor_transmissibility.median > 2.0
    assert row.rotor_worst_hz == pytest.approx(90.0, rel=0.1)


def test_demands_that_exclude_each_other_are_refused_once(sure):
    # 1200 rpm are 20 Hz: isolating asks for at most 8 Hz, following 10 Hz for at least 20 Hz.
    mounting = Mounting(name="m", mass_kg=0.6, count=4, rpm_idle=1200, rpm_full=9000, manoeuvre_hz=10)
    says = r"manoeuvre band: '10 Hz' .*at most 4 Hz with rotors from 20 Hz on.*at least 20 Hz.*at most 8 Hz"
    for ask in (suit, cover):
        with pytest.raises(InputError, match=says) as caught:
            ask([ring(sure, "gel"), ring(sure, "urethane")], mounting, [20.0])
        assert "\n" not in str(caught.value)
    # One natural frequency is enough.
    just = dataclasses.replace(mounting, manoeuvre_hz=4.0)
    assert suit([ring(sure, "gel")], just, [20.0])[0].probability >= 0.0


def test_bottoming_out_counts(sure):
    mounting = on_target(sure, "gel", 20.0)
    easy = suit([ring(sure, "gel")], mounting, [20.0], squeeze_mm=0.0)[0]
    assert easy.travel_margin > 0.0
    load = 2.0 * (1.0 + easy.travel_margin) * 2.0
    hard = suit([ring(sure, "gel")], dataclasses.replace(mounting, load_factors=(0.5, load)), [20.0], squeeze_mm=0.0)[0]
    assert hard.travel_margin == pytest.approx(-0.5)
    assert hard.probability < 0.02
    assert hard.reason.startswith("bottoms out at load factor")
    assert any(text.startswith("bottoms out") for text in hard.warnings)


def test_outside_the_service_range_nothing_suits(sure):
    mounting = on_target(sure, "gel", 18.0)
    material, curve = sure["gel"]
    part = ring(sure, "gel").part
    frail = Candidate(part, dataclasses.replace(material, service_min_c=0.0), curve)
    row = suit([frail], mounting, [-4.0, 10.0, 20.0, 20.0], squeeze_mm=0.0)[0]
    assert row.probability == 0.0
    assert row.share_of_temperatures == pytest.approx(0.75, abs=0.03)
    assert row.service_margin_k == pytest.approx(-4.0)
    assert row.reason.startswith("flown 4 K outside the material's service range of 0 to")
    assert row.worst.temperature_c == -4.0


@pytest.mark.slow
def test_the_best_squeeze_is_kept(candidates, mounting):
    best = {r.part: r for r in suit(candidates, mounting, HOURS)}
    for each in candidates:
        tried = each.part.form.squeezes_to_try("axial")
        alone = [suit([each], mounting, HOURS, squeeze_mm=q)[0] for q in tried]
        top = max(alone, key=lambda r: (round(r.probability, 2), round(r.share_of_temperatures, 3)))
        assert best[each.part.name].probability == pytest.approx(top.probability, abs=0.0051)
        assert best[each.part.name].squeeze_mm in tried


def test_legs_are_not_squeezed_until_they_buckle():
    slender = Part(name="leg", material="m", form=Strut(outer_mm=4, inner_mm=0, length_mm=30))
    assert max(slender.form.squeezes_to_try("axial")) < slender.form.buckling_share * 30
    assert Pad(10, 10).squeezes_to_try("shear") == [0.0]
    assert Pad(10, 10).squeezes_to_try("axial") == [0.0, 0.5, 1.0, 1.5, 2.0]


def test_a_thin_wall_that_folds_under_the_load_does_not_suit(sure):
    material, curve = sure["gel"]
    ring = Ring(outer_mm=9.0, inner_mm=6.7, height_mm=10.0)
    one = Candidate(
        Part(name="ring", material="gel", form=ring),
        material,
        dataclasses.replace(curve, offsets={"ring": np.zeros(len(curve.parameters))}),
    )
    load = float(np.exp(curve.ln_modulus(np.array([20.0]), np.log([2 * np.pi * LOAD_HZ]))[0, 0]).real)
    folds_mm = ring.buckling_share * 10.0
    assert folds_mm == pytest.approx(0.75)
    for share, holds in ((0.8, True), (1.2, False)):
        mass = 4 * share * folds_mm * float(ring.stiffness_n_per_mm(load)) / (2.0 * 9.80665)
        mounting = Mounting(name="m", mass_kg=mass, count=4, rpm_idle=4500, rpm_full=9000, load_factors=(0.5, 2.0))
        row = suit([one], mounting, [20.0], squeeze_mm=0.0)[0]
        folding = next(each for each in row.requirements if each.name == "buckling")
        assert (folding.probability > 0.5) == (folding.margin > 0.0) == holds
        told = "folds: at load factor 2 a wall so thin folds from 0.75 mm on, and it sags 0.9 mm"
        assert any(text.startswith(told) for text in row.warnings) != holds


def test_every_camera_package_has_to_hold(materials, mounting):
    both = dataclasses.replace(
        mounting, packages=(CameraPackage(name="zoom", mass_kg=1.1), CameraPackage(name="light", mass_kg=0.35))
    )
    some = [ring(materials, name, part=name) for name in ("gel", "silicone", "natural")]
    together = {r.part: r for r in suit(some, both, HOURS, squeeze_mm=0.0)}
    for package in ("main", "zoom", "light"):
        for row in suit(some, both, HOURS, squeeze_mm=0.0, package=package):
            assert together[row.part].probability <= row.probability + 1e-12
            assert row.worst.package == package
    for row in together.values():
        assert row.cold.package == "light"
        assert row.warm.package == "zoom"
        assert row.cold.natural_frequency_hz.median > row.warm.natural_frequency_hz.median
        assert row.worst.package in row.reason or "inside" in row.reason
    with pytest.raises(InputError, match="one of main, zoom, light"):
        suit(some, both, HOURS, package="other")


def test_an_unmeasured_part_is_told_which_reading_would_settle_it(candidates, mounting):
    rows = suit(candidates, mounting, HOURS)
    undecided = [r for r in rows if 0.02 <= r.probability < 0.98]
    assert undecided
    for row in undecided:
        assert row.part in row.settle
        assert " on 4, about " in row.settle
        assert row.settle in str(row)
    assert all(r.settle == "" for r in rows if not 0.02 <= r.probability < 0.98)


def test_a_wrong_axis_is_refused_in_one_line(candidates, mounting):
    with pytest.raises(InputError, match="leg silicone: axis"):
        suit(candidates, mounting, HOURS, axis="shear")


def test_nothing_to_judge_is_an_empty_ranking(mounting):
    assert suit([], mounting, HOURS) == []


@pytest.mark.parametrize("bad", [[], [np.nan], [-400.0], ["cold"]])
def test_bad_temperatures_are_refused(candidates, mounting, bad):
    with pytest.raises(InputError, match="temperature_c"):
        suit(candidates, mounting, bad)


def test_a_row_is_fit_for_json(candidates, mounting):
    for row in suit(candidates, mounting, HOURS):
        json.dumps(row.to_dict(), allow_nan=False)


def test_a_pair_must_not_lift_off(sure):
    material, curve = sure["gel"]
    curve = dataclasses.replace(curve, offsets={"pair": np.zeros(len(curve.parameters))})
    half = Ring(outer_mm=14, inner_mm=5, height_mm=8)
    pair = Candidate(
        Part(name="pair", material="gel", form=GrommetPair(lower=half, plate_mm=2.0, thread="M3")), material, curve
    )
    mounting = Mounting(
        name="m", mass_kg=1.2, count=4, rpm_idle=4500, rpm_full=9000, manoeuvre_hz=4.0, load_factors=(0.2, 2.0)
    )
    loose, tight = (suit([pair], mounting, [20.0], squeeze_mm=q)[0] for q in (0.0, 3.0))
    assert loose.probability == 0.0
    assert loose.lift_off_margin == pytest.approx(-1.0)
    assert loose.reason.startswith("a half has lifted off at rest already")
    assert any("rattle" in text for text in loose.warnings)
    # Enough squeeze at rest, too little at load factor 2.
    short = suit([pair], mounting, [20.0], squeeze_mm=1.2)[0]
    assert short.probability == 0.0
    assert short.reason.startswith("a half lifts off between load factors 0.2 and 2")
    assert not any("at rest" in text for text in short.warnings)
    assert tight.lift_off_margin > 0.0
    # Set takes 15 % of the squeeze; the upper half comes free when the lower alone carries the load.
    static = float(np.exp(curve.ln_modulus(np.array([20.0]), np.log([2 * np.pi * STATIC_HZ]))[0, 0]).real)
    case = SqueezeCase(
        pair=pair.part.form, payload_kg=1.2, static_modulus_mpa=np.array([static]), temperature_c=np.array([20.0])
    )
    held = static * half.force_n(1.0, 0.85 * 3.0 - case.shrinkage_mm[0]) / (1.2 * 9.80665 / 4 * 2.0)
    assert tight.lift_off_margin == pytest.approx(held - 1.0, rel=0.02)
    held_by = GrommetPair(lower=half, plate_mm=2.0, spacer_mm=15.0)
    assert pair.part.form.squeezes_to_try("axial")[0] > 0.0
    assert held_by.squeezes_to_try("axial") == [3.0]
    assert suit([pair], mounting, [20.0])[0].squeeze_mm > 0.0


def test_a_part_known_only_by_readings_stays_open_until_it_is_read(materials, mounting):
    unread = Candidate(Part(name="mystery", material="gel", form=Measured()), *materials["gel"])
    row = suit([unread], mounting, [20.0])[0]
    assert row.verdict in ("open", "probably not")
    assert row.travel_margin is None
    assert row.settle


def test_a_slender_leg_sags_by_a_share_of_its_true_height(sure):
    material, curve = sure["gel"]
    leg = Strut(outer_mm=6, inner_mm=4, length_mm=10)
    curve = dataclasses.replace(curve, offsets={"leg": np.zeros(len(curve.parameters))})
    one = Candidate(Part(name="leg", material="gel", form=leg), material, curve)
    static = float(np.exp(curve.ln_modulus(np.array([20.0]), np.log([2 * np.pi * STATIC_HZ]))[0, 0]).real)
    # A tenth of its height is nearly all the travel that buckling leaves, yet less than 15 % of the height.
    assert 0.15 * leg.buckling_share / 0.5 < 0.1
    for share, said in (
        (0.1, ""),
        (0.2, "sags 2 mm under the payload, more than 15 % of its height"),
        (30, "more than"),
    ):
        mass = 4 * share * 10.0 * float(leg.stiffness_n_per_mm(static)) / 9.80665
        mounting = Mounting(name="m", mass_kg=mass, count=4, rpm_idle=4500, rpm_full=9000, manoeuvre_hz=1.0)
        told = [w for w in suit([one], mounting, [20.0], squeeze_mm=0.0)[0].warnings if w.startswith("sag")]
        assert len(told) == bool(said)
        assert all(said in w for w in told)
        assert not any("e+" in w for w in told)
    assert told == ["sags more than its height under the payload: it cannot carry that"]


def test_a_pair_sags_by_a_share_of_its_lower_half(sure):
    material, curve = sure["gel"]
    form = GrommetPair(lower=Ring(outer_mm=14, inner_mm=5, height_mm=8), plate_mm=2.0, thread="M3")
    pair = Candidate(Part(name="pair", material="gel", form=form), material, curve)
    mounting = Mounting(name="m", mass_kg=4.0, count=4, rpm_idle=4500, rpm_full=9000, manoeuvre_hz=1.0)
    told = [w for w in suit([pair], mounting, [20.0], squeeze_mm=3.0)[0].warnings if "height: creep" in w]
    assert len(told) == 1
    assert "of its lower half's height" in told[0]


def test_a_row_tells_whether_it_is_extrapolated(sure):
    material, curve = sure["gel"]
    curve = dataclasses.replace(curve, measured_c=(0.0, 40.0), measured_ln_hz=(-60.0, 60.0))
    one = Candidate(ring(sure, "gel").part, material, curve)
    mounting = on_target(sure, "gel", 20.0)
    assert not suit([one], mounting, [5.0, 30.0])[0].extrapolated
    cold = suit([one], mounting, [-20.0, 30.0])[0]
    assert cold.extrapolated
    assert cold.to_dict()["extrapolated"] is True
    assert any("outside the measured temperatures" in text for text in cold.warnings)


def test_plain_numbers_and_singulars():
    assert sags(0.567, 10.0) == "sags 0.57 mm"
    assert sags(104.0, 200.0) == "sags 100 mm"
    assert sags(104.0, 100.0) == "sags more than its height"
    assert [counted(n, "hours") for n in (0, 0.5, 1, 1.0, 36, 8760.0)] == [
        "0 hours",
        "0.5 hours",
        "1 hour",
        "1 hour",
        "36 hours",
        "8760 hours",
    ]
