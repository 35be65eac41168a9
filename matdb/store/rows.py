"""Rows and frozen records: the fixed statements that read, what their columns become, and what a record is as a row.

The columns of a record are the fields of its dataclass: a new field needs a migration and a column in
:mod:`matdb.store.models`, and nothing here.
"""

from __future__ import annotations

import datetime as dt
import difflib
import hashlib
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import fields
from typing import Any

import numpy as np

from matdb.bench.readings import READINGS, Reading
from matdb.errors import MatdbError, NotFound, StoreError
from matdb.fields import plain
from matdb.form import Part, form_from_dict
from matdb.material.record import Material
from matdb.mounting.record import Mounting, mounting_from_dict
from matdb.store.arrays import unpack
from matdb.store.stored import FitRecord, PartLine, StoredReading

#: Runs one statement with ``?`` parameters and answers all rows.
Rows = Callable[[str, Sequence[object]], list[tuple[Any, ...]]]

_MATERIAL = tuple(f.name for f in fields(Material))
_PART = tuple(f.name for f in fields(Part))
_PART_COLUMNS = ", ".join("material.name" if name == "material" else f"part.{name}" for name in _PART)
_FROM_PART = " FROM part JOIN material ON material.id = part.material_id"

#: What reads materials, parts and mountings; the name comes first.
SELECTS = {
    "material": "SELECT " + ", ".join(f"material.{name}" for name in _MATERIAL) + " FROM material",
    "part": f"SELECT {_PART_COLUMNS}{_FROM_PART}",
    "mounting": "SELECT mounting.name, mounting.definition FROM mounting",
}
#: Parts, and how many readings on each count; one look into an index for each part.
PART_LINE = (
    f"SELECT {_PART_COLUMNS}, (SELECT count(*) FROM reading r WHERE r.part_id = part.id AND r.retired_at IS NULL)"
    f"{_FROM_PART}"
)
FIT = (
    "SELECT f.id, m.name, f.created_at, f.program_version, f.seed, f.meta, f.fingerprint, f.arrays "
    "FROM fit f JOIN material m ON m.id = f.material_id"
)


def own_fields(cls: type[Reading]) -> tuple[str, ...]:
    """The fields of a kind of reading that are columns of the same name, written as they are."""
    return tuple(f.name for f in fields(cls) if f.name not in (cls.subject, "taken_at"))


_ABOUT = ("r.id", "r.kind", "m.name", "p.name", "r.logged_at", "r.retired_at", "r.retired_why", "r.corrects_id")
_FIGURES = tuple(dict.fromkeys(name for cls in READINGS.values() for name in own_fields(cls)))
READING = (
    "SELECT " + ", ".join((*_ABOUT, "r.taken_at", *(f'r."{name}"' for name in _FIGURES))) + " FROM reading r "
    "JOIN material m ON m.id = r.material_id LEFT JOIN part p ON p.id = r.part_id"
)
_COLUMN = {name: len(_ABOUT) + i for i, name in enumerate(("taken_at", *_FIGURES))}
#: Fewer draws than any fit has; each band would rest on a handful.
_LEAST_DRAWS = 50
#: By kind: its fields, each with its column in :data:`READING`.
_COLUMNS = {kind: [(name, _COLUMN[name]) for name in own_fields(cls)] for kind, cls in READINGS.items()}


# -- rows to records -------------------------------------------------------------------------------------------


@contextmanager
def whole(shown: str, what: str, name: object) -> Iterator[None]:
    """Say that a row is damaged instead of blaming the user for what stands in it."""
    try:
        yield
    except (MatdbError, ValueError, TypeError, KeyError, AttributeError) as error:
        raise StoreError(shown, f"{what} {name!r} is damaged ({error}); restore a backup") from None


def _material_of(row: Sequence[Any]) -> Material:
    return Material(**dict(zip(_MATERIAL, row, strict=True)))


def _part_of(row: Sequence[Any]) -> Part:
    values = dict(zip(_PART, row, strict=True))
    return Part(**values | {"form": form_from_dict(as_json(values["form"]))})


