"""Help texts read as sentences, and the reference says what the commands say."""

import re

import pytest
from generators.reference import REFERENCE, each_command, reference_text

from matdb.cli.run import run


def test_the_reference_is_current():
    assert REFERENCE.read_text(encoding="utf-8") == reference_text(), "run: python -m tests.generators.reference"


@pytest.mark.parametrize(("path", "command"), [pytest.param(p, c, id=p) for p, c in each_command()])
def test_help_reads_as_plain_sentences(path, command):
    texts = [command.help] + [p.help for p in command.params if "--help" not in getattr(p, "opts", ())]
    for text in texts:
        assert text, f"{path} has an option without help"
        assert re.match(r"[A-Z0-9.]", text), text
        assert text.rstrip().endswith("."), text
        assert "numpy" not in text.lower()
        assert "Parameters" not in text


def test_every_command_that_answers_takes_json_and_store():
    for path, command in each_command():
        if getattr(command, "commands", None) is not None:
            continue
        options = {o for p in command.params for o in p.opts}
        # A dialogue has one reader, a service answers elsewhere, a schema is JSON.
        assert "--json" in options or path in ("matdb bench", "matdb start", "matdb serve", "matdb schema"), path
        if path not in ("matdb material families", "matdb part forms", "matdb words", "matdb schema"):
            assert "--store" in options, path


def test_no_short_text_is_cut(capsys):
    for path, command in each_command():
        if getattr(command, "commands", None):
            run([*path.split()[1:], "--help"])
            assert "..." not in capsys.readouterr().out.split("Commands:")[1]
