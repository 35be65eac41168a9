"""The form that DEVELOPERS.md shows, run as written."""

import sys
import types
from pathlib import Path

import pytest

from matdb.form.base import FORMS, form_from_dict

TEXT = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_the_worked_example_of_a_form_works(monkeypatch):
    code = next(b for b in TEXT.split("```python\n")[1:] if "class RubberBlock" in b).split("```")[0]
    module = types.ModuleType("worked_example")
    monkeypatch.setitem(sys.modules, "worked_example", module)
    known = dict(FORMS)
    try:
        exec(compile(code, "DEVELOPERS.md", "exec"), module.__dict__)
        block = module.RubberBlock(length_mm=20, width_mm=10, height_mm=5)
        assert block.stiffness_n_per_mm(2.0) == pytest.approx(80.0)
        assert form_from_dict(block.to_dict()) == block
    finally:
        FORMS.clear()
        FORMS.update(known)
