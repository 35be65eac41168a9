"""A whole store as one JSON file, out and in again without a loss: export, import, export gives the same bytes."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import math
import os
import re
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np

from matdb.api import Store
from matdb.bench.readings import READINGS, reading_from_dict
from matdb.delimited import file_bytes
from matdb.errors import InputError, MatdbError, StoreError
from matdb.fields import ENDINGS, fields_of, record_fields
from matdb.files import write_text
from matdb.form import Part, form_from_dict
from matdb.material.record import Material
from matdb.mounting.record import mounting_from_dict
from matdb.store.revisions import HEAD
from matdb.version import VERSION

#: Name and number of the format; the number rises when a reader of the old one could not read the new.
FORMAT: Final = "matdb store"
FORMAT_VERSION: Final = 1

#: Largest file that is read at once, bytes: parsed, brackets take thirty times as much. A larger one is read as it was
#: written, a record a line, no longer than the second.
_MOST_BYTES: Final = 8_000_000
_MOST_LINE: Final = 16_000_000

#: Table: the name of its list in the file.
_LISTS: Final = {
    table: table if table == "replaced" else f"{table}s"
    for table in ("material", "part", "mounting", "reading", "fit", "fit_reading", "replaced")
}
#: How a field's name tells its unit, for the file's reader; a field without such an ending has none.
_BARE: Final = {"seconds_out": "s", "storage_sd": "relative", "loss_factor_sd": "relative", "rpm_": "1/min"}
#: No record of a store has a field that ends so.
_UNUSED: Final = ("_k", "_ms", "_n_per_mm", "_n", "_m")
UNITS: Final = {name: ending.label for name, ending in ENDINGS.items() if name not in _UNUSED} | _BARE


def store_fingerprint(store: Store) -> str:
    """Sixteen hexadecimal digits over every material, part, mounting, reading, and number of the newest fits.

    Parameters
    ----------
    store : Store
        Open.

    Returns
    -------
    str
        The beginning of a SHA-256; it changes when a record is added, corrected, removed or replaced, or a material
        fitted again, and stays the same through backup, copy, export and import.
    """
    mark = hashlib.sha256()
    for values in _content(store):
        mark.update(json.dumps(values, sort_keys=True, ensure_ascii=True, default=repr).encode() + b"\n")
    return mark.hexdigest()[:16]


def _content(store: Store) -> Iterator[list[Any]]:
    for material in store.materials():
        newest = store.records.newest_fit(material.name)
        yield ["material", fields_of(material), newest.id if newest else None]
    for part in store.parts():
        costs = [each for each in (part.mass_kg, part.price) if each is not None]
        yield ["part", part.name, part.material, part.form.to_dict(), part.thread, part.note, *costs]
    for mounting in store.mountings():
        yield ["mounting", mounting.to_dict()]
    for kept in store.records.each_reading(include_retired=True):
        yield ["reading", kept.id, kept.reading.to_dict(), kept.retired_why, kept.corrects_id]


def store_text(store: Store) -> Iterator[str]:
    """The store as JSON text, a record a line, in pieces: large stores need not fit in memory.

    Parameters
    ----------
    store : Store
        Open.

    Yields
    ------
    str
        Pieces of one JSON object: format, version, schema, fingerprint and units first, then a list for each kind of
        record. Times are in UTC; infinities and gaps in arrays are the words "inf", "-inf" and "nan".
    """
    head = {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "matdb": VERSION,
        "schema": HEAD,
        "fingerprint": store_fingerprint(store),
        "units": UNITS,
    }
    text = json.dumps(head, indent=1)
    yield text[:-2]
    with store.records.at_one_instant():
        names: dict[str, dict[int, str]] = {"material": {}, "part": {}}
        for table, title in _LISTS.items():
            yield f',\n "{title}": ['
            between = "\n"
            try:
                for row in store.records.table_rows(table):
                    if table in names:
                        names[table][row["id"]] = row["name"]
                    yield between + "  " + json.dumps(_told(row, names), ensure_ascii=False, allow_nan=False)
                    between = ",\n"
            except (ValueError, TypeError, KeyError, AttributeError) as error:
                if isinstance(error, MatdbError):
                    raise
                shown = store.records.place.shown
                raise StoreError(shown, f"a row of {table} is damaged ({error}); restore a backup") from None
            yield "\n ]"
    yield "\n}\n"


def export_store(store: Store, path: str | os.PathLike[str], *, force: bool = False) -> Path:
    """Write the whole store to a file, whole or not at all, as private as the store.

    Parameters
    ----------
    store : Store
        Open.
    path : str or path
        The file; its folder must be there.
    force : bool
        Replace a file that is there.

    Raises
    ------
    FileTaken
        The file is there already.
    InputError
        It is a folder.
    OSError
        The folder cannot be written or the disk is full; nothing is left behind.
    """
    return write_text(path, "".join(store_text(store)), force=force, mode=store.records.place.rights)


def import_store(store: Store, path: str | os.PathLike[str]) -> dict[str, int]:
    """Fill a new store from a file of :func:`export_store`; all of it is kept, or nothing.

    Every material, part, mounting and reading is checked as if it were entered by hand; numbers, times and fits stay
    what they were, so that an old answer can still be explained.

    Parameters
    ----------
    store : Store
        Open for writing, and empty.
    path : str or path
        The file.

    Returns
    -------
    dict of str to int
        How many of each kind came in.

    Raises
    ------
    InputError
        Not such a file, of a newer format, or a record in it is not allowed; the message names the record.
    StoreError
        The store is not empty, or the records do not fit together.
    """
    path = Path(path).expanduser()
    numbers: dict[str, dict[str, int]] = {"material": {}, "part": {}}
    rows = _each_row(path) if path.stat().st_size > _MOST_BYTES else _all_rows(path)
    counts = store.records.fill({table: _taken_rows(table, rows, numbers, path) for table in _LISTS})
    store._curves.clear()
    return {_LISTS[name]: count for name, count in counts.items()}


def _taken_rows(
    table: str, rows: Iterator[tuple[str, Any]], numbers: dict[str, dict[str, int]], path: Path
) -> Iterator[dict[str, Any]]:
    """The rows of one table, each checked; they stand next in ``rows``, up to the list's end."""
    for title, row in rows:
        if title != _LISTS[table]:
            break
        if row is _END:
            return
        where = f"{table} {row.get('id', '?') if isinstance(row, dict) else row!r} of {path}"
        try:
            taken = _taken(table, row, numbers)
            _checked(table, row, numbers)
        except (MatdbError, ValueError, TypeError, KeyError, AttributeError, OverflowError) as error:
            says = f"missing {error}" if isinstance(error, KeyError) else str(error)
            raise InputError(where, "this record", "one that matdb could have written", says) from None
        if table in numbers:
            numbers[table][row["name"]] = row["id"]
        yield taken
    raise InputError("store file", path, f'one with a list "{_LISTS[table]}"', "take a file of 'matdb export store'")


