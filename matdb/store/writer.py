"""What every change does, on a connection whose transaction is open; nothing here begins or commits."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import islice
from operator import attrgetter
from typing import Any

import sqlalchemy as sa

from matdb.bench.readings import READINGS, Reading
from matdb.checks import checked_text
from matdb.errors import AlreadyExists, InputError, NotFound
from matdb.form.part import Part
from matdb.material.record import Material
from matdb.mounting.record import Mounting
from matdb.store.arrays import pack
from matdb.store.models import Base
from matdb.store.rows import (
    TABLES,
    Rows,
    definition_of,
    fingerprint,
    not_found,
    own_fields,
    plain_json,
    row_of,
    stamp,
    what_of,
)
from matdb.store.stored import FitRecord
from matdb.store.tables import bound, insert_tuples, run

_BATCH = 20000
#: Names that are looked up one by one; for more the whole table is read.
_MOST_NAMES = 500
_OF_MATERIAL = "part_id IN (SELECT id FROM part WHERE material_id = ?)"


def add(connection: sa.Connection, things: Sequence[Any], now: dt.datetime) -> list[int]:
    """Insert records of any kind, materials first, then parts; answers their numbers in the order given."""
    numbers = [0] * len(things)
    for what in TABLES.values():
        at = [i for i, thing in enumerate(things) if what_of(thing) == what]
        some = [things[i] for i in at]
        new = add_readings(connection, some, now) if what == "reading" else _add_named(connection, what, some, now)
        for i, number in zip(at, new, strict=True):
            numbers[i] = number
    return numbers


def _add_named(
    connection: sa.Connection, what: str, things: Sequence[Material | Part | Mounting], now: dt.datetime
) -> list[int]:
    """Insert materials, or parts of known materials, or mountings, whose names must be new; answers their numbers."""
    rows = [{**row_of(thing, number), "added_at": now} for thing, number in _with_material(connection, things)]
    seen = set(_ids(connection, what, {thing.name for thing in things}, missing_ok=True))
    for thing in things:
        if thing.name in seen:
            raise AlreadyExists(what, thing.name)
        seen.add(thing.name)
    return _insert(connection, what, rows)


def _insert(connection: sa.Connection, table: str, rows: Sequence[Mapping[str, Any]]) -> list[int]:
    """Insert rows, columns by name, all the same; answers their numbers, never used before."""
    numbers = _draw_numbers(connection, table, len(rows))
    tuples = [(number, *row.values()) for number, row in zip(numbers, rows, strict=True)]
    insert_tuples(connection, table, ("id", *rows[0]) if rows else (), bound(tuples, connection))
    return numbers


def _with_material(
    connection: sa.Connection, things: Sequence[Material | Part | Mounting]
) -> Iterator[tuple[Material | Part | Mounting, int | None]]:
    """Each thing and, when it is a part, the number of its material."""
    ids = _ids(connection, "material", {thing.material for thing in things if isinstance(thing, Part)})
    return ((thing, ids[thing.material] if isinstance(thing, Part) else None) for thing in things)


def add_readings(connection: sa.Connection, readings: Iterable[Reading], now: dt.datetime) -> list[int]:
    """Insert readings of known parts and materials, in batches past the ORM; answers their numbers.

    Numbers are drawn beforehand, so that the answer keeps the order.
    """
    subjects: dict[tuple[str, str], tuple[int, int | None]] = {}
    ids: list[int] = []
    dialect = connection.dialect.name
    logged = stamp(dialect, now)
    for batch in _batches(readings):
        _look_up(connection, batch, subjects)
        numbers = _draw_numbers(connection, "reading", len(batch))
        by_kind: dict[str, list[tuple[Any, ...]]] = {}
        for number, reading in zip(numbers, batch, strict=True):
            material_id, part_id = subjects[reading.subject, getattr(reading, reading.subject)]
            taken = logged if reading.taken_at is None else stamp(dialect, reading.taken_at)
            about = (number, reading.kind, material_id, part_id, taken, logged)
            by_kind.setdefault(reading.kind, []).append((*about, *_GETTERS[reading.kind](reading)))
        for kind, rows in by_kind.items():
            insert_tuples(connection, "reading", _READING_COLUMNS[kind], rows)
        ids.extend(numbers)
    return ids


def correct_reading(connection: sa.Connection, number: int, new: Reading, why: str, now: dt.datetime) -> int:
    """Retire a reading and put another in its place; answers the new one's number."""
    _retire(connection, number, f"corrected: {_reason(why)}", now)
    (successor,) = add_readings(connection, [new], now)
    run(connection, "UPDATE reading SET corrects_id = ? WHERE id = ?", number, successor)
    return successor


