"""The whole store as JSON: nothing lost, nothing let in that could not have been entered."""

import json
import os
import subprocess
import sys

import numpy as np
import pytest
from store.sample_records import READINGS, fill

import matdb
from matdb.cli.run import run
from matdb.exchange.whole_store import export_store, import_store, store_text
from matdb.store import FitRecord

DRAWS = np.array([[1.0, -2.5e-7, np.pi], [0.0, np.inf, np.nan], [-0.0, 1e300, 5e-324]])


def fill_all(store):
    """Every kind of record, with history, corrections, removals and a fit of awkward numbers."""
    fill(store.records)
    store.records.correct_reading(1, READINGS[0], "read again, «twice»")
    store.records.remove_reading(3, "a fumble")
    store.records.replace("coral 00", matdb.Material(name="coral 1", family="silicone", note="new\tname"), "relabelled")
    fit = FitRecord(material="amber 40A", program_version="0.0.9", meta={"laws": {"wlf": 0.1 + 0.2}}, seed=2**40)
    store.records.save_fit(
        dataclass_replace(fit, arrays={"draws": DRAWS, "none": np.zeros((2, 0))}, reading_ids=(2, 4))
    )


def dataclass_replace(record, **changes):
    from dataclasses import replace

    return replace(record, **changes)


@pytest.fixture
def full(tmp_path):
    with matdb.open_store(tmp_path / "bench.sqlite") as store:
        fill_all(store)
        yield store


@pytest.fixture
def exported(full, tmp_path):
    return export_store(full, tmp_path / "store.json")


def test_export_import_export_gives_the_same_bytes(exported, full, tmp_path):
    with matdb.open_store(tmp_path / "second.sqlite") as second:
        counts = import_store(second, exported)
        assert counts == {
            "materials": 2, "parts": 3, "mountings": 1, "readings": 8, "fits": 1, "fit_readings": 2, "replaced": 1,
        }  # fmt: skip
        again = export_store(second, tmp_path / "again.json")
        assert again.read_bytes() == exported.read_bytes()
        # What it means came along too, not only what it says.
        assert second.records.check() == full.records.check()
        assert second.materials() == full.materials()
        assert second.parts() == full.parts()
        assert second.mountings() == full.mountings()
        assert second.readings(include_retired=True) == full.readings(include_retired=True)
        assert second.records.history("material", "coral 1") == full.records.history("material", "coral 1")
        fit, old = second.records.newest_fit("amber 40A"), full.records.newest_fit("amber 40A")
        assert fit.arrays["draws"].tobytes() == old.arrays["draws"].tobytes() == DRAWS.tobytes()
        assert fit.arrays["none"].shape == (2, 0)
        assert (fit.meta, fit.seed, fit.created_at) == (old.meta, old.seed, old.created_at)
        assert second.records.fit_reading_ids(fit.id) == full.records.fit_reading_ids(old.id) == (2, 4)
        assert second.records.is_stale(fit) == full.records.is_stale(old)
        # Counting goes on behind the imported numbers.
        assert second.add(READINGS[0]) == 9


@pytest.mark.slow
def test_it_is_the_same_from_a_server(exported, tmp_path, request):
    server = pytest.importorskip("store.postgresql_server").Server()
    request.addfinalizer(server.stop)
    with matdb.open_store(server.url(server.database())) as store:
        import_store(store, exported)
        assert "".join(store_text(store)) == exported.read_text(encoding="utf-8")
        assert store.add(READINGS[0]) == 9


def test_the_file_says_what_it_is(exported):
    whole = json.loads(exported.read_bytes())
    assert (whole["format"], whole["format_version"], whole["matdb"]) == ("matdb store", 1, matdb.__version__)
    assert whole["units"]["_mpa"] == "MPa"
    assert len(whole["fingerprint"]) == 16
    reading = whole["readings"][0]
    assert (reading["part"], reading["temperature_c"], reading["frequency_hz"]) == ("007", -18.0, 31.2)
    assert reading["taken_at"].endswith("+00:00")
    assert whole["materials"][0]["source"] == "label"
    # A line a record: a version control system shows what changed.
    assert len(exported.read_text(encoding="utf-8").splitlines()) > 15


