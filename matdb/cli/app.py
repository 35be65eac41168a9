"""The commands put together; each is imported and built when it is asked for."""

from __future__ import annotations

import functools
from collections.abc import Iterator, MutableMapping
from importlib import import_module
from typing import Annotated, Any, Final, NamedTuple

import typer

from matdb.cli.options import StoreOption
from matdb.cli.run import run as run
from matdb.version import VERSION

__all__ = ["root_command", "run"]


class _Place(NamedTuple):
    """Where a command is: a module of this folder, its function, and the command's short help."""

    module: str
    function: str
    short_help: str


_SINGLE: Final = {
    "demo": _Place("demo", "demo", "Walk the main job on an invented scenario."),
    "bench": _Place("bench", "bench", "Read one part, step by step."),
    "soak": _Place("soak", "soak", "Tell how long to soak a part."),
    "protocol": _Place("protocol", "protocol", "Write a bench protocol sheet."),
    "fit": _Place("fit", "fit", "Fit all readings of a material."),
    "report": _Place("fit", "report", "Tell what a fit rests on."),
    "curve": _Place("curve", "curve", "Show modulus and loss factor."),
    "stiffness": _Place("stiffness", "stiffness", "Show a part's stiffness in the field."),
    "suit": _Place("suit", "suit", "Rank the parts for a camera."),
    "cover": _Place("cover", "cover", "Find the fewest parts for a season."),
    "modes": _Place("modes", "modes", "Show all six modes of a camera."),
    "squeeze": _Place("squeeze", "squeeze", "Say how far to turn a grommet's screw."),
    "next": _Place("next_reading", "next_reading", "Rank the readings to take next."),
    "page": _Place("page", "page", "Write a page for the field."),
}

#: Group -> the module that has it, as ``app``.
_GROUPS: Final = {
    "material": "material",
    "part": "part",
    "reading": "reading",
    "mounting": "mounting",
    "export": "export",
    "import": "whole_store",
    "store": "store",
    "picture": "picture",
}

#: Commands that belong to a group of another module.
_GUESTS: Final = {
    "export": {
        "shift": _Place("export_material", "shift", "Write shift factors over temperature."),
        "prony": _Place("export_material", "prony", "Write the Prony terms of the median curve."),
        "store": _Place("whole_store", "export_store", "Write the whole store as one JSON file."),
    },
    "store": {"publish": _Place("publish", "publish", "Compute the stiffness table for SQL readers.")},
}


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


class _Commands(MutableMapping[str, Any]):
    """The root's commands by name: a mapping that builds what is looked up, since building all takes long."""

    def __init__(self) -> None:
        self._built: dict[str, Any] = {}
        self._names = [*_SINGLE, *_GROUPS]

    def __getitem__(self, name: str) -> Any:
        if name not in self._built:
            if name not in self._names:
                raise KeyError(name)
            self._built[name] = _single(name, _SINGLE[name]) if name in _SINGLE else _group(name)
        return self._built[name]

    def __setitem__(self, name: str, command: Any) -> None:
        self._built[name] = command
        self._names = list(dict.fromkeys([*self._names, name]))

    def __delitem__(self, name: str) -> None:
        self._names.remove(name)
        self._built.pop(name, None)

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)


def _add(app: typer.Typer, name: str, place: _Place) -> None:
    function = getattr(import_module(f"matdb.cli.{place.module}"), place.function)
    app.command(name, short_help=place.short_help)(function)


def _single(name: str, place: _Place) -> Any:
    alone = typer.Typer(rich_markup_mode=None, add_completion=False, pretty_exceptions_enable=False)
    _add(alone, name, place)
    return typer.main.get_command(alone)


def _group(name: str) -> Any:
    app: typer.Typer = import_module(f"matdb.cli.{_GROUPS[name]}").app
    known = {command.name for command in app.registered_commands}
    for guest, place in _GUESTS.get(name, {}).items():
        if guest not in known:
            _add(app, guest, place)
    group = typer.main.get_group(app)
    group.name = name
    return group


@functools.cache
def root_command() -> Any:
    """The command ``matdb`` with all its commands, for Typer to run."""
    app = typer.Typer(
        name="matdb",
        help="Log bench readings of soft mounts; ask stiffness and damping at a field temperature, and which part "
        "suits tomorrow.",
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["--help", "-h"], "max_content_width": 100},
        epilog="Quantities carry their unit: -18C, 0F, 250g, 0.55lb, 16mm, 30Hz, 4200rpm. "
        "Every number comes with a band that holds 95 % of what the readings allow.",
    )
    app.callback()(_root)
    root = typer.main.get_command(app)
    root.commands = _Commands()  # type: ignore[attr-defined]
    return root
