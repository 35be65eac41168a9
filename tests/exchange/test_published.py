"""What other tools read with SQL alone: the numbers are the library's, on SQLite and on a server."""

import csv
import json
import random
import shutil
import sqlite3
import subprocess

import numpy as np
import pytest

import matdb
from matdb.advice.tabulated import TEMPERATURES_C, frequencies_hz
from matdb.exchange.tables import part_table, write_table
from matdb.store.revisions import PUBLISHED

#: One query for a temperature between two rows: the guide shows it.
QUERY = """
SELECT stiffness_n_per_mm + (next_stiffness - stiffness_n_per_mm) * ({t} - temperature_c) / (next_c - temperature_c),
       damping_ratio + (next_damping - damping_ratio) * ({t} - temperature_c) / (next_c - temperature_c)
FROM published_stiffness_step
WHERE part = '{part}' AND axis = 'axial' AND {given} AND temperature_c <= {t} AND {t} < next_c;
"""


def fill(store):
    store.add(
        [
            matdb.Material(name="amber", family="silicone", hardness="40 A"),
            matdb.Material(name="leg print", family="thermoplastic polyurethane ether"),
            matdb.Part(name="ring", material="amber", form=matdb.Ring(14, 6, 6), thread="M3"),
            matdb.Part(name="leg", material="leg print", form=matdb.Strut(outer_mm=5, inner_mm=4, length_mm=20)),
            matdb.Mounting(name="nose", mass_kg=0.6, count=4, rpm_idle=4200, rpm_full=8000),
            *(
                matdb.RingDown(part="leg", temperature_c=t, mass_kg=0.15, frequency_hz=f, log_decrement=d)
                for t, f, d in ((-18.0, 80.0, 0.7), (0.0, 32.0, 0.9), (23.0, 20.0, 0.5), (50.0, 17.0, 0.2))
            ),
        ]
    )
    store.fit("leg print")
    store.publish("amber")


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    file = tmp_path_factory.mktemp("published") / "bench.sqlite"
    with matdb.open_store(file) as store:
        fill(store)
    return file


@pytest.fixture(scope="module")
def server():
    from store.postgresql_server import Server

    running = Server()
    yield running
    running.stop()


@pytest.fixture(scope="module")
def ask_sqlite(file):
    """The sqlite3 shell, or the plain driver where there is none."""
    shell = shutil.which("sqlite3")

    def ask(sql):
        if shell is None:
            connection = sqlite3.connect(f"file:{file}?mode=ro", uri=True)
            try:
                return [[str(v) for v in row] for row in connection.execute(sql)]
            finally:
                connection.close()
        done = subprocess.run([shell, "-readonly", "-csv", str(file), sql], capture_output=True, text=True, check=True)
        return list(csv.reader(done.stdout.splitlines()))

    return ask


@pytest.fixture(scope="module")
def ask_psql(server):
    name = server.database()
    with matdb.open_store(server.url(name)) as store:
        fill(store)

    def ask(sql):
        command = [server.bin / "psql", "-h", server.folder, "-U", "owner", "-d", name, "-At", "-F", ",", "-c", sql]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        return list(csv.reader(done.stdout.splitlines()))

    return ask


@pytest.mark.slow
@pytest.mark.parametrize("reader", ["ask_sqlite", "ask_psql"])
def test_one_query_gives_the_library_s_answer(reader, file, request):
    ask = request.getfixturevalue(reader)
    draw = random.Random(3)
    with matdb.open_store(file) as store:
        for part in ("ring", "leg"):
            for t in [round(draw.uniform(-40.0, 59.9), 2) for _ in range(4)] + [-20.0, -5.5]:
                for given, asked in (("given_hz = 30", {"frequency_hz": 30.0}), ("given_kg = 0.15", {"mass_kg": 0.15})):
                    ((stiffness, damping),) = ask(QUERY.format(t=t, part=part, given=given))
                    found = store.effective(part, t, **asked)
                    assert float(stiffness) == pytest.approx(found.stiffness_n_per_mm.median, rel=0.005), (
                        part,
                        t,
                        given,
                    )
                    assert float(damping) == pytest.approx(found.damping_ratio.median, rel=0.005), (part, t, given)


