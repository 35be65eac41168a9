"""Every command says what it always said: screens, JSON, files and error lines, as recorded."""

import matplotlib as mpl
import pytest
from contract.script import RECORDED, WRITE, difference, options_sorted, read, without_paths, write

#: What drew the recorded pictures; under another version their words are held, not their lines.
DRAWN_BY = "3.11.2"
#: Fits, tables, searches, pictures and many refusals take seconds.
SLOW = ("as_json", "bad_input", "demo", "export", "fit", "page", "part", "picture", "size", "store")
FAMILIES = [
    pytest.param(path.stem, marks=[pytest.mark.slow] if path.stem in SLOW else [])
    for path in sorted(RECORDED.glob("*.txt"))
]


@pytest.mark.parametrize("family", FAMILIES)
def test_commands_say_what_was_recorded(family, desk):
    file = RECORDED / f"{family}.txt"
    steps = read(file)
    answers = [desk.run(step) for step in steps]
    if WRITE:
        write(file, steps, answers)
        return
    same = str if mpl.__version__ == DRAWN_BY else without_paths
    if family == "help":
        same = options_sorted
    found = [
        f"$ {step.command}\n  {told}"
        for step, answer in zip(steps, answers, strict=True)
        if (told := difference(same(step.said), same(answer), step.bound)) is not None
    ]
    assert not found, "\n".join([f"{file.name}: {len(found)} of {len(steps)} commands answer otherwise", *found[:8]])
