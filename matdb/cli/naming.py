"""Fields as the command line calls them: an error about ``mass_kg`` is one about ``--mass`` to whoever typed that."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from matdb.errors import InputError

__all__ = ["as_typed"]

#: Options whose name does not follow from the field's.
_OPTION_OF: Final = {
    "temperature_c": "--temp",
    "temperature_sd_c": "--temp-sd",
    "log_decrement": "--decrement",
    "log_decrement_sd": "--decrement-sd",
    "half_power_width_hz": "--width",
    "seconds_out": "--out",
    "taken_at": "--at",
    "rpm_idle": "--rotor",
    "rpm_full": "--rotor",
    "rpm_hover": "--hover",
    "orders": "--order",
    "load_factors": "--load",
    "assembly_c": "--assembly",
    "set_share": "--set",
    "low_c": "--temp",
    "high_c": "--temp",
    "fit": "--fit",
    "sample_rate_hz": "--rate",
    "time_column": "--time",
    "signal_columns": "--signal",
    "base_columns": "--base",
    "car_c": "--car",
}
_UNIT: Final = re.compile(r"_(?:kg_m3|n_per_mm|sd_c|kg|mm|hz|mpa|min|deg|us|um|ms|c|m|n|s)$")
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
    stem = _UNIT.sub("", field)
    for name in (_OPTION_OF.get(field), *("--" + each.replace("_", "-") for each in (field, stem))):
        if name in typed:
            return name
    return None
