"""Looking after a store, or asking it, must not make one; nor does what is refused."""

import pytest

from matdb.cli.run import run


@pytest.mark.parametrize(
    "words",
    [
        ("store", "check"),
        ("store", "info"),
        ("store", "backup", "copy.sqlite"),
        ("report", "amber"),
        ("material", "show", "amber"),
        ("stiffness", "ring", "--temp", "0C", "--frequency", "30Hz"),
        ("reading", "remove", "1", "--why", "x"),
        ("export", "readings", "--csv", "x.csv"),
    ],
)
def test_a_mistyped_store_is_not_sound(words, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert run([*words, "--store", "typo.sqlite"]) == 1
    told = capsys.readouterr()
    assert told.out == ""
    assert "there is none" in told.err
    assert list(tmp_path.iterdir()) == []


@pytest.fixture
def empty(tmp_path, monkeypatch):
    """A folder with files to import and no store, neither there nor at the user's own place."""
    field = tmp_path / "field"
    field.mkdir()
    monkeypatch.chdir(field)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("MATDB_STORE", raising=False)
    rows = "kind,part,temp_C,mass_g,frequency_hz\nring-down,0042,-5,150,22.1\n"
    (tmp_path / "good.csv").write_text(rows)
    (tmp_path / "bad.csv").write_text(rows.replace("-5", "cold"))
    (tmp_path / "bad.json").write_text('{"format": "something else"}')
    return tmp_path


@pytest.mark.parametrize(
    "words",
    [
        ("reading", "import", "../good.csv"),
        ("reading", "import", "../bad.csv"),
        ("reading", "import", "../none.csv"),
        ("import", "store", "../bad.json"),
        ("import", "store", "../none.json"),
        ("reading", "add", "ring-down", "0042", "--temp", "0C", "--mass", "150g", "--frequency", "22Hz"),
        ("part", "add", "ring", "--material", "amber", "--form", "pad", "--diameter=10mm", "--height=5mm"),
        ("material", "add", "amber (removed 3)"),
        ("reading", "list", "--part", "0042"),
        ("part", "list", "--material", "amber"),
    ],
    ids=" ".join,
)
@pytest.mark.parametrize("store", [(), ("--store", "new.sqlite")], ids=["own", "named"])
def test_what_is_refused_makes_no_store(words, store, empty, capsys):
    assert run([*words, *store]) in (1, 2)
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.count("\n") == 1
    assert "/tmp" not in told.err.replace(str(empty), "")
    assert list((empty / "field").iterdir()) == []
    assert not (empty / "home" / "matdb").exists() or list((empty / "home" / "matdb").iterdir()) == []


@pytest.mark.parametrize("kind", ["material", "part", "reading", "mounting"])
def test_a_list_of_nothing_makes_no_store(kind, empty, capsys):
    assert run([kind, "list", "--store", "new.sqlite"]) == 0
    assert f"no {kind}" in capsys.readouterr().out
    assert list((empty / "field").iterdir()) == []


def test_what_is_done_makes_one(empty, capsys):
    assert run(["material", "add", "amber", "--store", "new.sqlite"]) == 0
    assert run(["export", "store", "--out", "whole.json", "--store", "new.sqlite"]) == 0
    assert run(["import", "store", "whole.json", "--store", "other.sqlite"]) == 0
    assert (empty / "field" / "new.sqlite").exists()
    assert "other.sqlite: 1 material" in capsys.readouterr().out
