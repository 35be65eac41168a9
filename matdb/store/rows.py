"""Rows and frozen records: the fixed statements that read, what their columns become, and what a record is as a row.

The columns of a record are the fields of its dataclass: a new field needs a migration and a column in
:mod:`matdb.store.models`, and nothing here.
"""

from __future__ import annotations

import datetime as dt
import difflib
import hashlib
import json
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import fields
from typing import Any

import numpy as np

from matdb.bench.readings import READINGS, Reading
from matdb.errors import InputError, MatdbError, NotFound, StoreError
from matdb.fields import plain
from matdb.form import Part, form_from_dict
from matdb.material.record import Material
from matdb.mounting.record import Mounting, mounting_from_dict
from matdb.store.arrays import unpack
from matdb.store.stored import FitRecord, StoredReading

#: Runs one statement with ``?`` parameters and answers all rows.
Rows = Callable[[str, Sequence[object]], list[tuple[Any, ...]]]

_MATERIAL = tuple(f.name for f in fields(Material))
_PART = tuple(f.name for f in fields(Part))


def own_fields(cls: type[Reading]) -> tuple[str, ...]:
    """The fields of a kind of reading that are columns of the same name, written as they are."""
    return tuple(f.name for f in fields(cls) if f.name not in (cls.subject, "taken_at"))


_OWN = ("id", "kind", "material.name", "part.name", "logged_at", "retired_at", "retired_why", "corrects_id", "taken_at")
_FIGURES = tuple(dict.fromkeys(name for cls in READINGS.values() for name in own_fields(cls)))
_COLUMN = {name: len(_OWN) + i for i, name in enumerate(_FIGURES)}
#: What reads each kind of record; its name, or its number, comes first.
SELECTS = {
    "material": "SELECT " + ", ".join(f"material.{name}" for name in _MATERIAL) + " FROM material",
    "part": "SELECT "
    + ", ".join("material.name" if name == "material" else f"part.{name}" for name in _PART)
    + " FROM part JOIN material ON material.id = part.material_id",
    "mounting": "SELECT mounting.name, mounting.definition FROM mounting",
    "reading": "SELECT "
    + ", ".join(name if "." in name else f'reading."{name}"' for name in (*_OWN, *_FIGURES))
    + " FROM reading JOIN material ON material.id = reading.material_id LEFT JOIN part ON part.id = reading.part_id",
    "fit": "SELECT fit.id, material.name, fit.created_at, fit.program_version, fit.seed, fit.meta, fit.fingerprint, "
    "fit.arrays FROM fit JOIN material ON material.id = fit.material_id",
}
#: The same of parts, and how many readings on each count.
PARTS_READ = SELECTS["part"].replace(
    " FROM ", ", (SELECT count(*) FROM reading WHERE part_id = part.id AND retired_at IS NULL) FROM ", 1
)
#: Fewer draws than any fit has; each band would rest on a handful.
_LEAST_DRAWS = 50
#: By kind: its fields, each with its column.
_COLUMNS = {kind: [(name, _COLUMN[name]) for name in own_fields(cls)] for kind, cls in READINGS.items()}


# -- rows to records -------------------------------------------------------------------------------------------


@contextmanager
def whole(shown: str, what: str, name: object) -> Iterator[None]:
    """Say that a row is damaged instead of blaming the user for what stands in it."""
    try:
        yield
    except (MatdbError, ValueError, TypeError, KeyError, AttributeError, OverflowError) as error:
        raise StoreError(shown, f"{what} {name!r} is damaged ({error}); restore a backup") from None


def _part_of(row: Sequence[Any]) -> Part:
    values = dict(zip(_PART, row, strict=True))
    return Part(**values | {"form": form_from_dict(as_json(values["form"]))})


def _fit_of(row: Sequence[Any]) -> FitRecord:
    number, material, created, version, seed, meta, mark, block = row
    meta, arrays = as_json(meta), unpack(block)  # which checks their checksum
    draws = arrays.get("draws", np.zeros(0))
    if meta.get("format") == 1 and (len(draws) < _LEAST_DRAWS or not (draws != draws[0]).any()):
        raise ValueError(f"{len(draws)} draws, or all the same, which would give bands without a width")
    about: dict[str, Any] = {"id": number, "created_at": as_time(created), "seed": seed, "fingerprint": mark}
    return FitRecord(material=material, program_version=version, meta=meta, arrays=arrays, reading_ids=None, **about)


def _reading_of(row: Sequence[Any]) -> StoredReading:
    number, kind, material, part, logged, retired, why, corrects, taken = row[: len(_OWN)]
    cls = READINGS[kind]
    values = {name: row[i] for name, i in _COLUMNS[kind]}
    values[cls.subject] = part if cls.subject == "part" else material
    logged_at = as_time(logged)
    assert logged_at is not None
    reading = cls(**values, taken_at=as_time(taken))
    return StoredReading(number, reading, logged_at, as_time(retired), why, corrects)


_BUILDERS: dict[str, Callable[[Sequence[Any]], Any]] = {
    "material": lambda row: Material(**dict(zip(_MATERIAL, row, strict=True))),
    "part": _part_of,
    "mounting": lambda row: mounting_from_dict(as_json(row[1]) | {"name": row[0]}),
    "reading": _reading_of,
    "fit": _fit_of,
}


def built(what: str, row: Sequence[Any], shown: str) -> Any:
    """The record that a row of :data:`SELECTS` stands for; raises StoreError for a damaged one."""
    with whole(shown, what, row[0]):
        return _BUILDERS[what](row)


def as_json(value: Any) -> Any:
    """A JSON column: text from SQLite, an object from PostgreSQL."""
    return json.loads(value) if isinstance(value, str | bytes) else value


