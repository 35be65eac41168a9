"""Data that ship: their checksums."""

import shutil
import subprocess

import pytest
from generators import checksums
from generators.checksums import checksums_text

from matdb import shipped


def test_the_list_of_checksums_is_that_of_the_data():
    """After a change to the data: python -m tests.generators.checksums."""
    assert (shipped.data_folder() / shipped.CHECKSUMS).read_text(encoding="utf-8") == checksums_text()
    assert shipped.changed_data() == {}


@pytest.fixture
def copy(tmp_path, monkeypatch):
    shutil.copytree(shipped.data_folder(), tmp_path / "data")
    monkeypatch.setattr(shipped, "data_folder", lambda: tmp_path / "data")
    return tmp_path / "data"


def test_line_ends_do_not_matter(copy):
    for path in copy.iterdir():
        path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    assert shipped.changed_data() == {}


def test_every_change_is_found(copy):
    (copy / "families.csv").write_bytes((copy / "families.csv").read_bytes().replace(b"1", b"2", 1))
    (copy / "demo.json").unlink()
    (copy / "more.csv").touch()
    assert shipped.changed_data() == {
        "demo.json": "is missing",
        "families.csv": "differs from what was shipped",
        "more.csv": "was not shipped",
    }
    (copy / shipped.CHECKSUMS).unlink()
    assert shipped.changed_data() == {shipped.CHECKSUMS: "is missing or cannot be read"}


def test_the_list_is_one_that_sha256sum_reads():
    if shutil.which("sha256sum") is None:
        pytest.skip("there is no sha256sum here")
    command = ["sha256sum", "--check", "--strict", "--quiet", shipped.CHECKSUMS]
    done = subprocess.run(command, cwd=shipped.data_folder(), capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_the_generator_writes_the_list(copy, monkeypatch):
    monkeypatch.setattr(checksums, "data_folder", shipped.data_folder)
    (copy / shipped.CHECKSUMS).write_text("old")
    checksums.write_checksums()
    assert shipped.changed_data() == {}
