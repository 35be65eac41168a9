"""What the records promise, on a file and on a server alike."""

import dataclasses
import datetime as dt

import numpy as np
import pytest
from store.sample_records import AMBER, BUSH, CORAL, MOUNTING, PAD, READINGS, RING

from matdb.bench.readings import READINGS as KINDS
from matdb.bench.readings import HardnessReading, RingDown
from matdb.errors import AlreadyExists, InputError, NotFound
from matdb.form import Pad, Part
from matdb.material.record import Material
from matdb.store import FitRecord, Records
from matdb.store.models import ReadingRow


def ring_down(frequency_hz=30.0, part="007"):
    return RingDown(part=part, temperature_c=-18, mass_kg=0.25, frequency_hz=frequency_hz)


def test_everything_comes_back_as_it_went_in(records):
    assert records.materials() == [AMBER, CORAL]
    assert records.parts() == [RING, BUSH, PAD]
    assert records.parts("amber 40A") == [RING, PAD]
    assert records.mountings() == [MOUNTING]
    assert (records.material("coral 00"), records.part("007"), records.mounting("nose")) == (CORAL, RING, MOUNTING)
    kept = records.readings()
    assert [r.reading for r in kept] == READINGS
    assert [r.id for r in kept] == sorted(r.id for r in kept)
    assert all(r.active and r.corrects_id is None for r in kept)
    assert records.reading(kept[3].id).reading == READINGS[3]


def test_times_are_instants_in_utc(records):
    before = dt.datetime.now(dt.UTC) - dt.timedelta(minutes=5)
    *others, bush = records.readings()
    assert bush.reading.taken_at == READINGS[-1].taken_at
    assert bush.reading.taken_at.utcoffset() == dt.timedelta(0)
    assert before < bush.logged_at < dt.datetime.now(dt.UTC) + dt.timedelta(minutes=5)
    assert all(r.reading.taken_at == r.logged_at for r in others)


def test_every_field_of_every_kind_has_a_column():
    for cls in KINDS.values():
        names = {f.name for f in dataclasses.fields(cls)} - {cls.subject, "taken_at"}
        assert names <= set(ReadingRow.__table__.columns.keys()), f"{cls.__name__} needs a migration"


def test_readings_by_material_part_and_kind(records):
    def of(**which):
        return [r.reading for r in records.readings(**which)]

    assert of(material="amber 40A") == READINGS[:5]
    assert of(part="007") == [READINGS[0], READINGS[1], READINGS[3]]
    assert of(part="007", kind="deflection") == [READINGS[3]]
    assert of(material="coral 00", part="007") == []
    with pytest.raises(InputError, match="one of ring-down"):
        of(kind="wobble")
    with pytest.raises(NotFound, match="close names: 'amber 40A'"):
        of(material="Amber 40a")


def test_parts_are_listed_with_how_many_readings_count(records):
    records.remove_reading(1, "another part")
    of_all = {"007": 2, "bush": 1, "pad 10x5": 1}
    assert {part.name: count for part, count in records.parts_read()} == of_all
    of_amber = {part.name: count for part, count in records.parts_read("amber 40A")}
    assert of_amber == {name: of_all[name] for name in ("007", "pad 10x5")}


def test_parts_are_listed_a_page_at_a_time_by_code_point(records):
    records.add(
        [dataclasses.replace(PAD, name=name) for name in ("Zapf", "pad b", "pad (removed it)", "pad Ä", "pad é")]
    )
    records.remove("part", "pad b")
    names = ["007", "Zapf", "bush", "pad (removed it)", "pad 10x5", "pad Ä", "pad é"]
    assert [part.name for part, _ in records.parts_read()] == names == sorted(names)

    def page(**asked):
        return [part.name for part, _ in records.parts_read(**asked)]

    assert page(most=4) == names[:4]
    assert page(after=names[3], most=4) == names[4:]
    assert page(after="pad 9", most=1) == ["pad Ä"]  # past a name that is none, and a part that was removed
    assert page(material="amber 40A", after="007", most=2) == ["Zapf", "pad (removed it)"]
    assert page(after="~") == []


