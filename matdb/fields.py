"""Every field of a record, known once: its unit and dimension, option, columns, limits and words.

A field's name ends in its unit (:data:`ENDINGS`), from which its dimension, its option and its columns follow; what
does not follow stands beside the field in its class: ``field(metadata=info(...))``, with a default ``entry(...)``. The
options of the command line, the columns of files, the names in errors and the checks of a record all derive from here.

Records go to plain values and back in one way, whatever their class. A general converter (cattrs, msgspec) was
measured: 60 to 70 ms to import, more than a whole plain question may cost; and it turns "3" and True into numbers that
the records themselves refuse.
"""

from __future__ import annotations

import datetime as dt
import math
import re
import textwrap
from collections.abc import Callable, Iterable, Mapping
from dataclasses import MISSING, Field, dataclass, field, fields, is_dataclass, replace
from functools import cache
from types import UnionType
from typing import Any, ClassVar, Final, NamedTuple, TypeVar, get_args, get_type_hints

import numpy as np

from matdb.checks import checked_kind, checked_name, checked_number, checked_text, checked_whole, extra
from matdb.errors import InputError, MissingExtra

Record = TypeVar("Record")


class Ending(NamedTuple):
    """What the ending of a field's name says.

    Attributes
    ----------
    dimension : str
        A dimension of :data:`matdb.units.UNITS`; empty where no text is ever read in it.
    unit : str
        As :func:`matdb.units.parse` knows it.
    label : str
        As files and JSON name it.
    words : str
        As messages name it.
    """

    dimension: str
    unit: str
    label: str
    words: str


def _ending(dimension: str, unit: str, label: str = "", words: str = "") -> Ending:
    return Ending(dimension, unit, label or unit, words or label or unit)


#: Ending of a field's name: what it says. A bare ratio has none.
ENDINGS: Final = {
    "_c": _ending("temperature", "C", "degC", "degrees Celsius"),
    "_sd_c": _ending("temperature_difference", "K"),
    "_k": _ending("temperature_difference", "K"),
    "_hz": _ending("frequency", "Hz"),
    "_kg": _ending("mass", "kg"),
    "_kg_m3": _ending("density", "kg/m3"),
    "_mm": _ending("length", "mm"),
    "_mpa": _ending("modulus", "MPa"),
    "_min": _ending("duration", "min", words="minutes"),
    "_s": _ending("duration", "s"),
    "_deg": _ending("angle", "deg", "degree", "degrees"),
    "_us": _ending("duration", "us"),
    "_ms": _ending("duration", "ms"),
    "_um": _ending("length", "um"),
    "_kg_mm2": _ending("", "kg mm2"),
    "_n_per_mm": _ending("stiffness", "N/mm"),
    "_n_mm_per_rad": _ending("", "N mm/rad"),
    "_n": _ending("force", "N"),
    "_m": _ending("altitude", "m"),
}
_ENDING: Final = re.compile("(?:" + "|".join(sorted(ENDINGS, key=len, reverse=True)) + ")$")
#: What a field holds that is no quantity, by the type that it is declared with.
_BY_TYPE: Final = {str: "text", int: "count", dt.datetime: "time", bool: "switch"}
#: What stands for the value in the help of an option, where it is not the dimension itself.
_METAVARS: Final = {
    "temperature_difference": "KELVIN",
    "dimensionless": "NUMBER",
    "duration": "TIME",
    "count": "NUMBER",
    "rotor_speed": "SPEED",
}


def ending_of(name: str) -> Ending:
    """What the ending of a field's name says; that it is a bare ratio where it has none."""
    found = _ENDING.search(name)
    return ENDINGS[found[0]] if found else Ending("dimensionless", "", "1", "")


def stem_of(name: str) -> str:
    """A field's name without its unit: ``frequency_sd`` of ``frequency_sd_hz``."""
    # The standard deviation of a temperature is in K, but its name has both.
    return name.removesuffix("_c") if name.endswith("_sd_c") else _ENDING.sub("", name)


