"""What every change does, on a connection whose transaction is open; nothing here begins or commits."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
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
from matdb.store import rows, tables
from matdb.store.arrays import pack
from matdb.store.models import Base
from matdb.store.stored import FitRecord

_BATCH = 20000
#: Names that are looked up one by one; for more the whole table is read.
_MOST_NAMES = 500
_FIRST = ("id", "kind", "material_id", "part_id", "taken_at", "logged_at")
_GETTERS = {kind: attrgetter(*rows.own_fields(cls)) for kind, cls in READINGS.items()}
_READING_COLUMNS = {kind: (*_FIRST, *rows.own_fields(cls)) for kind, cls in READINGS.items()}


class Writer:
    """The changes of one transaction, all at one time."""

    def __init__(self, connection: sa.Connection) -> None:
        self.connection, self.dialect = connection, connection.dialect.name
        #: Of the server's own clock where there is one: 'undo' finds the newest change of all programs by it.
        self._now = dt.datetime.now(dt.UTC)
        if self.dialect != "sqlite":
            self._now = connection.exec_driver_sql("SELECT clock_timestamp()").scalar_one()

    def _run(self, sql: str, *parameters: Any) -> sa.CursorResult[Any]:
        return tables.run(self.connection, sql, *parameters)

    def rows(self, sql: str, parameters: Sequence[object]) -> list[tuple[Any, ...]]:
        """All rows of one of the fixed statements of :mod:`matdb.store.rows`."""
        return [tuple(row) for row in self._run(sql, *parameters)]

    # -- materials, parts, mountings -----------------------------------------------------------------------

    def add(self, things: Sequence[Any]) -> list[int]:
        """Insert records of any kind, materials first, then parts; answers their numbers in the order given."""
        numbers = [0] * len(things)
        for what in rows.TABLES.values():
            at = [i for i, thing in enumerate(things) if rows.what_of(thing) == what]
            some = [things[i] for i in at]
            new = self.add_readings(some) if what == "reading" else self._add_named(what, some)
            for i, number in zip(at, new, strict=True):
                numbers[i] = number
        return numbers

    def _add_named(self, what: str, things: Sequence[Material | Part | Mounting]) -> list[int]:
        """Insert materials, or parts of known materials, or mountings, whose names must be new."""
        materials = self._named("material", {thing.material for thing in things if isinstance(thing, Part)})
        taken = set(self._named(what, {thing.name for thing in things}, missing_ok=True))
        ready = []
        for thing in things:
            rows.check_free(thing)
            if thing.name in taken:
                raise AlreadyExists(what, thing.name)
            taken.add(thing.name)
            (material_id,) = materials[thing.material] if isinstance(thing, Part) else (None,)
            ready.append({**rows.row_of(thing, material_id), "added_at": self._now})
        return self._insert(what, ready)

    def _insert(self, table: str, values: Sequence[Mapping[str, Any]]) -> list[int]:
        """Insert rows, columns by name, all the same; answers their numbers."""
        numbers = self._draw_numbers(table, len(values))
        ready = [(number, *row.values()) for number, row in zip(numbers, values, strict=True)]
        columns = ("id", *values[0]) if values else ()
        tables.insert_tuples(self.connection, table, columns, tables.bound(ready, self.connection))
        return numbers

    def replace(self, what: str, name: str, old: Any, new: Material | Part | Mounting, why: str) -> None:
        """Give a material, part or mounting a new definition and keep what it said before."""
        number = self._id(what, name)
        material_id = self._id("material", new.material) if isinstance(new, Part) else None
        of = [self._id("material", each.material) for each in (old, new) if isinstance(each, Part)]
        seen = {each: rows.fingerprint(self.rows, each) for each in ([number] if what == "material" else of)}
        if material_id is not None:
            # A derived column, kept beside the part for the index; the readings themselves stay as they are.
            self._run("UPDATE reading SET material_id = ? WHERE part_id = ?", material_id, number)
        self.keep(what, number, rows.definition_of(old), why)
        if new.name != name and self._named(what, {new.name}, missing_ok=True):
            raise AlreadyExists(what, new.name)
        values = rows.row_of(new, material_id)
        columns = ", ".join(f"{column} = ?" for column in values)
        self._run(f"UPDATE {what} SET {columns} WHERE id = ?", *values.values(), number)
        for each, mark in seen.items():
            if rows.fingerprint(self.rows, each) != mark:
                self._forget_published(each)

    def keep(self, what: str, number: int, before: dict[str, Any], why: str) -> None:
        """Keep what a record said before it was changed, with the reason."""
        about = {"what": what, "record_id": number, "before": before}
        self._insert("replaced", [about | {"replaced_at": self._now, "why": _reason(why)}])

    def remove(self, what: str, name: str, old: Any, why: str) -> int:
        """Take a material, part or mounting away under another name; answers how many readings count no more.

        A reason is needed where readings count. Raises InputError without, or for a material of which parts are made.
        """
        number = self._id(what, name)
        if what == "material":
            made = self._run("SELECT name FROM part WHERE material_id = ? ORDER BY name", number).scalars()
            parts = [part for part in made if not rows.is_removed(part)]
            if parts:
                cure = f"remove {', '.join(map(repr, parts[:3]))} first"
                raise InputError("material", name, "one that no part is made of", cure)
        retired = 0
        if what != "mounting":
            counting = f"FROM reading WHERE {what}_id = ? AND retired_at IS NULL"
            if self._run(f"SELECT count(*) {counting}", number).scalar_one():
                retire = counting.replace("FROM reading", "UPDATE reading SET retired_at = ?, retired_why = ?")
                retired = self._run(retire, self._now, f"removed: {_reason(why)}", number).rowcount
        gone = replace(old, name=rows.removed_name(name, number))
        self.replace(what, name, old, gone, f"removed: {why}".strip(" :"))
        return retired

    # -- readings ------------------------------------------------------------------------------------------

    def add_readings(self, readings: Iterable[Reading]) -> list[int]:
        """Insert readings of known parts and materials, in batches past the ORM; answers their numbers in order."""
        subjects: dict[tuple[str, str], Any] = {}
        ids: list[int] = []
        rest = iter(readings)
        logged = rows.stamp(self.dialect, self._now)
        while batch := list(islice(rest, _BATCH)):
            self._look_up(batch, subjects)
            numbers = self._draw_numbers("reading", len(batch))
            by_kind: dict[str, list[tuple[Any, ...]]] = {}
            for number, reading in zip(numbers, batch, strict=True):
                material_id, part_id = subjects[reading.subject, getattr(reading, reading.subject)]
                taken = logged if reading.taken_at is None else rows.stamp(self.dialect, reading.taken_at)
                about = (number, reading.kind, material_id, part_id, taken, logged)
                by_kind.setdefault(reading.kind, []).append((*about, *_GETTERS[reading.kind](reading)))
            for kind, ready in by_kind.items():
                tables.insert_tuples(self.connection, "reading", _READING_COLUMNS[kind], ready)
            ids.extend(numbers)
        return ids

    def _look_up(self, batch: Sequence[Reading], subjects: dict[tuple[str, str], Any]) -> None:
        """Fill in the material's and the part's number of every subject in the batch."""
        for reading in batch:
            if not isinstance(reading, Reading) or reading.kind not in READINGS:
                raise InputError("reading", type(reading).__name__, "one of " + ", ".join(READINGS))
        wanted = {(r.subject, getattr(r, r.subject)) for r in batch} - subjects.keys()
        for what, columns in (("material", "id, NULL"), ("part", "material_id, id")):
            found = self._named(what, {name for subject, name in wanted if subject == what}, columns)
            subjects.update(((what, name), numbers) for name, numbers in found.items())

    def correct_reading(self, number: int, new: Reading, why: str) -> int:
        """Retire a reading and put another in its place; answers the new one's number."""
        self.retire(number, f"corrected: {_reason(why)}")
        (successor,) = self.add_readings([new])
        self.follow(successor, number)
        return successor

    def follow(self, successor: int, number: int) -> None:
        """Let a reading stand in the place of a retired one."""
        self._run("UPDATE reading SET corrects_id = ? WHERE id = ?", number, successor)

    def remove_reading(self, number: int, why: str) -> None:
        """Retire a reading."""
        self.retire(number, f"removed: {_reason(why)}")

    def retire(self, number: int, why: str) -> None:
        """Let a reading count no more."""
        retire = "UPDATE reading SET retired_at = ?, retired_why = ? WHERE id = ? AND retired_at IS NULL"
        if self._run(retire, self._now, why, number).rowcount == 1:
            return
        if self._run("SELECT id FROM reading WHERE id = ?", number).first() is None:
            raise NotFound("reading", number)
        successor = self._run("SELECT max(id) FROM reading WHERE corrects_id = ?", number).scalar()
        cure = f"correct reading {successor} instead" if successor is not None else "log it anew"
        raise InputError("reading", number, "one that still counts; this one was retired before", cure)

    # -- fits ----------------------------------------------------------------------------------------------

    def save_fit(self, fit: FitRecord) -> int:
        """Insert a fit with its arrays and the readings that it used; answers its number."""
        material_id = self._id("material", fit.material)
        try:
            arrays, meta = pack(fit.arrays), rows.plain_json(dict(fit.meta))
        except (ValueError, TypeError) as error:
            raise InputError("fit", fit.material, "plain values and arrays of real numbers", str(error)) from None
        columns = {
            "material_id": material_id,
            "created_at": fit.created_at or self._now,
            "program_version": fit.program_version,
            "seed": fit.seed,
            "meta": meta,
            "fingerprint": fit.fingerprint or rows.fingerprint(self.rows, material_id),
            "arrays": arrays,
        }
        (number,) = self._insert("fit", [columns])
        used = sorted(set(fit.reading_ids or ()))
        if used:
            counted = "SELECT count(*) FROM reading WHERE material_id = ? AND id BETWEEN ? AND ?"
            if self._run(counted, material_id, used[0], used[-1]).scalar_one() < len(used):
                raise InputError("fit reading_ids", fit.material, "numbers of readings of this material")
        tables.insert_tuples(self.connection, "fit_reading", ("fit_id", "reading_id"), [(number, i) for i in used])
        return number

    def publish(
        self,
        material: str,
        fit_id: int | None,
        published: Iterable[Sequence[Any]],
        squeezes: Iterable[Sequence[Any]] = (),
    ) -> int:
        """Put a material's tabulated stiffness in the place of what was there; answers the number of rows."""
        material_id = self._id("material", material)
        parts: dict[str, int] = dict(self.rows("SELECT name, id FROM part WHERE material_id = ?", (material_id,)))
        self._forget_published(material_id)
        columns = Base.metadata.tables["effective_stiffness"].columns.keys()[1:]  # its number is drawn by the engine
        ready = [(parts[row[0]], *row[1:], fit_id) for row in published if row[0] in parts]
        tables.insert_tuples(self.connection, "effective_stiffness", columns, ready)
        factors = [(parts[row[0]], *row[1:]) for row in squeezes if row[0] in parts]
        names = Base.metadata.tables["squeeze_factor"].columns.keys()
        tables.insert_tuples(self.connection, "squeeze_factor", names, factors)
        return len(ready)

    def _forget_published(self, material_id: int) -> None:
        """Drop the tabulated stiffness of a material's parts: it holds no more."""
        for table in ("effective_stiffness", "squeeze_factor"):
            those = "part_id IN (SELECT id FROM part WHERE material_id = ?)"
            self._run(f"DELETE FROM {table} WHERE {those}", material_id)

    # -- names and numbers ---------------------------------------------------------------------------------

    def _id(self, what: str, name: str) -> int:
        return int(self._named(what, {name})[name][0])

    def _named(
        self, what: str, names: set[str], columns: str = "id", *, missing_ok: bool = False
    ) -> dict[str, tuple[Any, ...]]:
        """The columns of the rows of these names; raises for the first unknown one unless that is fine."""
        if not names:
            return {}
        some = sorted(names) if len(names) <= _MOST_NAMES else []
        which = f" WHERE name IN ({', '.join('?' * len(some))})" if some else ""
        there = self._run(f"SELECT name, {columns} FROM {what}{which}", *some)
        found: dict[str, tuple[Any, ...]] = {row[0]: tuple(row[1:]) for row in there if row[0] in names}
        if len(found) < len(names) and not missing_ok:
            every = self._run(f"SELECT name FROM {what}").scalars()
            raise rows.not_found(what, min(names - found.keys()), every)
        return found

    def _draw_numbers(self, table: str, count: int) -> list[int]:
        """Numbers for new rows, never used before."""
        if self.dialect == "sqlite":  # the write lock is held: nobody else draws
            last = self._run(f"SELECT coalesce(max(id), 0) FROM {table}").scalar_one()
            return list(range(last + 1, last + 1 + count))
        drawn = f"SELECT nextval(pg_get_serial_sequence('{table}', 'id')) FROM generate_series(1, ?)"
        return list(self._run(drawn, count).scalars())


def _reason(why: str) -> str:
    if not isinstance(why, str) or not why.strip():
        raise InputError("why", why, "a reason in words", "say why, for whoever reads it next year")
    return checked_text("why", why.strip(), 1000)