def test_an_empty_store_makes_the_round_too(tmp_path):
    with matdb.open_store(tmp_path / "a.sqlite") as one, matdb.open_store(tmp_path / "b.sqlite") as two:
        file = export_store(one, tmp_path / "a.json")
        import_store(two, file)
        assert "".join(store_text(two)).encode() == file.read_bytes()


def test_nothing_goes_into_a_store_that_holds_something(exported, full):
    with pytest.raises(matdb.StoreError, match="not empty"):
        import_store(full, exported)


def spoil(whole, path, value):
    *way, last = path
    for step in way:
        whole = whole[step]
    if value is None:
        del whole[last]
    else:
        whole[last] = value


@pytest.mark.slow
@pytest.mark.parametrize(
    ("path", "value", "says"),
    [
        (("format",), "another", "matdb export store"),
        (("format_version",), 2, "upgrade"),
        (("readings",), None, "readings"),
        (("readings", 0, "temperature_c"), -400.0, "temperature"),
        (("readings", 0, "part"), "nobody", "nobody"),
        (("readings", 0, "kind"), "guess", "guess"),
        (("readings", 0, "taken_at"), "2024-01-01T00:00:00", "time zone"),
        (("readings", 0, "id"), "1; DROP TABLE material", "id"),
        (("materials", 0, "name"), None, "name"),
        (("materials", 0, "id"), None, "id"),
        (("materials", 0, "family"), "unobtainium", "family"),
        (("parts", 0, "form", "height_mm"), -1.0, "height_mm"),
        (("mountings", 0, "definition", "mass_kg"), 0.0, "mass_kg"),
        (("fits", 0, "arrays", "draws"), [[1.0], [1.0, 2.0]], "fit 1"),
        (("fits", 0, "material"), "nobody", "nobody"),
        (("fits", 0, "arrays", "draws"), [10**400], "fit 1"),
        (("readings", 0, "taken_at"), "0001-01-01T00:00:00+14:00", "out of range"),
        (("readings", 0, "logged_at"), "9999-12-31T23:59:59-14:00", "out of range"),
    ],
)
def test_what_could_not_have_been_entered_is_refused_whole(path, value, says, exported, tmp_path):
    whole = json.loads(exported.read_bytes())
    spoil(whole, path, value)
    bad = tmp_path / "bad.json"
    bad.write_text(json.dumps(whole), encoding="utf-8")
    with matdb.open_store(tmp_path / "new.sqlite") as store:
        with pytest.raises(matdb.InputError, match=says) as told:
            import_store(store, bad)
        assert "\n" not in str(told.value)
        assert not any(store.records.counts().values())


@pytest.mark.parametrize(("fit", "reading"), [(1, 99), (1, 10**30), (1, "x"), (1, [2])])
def test_records_that_do_not_fit_together_leave_nothing(exported, tmp_path, fit, reading):
    whole = json.loads(exported.read_bytes())
    whole["fit_readings"].append({"fit_id": fit, "reading_id": reading})
    bad = tmp_path / "bad.json"
    bad.write_text(json.dumps(whole), encoding="utf-8")
    with matdb.open_store(tmp_path / "new.sqlite") as store:
        with pytest.raises(matdb.StoreError):
            import_store(store, bad)
        assert not any(store.records.counts().values())


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("fits", 0, "program_version"), "\ud800"),
        (("fit_readings", 0, "reading_id"), "x\ud800"),
        (("fits", 0, "seed"), 10**400),
    ],
)
def test_values_that_no_column_holds_leave_nothing(path, value, exported, tmp_path):
    whole = json.loads(exported.read_bytes())
    spoil(whole, path, value)
    bad = tmp_path / "bad.json"
    bad.write_text(json.dumps(whole), encoding="utf-8")
    with matdb.open_store(tmp_path / "new.sqlite") as store:
        with pytest.raises(matdb.MatdbError) as told:
            import_store(store, bad)
        assert str(told.value).isprintable()
        assert not any(store.records.counts().values())


ODD = [False, 0, 10**400, "\ud800", {"a": 1}, [[]], [None], [True]]


