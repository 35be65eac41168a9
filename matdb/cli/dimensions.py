"""Dimensions of a part from the words of a command, whatever its form: ``--outer 16mm --inner 6mm``.

The options of a form are its fields: the unit's suffix dropped, underscores as hyphens; yes-or-no fields are
``--bonded`` and ``--not-bonded``. A field that is itself a form is named and then described with its own name in
front: ``--lower ring --lower-outer 12mm``, or in one text: ``--lower "ring 12x5x4mm"``. Load-deflection points are
``--point 0.4mm:1N``, as often as needed, or ``--points FILE``. A new form needs nothing here.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple, get_args, get_type_hints

from matdb.cli.asking import with_unit
from matdb.delimited import file_bytes
from matdb.errors import InputError
from matdb.exchange.point_file import as_point, read_points
from matdb.exchange.reading_file import value_of
from matdb.fields import FieldInfo, fields_of, record_fields
from matdb.form import FORMS
from matdb.form.base import FormBase, form_named
from matdb.units import is_range, parse_range, range_ends, split_sizes

#: What a field holds, where it is no quantity.
_SWITCH, _TEXT, _FORM, _POINTS = "switch", "text", "form", "points"
#: Between repeated points; no quantity has it.
_AND: Final = ";"
_POINT: Final = "a deflection and the force (or mass) that makes it, such as 0.4mm:1N"


class _Slot(NamedTuple):
    """A field of a form as an option: its stem ("outer", "not-bonded" without the "not-"), and what it holds."""

    stem: str
    field: FieldInfo
    holds: str
    kinds: tuple[str, ...] = ()


def split_words(words: Sequence[str], what: str = "part") -> tuple[str, dict[str, str]]:
    """Part the name from the dimensions: ``["ring", "--outer", "16mm"]`` to ``("ring", {"--outer": "16mm"})``.

    A yes-or-no option has the value "". Points may be given several times, and are joined. The name may also stand
    behind an option of ``what`` it is the name of. Raises InputError.
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
            if not option.endswith("-point") or value == "":
                raise InputError(option, value, "given once")
            value = given[option] + _AND + value
        given[option] = value
    names += [given.pop(f"--{what}")] if f"--{what}" in given else []
    if not names:
        raise InputError(f"name of the {what}", None, "typed before the options")
    if len(names) > 1:
        raise InputError(f"name of the {what}", " ".join(names), "one name", "put several words in quotation marks")
    return names[0], given


def form_from_words(
    kind: str, given: dict[str, str], *, within: str = "--", asked: str = "--form", old: FormBase | None = None
) -> FormBase:
    """Build a form from its options.

    Parameters
    ----------
    kind : str
        A form's short name.
    given : dict of str to str
        Options with their texts, as :func:`split_words` gives them.
    within : str
        What its options begin with: ``"--"``, or ``"--lower-"`` for the form of a field.
    asked : str
        The option that named the form, for messages.
    old : FormBase, optional
        A form of that kind; its dimensions hold where no option says otherwise.

    Raises
    ------
    InputError
        Unknown form or option, a dimension missing or out of range.
    """
    cls = form_named(kind, asked)
    slots = _slots(cls)
    values: dict[str, Any] = {}
    kept = {} if old is None else fields_of(old)
    below: dict[str, dict[str, str]] = {}
    for option, text in given.items():
        name = option.removeprefix(within)
        slot = _named(slots, name)
        if slot is not None and (not name.startswith("not-") or slot.holds == _SWITCH):
            values[slot.field.name] = _value(slot, option, text, values.get(slot.field.name))
            continue
        owner = next((s for s in slots.values() if s.holds == _FORM and name.startswith(f"{s.stem}-")), None)
        if owner is None:
            allowed = f"a dimension of a {kind}: {form_options(kind)}"
            raise InputError("option", option, allowed if within != "--" else f"an option of 'part add' or {allowed}")
        below.setdefault(owner.stem, {})[option] = text
    for name in [other for said in values for other in cls.instead.get(said, ())]:
        kept.pop(name, None)
    for stem, slot in slots.items():
        if slot.holds == _FORM and (stem in below or slot.field.name in values):
            said, half = values.get(slot.field.name), kept.get(slot.field.name)
            values[slot.field.name] = _form(slot, f"{within}{stem}", said, below.get(stem, {}), half)
        if slot.field.name in kept:
            values.setdefault(slot.field.name, kept[slot.field.name])
        if slot.field.needed and slot.field.name not in values:
            raise InputError(f"{within}{stem}", None, f"given for a {kind}", f"a {kind} takes {form_options(kind)}")
    try:
        return cls(**values)
    except InputError as error:
        # The form names its field; the user knows the option.
        named = {f"{kind} {slot.field.name}": stem for stem, slot in slots.items() if slot.stem == stem}
        if error.field not in named:
            raise
        raise InputError(f"{within}{named[error.field]}", error.value, error.allowed, error.cure) from None