@pytest.mark.slow
@pytest.mark.parametrize("reader", ["ask_sqlite", "ask_psql"])
def test_every_view_answers(reader, request):
    ask = request.getfixturevalue(reader)
    assert ask("SELECT material, family, readings, fit_id FROM published_material ORDER BY material") == [
        ["amber", "silicone", "0", ""],
        ["leg print", "thermoplastic polyurethane ether", "4", "1"],
    ]
    assert ask("SELECT part, material, form, thread FROM published_part ORDER BY part") == [
        ["leg", "leg print", "strut", ""],
        ["ring", "amber", "ring", "M3"],
    ]
    assert ask("SELECT count(*), min(temperature_c) FROM published_reading WHERE kind = 'ring-down'")[0][0] == "4"
    for view in PUBLISHED:
        assert int(ask(f"SELECT count(*) FROM {view}")[0][0]) > 0


def test_rows_are_the_library_s_with_their_bands(file):
    connection = sqlite3.connect(file)
    rows = connection.execute(
        "SELECT stiffness_n_per_mm, stiffness_low, stiffness_high, damping_ratio, damping_low, damping_high, "
        "extrapolated, basis, fit_id, newest, frequency_hz FROM published_stiffness "
        "WHERE part = 'leg' AND axis = 'lateral' AND given_hz = 10 ORDER BY temperature_c"
    ).fetchall()
    connection.close()
    with matdb.open_store(file) as store:
        found = store.effective("leg", TEMPERATURES_C, 10.0, axis="lateral")
    bands = [getattr(b, k) for b in (found.stiffness_n_per_mm, found.damping_ratio) for k in ("median", "low", "high")]
    np.testing.assert_allclose([row[:6] for row in rows], np.stack(bands, axis=1), rtol=1e-12)
    assert [bool(row[6]) for row in rows] == found.extrapolated.tolist()
    assert {row[7:] for row in rows} == {("readings", 1, 1, 10.0)}


def count(file, where="1 = 1"):
    connection = sqlite3.connect(file)
    try:
        return connection.execute(f"SELECT count(*) FROM published_stiffness WHERE {where}").fetchone()[0]
    finally:
        connection.close()


@pytest.mark.slow
def test_a_fit_and_a_change_keep_it_true(file, tmp_path):
    copy = shutil.copy(file, tmp_path / "copy.sqlite")
    rows = count(copy, "part = 'leg'")
    # Up to 8000 rpm twice a turn: the table ends at the first step beyond.
    assert frequencies_hz(8000 / 30)[-2:] == [200.0, 300.0]
    assert rows == len(TEMPERATURES_C) * (2 * len(frequencies_hz(8000 / 30)) + 1)
    with matdb.open_store(copy) as store:
        store.add(matdb.RingDown(part="leg", temperature_c=10.0, mass_kg=0.15, frequency_hz=25.0, log_decrement=0.7))
        store.fit("leg print")
        assert count(copy, "part = 'leg' AND newest = 1 AND fit_id = 2") == rows == count(copy, "part = 'leg'")
        # A part with another form leaves its material's fit behind; those of other materials keep their rows.
        taller = matdb.Part(name="leg", material="leg print", form=matdb.Strut(outer_mm=5, inner_mm=4, length_mm=30))
        store.records.replace("leg", taller, "measured again")
        assert (count(copy, "part = 'leg'"), count(copy, "part = 'ring'") > 0) == (0, True)
        assert store.publish("leg print") == rows
        noted = matdb.Part(name="leg", material="leg print", form=taller.form, note="of the second batch")
        store.records.replace("leg", noted, "noted")
        assert count(copy, "part = 'leg' AND is_current = 1") == rows
        store.records.replace("amber", matdb.Material(name="amber", family="silicone", hardness="60 A"), "relabelled")
        assert count(copy, "part = 'ring'") == 0
        assert store.publish() > rows
        assert [f for f in store.records.check() if f.level == "error"] == []
        with pytest.raises(matdb.NotFound):
            store.publish("nobody")


def test_the_views_only_read(file):
    connection = sqlite3.connect(file)
    for view in PUBLISHED:
        with pytest.raises(sqlite3.OperationalError, match="because it is a view"):
            connection.execute(f"DELETE FROM {view}")
    connection.close()


def current(file):
    """What the view says of every material's rows; None where there is none."""
    connection = sqlite3.connect(file)
    try:
        return dict(connection.execute("SELECT material, min(is_current) FROM published_stiffness GROUP BY material"))
    finally:
        connection.close()


