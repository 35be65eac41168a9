"""Numbers, counts, arrays, names and texts as they come in: refused in one clear line, or given back clean."""

from __future__ import annotations

import math
import sys
import unicodedata
from collections.abc import Iterable, Mapping
from contextlib import suppress
from importlib import import_module
from typing import Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matdb.arrays import Array
from matdb.errors import InputError, MissingExtra

ABSOLUTE_ZERO_C = -273.15
Picked = TypeVar("Picked")


def checked_name(field: str, value: object) -> str:
    """A name: 1 to 120 printable characters, no blank at either end. Raises InputError."""
    if not isinstance(value, str) or not value or len(value) > 120 or not value.isprintable() or value != value.strip():
        raise InputError(field, value, "1 to 120 printable characters without a blank at either end")
    return value


#: Letters of other scripts, and marks, that print like Latin ones (the commonest, from memory).
_PRINTS_LIKE = str.maketrans(
    "\u0430\u0435\u043e\u0440\u0441\u0443\u0445\u0456\u0458\u0455\u0501\u03bf\u03b1\u03bd\u03c1\u03b9\u0410\u0412\u0415\u041a\u041c\u041d\u041e\u0420\u0421\u0422"
    "\u0425\u0391\u0392\u0395\u0396\u0397\u0399\u039a\u039c\u039d\u039f\u03a1\u03a4\u03a5\u03a7\u0131\u2010\u2011\u2012\u2013\u2014\u2212\u00d7\u2019",
    "aeopcyxijsdoavpiABEKMHOPCTXABEZHIKMNOPTYXi------x'",
)


def printed_like(name: str) -> str:
    """One spelling for all names that print alike: in another normal form, or with letters of another script."""
    if name.isascii():  # quickly, of many
        return name
    return unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", name).translate(_PRINTS_LIKE))


def checked_text(field: str, value: object, longest: int = 2000) -> str:
    """Free text: printable but for line breaks and tabs, at most ``longest`` characters. Raises InputError."""
    if not isinstance(value, str) or len(value) > longest or not all(c.isprintable() or c in "\n\t" for c in value):
        raise InputError(field, value, f"text of at most {longest} printable characters")
    return value


def allowed_span(low: float, high: float, unit: str = "", *, open_low: bool = False) -> str:
    """A range in words: ``above 0 and at most 400 mm``, ``from 0 to 5``, ``above 0 kg``, ``0 or more``."""
    if high == math.inf:
        words = f"above {low:g}" if open_low else f"{low:g} or more"
    else:
        words = f"above {low:g} and at most {high:g}" if open_low else f"from {low:g} to {high:g}"
    return f"{words} {unit}".rstrip()


#: Units in the words of messages, as libraries of quantities name them.
_NAMED = {"degrees Celsius": "degC", "minutes": "min", "degrees": "degree", "MPa": "megapascal"}
_PLAIN = (int, float, str, bytes, list, tuple, np.number, type(None))


def without_unit(field: str, value: Any, unit: str) -> Any:
    """A quantity that bears a unit, as bare numbers in the field's own; whatever bears none as it is.

    Parameters
    ----------
    field, unit : str
        The field's name and its unit in words.
    value : object
        Of pint, astropy, unyt or the like: with ``units`` or ``unit`` and ``to``; also with ``units`` among ``attrs``.

    Raises
    ------
    InputError
        It does not convert. An angular speed is no frequency: revolutions are, radians are asked back.
    """
    if isinstance(value, _PLAIN) or type(value) is np.ndarray:
        return value
    units = getattr(value, "units", None) or getattr(value, "unit", None)
    if units is None and isinstance(getattr(value, "attrs", None), Mapping):
        units = value.attrs.get("units")
    if units is None or (callable(units) and not hasattr(value, "to")):
        return value
    named, said = _NAMED.get(unit, unit), str(units)
    if said in {unit, named} or (named == "degC" and said in {"C", "\N{DEGREE SIGN}C", "celsius", "degree_Celsius"}):
        return getattr(value, "magnitude", getattr(value, "value", value))
    turning = named == "Hz" and any(word in said for word in ("rev", "rpm", "turn", "cycle"))
    with suppress(Exception):
        if not (named == "Hz" and "rad" in said):
            found = value.to("rpm" if turning else named)
            bare = np.asarray(getattr(found, "magnitude", getattr(found, "value", found)), dtype=float)
            return bare / 60.0 if turning else bare
    allowed = f"a bare number or a quantity that converts to {unit}" if unit else "a bare number"
    raise InputError(field, f"a quantity in {said}", allowed)


