"""Programs that Debian ships and tests drive: a browser, a spreadsheet."""

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

import pytest


def _install(packages):
    quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    install = ["apt-get", "install", "-y", "-qq", "--no-install-recommends", *packages]
    if subprocess.run(install, env=quiet, capture_output=True, check=False).returncode:
        subprocess.run(["apt-get", "update", "-qq"], env=quiet, capture_output=True, check=False)
        subprocess.run(install, env=quiet, capture_output=True, check=False)


def programs(find, packages, what):
    """Paths that ``find`` tells of; installed on Debian when the tests run as root, and one clear line elsewhere."""
    if not all(find()) and Path("/etc/debian_version").exists() and os.geteuid() == 0:
        import fcntl

        with (Path(tempfile.gettempdir()) / "matdb-tests-install.lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)  # tests run side by side
            if not all(find()):
                _install(packages)
    found = find()
    if not all(found):
        pytest.fail(f"{what}: install it with 'apt-get install {' '.join(packages)}'")
    return found


def first(*names):
    """The path of the first of these programs that is there."""
    return next(filter(None, map(shutil.which, names)), None)
