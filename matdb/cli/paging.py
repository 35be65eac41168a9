"""Long lists, a page at a time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, TypeVar

from matdb.checks import checked_whole
from matdb.cli.options import Call, option

_Record = TypeVar("_Record")
#: Records on a screen without other word.
_ON_SCREEN: Final = 100


@dataclass(frozen=True)
class Paged(Call):
    """How a command that lists was called; a program that names no limit is told all."""

    limit: int | None = option("NUMBER", f"How many at most; {_ON_SCREEN} without it, with --json all.")

    def most(self) -> int | None:
        """How many to ask of the store: by one more than are told it tells whether there are more."""
        if self.limit is not None:
            return checked_whole("--limit", self.limit, 1, 1_000_000) + 1
        return None if self.as_json else _ON_SCREEN + 1

    def page(self, found: Sequence[_Record], *, newest: bool = False) -> tuple[Sequence[_Record], bool]:
        """Of what was found what is told, from the beginning or the end, and whether there is more."""
        most = self.most()
        if most is None or len(found) < most:
            return found, False
        return found[1:] if newest else found[:-1], True