@dataclass(frozen=True, kw_only=True)
class FieldInfo:
    """What is known of a field; what is left empty follows from its name and type.

    Attributes
    ----------
    name, stem : str
        Its name, and the same without the unit.
    dimension : str
        A dimension of :data:`matdb.units.UNITS`, or name, text, count, shore, time, switch.
    unit, words : str
        The unit of its value as :func:`matdb.units.parse` knows it, and in words; empty where there is none.
    option, metavar, help : str
        Of the command line.
    noun : str
        What it is, in a few words.
    aliases : tuple of str
        Other names that spreadsheets use for its column.
    group : str
        What it belongs to in a reading: "subject", "state", "load", "mount", "figure", "record".
    low, high, open_low, cure
        Limits of a number, whether the lower one is refused, and what to do; nan where it is not limited.
    longest : int
        Most characters of a text.
    check : callable or None
        What gives the value as it is kept, for one that has limits of another kind.
    shown : str
        How a list shows its value, which stands for ``{}``.
    default : object
        Of the class.
    needed : bool
        Whether it has none.
    """

    name: str = ""
    stem: str = ""
    dimension: str = ""
    unit: str = ""
    words: str = ""
    option: str = ""
    metavar: str = ""
    help: str = ""
    noun: str = ""
    aliases: tuple[str, ...] = ()
    group: str = "figure"
    low: float = math.nan
    high: float = math.nan
    open_low: bool = False
    cure: str = ""
    longest: int = 2000
    check: Callable[[Any], Any] | None = None
    shown: str = ""
    default: Any = None
    needed: bool = False

    @property
    def title(self) -> str:
        """What a table calls it: the noun, and the unit where it has one."""
        unit = ending_of(self.name).label
        return self.noun if unit == "1" else f"{self.noun}, {unit}"

    @property
    def is_spread(self) -> bool:
        """Whether it is the standard deviation of another field."""
        return self.stem.endswith("_sd")


def within(low: float, high: float) -> dict[str, Any]:
    """The limits of a number, both allowed, for :func:`info` and :func:`entry`."""
    return {"low": low, "high": high}


def above(low: float, high: float) -> dict[str, Any]:
    """As :func:`within`, the lower limit refused."""
    return {"low": low, "high": high, "open_low": True}


def info(low: float = math.nan, high: float = math.nan, **more: Any) -> Mapping[str, FieldInfo]:
    """What stands beside a field in its class: ``mass_kg: float = field(metadata=info(0.0, 1000.0, help=...))``.

    Parameters
    ----------
    low, high : float
        Limits of a number in the field's unit.
    **more
        Other attributes of :class:`FieldInfo`.
    """
    return {"info": FieldInfo(low=low, high=high, **more)}


def entry(
    default: Any = MISSING, low: float = math.nan, high: float = math.nan, *, compare: bool = True, **more: Any
) -> Any:
    """A field and what stands beside it: ``soak_min: float | None = entry(None, 0.0, 1e5, help=...)``.

    Parameters
    ----------
    default : object
        None for a field that may lack; without one it must be given.
    low, high, **more
        As for :func:`info`.
    compare : bool
        Whether records that differ in it differ.
    """
    return field(default=default, compare=compare, metadata=info(low, high, **more))


def _filled(f: Field[Any], declared: Any) -> FieldInfo:
    """What is known of a field, with all that follows from its name and type."""
    told: FieldInfo = f.metadata.get("info", FieldInfo())
    ending = ending_of(f.name)
    stem = told.stem or stem_of(f.name)
    value = get_args(declared)[0] if isinstance(declared, UnionType) else declared
    dimension = told.dimension or _BY_TYPE.get(value) or ending.dimension
    return replace(
        told,
        name=f.name,
        stem=stem,
        dimension=dimension,
        unit=told.unit or ending.unit,
        words=told.words or ending.words,
        option=told.option or "--" + stem.replace("_", "-"),
        metavar=told.metavar or _METAVARS.get(dimension, dimension.upper()),
        noun=told.noun or stem.replace("_", " "),
        default=None if f.default is MISSING else f.default,
        # A dimension without a sensible default carries nan.
        needed=(f.default is MISSING or f.default != f.default) and f.default_factory is MISSING,
    )


def record_fields(*classes: type[Any]) -> Mapping[str, FieldInfo]:
    """The fields of one record or of several, by name; of those that several have, the first is told.

    Parameters
    ----------
    *classes : type
        Dataclasses.
    """
    return _known(classes)


