"""``matdb undo``: the last change, taken back."""

from __future__ import annotations

import sys
from contextlib import suppress
from typing import Final

from matdb.cli.asking import Turn, until, yes
from matdb.cli.options import Call, option
from matdb.cli.screen import lines, show
from matdb.errors import InputError
from matdb.store.stored import Undone

#: What became of records, in lines; an import may have thousands.
_MOST: Final = 10


class _NotSure(Exception):
    """What was undone is looked at, and not to stand."""


def undo(call: Call, sure: bool = option(None, "Do not ask; needed on a server.", False, "--yes")) -> None:
    """Take back the last change, whoever made it.

    Asks in a terminal, with what it was and when it was made. Each further 'matdb undo' takes back the one before.
    Nothing is lost: what is taken back stays in the history.
    """
    seen: list[Undone] = []
    with call.existing() as store:
        if not sure and sys.stdin.isatty() and not call.as_json:

            def look(found: Undone) -> None:
                seen.append(found)
                raise _NotSure

            # Nobody else waits for the answer: the change is undone anew, and only if it still is the last one.
            with suppress(_NotSure):
                store.records.undo(look)
            _show("the last change is of", seen[0])
            with suppress(Turn):
                sure = until("Take it back?", "yes", yes)
            if not sure:
                show("nothing was changed")
                return
        elif not sure and store.records.place.path is None:
            raise InputError("--yes", None, "given on a server: the last change may be a colleague's")

        def same(found: Undone) -> None:
            if seen and found[0] != seen[0][0]:
                raise InputError("last change", None, "still the last one", "another was made meanwhile; ask anew")

        undone = store.records.undo(same)
    call.answer({"made_at": undone[0], "undone": undone[1]}, lambda: _show("took back the change of", undone))


def _show(head: str, undone: Undone) -> None:
    made_at, told = undone
    more = [f"and {len(told) - _MOST} more"] if len(told) > _MOST else []
    lines(f"{head} {made_at.astimezone():%Y-%m-%d %H:%M:%S}:", told[:_MOST] + more)
