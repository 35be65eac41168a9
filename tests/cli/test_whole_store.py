"""``matdb export store`` and ``matdb import store``."""

import pandas


def test_out_and_in_again(matdb_says, tmp_path):
    first, second = tmp_path / "a.json", tmp_path / "b.json"
    told = matdb_says("export", "store", "--out", first)
    assert (told.code, told.err) == (0, "")
    assert "fingerprint" in told.out
    told = matdb_says("import", "store", first, "--store", tmp_path / "new.sqlite")
    assert (told.code, told.err) == (0, "")
    assert "2 materials, 3 parts, 1 mounting, 3 readings, 1 fit" in told.out
    answer = matdb_says("export", "store", "--out", second, "--store", tmp_path / "new.sqlite", "--json").json
    assert second.read_bytes() == first.read_bytes()
    assert answer["bytes"] == second.stat().st_size
    asked = ("stiffness", "0042", "--temp", "-5C", "--frequency", "30Hz", "--json")
    assert matdb_says(*asked, "--store", tmp_path / "new.sqlite").json["rows"] == matdb_says(*asked).json["rows"]


def test_refusals_are_one_line(matdb_says, tmp_path, store):
    file = tmp_path / "a.json"
    assert matdb_says("export", "store", "--out", file).code == 0
    for words, says in (
        (("export", "store", "--out", file), "--force"),
        (("import", "store", file), "not empty"),
        (("import", "store", store, "--store", tmp_path / "n.sqlite"), "matdb export store"),
        (("import", "store", tmp_path / "none.json", "--store", tmp_path / "n.sqlite"), "none.json"),
    ):
        told = matdb_says(*words)
        assert told.code in (1, 2)
        assert says in told.err
        assert told.err.count("\n") == 1


def test_every_record_goes_into_a_folder_of_csv(matdb_says, tmp_path, monkeypatch):
    """Readings come back by the importer; parts of several forms share a table."""
    monkeypatch.chdir(tmp_path)
    loop = ("part", "add", "loop", "--material", "wire rope", "--form", "cable-loop", "--height", "30mm")
    assert matdb_says(*loop, "--point", "0.6mm:5N").code == 0
    told = matdb_says("export", "tables", "--out", "all", "--json")
    assert (told.code, told.json["files"]) == (0, [f"all/{k}.csv" for k in told.json["counts"]])
    found = {name: pandas.read_csv(f"all/{name}.csv", dtype=str) for name in told.json["counts"]}
    assert {name: len(rows) for name, rows in found.items()} == told.json["counts"]
    parts = found["parts"].set_index("name")
    assert parts.loc["loop", ["form", "height_mm", "load_points"]].tolist() == ["cable-loop", "30.0", "[[0.6, 5.0]]"]
    again = matdb_says("export", "tables", "--out", "all")
    assert (again.code, "materials.csv" in again.err, "--force" in again.err) == (1, True, True)
    back = matdb_says("reading", "import", "all/readings.csv", "--dry-run")
    assert back.code == 0
    assert f"{told.json['counts']['readings']} rows are in the store already" in back.out