def as_time(value: Any) -> dt.datetime | None:
    """A time column: text in UTC from SQLite, an aware time from PostgreSQL."""
    if value is None:
        return None
    time: dt.datetime = dt.datetime.fromisoformat(value) if isinstance(value, str) else value
    return time.replace(tzinfo=dt.UTC) if time.tzinfo is None else time.astimezone(dt.UTC)


# -- records to rows -------------------------------------------------------------------------------------------


#: The table of each kind of record, in the order in which they stand on each other.
TABLES: dict[type, str] = {Material: "material", Part: "part", Reading: "reading", Mounting: "mounting"}


def what_of(thing: object) -> str:
    """The table of a material, a part, a reading or a mounting; empty for anything else."""
    return next((what for kind, what in TABLES.items() if isinstance(thing, kind)), "")


def definition_of(thing: Material | Part | Mounting) -> dict[str, Any]:
    """A material, part or mounting as plain values, for the record of what it said before."""
    return dict(plain(thing))


def from_definition(what: str, values: dict[str, Any]) -> Material | Part | Mounting:
    """The material, part or mounting that :func:`definition_of` made plain."""
    made: dict[str, Callable[[dict[str, Any]], Material | Part | Mounting]] = {
        "material": lambda said: Material(**said),
        "part": lambda said: Part(**said | {"form": form_from_dict(said["form"])}),
        "mounting": mounting_from_dict,
    }
    return made[what](values)


#: How the name of a removed record ends; its row stays, for the readings on it and for its history.
_REMOVED = re.compile(r".* \(removed \d+\)", re.DOTALL)


def removed_name(name: str, number: int) -> str:
    """What a record of that number is called once it is removed: its old name is free again."""
    return f"{name[:100]} (removed {number})"


def is_removed(name: str) -> bool:
    """Whether a record of that name was removed."""
    return _REMOVED.fullmatch(name) is not None


def check_free(thing: Material | Part | Mounting) -> None:
    """Refuse a new name that says of itself that it was removed. Raises InputError."""
    if is_removed(thing.name):
        raise InputError(f"{what_of(thing)} name", thing.name, "one that does not end in '(removed ...)'")


def row_of(thing: Material | Part | Mounting, material_id: int | None) -> dict[str, Any]:
    """The columns of a material, part or mounting; ``material_id`` is that of a part's material."""
    values = definition_of(thing)
    if isinstance(thing, Material):
        return values
    if isinstance(thing, Mounting):
        return {"name": thing.name, "definition": values}
    del values["material"]
    return values | {"material_id": material_id, "form_kind": thing.form.kind}


def plain_json(values: Any) -> Any:
    """The values as JSON gives them back; NumPy scalars and arrays become plain, NaN is refused."""
    return json.loads(json.dumps(values, allow_nan=False, default=_plain))


def _plain(value: Any) -> Any:
    if hasattr(value, "tolist") or isinstance(value, dt.date):
        return plain(value)
    raise TypeError(f"{type(value).__name__} cannot be kept")


def stamp(dialect: str, time: dt.datetime) -> Any:
    """An aware time as the driver takes it: what :func:`as_time` undoes."""
    utc = time.astimezone(dt.UTC)
    return utc.strftime("%Y-%m-%d %H:%M:%S.%f") if dialect == "sqlite" else utc


# -- what a fit depends on, and names that are not there -------------------------------------------------------


def fingerprint(rows: Rows, material_id: int, active: int | None = None) -> str:
    """What a fit of the material depends on, as 64 hexadecimal digits.

    It covers the definitions of the material and its parts (not their notes and sources) and the set of
    readings that count. Readings are never deleted and never counted again once retired; so how many count
    and how many are retired tell one state from every other, and cost one pass over an index.

    ``active`` is how many counted in a fit that is asked whether it is current: numbers only rise from one change to
    the next, so none came in or went where the newest that counts and the number of retired ones are as they were.
    """
    # Spelled out: a further column must not make every fit that is there out of date.
    material = rows(
        "SELECT name, family, hardness, density_kg_m3, glass_transition_c, service_min_c, service_max_c "
        "FROM material WHERE id = ?",
        (material_id,),
    )
    parts = rows("SELECT name, form, thread FROM part WHERE material_id = ?", (material_id,))
    of_material = " FROM reading WHERE material_id = ? AND retired_at IS "
    # In the index's own order, so that every engine takes one step in it.
    last = rows("SELECT id" + of_material + "NULL ORDER BY retired_at DESC, id DESC LIMIT 1", (material_id,))
    if active is None:
        ((active,),) = rows("SELECT count(*)" + of_material + "NULL", (material_id,))
    ((retired,),) = rows("SELECT count(*)" + of_material + "NOT NULL", (material_id,))
    seen = [
        list(next(iter(material), ())),  # none only where a damaged file's index knows one that its table has not
        sorted(([name, _form(form), thread] for name, form, thread in parts), key=lambda part: str(part[0])),
        [active, retired, last[0][0] if last else 0],
    ]
    return hashlib.sha256(json.dumps(seen, sort_keys=True, ensure_ascii=True, default=repr).encode()).hexdigest()


def _form(value: Any) -> Any:
    try:
        return as_json(value)
    except (ValueError, RecursionError):  # damaged: then at least it is not what it was
        return value


def not_found(what: str, name: object, names: Iterable[str]) -> NotFound:
    """The exception for an unknown name, with close ones."""
    if not isinstance(name, str):
        return NotFound(what, name)
    folded = {n.casefold(): n for n in names}
    near = difflib.get_close_matches(name.casefold(), folded, n=3, cutoff=0.6)
    near += [n for n in folded if is_removed(n) and n.startswith(f"{name.casefold()} (") and n not in near]
    return NotFound(what, name, [folded[n] for n in near])
