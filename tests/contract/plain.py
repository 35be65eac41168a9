"""Results of the library as plain values: every public field, arrays as lists."""

import dataclasses
import datetime
import json

import numpy as np

__all__ = ["plain", "text"]

#: Fields that hold machinery instead of an answer.
SKIPPED = {"curve", "draws", "misfit", "offsets", "arrays"}


def plain(value):
    if isinstance(value, (np.ndarray, np.generic)):
        return plain(value.tolist())
    if isinstance(value, complex):
        return {"real": value.real, "imag": value.imag}
    if (names := _fields(value)) is not None:
        shown = sorted(name for name in names if not name.startswith("_") and name not in SKIPPED)
        return {"is": type(value).__name__} | {name: plain(getattr(value, name)) for name in shown}
    if isinstance(value, dict):
        return {str(key): plain(each) for key, each in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(each) for each in value]
    if isinstance(value, datetime.datetime):
        return value.isoformat()
    assert value is None or isinstance(value, (str, int, float, bool)), type(value)
    return value


def _fields(value):
    if dataclasses.is_dataclass(value):
        return [f.name for f in dataclasses.fields(value)]
    return getattr(value, "_fields", None) or getattr(type(value), "__slots__", None)


def text(answers):
    """JSON with one answer a paragraph; short lists in one line."""
    return "\n\n".join(f"{name}\n{_lines(plain(value), '  ')}" for name, value in answers.items()) + "\n"


def _lines(value, indent):
    short = json.dumps(value, ensure_ascii=False)
    if len(short) < 110 or not isinstance(value, (dict, list)):
        return indent + short
    if isinstance(value, dict):
        return "\n".join(
            f"{indent}{key}: {json.dumps(each, ensure_ascii=False)}"
            if len(json.dumps(each)) < 110
            else f"{indent}{key}:\n{_lines(each, indent + '  ')}"
            for key, each in value.items()
        )
    if all(isinstance(each, (int, float)) for each in value):
        return indent + short
    return "\n".join(indent + "-\n" + _lines(each, indent + "  ") for each in value)
