"""What every form shares: checked dimensions, the protocol, and the way to and from a plain dictionary."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matdb.checks import any_array, checked_number, one_of, picked
from matdb.errors import InputError
from matdb.fields import PlainRecord, fields_of, from_plain, stem_of
from matdb.material.families import CABLE

if TYPE_CHECKING:
    from matdb.form.grommet_pair import GrommetPair

Array = NDArray[np.float64]

#: Largest squeeze over free height that any form answers for; far beyond what a mount should carry.
MAX_SQUEEZE_SHARE = 0.5

#: What a part resists when one end turns about a diameter, beside the forms' own axes.
TILTING = "tilting"

#: Squeezes that are tried when none is asked for, as shares of the height.
SQUEEZE_SHARES = (0.0, 0.05, 0.10, 0.15, 0.20)
#: Legs are tried up to this share of the squeeze at which they buckle; common practice, no source.
_BUCKLING_SHARE_MOST = 0.5

#: Where a finite bulk modulus takes off less than this (ln) of any stiffness, it is left out.
LEAST_BULK_SOFTENING = 0.01
#: And from this Young's over bulk modulus on it is rubber no more.
MOST_COMPRESSIBILITY = 0.4

#: Standard deviation of ln stiffness where neither drawing nor material says it; one reading settles it.
UNKNOWN_SD = 3.0
UNREAD = "reading on the part"  # in cautions that hold until there is one

#: Dimensions beyond this are asked about, mm.
_LARGE_MM = 60.0

#: Every form by its short name, filled by :func:`register`.
FORMS: dict[str, type[FormBase]] = {}


def register(cls: type[FormBase]) -> type[FormBase]:
    """Class decorator: make a form known by its ``kind`` to the store and the command line."""
    FORMS[cls.kind] = cls
    return cls


@dataclass(frozen=True)
class FormBase(PlainRecord):
    """A part's geometry: dimensions in mm, stiffness per unit modulus.

    A form is a frozen dataclass whose fields are its dimensions; field names end in their unit.
    ``kind`` is its short name, ``axes`` the directions in which it has a stiffness, the first the usual one.
    """

    kind: ClassVar[str] = ""
    axes: ClassVar[tuple[str, ...]] = ("axial",)
    #: Those of them that frictionless faces cannot carry.
    needs_bond: ClassVar[tuple[str, ...]] = ()
    #: By field, those that say the same in other words: what is told last takes their place.
    instead: ClassVar[Mapping[str, tuple[str, ...]]] = {}
    #: A cut through it in text, and what a builder calls it.
    sketch: ClassVar[tuple[str, ...]] = ()
    called: ClassVar[str] = ""
    #: By option, the question for each dimension that somebody new to it is asked.
    asked: ClassVar[Mapping[str, str]] = {}
    #: How a builder comes by one: "print", "cut" or "buy".
    made: ClassVar[str] = "cut"
    #: What it does where :attr:`leans` holds, and how, and what helps.
    gives_way: ClassVar[tuple[str, str, str]] = "buckle", "a leg so slender leans over", "a shorter or thicker one"
    #: False for a form known only by its readings: its scale is free.
    has_geometry: ClassVar[bool] = True
    #: Whether it is wire rope, whose own load points say how stiff it is, and not rubber.
    cable: ClassVar[bool] = False
    #: Standard deviation of ln(true / computed stiffness) that real dimensions, edges and bonding leave open where the
    #: finite-element tables hold, and where only a closed form does (itself off by up to 10–20 %).
    inside_sd: ClassVar[float] = 0.15
    outside_sd: ClassVar[float] = 0.25

    def __getstate__(self) -> dict[str, Any]:
        # What was computed of it meanwhile stays behind: some of it are functions, which do not pickle.
        return fields_of(self)

    def stiffness_n_per_mm(
        self,
        youngs_modulus_mpa: ArrayLike = 1.0,
        axis: str = "axial",
        *,
        squeeze_mm: ArrayLike = 0.0,
        bulk_modulus_mpa: ArrayLike | None = None,
    ) -> Any:
        """Tangent stiffness of one part in N/mm; arrays broadcast, a scalar gives a float.

        Parameters
        ----------
        youngs_modulus_mpa : array_like
            Young's modulus in MPa, real or complex.
        axis : str
            One of ``axes``.
        squeeze_mm : array_like
            Static squeeze along the part's height that it already carries, in mm, 0 or more.
        bulk_modulus_mpa : array_like or None
            Bulk modulus in MPa, above 0; None for an incompressible material. It matters from shape factors
            of about 3 up (rubbers have 1000 to 2500 MPa).

        Raises
        ------
        InputError
            The form has no such axis, the squeeze leaves the form's range, or a modulus is not above 0.
        """
        self._check_axis(axis)
        return self._scaled(partial(self.unit_stiffness, axis), youngs_modulus_mpa, squeeze_mm, bulk_modulus_mpa)

    def tilting_stiffness_n_mm_per_rad(
        self, youngs_modulus_mpa: ArrayLike = 1.0, *, bulk_modulus_mpa: ArrayLike | None = None
    ) -> Any:
        """Moment over angle of one end against the other about a diameter, in N mm/rad, unsqueezed.

        About the middle of the part, where turning and moving sideways do not mix; for two halves about the plate
        between them.

        Parameters
        ----------
        youngs_modulus_mpa, bulk_modulus_mpa : array_like
            As of :meth:`stiffness_n_per_mm`.

        Raises
        ------
        InputError
            A form without geometry, or a modulus is not above 0.
        """
        return self._scaled(lambda _, soft: self.unit_tilting(soft), youngs_modulus_mpa, 0.0, bulk_modulus_mpa)

    def unit_tilting(self, compressibility: Any = 0.0) -> Any:
        """Tilting stiffness in N mm/rad at a Young's modulus of 1 MPa; see :meth:`unit_stiffness`."""
        raise InputError("form", self.kind, "one whose dimensions say how it tilts")

    def _scaled(
        self,
        unit: Callable[[Array, Any], Any],
        youngs_modulus_mpa: ArrayLike,
        squeeze_mm: ArrayLike = 0.0,
        bulk_modulus_mpa: ArrayLike | None = None,
    ) -> Any:
        """What a function of squeeze and compressibility gives per unit modulus, at a modulus; all of them checked."""
        modulus = _checked_modulus("youngs_modulus_mpa", youngs_modulus_mpa)
        squeeze = self._checked_squeeze(squeeze_mm)
        soft = 0.0 if bulk_modulus_mpa is None else modulus / _checked_modulus("bulk_modulus_mpa", bulk_modulus_mpa)
        ones = np.ones(np.broadcast_shapes(squeeze.shape, np.shape(soft)))
        value = np.asarray(modulus * (unit(squeeze, soft) * ones))
        return value.item() if value.ndim == 0 else value

    def ln_bulk_softening(self, axis: str, ln_modulus: ArrayLike, bulk_modulus_mpa: float) -> Any:
        """Ln of what a finite bulk modulus leaves of the unsqueezed stiffness: near 0, or below where faces confine.

        Parameters
        ----------
        axis : str
            One of ``axes``.
        ln_modulus : array_like, real or complex
            Ln of Young's modulus in MPa; above 0.4 of the bulk modulus as there (in glass that rises too).
        bulk_modulus_mpa : float
            Above 0; rubbers have 1000 to 2500 MPa.
        """
        none = np.zeros(())
        over = np.maximum(np.real(ln_modulus) - math.log(MOST_COMPRESSIBILITY * bulk_modulus_mpa), 0.0)
        stiff = self.unit_stiffness(axis, none, np.exp(ln_modulus - over) / bulk_modulus_mpa)
        left = stiff / self.unit_stiffness(axis, none)
        # Near 1 NumPy's own logarithm of a complex number takes ten times as long.
        return np.log(np.abs(left)) + 1j * np.angle(left) if np.iscomplexobj(left) else np.log(left)

    def unit_stiffness(self, axis: str, squeeze_mm: Array, compressibility: Any = 0.0) -> Any:
        """Stiffness in N/mm at a Young's modulus of 1 MPa; what each form implements.

        Parameters
        ----------
        axis : str
            One of ``axes``, checked already.
        squeeze_mm : ndarray
            Squeeze in mm, checked already.
        compressibility : array_like
            Young's over bulk modulus, 0 for incompressible; may be complex.

        Returns
        -------
        float or ndarray
            One number where neither changes it.
        """
        raise NotImplementedError

    def pressed_unit(self, axis: str, squeeze_mm: float, deflection_mm: float) -> float:
        """N/mm at 1 MPa that a weight feels which presses it so much further: the tangent, where that hardly changes.

        Parameters
        ----------
        axis : str
            One of ``axes``, checked already.
        squeeze_mm, deflection_mm : float
            Squeeze before, and what the weight adds.
        """
        return float(self.stiffness_n_per_mm(1.0, axis, squeeze_mm=squeeze_mm))

    @property
    def covered(self) -> bool:
        """Whether finite-element tables hold this geometry, or it needs none."""
        return True

    @property
    def _ratios_shown(self) -> str:
        """The ratios that decide whether the tables hold it, for the warning that they do not."""
        return ""

    def offset_sd(self, axis: str = "axial") -> float:
        """Standard deviation of ln(true / computed stiffness) that the geometry alone leaves open.

        Usually 0.15 inside the finite-element tables, 0.25 outside.

        Raises
        ------
        InputError
            The form has no such axis.
        """
        self._check_axis(axis)
        return self.inside_sd if self.covered else self.outside_sd

    def fits(self, family: str) -> bool:
        """Whether such a part can be made of a material of that family: wire rope and rubber do not mix."""
        return self.cable == (family == CABLE) or not (self.cable or self.has_geometry)

    def made_of_sd(self, axis: str, family: str) -> float:
        """:meth:`offset_sd` of a part of a family's material; :data:`UNKNOWN_SD` where it does not fit."""
        return self.offset_sd(axis) if self.fits(family) else UNKNOWN_SD

    #: Standard deviation of what one direction's offset has over another's, in shares of ``offset_sd``. Dimensions off
    #: by 10 % leave but 0.04 of ln on a ring, for they act on every direction alike (tests/form/test_directions.py);
    #: bonds, edges and seats leave more.
    apart_share: ClassVar[float] = 0.7

    def warnings(self, axis: str = "axial") -> tuple[str, ...]:
        """What the user should know of this geometry: outside a table's range, slender, very thin.

        Raises
        ------
        InputError
            The form has no such axis.
        """
        self._check_axis(axis)
        return _warnings(self, axis)

    def cautions(self, axis: str) -> Iterable[str]:
        """What a form adds to its :meth:`warnings`, without its own name in front.

        Parameters
        ----------
        axis : str
            One of ``axes``, checked already.
        """
        return ()

    @property
    def squeezable_height_mm(self) -> float | None:
        """The height that a squeeze along the axis acts on, in mm: that of a field ``height_mm``.

        None where a squeeze has no meaning.
        """
        return getattr(self, "height_mm", None)

    @property
    def solid_mm(self) -> tuple[float | None, float | None, float] | None:
        """Height, outer diameter and bore in mm of the solid that heat has to cross; None where it is none.

        A height of None is that of a long body, a diameter of None that of a wide one.
        """
        height = getattr(self, "height_mm", None) or getattr(self, "length_mm", None)
        outer = getattr(self, "diameter_mm", None) or getattr(self, "outer_mm", None)
        return None if height is None and outer is None else (height, outer, getattr(self, "inner_mm", 0.0))

    #: Whether it is a body of revolution, so that its widths are diameters.
    round: ClassVar[bool] = True

    @property
    def drawn_mm(self) -> list[tuple[str, list[tuple[float, float]]]]:
        """The part cut through its axis, x across and z up, in mm: of each piece what it is, and its outline.

        ``"rubber"``, ``"infill"`` or ``"plate"``; nothing for a form without geometry.
        """
        height, outer, inner = self.solid_mm or (None, None, 0.0)
        known = height is not None and outer is not None and self.has_geometry
        return stacked([("rubber", (inner, outer), height)]) if known else []  # type: ignore[list-item]

    @property
    def rubber_mm3(self) -> float | None:
        """Volume of what it is made of, mm3, an infill by its share; None for a form that is not round or not drawn."""
        pieces = [(kind, outline) for kind, outline in self.drawn_mm if kind != "plate" and min(outline)[0] >= 0.0]
        if not self.round or not pieces:
            return None
        shares = {"rubber": 1.0, "infill": getattr(self, "infill_share", 1.0) - 1.0}
        return sum(shares[kind] * _turned_mm3(outline) for kind, outline in pieces)

    def deck_mm(self, squeeze_mm: float) -> float | None:
        """Height in mm at which it holds what stands on it, before that weighs on it; None where it has none.

        Of two halves under a screw that of the lower one, on which the plate lies.

        Parameters
        ----------
        squeeze_mm : float
            Static squeeze.
        """
        height = self.bearing_height_mm
        return height - squeeze_mm * height / (self.squeezable_height_mm or height) if height else None

    @property
    def doubts(self) -> Iterator[str]:
        """What of its dimensions cannot well be meant: a slip of a unit or a digit. Common practice, no source."""
        height, outer, inner = self.solid_mm or (None, None, 0.0)
        for name, value in self.to_dict().items():
            if name.endswith("_mm") and value and isinstance(value, float) and not 0.2 <= value <= 150.0:
                yield f"{stem_of(name)} of {value:g} mm"
        if outer and height and "shear" in self.axes and (factor := (outer - inner) / (4.0 * height)) > 8.0:
            yield f"{outer:g} mm across and {height:g} mm high, a foil (a shape factor of {factor:.3g})"
        if outer and inner and not 0.05 <= inner / outer <= 0.95:
            yield f"a hole of {inner:g} mm in {outer:g} mm (a diameter ratio of {inner / outer:.2g})"

    @property
    def large(self) -> str:
        """The question whether dimensions beyond what is usual are meant; empty where none is. Common practice."""
        sizes = [(stem_of(k), v) for k, v in self.to_dict().items() if k.endswith("_mm") and isinstance(v, float)]
        told = " and ".join(f"{stem} of {value:g} mm" for stem, value in sizes if value > _LARGE_MM)
        return f"{told}: more than parts of this kind usually have (up to {_LARGE_MM:g} mm); meant?" * bool(told)

    def check_meant(self) -> None:
        """Ask back before such dimensions are stored. Raises InputError that tells its :attr:`doubts`."""
        doubts = ", ".join(self.doubts)
        if doubts:
            cure = "mind the units; with --yes, from Python with sure=True, it is stored as it is"
            says = f"{doubts}: hardly what an isolator for a camera measures"
            raise InputError("dimensions", doubts, "as of an isolator for a camera", cure, says=says)

    def strained_mm(self, axis: str) -> float | None:
        """Length in mm over which a small deflection along an axis strains the rubber; None where it is not known."""
        outer, inner = getattr(self, "outer_mm", None), getattr(self, "inner_mm", 0.0)
        if outer is not None and inner and "radial" in self.axes:
            return float(0.5 * (outer - inner))
        return None if self.solid_mm is None else self.solid_mm[0]

    @property
    def cross_axis(self) -> str | None:
        """The direction across its axis: shear, lateral or radial; None where it has only one."""
        others = [axis for axis in self.axes if axis not in ("axial", "torsion")]
        free = not getattr(self, "bonded", True)
        return others[0] if others and "axial" in self.axes and not free else None

    @property
    def pair(self) -> GrommetPair | None:
        """The form as two halves that one screw squeezes, either of which may lift off; None for one piece."""
        return None

    @property
    def as_half(self) -> str | None:
        """The form as half of a grommet pair, in the words of its option; None where it cannot be one."""
        return None

    @property
    def buckling_share(self) -> float:
        """Axial squeeze over height at which the form leans over or folds; infinite for one too stout for either."""
        return math.inf

    @property
    def leans(self) -> bool:
        """Whether its travel ends where it buckles, before it bottoms out: a slender leg, a thin wall."""
        return self.buckling_share < MAX_SQUEEZE_SHARE

    @property
    def fixed_squeeze_mm(self) -> float | None:
        """Squeeze in mm at which the form itself stops the screw, 0 or more; None where nothing stops it."""
        return None

    @property
    def bearing_height_mm(self) -> float:
        """Free height in mm of what a lasting load presses; 0 where a squeeze has no meaning."""
        return self.squeezable_height_mm or 0.0

    def travel_height(self, axis: str) -> tuple[float, float] | None:
        """The height in mm that the form travels in, and the share of a static squeeze that it takes; None without one.

        Of two halves it is the lower one that the payload presses; a slender leg travels until it buckles.

        Parameters
        ----------
        axis : str
            The axis that carries the load.
        """
        height = self.squeezable_height_mm
        if height is None or axis != "axial":
            return None
        bearing = self.bearing_height_mm
        return bearing * min(1.0, self.buckling_share / MAX_SQUEEZE_SHARE), bearing / height

    def squeezes_to_try(self, axis: str) -> list[float]:
        """Squeezes in mm to try: none, and up to a fifth of the height where it has one; a spacer's alone.

        Parameters
        ----------
        axis : str
            The axis that carries the load.
        """
        height = self.squeezable_height_mm
        if height is None or axis != "axial" or not self.has_geometry:
            return [0.0]
        if self.fixed_squeeze_mm is not None:
            return [self.fixed_squeeze_mm]
        most = _BUCKLING_SHARE_MOST * self.buckling_share
        return [round(share * height, 6) for share in SQUEEZE_SHARES if share == 0.0 or share <= most]

    def to_dict(self) -> dict[str, Any]:
        """The form as plain values: ``{"form": kind, field: value, …}``."""
        return {"form": self.kind} | super().to_dict()

    def label(self, unit: str = "") -> str:
        """A short text of kind and dimensions: lengths in mm, after which ``unit`` is said, and what is none."""
        return _label_of(self.to_dict(), unit)

    def _check_axis(self, axis: str) -> None:
        if not isinstance(axis, str) or axis not in self.axes:
            raise InputError("axis", axis, "one of " + ", ".join(self.axes) + f" for a {self.kind}")
        if axis in self.needs_bond:
            self._check_bond(axis)

    def _checked_squeeze(self, squeeze_mm: ArrayLike) -> Array:
        """Return the squeeze as an array, or say why it cannot be."""
        squeeze = any_array("squeeze_mm", squeeze_mm)
        if squeeze.dtype.kind not in "fiu":
            raise InputError("squeeze_mm", squeeze_mm, "a number or an array of numbers in mm")
        squeeze = squeeze.astype(float, copy=False)
        if not squeeze.any():
            return squeeze
        height = self.squeezable_height_mm
        if height is None:
            allowed = f"0 for a {self.kind}, which takes no squeeze"
            raise InputError("squeeze_mm", _first(squeeze, squeeze != 0.0), allowed)
        bad = ~((squeeze >= 0.0) & (squeeze <= MAX_SQUEEZE_SHARE * height))
        if bad.any():
            most = f"{MAX_SQUEEZE_SHARE * height:g} mm ({MAX_SQUEEZE_SHARE:.0%} of {height:g} mm)"
            allowed = f"0 to {most} for a {self.kind}"
            raise InputError("squeeze_mm", _first(squeeze, bad), allowed, "squeeze less or take a taller part")
        return squeeze

    def _positive(self, *names: str, or_zero: bool = False) -> None:
        """Check that the named dimensions are above zero, or zero, and at most a metre; store them as floats."""
        for name in names:
            value = getattr(self, name)
            value = checked_number(f"{self.kind} {name}", value, 0.0, 1000.0, "mm", open_low=not or_zero)
            object.__setattr__(self, name, value)

    def _yes_or_no(self, *names: str) -> None:
        for name in names:
            if not isinstance(getattr(self, name), bool):
                raise InputError(f"{self.kind} {name}", getattr(self, name), "true or false")

    def _check_bond(self, axis: str) -> None:
        """Refuse a direction in which frictionless faces carry nothing."""
        if not getattr(self, "bonded", True):
            allowed = f"one that frictionless faces can carry in a {self.kind}"
            raise InputError("axis", axis, allowed, "take bonded=True")

    def _below(self, small: str, large: str) -> None:
        value, most = getattr(self, small), getattr(self, large)
        if not value < most:
            raise InputError(f"{self.kind} {small}", value, f"below {large} ({most:g} mm)")

    def _one_of(self, name: str, allowed: Iterable[str]) -> None:
        one_of(f"{self.kind} {name}", getattr(self, name), allowed)


