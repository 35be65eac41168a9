"""Options from the fields of a record: what a field is called, holds and means stands in its class alone."""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Annotated, Any

import typer

from matdb.cli.options import collects
from matdb.exchange.columns import value_of
from matdb.fields import FieldInfo

if TYPE_CHECKING:
    from matdb.api import Store

__all__ = ["argument", "option", "replaced", "values_of", "with_fields"]


def argument(each: FieldInfo) -> inspect.Parameter:
    """A field as a needed word of a command."""
    return _parameter(each, typer.Argument(metavar=each.name.upper(), help=each.help), needed=True)


def option(each: FieldInfo, words: str | None = None, *, optional: bool = False) -> inspect.Parameter:
    """A field as an option.

    Parameters
    ----------
    each : FieldInfo
        The field.
    words : str, optional
        The option's help, instead of the field's own.
    optional : bool
        Take None for "not said", whatever the field has by default.
    """
    about = typer.Option(each.option, metavar=each.metavar, help=each.help if words is None else words)
    return _parameter(each, about, needed=each.needed and not optional, default=None if optional else each.default)


def _parameter(each: FieldInfo, about: Any, *, needed: bool, default: Any = None) -> inspect.Parameter:
    default = default if isinstance(default, int | str) else None
    kind: Any = int if isinstance(default, int) else str
    if not needed and default is None:
        kind = kind | None
    return inspect.Parameter(
        each.name,
        inspect.Parameter.KEYWORD_ONLY,
        default=inspect.Parameter.empty if needed else default,
        annotation=Annotated[kind, about],
    )


def with_fields(*parameters: inspect.Parameter) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Decorate a command as :func:`collects` does; these parameters stand where its own ``given`` does."""
    return functools.partial(collects, fields=parameters)


def values_of(
    known: Mapping[str, FieldInfo], given: Mapping[str, Any], *, keep_defaults: bool = False
) -> dict[str, Any]:
    """Texts of options to the values of fields; what was not said, or is as by default, is left out.

    Raises
    ------
    UnitError, InputError
        A text that cannot be read as its field.
    """
    values = {}
    for name, text in given.items():
        each = known[name]
        if text is None or (text == each.default and not keep_defaults):
            continue
        # Free text is taken as it is; only files carry guarded cells.
        is_text = each.dimension in ("name", "text")
        value = text if is_text else value_of(each, str(text), each.option)
        if value is not None:
            values[name] = value
    return values


def replaced(kept: Store, what: str, name: str) -> list[dict[str, Any]]:
    """What a material or part said before, with when and why that was replaced."""
    return [
        {"replaced_at": when, "why": why, "before": before} for when, why, before in kept.records.history(what, name)
    ]
