"""Part geometry: one file per form; stiffness per unit modulus.

A new form is one file in this folder: a frozen dataclass derived from :class:`FormBase` with ``@register``. It is
found by itself; the names below are only those that the package offers. Files are imported when a name is asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matdb.form.base import FORMS as FORMS
    from matdb.form.base import FormBase as FormBase
    from matdb.form.base import form_from_dict as form_from_dict
    from matdb.form.base import form_from_text as form_from_text
    from matdb.form.bush import Bush as Bush
    from matdb.form.cable_loop import CableLoop as CableLoop
    from matdb.form.grommet_pair import GrommetPair as GrommetPair
    from matdb.form.measured import Measured as Measured
    from matdb.form.pad import Pad as Pad
    from matdb.form.part import Part as Part
    from matdb.form.printed_strut import PrintedStrut as PrintedStrut
    from matdb.form.ring import Ring as Ring
    from matdb.form.strut import Strut as Strut
    from matdb.form.taper import Taper as Taper

__all__ = [
    "FORMS",
    "Bush",
    "CableLoop",
    "FormBase",
    "GrommetPair",
    "Measured",
    "Pad",
    "Part",
    "PrintedStrut",
    "Ring",
    "Strut",
    "Taper",
    "form_from_dict",
    "form_from_text",
]

_HOME = {
    "Bush": "bush",
    "CableLoop": "cable_loop",
    "GrommetPair": "grommet_pair",
    "Measured": "measured",
    "Pad": "pad",
    "Part": "part",
    "PrintedStrut": "printed_strut",
    "Ring": "ring",
    "Strut": "strut",
    "Taper": "taper",
}


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module = import_module(f"{__name__}.{_HOME.get(name, 'base')}")
    if name == "FORMS":
        # Whoever looks through all forms must find all.
        module.import_every_form()
    value = getattr(module, name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return __all__
