"""A part: a form made of a material."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from matdb.checks import checked_name, checked_number, checked_text
from matdb.errors import InputError
from matdb.form.base import FormBase
from matdb.form.thread import pitch_mm
from matdb.material.families import CABLE
from matdb.material.record import Material


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
    mass_kg, price : float or None
        Of one piece, kg and in a currency of the user's own; None where they were not told.
    """

    name: str
    material: str
    form: FormBase
    thread: str | None = None
    note: str = ""
    mass_kg: float | None = None
    price: float | None = None

    def __post_init__(self) -> None:
        checked_name("part name", self.name)
        checked_name("part material", self.material)
        checked_text("part note", self.note)
        if not isinstance(self.form, FormBase):
            raise InputError("part form", self.form, "a form such as matdb.Ring(outer_mm=16, inner_mm=6, height_mm=5)")
        if self.thread is not None:
            checked_name("part thread", self.thread)
        for name, most, unit in (("mass_kg", 10.0, "kg"), ("price", 1e6, "")):
            if getattr(self, name) is not None:
                object.__setattr__(self, name, checked_number(f"part {name}", getattr(self, name), 0.0, most, unit))

    def misfit(self, material: Material) -> Iterator[str]:
        """That form and material do not go together, and what to do."""
        if self.form.fits(material.family):
            return
        what = f"{self.name}: a {self.form.kind} of {material.family}"
        cure = f"a material of the family '{CABLE}'" if self.form.cable else "the form cable-loop, with its load points"
        yield f"{what} can be anything until it is read; give it {cure} ('matdb part edit')"

    @property
    def screw(self) -> str | None:
        """The screw that squeezes it: its form's own, else its thread."""
        return getattr(self.form, "thread", None) or self.thread

    @property
    def known_screw(self) -> str | None:
        """The first of the form's own screw and the thread whose pitch is known; None without one."""
        for name in (getattr(self.form, "thread", None), self.thread):
            try:
                if name is not None and pitch_mm(name) > 0.0:
                    return str(name)
            except InputError:
                continue
        return None

    def turns_at(self, squeeze_mm: float) -> float | None:
        """A squeeze in turns of its screw past first touch; None where the pitch is not known, or nothing is turned."""
        if self.known_screw is None or (self.form.pair is None and not squeeze_mm):
            return None
        return squeeze_mm / pitch_mm(self.known_screw)

    def squeeze_at(
        self, squeeze_mm: float | None = None, turns: float | None = None, best_mm: float | None = None
    ) -> tuple[float, str]:
        """The squeeze in mm that is asked for, and where it comes from: "asked", "best for the mounting", ….

        Without either, two halves are taken at their spacer's squeeze ("spacer"); else any part at the one that is
        known to be best; else two halves at a tenth of their height ("a tenth of its height"), others at none ("none").

        Raises
        ------
        InputError
            Both, turns below 0, or turns without a screw whose pitch is known.
        """
        if turns is not None:
            if squeeze_mm is not None:
                raise InputError("turns", turns, "left out beside a squeeze", "give one of the two")
            if self.screw is None:
                raise InputError(
                    "turns", turns, f"given for a part with a thread, which {self.name} has not", "give --squeeze 0.5mm"
                )
            if not turns >= 0.0:
                raise InputError("turns", turns, "0 or more past first touch")
            return turns * pitch_mm(self.screw), "asked"
        if squeeze_mm is not None:
            return squeeze_mm, "asked"
        if self.form.pair is not None and self.form.fixed_squeeze_mm is not None:
            return self.form.fixed_squeeze_mm, "spacer"
        if best_mm is not None:
            return best_mm, "best for the mounting"
        if self.form.pair is None:
            return 0.0, "none"
        return round(0.1 * (self.form.squeezable_height_mm or 0.0), 6), "a tenth of its height"
