"""Dimensions of a part from the words of a command, whatever its form: ``--outer 16mm --inner 6mm``.

The options of a form are its fields: the unit's suffix dropped, underscores as hyphens; yes-or-no fields are
``--bonded`` and ``--not-bonded``. A new form needs nothing here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import MISSING, Field, fields
from typing import TYPE_CHECKING, Any, Final

from matdb.errors import InputError

if TYPE_CHECKING:
    from matdb.form.base import FormBase

__all__ = ["form_from_words", "form_options", "split_words"]

#: Suffix of a field -> the dimension of its quantity.
_SUFFIXES: Final = {
    "_mm": "length",
    "_deg": "angle",
    "_mpa": "modulus",
    "_n": "force",
    "_n_per_mm": "stiffness",
    "_kg": "mass",
    "_c": "temperature",
}


def split_words(words: Sequence[str]) -> tuple[str, dict[str, str]]:
    """Part the name from the dimensions: ``["ring", "--outer", "16mm"]`` to ``("ring", {"--outer": "16mm"})``.

    A yes-or-no option has the value "". Raises InputError.
    """
    names: list[str] = []
    given: dict[str, str] = {}
    rest = list(words)
    while rest:
        word = rest.pop(0)
        if not word.startswith("--") or len(word) == 2:
            names.append(word)
            continue
        option, equals, value = word.partition("=")
        if not equals and rest and not rest[0].startswith("--"):
            # A switch takes no value; whatever else follows one is the name.
            value = "" if _is_switch(option) else rest.pop(0)
        if option in given:
            raise InputError(option, value, "given once")
        given[option] = value
    if len(names) != 1:
        raise InputError("name", " ".join(names) or None, "one name", "put a name of several words in quotation marks")
    return names[0], given


def form_from_words(kind: str, given: dict[str, str]) -> FormBase:
    """Build a form from its options.

    Parameters
    ----------
    kind : str
        A form's short name.
    given : dict of str to str
        Options with their texts, as :func:`split_words` gives them.

    Raises
    ------
    InputError
        Unknown form or option, a dimension missing or out of range.
    """
    from matdb.form import FORMS

    cls = FORMS.get(kind)
    if cls is None:
        raise InputError("--form", kind, "one of " + ", ".join(sorted(FORMS)))
    by_option = _options(cls)
    values: dict[str, Any] = {}
    for option, text in given.items():
        plain = option.replace("--not-", "--", 1)
        f = by_option.get(plain)
        if f is None or (plain != option and not _is_bool(f)):
            raise InputError(
                "option", option, f"an option of 'part add' or a dimension of a {kind}: " + form_options(kind)
            )
        values[f.name] = _value(f, option, text)
    for option, f in by_option.items():
        # A dimension without a sensible default carries nan, which the form refuses less clearly.
        absent = f.default is MISSING or (isinstance(f.default, float) and f.default != f.default)
        if absent and f.default_factory is MISSING and f.name not in values:
            raise InputError(option, None, f"given for a {kind}", f"a {kind} takes {form_options(kind)}")
    return cls(**values)


def form_options(kind: str) -> str:
    """The options of a form in words: ``--outer LENGTH, --inner LENGTH, --height LENGTH, --not-bonded``."""
    from matdb.form import FORMS

    shown = []
    for option, f in _options(FORMS[kind]).items():
        if _is_bool(f):
            shown.append(option.replace("--", "--not-", 1) if f.default is True else option)
        else:
            shown.append(f"{option} {_dimension(f).upper().replace('DIMENSIONLESS', 'NUMBER')}")
    return ", ".join(shown)


def _options(cls: type[FormBase]) -> dict[str, Field[Any]]:
    found = {}
    for f in fields(cls):
        stem = f.name
        for suffix in sorted(_SUFFIXES, key=len, reverse=True):
            if stem.endswith(suffix):
                stem = stem.removesuffix(suffix)
                break
        found["--" + stem.replace("_", "-")] = f
    return found


def _value(f: Field[Any], option: str, text: str) -> Any:
    from matdb.units import parse

    if _is_bool(f):
        if text:
            raise InputError(option, text, "given without a value")
        return not option.startswith("--not-")
    dimension = _dimension(f)
    if dimension == "text":
        return text
    value = parse(text, dimension, option)
    if "int" in str(f.type) and "float" not in str(f.type):
        if value != int(value):
            raise InputError(option, text, "a whole number")
        return int(value)
    return value


def _dimension(f: Field[Any]) -> str:
    for suffix in sorted(_SUFFIXES, key=len, reverse=True):
        if f.name.endswith(suffix):
            return _SUFFIXES[suffix]
    return "text" if "str" in str(f.type) else "dimensionless"


def _is_bool(f: Field[Any]) -> bool:
    return isinstance(f.default, bool) or f.type in (bool, "bool")


def _is_switch(option: str) -> bool:
    """Whether an option is a switch of some form."""
    from matdb.form import FORMS

    plain = option.replace("--not-", "--", 1)
    return any(name == plain and _is_bool(f) for cls in FORMS.values() for name, f in _options(cls).items())
