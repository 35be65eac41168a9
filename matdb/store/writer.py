"""What every change does, on a connection whose transaction is open; nothing here begins or commits."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import fields
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
from matdb.store.codec import definition_of, fingerprint, not_found
from matdb.store.kept import FitRecord
from matdb.store.models import (
    Base,
    EffectiveStiffnessRow,
    FitReadingRow,
    FitRow,
    MaterialRow,
    MountingRow,
    PartRow,
    ReadingRow,
    ReplacedRow,
)
from matdb.store.reader import stamp

__all__ = [
    "add_materials",
    "add_mountings",
    "add_parts",
    "add_readings",
    "correct_reading",
    "forget_published",
    "insert_tuples",
    "publish",
    "remove_reading",
    "replace",
    "rows_of",
    "save_fit",
]

_BATCH = 20000
_TABLES: dict[str, type[Base]] = {"material": MaterialRow, "part": PartRow, "mounting": MountingRow}


def add_materials(connection: sa.Connection, materials: Sequence[Material], now: dt.datetime) -> list[int]:
    """Insert materials; answers their numbers."""
    return _add_named(connection, "material", [_material_row(m) | {"added_at": now} for m in materials])


def add_parts(connection: sa.Connection, parts: Sequence[Part], now: dt.datetime) -> list[int]:
    """Insert parts of known materials; answers their numbers."""
    ids = _ids(connection, "material", {p.material for p in parts})
    rows = [_part_row(p, ids[p.material]) | {"added_at": now} for p in parts]
    return _add_named(connection, "part", rows)


def add_mountings(connection: sa.Connection, mountings: Sequence[Mounting], now: dt.datetime) -> list[int]:
    """Insert mountings; answers their numbers."""
    return _add_named(
        connection,
        "mounting",
        [{"name": m.name, "definition": _plain_json(m.to_dict()), "added_at": now} for m in mountings],
    )


def add_readings(connection: sa.Connection, readings: Iterable[Reading], now: dt.datetime) -> list[int]:
    """Insert readings of known parts and materials, in batches past the ORM; answers their numbers.

    SQLite takes tuples through the driver's ``executemany``, PostgreSQL through ``COPY``: several times
    faster than an INSERT built per row. Numbers are drawn beforehand, so that the answer keeps the order.
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
            row = (
                number,
                reading.kind,
                material_id,
                part_id,
                taken,
                logged,
                *_GETTERS[reading.kind](reading),
            )
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
    if isinstance(new, Material):
        values = _material_row(new)
    elif isinstance(new, Part):
        material_id = _ids(connection, "material", {new.material})[new.material]
        values = _part_row(new, material_id)
        # A derived column, kept beside the part for the index; the readings themselves stay as they are.
        moved = sa.update(ReadingRow).where(ReadingRow.part_id == number).values(material_id=material_id)
        connection.execute(moved)
    else:
        values = {"name": new.name, "definition": _plain_json(new.to_dict())}
    connection.execute(
        sa.insert(ReplacedRow).values(
            what=what,
            record_id=number,
            before=_plain_json(definition_of(old)),
            replaced_at=now,
            why=_reason(why),
        )
    )
    if new.name != name and new.name in _ids(connection, what, {new.name}, missing_ok=True):
        raise AlreadyExists(what, new.name)
    connection.execute(sa.update(table).where(table.id == number).values(**values))
    if not isinstance(new, Mounting):
        of_material = sa.select(PartRow.id).where(PartRow.material_id == number)
        forget_published(connection, of_material if isinstance(new, Material) else [number])


def save_fit(connection: sa.Connection, fit: FitRecord, now: dt.datetime) -> int:
    """Insert a fit with its arrays and the readings that it used; answers its number."""
    material_id = _ids(connection, "material", {fit.material})[fit.material]
    try:
        arrays, meta = pack(fit.arrays), _plain_json(dict(fit.meta))
    except (ValueError, TypeError) as error:
        raise InputError("fit", fit.material, "plain values and arrays of real numbers", str(error)) from None
    mark = fit.fingerprint or fingerprint(rows_of(connection), material_id)
    inserted = connection.execute(
        sa.insert(FitRow).values(
            material_id=material_id,
            created_at=fit.created_at or now,
            program_version=fit.program_version,
            seed=fit.seed,
            meta=meta,
            fingerprint=mark,
            arrays=arrays,
        )
    )
    key = inserted.inserted_primary_key
    assert key is not None
    number = int(key[0])
    used = sorted(set(fit.reading_ids or ()))
    _check_readings_of(connection, material_id, fit, used)
    insert_tuples(connection, FitReadingRow.__tablename__, ("fit_id", "reading_id"), [(number, i) for i in used])
    return number