def dimension_of(kind: str, stem: str, text: str) -> str:
    """What somebody typed for one dimension of a form, as its option takes it. Raises InputError."""
    slot = _slots(FORMS[kind])[stem]
    if slot.holds == _FORM:
        text = text if text[:1].isalpha() else f"ring {with_unit(text, 'mm')}"
        _form(slot, f"--{stem}", text, {}, None)
    elif slot.holds not in (_TEXT, "name"):
        text = with_unit(text, "mm" if slot.holds == "length" else "")
        _value(slot, stem, text, None)
    return text


def ranges_from_words(kind: str, given: Mapping[str, str]) -> dict[str, Any]:
    """Dimensions of a form that may be fixed, ranged (``4mm..8mm``), one of several (``4mm,5mm``) or ``free``.

    Parameters
    ----------
    kind, given
        As for :func:`form_from_words`.

    Returns
    -------
    dict
        By field: a value, (low, high), a list or "free".

    Raises
    ------
    InputError
        Unknown form or option, or a text that cannot be read.
    """
    slots, found = _slots(form_named(kind, "--form")), {}
    for option, text in given.items():
        name = option.removeprefix("--")
        slot = _named(slots, name)
        if slot is None or slot.holds == _POINTS:
            allowed = f"an option of this command or a dimension of a {kind}: {form_options(kind)}"
            raise InputError("option", option, allowed)
        found[slot.field.name] = _ranged(slot, option, text)
    return found


def _ranged(slot: _Slot, option: str, text: str) -> Any:
    """One value, both ends of a range, or several values."""
    if slot.holds == _FORM and (text.strip() == "free" or is_range(text) or "," in text):
        cure = "to look for halves take --form grommet --neck none, whose --lower and --upper are heights"
        raise InputError(option, text, "one half, such as 'ring 12x5x4mm'", cure)
    if text.strip() == "free" or slot.holds == _FORM:
        return text.strip()
    if "," in text:
        return [_value(slot, option, each.strip(), None) for each in text.split(",")]
    if not is_range(text) or slot.holds in (_SWITCH, _TEXT):
        return _value(slot, option, text, None)
    if slot.holds == "count":
        low, high = (value_of(slot.field, end, option) for end in range_ends(text))
        return low, high
    return parse_range(text, slot.holds, option)


def form_options(kind: str) -> str:
    """The options of a form in words: ``--outer LENGTH, --inner LENGTH, --height LENGTH, --not-bonded``."""
    shown = []
    for stem, slot in _slots(FORMS[kind]).items():
        if slot.stem != stem:
            continue
        if slot.holds == _SWITCH:
            shown.append(f"--not-{stem}" if slot.field.default is True else f"--{stem}")
        elif slot.holds == _POINTS:
            shown.append(f"--{stem} LENGTH:FORCE... or --{stem}s FILE")
        elif slot.holds == _FORM:
            shown.append(f"--{stem} FORM --{stem}-DIMENSION SIZE...")
        else:
            shown.append(f"--{stem} {slot.field.metavar}")
    return ", ".join(shown)


def dimensions_told(kind: str) -> list[tuple[str, str]]:
    """The dimensions of a form with what its description says of them: ``("--outer, --inner", "Diameters in mm.")``."""
    known = {slot.field.name: f"--{slot.stem}" for slot in _slots(FORMS[kind]).values()}
    text = inspect.cleandoc(FORMS[kind].__doc__ or "").partition("Attributes\n----------\n")[2]
    told: list[tuple[str, str]] = []
    for line in text.partition("\n\n")[0].splitlines():
        words = re.sub(r":\w+:|`", "", line.strip())
        if line.startswith(" "):
            told[-1] = told[-1][0], f"{told[-1][1]} {words}".strip()
        else:
            names = words.partition(" : ")[0].split(", ")
            told.append((", ".join(known[name] for name in names if name in known), ""))
    return told