@pytest.mark.slow
def test_the_view_knows_that_a_fit_is_stale_as_the_library_does(file, tmp_path):
    copy = shutil.copy(file, tmp_path / "copy.sqlite")
    logged = matdb.RingDown(part="leg", temperature_c=5.0, mass_kg=0.15, frequency_hz=27.0, log_decrement=0.8)
    other = matdb.Part(name="short leg", material="leg print", form=matdb.Strut(outer_mm=5, inner_mm=4, length_mm=9))
    changes = [
        lambda store: store.add(logged),
        lambda store: store.records.remove_reading(1, "a loose screw"),
        lambda store: (store.add(logged), store.undo()),
        lambda store: store.add(other),
        lambda store: store.add(matdb.HardnessReading(material="amber", temperature_c=23.0, value="41 A")),
    ]
    for change in changes:
        with matdb.open_store(copy, as_fitted=True) as store:
            for each in store.materials():
                if store.curve(each.name).stale:
                    store.fit(each.name)
            store.publish()
            assert current(copy) == {"amber": 1, "leg print": 1}
            change(store)
            told = {each.name: int(not store.curve(each.name).stale) for each in store.materials()}
        assert current(copy) == told
        assert 0 in told.values()


@pytest.mark.slow
def test_the_table_is_the_same_through_every_door(file, tmp_path):
    """Python, SQL, CSV and JSON to the last digit; squeezed by the factor that the view has."""
    names = ["stiffness_n_per_mm", "stiffness_low", "stiffness_high", "loss_n_per_mm", "damping_ratio", "extrapolated"]
    with matdb.open_store(file) as store:
        table = store.part_table("leg", axis="lateral")
        squeezed = store.part_table("ring", axis="axial", squeeze_mm=0.9)
        there = store.effective("ring", squeezed.temperature_c, squeezed.frequency_hz, squeeze_mm=0.9)
        written = part_table(store, ["ring", "leg"])
        for name in ("table.csv", "table.json"):
            write_table(store, tmp_path / name, "table", written)
    connection = sqlite3.connect(file)
    rows = connection.execute(
        f"SELECT {', '.join(names)} FROM published_stiffness WHERE part = 'leg' AND axis = 'lateral' "
        "AND given_hz IS NOT NULL ORDER BY given_hz, temperature_c"
    ).fetchall()
    of_ring = "FROM published_squeeze WHERE part = 'ring' AND axis = 'axial'"
    in_sql = dict(connection.execute(f"SELECT squeeze_mm, stiffness_factor {of_ring}"))
    connection.close()
    stiffness = table.stiffness_n_per_mm
    ours = stiffness.median, stiffness.low, stiffness.high, table.loss_n_per_mm.median, table.damping_ratio.median
    np.testing.assert_array_equal(np.array(rows), np.stack([*ours, table.extrapolated], axis=1))
    np.testing.assert_allclose(squeezed.stiffness_n_per_mm.low, there.stiffness_n_per_mm.low, rtol=1e-12)
    np.testing.assert_allclose(squeezed.damping_ratio.high, there.damping_ratio.high, rtol=1e-12)
    document = json.loads((tmp_path / "table.json").read_text(encoding="utf-8"))
    assert {row["table_version"] for row in document["rows"]} == {2}
    of_ring = [each for each in document["squeeze_factors"] if (each["part"], each["axis"]) == ("ring", "axial")]
    factors = {each["squeeze_mm"]: each["stiffness_factor"] for each in of_ring}
    assert factors == in_sql
    assert factors[0.0] == 1.0
    at_rest = [row["stiffness_n_per_mm"] for row in document["rows"] if (row["part"], row["axis"]) == ("ring", "axial")]
    np.testing.assert_allclose(np.array(at_rest) * factors[0.9], squeezed.stiffness_n_per_mm.median, rtol=1e-12)
    with (tmp_path / "table.csv").open(encoding="utf-8-sig", newline="") as lines:
        cells = [row for row in csv.DictReader(lines) if (row["part"], row["axis"]) == ("leg", "lateral")]
    assert [float(row["loss_n_per_mm"]) for row in cells] == table.loss_n_per_mm.median.tolist()
    listed = [row for row in document["rows"] if (row["part"], row["axis"]) == ("leg", "lateral")]
    assert [row["damping_ratio_high"] for row in listed] == table.damping_ratio.high.tolist()
    assert len(table.to_frame()) == len(rows)
