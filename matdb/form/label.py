"""A form in a few words for tables; knows no form, so that a list of parts need not load any."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

__all__ = ["label_of"]


def label_of(values: Mapping[str, Any]) -> str:
    """A short text of kind and dimensions.

    Parameters
    ----------
    values : mapping
        What a form's ``to_dict`` gives: ``{"form": kind, field: value, ...}``.
    """
    parts = []
    for name, value in values.items():
        if name == "form" or isinstance(value, bool) or value is None or value == []:
            continue
        if isinstance(value, Mapping):
            shown = f"({label_of(value)})"
        elif isinstance(value, list):
            shown = f"{len(value)} values"
        else:
            shown = f"{value:g}" if isinstance(value, float | int) else str(value)
        parts.append(f"{name.removesuffix('_mm').replace('_', ' ')} {shown}")
    return f"{values['form']} " + ", ".join(parts)
