"""What every form shares: checked dimensions, the protocol, and the way to and from a plain dictionary."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Any, ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matdb.errors import InputError

__all__ = ["FORMS", "Form", "FormBase", "form_from_dict", "register"]

Array = NDArray[np.float64]

#: Every form by its short name, filled by :func:`register`.
FORMS: dict[str, type[FormBase]] = {}


def register(cls: type[FormBase]) -> type[FormBase]:
    """Class decorator: make a form known by its ``kind`` to the store and the command line."""
    FORMS[cls.kind] = cls
    return cls


@dataclass(frozen=True)
class FormBase:
    """A part's geometry: dimensions in mm, stiffness per unit modulus.

    A form is a frozen dataclass whose fields are its dimensions; field names end in their unit.
    ``kind`` is its short name, ``axes`` the directions in which it has a stiffness, the first the usual one.
    """

    kind: ClassVar[str] = ""
    axes: ClassVar[tuple[str, ...]] = ("axial",)
    #: False for a form known only by its readings: its scale is free.
    has_geometry: ClassVar[bool] = True

    def stiffness_n_per_mm(
        self, youngs_modulus_mpa: ArrayLike = 1.0, axis: str = "axial", *, squeeze_mm: ArrayLike = 0.0
    ) -> Any:
        """Tangent stiffness of one part in N/mm; arrays broadcast, a scalar gives a float.

        Parameters
        ----------
        youngs_modulus_mpa : array_like
            Young's modulus in MPa, real or complex.
        axis : str
            One of ``axes``.
        squeeze_mm : array_like
            Static squeeze along the axis that the part already carries, in mm, 0 or more.

        Raises
        ------
        InputError
            The form has no such axis, or the squeeze leaves the form's range.
        """
        self._check_axis(axis)
        value = np.asarray(youngs_modulus_mpa) * self.unit_stiffness(axis, np.asarray(squeeze_mm, dtype=float))
        return value.item() if value.ndim == 0 else value

    def unit_stiffness(self, axis: str, squeeze_mm: Array) -> Array:
        """Stiffness in N/mm at a Young's modulus of 1 MPa; what each form implements."""
        raise NotImplementedError

    def offset_sd(self, axis: str = "axial") -> float:
        """Standard deviation of ln(true / computed stiffness) that the geometry alone leaves open."""
        return 0.15

    def warnings(self, axis: str = "axial") -> tuple[str, ...]:
        """What the user should know of this geometry: outside a table's range, slender, very thin."""
        return ()

    @property
    def squeezable_height_mm(self) -> float | None:
        """The height that a squeeze along the axis acts on, in mm; None where a squeeze has no meaning."""
        return None

    def to_dict(self) -> dict[str, Any]:
        """The form as plain values: ``{"form": kind, field: value, …}``."""
        return {"form": self.kind} | {f.name: getattr(self, f.name) for f in fields(self)}

    def label(self) -> str:
        """A short text of kind and dimensions for tables."""
        parts = []
        for f in fields(self):
            value = getattr(self, f.name)
            if isinstance(value, bool) or value is None or value == ():
                continue
            shown = f"{value:g}" if isinstance(value, float | int) else str(value)
            parts.append(f"{f.name.removesuffix('_mm').replace('_', ' ')} {shown}")
        return f"{self.kind} " + ", ".join(parts)

    def _check_axis(self, axis: str) -> None:
        if axis not in self.axes:
            raise InputError("axis", axis, "one of " + ", ".join(self.axes) + f" for a {self.kind}")

    def _positive(self, *names: str) -> None:
        """Check that the named dimensions are finite, above zero and at most a metre; store them as floats."""
        for name in names:
            value = getattr(self, name)
            try:
                number = float(value)
            except (TypeError, ValueError):
                number = math.nan
            if isinstance(value, bool) or not (0.0 < number <= 1000.0):
                raise InputError(f"{self.kind} {name}", value, "above 0 and at most 1000 mm")
            object.__setattr__(self, name, number)

    def _below(self, small: str, large: str) -> None:
        if not getattr(self, small) < getattr(self, large):
            raise InputError(
                f"{self.kind} {small}", getattr(self, small), f"below {large} ({getattr(self, large):g} mm)"
            )


Form = FormBase


def form_from_dict(values: dict[str, Any]) -> FormBase:
    """Build a form from what :meth:`FormBase.to_dict` gave.

    Raises
    ------
    InputError
        Unknown form, missing or unknown dimension, or a dimension out of range.
    """
    rest = dict(values)
    kind = rest.pop("form", None)
    if not isinstance(kind, str) or kind not in FORMS:
        raise InputError("form", kind, "one of " + ", ".join(sorted(FORMS)))
    cls = FORMS[kind]
    known = {f.name for f in fields(cls)}
    for name in rest:
        if name not in known:
            raise InputError(f"{kind} {name}", rest[name], "one of the fields " + ", ".join(sorted(known)))
    try:
        return cls(**rest)
    except TypeError as error:
        raise InputError(f"form {kind}", sorted(rest), "given with all of its dimensions", str(error)) from None
