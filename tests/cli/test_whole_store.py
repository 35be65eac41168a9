"""``matdb export store`` and ``matdb import store``."""


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
