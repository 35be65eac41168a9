"""The last change taken back, one after another, until nothing is left: the store then says what it said before."""

import datetime as dt
import random
import time as clock
from dataclasses import replace
from types import SimpleNamespace

import pytest
from store.sample_records import AMBER, PAD, fill

from matdb.bench.readings import RingDown
from matdb.errors import InputError, NotFound, StoreError
from matdb.store import Records, writer


def state(records):
    """What counts: records by name, readings by what they say."""
    readings = sorted(repr((each.reading, each.reading.taken_at)) for each in records.readings())
    return records.materials(), records.parts(), records.mountings(), readings


def ring_down(part="007", frequency_hz=30.0):
    return RingDown(part=part, temperature_c=-18, mass_kg=0.25, frequency_hz=frequency_hz)


def _log(records, k):
    records.add([ring_down(frequency_hz=20.0 + k), ring_down("pad 10x5", frequency_hz=30.0 + k)])


def _correct(records, k):
    number = random.choice(records.readings(part="007")).id
    records.correct_reading(number, replace(records.reading(number).reading, temperature_c=10.0 + k), f"typo {k}")


def _rename(records, k):
    old = random.choice(records.materials() + records.mountings())
    records.replace(old.name, replace(old, name=f"other {k}"), "a better name")


CHANGES = (
    _log,
    _correct,
    lambda records, k: records.remove_reading(random.choice(records.readings()).id, f"loose {k}"),
    lambda records, k: records.add(
        [replace(AMBER, name=f"new {k}"), replace(PAD, name=f"pad_{k}", material=f"new {k}")]
    ),
    lambda records, k: records.replace("007", replace(records.part("007"), note=f"note {k}"), f"noted {k}"),
    lambda records, k: records.remove("part", random.choice([p for p in records.parts() if p.name != "007"]).name, "x"),
    _rename,
)


@pytest.mark.parametrize("seed", range(3))
def test_every_change_is_taken_back_to_what_the_store_said_before(records, seed):
    random.seed(seed)
    said = [state(records)]
    for k in range(40):
        # Changes and undoing mixed, as a user does who looks for where it went wrong.
        if len(said) > 1 and random.random() < 0.35:
            records.undo()
            said.pop()
        else:
            try:
                random.choice(CHANGES)(records, k)
            except (IndexError, NotFound):  # nothing left to choose from
                continue
            said.append(state(records))
        assert state(records) == said[-1]
    while len(said) > 1:
        records.undo()
        said.pop()
        assert state(records) == said[-1]
    assert [each for each in records.check() if each.level == "error"] == []


def test_what_was_taken_back_stays_and_nothing_is_taken_back_twice(records):
    count = records.counts()["readings"]
    _, told = records.undo()  # all that was filled in, in one change
    assert (len(told), records.materials(), records.readings()) == (13, [], [])
    assert records.counts()["readings"] == count
    assert [records.counts()[name] for name in ("materials", "parts", "mountings")] == [0, 0, 0]
    with pytest.raises(StoreError, match="no change left to undo"):
        records.undo()


def test_a_removal_needs_a_reason_where_readings_count_and_leaves_the_name_free(records):
    with pytest.raises(InputError, match="why"):
        records.remove("part", "007")
    assert records.part("007").name == "007"
    assert records.remove("part", "007", "torn") == 3
    assert "007" not in [part.name for part in records.evidence("amber 40A").parts]
    with pytest.raises(InputError, match="'pad 10x5' first"):
        records.remove("material", "amber 40A", "gone")
    with pytest.raises(InputError, match="removed"):
        records.replace("pad 10x5", replace(PAD, name="y (removed 3)"), "a joke")


def test_the_newest_change_is_told_by_the_clock_of_the_server(server, empty_store_template, monkeypatch):
    """The clocks of two machines are never the same: the later change may bear the earlier time."""
    with Records(server.url(server.empty_store(empty_store_template))) as records:
        fill(records)
        records.replace("pad 10x5", replace(PAD, note="first"), "first")
        hour_ago = SimpleNamespace(now=lambda tz: dt.datetime.now(tz) - dt.timedelta(hours=1))
        monkeypatch.setattr(writer, "dt", SimpleNamespace(datetime=hour_ago, UTC=dt.UTC))
        records.replace("pad 10x5", replace(PAD, note="second"), "second")
        _, told = records.undo()
    assert told == ["part 'pad 10x5' is as it was before: second"]


FORGED = {
    "a record that is not there": "UPDATE replaced SET record_id = 9",
    "another kind": "UPDATE replaced SET what = 'thing'",
    "a definition of nothing": "UPDATE replaced SET before = '{}'",
    "a definition that is none": "UPDATE replaced SET before = '7'",
    "when nothing was taken back": "INSERT INTO replaced SELECT 9, 'undo', 0, '{}', replaced_at, '' FROM replaced",
    "no time": """INSERT INTO replaced SELECT 9, 'undo', 0, '{"made_at": "never"}', replaced_at, '' FROM replaced""",
    "no number": "INSERT INTO replaced SELECT 9, 'undo', 0, '[3]', replaced_at, '' FROM replaced",
}


@pytest.mark.parametrize("forged", FORGED.values(), ids=FORGED)
def test_a_forged_history_is_refused_in_one_line(records, forged):
    records.replace("pad 10x5", replace(PAD, note="thick"), "thick")
    with records._change() as change:
        change.connection.exec_driver_sql(forged)
    before = state(records)
    with pytest.raises(StoreError, match=r"damaged|refuses") as raised:
        records.undo()
    assert str(raised.value).isprintable()
    assert state(records) == before


@pytest.mark.parametrize(
    "time", ["2026-11-26 14:50:31.53901 ", "never", "9999-12-31T23:59:59-23:59", "9999-12-31 23:59:59", b"x"]
)
def test_a_forged_time_is_refused_in_one_line(file, time, monkeypatch):
    monkeypatch.setenv("TZ", "EAST-14")
    clock.tzset()
    with Records(file) as records:
        with records._change() as change:
            change.connection.exec_driver_sql("UPDATE part SET added_at = ?", (time,))
        with pytest.raises(StoreError, match="the time of 'a change' is damaged"):
            records.undo()
    monkeypatch.undo()
    clock.tzset()


def test_readings_that_correct_each_other_in_a_circle_are_walked_once(records):
    numbers = records.add([ring_down(), ring_down()])
    with records._change() as change:
        for a, b in (numbers, numbers[::-1]):
            forged = "UPDATE reading SET corrects_id = {}, retired_at = '2020-01-01 00:00:00.000000', retired_why = 'x'"
            change.connection.exec_driver_sql(f"{forged.format(b)} WHERE id = {a}")
    assert records.undo()[1] == ["nothing of it counts any more"]