def test_the_newest_readings_come_a_page_at_a_time(records):
    numbers = [each.id for each in records.readings(part="007")]
    records.remove_reading(numbers[-1], "another part")
    found = records.newest_readings(part="007", most=1)
    assert [each.id for each in found] == numbers[-2:-1]
    assert records.newest_readings(part="007", most=9, before=found[0].id) == records.readings(part="007")[:-1]
    assert [each.id for each in records.newest_readings(part="007", include_retired=True)] == numbers
    assert records.newest_readings() == records.readings()
    with pytest.raises(NotFound):
        records.newest_readings(before=0)


def test_parts_by_name_are_read_when_they_are_asked_for(records):
    parts = records.each_part()
    assert list(parts) == ["007", "bush", "pad 10x5"] == records.names("part")
    assert records.names("part", "coral 00") == ["bush"]
    records.replace("007", dataclasses.replace(RING, note="new"), "a note")
    assert parts["007"].note == "new"
    assert ("pad" in parts, parts.get("pad"), len(parts)) == (False, None, 3)


def test_answers_do_not_depend_on_the_order_of_adding(where):
    with Records(where) as records:
        records.add([*READINGS[::-1], PAD, BUSH, RING, CORAL, AMBER])
        assert records.materials() == [AMBER, CORAL]
        assert records.parts() == [RING, BUSH, PAD]


@pytest.mark.parametrize("name", ["007", "7", "7.0", "NaN", "1e3", "Ärmel µ", "O'Brien; --", "%s ? :x", "a\\b", "☃"])
def test_names_stay_as_they_are(where, name):
    with Records(where) as records:
        records.add([Material(name=name), Part(name=name, material=name, form=Pad(diameter_mm=8, height_mm=4))])
        records.add(HardnessReading(material=name, temperature_c=23, value="40 A"))
        records.add(ring_down(part=name))
        assert records.part(name).name == records.part(name).material == records.material(name).name == name
        assert len(records.readings(material=name)) == 2
        assert len(records.readings(part=name)) == 1


def test_names_are_case_sensitive(records):
    records.add(Material(name="AMBER 40A"))
    assert [m.name for m in records.materials()] == ["AMBER 40A", "amber 40A", "coral 00"]


def test_duplicates_are_refused_and_nothing_of_the_list_is_kept(records):
    before = records.counts()
    for things in (
        [Material(name="new"), AMBER],
        [Material(name="twice"), Material(name="twice")],
        [Material(name="new"), dataclasses.replace(PAD, material="new")],
        [ring_down(), dataclasses.replace(MOUNTING, count=3)],
    ):
        with pytest.raises(AlreadyExists):
            records.add(things)
        assert records.counts() == before


def test_unknown_names_are_refused_with_close_ones(records):
    before = records.counts()
    for things, near in (
        ([ring_down(), ring_down(part="pad 10x6")], ("pad 10x5",)),
        ([Part(name="new", material="ambr 40A", form=PAD.form)], ("amber 40A",)),
        ([HardnessReading(material="korall 00", temperature_c=20, value="40 A")], ("coral 00",)),
    ):
        with pytest.raises(NotFound) as caught:
            records.add(things)
        assert caught.value.near == near
        assert records.counts() == before
    for missing in (records.material, records.part, records.mounting, records.evidence, records.newest_fit):
        for name in ("nowhere", "", "a\x00b", None):
            with pytest.raises(NotFound):
                missing(name)


def test_what_is_no_record_is_refused(records):
    before = records.counts()
    with pytest.raises(InputError):
        records.add([Material(name="new"), "a string"])
    with pytest.raises(InputError):
        records.add_readings([ring_down(), AMBER])
    assert records.counts() == before


