"""An error is one plain line, whatever was put into it."""

import inspect
import pickle

import pytest

from matdb import errors
from matdb.errors import InputError, MatdbError, StoreError, plain_line

ODD = "a\nb\x1b[31m\u2028\ud800\x00" + "x" * 5000


@pytest.mark.parametrize("parts", [(ODD, 1, "2"), ("f", ODD, "2"), ("f", 1, ODD), ("f", 1, "2", ODD)])
def test_whatever_field_or_value_it_is_one_line(parts):
    error = InputError(*parts)
    assert str(error).isprintable()
    assert len(str(error)) <= 1000
    assert error.field == parts[0]


def test_every_exception_is_one_line():
    for name, kind in inspect.getmembers(errors, inspect.isclass):
        if issubclass(kind, MatdbError):
            needed = [p for p in inspect.signature(kind).parameters.values() if p.default is p.empty]
            error = kind(*(ODD for _ in needed)) if needed else kind(ODD)
            assert str(error).isprintable(), name
            assert len(str(error)) <= 1000, name


def test_every_exception_can_be_handed_to_another_process():
    for name, kind in inspect.getmembers(errors, inspect.isclass):
        if issubclass(kind, MatdbError):
            needed = [p for p in inspect.signature(kind).parameters.values() if p.default is p.empty]
            error = kind(*("some words" for _ in needed)) if needed else kind("some words")
            again = pickle.loads(pickle.dumps(error))
            assert (type(again), str(again), vars(again)) == (kind, str(error), vars(error)), name
    odd = InputError("form", lambda: 0, "a form")
    assert str(pickle.loads(pickle.dumps(odd))) == str(odd)


def test_the_end_of_a_long_message_is_kept():
    assert str(StoreError("x" * 5000, "restore a backup")).endswith("restore a backup")
    assert plain_line("short") == "short"
