"""The commands put together; a module is imported, and its command built, when it is asked for."""

from __future__ import annotations

import functools
from importlib import import_module
from typing import Annotated, Any, Final

import typer
from typer.core import TyperGroup

from matdb.cli.options import Group, StoreOption
from matdb.version import VERSION

#: Command -> the module of this folder that has it, its function there, and its short help.
_SINGLE: Final = {
    "start": ("start", "start", "Start here: asks for all, and answers."),
    "demo": ("demo", "demo", "Walk the main job on an invented scenario."),
    "bench": ("bench", "bench", "Read one part, step by step."),
    "soak": ("protocol", "soak", "Tell how long to soak a part."),
    "protocol": ("protocol", "protocol", "Write a bench protocol sheet."),
    "fit": ("fit", "fit", "Fit all readings of a material."),
    "report": ("fit", "report", "Tell what a fit rests on."),
    "curve": ("stiffness", "curve", "Show modulus and loss factor."),
    "stiffness": ("stiffness", "stiffness", "Show a part's stiffness in the field."),
    "suit": ("suit", "suit", "Rank the parts for a camera."),
    "cover": ("cover", "cover", "Find the fewest parts for a season."),
    "size": ("size", "size", "Say what to print, cut or buy."),
    "compare": ("compare", "compare", "Put parts or payloads side by side."),
    "modes": ("modes", "modes", "Show all six modes of a camera."),
    "squeeze": ("squeeze", "squeeze", "Say how far to turn a grommet's screw."),
    "next": ("next_reading", "next_reading", "Rank the readings to take next."),
    "page": ("page", "page", "Write a page for the field."),
    "serve": ("serve", "serve", "Answer live tools over HTTP."),
    "undo": ("undo", "undo", "Take back the last change."),
    "schema": ("schema", "schema", "Show the schema of a JSON answer."),
    "words": ("words", "words", "Tell what the words on the screens mean."),
}

#: Those of them that take the dimensions of a form, whatever they are.
_DIMENSIONS: Final = ("size",)

#: Group -> the module of this folder that has it, and its name there.
_GROUPS: Final = {
    name: ("export", "import_app") if name == "import" else (name, "app")
    for name in ("material", "part", "reading", "mounting", "flight", "export", "import", "store", "picture")
}


def _command(name: str) -> Any:
    module, what, *told = _SINGLE.get(name) or _GROUPS[name]
    found = getattr(import_module(f"matdb.cli.{module}"), what)
    if told:
        alone = Group()
        alone.command(name, short_help=told[0], context_settings={"ignore_unknown_options": name in _DIMENSIONS})(found)
        return typer.main.get_command(alone)
    group = typer.main.get_group(found)
    group.name = name
    return group


class _Commands(TyperGroup):
    """The root: a command is built when it is looked up, since building all takes as long as an answer."""

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        if cmd_name in self.commands and self.commands[cmd_name] is None:
            self.commands[cmd_name] = _command(cmd_name)
        return self.commands.get(cmd_name)


def _version(asked: bool) -> None:
    if asked:
        print(f"matdb {VERSION}")
        raise typer.Exit


def _root(
    store: StoreOption = None,
    version: Annotated[
        bool, typer.Option("--version", help="Show the version and stop.", callback=_version, is_eager=True)
    ] = False,
) -> None:
    pass


@functools.cache
def root_command() -> Any:
    """The command ``matdb`` with all its commands, for Typer to run."""
    app = typer.Typer(
        name="matdb",
        cls=_Commands,
        help="Log bench readings of soft mounts; ask stiffness and damping at a field temperature, and which part "
        "suits tomorrow.",
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["--help", "-h"], "max_content_width": 100},
        epilog="Quantities carry their unit: -18C, 0F, 250g, 0.55lb, 16mm, 30Hz, 4200rpm. "
        "Every number comes with a band that holds 95 % of what the readings allow. 'matdb words' explains the words.",
    )
    app.callback()(_root)
    root = typer.main.get_command(app)
    root.commands = dict.fromkeys([*_SINGLE, *_GROUPS])  # type: ignore[attr-defined]
    return root
