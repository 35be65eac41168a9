"""The names that other tools call: said once, in the stub, and the same to Python and to a type checker."""

import ast
import importlib
import subprocess
import sys
from pathlib import Path

import pytest

import matdb

TOP = Path(__file__).parents[1]

CLIENT = """
import matdb

def stiffness(file: str) -> object:
    with matdb.open_store(file) as store:
        store.add(matdb.Part(name="ring", material="amber", form=matdb.Ring(16, 6, 5)))
        answer: matdb.Effective = store.effective("ring", temperature_c=-5.0, frequency_hz=30.0)
        return answer.stiffness_n_per_mm.median

def refused() -> matdb.Material:
    return matdb.Bush(outer_mm=12, inner_mm=6, length_mm=10)

matdb.Nothing
"""


def test_every_name_of_the_stub_is_there_and_no_other():
    stub = ast.parse((TOP / "matdb" / "__init__.pyi").read_text(encoding="utf-8"))
    homes = {name.name: node.module for node in stub.body if isinstance(node, ast.ImportFrom) for name in node.names}
    assert matdb.__all__ == sorted([*homes, "__version__"])
    assert sorted(dir(matdb)) == sorted(homes)
    for name, module in homes.items():
        assert getattr(matdb, name) is getattr(importlib.import_module(f"matdb.{module}"), name)


@pytest.mark.slow
def test_a_type_checker_sees_the_names(tmp_path):
    file = tmp_path / "client.py"
    file.write_text(CLIENT, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", "--config-file", "", "--cache-dir", str(tmp_path), str(file)],
        cwd=TOP,
        capture_output=True,
        text=True,
        check=False,
    )
    wrong = [line.partition("error: ")[2] for line in done.stdout.splitlines() if "client.py" in line]
    assert len(wrong) == 2, done.stdout
    assert "Incompatible return value type" in wrong[0]
    assert 'Module has no attribute "Nothing"' in wrong[1]
