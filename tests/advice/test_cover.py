"""The smallest set: against every subset there is, its swaps followed hour by hour, its proof."""

import dataclasses
import itertools
import json

import numpy as np
import pytest

from matdb.advice.cover import _sizes, cover
from matdb.advice.exposure import exposure
from matdb.advice.judge import Candidate, judge
from matdb.advice.subset import best_set, undominated
from matdb.advice.suit import suit
from matdb.curve.curve import DAMPING_UNREAD
from matdb.errors import InputError
from matdb.form import Pad, Part
from matdb.mounting.record import Mounting
from matdb.weather.forecast import Forecast
from matdb.weather.hourly import monthly_csv


@pytest.fixture
def legs(sure):
    """Legs of a polyurethane that is far stiffer in the cold: no single one serves a year."""
    material, curve = sure["urethane"]
    names = {f"leg {d}": d for d in (2, 2.5, 3, 3.5, 4, 5, 6)}
    known = dataclasses.replace(
        curve, offsets={name: np.linspace(-0.05, 0.05, len(curve.parameters)) for name in names}
    )
    return [
        Candidate(Part(name=name, material="urethane", form=Pad(diameter_mm=d, height_mm=20)), material, known)
        for name, d in names.items()
    ]


HEAVY = Mounting(name="heavy", mass_kg=12.0, count=4, rpm_idle=4500, rpm_full=9000, manoeuvre_hz=9.0, strain_most=0.9)


def winter_and_summer(hours=2000):
    t = np.arange(hours)
    return 8.0 - 20.0 * np.cos(2 * np.pi * t / hours) + 6.0 * np.sin(2 * np.pi * t / 24.0)


def bumps(rng, options, steps):
    """Options as parts are: best at some temperature, less to either side."""
    t = np.linspace(-1.0, 1.0, steps)
    centre = rng.uniform(-1.2, 1.2, (options, 1))
    width = rng.uniform(0.2, 0.8, (options, 1))
    return rng.uniform(0.6, 1.0, (options, 1)) * np.exp(-(((t - centre) / width) ** 2))


def brute(p, w, size):
    w = w / w.sum()
    return max(float(p[list(s)].max(axis=0) @ w) for s in itertools.combinations(range(len(p)), size))


@pytest.mark.parametrize("seed", range(6))
def test_the_best_set_is_that_of_brute_force_at_every_size(seed):
    rng = np.random.default_rng(seed)
    p = bumps(rng, 12, 30) if seed % 2 else rng.uniform(0.0, 1.0, (12, 30))
    w = rng.uniform(0.0, 5.0, 30)
    for size in range(1, 13):
        found = best_set(p, w, size)
        assert len(set(found.options)) == size
        assert found.share == pytest.approx(brute(p, w, size), abs=1e-12)
        assert found.at_most == found.share
        assert found.share == pytest.approx(float(p[list(found.options)].max(axis=0) @ w / w.sum()), abs=1e-12)


def test_a_search_that_is_cut_short_says_what_it_cannot_exclude():
    rng = np.random.default_rng(3)
    p, w = rng.uniform(0.0, 1.0, (40, 30)), np.ones(30)
    whole, cut = best_set(p, w, 4), best_set(p, w, 4, most_work=1e4)
    assert cut.share <= whole.share <= cut.at_most
    assert cut.at_most > cut.share


def test_merging_nearly_equal_options_costs_at_most_its_tolerance():
    rng = np.random.default_rng(4)
    p, w = bumps(rng, 200, 40), rng.uniform(0.5, 1.0, 40)
    exact = best_set(p[undominated(p)], w, 3).share
    assert exact == pytest.approx(best_set(p, w, 3).share, abs=1e-12)
    for tolerance in (0.01, 0.05):
        some = undominated(p, tolerance)
        assert some.size < undominated(p).size
        assert exact - tolerance <= best_set(p[some], w, 3).share <= exact + 1e-12


@pytest.mark.parametrize(("share", "squeeze_mm"), [(0.5, 0.0), (0.8, 0.0), (0.95, 0.0), (0.999, 0.0)])
def test_cover_equals_brute_force_over_all_subsets_of_twelve_parts(candidates, mounting, share, squeeze_mm):
    hours = winter_and_summer()
    assert len(candidates) == 12
    exposed = exposure([(c.part, c.material) for c in candidates], hours)
    scored = [each for group in judge(candidates, mounting, exposed, squeeze_mm=squeeze_mm) for each in group]
    p = np.array([s.by_step for s in scored])
    w = exposed.weight[0] / exposed.weight[0].sum()
    worth = {s: float(p[list(s)].max(axis=0) @ w) for n in range(1, 13) for s in itertools.combinations(range(12), n)}
    assert len(worth) == 2**12 - 1
    best = [max(v for s, v in worth.items() if len(s) == n) for n in range(1, 13)]
    found = cover(candidates, mounting, hours, share=share, most=8, squeeze_mm=squeeze_mm)
    enough = [n for n, v in enumerate(best[:8], start=1) if v >= share - 1e-12]
    assert found.reached == bool(enough)
    assert found.proven
    if enough:
        assert len(found.members) == enough[0]
        assert found.share == pytest.approx(best[enough[0] - 1], abs=1e-12)
    else:
        # Where no size is enough, one more is taken only if it adds half a per cent of the hours.
        worthy = next(n for n in range(1, 9) if max(best[:8]) - best[n - 1] < 0.005)
        assert found.share == pytest.approx(best[worthy - 1], abs=1e-9)
    for each in found.best_by_size:
        assert each.share == each.at_most == pytest.approx(best[each.size - 1], abs=1e-12)