def _mounting_of(row: Sequence[Any]) -> Mounting:
    return mounting_from_dict(as_json(row[1]) | {"name": row[0]})


#: What builds a material, a part, a mounting from a row of :data:`SELECTS`; to be called within :func:`whole`.
BUILDERS: dict[str, Callable[[Sequence[Any]], Any]] = {
    "material": _material_of,
    "part": _part_of,
    "mounting": _mounting_of,
}


def part_line_of(row: Sequence[Any], shown: str) -> PartLine:
    """A row of :data:`PART_LINE` as a line of a list; of the form no more is checked than that it is one."""
    with whole(shown, "part", row[0]):
        values = dict(zip(_PART, row[:-1], strict=True))
        values["form"] = as_json(values["form"])
        if not isinstance(values["form"]["form"], str):
            raise TypeError("its form has no name")
        return PartLine(**values, readings=row[-1])


def fit_of(row: Sequence[Any], shown: str, reading_ids: tuple[int, ...] | None) -> FitRecord:
    """A row of :data:`FIT` as a fit; its arrays are checked against their checksum."""
    with whole(shown, "fit", row[0]):
        meta, arrays = as_json(row[5]), unpack(row[7])
        draws = arrays.get("draws", np.zeros(0))
        if meta.get("format") == 1 and (len(draws) < _LEAST_DRAWS or not (draws != draws[0]).any()):
            raise ValueError(f"{len(draws)} draws, or all the same, which would give bands without a width")
        return FitRecord(
            id=row[0],
            material=row[1],
            created_at=as_time(row[2]),
            program_version=row[3],
            seed=row[4],
            meta=meta,
            fingerprint=row[6],
            arrays=arrays,
            reading_ids=reading_ids,
        )


def reading_of(row: Sequence[Any], shown: str) -> StoredReading:
    """A row of :data:`READING` as a stored reading."""
    number, kind, material, part, logged, retired, why, corrects = row[: len(_ABOUT)]
    with whole(shown, "reading", number):
        cls = READINGS[kind]
        values = {name: row[i] for name, i in _COLUMNS[kind]}
        values[cls.subject] = part if cls.subject == "part" else material
        reading = cls(**values, taken_at=as_time(row[len(_ABOUT)]))
        logged_at = as_time(logged)
        assert logged_at is not None
        return StoredReading(number, reading, logged_at, as_time(retired), why, corrects)


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


def what_of(thing: object) -> str:
    """The table of a material, a part, a reading or a mounting; empty for anything else."""
    kinds = ((Material, "material"), (Part, "part"), (Reading, "reading"), (Mounting, "mounting"))
    return next((what for kind, what in kinds if isinstance(thing, kind)), "")


def definition_of(thing: Material | Part | Mounting) -> dict[str, Any]:
    """A material, part or mounting as plain values, for the record of what it said before."""
    return dict(plain(thing))


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


def fingerprint(rows: Rows, material_id: int) -> str:
    """What a fit of the material depends on, as 64 hexadecimal digits.

    It covers the definitions of the material and its parts (not their notes and sources) and the set of
    readings that count. Readings are never deleted and never counted again once retired; so how many count
    and how many are retired tell one state from every other, and cost one pass over an index. The largest
    number alone would not do: on a server a number can be drawn first and written last.
    """
    # Spelled out: a further column must not make every fit that is there out of date.
    material = rows(
        "SELECT name, family, hardness, density_kg_m3, glass_transition_c, service_min_c, service_max_c "
        "FROM material WHERE id = ?",
        (material_id,),
    )
    parts = rows("SELECT name, form, thread FROM part WHERE material_id = ?", (material_id,))
    of_material = " FROM reading WHERE material_id = ? AND retired_at IS "
    ((active, newest),) = rows("SELECT count(*), coalesce(max(id), 0)" + of_material + "NULL", (material_id,))
    ((retired,),) = rows("SELECT count(*)" + of_material + "NOT NULL", (material_id,))
    seen = [
        list(material[0]),
        sorted(([name, _form(form), thread] for name, form, thread in parts), key=lambda part: str(part[0])),
        [active, retired, newest],
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
    return NotFound(what, name, [folded[n] for n in near])
