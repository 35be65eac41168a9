"""Questions in a terminal: an answer that cannot be read is asked for again; back, skip and stop work at every one."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final, NamedTuple

import typer

from matdb.cli.screen import show

#: Words that answer no question but turn away from it.
_TURNS: Final = {
    **dict.fromkeys(("back", "b", "<"), "back"),
    **dict.fromkeys(("skip", "s"), "skip"),
    **dict.fromkeys(("stop", "q", "quit", "end"), "stop"),
}


class Turn(Exception):
    """Instead of an answer: ``way`` is "back", "skip" or "stop"."""

    def __init__(self, way: str) -> None:
        super().__init__(way)
        self.way = way


class Question(NamedTuple):
    """A question.

    Attributes
    ----------
    name : str
        Of its answer.
    words : str
        What is asked.
    read : callable
        Gives the answer from the text, or raises ValueError with the line that is shown before it is asked again.
    usual : str or None
        What nothing typed stands for; "" for no answer, None where there must be one.
    """

    name: str
    words: str
    read: Callable[[str], Any]
    usual: str | None = None


def until(words: str, usual: str | None, read: Callable[[str], Any]) -> Any:
    """Ask until the answer can be read; None for nothing, where that is usual. Raises Turn; Abort where input ends."""
    while True:
        text = str(typer.prompt(words, default=usual, show_default=bool(usual), type=str)).strip()
        if text.casefold() in _TURNS:
            raise Turn(_TURNS[text.casefold()])
        try:
            return read(text) if text or usual != "" else None
        except ValueError as error:
            show(str(error))


def ask_all(
    questions: Callable[[Mapping[str, Any]], Sequence[Question]],
    before: dict[str, str],
    answers: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """Ask questions in turn; the answers by name.

    Parameters
    ----------
    questions : callable
        All of them as far as the answers so far tell.
    before : dict of str to str
        What was typed when they were asked before, which is then usual; what is typed now is added.
    answers : mapping, optional
        Of an earlier round that is gone back into: all but the last stand.

    Raises
    ------
    Turn
        Stopped, back from the first question, or one skipped that needs an answer.
    """
    answers = dict([*(answers or {}).items()][:-1])
    while True:
        asked = next((each for each in questions(answers) if each.name not in answers), None)
        if asked is None:
            return answers

        def read(text: str, each: Question = asked) -> Any:
            value = each.read(text)
            # What is usual follows from the other answers, which may change.
            before.pop(each.name, None)
            if text != each.usual:
                before[each.name] = text
            return value

        try:
            answers[asked.name] = until(asked.words, before.get(asked.name, asked.usual), read)
        except Turn as turn:
            if turn.way == "back" and answers:
                answers.popitem()
            elif turn.way == "skip" and asked.usual == "":
                answers[asked.name] = None
            else:
                raise


def with_unit(text: str, unit: str) -> str:
    """An answer as quantities are written: decimal commas as points, a bare number with the unit that was asked for.

    Examples
    --------
    >>> with_unit("25,3Hz", "Hz"), with_unit("-18", "C"), with_unit("14x5,5x7", "mm")
    ('25.3Hz', '-18C', '14x5.5x7mm')
    """
    if "." not in text.replace("..", ""):
        # Three digits behind a comma may be thousands, which are refused.
        text = re.sub(r"(?<=\d),(?=\d{1,2}(?!\d))", ".", text)
    return text + unit if text[-1:].isdigit() else text


def yes(text: str) -> bool:
    """Whether the answer is yes."""
    if text.casefold() not in ("y", "yes", "n", "no"):
        raise ValueError(f"answer: {text!r} is not allowed; it must be yes or no")
    return text.casefold().startswith("y")
