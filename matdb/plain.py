"""Records to plain values and back: one way for every record, whatever its class.

A general converter (cattrs, msgspec) was measured: 60 to 70 ms to import, more than a whole plain question may cost;
and it turns "3" and True into numbers that the records themselves refuse. What is needed beyond it is below.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass
from typing import Any, TypeVar

from matdb.errors import InputError

Record = TypeVar("Record")


def plain(value: Any, *, finite: bool = False) -> Any:
    """Anything as JSON knows it: dictionaries, lists, texts, numbers, None.

    Parameters
    ----------
    value : object
        A record, which may say by ``to_dict`` how it is to be shown; a mapping; a row of values; an array; a date or
        time, which becomes ISO 8601; a number; a text.
    finite : bool
        Give None for a number that is not finite, which JSON does not have.
    """
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, float):
        return None if finite and not math.isfinite(value) else value
    if isinstance(value, Mapping):
        return {str(k): plain(v, finite=finite) for k, v in value.items()}
    if hasattr(value, "to_dict"):
        return plain(value.to_dict(), finite=finite)
    if is_dataclass(value):
        return plain(fields_of(value), finite=finite)
    if hasattr(value, "tolist"):
        return plain(value.tolist(), finite=finite)
    if hasattr(value, "isoformat"):
        return value.isoformat()
    if isinstance(value, Iterable):
        return [plain(each, finite=finite) for each in value]
    return str(value)


def fields_of(record: Any) -> dict[str, Any]:
    """A record's own fields by name, each as it is."""
    return {f.name: getattr(record, f.name) for f in fields(record)}


class PlainRecord:
    """What gives a frozen dataclass its ``to_dict``."""

    def to_dict(self) -> dict[str, Any]:
        """The record as plain values fit for JSON, by its fields."""
        return {name: plain(value) for name, value in fields_of(self).items()}


def unknown_fields(cls: type[Any], values: Mapping[str, Any], what: str) -> list[InputError]:
    """What is wrong with each value that a record of this class has no field for."""
    known = sorted(f.name for f in fields(cls))
    allowed = "one of the fields " + ", ".join(known)
    return [InputError(f"{what} {name}", value, allowed) for name, value in values.items() if name not in known]


def from_plain(cls: type[Record], values: Mapping[str, Any], what: str, whole: str, *, of: str = "fields") -> Record:
    """Build a record from its fields as plain values; what they may be is the record's own to check.

    Parameters
    ----------
    cls : type
        A dataclass.
    values : mapping
        Field: value, of every field without a default and any other.
    what, whole : str
        How messages name a field's owner ("ring-down") and the whole ("reading ring-down").
    of : str
        What its fields are called in messages.

    Raises
    ------
    InputError
        A field that the record does not have, or one that is missing; or what the record refuses.
    """
    for error in unknown_fields(cls, values, what):
        raise error
    try:
        return cls(**values)
    except TypeError as error:
        raise InputError(whole, sorted(values), f"given with all of its {of}", str(error)) from None
