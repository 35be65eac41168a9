"""Every command has a recorded answer: one on the screen, and one as JSON where it answers so."""

from pathlib import Path

from contract.script import RECORDED, read

import matdb

REFERENCE = Path(matdb.__file__).parent / "cli" / "REFERENCE.md"
#: Whose JSON is not recorded, and why.
WITHOUT_JSON = {
    "matdb export store": "names the size and the fingerprint of a file, which change with the version",
    "matdb import store": "asks that file back; what it brings is held by the dumps",
}


def answered():
    """Words of every recorded command that was answered, not refused and not a page of help."""
    for file in sorted(RECORDED.glob("*.txt")):
        for step in read(file):
            said_no = step.said.startswith("exit ")
            if step.command.startswith("matdb ") and not said_no and not {"--help", "-h"} & set(step.words):
                yield step.words


def test_every_command_has_a_recorded_answer():
    sections = REFERENCE.read_text(encoding="utf-8").split("\n## ")[1:]
    sections = {title: text for title, _, text in (s.partition("\n") for s in sections) if title.startswith("matdb ")}
    assert len(sections) > 30
    asked = [" ".join(words) + " " for words in answered()]
    silent = [title for title in sections if not any(words.startswith(f"{title} ") for words in asked)]
    assert silent == ["matdb serve"]  # which only ends when it is stopped: tests/service holds what it answers
    no_json = {
        title
        for title, text in sections.items()
        if "`--json`" in text and not any(w.startswith(f"{title} ") and " --json " in w for w in asked)
    }
    assert no_json == set(WITHOUT_JSON)
