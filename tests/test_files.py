"""Files are written whole or not at all."""

import pytest

from matdb.errors import FileTaken, InputError
from matdb.files import new_file, whole_file, write_bytes, write_text


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