def _masked(value: object) -> bool:
    """Whether some of it is masked out, which nothing is before someone imported NumPy's slow module of masks."""
    return "numpy.ma" in sys.modules and bool(np.ma.is_masked(value))


def _is_real(value: object) -> bool:
    """Whether it can stand for real numbers: flags, texts, times and complex ones cannot, nor what is masked out."""
    kind = getattr(getattr(value, "dtype", None), "kind", "f")
    return kind in "iufO" and not isinstance(value, bool | str | bytes) and not _masked(value)


def _floats(value: object) -> Array | None:
    """As floats, not copied where they are; None for what is no numbers."""
    try:
        array = np.asarray(value)
        if _is_real(value) and (array is value or _is_real(array)):
            return array.astype(np.float64, copy=False)
    except (TypeError, ValueError, OverflowError):
        pass
    return None


def checked_number(
    field: str, value: object, low: float, high: float, unit: str = "", *, open_low: bool = False, cure: str = ""
) -> float:
    """A finite number from ``low`` (not included with ``open_low``) to ``high``, as a float.

    Parameters
    ----------
    field : str
        Its name, for the message.
    value : object
        Anything; True and False are no numbers.
    low, high : float
        Limits in ``unit``; ``high`` may be infinite, which still refuses an infinite value.
    unit : str
        In words, for the message.
    open_low : bool
        Whether ``low`` itself is refused.
    cure : str
        What to do, for the message.

    Raises
    ------
    InputError
        Not a number, or outside.
    """
    value = without_unit(field, value, unit)
    try:
        number = float(value) if _is_real(value) else math.nan  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        number = math.nan
    if not ((low < number if open_low else low <= number) and number <= high and number != math.inf):
        raise InputError(field, value, allowed_span(low, high, unit, open_low=open_low), cure)
    return number


def checked_whole(field: str, value: object, low: int, high: int) -> int:
    """A whole number from ``low`` to ``high``; 3.0 is one, True is none. Raises InputError."""
    try:
        number = checked_number(field, value, low, high)
        if number == int(number):
            return int(number)
    except InputError:
        pass
    raise InputError(field, value, f"a whole number from {low} to {high}")


def numbers(field: str, values: object, allowed: str) -> Array:
    """Numbers of any shape and size, as floats in an array of their own. Raises InputError."""
    array = _floats(values := without_unit(field, values, ""))
    if array is None:
        raise InputError(field, values, allowed)
    return array.copy()


def checked_array(
    field: str,
    value: ArrayLike,
    low: float = -math.inf,
    high: float = math.inf,
    unit: str = "",
    *,
    open_low: bool = False,
) -> Array:
    """An array of numbers from ``low`` (not included with ``open_low``) to ``high``, as floats of any shape.

    Parameters
    ----------
    field, low, high, unit, open_low
        As for :func:`checked_number`.
    value : array_like
        NaN and infinities are refused.

    Raises
    ------
    InputError
        Not numbers, or one of them outside: the first such value is named.
    """

    def good(number: Any) -> Any:
        return (number > low if open_low else number >= low) & (number <= high) & (abs(number) < math.inf)

    if type(value) is float and good(value):
        return np.array(value)
    array = _floats(bare := without_unit(field, value, unit))
    if array is None:
        raise InputError(field, bare, f"a number {allowed_span(low, high, unit, open_low=open_low)}")
    # The ends decide for all: they are no numbers where any is none.
    ends = (array.item(),) if array.size == 1 else (float(array.min()), float(array.max())) if array.size else ()
    if not all(map(good, ends)):
        bad: Any = array[~good(array)].flat[0]
        raise InputError(field, float(bad), allowed_span(low, high, unit, open_low=open_low))
    return array


