"""Which reading to take next, from the command line."""

import pytest

import matdb
from matdb.cli.screen import band_cell

AT = ("--temp", "-10C..25C")


def test_the_ranking_in_words_and_in_json(matdb_says, store, dump):
    before = dump()
    words = ("next", "0042", *AT, "--mass", "150g", "--masses", "150g", "--temps", "-18C,23C")
    answer = matdb_says(*words, "--json").json
    assert answer["command"] == "next"
    assert answer["worth_it"] is True
    rows = answer["readings"]
    assert [r["rank"] for r in rows] == list(range(1, len(rows) + 1))
    widths = [r["width_after"] for r in rows]
    assert widths == sorted(widths)
    assert all(0.0 < r["width_after"] <= r["width_before"] for r in rows)
    assert {r["temperature_c"] for r in rows} <= {-18.0, 23.0}
    assert {r["mass_kg"] for r in rows} == {0.15}
    best = rows[0]
    told = matdb_says(*words)
    assert told.code == 0, told.err
    assert f"Take next: a {best['kind']} on 0042 at {best['temperature_c']:g} degC with 150 g" in told.out
    # Bands are told as everywhere else, now and as expected.
    now, then = (band_cell(best[f"band_{when}"]) for when in ("before", "after"))
    assert f"from {now} to {then} N/mm" in " ".join(told.out.split())
    # Words and plan only: nothing is logged, nothing fitted.
    assert dump() == before


def test_one_temperature_and_one_kind(matdb_says):
    words = ("next", "0042", "--temp", "-5C", "--frequency", "30Hz", "--kinds", "deflection", "--temps", "5C")
    answer = matdb_says(*words, "--masses", "200g,0.25kg", "--json").json
    rows = answer["readings"]
    assert {r["kind"] for r in rows} == {"deflection"}
    assert all(len(r["band_before"]["median"]) == 1 for r in rows)
    # A fifth more of mass at one place is no other reading: one of the two is shown.
    assert answer["candidates"] == 2
    assert len(rows) == 1
    assert rows[0]["mass_kg"] in (0.2, 0.25)
    assert f"at -5 degC by {100.0 * rows[0]['narrowing']:.0f} %" in rows[0]["why"]
    assert "-5 to -5" not in rows[0]["why"]


def test_minutes_say_what_they_are_for(matdb_says):
    words = ("next", "0042", "--temp", "20C", "--mass", "150g", "--masses", "150g", "--temps", "-18C,23C")
    told = " ".join(matdb_says(*words, "--why").out.split())
    assert "Minutes are for soaking through, as 'matdb soak' tells it" in told
    # Soaking is told alike by both, and three minutes of reading come on top.
    for row in matdb_says(*words, "--json").json["readings"]:
        soak = matdb_says("soak", "0042", "--temp", f"{row['temperature_c']}C", "--json").json["rows"][0]
        assert row["minutes"] - soak["minutes_planned"] in (3.0, 5.0)
    assert "minutes with soaking" in told
    assert "20 to 20" not in told
    assert "soaking through" in matdb_says(*words, "--json").json["minutes_hold"]


@pytest.mark.slow
def test_a_reading_that_brings_next_to_nothing_is_not_asked_for(matdb_says, store):
    # Read often where it is asked: one more like them narrows by less than 3 %.
    with matdb.open_store(store) as kept:
        kept.add(
            [
                matdb.RingDown(part="0042", temperature_c=20.0, mass_kg=0.15, frequency_hz=22.0 + 0.01 * k)
                for k in range(60)
            ]
        )
    words = ("next", "0042", "--temp", "20C", "--mass", "150g", "--masses", "150g", "--temps", "20C")
    words += ("--kinds", "ring-down")
    answer = matdb_says(*words, "--json").json
    assert answer["worth_it"] is False
    assert answer["quicker"] is None
    assert [r["worth_taking"] for r in answer["readings"]] == [False]
    assert any("no further reading is worth it" in text for text in answer["warnings"])
    told = matdb_says(*words).out
    assert "No further reading is worth it" in told
    assert "Take next" not in told