@pytest.mark.slow
@pytest.mark.parametrize("key", ["parameters", "readings", "warnings", "laws", "weights"])
def test_whatever_a_fit_says_of_itself_is_shown_or_refused(key, tmp_path, capsys):
    with matdb.open_store(tmp_path / "first.sqlite") as store:
        store.add(matdb.Material(name="amber", family="silicone"))
        meta, arrays = store.curve("amber").to_meta_and_arrays()
        store.records.save_fit(FitRecord(material="amber", program_version="0", meta=meta, arrays=arrays))
        whole = json.loads("".join(store_text(store)))
    for number, odd in enumerate(ODD):
        told = whole["fits"][-1]["meta"]
        (told if key == "weights" else told["report"])[key] = odd
        (tmp_path / "odd.json").write_text(json.dumps(whole), encoding="utf-8")
        store = tmp_path / f"{number}.sqlite"
        with matdb.open_store(store) as kept:
            import_store(kept, tmp_path / "odd.json")
        for command in ("report", "curve"):
            code = run([command, whole["fits"][-1]["material"], "--store", str(store)])
            said = capsys.readouterr().err
            assert code in (0, 1, 2)
            assert "unexpected" not in said
            assert said.count("\n") == (code != 0), said


def test_a_file_of_something_else_is_refused(tmp_path):
    for content in (b"", b"[1]", b"\xff\xfe", b"{", b"[" * 100000):
        (tmp_path / "x.json").write_bytes(content)
        with (
            matdb.open_store(tmp_path / "new.sqlite") as store,
            pytest.raises(matdb.InputError, match="matdb export store"),
        ):
            import_store(store, tmp_path / "x.json")


def test_a_large_file_is_read_a_record_at_a_time(exported, tmp_path, monkeypatch):
    monkeypatch.setattr("matdb.exchange.whole_store._MOST_BYTES", 100)
    with matdb.open_store(tmp_path / "new.sqlite") as store:
        import_store(store, exported)
        again = "".join(store_text(store))
    assert again.encode() == exported.read_bytes()


@pytest.mark.parametrize("spoilt", ["line", "list", "head", "row"])
def test_a_large_file_of_another_layout_is_refused(exported, tmp_path, monkeypatch, spoilt):
    monkeypatch.setattr("matdb.exchange.whole_store._MOST_BYTES", 100)
    text = exported.read_text(encoding="utf-8")
    bad = tmp_path / "bad.json"
    bad.write_text(
        {
            "line": json.dumps(json.loads(text)),
            "list": text.replace(' "fits": [', ' "fats": ['),
            "head": text.replace('"matdb store"', '"another"'),
            "row": text.replace('  {"id": 2', '  {"id": [[', 1),
        }[spoilt],
        encoding="utf-8",
    )
    with matdb.open_store(tmp_path / "new.sqlite") as store:
        with pytest.raises(matdb.InputError, match="store file"):
            import_store(store, bad)
        assert not any(store.records.counts().values())


BOMBS = """
import resource, sys
resource.setrlimit(resource.RLIMIT_AS, (2**30, 2**30))
import matdb
from matdb.exchange.whole_store import import_store
with matdb.open_store(sys.argv[1]) as store:
    try:
        import_store(store, sys.argv[2])
    except matdb.InputError as refused:
        print("refused", str(refused)[:200])
"""


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="limits of POSIX")
@pytest.mark.parametrize("bomb", ["brackets", "brackets in one record", "brackets beside every record"])
def test_a_file_that_would_fill_the_memory_is_refused_or_read(exported, tmp_path, bomb):
    """30 MB of brackets took 854 MB as objects; a program of 1 GiB in all reads or refuses 30 to 300 MB of them."""
    text = exported.read_text(encoding="utf-8")
    many = "[" + "[]," * 10_000_000 + "[]]"
    file = tmp_path / "bomb.json"
    if bomb == "brackets":
        file.write_text(many)
    elif bomb == "brackets in one record":
        file.write_text(text.replace('"note": ""', f'"note": {many}', 1))
    else:
        first = text.partition(' "readings": [\n')[2].partition(",\n")[0]
        rows = (first.replace('"id": 1', f'"more": {many[:300_000]}[]], "id": {100 + k}', 1) for k in range(300))
        file.write_text(text.replace(' "readings": [\n', ' "readings": [\n' + "".join(f"{row},\n" for row in rows)))
    command = [sys.executable, "-c", BOMBS, str(tmp_path / "new.sqlite"), str(file)]
    done = subprocess.run(
        command,
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"},
    )
    assert done.stderr == ""
    assert done.stdout.startswith("refused") or (bomb.endswith("every record") and done.stdout == "")