def test_swaps_are_sensible_and_following_them_costs_little(legs):
    hours = winter_and_summer()
    found = cover(legs, HEAVY, hours, share=0.9)
    assert len(found.members) >= 2
    assert len(found.swaps) >= 1
    for swap in found.swaps:
        assert swap.up_c - swap.down_c >= 1.0
        assert hours.min() - 1.0 <= swap.down_c < swap.up_c <= hours.max() + 1.0
        assert swap.colder != swap.warmer
    assert [s.down_c for s in found.swaps] == sorted(s.down_c for s in found.swaps)
    assert [s.up_c for s in found.swaps] == sorted(s.up_c for s in found.swaps)
    # Hysteresis costs no more than the difference that it takes as alike, and the odd swap left out.
    assert found.share - 0.025 <= found.share_with_swaps <= found.share + 1e-12
    # 83 days of warm noon and cold night: far fewer swaps than days crossing any one temperature.
    assert 1 <= found.swap_count < 2 * 83 * len(found.swaps)
    assert sum(m.share_served for m in found.members) == pytest.approx(1.0)
    served = [m for m in found.members if m.low_c is not None]
    assert [m.low_c for m in served] == sorted(m.low_c for m in served)


@pytest.mark.slow
def test_months_that_fail_are_those_whose_temperatures_do(legs):
    rows = [("Jan", -20, -8), ("Apr", -2, 12), ("Jul", 16, 30)]
    months = monthly_csv("month,low (C),high (C)\n" + "\n".join(f"{m},{low},{high}" for m, low, high in rows))
    days, some = [months.temperature_c[24 * k : 24 * k + 24] for k in range(3)], 0
    for leg in legs:
        found = cover([leg], HEAVY, months, most=1)

        def holds(at_c, leg=leg, squeeze_mm=found.members[0].squeeze_mm):
            (row,) = suit([leg], HEAVY, [at_c], squeeze_mm=squeeze_mm)
            return row.probability >= 0.5

        assert not any(holds(end) for span in found.fails_c for end in span)
        failing = [not all(holds(float(t)) for t in day) for day in days]
        named = [name for name, fails in zip(("January", "April", "July"), failing, strict=True) if fails]
        assert list(found.fails_in) == named
        some += 0 < len(named) < 3
        assert cover([leg], HEAVY, months.temperature_c, most=1).fails_in == ()
    assert some


def test_a_wide_hysteresis_needs_fewer_swaps_than_none(legs):
    hours = winter_and_summer()
    found = cover(legs, HEAVY, hours, share=0.9)
    swap = found.swaps[0]
    middle = 0.5 * (swap.down_c + swap.up_c)
    crossings = np.count_nonzero(np.diff(hours > middle))
    assert found.swap_count <= crossings * len(found.swaps)


def test_the_price_of_the_hours_that_are_left(legs):
    found = cover(legs, HEAVY, winter_and_summer(), share=0.9)
    sizes = found.best_by_size
    assert [s.size for s in sizes] == list(range(1, len(sizes) + 1))
    assert all(s.share < found.wanted for s in sizes[: len(found.members) - 1])
    for before, after in itertools.pairwise(sizes):
        assert after.added_hours == pytest.approx(found.hours * (after.share - before.share))
    assert "no " in found.sentence
    assert found.held(sizes[len(found.members) - 2].share) in found.sentence
    assert "%" not in found.sentence
    if len(sizes) > len(found.members):
        assert "one part more would add" in found.sentence


def test_one_part_is_enough_when_it_holds(candidates, mounting):
    mild = np.full(100, 20.0)
    found = cover(candidates, mounting, mild, share=0.5)
    assert len(found.members) == 1
    assert found.swaps == ()
    assert found.swap_count == 0
    assert found.sentence.startswith("one part holds the window for")


def test_what_cannot_be_reached_is_said_with_its_proof(candidates, mounting):
    found = cover(candidates[:3], mounting, winter_and_summer(), share=1.0)
    assert not found.reached
    assert found.proven
    assert found.sentence.startswith("no set")
    json.dumps(found.to_dict(), allow_nan=False)


def test_neither_order_nor_names_matter(candidates, mounting):
    hours = winter_and_summer()
    plain = cover(candidates, mounting, hours, share=0.9)
    other = cover(candidates[::-1], mounting, hours, share=0.9)
    assert other.to_dict() == plain.to_dict()


def test_a_forecast_counts_its_hours(candidates, mounting):
    t = winter_and_summer(500)
    told = cover(candidates, mounting, Forecast(t, np.arange(500.0) * 2.0), share=0.9)
    plain = cover(candidates, mounting, t, share=0.9)
    assert told.hours == pytest.approx(1000.0)
    assert told.share == pytest.approx(plain.share)