def remove_reading(connection: sa.Connection, number: int, why: str, now: dt.datetime) -> None:
    """Retire a reading."""
    _retire(connection, number, f"removed: {_reason(why)}", now)


def replace(
    connection: sa.Connection,
    what: str,
    name: str,
    old: Material | Part | Mounting,
    new: Material | Part | Mounting,
    why: str,
    now: dt.datetime,
) -> None:
    """Give a material, part or mounting a new definition and keep what it said before."""
    number = _ids(connection, what, {name})[name]
    ((_, material_id),) = _with_material(connection, [new])
    if material_id is not None:
        # A derived column, kept beside the part for the index; the readings themselves stay as they are.
        run(connection, "UPDATE reading SET material_id = ? WHERE part_id = ?", material_id, number)
    said = {"what": what, "record_id": number, "before": definition_of(old), "replaced_at": now, "why": _reason(why)}
    _insert(connection, "replaced", [said])
    if new.name != name and _ids(connection, what, {new.name}, missing_ok=True):
        raise AlreadyExists(what, new.name)
    row = row_of(new, material_id)
    columns = ", ".join(f"{column} = ?" for column in row)
    run(connection, f"UPDATE {what} SET {columns} WHERE id = ?", *row.values(), number)
    if what != "mounting":
        _forget_published(connection, "part_id = ?" if what == "part" else _OF_MATERIAL, number)


def save_fit(connection: sa.Connection, fit: FitRecord, now: dt.datetime) -> int:
    """Insert a fit with its arrays and the readings that it used; answers its number."""
    material_id = _ids(connection, "material", {fit.material})[fit.material]
    try:
        arrays, meta = pack(fit.arrays), plain_json(dict(fit.meta))
    except (ValueError, TypeError) as error:
        raise InputError("fit", fit.material, "plain values and arrays of real numbers", str(error)) from None
    columns = {
        "material_id": material_id,
        "created_at": fit.created_at or now,
        "program_version": fit.program_version,
        "seed": fit.seed,
        "meta": meta,
        "fingerprint": fit.fingerprint or fingerprint(rows_of(connection), material_id),
        "arrays": arrays,
    }
    (number,) = _insert(connection, "fit", [columns])
    used = sorted(set(fit.reading_ids or ()))
    if used:
        counted = "SELECT count(*) FROM reading WHERE material_id = ? AND id BETWEEN ? AND ?"
        if run(connection, counted, material_id, used[0], used[-1]).scalar_one() < len(used):
            raise InputError("fit reading_ids", fit.material, "numbers of readings of this material")
    insert_tuples(connection, "fit_reading", ("fit_id", "reading_id"), [(number, i) for i in used])
    return number


def publish(connection: sa.Connection, material: str, fit_id: int | None, rows: Iterable[Sequence[Any]]) -> int:
    """Put a material's tabulated stiffness in the place of what was there; answers the number of rows."""
    material_id = _ids(connection, "material", {material})[material]
    numbers: dict[str, int] = dict(
        rows_of(connection)("SELECT name, id FROM part WHERE material_id = ?", (material_id,))
    )
    _forget_published(connection, _OF_MATERIAL, material_id)
    columns = Base.metadata.tables["effective_stiffness"].columns.keys()[1:]  # its number is drawn by the engine
    ready = [(numbers[row[0]], *row[1:], fit_id) for row in rows if row[0] in numbers]
    insert_tuples(connection, "effective_stiffness", columns, ready)
    return len(ready)


def _forget_published(connection: sa.Connection, those: str, number: int) -> None:
    """Drop the tabulated stiffness of parts: it holds no more."""
    run(connection, f"DELETE FROM effective_stiffness WHERE {those}", number)


