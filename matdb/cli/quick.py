"""The shortest questions answered before Typer loads, which takes longer than their answers.

Only calls that are plainly right are taken here. Whatever else there is (help, completion, an option or a shape of
value that is not in these tables, a word too many) goes to Typer, whose word counts; a test holds the tables against
Typer's own.
"""

from __future__ import annotations

import functools
import os
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from importlib import import_module
from typing import Any, Final

__all__ = ["QUICK", "Quick", "quick_call"]

#: How an option's value is taken: none, one text, one text each time it is given, a whole number.
FLAG, TEXT, TEXTS, COUNT = "flag", "text", "texts", "count"

_STORE: Final = "--store"


@dataclass(frozen=True)
class Quick:
    """A command that can be answered without Typer.

    Attributes
    ----------
    module, function : str
        What answers: its first argument is the store, the others go by name.
    arguments : tuple of str
        Names of the words that are no options, all of them needed.
    options : mapping of str to tuple
        Option -> name of the argument, and how its value is taken.
    needed : frozenset of str
        Options that must be given.
    """

    module: str
    function: str
    arguments: tuple[str, ...] = ()
    options: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    needed: frozenset[str] = frozenset()


QUICK: Final[Mapping[tuple[str, ...], Quick]] = {
    ("part", "list"): Quick(
        "part_list", "part_list", options={"--material": ("material", TEXT), "--json": ("as_json", FLAG)}
    ),
    ("stiffness",): Quick(
        "stiffness_answer",
        "stiffness_answer",
        arguments=("part",),
        options={
            "--temp": ("temp", TEXTS),
            "--frequency": ("frequency", TEXTS),
            "--mass": ("mass", TEXT),
            "--count": ("count", COUNT),
            "--axis": ("axis", TEXT),
            "--squeeze": ("squeeze", TEXT),
            "--step": ("step", TEXT),
            "--csv": ("csv", TEXT),
            "--force": ("force", FLAG),
            "--json": ("as_json", FLAG),
        },
        needed=frozenset({"--temp"}),
    ),
}


def quick_call(words: Sequence[str]) -> Callable[[], None] | None:
    """The call that these words are, ready to be made; None where Typer must look at them.

    Parameters
    ----------
    words : sequence of str
        The words after ``matdb``.
    """
    if os.environ.get("_MATDB_COMPLETE") or not all(word.isprintable() for word in words):
        return None
    rest = list(words)
    outer = None
    if rest and rest[0].partition("=")[0] == _STORE:
        given = _value(rest.pop(0), rest)
        if given is None:
            return None
        outer = given
    for path, quick in QUICK.items():
        if tuple(rest[: len(path)]) == path:
            values = _values(quick, rest[len(path) :])
            if values is None:
                return None
            store = values.pop("store", None) or outer or os.environ.get("MATDB_STORE") or None
            answer = getattr(import_module(f"matdb.cli.{quick.module}"), quick.function)
            return functools.partial(answer, store, **values)
    return None


def _values(quick: Quick, rest: list[str]) -> dict[str, Any] | None:
    """Arguments by name, or None where something is not plainly right."""
    plain: list[str] = []
    values: dict[str, Any] = {}
    while rest:
        word = rest.pop(0)
        if not word.startswith("-"):
            plain.append(word)
            continue
        option = word.partition("=")[0]
        name, taken = ("store", TEXT) if option == _STORE else quick.options.get(option, ("", ""))
        if not name or (name in values and taken != TEXTS):
            return None
        if taken == FLAG:
            if word != option:
                return None
            values[name] = True
            continue
        value = _value(word, rest)
        if value is None or (taken == COUNT and not re.fullmatch("[1-9][0-9]{0,3}", value)):
            return None
        if taken == TEXTS:
            values.setdefault(name, []).append(value)
        else:
            values[name] = int(value) if taken == COUNT else value
    if len(plain) != len(quick.arguments) or any(quick.options[o][0] not in values for o in quick.needed):
        return None
    return values | dict(zip(quick.arguments, plain, strict=True))


def _value(word: str, rest: list[str]) -> str | None:
    """The value of an option: after its sign of equality, or the next word unless that looks like an option."""
    _, equals, value = word.partition("=")
    if equals:
        return value
    if not rest or rest[0].startswith("--"):
        return None
    return rest.pop(0)
