"""What would suit: proposals against the ranking, against grids and against chance.

No source outside the project knows these optima: they are held against the judge asked point by point.
"""

import re
from dataclasses import replace

import numpy as np
import pytest

import matdb
from matdb.advice.cost import cost_of
from matdb.advice.exposure import exposure
from matdb.advice.judge import judge
from matdb.advice.parts_list import parts_list
from matdb.advice.requirement import Candidate
from matdb.picture.mounting_charts import trade_off_chart

CAMERA = matdb.Mounting(
    name="cam", mass_kg=0.6, count=4, rpm_idle=6000, rpm_full=12000, manoeuvre_hz=5, spread_mm=(80, 60),
    box_mm=(110, 80, 60), centre_mm=(0, 0, 10),
)  # fmt: skip
UP_AND_DOWN = replace(CAMERA, name="up", spread_mm=None, positions_mm=(), box_mm=None)
T = [-5.0, 20.0]


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    """A gel read at two temperatures, and a printed leg's material known by its label."""
    with matdb.open_store(tmp_path_factory.mktemp("size") / "s.sqlite") as opened:
        opened.add(matdb.Material(name="gel", family="silicone gel", hardness="30 OO"))
        opened.add(matdb.Material(name="print", family="TPU", hardness="60 A"))
        opened.add(matdb.Part(name="read", material="gel", form=matdb.Ring(outer_mm=14, inner_mm=5, height_mm=7)))
        ring = {"part": "read", "mass_kg": 0.15, "log_decrement": 0.6}
        opened.add(matdb.RingDown(temperature_c=-15.0, frequency_hz=27.0, **ring))
        opened.add(matdb.RingDown(temperature_c=22.0, frequency_hz=20.0, **ring))
        opened.fit("gel")
        opened.add([CAMERA, UP_AND_DOWN])
        yield opened


@pytest.fixture(scope="module")
def free(store):
    """Rings of which everything is open."""
    return store.size("cam", T, material="gel", form="ring", outer_mm=(6, 20), inner_mm=(2, 8), height_mm=(3, 15))


def holds(store, material, mounting, forms):
    """The judge's probability of each form."""
    record, curve = store.material(material), store.curve(material)
    candidates = [Candidate(matdb.Part(name="x", material=material, form=f), record, curve) for f in forms]
    exposed = exposure([(each.part, record) for each in candidates], T)
    found = {each.index: each.probability for some in judge(candidates, mounting, exposed) for each in some}
    return np.array([found[k] for k in range(len(forms))])


@pytest.mark.slow
@pytest.mark.parametrize("mounting", ["cam", "up"])
def test_a_proposal_promises_what_the_ranking_says_of_it(store, mounting):
    found = store.size(mounting, T, material="gel", form="ring", outer_mm=(8, 20), inner_mm=5, height_mm=(4, 14))
    assert [each.probability for each in found] == sorted((each.probability for each in found), reverse=True)
    for k, each in enumerate(found):
        name = f"{mounting} {k}"
        store.add(matdb.Part(name=name, material="gel", form=each.form))
        (row,) = store.suit(each.mounting, T, parts=[name])
        assert (row.probability, row.squeeze_mm, row.deciding) == (
            each.probability, each.squeeze_mm, each.requirements[0].name,
        )  # fmt: skip
        assert each.form.inner_mm == 5
    assert found[0].probability > 0.5


@pytest.mark.slow
def test_the_optimum_is_that_of_a_grid(store):
    """Brute force over two dimensions: as probable, and within a step of a point that is."""
    outer, height = np.linspace(9, 18, 13), np.linspace(4, 14, 13)
    forms = [matdb.Ring(outer_mm=o, inner_mm=4, height_mm=h) for o in outer for h in height]
    grid = holds(store, "gel", CAMERA, forms)
    best = store.size("cam", T, material="gel", form="ring", outer_mm=(9, 18), inner_mm=4, height_mm=(4, 14))[0]
    assert best.probability >= grid.max() - 0.01
    near = [
        abs(f.outer_mm - best.form.outer_mm) <= 0.75 and abs(f.height_mm - best.form.height_mm) <= 10 / 12
        for f in forms
    ]
    assert grid[near].max() >= grid.max() - 0.03


@pytest.mark.slow
def test_chance_finds_nothing_more_probable(store, free):
    rng, best = np.random.default_rng(1), free[0]
    sizes = zip(rng.uniform(6, 20, 800), rng.uniform(2, 8, 800), rng.uniform(3, 15, 800), strict=True)
    forms = [matdb.Ring(outer_mm=o, inner_mm=i, height_mm=h) for o, i, h in sizes if i < o - 0.5]
    assert holds(store, "gel", CAMERA, forms).max() <= best.probability + 0.02


