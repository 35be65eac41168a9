"""The wheel by itself: built, installed elsewhere without the checkout, and able to do the main job."""

import os
import subprocess
import sys
import venv
import zipfile
from pathlib import Path

import pytest

TOP = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    out = tmp_path_factory.mktemp("wheel")
    done = subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(out), str(TOP)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    return next(out.glob("*.whl"))


def test_it_carries_migrations_and_data_and_nothing_else(wheel):
    names = zipfile.ZipFile(wheel).namelist()
    assert {"matdb/__init__.pyi", "matdb/py.typed", "matdb/_data/families.csv"} <= set(names)
    assert "matdb/_migrations/env.py" in names
    assert any(n.startswith("matdb/_migrations/versions/") and n.endswith(".py") for n in names)
    assert all(n.startswith(("matdb/", "elastomer_matdb-")) for n in names)
    assert not [n for n in names if "__pycache__" in n or n.endswith(".sqlite")]


@pytest.mark.slow
def test_it_does_the_main_job_in_another_folder(wheel, tmp_path):
    # The environment sees this one's packages for the dependencies, and matdb from the wheel alone.
    home = tmp_path / "env"
    venv.create(home, with_pip=False)
    python = home / ("Scripts" if os.name == "nt" else "bin") / "python"
    site = next(home.glob("lib/python*/site-packages"), home / "Lib" / "site-packages")
    zipfile.ZipFile(wheel).extractall(site)
    import sqlalchemy

    outside = Path(sqlalchemy.__file__).parents[1]
    (site / "outside.pth").write_text(f"{outside}\n", encoding="utf-8")
    env = {k: v for k, v in os.environ.items() if not k.startswith(("PYTHON", "MATDB", "COV"))} | {"NO_COLOR": "1"}
    where = subprocess.run(
        [python, "-c", "import matdb; print(matdb.__file__)"],
        cwd=tmp_path,
        env=env,
        capture_output=True,
        text=True,
        check=True,
    )
    assert str(site) in where.stdout
    done = subprocess.run(
        [python, "-m", "matdb", "demo"],
        cwd=tmp_path,
        env=env,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "invented" in done.stdout
    assert "suits" in done.stdout
