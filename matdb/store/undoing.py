"""The last change taken back: found by the time that all rows of one change carry, kept like every other change."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from typing import Any

from matdb.bench.readings import Reading
from matdb.errors import StoreError
from matdb.store import rows
from matdb.store.stored import StoredReading, Undone
from matdb.store.writer import Writer

#: Where a change leaves its time.
_STAMPS = (
    *((what, "added_at") for what in ("mounting", "part", "material")),
    *(("reading", column) for column in ("logged_at", "retired_at")),
    ("replaced", "replaced_at"),
)
#: In the history: that a change was taken back, and when that one was made.
_UNDO = "undo"


def undo(writer: Writer, shown: str) -> Undone:
    """Take back the newest change that was not taken back yet; nothing is lost by it.

    Parameters
    ----------
    writer : Writer
        Of the open transaction.
    shown : str
        The store, for messages.

    Returns
    -------
    Undone

    Raises
    ------
    StoreError
        Nothing is left to take back.

    """
    made_at = _newest(writer, shown)
    if made_at is None:
        raise StoreError(shown, "there is no change left to undo")
    # All that carries the time, before anything is changed.
    found = {
        (table, column): [row[0] for row in writer.rows(_of(table, column), (rows.stamp(writer.dialect, made_at),))]
        for table, column in _STAMPS
    }
    told = [_put_back(writer, number, shown) for number in reversed(found["replaced", "replaced_at"])]
    for number in found["reading", "logged_at"]:
        now = _in_place_of(writer, number)
        if now is not None:
            writer.retire(now, "undone")
            told.append(f"{_said(_reading(writer, now, shown), now)} counts no more")
    for number in found["reading", "retired_at"]:
        reading = _reading(writer, number, shown)
        (successor,) = writer.add_readings([reading])
        writer.follow(successor, number)
        told.append(f"{_said(reading, number)} counts again, as reading {successor}")
    for what, column in _STAMPS[:3]:
        for number in found[what, column]:
            name = str(_name(writer, what, number))
            if not rows.is_removed(name):
                writer.remove(what, name, _record(writer, what, number, shown), "undone")
                told.append(f"{what} {name!r} is removed")
    told = told or ["nothing of it counts any more"]
    writer.keep(_UNDO, 0, {"made_at": made_at.isoformat()}, "; ".join(told)[:1000])
    return made_at, told


def _newest(writer: Writer, shown: str) -> dt.datetime | None:
    """When the newest change was made that was neither taken back nor took one back."""
    with rows.whole(shown, "the time of", "a change"):
        taken_back = writer.rows("SELECT replaced_at, before FROM replaced WHERE what = ?", (_UNDO,))
        passed = {rows.as_time(at) for at, _ in taken_back}
        passed |= {rows.as_time(rows.as_json(before)["made_at"]) for _, before in taken_back}
        times = [
            _newest_but(writer, f"SELECT max({column}) FROM {table} WHERE {column} IS NOT NULL", column, passed)
            for table, column in _STAMPS
        ]
        newest = max((time for time in times if time is not None), default=None)
        if newest is not None:
            newest.astimezone()  # the ends of the calendar are not everywhere
        return newest


def _newest_but(writer: Writer, newest: str, column: str, passed: Collection[Any]) -> dt.datetime | None:
    """The newest time of a table but for those that are passed over: one step in its index for each of them."""
    ((found,),) = writer.rows(newest, ())
    while found is not None and rows.as_time(found) in passed:
        ((found,),) = writer.rows(f"{newest} AND {column} < ?", (found,))
    return rows.as_time(found)


def _of(table: str, column: str) -> str:
    return f"SELECT id FROM {table} WHERE {column} = ? ORDER BY id"


def _put_back(writer: Writer, number: int, shown: str) -> str:
    """Let a record say what it said before."""
    ((what, on, before, why),) = writer.rows(
        "SELECT what, record_id, before, why FROM replaced WHERE id = ?", (number,)
    )
    with rows.whole(shown, "the history of", what):
        new = rows.from_definition(what, rows.as_json(before))
    old = _record(writer, what, on, shown)
    writer.replace(what, old.name, old, new, f"undone: {why}"[:1000])
    return f"{what} {new.name!r} is " + ("back" if rows.is_removed(old.name) else f"as it was before: {why}")


def _in_place_of(writer: Writer, number: int) -> int | None:
    """The reading that counts now in the place of this one; itself, or None."""
    while True:
        ((retired_at,),) = writer.rows("SELECT retired_at FROM reading WHERE id = ?", (number,))
        if retired_at is None:
            return number
        ((successor,),) = writer.rows("SELECT max(id) FROM reading WHERE corrects_id = ?", (number,))
        if successor is None or successor <= number:  # a forged one could go round in a circle
            return None
        number = successor


def _reading(writer: Writer, number: int, shown: str) -> Reading:
    found: StoredReading = _record(writer, "reading", number, shown)
    return found.reading


def _said(reading: Reading, number: int) -> str:
    on, by = getattr(reading, reading.subject), f", by {reading.who}" * bool(reading.who)
    return f"reading {number} ({reading.kind} on {on} at {reading.temperature_c:.4g} degC{by})"


def _record(writer: Writer, what: str, number: int, shown: str) -> Any:
    found = writer.rows(f"{rows.SELECTS[what]} WHERE {what}.id = ?", (number,))
    with rows.whole(shown, what, number):
        (row,) = found
    return rows.built(what, row, shown)


def _name(writer: Writer, what: str, number: int) -> Any:
    return writer.rows(f"SELECT name FROM {what} WHERE id = ?", (number,))[0][0]
