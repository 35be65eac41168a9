"""Looking after a store must not make one."""

import pytest


@pytest.mark.parametrize("words", [("store", "check"), ("store", "info"), ("store", "backup", "copy.sqlite")])
def test_a_mistyped_store_is_not_sound(words, tmp_path, monkeypatch, capsys):
    from matdb.cli.app import run

    monkeypatch.chdir(tmp_path)
    assert run([*words, "--store", "typo.sqlite"]) == 1
    told = capsys.readouterr()
    assert told.out == ""
    assert "there is none" in told.err
    assert list(tmp_path.iterdir()) == []