def test_many_at_once_keep_their_order_whatever_their_kind(records):
    mixed = [r for i in range(30) for r in (ring_down(10.0 + i), READINGS[4], READINGS[5], READINGS[3])]
    ids = records.add_readings(iter(mixed))
    assert ids == sorted(set(ids))
    by_id = {r.id: r.reading for r in records.readings()}
    assert [by_id[i] for i in ids] == mixed


def test_a_reading_that_fails_midway_takes_all_others_with_it(records, monkeypatch):
    from matdb.store import writer

    monkeypatch.setattr(writer, "_BATCH", 10)
    before = records.counts()

    def readings():
        for i in range(35):
            yield ring_down(10.0 + i)
        raise InputError("frequency_hz", -1, "above 0")

    with pytest.raises(InputError):
        records.add_readings(readings())
    assert records.counts() == before


def test_a_correction_keeps_the_old_reading(records):
    old = records.readings(part="007")[0]
    number = records.correct_reading(old.id, ring_down(33.0), "read the wrong line")
    new, kept = records.reading(number), records.reading(old.id)
    assert new.corrects_id == old.id
    assert new.reading == ring_down(33.0)
    assert kept.reading == old.reading
    assert kept.retired_why == "corrected: read the wrong line"
    assert kept.retired_at >= kept.logged_at
    assert old.id not in [r.id for r in records.readings()]
    assert old.id in [r.id for r in records.readings(include_retired=True)]
    with pytest.raises(InputError, match=f"correct reading {number} instead"):
        records.correct_reading(old.id, ring_down(), "again")


def test_a_failed_correction_changes_nothing(records):
    before = records.readings(include_retired=True)
    number = before[0].id
    with pytest.raises(NotFound):
        records.correct_reading(number, ring_down(part="nowhere"), "moved")
    for why in ("", "  ", None, "x" * 2000, "a\x00b"):
        with pytest.raises(InputError):
            records.correct_reading(number, ring_down(), why)
        with pytest.raises(InputError):
            records.remove_reading(number, why)
    for missing in (0, -1, 999999, 2**40, "1", True, 1.0):
        with pytest.raises(NotFound):
            records.remove_reading(missing, "gone")
    assert records.readings(include_retired=True) == before


def test_a_removed_reading_counts_no_more_but_stays(records):
    number = records.readings()[0].id
    records.remove_reading(number, "loose screw")
    assert number not in [r.id for r in records.readings(part="007")]
    assert records.reading(number).retired_why == "removed: loose screw"
    with pytest.raises(InputError, match="retired before; log it anew"):
        records.remove_reading(number, "again")


def fit_record(records, material="amber 40A", **more):
    evidence = records.evidence(material)
    given = {
        "material": material,
        "program_version": "0.1.0",
        "meta": {"laws": {"wlf": 0.8}, "names": ["a", "b"], "weight": np.float64(0.25), "n": np.int64(3)},
        "arrays": {"draws": np.arange(12.0).reshape(3, 4), "none": np.zeros((0, 4)), "one": np.array(2.5)},
        "reading_ids": tuple(r.id for r in evidence.readings),
        "seed": 2**62,
        "fingerprint": evidence.fingerprint,
    }
    return FitRecord(**given | more)


def test_a_fit_comes_back_whole(records):
    assert records.newest_fit("amber 40A") is None
    given = fit_record(records)
    number = records.save_fit(given)
    got = records.newest_fit("amber 40A")
    assert got.id == number == records.fit(number).id
    assert got.meta == {"laws": {"wlf": 0.8}, "names": ["a", "b"], "weight": 0.25, "n": 3}
    assert (got.seed, got.program_version) == (2**62, "0.1.0")
    assert records.fit_reading_ids(number) == given.reading_ids
    assert got.fingerprint == given.fingerprint
    assert got.created_at.utcoffset() == dt.timedelta(0)
    assert got.arrays.keys() == given.arrays.keys()
    for name, values in given.arrays.items():
        np.testing.assert_array_equal(got.arrays[name], values)
        assert got.arrays[name].shape == values.shape
    later = records.save_fit(fit_record(records, meta={}))
    assert [f.id for f in records.fits("amber 40A")] == [number, later]
    assert records.newest_fit("amber 40A").id == later
    assert records.newest_fit("coral 00") is None