def any_array(field: str, values: object) -> NDArray[Any]:
    """An array of whatever values. Raises InputError for rows of different lengths."""
    try:
        return np.asarray(values)
    except ValueError:
        raise InputError(field, values, "rows of one length") from None


def one_of(field: str, value: Any, known: Iterable[str]) -> str:
    """A word that is among those known. Raises InputError."""
    known = list(known)
    if not isinstance(value, str) or value not in known:
        raise InputError(field, value, "one of " + ", ".join(known))
    return value


def picked(field: str, name: Any, known: Mapping[str, Picked]) -> Picked:
    """What stands under a name. Raises InputError."""
    return known[one_of(field, name, known)]


def extra(module: str, what: str, name: str) -> Any:
    """A module of an optional package. Raises MissingExtra, which says what for and the extra that brings it."""
    try:
        return import_module(module)
    except ImportError:
        raise MissingExtra(what, name) from None


def checked_kind(field: str, value: Any, kind: Any, allowed: str) -> None:
    """Refuse what is not of a kind, in the words of what is allowed. Raises InputError."""
    if not isinstance(value, kind):
        raise InputError(field, value, allowed)


def check_told(**functions: Any) -> None:
    """Refuse what is to be told of progress and is neither a function nor None. Raises InputError."""
    for field, function in functions.items():
        if function is not None and not callable(function):
            raise InputError(field, function, "a function, or None")


def checked_names(field: str, names: Any) -> list[str]:
    """Names as a list; a single text is one name too few to be meant as its letters. Raises InputError."""
    if isinstance(names, str) or not hasattr(names, "__iter__") or getattr(names, "ndim", 1) == 0:
        raise InputError(field, names, "a list of names")
    return list(names)


def checked_state(temperature_c: ArrayLike, frequency_hz: ArrayLike) -> tuple[Array, Array]:
    """Temperature in degrees Celsius and frequency in Hz, checked and broadcast against each other."""
    temperature_c, frequency_hz = by_name(temperature_c, frequency_hz)
    t = checked_array("temperature_c", temperature_c, ABSOLUTE_ZERO_C, 400.0, "degrees Celsius", open_low=True)
    f = checked_array("frequency_hz", frequency_hz, 0.0, 1e12, "Hz", open_low=True)
    return beside_temperature("frequency_hz", t, f)


def by_name(one: Any, other: Any) -> tuple[Any, Any]:
    """Arrays of named dimensions (xarray), each along those of both; anything else as it is.

    Raises InputError for two series whose labels (pandas) differ: pairs by place alone would mix them up.
    """
    if hasattr(one, "broadcast_like") and hasattr(other, "broadcast_like"):
        order = dict.fromkeys((*one.dims, *other.dims))
        one, other = (each.broadcast_like(like).transpose(*order) for each, like in ((one, other), (other, one)))
    if hasattr(one, "iloc") and hasattr(other, "iloc") and not one.index.equals(other.index):
        cure = "give their .to_numpy() where they go together by place"
        raise InputError("labels", list(other.index)[:3], f"those of the temperatures, {list(one.index)[:3]}", cure)
    return one, other


def labelled(values: Array, *asked: Any) -> Any:
    """States of an answer: a number, or an array with the labels (pandas, xarray) of one that was asked with."""
    if values.ndim == 0:
        return values.item()
    for given in by_name(*asked):
        if getattr(given, "shape", None) == values.shape:
            if hasattr(given, "dims"):
                return type(given)(values, dims=given.dims, coords=given.coords)
            if hasattr(given, "iloc") and values.ndim == 1:
                return type(given)(values, index=given.index)
    return values.copy()


def beside_temperature(field: str, t: Array, values: Array) -> tuple[Array, Array]:
    """Temperatures and what goes with them, broadcast against each other. Raises InputError where they do not fit."""
    try:
        shape = t.shape if t.shape == values.shape else np.broadcast(t, values).shape
    except ValueError:
        raise InputError(field, f"shape {values.shape}", f"of a shape that fits the temperature's {t.shape}") from None
    # NumPy's own views of several arrays take some ten times as long for few states.
    t, values = (each if each.shape == shape else np.full(shape, each) for each in (t, values))
    return t, values