#: Stands behind the last row of a list.
_END: Final = object()


def _all_rows(path: Path) -> Iterator[tuple[str, Any]]:
    """Each row of a file of any layout, with the title of its list."""
    whole = _parsed(file_bytes(path, _MOST_BYTES), path)
    _check_head(whole, path)
    for title in _LISTS.values():
        if not isinstance(whole.get(title), list):
            return
        yield from ((title, row) for row in whole[title])
        yield title, _END


def _each_row(path: Path) -> Iterator[tuple[str, Any]]:
    """Each row of a large file as :func:`store_text` lays it out, a line at a time."""
    head, title = "", ""
    with path.open(encoding="utf-8", errors="surrogateescape") as file:
        for line in iter(lambda: file.readline(_MOST_LINE), ""):
            if len(line) == _MOST_LINE:
                raise InputError("store file", f"a line over {_MOST_LINE} characters", "a record a line")
            if opens := re.fullmatch(r' "(\w+)": \[\n', line):
                if not title:
                    _check_head(_parsed(head.rstrip(",\n") + "}", path), path)
                title = opens[1]
            elif line.startswith("  ") and title:
                yield title, _parsed(line.rstrip(",\n"), path)
            elif title:
                yield title, _END
            elif len(head) < _MOST_LINE:
                head += line
    if not title:
        _check_head(None, path)