@pytest.mark.slow
def test_a_dimension_off_by_its_tolerance_still_holds_and_beyond_fails(store):
    best = store.size("cam", T, material="gel", form="ring", outer_mm=(9, 18), inner_mm=4, height_mm=8)[0]
    assert list(best.tolerance) == ["outer_mm", "inner_mm", "height_mm"]
    for name, (down, up) in best.tolerance.items():
        assert down < 0.0 < up
        for end in (down, up):
            at = getattr(best.form, name)
            inside, outside = (replace(best.form, **{name: at + end * share}) for share in (0.8, 1.25))
            chances = [store_probability(store, form, best.squeeze_mm) for form in (inside, outside)]
            assert chances[0] >= best.probability - 0.12
            if abs(end) < 0.31 * at:
                assert chances[1] < best.probability - 0.08


def store_probability(store, form, squeeze_mm):
    record, curve = store.material("gel"), store.curve("gel")
    candidate = Candidate(matdb.Part(name="x", material="gel", form=form), record, curve)
    exposed = exposure([(candidate.part, record)], T)
    return next(judge([candidate], CAMERA, exposed, squeeze_mm=squeeze_mm))[0].probability


def test_only_sizes_that_are_there_are_proposed(store):
    owned = [{"outer_mm": o, "inner_mm": 4.0, "height_mm": h, "name": f"{o} {h}"} for o in (9, 12, 16) for h in (5, 8)]
    found = store.size("cam", T, material="gel", form="ring", sizes=owned)
    every = holds(
        store, "gel", CAMERA, [matdb.Ring(outer_mm=o, inner_mm=4, height_mm=h) for o in (9, 12, 16) for h in (5, 8)]
    )
    assert found[0].probability == every.max()
    assert all(each.part.name in {row["name"] for row in owned} and each.listed for each in found)


@pytest.mark.slow
def test_isolators_may_be_more_and_stand_elsewhere(store):
    fixed = store.size("cam", T, material="gel", form="ring", outer_mm=12, inner_mm=5, height_mm=8)[0]
    moved = store.size(
        "cam", T, material="gel", form="ring", outer_mm=12, inner_mm=5, height_mm=8, count=(3, 8),
        spread_mm=((50, 40), (120, 90)), centre_height_mm=(-10, 20),
    )[0]  # fmt: skip
    assert moved.probability >= fixed.probability
    assert 3 <= moved.mounting.count <= 8
    assert moved.mounting.count == len(moved.mounting.positions_mm)
    assert 50 <= moved.mounting.spread_mm[0] <= 120
    assert -10 <= moved.mounting.centre_mm[2] <= 20


@pytest.mark.slow
def test_turns_of_two_halves(store):
    told = {"material": "gel", "form": "grommet", "plate_mm": 2.0, "thread": "M3", "bore_mm": 4.0, "hole_mm": 7.0}
    (best, *_) = store.size("up", T, flange_outer_mm=(9, 18), lower_mm=[3.0, 5.0], squeeze_mm=[0.5, 1.0], **told)
    assert best.squeeze_mm in (0.5, 1.0)
    assert best.turns == best.squeeze_mm / 0.5
    assert best.spacer_mm == pytest.approx(2 * best.form.lower_mm + 2.0 - best.squeeze_mm)
    assert best.form.lower_mm in (3.0, 5.0)