@pytest.mark.parametrize(
    ("more", "field"),
    [({"share": 0.0}, "share"), ({"share": 1.5}, "share"), ({"most": 0}, "most"), ({"most": 2.5}, "most")],
)
def test_bad_wishes_are_refused(candidates, mounting, more, field):
    with pytest.raises(InputError, match=field):
        cover(candidates, mounting, [1.0, 2.0], **more)


def test_without_parts_there_is_nothing_to_choose(mounting):
    with pytest.raises(InputError, match="matdb part add"):
        cover([], mounting, [1.0])


def read(legs, **ranges):
    """The legs with a curve that knows what was measured."""
    known = {"measured_c": (-40.0, 60.0), "measured_ln_hz": (-60.0, 60.0), "measured_loss_ln_hz": (-60.0, 60.0)}
    curve = dataclasses.replace(legs[0].curve, **(known | ranges))
    return [dataclasses.replace(each, curve=curve) for each in legs]


def test_each_member_tells_what_the_ranking_tells_where_it_is_used(legs):
    hours = winter_and_summer()
    found = cover(read(legs, measured_c=(-5.0, 60.0)), HEAVY, hours, share=0.8)
    cold, warm = found.members
    outside = "outside the measured temperatures (-5 to 60 degC): extrapolated"
    assert outside in cold.warnings
    assert cold.extrapolated
    assert outside not in warm.warnings
    assert not warm.extrapolated
    candidates = {each.part.name: each for each in read(legs, measured_c=(-5.0, 60.0))}
    for member, used in ((cold, hours[hours <= found.swaps[0].up_c]), (warm, hours[hours >= found.swaps[0].down_c])):
        (row,) = suit([candidates[member.part]], HEAVY, used, squeeze_mm=member.squeeze_mm)
        assert set(member.warnings) == set(row.warnings)
        assert row.extrapolated == member.extrapolated
    told = found.to_dict()["members"]
    assert told[0]["warnings"] == list(cold.warnings)
    assert (told[0]["extrapolated"], told[1]["extrapolated"]) == (True, False)


def test_a_member_that_leans_on_the_damping_prior_says_so(legs):
    hours = winter_and_summer()
    for ends, leans in (((-60.0, 60.0), False), ((-60.0, -50.0), True)):
        found = cover(read(legs, measured_loss_ln_hz=ends), HEAVY, hours, share=0.9)
        assert all((DAMPING_UNREAD in m.warnings) == leans for m in found.members)
        assert not any(m.extrapolated for m in found.members)


def test_a_range_counts_temperatures_and_a_record_hours(legs):
    told = cover(legs, HEAVY, Forecast(np.linspace(-18.0, 34.0, 53)), share=0.85)
    assert told.counted == told.to_dict()["counted"] == "temperatures"
    assert "of 53 temperatures" in told.sentence
    assert "hours" not in told.sentence
    assert " h" not in told.sentence.replace(" hold", "")
    known = cover(legs, HEAVY, Forecast(winter_and_summer(), np.arange(2000.0)), share=0.85)
    assert known.counted == "hours"
    assert "of 2000 hours" in known.sentence
    assert "of 1 temperature;" in f"{cover(legs, HEAVY, Forecast(np.array([34.0])), share=0.01).sentence};"


def test_why_swapping_holds_less_stands_in_the_same_sentence(legs):
    found = cover(legs, HEAVY, winter_and_summer(), share=0.9)
    best, real = (found.held(x) for x in (found.share, found.share_with_swaps))
    assert best != real
    head = found.sentence.partition(";")[0]
    assert f"{best} with the best part at each, for {real} with {found.swap_count} swaps: none comes" in head
    assert "to and fro" in head


def test_a_part_that_adds_next_to_nothing_is_taken_only_for_the_wanted_share():
    weight = np.ones(100)
    p = np.zeros((3, 100))
    p[0, :60], p[1, 60:90], p[2, 90:] = 1.0, 1.0, 0.04
    sizes, chosen, _ = _sizes(p, weight, 0.99, 4)
    assert [s.share for s in sizes] == pytest.approx([0.6, 0.9, 0.904])
    assert chosen == 1
    assert _sizes(p, weight, 0.903, 4)[1] == 2
    p[2, 90:] = 0.06
    assert _sizes(p, weight, 0.99, 4)[1] == 2


def test_a_part_that_is_not_worth_it_is_said_to_be_so(legs):
    twins = [legs[2], dataclasses.replace(legs[2], part=dataclasses.replace(legs[2].part, form=Pad(3.0005, 20)))]
    found = cover(twins, HEAVY, winter_and_summer(), share=1.0, squeeze_mm=0.0)
    assert [s.size for s in found.best_by_size] == [1, 2]
    assert len(found.members) == 1
    assert found.swaps == ()
    assert found.sentence.startswith("no set reaches 2000 of 2000 hours: one part holds the window for")
    assert found.sentence.endswith(": not worth a part")
