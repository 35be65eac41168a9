"""Looking for damage: what the engine checks, and what only matdb knows."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from matdb.errors import MatdbError
from matdb.store.connection import Reader
from matdb.store.rows import SELECTS, as_json, built, fingerprint
from matdb.store.stored import Finding


def check(reader: Reader) -> list[Finding]:
    """Look through the whole store.

    Checked are the file's own structure (SQLite; a server looks after its own), foreign keys, every material, part,
    mounting and reading against its own limits, every fit's arrays against their checksum, that a reading's material
    is its part's, that a fit used readings of its own material, that a corrected reading is retired, that a material's
    tabulated stiffness is there once, and (notes, not errors) which newest fits are stale and which histories say the
    same twice.

    Returns
    -------
    list of Finding
        Errors first; empty when all is well.

    """
    found = [*_structure(reader), *_rows(reader), *_links(reader), *_histories(reader), *_stale(reader)]
    return sorted(found, key=lambda finding: (finding.level != "error", finding.what))


def _structure(reader: Reader) -> Iterator[Finding]:
    if reader.place.path is None:
        # A server holds its tables to their constraints, unless somebody dropped or disabled them.
        from matdb.store.models import Base

        for table in Base.metadata.sorted_tables:
            (first, *_), keys = table.primary_key.columns.keys(), table.foreign_keys
            for column, parent in sorted((key.parent.name, key.column.table.name) for key in keys):
                lost = (
                    f"SELECT c.{first} FROM {table.name} c LEFT JOIN {parent} p ON p.id = c.{column} "
                    f"WHERE c.{column} IS NOT NULL AND p.id IS NULL ORDER BY c.{first} LIMIT 20"
                )
                for (number,) in reader.rows(lost):
                    yield Finding(level="error", what=f"{table.name} {number}", says=f"points to no {parent}")
        return
    for (line,) in reader.rows("PRAGMA integrity_check(20)"):
        if line != "ok":
            yield Finding(level="error", what="file", says=" ".join(str(line).split()))
    for table, row, parent, _ in reader.rows("PRAGMA foreign_key_check"):
        yield Finding(level="error", what=f"{table} {row}", says=f"points to no {parent}")


def _rows(reader: Reader) -> Iterator[Finding]:
    shown = reader.place.shown
    with reader.snapshot():
        for what in ("material", "part", "mounting", "reading", "fit"):
            for row in reader.stream(SELECTS[what], size=1000 if what != "fit" else 10):
                try:
                    built(what, row, shown)
                except MatdbError as error:
                    yield Finding(level="error", what=f"{what} {row[0]}", says=str(error))


_LINKS = (
    (
        "reading",
        "belongs to another material than its part",
        "SELECT r.id FROM reading r JOIN part p ON p.id = r.part_id WHERE p.material_id <> r.material_id",
    ),
    (
        "fit",
        "used readings that belong to another material now",
        "SELECT DISTINCT f.id FROM fit f JOIN fit_reading x ON x.fit_id = f.id "
        "JOIN reading r ON r.id = x.reading_id WHERE r.material_id <> f.material_id",
    ),
    (
        "material",
        "has its tabulated stiffness from two fits, or twice; publish it again",
        "SELECT DISTINCT material_id FROM (SELECT p.material_id FROM effective_stiffness e JOIN part p "
        "ON p.id = e.part_id GROUP BY p.material_id HAVING count(DISTINCT coalesce(e.fit_id, 0)) > 1 "
        "UNION ALL SELECT p.material_id FROM effective_stiffness e JOIN part p ON p.id = e.part_id "
        "GROUP BY p.material_id, e.part_id, e.axis, e.temperature_c, e.given_hz, e.given_kg HAVING count(*) > 1) twice",
    ),
    (
        "reading",
        "was corrected but still counts",
        "SELECT o.id FROM reading n JOIN reading o ON o.id = n.corrects_id WHERE o.retired_at IS NULL",
    ),
)


def _links(reader: Reader) -> Iterator[Finding]:
    for what, says, sql in _LINKS:
        for (number,) in reader.rows(sql):
            # A part given to another material on purpose leaves its old fits behind; that is no damage.
            level = "note" if what == "fit" else "error"
            yield Finding(level=level, what=f"{what} {number}", says=says)


def _histories(reader: Reader) -> Iterator[Finding]:
    """A definition kept twice in a row: what stood between them is lost, unless it was put in its own place."""
    last: tuple[Any, ...] | None = None
    with reader.snapshot():
        for what, number, before in reader.stream(
            "SELECT what, record_id, before FROM replaced ORDER BY what, record_id, id"
        ):
            try:
                this = what, number, as_json(before)
            except ValueError as error:
                yield Finding(level="error", what=f"history of {what} {number}", says=f"is damaged ({error})")
                continue
            if this == last:
                says = "says the same twice in a row: a replacement between them may be lost"
                yield Finding(level="note", what=f"history of {what} {number}", says=says)
            last = this


def _stale(reader: Reader) -> Iterator[Finding]:
    newest = (
        "SELECT m.id, m.name, f.id, f.fingerprint FROM material m "
        "JOIN fit f ON f.id = (SELECT max(id) FROM fit WHERE material_id = m.id)"
    )
    for material_id, name, number, mark in reader.rows(newest):
        if fingerprint(reader.rows, material_id) != mark:
            older = "is older than its readings, parts or record; fit again"
            yield Finding(level="note", what=f"fit {number} of {name}", says=older)
