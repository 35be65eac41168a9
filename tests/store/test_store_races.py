"""Writing operations against each other on both engines, and what ``store check`` says of a store that lost a race."""

import json

import pytest
from store import race_table
from store.sample_records import AMBER, fill

from matdb.store import FitRecord, Records

#: Each lost something on a server that did not serialise its writers, within twenty rounds; race_table.py tries all.
PAIRS = [("log", "move"), ("move", "move"), ("edit", "edit"), ("fit", "fit"), ("correct", "correct")]
PAIRS += [("undo", "undo"), ("undo", "move"), ("discard", "log")]


@pytest.mark.slow
@pytest.mark.parametrize("pair", PAIRS, ids=" | ".join)
def test_two_at_once_lose_and_double_nothing(where, pair):
    done, refused, faults = race_table.race(where, [getattr(race_table, work) for work in pair], 12)
    assert faults == []
    assert done + refused == 24
    assert done >= 12


def test_the_race_table_would_notice(records):
    ask = records._reader.rows
    assert race_table.faults_of(ask, []) == []
    assert race_table.faults_of(ask, [("log", "round1 0"), ("edit", "round1 1"), ("fit", "x")]) != []
    done = [("edit", "one"), ("edit", "two")]
    for _, note in done:
        race_table.edit(records, note)
    assert race_table.faults_of(ask, done) == []
    done.append(("undo", race_table.undo(records, "")))
    assert race_table.faults_of(ask, done) == []
    assert race_table.faults_of(ask, done[:-1]) == [
        "an undo that was confirmed is in no history, or one in the history was not confirmed"
    ]
    broken(records, "UPDATE material SET note = 'two' WHERE id = 1")
    assert race_table.faults_of(ask, done) == ["material: 'two', not 'one'"]
    broken(records, "UPDATE replaced SET replaced_at = (SELECT min(replaced_at) FROM replaced) WHERE why = 'two'")
    assert "two changes at one time" in race_table.faults_of(ask, done)


def broken(records, *statements):
    """Change a store as no program of ours does."""
    with records._change() as writer:
        for statement in statements:
            writer.connection.exec_driver_sql(statement)


def said(records):
    return [f"{f.level} {f.what} {f.says}" for f in records.check()]


def test_check_finds_a_reading_of_another_material_than_its_part(records):
    broken(records, "UPDATE reading SET material_id = 2 WHERE id = 1")
    assert any("reading 1 belongs to another material" in line for line in said(records))


def test_check_finds_two_published_sets(records):
    for _ in range(2):
        records.save_fit(FitRecord(material="amber 40A", program_version="0"), race_table.rows())
    assert not any("tabulated" in line for line in said(records))
    broken(records, "UPDATE effective_stiffness SET fit_id = 1 WHERE temperature_c < 5")
    assert any("error material 1 has its tabulated stiffness from two fits" in line for line in said(records))
    broken(records, "UPDATE effective_stiffness SET fit_id = 1, temperature_c = 20")
    assert any("error material 1 has its tabulated stiffness from two fits" in line for line in said(records))


def test_check_finds_a_history_that_says_the_same_twice(where):
    with Records(where) as records:
        fill(records)
        for note in ("one", "two", "one"):
            records.replace(AMBER.name, race_table.replace(AMBER, note=note), "tried")
        assert not any("twice" in line for line in said(records))
        before = json.dumps(records.history("material", AMBER.name)[-1][2])
        mark = "?" if where.startswith("/") else "%s"
        with records._change() as writer:
            writer.connection.exec_driver_sql(f"UPDATE replaced SET before = {mark} WHERE id > 1", (before,))
        assert any("note history of material 1 says the same twice" in line for line in said(records))
