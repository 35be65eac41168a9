"""A part: a form made of a material."""

from __future__ import annotations

from dataclasses import dataclass

from matdb.checks import checked_name, checked_text
from matdb.errors import InputError
from matdb.form.base import FormBase

__all__ = ["Part"]


@dataclass(frozen=True, kw_only=True)
class Part:
    """One isolator design: several equal pieces of it count as one part.

    Attributes
    ----------
    name : str
        The part's own name, unique in a store.
    material : str
        The name of its material.
    form : Form
        Its geometry.
    thread : str or None
        The screw that squeezes it, for instance ``"M3"``; None without one.
    note : str
        Free text.
    """

    name: str
    material: str
    form: FormBase
    thread: str | None = None
    note: str = ""

    def __post_init__(self) -> None:
        checked_name("part name", self.name)
        checked_name("part material", self.material)
        checked_text("part note", self.note)
        if not isinstance(self.form, FormBase):
            raise InputError("part form", self.form, "a form such as matdb.Ring(outer_mm=16, inner_mm=6, height_mm=5)")
        if self.thread is not None:
            checked_name("part thread", self.thread)