def stacked(layers: Iterable[tuple[str, tuple[float, ...], float]]) -> list[tuple[str, list[tuple[float, float]]]]:
    """Layers of revolution, one on the other, cut through their axis; see :attr:`FormBase.drawn_mm`.

    Parameters
    ----------
    layers : iterable of (str, (float, float), float)
        What it is, inner and outer diameter (and outer diameter at its top), height; a height below 0 lies beside the
        next layer.
    """
    pieces, z = [], 0.0
    for kind, (inner, outer, *top), height in layers:
        tall = abs(height)
        right = [(inner / 2.0, z), (outer / 2.0, z), ((top or [outer])[0] / 2.0, z + tall), (inner / 2.0, z + tall)]
        pieces.append((kind, right))
        pieces.append((kind, [(-x, level) for x, level in right]))
        z += max(height, 0.0)
    return pieces


def _turned_mm3(outline: Sequence[tuple[float, float]]) -> float:
    """Volume of an outline turned about the axis, by Pappus's rule: its area times the way of its centre of mass."""
    ends = zip(outline, [*outline[1:], outline[0]], strict=True)
    return abs(math.pi / 3.0 * sum((x + x1) * (x * y1 - x1 * y) for (x, y), (x1, y1) in ends))


def _checked_modulus(name: str, value: ArrayLike) -> Any:
    """Return a modulus as a real or complex array whose real part is above 0 (nan passes)."""
    array = any_array(name, value)
    if array.dtype.kind not in "fciu":
        raise InputError(name, value, "a number or an array of numbers in MPa")
    bad = array.real <= 0.0
    if bad.any():
        raise InputError(name, _first(array, bad), "above 0 MPa")
    return array


