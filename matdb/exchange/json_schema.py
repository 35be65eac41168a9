"""JSON Schemas of what documents hold, made from the records themselves: one shape for a band, a range, a record."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Mapping, Sequence
from functools import cache
from types import NoneType, UnionType
from typing import Any, Final, Literal, Union, get_args, get_origin, get_type_hints

import numpy as np

from matdb.advice.camera import SixAxes
from matdb.advice.size import Proposal
from matdb.bench.protocol import ProtocolStep
from matdb.bench.readings import READINGS, Reading
from matdb.curve.band import Band
from matdb.curve.next_reading import NextReading
from matdb.form.base import FORMS, FormBase
from matdb.mounting.record import CameraPackage, Mounting
from matdb.store.stored import StoredReading

#: What a document says of an error, see :func:`matdb.errors.error_fields`.
ERROR: Final = {"kind": str, "message": str, "field": str, "value": Any, "allowed": str, "cure": str}
#: What a document has of a record otherwise than by its fields: more, by another name, or (None) not at all.
OTHERWISE: Final[dict[type, dict[str, Any]]] = {
    NextReading: {"worth_taking": bool},
    Proposal: {"trade_off": None, "tolerance": {"*": Literal["range"]}, "sizes": {"*": float | str | bool | FormBase}},
    SixAxes: {
        **dict.fromkeys(("follows", "isolates", "inside", "turned", "shapes", "motions")),
        "window_hz": Literal["range"],
        "probability": {"follows": float, "isolates": float, "all_inside": float},
    },
    ProtocolStep: {"frequency_hz": Band, "log_decrement": Band},
}
#: Records of many kinds: the kinds, which of them have which fields, and what stands in each.
_OF_KINDS: Final[dict[type, tuple[Mapping[str, type], dict[str, Any]]]] = {
    FormBase: (FORMS, {"form": str}),
    Reading: (READINGS, {"kind": str}),
    StoredReading: (
        READINGS,
        {"number": int, "kind": str, "counts": bool, "corrects": int | None}
        | {"logged_at": str, "retired_at": str | None, "retired_why": str | None},
    ),
}
#: Records that leave out what is as usual.
_SPARSE: Final = (Mounting, CameraPackage)


_PLAIN: Final[dict[Any, dict[str, Any]]] = {
    Any: {},
    NoneType: {"type": "null"},
    bool: {"type": "boolean"},
    int: {"type": "integer"},
    # What is not finite is null.
    float: {"type": ["number", "null"]},
    str: {"type": "string"},
    dict: {"type": "object"},
    list: {"type": "array"},
    dt.datetime: {"type": "string", "format": "date-time"},
    np.ndarray: {"type": "array"},
    Band: {"$ref": "#/$defs/band"},
    "range": {"$ref": "#/$defs/range"},
    None: {"type": "null"},
}


_NUMBERS: Final = {"type": ["number", "null", "array"]}
_CLOSED: Final[dict[str, Any]] = {"type": "object", "additionalProperties": False}
_RANGE: Final = dict.fromkeys(("low", "high"), _NUMBERS)
_BAND: Final = {"median": _NUMBERS, **_RANGE}
#: What the references name.
DEFINITIONS: Final = {
    name: _CLOSED | {"properties": ends, "required": [*ends]} for name, ends in (("band", _BAND), ("range", _RANGE))
}


def schema_of(hint: Any) -> dict[str, Any]:
    """The JSON Schema of a type or a record, made from its own fields; a band and a range are references.

    Parameters
    ----------
    hint : object
        A type, a record's class, ``Literal["range"]``, a list of one of these, or a mapping of fields by name, in which
        ``?`` stands behind one that may lack, ``*`` for any other, ``**`` for a record's own, and None for one that is
        not there.
    """
    origin = get_origin(hint)
    if isinstance(hint, Mapping):
        named = {name: each for name, each in hint.items() if name not in ("*", "**") and each is not None}
        rest = schema_of(hint["*"]) if "*" in hint else False
        needed = [name for name in named if not name.endswith("?")]
        properties = {name.removesuffix("?"): schema_of(each) for name, each in named.items()}
        if "**" in hint:
            whole = schema_of(hint["**"])
            properties, needed = whole["properties"] | properties, [*whole["required"], *needed]
        return {"type": "object", "properties": properties, "required": needed, "additionalProperties": rest}
    if isinstance(hint, list):
        return {"type": "array", "items": schema_of(hint[0])}
    if origin is Literal:
        return {"anyOf": [_PLAIN.get(each, {"const": each}) for each in get_args(hint)]}
    if origin in (Union, UnionType):
        return {"anyOf": [schema_of(each) for each in get_args(hint)]}
    plain = _PLAIN.get(origin or hint) if not (origin is list and get_args(hint)) else None
    if plain is not None:
        return plain
    if isinstance(hint, type) and origin is None:
        return _record(hint)
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return {"type": "object", "additionalProperties": schema_of(get_args(hint)[1])}
    if isinstance(origin, type) and issubclass(origin, tuple | Sequence):
        kinds = [schema_of(each) for each in get_args(hint) if each is not Ellipsis]
        return {"type": "array", "items": kinds[0] if kinds else {}}
    return {}


@cache
def _record(cls: type) -> dict[str, Any]:
    """The schema of a dataclass, from its own fields."""
    for base, (kinds, fields) in _OF_KINDS.items():
        if issubclass(cls, base):
            own = {f"{f.name}?": Any for kind in kinds.values() for f in dataclasses.fields(kind)}
            return schema_of(own | fields)
    hints, sparse = get_type_hints(cls), cls in _SPARSE
    usual = {f.name for f in dataclasses.fields(cls) if sparse and f.default is not dataclasses.MISSING}
    called: Mapping[str, str] = getattr(cls, "told_as", {})
    names = [f.name for f in dataclasses.fields(cls)]
    named = {called.get(name, name) + "?" * (name in usual): hints[name] for name in names}
    return schema_of(named | OTHERWISE.get(cls, {}))