@cache
def _known(classes: tuple[type[Any], ...]) -> dict[str, FieldInfo]:
    found: dict[str, FieldInfo] = {}
    for cls in classes:
        hints = get_type_hints(cls)
        found |= {f.name: _filled(f, hints[f.name]) for f in fields(cls) if f.name not in found}
    return found


def checked_field(each: FieldInfo, value: Any, owner: str = "") -> Any:
    """A field's value, numbers as floats; a record's own checks come on top.

    Parameters
    ----------
    each : FieldInfo
        The field.
    value : object
        What it is to hold.
    owner : str
        What messages put before the names of what a record is called or taken on.

    Raises
    ------
    InputError
        A number outside the field's limits, a needed one that is None, or a name or text that cannot be kept.
    """
    if value is None and each.default is None and not each.needed:
        return None
    if each.check is not None:
        return each.check(value)
    if each.dimension == "name":
        return checked_name(f"{owner} {each.name}" if owner and each.needed else each.name, value)
    if each.dimension == "text":
        return checked_text(each.name, value, each.longest)
    if each.low != each.low:
        return value
    if value is None:
        raise InputError(each.name, None, "given")
    if each.dimension == "count":
        return checked_whole(each.name, value, int(each.low), int(each.high))
    return checked_number(each.name, value, each.low, each.high, each.words, open_low=each.open_low, cure=each.cure)


def check_record(record: Any, owner: str = "") -> None:
    """Check every field of a frozen record by :func:`checked_field`, and turn its numbers into floats."""
    for name, each in record_fields(type(record)).items():
        value = getattr(record, name)
        # Most values are floats within, which is settled without a call.
        if type(value) is not float or not each.low < value <= each.high or each.dimension == "count":
            checked = checked_field(each, value, owner)
            if checked is not value:
                object.__setattr__(record, name, checked)


# -- plain values and back --------------------------------------------------------------------------------


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
    if value is None or isinstance(value, (bool, int, str)):
        return value
    if isinstance(value, float):
        return None if finite and not math.isfinite(value) else value
    if isinstance(value, (dict, Mapping)):
        return {str(k): plain(v, finite=finite) for k, v in value.items()}
    if hasattr(value, "to_numpy") and hasattr(value, "ndim"):
        value = value.to_numpy()
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


def low_high(both: Iterable[float] | None) -> dict[str, float] | None:
    """A range as every document has it; None for none."""
    return None if both is None else dict(zip(("low", "high"), both, strict=True))


def named(values: Mapping[str, Any]) -> list[dict[str, Any]]:
    """What stands under names that are no identifiers, as a document has it: a list, each with its ``name``."""
    return [{"name": k, **(plain(v) if isinstance(plain(v), dict) else {"value": v})} for k, v in values.items()]


def fields_of(record: Any) -> dict[str, Any]:
    """A record's own fields by name, each as it is."""
    return {f.name: getattr(record, f.name) for f in fields(record)}


def _cell(value: Any) -> Any:
    """One value as the whole of a column."""
    if np.ndim(value):
        cell = np.empty(1, dtype=object)
        cell[0] = value
        return cell
    return value


def _short(value: Any) -> str:
    """How a value prints, its middle left out where that is long."""
    text = repr(value)
    return text if len(text) <= 70 else f"{text[:40]}...{text[-25:]}"