def _slots(cls: type[FormBase]) -> dict[str, _Slot]:
    """Options of a form, without their first hyphens; those of points are there twice, for one and for a file."""
    hints = get_type_hints(cls)
    found: dict[str, _Slot] = {}
    for name, each in record_fields(cls).items():
        stem = each.option.removeprefix("--")
        members = get_args(hints[name]) or (hints[name],)
        within = tuple(m for m in members if isinstance(m, type) and issubclass(m, FormBase))
        if within:
            kinds = tuple(sorted(kind for kind, form in FORMS.items() if issubclass(form, within)))
            found[stem] = _Slot(stem, each, _FORM, kinds)
        elif "tuple[tuple[" in str(hints[name]):
            # "load points": one of them, or a file of all of them.
            one = stem.rpartition("-")[2].removesuffix("s")
            found[one] = found[f"{one}s"] = _Slot(one, each, _POINTS)
        else:
            found[stem] = _Slot(stem, each, each.dimension)
    return found


def _named(slots: Mapping[str, _Slot], name: str) -> _Slot | None:
    """The dimension of an option, also by the first words of its name where no other begins so: ``--infill``."""
    begun = [slot for stem, slot in slots.items() if stem.startswith(f"{name}-")]
    return slots.get(name) or slots.get(name.removeprefix("not-")) or (begun[0] if len(begun) == 1 else None)


def _is_switch(option: str) -> bool:
    """Whether an option of any form, or of the form in a field of it, takes no value."""
    slots = [slot for cls in FORMS.values() for slot in _slots(cls).values() if slot.holds == _SWITCH]
    return any(option.endswith(f"-{slot.stem}") for slot in slots)


def _value(slot: _Slot, option: str, text: str, before: Any) -> Any:
    if slot.holds == _SWITCH:
        if text:
            raise InputError(option, text, "given without a value")
        return not option.removesuffix(slot.stem).endswith("not-")
    if slot.holds == _POINTS:
        if before is not None:
            raise InputError(option, text, "left out with the other", "give the points one by one or as a file")
        if option.endswith("point"):
            return _points(option, text)
        if not text:
            raise InputError(option, None, "the name of a CSV file", "its columns may be deflection_mm and force_n")
        return read_points(text, file_bytes(text))
    return text if slot.holds in (_TEXT, _FORM) else value_of(slot.field, text, option)


def _form(slot: _Slot, option: str, text: str | None, given: dict[str, str], old: FormBase | None) -> FormBase:
    """The form in a field; the one that is there already, otherwise sized, where no other is named."""
    if text is None and old is not None:
        return form_from_words(old.kind, given, within=f"{option}-", old=old)
    allowed = " or ".join(slot.kinds)
    kind, _, sizes = (text or "").strip().partition(" ")
    if kind not in slot.kinds:
        raise InputError(option, text, allowed, f'for instance {option} "ring 12x5x4mm"')
    if not sizes.strip():
        return form_from_words(kind, given, within=f"{option}-", asked=option)
    given = dict(given)
    pieces = split_sizes(sizes)
    stems = [s.stem for s in _slots(FORMS[kind]).values() if s.holds == "length"]
    if len(pieces) > len(stems):
        raise InputError(option, text, f"{kind} and at most {len(stems)} lengths: " + ", ".join(stems))
    for stem, piece in zip(stems, pieces, strict=False):
        if f"{option}-{stem}" in given:
            raise InputError(f"{option}-{stem}", given[f"{option}-{stem}"], f"left out when {option} has the sizes")
        given[f"{option}-{stem}"] = piece
    return form_from_words(kind, given, within=f"{option}-", asked=option)


def _points(option: str, text: str) -> tuple[tuple[float, float], ...]:
    """Points from ``0.4mm:1N`` and the like, as (deflection in mm, force in N), smallest deflection first."""
    found = []
    for pair in filter(None, (each.strip() for each in text.split(_AND))):
        sides = [side.strip() for side in pair.split(":")]
        if len(sides) != 2:
            raise InputError(option, pair, _POINT)
        try:
            found.append(as_point(*sides))
        except InputError as error:
            raise type(error)(option, pair, _POINT, error.cure) from None
    if not found:
        raise InputError(option, None, _POINT)
    return tuple(sorted(found))