def _first(values: Any, where: Any) -> Any:
    """Return the first value that is marked, for an error message."""
    return np.broadcast_to(values, where.shape)[where].flat[0].item()


def _label_of(values: Mapping[str, Any], unit: str = "") -> str:
    """A short text of kind and dimensions.

    Parameters
    ----------
    values : mapping
        What a form's ``to_dict`` gives: ``{"form": kind, field: value, ...}``.
    unit : str
        Said after the lengths.
    """
    lengths, others = list[str](), list[str]()
    for name, value in values.items():
        if name == "form" or isinstance(value, bool) or value is None or value == []:
            continue
        if isinstance(value, Mapping):
            shown = f"({_label_of(value)})"
        elif isinstance(value, list):
            shown = f"{len(value)} values"
        else:
            shown = f"{value:g}" if isinstance(value, float | int) else str(value)
        to = lengths if name.endswith("_mm") or isinstance(value, Mapping) else others
        to.append(f"{stem_of(name).replace('_', ' ')} {shown}")
    if lengths and unit:
        lengths[-1] += f" {unit}"
    return f"{values['form']} " + ", ".join(lengths + others)


@lru_cache(maxsize=1024)
def _warnings(form: FormBase, axis: str) -> tuple[str, ...]:
    """What is told of a form, kept: a part is asked about again and again."""
    outside = f"outside the finite-element tables ({form._ratios_shown}); closed form, less certain"
    return tuple(f"{form.kind}: {text}" for text in (*([] if form.covered else [outside]), *form.cautions(axis)))