def _ids(connection: sa.Connection, what: str, names: set[str], *, missing_ok: bool = False) -> dict[str, int]:
    """The numbers of names; raises for the first unknown one unless that is fine."""
    return {name: row[0] for name, row in _named(connection, what, names, "id", missing_ok=missing_ok).items()}


def _named(
    connection: sa.Connection, what: str, names: set[str], columns: str, *, missing_ok: bool = False
) -> dict[str, tuple[Any, ...]]:
    """The columns of the rows of these names; raises for the first unknown one unless that is fine."""
    if not names:
        return {}
    sql, some = f"SELECT name, {columns} FROM {what}", sorted(names) if len(names) <= _MOST_NAMES else []
    if some:
        sql += f" WHERE name IN ({', '.join('?' * len(some))})"
    found: dict[str, tuple[Any, ...]] = {
        row[0]: tuple(row[1:]) for row in run(connection, sql, *some) if row[0] in names
    }
    if len(found) < len(names) and not missing_ok:
        there = run(connection, f"SELECT name FROM {what}").scalars()
        raise not_found(what, min(names - found.keys()), [str(name) for name in there])
    return found


# -- readings ----------------------------------------------------------------------------------------------

_FIRST = ("id", "kind", "material_id", "part_id", "taken_at", "logged_at")
_GETTERS = {kind: attrgetter(*own_fields(cls)) for kind, cls in READINGS.items()}
_READING_COLUMNS = {kind: (*_FIRST, *own_fields(cls)) for kind, cls in READINGS.items()}


def _batches(readings: Iterable[Reading]) -> Iterator[list[Reading]]:
    rest = iter(readings)
    while batch := list(islice(rest, _BATCH)):
        for reading in batch:
            if not isinstance(reading, Reading) or reading.kind not in READINGS:
                raise InputError("reading", type(reading).__name__, "one of " + ", ".join(READINGS))
        yield batch


def _look_up(
    connection: sa.Connection, batch: Sequence[Reading], subjects: dict[tuple[str, str], tuple[int, int | None]]
) -> None:
    """Fill in the material's and the part's number of every subject in the batch."""
    wanted = {(r.subject, getattr(r, r.subject)) for r in batch} - subjects.keys()
    for what, columns in (("material", "id, NULL"), ("part", "material_id, id")):
        names = {name for subject, name in wanted if subject == what}
        found: dict[str, Any] = _named(connection, what, names, columns)
        subjects.update(((what, name), numbers) for name, numbers in found.items())


def _draw_numbers(connection: sa.Connection, table: str, count: int) -> list[int]:
    """Numbers for new rows, never used before."""
    if connection.dialect.name == "sqlite":  # the write lock is held: nobody else draws
        last = run(connection, f"SELECT coalesce(max(id), 0) FROM {table}").scalar_one()
        return list(range(last + 1, last + 1 + count))
    drawn = f"SELECT nextval(pg_get_serial_sequence('{table}', 'id')) FROM generate_series(1, ?)"
    return list(run(connection, drawn, count).scalars())


def _retire(connection: sa.Connection, number: int, why: str, now: dt.datetime) -> None:
    retire = "UPDATE reading SET retired_at = ?, retired_why = ? WHERE id = ? AND retired_at IS NULL"
    if run(connection, retire, now, why, number).rowcount == 1:
        return
    if run(connection, "SELECT id FROM reading WHERE id = ?", number).first() is None:
        raise NotFound("reading", number)
    successor = run(connection, "SELECT id FROM reading WHERE corrects_id = ?", number).scalar()
    cure = f"correct reading {successor} instead" if successor is not None else "log it anew"
    raise InputError("reading", number, "one that still counts; this one was retired before", cure)


def _reason(why: str) -> str:
    if not isinstance(why, str) or not why.strip():
        raise InputError("why", why, "a reason in words", "say why, for whoever reads it next year")
    return checked_text("why", why.strip(), 1000)


def rows_of(connection: sa.Connection) -> Rows:
    """The connection as what the fixed statements of :mod:`matdb.store.rows` run on."""
    return lambda sql, parameters: [tuple(row) for row in run(connection, sql, *parameters)]
