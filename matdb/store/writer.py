"""What every change does, on a connection whose transaction is open; nothing here begins or commits."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
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
from matdb.store.models import (
    Base,
    EffectiveStiffnessRow,
    FitRow,
    MaterialRow,
    MountingRow,
    PartRow,
    ReadingRow,
    ReplacedRow,
)
from matdb.store.rows import definition_of, fingerprint, not_found, own_fields, plain_json, row_of, stamp
from matdb.store.stored import FitRecord
from matdb.store.tables import insert_tuples

_BATCH = 20000
_TABLES: dict[str, type[Base]] = {"material": MaterialRow, "part": PartRow, "mounting": MountingRow}


def add_named(
    connection: sa.Connection, what: str, things: Sequence[Material | Part | Mounting], now: dt.datetime
) -> list[int]:
    """Insert materials, or parts of known materials, or mountings, whose names must be new; answers their numbers."""
    if not things:
        return []
    rows = [row_of(thing, number) | {"added_at": now} for thing, number in _with_material(connection, things)]
    names = [thing.name for thing in things]
    seen = set(_ids(connection, what, set(names), missing_ok=True))
    for name in names:
        if name in seen:
            raise AlreadyExists(what, name)
        seen.add(name)
    try:
        connection.execute(sa.insert(_TABLES[what]), rows)
    except sa.exc.IntegrityError:  # another program was faster; only a server lets it get this far
        raise AlreadyExists(what, names[0] if len(names) == 1 else "one of the names") from None
    ids = _ids(connection, what, set(names))
    return [ids[name] for name in names]


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
        numbers = _draw_numbers(connection, len(batch))
        by_kind: dict[str, list[tuple[Any, ...]]] = {}
        for number, reading in zip(numbers, batch, strict=True):
            material_id, part_id = subjects[reading.subject, getattr(reading, reading.subject)]
            taken = logged if reading.taken_at is None else stamp(dialect, reading.taken_at)
            row = (number, reading.kind, material_id, part_id, taken, logged, *_GETTERS[reading.kind](reading))
            by_kind.setdefault(reading.kind, []).append(row)
        for kind, rows in by_kind.items():
            insert_tuples(connection, "reading", _READING_COLUMNS[kind], rows)
        ids.extend(numbers)
    return ids


def correct_reading(connection: sa.Connection, number: int, new: Reading, why: str, now: dt.datetime) -> int:
    """Retire a reading and put another in its place; answers the new one's number."""
    _retire(connection, number, f"corrected: {_reason(why)}", now)
    (successor,) = add_readings(connection, [new], now)
    connection.execute(sa.update(ReadingRow).where(ReadingRow.id == successor).values(corrects_id=number))
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
    table: Any = _TABLES[what]
    number = _ids(connection, what, {name})[name]
    ((_, material_id),) = _with_material(connection, [new])
    if material_id is not None:
        # A derived column, kept beside the part for the index; the readings themselves stay as they are.
        moved = sa.update(ReadingRow).where(ReadingRow.part_id == number).values(material_id=material_id)
        connection.execute(moved)
    before = {"what": what, "record_id": number, "before": definition_of(old), "replaced_at": now, "why": _reason(why)}
    connection.execute(sa.insert(ReplacedRow).values(**before))
    if new.name != name and _ids(connection, what, {new.name}, missing_ok=True):
        raise AlreadyExists(what, new.name)
    connection.execute(sa.update(table).where(table.id == number).values(**row_of(new, material_id)))
    if what == "material":
        _forget_published(connection, _parts_of(number))
    elif what == "part":
        _forget_published(connection, [number])


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
    number = int(connection.execute(sa.insert(FitRow).values(**columns).returning(FitRow.id)).scalar_one())
    used = sorted(set(fit.reading_ids or ()))
    if used:
        of_material = sa.select(sa.func.count(ReadingRow.id)).where(ReadingRow.material_id == material_id)
        span = ReadingRow.id.between(used[0], used[-1])
        if connection.execute(of_material.where(span)).scalar_one() < len(used):
            raise InputError("fit reading_ids", fit.material, "numbers of readings of this material")
    insert_tuples(connection, "fit_reading", ("fit_id", "reading_id"), [(number, i) for i in used])
    return number