@pytest.mark.parametrize(
    ("told", "names"),
    [
        ({"form": "rings"}, "form"),
        ({"form": "ring", "outr_mm": 4}, "dimension"),
        ({"form": "ring", "outer_mm": (8, 4)}, "lower end first"),
        ({"form": "ring", "outer_mm": []}, "outer_mm"),
        ({"form": "ring", "outer_mm": ("a", 4)}, "outer_mm"),
        ({"form": "grommet"}, "plate_mm"),
        ({"form": "ring", "outer_mm": 4, "inner_mm": 5}, "inner_mm"),
        ({"form": "ring", "count": 0}, "count"),
        ({"form": "measured"}, "form"),
        ({"form": "ring", "deck_mm": "low"}, "deck_mm"),
        ({"form": "ring", "squeeze_mm": [None]}, "squeeze_mm"),
        ({"form": "ring", "sizes": 5}, "sizes"),
        ({"form": "ring", "sizes": [5]}, "sizes"),
        ({"form": "ring", "outer_mm": "wide"}, "outer_mm"),
        ({"form": "ring", "spread_mm": (1.0, "a")}, "spread_mm"),
        ({"form": "ring", "progress": 3}, "progress"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(store, told, names):
    with pytest.raises(matdb.InputError, match=names):
        store.size("cam", T, material="gel", **told)


@pytest.mark.slow
def test_demands_that_contradict_are_named_with_the_least_that_lets_something_hold(store):
    """To follow to 13.9 Hz and to isolate from 70 Hz leaves 27.8 to 28 Hz, while the gel stiffens from 25 to -15 degC.

    What is said to let something hold is held against searches a little below and above it.
    """
    wanted, span = replace(UP_AND_DOWN, rpm_idle=4200, rpm_full=8000, manoeuvre_hz=13.9), [-15.0, 25.0]
    told = {"material": "gel", "form": "ring", "outer_mm": (6, 20), "inner_mm": 5, "height_mm": (3, 8)}
    first = store.size(wanted, span, **told)[0]
    two, _, cure = first.contradiction.partition(" contradict; the least that lets something hold: ")
    assert set(two.split(" and ")) == {"isolating from the rotors' 70 Hz", "following to 13.9 Hz"}
    hertz = float(re.search(r"following to ([\d.]+) Hz, not 13.9", cure)[1])
    rpm = float(re.search(r"rotors from ([\d.]+) rpm on, not 4200", cure)[1])
    for change, more in (({"manoeuvre_hz": hertz}, 0.93), ({"rpm_idle": rpm, "rpm_full": 1.5 * rpm}, 1.08)):
        name = next(iter(change))
        inside, outside = change | {name: more * change[name]}, change | {name: change[name] / more}
        assert store.size(replace(wanted, **inside), span, **told)[0].probability >= 0.5
        assert store.size(replace(wanted, **outside), span, **told)[0].probability < 0.5
    assert store.size("cam", T, material="gel", form="ring", inner_mm=4)[0].contradiction == ""


@pytest.mark.slow
def test_a_deck_is_kept_or_named(store):
    told = {"material": "gel", "form": "ring", "outer_mm": (6, 20), "inner_mm": 4, "height_mm": (2, 15)}
    free, low = (store.size("cam", T, deck_mm=deck, **told)[0] for deck in (None, 4.5))
    assert low.cost.deck_mm <= 4.5 < free.cost.deck_mm
    assert low.probability < free.probability
    none = store.size("cam", T, deck_mm=2.5, **told)[0]
    assert "a deck of 2.5 mm at most" in none.contradiction.partition(" contradict")[0]
    assert "a deck of " in none.contradiction.partition("hold: ")[2]


def test_what_pieces_cost(store):
    """Volumes by hand: a ring's, a leg's of solid walls around a core of 20 %; a gel of 970 kg/m3."""
    material = matdb.Material(name="m", family="silicone gel", density_kg_m3=970.0)
    ring = matdb.Part(name="r", material="m", form=matdb.Ring(outer_mm=10, inner_mm=4, height_mm=5), price=0.4)
    cost = cost_of(ring, material, 4, 0.5)
    assert cost.mass_g == pytest.approx(4 * np.pi / 4 * (100 - 16) * 5 * 970e-6)
    assert (cost.deck_mm, cost.price) == (4.5, 1.6)
    leg = matdb.PrintedStrut(outer_mm=8, length_mm=20, wall_mm=1, infill_share=0.2)
    assert leg.rubber_mm3 == pytest.approx(np.pi / 4 * (64 - 36 + 0.2 * 36) * 20)
    told = cost_of(matdb.Part(name="l", material="m", form=leg, mass_kg=0.002), material, 3, 0.0)
    assert (told.mass_g, told.deck_mm, told.price) == (pytest.approx(6.0), 20.0, None)
    pair = matdb.GrommetPair(matdb.Ring(12, 5, 4), matdb.Ring(12, 5, 3), plate_mm=2.0)
    assert pair.deck_mm(0.7) == pytest.approx(4 - 0.7 * 4 / 7)
    assert pair.rubber_mm3 == pytest.approx(np.pi / 4 * (144 - 25) * 7)


@pytest.mark.slow
def test_parts_alike_in_all_else_are_put_in_order_by_what_they_cost(store):
    form = matdb.Ring(outer_mm=15, inner_mm=5, height_mm=9)
    store.add([matdb.Part(name=n, material="gel", form=form, price=p) for n, p in (("a dear", 2.0), ("b cheap", 1.0))])
    rows = store.suit("cam", T, parts=["a dear", "b cheap"])
    assert [(row.part, row.rank, row.cost.price) for row in rows] == [("b cheap", 1, 4.0), ("a dear", 2, 8.0)]
    assert store.part("a dear").price == 2.0


def listed(found):
    return parts_list(found.part, found.mounting.count, found, owned=found.listed)


@pytest.mark.slow
def test_the_parts_list_has_screws_and_spacers_with_their_lengths(store):
    told = {"material": "gel", "form": "grommet", "plate_mm": 2.0, "thread": "M3", "bore_mm": 4.0, "hole_mm": 7.0}
    best = store.size("up", T, flange_outer_mm=[12.0], lower_mm=4.0, squeeze_mm=[1.0], **told)[0]
    rows = {row["what"].partition(":")[0]: row for row in listed(best)}
    assert list(rows) == ["proposal", "screw M3", "nut M3, self-locking", "washer M3", "spacer, bore 3 mm"]
    assert (rows["proposal"]["do"], rows["proposal"]["pieces"]) == ("buy", 4)
    # Two halves of 4 mm and a plate of 2 mm, squeezed by 1 mm: 9 mm between the washers.
    assert rows["spacer, bore 3 mm"]["length_mm"] == 9.0
    # And 0.5 mm for each washer, 2.4 mm for the nut, 1.5 mm that shows: 13.9 mm.
    assert rows["screw M3"]["length_mm"] == 16
    leg = store.size(
        "up", T, material="print", form="printed-strut", outer_mm=6, length_mm=20, walls=2, infill_share=0.3
    )
    assert [row["do"] for row in listed(leg[0])] == ["print"]


@pytest.mark.slow
def test_each_half_of_a_grommet_is_looked_for_by_itself(store):
    told = {"material": "gel", "form": "grommet", "plate_mm": 2.0, "flange_outer_mm": 12.0, "bore_mm": 4.0}
    told |= {"hole_mm": 7.0, "thread": "M3", "lower_mm": [3.0, 4.0, 6.0]}
    alike = store.size("up", T, **told)[0]
    assert alike.form.upper_mm == alike.form.lower_mm
    free = store.size("up", T, upper_mm=[3.0, 4.0, 6.0], **told)[0]
    assert free.probability >= alike.probability - 1e-9
    ends = store.size("up", T, upper_mm="free", **told | {"lower_mm": 4.0})[0]
    assert 1.5 <= ends.form.upper_mm <= 8.0
    assert ends.sizes["upper_mm"] == ends.form.upper_mm


@pytest.mark.slow
def test_the_picture_shows_what_was_tried_and_the_proposals_in_it(store):
    found = store.size("cam", T, material="gel", form="ring", outer_mm=(6, 20), inner_mm=4, height_mm=(3, 15))
    chart = trade_off_chart(found)
    tried = found[0].trade_off
    assert len(tried) > 50
    # What isolates and follows in the median draw is nowhere without a chance, and nothing else holds surely.
    both = (tried[:, :2] > 0.05).all(axis=1)
    assert not (tried[~(tried[:, :2] > -0.05).all(axis=1), 2] > 0.6).any()
    assert both.any()
    assert [each.label[:2] for each in chart.panels[0].series[-len(found) :]] == [
        f"{k}:" for k in range(1, len(found) + 1)
    ]
    assert "trade_off" not in found[0].to_dict()


@pytest.mark.slow
def test_each_proposal_says_what_it_gives_up(free):
    assert len(free) > 1
    lowest = min(free, key=lambda each: each.cost.deck_mm)
    assert "higher" not in lowest.gives_up
    highest = max(free, key=lambda each: each.cost.deck_mm)
    assert highest.cost.deck_mm <= 1.1 * lowest.cost.deck_mm or "higher" in highest.gives_up


@pytest.mark.slow
def test_the_best_is_found_where_few_dimensions_go_together(store):
    # Thin walls on a neck as wide as its flange: one in a hundred random grommets is such a one, and 20,000 found it.
    light = matdb.Mounting(name="light", mass_kg=0.43, count=4, rpm_idle=8770, rpm_full=15000, manoeuvre_hz=4.0)
    told = {"material": "butyl", "form": "grommet", "plate_mm": 2.0, "thread": "M3"}
    store.add([light, matdb.Material(name="butyl", family="butyl", hardness="40 A")])
    t = np.arange(13.0, 48.0, 2.0)
    sizes = {"flange_outer_mm": 9.21, "bore_mm": 7.58, "lower_mm": 7.78, "hole_mm": 9.15}
    by_chance = store.size("light", t, **told, **sizes)[0].probability
    assert by_chance > 0.4
    assert store.size("light", t, **told)[0].probability > by_chance - 0.02


def test_what_cannot_be_is_told_by_the_end_of_the_range_and_not_by_a_design_in_between(store):
    with pytest.raises(matdb.InputError, match=r"below outer_mm \(12 mm\)"):
        store.size("up", T, material="gel", form="ring", outer_mm=(8, 12), inner_mm=14, height_mm=5)
