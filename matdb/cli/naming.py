"""Fields as the command line calls them: an error about ``mass_kg`` is one about ``--mass`` to whoever typed that."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from matdb.bench.readings import reading_fields
from matdb.errors import InputError
from matdb.fields import stem_of

#: Options whose name does not follow from a field's, of records that do not say so themselves.
_OPTION_OF: Final = {
    "rpm_idle": "--rotor",
    "rpm_full": "--rotor",
    "rpm_hover": "--hover",
    "orders": "--order",
    "load_factors": "--load",
    "set_share": "--set",
    "low_c": "--temp",
    "high_c": "--temp",
    "sample_rate_hz": "--rate",
    "time_column": "--time",
    "signal_columns": "--signal",
    "base_columns": "--base",
}
_FIELD: Final = re.compile(r"(?<![\w'-])[a-z]+(?:_[a-z0-9]+)+(?!\w)")


def as_typed(error: InputError, words: Sequence[str]) -> InputError:
    """The same error in the words that the user typed; where no option fits, as it was.

    Parameters
    ----------
    error : InputError
        Its field may be that of a record, such as ``mass_kg`` or ``part thread``; ``field`` and ``value`` of the
        error itself stay what programs know.
    words : sequence of str
        The words after ``matdb``.
    """
    typed = {word.partition("=")[0] for word in words if word.startswith("--")}
    option = _option(error.field.rpartition(" ")[2], typed)
    if option is None:
        return error

    def named(text: str) -> str:
        return _FIELD.sub(lambda match: _option(match[0], typed) or match[0], text)

    return type(error)(option, error.value, named(error.allowed), named(error.cure))


def _option(field: str, typed: set[str]) -> str | None:
    """The option among those typed that fills a field."""
    read = reading_fields().get(field)
    own = read.option if read else _OPTION_OF.get(field)
    return next((name for name in (own, _as_option(field), _as_option(stem_of(field))) if name in typed), None)


def _as_option(name: str) -> str:
    return "--" + name.replace("_", "-")
