"""Files are written whole or not at all."""

import os
import sys

import pytest

from matdb import Material, open_store
from matdb.errors import FileTaken, InputError
from matdb.exchange.whole_store import export_store
from matdb.files import new_file, whole_file, write_bytes, write_text
from matdb.store import restore


def test_a_file_is_whole_or_as_it_was(tmp_path):
    target = write_bytes(tmp_path / "a", b"old")

    def half():
        with whole_file(target) as part:
            part.write_bytes(b"half")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        half()
    assert target.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["a"]
    write_text(target, "né\n", force=True)
    assert target.read_bytes() == "né\n".encode()


def test_a_private_file_is_private_while_it_is_written(tmp_path):
    with whole_file(tmp_path / "a", mode=0o600) as part:
        assert part.stat().st_mode & 0o777 == 0o600
    assert (tmp_path / "a").stat().st_mode & 0o777 == 0o600


def test_what_cannot_be_written_is_told_by_the_name_that_the_user_gave(tmp_path):
    (tmp_path / "a").touch()
    with pytest.raises(FileTaken):
        new_file(tmp_path / "a")
    with pytest.raises(InputError, match="it is a folder"):
        new_file(tmp_path)
    with pytest.raises(OSError) as caught:
        write_bytes(tmp_path / "no" / "b", b"")
    assert caught.value.filename == str(tmp_path / "no" / "b")


def test_no_output_takes_the_place_of_a_store_whatever_its_name(tmp_path):
    with open_store(tmp_path / "bench.sqlite") as store:
        store.add(Material(name="amber", family="silicone"))
        os.link(tmp_path / "bench.sqlite", tmp_path / "linked.csv")
        (tmp_path / "soft.csv").symlink_to("bench.sqlite")
        (tmp_path / "log.csv").symlink_to("bench.sqlite-wal")
        store.records.backup(tmp_path / "copy.csv")
        before = (tmp_path / "bench.sqlite").read_bytes()
        journals = ["bench.sqlite-wal", "bench.sqlite-shm", "bench.sqlite-journal"]
        for name in ("bench.sqlite", "linked.csv", "soft.csv", "log.csv", "copy.csv", *journals):
            with pytest.raises(InputError, match="another file than a store"):
                export_store(store, tmp_path / name, force=True)
        assert (tmp_path / "bench.sqlite").read_bytes() == before
        assert store.materials()


def test_what_comes_out_of_a_store_is_as_private_as_it(tmp_path):
    file = tmp_path / "bench.sqlite"
    with open_store(file) as store:
        store.add(Material(name="amber", family="silicone"))
    file.chmod(0o600)
    with open_store(file) as store:
        export_store(store, tmp_path / "all.json")
        store.records.backup(tmp_path / "copy.sqlite")
    restore(tmp_path / "copy.sqlite", tmp_path / "again.sqlite")
    assert {p.name: p.stat().st_mode & 0o077 for p in tmp_path.iterdir() if p.stat().st_mode & 0o077} == {}


def test_backups_of_one_name_at_once_never_meet_and_dead_ones_are_cleaned(tmp_path):
    dead, alive = tmp_path / ".copy.sqlite.01234567.part", tmp_path / ".copy.sqlite.89abcdef.part"
    own = tmp_path / "copy.sqlite.part"
    for file in (dead, alive, own):
        file.write_text("half")
    os.utime(dead, (0, 0))
    os.utime(own, (0, 0))
    with open_store(tmp_path / "bench.sqlite") as store:
        store.add(Material(name="amber", family="silicone"))
        with whole_file(tmp_path / "copy.sqlite") as other:
            other.write_text("another program's")
            store.records.backup(tmp_path / "copy.sqlite")
            (tmp_path / "copy.sqlite").rename(tmp_path / "mine.sqlite")
    assert (alive.exists(), own.read_text(), dead.exists()) == (True, "half", False)
    with open_store(tmp_path / "mine.sqlite") as store:
        assert [m.name for m in store.materials()] == ["amber"]


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="names there are no bytes")
def test_a_name_that_is_no_text_is_a_name(tmp_path):
    written = write_text(tmp_path / "\udcff.csv", "a")
    assert written.read_text(encoding="utf-8") == "a"
    assert [each.name for each in tmp_path.iterdir()] == ["\udcff.csv"]