def test_for_a_mounting_the_parts_compete(matdb_says, store):
    words = ("next", "--mounting", "cam", *AT, "--temps", "23C", "--kinds", "ring-down", "--json")
    answer = matdb_says(words[0], "0042", "pad", *words[1:], "--top", "20").json
    assert set(answer["parts"]) == {"0042", "pad"}
    gains = [r["width_before"] - r["width_after"] for r in answer["readings"]]
    assert gains == sorted(gains, reverse=True)
    # Nothing was read of the pad's material, three readings of the other's.
    assert answer["readings"][0]["part"] == "pad"
    assert {r["count"] for r in answer["readings"]} == {4}
    with matdb.open_store(store) as kept:
        ranking = kept.suit("cam", [*range(-10, 26)])
        # What the best of the open parts is like is asked first, of the stiffness that decides and where it does.
        best = [s for s in ranking if 0.02 <= s.probability < 0.98][:1]
        found = kept.next_readings_for("cam", -10.0, 25.0, most=1)
        assert {(each.part, each.asked_c) for each in found} == {
            (s.part, s.requirements[0].temperature_c) for s in best
        }


@pytest.mark.parametrize("temps", ["", "-12C,21C"])
@pytest.mark.parametrize(("mass_kg", "idle", "open_part"), [(4.0, 9000, "ring 16x6x5"), (2.0, 4200, "pad")])
def test_a_ranking_names_the_reading_that_is_named_here_first(
    matdb_says, store, mass_kg, idle, open_part, temps, monkeypatch
):
    if temps:
        monkeypatch.setenv("MATDB_TEMPS", temps)
    with matdb.open_store(store) as kept:
        kept.add(
            matdb.Mounting(name="heavy", mass_kg=mass_kg, count=4, rpm_idle=idle, rpm_full=18000, manoeuvre_hz=4.0)
        )
    rows = matdb_says("suit", "--mounting", "heavy", *AT, "--json").json["ranking"]
    assert {row["part"] for row in rows if 0.02 <= row["probability"] < 0.98} == {open_part}
    for row in rows:
        assert bool(row["settle"]) == (row["part"] == open_part)
        if row["settle"]:
            told = matdb_says("next", "--mounting", "heavy", *AT).out.split("\n", 1)[0]
            assert told == f"Take next, to settle that part: {row['settle']}."


@pytest.mark.slow
def test_readings_after_the_fit_count(store):
    with matdb.open_store(store) as kept:
        able = matdb_affordable()
        before = kept.next_readings("0042", -10.0, 25.0, mass_kg=0.15, affordable=able)
        kept.add(
            [
                matdb.RingDown(part="0042", temperature_c=t, mass_kg=0.15, frequency_hz=f, log_decrement=0.45)
                for t, f in ((-10.0, 23.0), (5.0, 22.3))
            ]
        )
        after = kept.next_readings("0042", -10.0, 25.0, mass_kg=0.15, affordable=able)
    assert after[0].width_before < before[0].width_before


def matdb_affordable():
    from matdb.curve.next_reading import Affordable

    return Affordable(temperatures_c=(23.0,), masses_kg=(0.15,), kinds=("ring-down",))


def test_nothing_affordable_says_so(matdb_says):
    told = matdb_says("next", "0042", *AT, "--masses", "1000kg", "--temps", "23C", "--json")
    assert told.code == 0
    assert told.json["readings"] == []
    assert any("no affordable reading" in w for w in told.json["warnings"])


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (AT, "one part"),
        (("0042", "pad", *AT), "one part"),
        (("0042", *AT, "--count", "4"), "--mass"),
        (("0042", *AT, "--mass", "1kg", "--frequency", "30Hz"), "one of the two"),
        (("0042", *AT, "--mounting", "cam", "--mass", "1kg"), "the mounting has its own"),
        (("0042", *AT, "--masses", "100g;200g"), "--masses"),
        (("0042", *AT, "--temps", "-18"), "--temps"),
        (("0042", *AT, "--kinds", "guess"), "ring-down or deflection"),
        (("none", *AT), "none"),
    ],
)
def test_what_is_refused_is_refused_in_one_line(matdb_says, words, says):
    told = matdb_says("next", *words)
    assert told.code in (1, 2)
    assert told.err.count("\n") == 1
    assert says in told.err
    assert told.out == ""


def test_a_sheet_fits_what_was_newly_read(matdb_says, store):
    assert (
        matdb_says("reading", "add", "ring-down", "0042", "--temp", "45C", "--mass", "150g", "--frequency", "20Hz").code
        == 0
    )
    told = matdb_says("part", "show", "0042").out
    assert "not fitted yet" not in told
    assert "Measured at" in told
    assert "4 readings" in told


def test_a_direction_that_was_not_read_is_told(matdb_says, store):
    words = ("stiffness", "0042", "--temp", "20C", "--mass", "150g")
    note = "was read in its axial direction only: its lateral stiffness rests on its geometry"
    assert note in " ".join(matdb_says(*words, "--axis", "lateral").out.split())
    assert note not in " ".join(matdb_says(*words).out.split())