class PlainRecord:
    """What gives a frozen dataclass its ``to_dict``, tables, and a ``repr`` that is short however much it holds."""

    #: By field, what documents call it otherwise.
    told_as: ClassVar[Mapping[str, str]] = {}

    def __init_subclass__(cls) -> None:
        if "__repr__" not in vars(cls):
            cls.__repr__ = PlainRecord.__repr__  # type: ignore[method-assign]  # else each dataclass writes its own

    def __repr__(self) -> str:
        for said in (repr, _short):
            told = ", ".join(f"{name}={said(value)}" for name, value in fields_of(self).items())
            if len(whole := f"{type(self).__name__}({told})") <= 400:
                break
        return textwrap.shorten(whole, 400, placeholder=" ...)") if len(whole) > 400 else whole

    def to_dict(self) -> dict[str, Any]:
        """The record as plain values fit for JSON, by its fields."""
        return {self.told_as.get(name, name): plain(value) for name, value in fields_of(self).items()}

    def to_frame(self) -> Any:
        """The record as a pandas data frame: a row a state, a band in three columns (extra ``tables``).

        Rows are labelled as the series was that was asked with.

        Raises
        ------
        MissingExtra
            pandas is not installed.
        """
        pandas = extra("pandas", "a data frame", "tables")
        labels = next((value.index for value in fields_of(self).values() if hasattr(value, "iloc")), None)
        return pandas.DataFrame({name: np.ravel(values) for name, values in self._columns().items()}, index=labels)

    def to_xarray(self) -> Any:
        """The record as an xarray dataset: a band in three variables, temperature and frequency as coordinates.

        Where one of them varies along one dimension alone it names that, so that ``.sel(temperature_c=-5.0)`` works;
        what was asked with named dimensions keeps them.

        Raises
        ------
        MissingExtra
            xarray is not installed (extra ``tables``).
        """
        xarray = extra("xarray", "a dataset", "tables")
        columns = {name: values for name, values in self._columns().items() if values.dtype != object}
        shape = next(iter(columns.values())).shape
        dimensions, coordinates = [f"state_{k}" for k in range(len(shape))], dict[str, Any]()
        for value in fields_of(self).values():
            if hasattr(value, "dims"):
                dimensions, coordinates = list(value.dims), dict(value.coords)
            elif hasattr(value, "iloc"):
                dimensions = ["label" if value.index.name in (None, *columns) else value.index.name]
                coordinates = {dimensions[0]: value.index}
        for name in [each for each in ("temperature_c", "frequency_hz") if each in columns]:
            values = columns.pop(name)
            along = [k for k, size in enumerate(shape) if size > 1 and (np.diff(values, axis=k) != 0.0).any()]
            if len(along) == 1 and dimensions[along[0]].startswith("state"):
                dimensions[along[0]] = name
                coordinates[name] = np.moveaxis(values, along[0], 0).reshape(shape[along[0]], -1)[:, 0]
            else:
                columns[name] = values
        told = {name: (dimensions, values) for name, values in columns.items() if name not in coordinates}
        return xarray.Dataset(told, coordinates)

    def _columns(self) -> dict[str, Any]:
        """Every field over all states, a band as three; what is the same in all of them is repeated."""
        columns: dict[str, Any] = {}
        for name, value in fields_of(self).items():
            if isinstance(value, PlainRecord):
                ends = fields_of(value).items()
                columns |= {name if end == "median" else f"{name}_{end}": each for end, each in ends}
            else:
                columns[name] = "; ".join(map(str, value)) if isinstance(value, tuple) else value
        arrays = [value for value in columns.values() if np.ndim(value)]
        try:
            shape = np.broadcast_shapes(*map(np.shape, arrays or [[0]]))
        except ValueError:  # not over states: a single row, an array in one cell
            columns, shape = {name: _cell(value) for name, value in columns.items()}, (1,)
        return {name: np.broadcast_to(np.asarray(value), shape) for name, value in columns.items()}

    def _repr_html_(self) -> str | None:
        try:
            return str(self.to_frame().to_html(index=False, max_rows=20))
        except MissingExtra:
            return None


def unknown_fields(cls: type[Any], values: Mapping[str, Any], what: str) -> list[InputError]:
    """What is wrong with each value that a record of this class has no field for."""
    known = sorted(f.name for f in fields(cls))
    allowed = "one of the fields " + ", ".join(known)
    return [InputError(f"{what} {name}", value, allowed) for name, value in values.items() if name not in known]


def from_plain(cls: type[Record], values: Any, what: str) -> Record:
    """Build a record from its fields as plain values; what they may be is the record's own to check.

    Parameters
    ----------
    cls : type
        A dataclass.
    values : mapping
        Field: value, of every field without a default and any other.
    what : str
        How messages name a field's owner ("ring-down").

    Raises
    ------
    InputError
        No mapping, a field that the record does not have, or one that is missing; or what the record refuses.
    """
    checked_kind(what, values, Mapping, "a set of named values")
    for error in unknown_fields(cls, values, what):
        raise error
    for name, each in record_fields(cls).items():
        if each.needed and name not in values:
            raise InputError(f"{what} {name}", None, "given")
    return cls(**values)