def publish(connection: sa.Connection, material: str, fit_id: int | None, rows: Iterable[Sequence[Any]]) -> int:
    """Put a material's tabulated stiffness in the place of what was there; answers the number of rows."""
    material_id = _ids(connection, "material", {material})[material]
    known = sa.select(PartRow.name, PartRow.id).where(PartRow.material_id == material_id)
    numbers = {str(name): int(number) for name, number in connection.execute(known)}
    forget_published(connection, sa.select(PartRow.id).where(PartRow.material_id == material_id))
    columns = [c for c in EffectiveStiffnessRow.__table__.columns.keys() if c != "id"]  # noqa: SIM118 - no dict
    ready = [(numbers[row[0]], *row[1:], fit_id) for row in rows if row[0] in numbers]
    insert_tuples(connection, EffectiveStiffnessRow.__tablename__, columns, ready)
    return len(ready)


def forget_published(connection: sa.Connection, parts: Any) -> None:
    """Drop the tabulated stiffness of parts: it holds no more."""
    connection.execute(sa.delete(EffectiveStiffnessRow).where(EffectiveStiffnessRow.part_id.in_(parts)))


def _check_readings_of(connection: sa.Connection, material_id: int, fit: FitRecord, used: list[int]) -> None:
    if not used:
        return
    known = connection.execute(
        sa.select(sa.func.count())
        .select_from(ReadingRow)
        .where(ReadingRow.material_id == material_id, ReadingRow.id.between(used[0], used[-1]))
    ).scalar_one()
    if known < len(used):
        raise InputError("fit reading_ids", fit.material, "numbers of readings of this material")


def _material_row(material: Material) -> dict[str, Any]:
    return {f.name: getattr(material, f.name) for f in fields(material)}


def _part_row(part: Part, material_id: int) -> dict[str, Any]:
    return {
        "name": part.name,
        "material_id": material_id,
        "form_kind": part.form.kind,
        "form": _plain_json(part.form.to_dict()),
        "thread": part.thread,
        "note": part.note,
    }


def _add_named(connection: sa.Connection, what: str, rows: list[dict[str, Any]]) -> list[int]:
    """Insert rows whose names must be new."""
    if not rows:
        return []
    table: Any = _TABLES[what]
    names = [row["name"] for row in rows]
    taken = set(_ids(connection, what, set(names), missing_ok=True))
    seen: set[str] = set()
    for name in names:
        if name in taken or name in seen:
            raise AlreadyExists(what, name)
        seen.add(name)
    try:
        connection.execute(sa.insert(table), rows)
    except sa.exc.IntegrityError:  # another program was faster; only a server lets it get this far
        raise AlreadyExists(what, names[0] if len(names) == 1 else "one of the names") from None
    ids = _ids(connection, what, seen)
    return [ids[name] for name in names]


def _ids(connection: sa.Connection, what: str, names: set[str], *, missing_ok: bool = False) -> dict[str, int]:
    """The numbers of names; raises for the first unknown one unless that is fine."""
    table: Any = _TABLES[what]
    found: dict[str, int] = {}
    wanted = sorted(names)
    for start in range(0, len(wanted), 500):
        some = wanted[start : start + 500]
        query = sa.select(table.name, table.id).where(table.name.in_(some))
        found.update((str(name), int(number)) for name, number in connection.execute(query))
    for name in wanted:
        if name not in found and not missing_ok:
            raise not_found(what, name, [str(n) for n in connection.execute(sa.select(table.name)).scalars()])
    return found


# -- readings ----------------------------------------------------------------------------------------------

_FIRST = ("id", "kind", "material_id", "part_id", "taken_at", "logged_at")


