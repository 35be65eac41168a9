"""Looking after a store, or asking it, must not make one."""

import pytest


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
    from matdb.cli.run import run

    monkeypatch.chdir(tmp_path)
    assert run([*words, "--store", "typo.sqlite"]) == 1
    told = capsys.readouterr()
    assert told.out == ""
    assert "there is none" in told.err
    assert list(tmp_path.iterdir()) == []
