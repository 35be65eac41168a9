"""The records: what the rest of matdb may ask of a store, in frozen dataclasses, and nothing else."""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from typing import TYPE_CHECKING, Any

from matdb.bench.readings import READINGS, Reading
from matdb.checks import one_of
from matdb.errors import InputError, NotFound, StoreReadOnly
from matdb.form import Part
from matdb.material.record import Material
from matdb.mounting.record import Mounting
from matdb.store import backups, checking, rows
from matdb.store.driver_errors import READ_ONLY_CURE
from matdb.store.location import Place, locate
from matdb.store.stored import Finding, FitRecord, MaterialEvidence, StoredReading, Undone, Upgraded
from matdb.store.upgrading import open_reader

if TYPE_CHECKING:
    import sqlalchemy as sa

    from matdb.store.writer import Writer


#: Records in a page without an end.
_MOST = 2**31 - 1


class Records:
    """A store, open.

    Every call is one transaction: all of it is kept, or nothing. Reading never waits for SQLAlchemy, which
    is imported with the first change.

    Parameters
    ----------
    where : str, path or None
        A file, an SQLAlchemy URL of SQLite or PostgreSQL, or None for the default file. A store that is
        not there is made, an older one upgraded after a copy was kept: see :attr:`upgraded`.
    readonly : bool
        Refuse every change, and neither make nor upgrade.
    wait_s : float
        How long to wait for another writer, seconds.
    on_wait : callable, optional
        Called about once a second with the seconds waited so far.

    Raises
    ------
    InputError
        ``where`` is neither a file nor a URL that matdb knows.
    NotAStore, NewerStore, StoreReadOnly, StoreBusy, StoreError
        The store refuses; each says what to do.

    """

    def __init__(
        self,
        where: str | os.PathLike[str] | None = None,
        *,
        readonly: bool = False,
        wait_s: float = 30.0,
        on_wait: Callable[[float], None] | None = None,
    ) -> None:
        self.place: Place = locate(where)
        self._wait_s, self._on_wait = wait_s, on_wait
        self._engine: sa.Engine | None = None
        #: What an upgrade did when the store was opened; None without one.
        self.upgraded: Upgraded | None
        self._reader, frozen, self.upgraded = open_reader(
            self.place, wait_s=wait_s, create=not readonly, on_wait=on_wait
        )
        self.readonly = readonly or frozen

    def __repr__(self) -> str:
        return f"<Records {self.place.shown}>"

    def __enter__(self) -> Records:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()

    def close(self) -> None:
        """Close every connection."""
        # The writer last: SQLite folds its log into the file when a connection that may write goes last.
        self._reader.close()
        if self._engine is not None:
            self._engine.dispose()
            self._engine = None

    # -- materials, parts, mountings -----------------------------------------------------------------------

    def add(self, things: Any) -> list[int]:
        """Add one material, part, reading or mounting, or any mixture of them, all or nothing.

        Within a mixture materials go first, then parts, then the rest; the order given does not matter.

        Returns
        -------
        list of int
            Their numbers, in the order given.

        Raises
        ------
        AlreadyExists
            A name is taken.
        NotFound
            A part's material or a reading's part or material is unknown.
        InputError
            Something else is among them.

        """
        listed = [things] if rows.what_of(things) else list(things)
        for thing in listed:
            if not rows.what_of(thing):
                raise InputError("record", type(thing).__name__, "a material, a part, a reading or a mounting")
        with self._change() as writer:
            return writer.add(listed)

    def material(self, name: str) -> Material:
        """The material of that name. Raises NotFound, with close names."""
        found: Material = self._named("material", name)
        return found

    def part(self, name: str) -> Part:
        """The part of that name. Raises NotFound, with close names."""
        found: Part = self._named("part", name)
        return found

    def mounting(self, name: str) -> Mounting:
        """The mounting of that name. Raises NotFound, with close names."""
        found: Mounting = self._named("mounting", name)
        return found

    def materials(self) -> list[Material]:
        """All materials, by name."""
        return [self._built("material", row) for row in self._by_name("material")]

    def parts(self, material: str | None = None) -> list[Part]:
        """All parts, or those of one material, by name. Raises NotFound."""
        return [self._built("part", row) for row in self._by_name("part", material)]

    def each_part(self) -> Mapping[str, Part]:
        """All parts by name, each read when it is first asked for."""
        return _Parts(self.part, self.names("part"))

    def parts_read(
        self, material: str | None = None, *, after: str = "", most: int | None = None
    ) -> list[tuple[Part, int]]:
        """Parts, of one material where it is told, by name, and how many readings on each count. Raises NotFound.

        ``most`` at most, from the first name past ``after`` on.
        """
        # By code point; a server has an index of its own for that.
        name, most = ("name", 'name COLLATE "C"')[self.place.path is None], _MOST if most is None else most
        found: list[tuple[Any, ...]] = []
        with self._reader.snapshot():
            only, of = ("", []) if material is None else (" AND material_id = ?", [self._id("material", material)])
            page = f"SELECT id FROM part WHERE {name} > ?{only} ORDER BY {name} LIMIT ?"
            more = True
            while more and len(found) < most:
                there = self._reader.rows(f"{rows.PARTS_READ} WHERE part.id IN ({page})", [after, *of, most])
                there.sort(key=lambda row: str(row[0]))
                found += (row for row in there if not rows.is_removed(str(row[0])))
                more, after = len(there) == most, str(there[-1][0]) if there else after
        return [(self._built("part", row[:-1]), row[-1]) for row in found[:most]]

    def mountings(self) -> list[Mounting]:
        """All mountings, by name."""
        return [self._built("mounting", row) for row in self._by_name("mounting")]

    def names(self, what: str, material: str | None = None) -> list[str]:
        """The names of all materials, parts or mountings, or of a material's parts. Raises NotFound."""
        where, values = ("", []) if material is None else (" WHERE material_id = ?", [self._id("material", material)])
        found = (str(row[0]) for row in self._reader.rows(f"SELECT name FROM {what}{where}", values))
        return sorted(name for name in found if not rows.is_removed(name))

    def replace(self, name: str, new: Material | Part | Mounting, why: str) -> None:
        """Give the material, part or mounting called ``name`` a new definition, and perhaps a new name.

        What it said before is kept (:meth:`history`); fits of the material say that they are stale.

        Raises
        ------
        NotFound
            No record of that name, or the part's new material is unknown.
        AlreadyExists
            The new name is taken.
        InputError
            No reason given.

        """
        what = rows.what_of(new)
        if what in ("", "reading"):
            raise InputError("record", type(new).__name__, "a material, a part or a mounting")
        rows.check_free(new)
        with self._change() as writer:
            # Read where it is written: another program may have replaced it since this one last looked.
            writer.replace(what, name, self._named(what, name, writer.rows), new, why)

    def remove(self, what: str, name: str, why: str = "") -> int:
        """Take a material, part or mounting out of every list; it is kept under another name, with its history.

        Returns
        -------
        int
            How many readings on it count no more, kept too.

        Raises
        ------
        NotFound
            No record of that name.
        InputError
            No reason though readings on it count, or parts are made of the material.

        """
        with self._change() as writer:
            return writer.remove(what, name, self._named(what, name, writer.rows), why)

    def undo(self, sure: Callable[[Undone], object] | None = None) -> Undone:
        """Take back the last change that was not taken back; see :func:`matdb.store.undoing.undo`.

        ``sure`` looks at what was undone before it stands; where it raises, nothing is changed.
        """
        from matdb.store.undoing import undo

        with self._change() as writer:
            undone = undo(writer, self._shown)
            if sure is not None:
                sure(undone)
        return undone

    def history(self, what: str, name: str) -> list[tuple[dt.datetime, str, dict[str, Any]]]:
        """What a material, part or mounting said before, oldest first: when replaced, why, the values."""
        number = self._id(what, name)
        found = []
        for replaced_at, why, before in self._reader.rows(
            "SELECT replaced_at, why, before FROM replaced WHERE what = ? AND record_id = ? ORDER BY id", (what, number)
        ):
            with rows.whole(self._shown, "the history of", why):
                when = rows.as_time(replaced_at)
                assert when is not None
                found.append((when, why, dict(rows.as_json(before))))
        return found

    # -- readings ------------------------------------------------------------------------------------------

    def add_readings(self, readings: Iterable[Reading]) -> list[int]:
        """Add many readings, all or nothing, in bounded memory; answers their numbers in order.

        Raises
        ------
        NotFound
            A part or material is unknown.
        InputError
            Something else than a reading is among them.

        """
        with self._change() as writer:
            return writer.add_readings(readings)

    def reading(self, number: int) -> StoredReading:
        """The reading of that number, whether it still counts or not. Raises NotFound."""
        found: StoredReading = self._numbered("reading", number)
        return found

    def readings(
        self,
        material: str | None = None,
        part: str | None = None,
        kind: str | None = None,
        include_retired: bool = False,
    ) -> list[StoredReading]:
        """Readings in the order of their numbers.

        Parameters
        ----------
        material, part : str, optional
            Only those on this material (its parts included), only those on this part.
        kind : str, optional
            Only those of this kind, a key of ``matdb.bench.readings.READINGS``.
        include_retired : bool
            Also those that were corrected or removed.

        Raises
        ------
        NotFound
            No such material or part.
        InputError
            No such kind.

        """
        return list(self.each_reading(material, part, kind, include_retired))

    def newest_readings(
        self,
        material: str | None = None,
        part: str | None = None,
        kind: str | None = None,
        include_retired: bool = False,
        *,
        most: int | None = None,
        before: int | None = None,
    ) -> list[StoredReading]:
        """The last ``most`` of :meth:`readings`, or of those with lower numbers than ``before``."""
        with self._reader.snapshot():
            condition, values = self._those(material, part, kind, include_retired, before)
            sql = f"{rows.SELECTS['reading']}{condition} ORDER BY reading.id DESC"
            found = self._reader.rows(sql + " LIMIT ?" * (most is not None), [*values, *filter(None, [most])])
            return [self._built("reading", row) for row in reversed(found)]

    def reading_count(self, *, material: str | None = None, part: str | None = None) -> int:
        """How many readings count on a material, its parts included, or on a part. Raises NotFound."""
        condition, values = self._those(material, part, None, include_retired=False)
        return int(self._reader.rows("SELECT count(*) FROM reading" + condition, values)[0][0])

    def each_reading(
        self,
        material: str | None = None,
        part: str | None = None,
        kind: str | None = None,
        include_retired: bool = False,
    ) -> Iterator[StoredReading]:
        """As :meth:`readings`, one at a time: for stores that do not fit in memory."""
        with self._reader.snapshot():
            condition, values = self._those(material, part, kind, include_retired)
            for row in self._reader.stream(rows.SELECTS["reading"] + condition + " ORDER BY reading.id", values):
                yield self._built("reading", row)

    def _those(
        self, material: str | None, part: str | None, kind: str | None, include_retired: bool, before: int | None = None
    ) -> tuple[str, list[object]]:
        """What picks these readings, with its parameters. Raises NotFound, InputError."""
        picked: dict[str, object] = {}
        if material is not None:
            picked["reading.material_id ="] = self._id("material", material)
        if part is not None:
            picked["reading.part_id ="] = self._id("part", part)
        if kind is not None:
            picked["reading.kind ="] = one_of("kind", kind, READINGS)
        if before is not None:
            picked["reading.id <"] = _number("reading", before)
        terms = [f"{column} ?" for column in picked] + ([] if include_retired else ["reading.retired_at IS NULL"])
        return " WHERE " + " AND ".join(terms) if terms else "", list(picked.values())

    def correct_reading(self, number: int, new: Reading, why: str) -> int:
        """Put a reading in the place of another, which is kept but counts no more.

        Returns
        -------
        int
            The number of the new one.

        Raises
        ------
        NotFound
            No reading of that number, or the new one's part or material is unknown.
        InputError
            It was retired before, or no reason is given.

        """
        with self._change() as writer:
            return writer.correct_reading(_number("reading", number), new, why)

    def remove_reading(self, number: int, why: str) -> None:
        """Let a reading count no more; it is kept. Raises NotFound, InputError as :meth:`correct_reading`."""
        with self._change() as writer:
            writer.remove_reading(_number("reading", number), why)

    # -- fits ----------------------------------------------------------------------------------------------

    def evidence(self, material: str) -> MaterialEvidence:
        """All that a fit of the material may use, at one instant. Raises NotFound."""
        with self._reader.snapshot():
            number = self._id("material", material)
            return MaterialEvidence(
                material=self.material(material),
                parts=tuple(self.parts(material)),
                readings=tuple(self.readings(material)),
                fingerprint=rows.fingerprint(self._reader.rows, number),
            )

    def save_fit(
        self, fit: FitRecord, published: Iterable[Sequence[Any]] | None = None, squeezes: Iterable[Sequence[Any]] = ()
    ) -> int:
        """Keep a fit, and with it the tabulated stiffness that it gives; answers its number.

        Parameters
        ----------
        fit : FitRecord
            What came out.
        published, squeezes : iterable of sequence, optional
            Rows as :meth:`publish` takes them. They are kept in the same transaction: no reader ever sees the
            new fit with the old table.

        Raises
        ------
        NotFound
            The material is unknown.
        InputError
            Values that JSON or the array format cannot hold, or readings of another material.

        """
        with self._change() as writer:
            number = writer.save_fit(fit)
            if published is not None:
                writer.publish(fit.material, number, published, squeezes)
            return number

    def fit(self, number: int) -> FitRecord:
        """The fit of that number, as all that are read without its readings' numbers. Raises NotFound."""
        found: FitRecord = self._numbered("fit", number)
        return found

    def newest_fit(self, material: str) -> FitRecord | None:
        """The newest fit of a material, None when there is none. Raises NotFound."""
        return next(iter(self._fits(material, " DESC LIMIT 1")), None)

    def fits(self, material: str) -> list[FitRecord]:
        """All fits of a material, oldest first. Raises NotFound."""
        return self._fits(material, "")

    def _fits(self, material: str, order: str) -> list[FitRecord]:
        with self._reader.snapshot():
            sql = f"{rows.SELECTS['fit']} WHERE fit.material_id = ? ORDER BY fit.id{order}"
            return [self._built("fit", row) for row in self._reader.rows(sql, (self._id("material", material),))]

    def fit_reading_ids(self, number: int) -> tuple[int, ...]:
        """The numbers of the readings that a fit used."""
        used = "SELECT reading_id FROM fit_reading WHERE fit_id = ? ORDER BY reading_id"
        return tuple(row[0] for row in self._reader.rows(used, (number,)))

    def is_stale(self, fit: FitRecord) -> bool:
        """Whether the material, its parts or its readings changed since the fit. Raises NotFound."""
        with self._reader.snapshot():
            number, used = self._id("material", fit.material), fit.meta.get("reading_count")
            return rows.fingerprint(self._reader.rows, number, used) != fit.fingerprint

    def has_fits(self) -> bool:
        """Whether anything was ever fitted."""
        return bool(self._reader.rows("SELECT 1 FROM fit LIMIT 1"))

    def has_readings(self, material: str) -> bool:
        """Whether any reading counts on a material. Raises NotFound."""
        condition, values = self._those(material, None, None, include_retired=False)
        return bool(self._reader.rows(f"SELECT 1 FROM reading{condition} LIMIT 1", values))

    def publish(
        self,
        material: str,
        fit_id: int | None,
        published: Iterable[Sequence[Any]],
        squeezes: Iterable[Sequence[Any]] = (),
    ) -> int:
        """Put a material's tabulated stiffness (:mod:`matdb.advice.tabulated`) in the place of what was there.

        Returns
        -------
        int
            How many rows were written; rows of parts that the material does not have are left out.

        Raises
        ------
        NotFound
            The material is unknown.

        """
        with self._change() as writer:
            return writer.publish(material, fit_id, published, squeezes)

    # -- the store as a whole ------------------------------------------------------------------------------

    def counts(self) -> dict[str, int]:
        """How many materials, parts, readings (all, retired), fits and mountings there are; not those removed."""
        names = ("materials", "parts", "readings", "retired readings", "fits", "mountings")
        those = ("material", "part", "reading", "reading WHERE retired_at IS NOT NULL", "fit", "mounting")
        counted = ", ".join(f"(SELECT count(*) FROM {each})" for each in those)
        found = dict(zip(names, self._reader.rows(f"SELECT {counted}")[0], strict=True))
        for what in ("material", "part", "mounting"):
            removed = [rows.is_removed(name) for (name,) in self._reader.rows(f"SELECT name FROM {what}")]
            found[f"{what}s"] -= sum(removed)
        return found

    def mark(self) -> tuple[Any, ...]:
        """What is another one once anybody else has written to the store."""
        newest = "SELECT max(retired_at), max(id) FROM reading UNION ALL SELECT max(added_at), max(id) FROM part"
        newest += " UNION ALL SELECT max(created_at), max(id) FROM fit UNION ALL SELECT NULL, max(id) FROM replaced"
        return tuple(self._reader.rows(newest if self.place.path is None else "PRAGMA data_version"))

    def check(self) -> list[Finding]:
        """Look for damage in the whole store; see :func:`matdb.store.checking.check`."""
        return checking.check(self._reader)

    def backup(self, to: str | os.PathLike[str]) -> None:
        """Write the store as it is now to a new file; see :func:`matdb.store.backups.backup`."""
        backups.backup(self.place, to)

    def at_one_instant(self) -> AbstractContextManager[None]:
        """Let everything read inside see the store as it is at one instant."""
        return self._reader.snapshot()

    def table_rows(self, table: str) -> Iterator[dict[str, Any]]:
        """Rows of a table as plain values, within :meth:`at_one_instant`; see :mod:`matdb.store.tables`."""
        from matdb.store.tables import table_rows

        return table_rows(self._reader, table)

    def fill(self, tables: Mapping[str, Iterable[Mapping[str, Any]]]) -> dict[str, int]:
        """Write whole tables into this store, which must be empty; see :func:`matdb.store.tables.fill_tables`."""
        from matdb.store.tables import fill_tables

        with self._change() as writer:
            return fill_tables(writer.connection, tables, self._shown)

    # -- within --------------------------------------------------------------------------------------------

    @property
    def _shown(self) -> str:
        return self.place.shown

    @contextmanager
    def _change(self) -> Iterator[Writer]:
        """One transaction that writes."""
        if self.readonly:
            raise StoreReadOnly(self._shown, READ_ONLY_CURE)
        from matdb.store import transaction
        from matdb.store.writer import Writer

        if self._engine is None:
            self._engine = transaction.make_engine(self.place, self._wait_s)
        with transaction.writing(self._engine, self.place, self._wait_s, self._on_wait) as connection:
            yield Writer(connection)

    def _named(self, what: str, name: str, ask: rows.Rows | None = None) -> Any:
        return self._built(what, self._one(what, f"{rows.SELECTS[what]} WHERE {what}.name = ?", name, ask))

    def _built(self, what: str, row: tuple[Any, ...]) -> Any:
        return rows.built(what, row, self._shown)

    def _by_name(self, what: str, material: str | None = None) -> list[tuple[Any, ...]]:
        """Rows, or those of a material's parts, by code point of the name, as every engine and setting must agree."""
        if material is None:
            found = self._reader.rows(rows.SELECTS[what])
        else:
            of_material = rows.SELECTS[what] + " WHERE part.material_id = ?"
            found = self._reader.rows(of_material, (self._id("material", material),))
        return sorted((row for row in found if not rows.is_removed(str(row[0]))), key=lambda row: str(row[0]))

    def _numbered(self, what: str, number: object) -> Any:
        found = self._reader.rows(f"{rows.SELECTS[what]} WHERE {what}.id = ?", (_number(what, number),))
        if not found:
            raise NotFound(what, number)
        return self._built(what, found[0])

    def _one(self, what: str, sql: str, name: str, ask: rows.Rows | None = None) -> tuple[Any, ...]:
        ask = ask or self._reader.rows
        found = ask(sql, (name,)) if isinstance(name, str) and name.isprintable() else []
        if not found:
            names = ask(f"SELECT name FROM {what}", ())
            raise rows.not_found(what, name, (str(row[0]) for row in names))
        return found[0]

    def _id(self, what: str, name: str) -> int:
        if what not in ("material", "part", "mounting"):
            raise InputError("kind of record", what, "material, part or mounting")
        return int(self._one(what, f"SELECT id FROM {what} WHERE name = ?", name)[0])


class _Parts(Mapping[str, Part]):
    """Parts by name, each read when it is first asked for."""

    def __init__(self, read: Callable[[str], Part], names: Iterable[str]) -> None:
        self._read = read
        self._found: dict[str, Part | None] = dict.fromkeys(names)

    def __getitem__(self, name: str) -> Part:
        found = self._found[name]
        if found is None:
            found = self._found[name] = self._read(name)
        return found

    def __iter__(self) -> Iterator[str]:
        return iter(self._found)

    def __len__(self) -> int:
        return len(self._found)


def _number(what: str, number: object) -> int:
    if isinstance(number, bool) or not isinstance(number, int) or not 0 < number < 2**31:
        raise NotFound(what, number)
    return number
