"""The records: what the rest of matdb may ask of a store, in frozen dataclasses, and nothing else."""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from matdb.errors import InputError, NotFound, StoreReadOnly
from matdb.store import codec, schema
from matdb.store.faults import READ_ONLY_CURE
from matdb.store.kept import Evidence, Finding, FitRecord, PartLine, StoredReading, Upgraded
from matdb.store.where import Place, locate

if TYPE_CHECKING:
    import sqlalchemy as sa

    from matdb.bench.readings import Reading
    from matdb.form.part import Part
    from matdb.material.record import Material
    from matdb.mounting.record import Mounting

__all__ = ["Records"]


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
        self._reader, frozen, self.upgraded = schema.open_reader(
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
        from matdb.bench.readings import Reading
        from matdb.form.part import Part
        from matdb.material.record import Material
        from matdb.mounting.record import Mounting

        kinds = (Material, Part, Reading, Mounting)
        given = [things] if isinstance(things, kinds) else list(things)
        sorts: dict[type, list[int]] = {kind: [] for kind in kinds}
        for i, thing in enumerate(given):
            for kind in kinds:
                if isinstance(thing, kind):
                    sorts[kind].append(i)
                    break
            else:
                raise InputError("record", type(thing).__name__, "a material, a part, a reading or a mounting")
        ids = [0] * len(given)
        with self._change() as (connection, writer, now):
            for kind, add in (
                (Material, writer.add_materials),
                (Part, writer.add_parts),
                (Reading, writer.add_readings),
                (Mounting, writer.add_mountings),
            ):
                numbers = add(connection, [given[i] for i in sorts[kind]], now)
                for i, number in zip(sorts[kind], numbers, strict=True):
                    ids[i] = number
        return ids

    def add_material(self, material: Material) -> int:
        """Add a material; answers its number. Raises AlreadyExists."""
        return self.add([material])[0]

    def add_part(self, part: Part) -> int:
        """Add a part of a known material; answers its number. Raises AlreadyExists, NotFound."""
        return self.add([part])[0]

    def add_mounting(self, mounting: Mounting) -> int:
        """Add a mounting; answers its number. Raises AlreadyExists."""
        return self.add([mounting])[0]

    def material(self, name: str) -> Material:
        """The material of that name. Raises NotFound, with close names."""
        return codec.material_of(self._one("material", codec.MATERIAL + " WHERE m.name = ?", name), self._shown)

    def part(self, name: str) -> Part:
        """The part of that name. Raises NotFound, with close names."""
        return codec.part_of(self._one("part", codec.PART + " WHERE p.name = ?", name), self._shown)

    def mounting(self, name: str) -> Mounting:
        """The mounting of that name. Raises NotFound, with close names."""
        return codec.mounting_of(self._one("mounting", codec.MOUNTING + " WHERE g.name = ?", name), self._shown)

    def materials(self) -> list[Material]:
        """All materials, by name."""
        return [codec.material_of(row, self._shown) for row in _by_name(self._reader.rows(codec.MATERIAL))]

    def parts(self, material: str | None = None) -> list[Part]:
        """All parts, or those of one material, by name. Raises NotFound."""
        if material is None:
            rows = self._reader.rows(codec.PART)
        else:
            rows = self._reader.rows(codec.PART + " WHERE p.material_id = ?", (self._id("material", material),))
        return [codec.part_of(row, self._shown) for row in _by_name(rows)]

    def part_lines(self, material: str | None = None) -> list[PartLine]:
        """All parts, or those of one material, by name, as a list shows them. Raises NotFound."""
        if material is None:
            rows = self._reader.rows(codec.PART_LINE)
        else:
            number = self._id("material", material)
            rows = self._reader.rows(codec.PART_LINE + " WHERE p.material_id = ?", (number,))
        return [codec.part_line_of(row, self._shown) for row in _by_name(rows)]

    def mountings(self) -> list[Mounting]:
        """All mountings, by name."""
        return [codec.mounting_of(row, self._shown) for row in _by_name(self._reader.rows(codec.MOUNTING))]

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
        what = self._what(new)
        with self._change() as (connection, writer, now):
            old: Any = {"material": self.material, "part": self.part, "mounting": self.mounting}[what](name)
            writer.replace(connection, what, name, old, new, why, now)

    def history(self, what: str, name: str) -> list[tuple[dt.datetime, str, dict[str, Any]]]:
        """What a material, part or mounting said before, oldest first: when replaced, why, the values."""
        number = self._id(what, name)
        rows = self._reader.rows(
            "SELECT replaced_at, why, before FROM replaced WHERE what = ? AND record_id = ? ORDER BY id",
            (what, number),
        )
        return [codec.history_of(row, self._shown) for row in rows]

    # -- readings ------------------------------------------------------------------------------------------

    def add_reading(self, reading: Reading) -> int:
        """Add a reading; answers its number. Raises NotFound."""
        return self.add_readings([reading])[0]

    def add_readings(self, readings: Iterable[Reading]) -> list[int]:
        """Add many readings, all or nothing, in bounded memory; answers their numbers in order.

        Raises
        ------
        NotFound
            A part or material is unknown.
        InputError
            Something else than a reading is among them.

        """
        with self._change() as (connection, writer, now):
            ids: list[int] = writer.add_readings(connection, readings, now)
            return ids

    def reading(self, number: int) -> StoredReading:
        """The reading of that number, whether it still counts or not. Raises NotFound."""
        rows = self._reader.rows(codec.READING + " WHERE r.id = ?", (_number("reading", number),))
        if not rows:
            raise NotFound("reading", number)
        return codec.reading_of(rows[0], self._shown)

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

    def reading_count(self, *, material: str | None = None, part: str | None = None) -> int:
        """How many readings count on a material, its parts included, or on a part. Raises NotFound."""
        terms, values = ["retired_at IS NULL"], []
        for what, name in (("material", material), ("part", part)):
            if name is not None:
                terms.append(f"{what}_id = ?")
                values.append(self._id(what, name))
        return int(self._reader.rows("SELECT count(*) FROM reading WHERE " + " AND ".join(terms), values)[0][0])

    def each_reading(
        self,
        material: str | None = None,
        part: str | None = None,
        kind: str | None = None,
        include_retired: bool = False,
    ) -> Iterator[StoredReading]:
        """As :meth:`readings`, one at a time: for stores that do not fit in memory."""
        from matdb.bench.readings import READINGS

        if kind is not None and kind not in READINGS:
            raise InputError("kind", kind, "one of " + ", ".join(READINGS))
        terms, values = [], []
        with self._reader.snapshot():
            if material is not None:
                terms.append("r.material_id = ?")
                values.append(self._id("material", material))
            if part is not None:
                terms.append("r.part_id = ?")
                values.append(self._id("part", part))
            if kind is not None:
                terms.append("r.kind = ?")
                values.append(kind)  # type: ignore[arg-type]
            if not include_retired:
                terms.append("r.retired_at IS NULL")
            where = " WHERE " + " AND ".join(terms) if terms else ""
            for row in self._reader.stream(codec.READING + where + " ORDER BY r.id", values):
                yield codec.reading_of(row, self._shown)

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
        with self._change() as (connection, writer, now):
            successor: int = writer.correct_reading(connection, _number("reading", number), new, why, now)
            return successor

    def remove_reading(self, number: int, why: str) -> None:
        """Let a reading count no more; it is kept. Raises NotFound, InputError as :meth:`correct_reading`."""
        with self._change() as (connection, writer, now):
            writer.remove_reading(connection, _number("reading", number), why, now)

    # -- fits ----------------------------------------------------------------------------------------------

    def evidence(self, material: str) -> Evidence:
        """All that a fit of the material may use, at one instant. Raises NotFound."""
        with self._reader.snapshot():
            number = self._id("material", material)
            return Evidence(
                material=self.material(material),
                parts=tuple(self.parts(material)),
                readings=tuple(self.readings(material)),
                fingerprint=codec.fingerprint(self._reader.rows, number),
            )

    def save_fit(self, fit: FitRecord, published: Iterable[Sequence[Any]] | None = None) -> int:
        """Keep a fit, and with it the tabulated stiffness that it gives; answers its number.

        Parameters
        ----------
        fit : FitRecord
            What came out.
        published : iterable of sequence, optional
            Rows as :meth:`publish` takes them. They are kept in the same transaction: no reader ever sees the
            new fit with the old table.

        Raises
        ------
        NotFound
            The material is unknown.
        InputError
            Values that JSON or the array format cannot hold, or readings of another material.

        """
        with self._change() as (connection, writer, now):
            number: int = writer.save_fit(connection, fit, now)
            if published is not None:
                writer.publish(connection, fit.material, number, published)
            return number

    def fit(self, number: int) -> FitRecord:
        """The fit of that number. Raises NotFound."""
        rows = self._reader.rows(codec.FIT + " WHERE f.id = ?", (_number("fit", number),))
        if not rows:
            raise NotFound("fit", number)
        return codec.fit_of(rows[0], self._shown, self.fit_reading_ids(number))

    def newest_fit(self, material: str, *, reading_ids: bool = True) -> FitRecord | None:
        """The newest fit of a material, None when there is none; without the readings' numbers if so asked.

        Raises
        ------
        NotFound
            The material is unknown.

        """
        with self._reader.snapshot():
            number = self._id("material", material)
            newest = codec.FIT + " WHERE f.material_id = ? ORDER BY f.id DESC LIMIT 1"
            rows = self._reader.rows(newest, (number,))
            if not rows:
                return None
            used = self.fit_reading_ids(rows[0][0]) if reading_ids else None
            return codec.fit_of(rows[0], self._shown, used)

    def fits(self, material: str) -> list[FitRecord]:
        """All fits of a material, oldest first, without the readings' numbers. Raises NotFound."""
        number = self._id("material", material)
        rows = self._reader.rows(codec.FIT + " WHERE f.material_id = ? ORDER BY f.id", (number,))
        return [codec.fit_of(row, self._shown, None) for row in rows]

    def fit_reading_ids(self, number: int) -> tuple[int, ...]:
        """The numbers of the readings that a fit used."""
        rows = self._reader.rows("SELECT reading_id FROM fit_reading WHERE fit_id = ? ORDER BY reading_id", (number,))
        return tuple(row[0] for row in rows)

    def is_stale(self, fit: FitRecord) -> bool:
        """Whether the material, its parts or its readings changed since the fit. Raises NotFound."""
        with self._reader.snapshot():
            number = self._id("material", fit.material)
            return codec.fingerprint(self._reader.rows, number) != fit.fingerprint

    def publish(self, material: str, fit_id: int | None, rows: Iterable[Sequence[Any]]) -> int:
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
        with self._change() as (connection, writer, _now):
            count: int = writer.publish(connection, material, fit_id, rows)
            return count

    # -- the store as a whole ------------------------------------------------------------------------------

    def counts(self) -> dict[str, int]:
        """How many materials, parts, readings (all, retired), fits and mountings there are."""
        row = self._reader.rows(
            "SELECT (SELECT count(*) FROM material), (SELECT count(*) FROM part), "
            "(SELECT count(*) FROM reading), (SELECT count(*) FROM reading WHERE retired_at IS NOT NULL), "
            "(SELECT count(*) FROM fit), (SELECT count(*) FROM mounting)"
        )[0]
        names = ("materials", "parts", "readings", "retired readings", "fits", "mountings")
        return dict(zip(names, row, strict=True))

    def check(self) -> list[Finding]:
        """Look for damage in the whole store; see :func:`matdb.store.checking.check`."""
        from matdb.store.checking import check

        return check(self)

    def backup(self, to: str | os.PathLike[str]) -> None:
        """Write the store as it is now to a new file; see :func:`matdb.store.copying.backup`."""
        from matdb.store.copying import backup

        backup(self, to)

    # -- within --------------------------------------------------------------------------------------------

    @property
    def _shown(self) -> str:
        return self.place.shown

    @contextmanager
    def _change(self) -> Iterator[tuple[sa.Connection, Any, dt.datetime]]:
        """One transaction that writes, the functions that do, and the time it is."""
        if self.readonly:
            raise StoreReadOnly(self._shown, READ_ONLY_CURE)
        from matdb.store import engine, writer

        if self._engine is None:
            self._engine = engine.make_engine(self.place, self._wait_s)
        with engine.writing(self._engine, self.place, self._wait_s, self._on_wait) as connection:
            yield connection, writer, dt.datetime.now(dt.UTC)

    def _one(self, what: str, sql: str, name: str) -> tuple[Any, ...]:
        rows = self._reader.rows(sql, (name,)) if isinstance(name, str) and name.isprintable() else []
        if not rows:
            raise self._missing(what, name)
        return rows[0]

    def _id(self, what: str, name: str) -> int:
        if what not in ("material", "part", "mounting"):
            raise InputError("kind of record", what, "material, part or mounting")
        return int(self._one(what, f"SELECT id FROM {what} WHERE name = ?", name)[0])

    def _missing(self, what: str, name: str) -> NotFound:
        return codec.not_found(what, name, (str(row[0]) for row in self._reader.rows(f"SELECT name FROM {what}")))

    @staticmethod
    def _what(thing: object) -> str:
        from matdb.form.part import Part
        from matdb.material.record import Material
        from matdb.mounting.record import Mounting

        for kind, what in ((Material, "material"), (Part, "part"), (Mounting, "mounting")):
            if isinstance(thing, kind):
                return what
        raise InputError("record", type(thing).__name__, "a material, a part or a mounting")


def _by_name(rows: list[tuple[Any, ...]]) -> list[tuple[Any, ...]]:
    """By code point, as every engine and language setting must agree."""
    return sorted(rows, key=lambda row: str(row[0]))


def _number(what: str, number: object) -> int:
    if isinstance(number, bool) or not isinstance(number, int) or not 0 < number < 2**31:
        raise NotFound(what, number)
    return number
