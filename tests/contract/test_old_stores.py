"""Every store of a past revision is upgraded with all that is in it, and answers what it always answered."""

from pathlib import Path

import pytest
from contract.conftest import pour
from contract.script import RECORDED, WRITE, Step, difference, read, write

DUMPS = sorted(
    file.name.removesuffix(".sql")
    for file in (Path(__file__).parents[1] / "store" / "revisions").glob("*.sql")
    if file.name.split(".")[1] in ("fitted", "store") and "postgresql" not in file.name
)
COMMANDS = """
matdb store info
matdb store check
matdb material list
matdb part list --json
matdb mounting list --json
matdb reading list --all --json
matdb report amber
matdb stiffness 0042 --temp -18C..50C --step 34K --mass 600g --count 4 --json
matdb suit --mounting cam --temp -10C..25C --json
dump old.sqlite
"""


@pytest.mark.parametrize("name", DUMPS)
def test_old_stores_answer_what_was_recorded(name, desk):
    revisions = Path(__file__).parents[1] / "store" / "revisions"
    pour((revisions / f"{name}.sql").read_text(encoding="utf-8"), desk.folder / "old.sqlite")
    desk.run(Step("use old.sqlite"))
    steps = [Step(line) for line in COMMANDS.split("\n") if line]
    answers = [desk.run(step) for step in steps]
    file = RECORDED / "old_stores" / f"{name}.txt"
    if WRITE:
        file.parent.mkdir(exist_ok=True)
        write(file, steps, answers)
        return
    recorded = {step.command: step.said for step in read(file)}
    assert list(recorded) == [step.command for step in steps]
    found = [
        f"$ {step.command}\n  {told}"
        for step, answer in zip(steps, answers, strict=True)
        if (told := difference(recorded[step.command], answer)) is not None
    ]
    assert not found, "\n".join([f"{file.name}:", *found])
