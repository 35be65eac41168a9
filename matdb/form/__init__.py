"""Part geometry: one file per form; stiffness per unit modulus."""

from matdb.form.base import FORMS, FormBase, form_from_dict
from matdb.form.bush import Bush
from matdb.form.pad import Pad
from matdb.form.part import Part
from matdb.form.ring import Ring
from matdb.form.strut import Strut

__all__ = ["FORMS", "Bush", "FormBase", "Pad", "Part", "Ring", "Strut", "form_from_dict"]
