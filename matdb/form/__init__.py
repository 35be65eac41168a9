"""Part geometry: one file per form; stiffness per unit modulus.

A new form is one file in this folder: a frozen dataclass derived from :class:`FormBase` with ``@register``. It is
found by itself; the names below are only those that the package offers.
"""

import pkgutil
from importlib import import_module

from matdb.form.base import FORMS as FORMS
from matdb.form.base import FormBase as FormBase
from matdb.form.base import form_from_dict as form_from_dict
from matdb.form.base import form_from_text as form_from_text
from matdb.form.bent_leg import BentLeg as BentLeg
from matdb.form.bush import Bush as Bush
from matdb.form.cable_loop import CableLoop as CableLoop
from matdb.form.grommet import Grommet as Grommet
from matdb.form.grommet_pair import GrommetPair as GrommetPair
from matdb.form.measured import Measured as Measured
from matdb.form.part import Part as Part
from matdb.form.printed_strut import PrintedStrut as PrintedStrut
from matdb.form.round_pad import Pad as Pad
from matdb.form.round_pad import Ring as Ring
from matdb.form.strut import Strut as Strut
from matdb.form.taper import Taper as Taper

for _module in pkgutil.iter_modules(__path__):
    import_module(f"{__name__}.{_module.name}")