def _parsed(text: str | bytes, path: Path) -> Any:
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        _check_head(None, path)


def _check_head(whole: Any, path: Path) -> None:
    if not isinstance(whole, dict) or whole.get("format") != FORMAT:
        raise InputError("store file", str(path), "a file that 'matdb export store' wrote")
    number = whole.get("format_version")
    if not isinstance(number, int) or number > FORMAT_VERSION:
        cure = "upgrade with: pip install --upgrade elastomer-matdb"
        raise InputError("store file", f"format {number}", f"of format {FORMAT_VERSION} or older", cure)


# -- a row and its line -----------------------------------------------------------------------------------------


def _told(row: Mapping[str, Any], names: Mapping[str, Mapping[int, str]]) -> dict[str, Any]:
    """A row as it stands in the file: names for numbers, ISO times, no empty fields."""
    out: dict[str, Any] = {}
    for key, value in row.items():
        if value is None:
            continue
        if key in ("material_id", "part_id"):
            out[key.removesuffix("_id")] = names[key.removesuffix("_id")][value]
        elif key == "arrays":
            out[key] = {name: _numbers(array.tolist()) for name, array in value.items()}
        else:
            out[key] = value.isoformat() if isinstance(value, dt.datetime) else value
    return out


def _numbers(value: Any) -> Any:
    """Nested lists with words for what JSON has no number for."""
    if isinstance(value, list):
        return [_numbers(v) for v in value]
    return value if math.isfinite(value) else str(value)


def _taken(table: str, row: dict[str, Any], numbers: Mapping[str, Mapping[str, int]]) -> dict[str, Any]:
    """What :func:`_told` did, undone."""
    out = dict(row)
    if table != "replaced":
        for kind in ("material", "part"):
            if kind in out:
                out[f"{kind}_id"] = numbers[kind][out.pop(kind)]
    for key in [k for k in out if k.endswith("_at")]:
        time = dt.datetime.fromisoformat(out[key])
        if time.tzinfo is None:
            raise ValueError(f"{key} has no time zone")
        out[key] = time.astimezone(dt.UTC)  # which the ends of the calendar do not have everywhere
    if table == "fit":
        out["arrays"] = {name: np.array(values, dtype=float) for name, values in row["arrays"].items()}
    return out


def _checked(table: str, row: dict[str, Any], numbers: Mapping[str, Mapping[str, int]]) -> None:
    """Build the record that a row stands for: what cannot be is refused as it would be by hand."""
    check = _CHECKS.get(table)
    if check is not None:
        check(row)
    number = row["id"] if table in numbers else row.get("id", 1)
    if isinstance(number, bool) or not isinstance(number, int) or not 0 < number < 2**31:
        raise ValueError(f"id {number!r} is no number of a record")


def _own(cls: type[Any], row: Mapping[str, Any]) -> dict[str, Any]:
    """What a row holds of a record's fields."""
    return {name: row[name] for name in record_fields(cls) if name in row}


def _part(row: dict[str, Any]) -> None:
    form = form_from_dict(row["form"])
    if row["form_kind"] != form.kind:
        raise ValueError(f"form_kind {row['form_kind']!r} is not that of its form")
    Part(**_own(Part, row) | {"form": form})


_CHECKS: Final[Mapping[str, Callable[[dict[str, Any]], object]]] = {
    "material": lambda row: Material(**_own(Material, row)),
    "part": _part,
    "mounting": lambda row: mounting_from_dict(row["definition"] | {"name": row["name"]}),
    "reading": lambda row: reading_from_dict({"kind": row["kind"]} | _own(READINGS[row["kind"]], row)),
}