@pytest.mark.slow
@pytest.mark.parametrize(
    "wrong",
    [
        {"meta": {"x": float("nan")}},
        {"meta": {"x": object()}},
        {"arrays": {"x": np.array(["text"])}},
        {"arrays": {"x": np.array([1j])}},
        {"arrays": {"x": np.array([object()])}},
        {"reading_ids": (6,)},
        {"reading_ids": (987654,)},
    ],
)
def test_a_fit_that_cannot_be_kept_is_refused(records, wrong):
    with pytest.raises(InputError):
        records.save_fit(fit_record(records, **wrong))
    assert records.fits("amber 40A") == []


def test_whatever_a_fit_depends_on_makes_it_stale(records):
    amber = records.fit(records.save_fit(fit_record(records)))
    coral = records.fit(records.save_fit(fit_record(records, "coral 00", fingerprint="")))

    def stale():
        return records.is_stale(amber), records.is_stale(coral)

    assert stale() == (False, False)
    records.add(ring_down(part="bush"))
    assert stale() == (False, True)
    changes = [
        lambda: records.add(ring_down()),
        lambda: records.correct_reading(records.readings(part="007")[0].id, ring_down(), "typo"),
        lambda: records.remove_reading(records.readings(part="007")[0].id, "typo"),
        lambda: records.add(Part(name="new", material="amber 40A", form=PAD.form)),
        lambda: records.replace("007", dataclasses.replace(RING, form=PAD.form), "measured again"),
        lambda: records.replace("amber 40A", dataclasses.replace(AMBER, hardness="45 A"), "read again"),
    ]
    for change in changes:
        change()
        assert records.is_stale(amber)
        amber = records.fit(records.save_fit(fit_record(records)))
        assert not records.is_stale(amber)
    records.replace("amber 40A", dataclasses.replace(AMBER, hardness="45 A", note="on the shelf"), "where it lies")
    assert not records.is_stale(amber)


def test_a_replaced_definition_is_kept(records):
    records.replace("007", dataclasses.replace(RING, name="008", note="new"), "misnamed")
    assert records.part("008").note == "new"
    assert len(records.readings(part="008")) == 3
    ((when, why, before),) = records.history("part", "008")
    assert (why, before["name"], before["form"]["outer_mm"]) == ("misnamed", "007", 16.0)
    assert when.utcoffset() == dt.timedelta(0)
    with pytest.raises(AlreadyExists):
        records.replace("008", dataclasses.replace(RING, name="bush"), "no")
    with pytest.raises(NotFound):
        records.replace("007", RING, "gone")
    with pytest.raises(InputError):
        records.replace("008", RING, "")
    assert len(records.history("part", "008")) == 1
    records.replace("nose", dataclasses.replace(MOUNTING, count=6), "two more")
    assert records.mounting("nose").count == 6


def test_a_part_of_another_material_takes_its_readings_along(records):
    records.replace("007", dataclasses.replace(RING, material="coral 00"), "mixed up on the bench")
    assert [r.reading for r in records.readings(material="amber 40A")] == [READINGS[2], READINGS[4]]
    assert len(records.readings(material="coral 00")) == 5
    assert [f for f in records.check() if f.level == "error"] == []


def test_a_second_opening_finds_it_all(records, where):
    with Records(where) as again:
        assert [r.reading for r in again.readings()] == READINGS
        assert again.check() == []


def test_reading_goes_on_while_somebody_reads(records):
    seen = 0
    for _ in records.each_reading():
        assert records.material("amber 40A") == AMBER
        records.add(ring_down())  # not seen by the walk: it goes over one instant
        seen += 1
    assert seen == len(READINGS)
    assert len(records.readings()) == 2 * len(READINGS)
