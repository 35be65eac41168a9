"""``matdb undo``: the last change, taken back."""

from __future__ import annotations

from typing import Final

from matdb.cli.options import Call, option
from matdb.cli.screen import lines
from matdb.errors import InputError

#: What became of records, in lines; an import may have thousands.
_MOST: Final = 10


def undo(
    call: Call, yes: bool = option(None, "Also on a server, where the change may be a colleague's.", False)
) -> None:
    """Take back the last change.

    Each further 'matdb undo' takes back the one before. Nothing is lost: what is taken back stays in the history.
    """
    with call.existing() as store:
        if store.records.place.path is None and not yes:
            raise InputError("--yes", None, "given on a server: the last change may be a colleague's")
        made_at, told = store.undo()
    when = f"{made_at.astimezone():%Y-%m-%d %H:%M:%S}"

    def screen() -> None:
        more = [f"and {len(told) - _MOST} more"] if len(told) > _MOST else []
        lines(f"took back the change of {when}:", told[:_MOST] + more)

    call.answer({"made_at": made_at, "undone": told}, screen)
