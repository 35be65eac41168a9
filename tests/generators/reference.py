"""The command reference, made from the commands themselves: ``python -m tests.generators.reference`` rewrites it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import matdb.cli
from matdb.cli.app import root_command
from matdb.cli.dimensions import form_options
from matdb.form import FORMS

__all__ = ["REFERENCE", "each_command", "reference_text", "write_reference"]

#: The file that :func:`write_reference` writes and a test compares.
REFERENCE = Path(matdb.cli.__file__).with_name("REFERENCE.md")

_HEAD = """# Commands

Made from the commands by `python -m tests.generators.reference`; do not edit by hand.

Quantities carry their unit (`-18C`, `0F`, `250g`, `0.55lb`, `16mm`, `30Hz`, `4200rpm`), ranges are written
`-10C..25C`. The store is the one that `--store` names before or after the command, else `MATDB_STORE`, else
your own. Exit codes: 0 done, 1 refused or failed, 2 wrong usage or input, 130 stopped by the user. With
`--json` the output is one JSON document, warnings included.
"""

_FORMS = """A half of a pair is a form of its own: `--lower "ring 12x5x4mm"`, or `--lower ring --lower-outer 12mm
--lower-inner 5mm --lower-height 4mm`; without `--upper` both halves are alike. Load-deflection points are given one
by one, `--point 0.6mm:5N --point 1.5mm:10N` (a mass counts as its weight: `--point 0.6mm:500g`), or as a file with a
column of deflections and one of forces or masses, their units in the header: `deflection_mm,force_n`.
"""


def reference_text() -> str:
    """The reference as Markdown."""
    parts = [_HEAD, *(_section(path, c) for path, c in each_command() if not hasattr(c, "commands"))]
    forms = "\n".join(f"| `{kind}` | {_cell(form_options(kind))} |" for kind in sorted(FORMS))
    parts.append(f"## Dimensions of the forms\n\n{_FORMS}\n| form | dimensions |\n|---|---|\n{forms}\n")
    return "\n".join(parts)


def write_reference() -> Path:
    """Write the reference into the folder of the commands."""
    REFERENCE.write_text(reference_text(), encoding="utf-8", newline="\n")
    return REFERENCE


def each_command(command: Any = None, path: str = "matdb") -> Iterator[tuple[str, Any]]:
    """The root, every group and every command, each with the words that call it."""
    command = command or root_command()
    yield path, command
    for name in getattr(command, "commands", ()):
        yield from each_command(command.get_command(None, name), f"{path} {name}")


def _section(path: str, command: Any) -> str:
    shown = [p for p in command.params if not getattr(p, "hidden", False)]
    arguments = [p for p in shown if p.param_type_name == "argument"]
    options = [p for p in shown if p.param_type_name == "option" and "--help" not in p.opts]
    needed = " ".join(f"{p.opts[0]} {p.metavar}" for p in options if p.required)
    usage = " ".join(filter(None, [path, *(str(p.metavar) for p in arguments), needed, "[OPTIONS]"]))
    text = " ".join(str(command.help or "").split())
    rows = [f"| `{p.metavar}` | {_cell(p.help)} |" for p in arguments]
    rows += [f"| `{_name(p)}` | {_cell(p.help)}{_default(p)} |" for p in options]
    example = f"\n{command.epilog}\n" if command.epilog else ""
    return f"## {path}\n\n{text}\n\n    {usage}\n\n| | |\n|---|---|\n" + "\n".join(rows) + "\n" + example


def _name(option: Any) -> str:
    name = ", ".join(option.opts)
    return name if option.is_flag else f"{name} {option.metavar}"


def _default(option: Any) -> str:
    if option.required:
        return " Needed."
    if option.default in (None, "", False) or callable(option.default) or option.is_flag:
        return ""
    return f" Without it: {option.default}."


def _cell(text: str | None) -> str:
    return " ".join((text or "").split()).replace("|", "\\|")


if __name__ == "__main__":
    print(write_reference())