def form_from_text(text: str) -> FormBase:
    """Build a form from its short name and its dimensions in mm: ``"ring 16x6x5"``, ``"pad 10x4"``.

    Parameters
    ----------
    text : str
        The name, a blank, and the dimensions in the order of the form's fields, joined by x.

    Raises
    ------
    InputError
        Not of this shape, or a dimension out of range.
    """
    kind, _, sizes = text.strip().lower().partition(" ")
    allowed = "a form and its dimensions in mm, such as ring 16x6x5 or pad 10x4"
    if kind not in FORMS:
        raise InputError("form", text, allowed, "known forms: " + ", ".join(sorted(FORMS)))
    try:
        return FORMS[kind](*(float(size) for size in sizes.replace("×", "x").split("x")))
    except InputError:
        raise
    except (TypeError, ValueError):
        raise InputError("form", text, allowed) from None


def form_from_dict(values: Mapping[str, Any]) -> FormBase:
    """Build a form from what :meth:`FormBase.to_dict` gave.

    Raises
    ------
    InputError
        Unknown form, missing or unknown dimension, or a dimension out of range.
    """
    dimensions = dict(values)
    cls = form_named(dimensions.pop("form", None))
    return from_plain(cls, dimensions, cls.kind)


def form_named(kind: Any, field: str = "form") -> type[FormBase]:
    """The class of a form by its short name. Raises InputError."""
    return picked(field, kind, dict(sorted(FORMS.items())))
