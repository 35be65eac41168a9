"""Results of the library as plain values: every public field, arrays as lists."""

import dataclasses
import datetime
import json

import numpy as np

import matdb

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
    if isinstance(value, matdb.MedianAnswer):  # in attributes and properties
        return ["basis", "damping_ratio", "extrapolated", "frequency_hz", "natural_frequency_hz", "stiffness_n_per_mm"]
    if dataclasses.is_dataclass(value):
        return [f.name for f in dataclasses.fields(value)]
    return getattr(value, "_fields", None) or getattr(type(value), "__slots__", None)


def text(answers):
    """JSON with one answer a paragraph; rows of numbers in one line."""
    return "\n\n".join(f"{name}\n{_lines(plain(value), '  ')}" for name, value in answers.items()) + "\n"


def _lines(value, indent):
    # The layout follows from the kinds of values alone, so that a digit more moves no line.
    if not isinstance(value, (dict, list)) or _flat(value):
        return indent + json.dumps(value, ensure_ascii=False)
    if isinstance(value, dict):
        return "\n".join(
            f"{indent}{key}: {json.dumps(each, ensure_ascii=False)}"
            if _flat(each)
            else f"{indent}{key}:\n{_lines(each, indent + '  ')}"
            for key, each in value.items()
        )
    return "\n".join(indent + "-\n" + _lines(each, indent + "  ") for each in value)


def _flat(value):
    if isinstance(value, dict):
        return len(value) < 5 and not any(isinstance(each, (dict, list)) for each in value.values())
    if isinstance(value, list):
        return not any(isinstance(each, (dict, list, str)) for each in value)
    return True
