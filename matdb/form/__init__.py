"""Part geometry: one file per form; stiffness per unit modulus.

A new form is one file in this folder: a frozen dataclass derived from :class:`FormBase` with ``@register``. It is
found by itself; the names below are only those that the package offers.
"""

import pkgutil
from importlib import import_module

from matdb.form.base import FORMS, FormBase, form_from_dict, form_from_text
from matdb.form.bush import Bush
from matdb.form.cable_loop import CableLoop
from matdb.form.grommet import Grommet
from matdb.form.grommet_pair import GrommetPair
from matdb.form.measured import Measured
from matdb.form.part import Part
from matdb.form.printed_strut import PrintedStrut
from matdb.form.round_pad import Pad, Ring
from matdb.form.strut import Strut
from matdb.form.taper import Taper

__all__ = [
    "FORMS",
    "Bush",
    "CableLoop",
    "FormBase",
    "Grommet",
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

for _module in pkgutil.iter_modules(__path__):
    import_module(f"{__name__}.{_module.name}")
