"""Rows to frozen records: the fixed statements that read, and what their columns become."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, fields
from typing import TYPE_CHECKING, Any

from matdb.errors import MatdbError, NotFound, StoreError
from matdb.store.kept import FitRecord, PartLine, StoredReading
from matdb.store.reader import as_json, as_time

if TYPE_CHECKING:
    from matdb.bench.readings import Reading
    from matdb.form.part import Part
    from matdb.material.record import Material
    from matdb.mounting.record import Mounting

__all__ = [
    "FIT",
    "MATERIAL",
    "MOUNTING",
    "PART",
    "PART_LINE",
    "READING",
    "READING_FIELDS",
    "Rows",
    "definition_of",
    "fingerprint",
    "fit_of",
    "history_of",
    "material_of",
    "mounting_of",
    "not_found",
    "part_line_of",
    "part_of",
    "reading_of",
]

#: Runs one statement with ``?`` parameters and answers all rows.
Rows = Callable[[str, Sequence[object]], list[tuple[Any, ...]]]

MATERIAL = (
    "SELECT m.name, m.family, m.hardness, m.density_kg_m3, m.glass_transition_c, "
    "m.service_min_c, m.service_max_c, m.source, m.note FROM material m"
)
PART = "SELECT p.name, m.name, p.form, p.thread, p.note FROM part p JOIN material m ON m.id = p.material_id"
#: As :data:`PART`, and how many readings count; one look into an index for each part.
PART_LINE = (
    "SELECT p.name, m.name, p.form, p.thread, p.note, "
    "(SELECT count(*) FROM reading r WHERE r.part_id = p.id AND r.retired_at IS NULL) "
    "FROM part p JOIN material m ON m.id = p.material_id"
)
MOUNTING = "SELECT g.name, g.definition FROM mounting g"
FIT = (
    "SELECT f.id, m.name, f.created_at, f.program_version, f.seed, f.meta, f.fingerprint, f.arrays "
    "FROM fit f JOIN material m ON m.id = f.material_id"
)

#: The columns of a reading that hold its figures, in the order of :data:`READING`.
READING_FIELDS = (
    "temperature_c",
    "temperature_sd_c",
    "soak_min",
    "seconds_out",
    "who",
    "note",
    "count",
    "axis",
    "squeeze_mm",
    "mass_kg",
    "frequency_hz",
    "frequency_sd_hz",
    "log_decrement",
    "log_decrement_sd",
    "half_power_width_hz",
    "amplification",
    "deflection_mm",
    "deflection_sd_mm",
    "dwell_s",
    "storage_mpa",
    "storage_sd",
    "loss_factor",
    "loss_factor_sd",
    "value",
)
READING = (
    "SELECT r.id, r.kind, m.name, p.name, r.logged_at, r.retired_at, r.retired_why, r.corrects_id, "
    "r.taken_at, "
    + ", ".join(f'r."{name}"' for name in READING_FIELDS)
    + " FROM reading r JOIN material m ON m.id = r.material_id LEFT JOIN part p ON p.id = r.part_id"
)
_COLUMN = {name: 9 + i for i, name in enumerate(READING_FIELDS)}


@contextmanager
def _whole(shown: str, what: str, name: object) -> Iterator[None]:
    """Say that a row is damaged instead of blaming the user for what stands in it."""
    try:
        yield
    except (MatdbError, ValueError, TypeError, KeyError, AttributeError) as error:
        raise StoreError(shown, f"{what} {name!r} is damaged ({error}); restore a backup") from None


def material_of(row: Sequence[Any], shown: str) -> Material:
    """A row of :data:`MATERIAL` as a material."""
    from matdb.material.record import Material

    with _whole(shown, "material", row[0]):
        return Material(
            name=row[0],
            family=row[1],
            hardness=row[2],
            density_kg_m3=row[3],
            glass_transition_c=row[4],
            service_min_c=row[5],
            service_max_c=row[6],
            source=row[7],
            note=row[8],
        )


def part_of(row: Sequence[Any], shown: str) -> Part:
    """A row of :data:`PART` as a part."""
    from matdb.form import Part, form_from_dict

    with _whole(shown, "part", row[0]):
        form = form_from_dict(as_json(row[2]))
        return Part(name=row[0], material=row[1], form=form, thread=row[3], note=row[4])


def part_line_of(row: Sequence[Any], shown: str) -> PartLine:
    """A row of :data:`PART_LINE` as a line of a list; of the form no more is checked than that it is one."""
    with _whole(shown, "part", row[0]):
        form = as_json(row[2])
        if not isinstance(form["form"], str):
            raise TypeError("its form has no name")
        return PartLine(row[0], row[1], form, row[3], row[4], row[5])


def mounting_of(row: Sequence[Any], shown: str) -> Mounting:
    """A row of :data:`MOUNTING` as a mounting."""
    from matdb.mounting.record import mounting_from_dict

    with _whole(shown, "mounting", row[0]):
        return mounting_from_dict(as_json(row[1]) | {"name": row[0]})


def fit_of(row: Sequence[Any], shown: str, reading_ids: tuple[int, ...] | None) -> FitRecord:
    """A row of :data:`FIT` as a fit; its arrays are checked against their checksum."""
    from matdb.store.arrays import unpack

    with _whole(shown, "fit", row[0]):
        return FitRecord(
            id=row[0],
            material=row[1],
            created_at=as_time(row[2]),
            program_version=row[3],
            seed=row[4],
            meta=as_json(row[5]),
            fingerprint=row[6],
            arrays=unpack(row[7]),
            reading_ids=reading_ids,
        )


_FIELDS: dict[str, tuple[type[Reading], tuple[tuple[str, int], ...]]] = {}


def _fields_of(kind: str) -> tuple[type[Reading], tuple[tuple[str, int], ...]]:
    """The class of a kind, and each of its fields with its column."""
    if kind not in _FIELDS:
        from matdb.bench.readings import READINGS

        cls = READINGS[kind]
        _FIELDS[kind] = cls, tuple((f.name, _COLUMN[f.name]) for f in fields(cls) if f.name in _COLUMN)
    return _FIELDS[kind]


def reading_of(row: Sequence[Any], shown: str) -> StoredReading:
    """A row of :data:`READING` as a stored reading."""
    with _whole(shown, "reading", row[0]):
        cls, columns = _fields_of(row[1])
        values = {name: row[i] for name, i in columns}
        values[cls.subject] = row[3] if cls.subject == "part" else row[2]
        logged = as_time(row[4])
        assert logged is not None
        return StoredReading(
            id=row[0],
            reading=cls(**values, taken_at=as_time(row[8])),
            logged_at=logged,
            retired_at=as_time(row[5]),
            retired_why=row[6],
            corrects_id=row[7],
        )


def definition_of(thing: Material | Part | Mounting) -> dict[str, Any]:
    """A material, part or mounting as plain values, for the record of what it said before."""
    from matdb.form.part import Part
    from matdb.material.record import Material

    if isinstance(thing, Part):
        values = {f.name: getattr(thing, f.name) for f in fields(thing)}
        return values | {"form": thing.form.to_dict()}
    return asdict(thing) if isinstance(thing, Material) else thing.to_dict()


def fingerprint(rows: Rows, material_id: int) -> str:
    """What a fit of the material depends on, as 64 hexadecimal digits.

    It covers the definitions of the material and its parts (not their notes and sources) and the set of
    readings that count. Readings are never deleted and never counted again once retired; so how many count
    and how many are retired tell one state from every other, and cost one pass over an index. The largest
    number alone would not do: on a server a number can be drawn first and written last.
    """
    material = rows(
        "SELECT name, family, hardness, density_kg_m3, glass_transition_c, service_min_c, service_max_c "
        "FROM material WHERE id = ?",
        (material_id,),
    )
    parts = rows("SELECT name, form, thread FROM part WHERE material_id = ?", (material_id,))
    counting = "SELECT count(*) FROM reading WHERE material_id = ? AND retired_at IS "
    active = rows(counting + "NULL", (material_id,))[0][0]
    retired = rows(counting + "NOT NULL", (material_id,))[0][0]
    newest = rows(
        "SELECT coalesce(max(id), 0) FROM reading WHERE material_id = ? AND retired_at IS NULL", (material_id,)
    )[0][0]
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


def history_of(row: Sequence[Any], shown: str) -> tuple[dt.datetime, str, dict[str, Any]]:
    """A row of what was replaced: when, why, the values."""
    with _whole(shown, "the history of", row[1]):
        when, before = as_time(row[0]), as_json(row[2])
        assert when is not None
        return when, row[1], dict(before)


def not_found(what: str, name: object, names: Iterable[str]) -> NotFound:
    """The exception for an unknown name, with close ones."""
    import difflib

    if not isinstance(name, str):
        return NotFound(what, name)
    folded = {n.casefold(): n for n in names}
    near = difflib.get_close_matches(name.casefold(), folded, n=3, cutoff=0.6)
    return NotFound(what, name, [folded[n] for n in near])