def publish(connection: sa.Connection, material: str, fit_id: int | None, rows: Iterable[Sequence[Any]]) -> int:
    """Put a material's tabulated stiffness in the place of what was there; answers the number of rows."""
    material_id = _ids(connection, "material", {material})[material]
    known = sa.select(PartRow.name, PartRow.id).where(PartRow.material_id == material_id)
    numbers = {str(name): int(number) for name, number in connection.execute(known)}
    _forget_published(connection, _parts_of(material_id))
    columns = [c.name for c in EffectiveStiffnessRow.__table__.columns if c.name != "id"]
    ready = [(numbers[row[0]], *row[1:], fit_id) for row in rows if row[0] in numbers]
    insert_tuples(connection, "effective_stiffness", columns, ready)
    return len(ready)


def _forget_published(connection: sa.Connection, parts: Any) -> None:
    """Drop the tabulated stiffness of parts: it holds no more."""
    connection.execute(sa.delete(EffectiveStiffnessRow).where(EffectiveStiffnessRow.part_id.in_(parts)))


def _parts_of(material_id: int) -> Any:
    return sa.select(PartRow.id).where(PartRow.material_id == material_id)


def _ids(connection: sa.Connection, what: str, names: set[str], *, missing_ok: bool = False) -> dict[str, int]:
    """The numbers of names; raises for the first unknown one unless that is fine."""
    table: Any = _TABLES[what]
    found: dict[str, int] = {}
    wanted = sorted(names)
    for some in _hundreds(wanted):
        query = sa.select(table.name, table.id).where(table.name.in_(some))
        found.update((str(name), int(number)) for name, number in connection.execute(query))
    for name in wanted:
        if name not in found and not missing_ok:
            raise not_found(what, name, [str(n) for n in connection.execute(sa.select(table.name)).scalars()])
    return found


def _hundreds(names: Sequence[str]) -> Iterator[Sequence[str]]:
    """A few hundred at a time: no engine takes any number of parameters."""
    return (names[start : start + 500] for start in range(0, len(names), 500))


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
    materials = _ids(connection, "material", {name for subject, name in wanted if subject == "material"})
    parts = _ids(connection, "part", {name for subject, name in wanted if subject == "part"})
    subjects.update((("material", name), (number, None)) for name, number in materials.items())
    for some in _hundreds(sorted(parts)):
        query = sa.select(PartRow.name, PartRow.material_id, PartRow.id).where(PartRow.name.in_(some))
        subjects.update((("part", n), (m, p)) for n, m, p in connection.execute(query))


def _draw_numbers(connection: sa.Connection, count: int) -> list[int]:
    """Numbers for new readings, never used before."""
    if connection.dialect.name == "sqlite":  # the write lock is held: nobody else draws
        last = connection.exec_driver_sql("SELECT coalesce(max(id), 0) FROM reading").scalar_one()
        return list(range(last + 1, last + 1 + count))
    drawn = connection.exec_driver_sql(
        "SELECT nextval(pg_get_serial_sequence('reading', 'id')) FROM generate_series(1, %s)", (count,)
    )
    return [int(n) for n in drawn.scalars()]


def _retire(connection: sa.Connection, number: int, why: str, now: dt.datetime) -> None:
    retire = sa.update(ReadingRow).where(ReadingRow.id == number, ReadingRow.retired_at.is_(None))
    if connection.execute(retire.values(retired_at=now, retired_why=why)).rowcount == 1:
        return
    if connection.execute(sa.select(ReadingRow.id).where(ReadingRow.id == number)).first() is None:
        raise NotFound("reading", number)
    successor = connection.execute(sa.select(ReadingRow.id).where(ReadingRow.corrects_id == number)).scalars().first()
    cure = f"correct reading {successor} instead" if successor is not None else "log it anew"
    raise InputError("reading", number, "one that still counts; this one was retired before", cure)


def _reason(why: str) -> str:
    if not isinstance(why, str) or not why.strip():
        raise InputError("why", why, "a reason in words", "say why, for whoever reads it next year")
    return checked_text("why", why.strip(), 1000)


def rows_of(connection: sa.Connection) -> Any:
    """The connection as what the fixed statements of :mod:`matdb.store.rows` run on."""

    def rows(sql: str, parameters: Sequence[object]) -> list[tuple[Any, ...]]:
        text = sql if connection.dialect.name == "sqlite" else sql.replace("?", "%s")
        return [tuple(row) for row in connection.exec_driver_sql(text, tuple(parameters))]

    return rows
