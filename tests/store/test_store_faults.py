"""Full disks and no right to write: every command ends with one plain line, and nothing is lost or left by half."""

import json
import os
import subprocess

import pytest
from store import fault_table

CODE = "import sys, runpy; sys.argv[0] = 'fault_table'; runpy.run_module('store.fault_table', run_name='__main__')"


def run(python, *words):
    out, said = python(CODE, "--small", "--json", *words).communicate()
    assert said == ""
    return json.loads(out)


def judge(rows):
    for row in rows:
        assert row["faults"] == [], row
        assert row["opened"] == row["sound"] == row["kept"] == row["tries"] > 0, row
        assert row["half"] == 0, row


@pytest.fixture(scope="session")
def may_mount(tmp_path_factory):
    """Whether a small file system can be mounted here."""
    if os.geteuid() != 0:
        return False
    folder = tmp_path_factory.mktemp("disk")
    command = ["mount", "-t", "tmpfs", "-o", "size=1m", "matdb-test", str(folder)]
    if subprocess.run(command, capture_output=True, check=False).returncode:
        return False
    subprocess.run(["umount", str(folder)], check=True)
    return True


@pytest.mark.slow
def test_a_full_disk_under_a_file(python, may_mount):
    """Where nothing can be mounted, a limit on the size of files takes its place."""
    rows = run(python, "--engine", "sqlite", "--skip", "read-only", *([] if may_mount else ["--limit"]))
    judge(rows)
    assert [row["work"] for row in rows] == list(fault_table.WORKS)
    for row in rows:
        assert row["refused"] > 0, row
        assert not may_mount or all("disk is full" in s or "No space left" in s for s in row["says"]), row


@pytest.mark.slow
def test_files_that_may_not_grow(python):
    rows = run(python, "--engine", "sqlite", "--skip", "read-only", "--limit", "--works", "import,backup")
    judge(rows)
    assert all(row["refused"] > 0 for row in rows)


@pytest.mark.slow
def test_no_right_to_write_a_file(python):
    rows = run(python, "--engine", "sqlite", "--skip", "full", "--works", "upgrade 0001,export csv")
    judge(rows)
    refused = {row["work"]: (row["refused"], row["done"]) for row in rows}
    assert refused == {"upgrade 0001": (2, 0), "export csv": (2, 2)}


@pytest.mark.slow
def test_a_server_without_room_or_rights(python, may_mount):
    if not may_mount:
        pytest.skip("a full server needs a small file system, and this user may mount none")
    rows = run(python, "--engine", "postgresql", "--works", "import,upgrade 0001")
    judge(rows)
    faults = {row["fault"] for row in rows}
    assert faults == {"server's disk full", "read-only", "own disk full"}
    for row in rows:
        assert row["refused"] > 0, row
        if row["fault"] == "server's disk full":
            assert all("the server's disk is full" in s for s in row["says"]), row


@pytest.mark.slow
@pytest.mark.parametrize("engine", ["sqlite", "postgresql"])
def test_faults_of_every_kind_mixed_on_one_store(python, may_mount, engine):
    """Also Ctrl-C at random moments, of which one in 35 showed a traceback."""
    if not may_mount:
        pytest.skip("full disks need a small file system, and this user may mount none")
    rows = run(python, "--engine", engine, "--mixed", "40")
    judge(rows)
    assert {row["fault"] for row in rows} >= {"disk full", "Ctrl-C", "stdout closed", "stdout full", "reader gone"}