def _own_fields(cls: type[Reading]) -> tuple[str, ...]:
    return tuple(f.name for f in fields(cls) if f.name not in (cls.subject, "taken_at"))


_GETTERS = {kind: attrgetter(*_own_fields(cls)) for kind, cls in READINGS.items()}
_READING_COLUMNS = {kind: (*_FIRST, *_own_fields(cls)) for kind, cls in READINGS.items()}


def _batches(readings: Iterable[Reading]) -> Iterator[list[Reading]]:
    rest = iter(readings)
    while batch := list(islice(rest, _BATCH)):
        for reading in batch:
            if not isinstance(reading, Reading) or reading.kind not in READINGS:
                raise InputError("reading", type(reading).__name__, "one of " + ", ".join(READINGS))
        yield batch


def _look_up(
    connection: sa.Connection,
    batch: Sequence[Reading],
    subjects: dict[tuple[str, str], tuple[int, int | None]],
) -> None:
    """Fill in the material's and the part's number of every subject in the batch."""
    wanted = {(r.subject, getattr(r, r.subject)) for r in batch} - subjects.keys()
    parts = {name for subject, name in wanted if subject == "part"}
    materials = {name for subject, name in wanted if subject == "material"}
    if materials:
        found = _ids(connection, "material", materials)
        subjects.update((("material", name), (number, None)) for name, number in found.items())
    if parts:
        numbers = _ids(connection, "part", parts)
        names = sorted(parts)
        for start in range(0, len(names), 500):
            some = [numbers[n] for n in names[start : start + 500]]
            query = sa.select(PartRow.name, PartRow.material_id, PartRow.id).where(PartRow.id.in_(some))
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


def insert_tuples(
    connection: sa.Connection, table: str, columns: Sequence[str], rows: Sequence[tuple[Any, ...]]
) -> None:
    """Insert rows as they are, as fast as the driver can."""
    if not rows:
        return
    names = ", ".join(f'"{c}"' for c in columns)
    if connection.dialect.name == "sqlite":
        marks = ", ".join("?" * len(columns))
        connection.exec_driver_sql(f'INSERT INTO "{table}" ({names}) VALUES ({marks})', rows)
        return
    driver: Any = connection.connection.driver_connection
    with driver.cursor() as cursor, cursor.copy(f'COPY "{table}" ({names}) FROM STDIN') as copy:
        for row in rows:
            copy.write_row(row)


def _retire(connection: sa.Connection, number: int, why: str, now: dt.datetime) -> None:
    row = connection.execute(
        sa.select(ReadingRow.retired_at, ReadingRow.retired_why).where(ReadingRow.id == number)
    ).first()
    if row is None:
        raise NotFound("reading", number)
    if row.retired_at is None:
        retired = connection.execute(
            sa.update(ReadingRow)
            .where(ReadingRow.id == number, ReadingRow.retired_at.is_(None))
            .values(retired_at=now, retired_why=why)
        )
        if retired.rowcount == 1:
            return
    after = sa.select(ReadingRow.id).where(ReadingRow.corrects_id == number)
    successor = connection.execute(after).scalars().first()
    cure = f"correct reading {successor} instead" if successor is not None else "log it anew"
    raise InputError("reading", number, "one that still counts; this one was retired before", cure)


def _reason(why: str) -> str:
    if not isinstance(why, str) or not why.strip():
        raise InputError("why", why, "a reason in words", "say why, for whoever reads it next year")
    return checked_text("why", why.strip(), 1000)


def rows_of(connection: sa.Connection) -> Any:
    """The connection as what the fixed statements of :mod:`matdb.store.codec` run on."""

    def rows(sql: str, parameters: Sequence[object]) -> list[tuple[Any, ...]]:
        text = sql if connection.dialect.name == "sqlite" else sql.replace("?", "%s")
        return [tuple(row) for row in connection.exec_driver_sql(text, tuple(parameters))]

    return rows


def _plain_json(values: Any) -> Any:
    """The values as JSON gives them back; NumPy scalars and arrays become plain, NaN is refused."""
    return json.loads(json.dumps(values, allow_nan=False, default=_plain))


def _plain(value: Any) -> Any:
    if hasattr(value, "tolist"):
        return value.tolist()
    if isinstance(value, dt.datetime | dt.date):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} cannot be kept")
