"""A two-part grommet: a plate between a lower and an upper half, squeezed by a screw."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Final

import numpy as np

from matdb.errors import InputError
from matdb.form.base import MAX_SQUEEZE_SHARE, Array, FormBase, form_from_dict, form_from_text, register, stacked
from matdb.form.round_pad import RoundPad
from matdb.form.thread import pitch_mm

#: Squeezes that a pad's force is tabulated at to begin with.
_POINTS: Final = 256


def balance(
    lower: RoundPad, upper: RoundPad, squeeze_mm: Any, load_mm2: Any, compressibility: Any = 0.0
) -> tuple[Array, Array]:
    """Squeeze of both halves when the plate between them is at rest.

    Solves ``f_lower(δ_l) − f_upper(q − δ_l) = w`` with f the force per unit Young's modulus, nothing below 0:
    a half that has lifted off gives a negative squeeze, its gap.

    Parameters
    ----------
    lower, upper : RoundPad
        The halves.
    squeeze_mm : array_like
        Total squeeze q in mm.
    load_mm2 : array_like
        Load on the lower half over Young's modulus, N / MPa; negative pulls the plate towards the upper half.
    compressibility : array_like
        E / B.

    Returns
    -------
    lower_mm, upper_mm : ndarray
        Squeezes that sum to q; nan where a half would be squeezed beyond half its height.
    """
    q, w, soft = np.broadcast_arrays(
        np.asarray(squeeze_mm, dtype=float), np.asarray(load_mm2, dtype=float), compressibility
    )
    shape = q.shape
    q, w, soft = q.ravel(), w.ravel(), soft.ravel()
    if not np.any(soft):
        soft = np.zeros(())

    def slack(at: Array) -> tuple[Array, Array]:
        down, up = np.maximum(at, 0.0), np.maximum(q - at, 0.0)
        # Beyond half the height the laws go on smoothly; such answers become nan below.
        down, up = np.minimum(down, 0.9 * lower.height_mm), np.minimum(up, 0.9 * upper.height_mm)
        force = lower.unit_force(down, soft) - upper.unit_force(up, soft) - w
        slope = np.where(at > 0.0, lower.unit_stiffness("axial", down, soft), 0.0)
        slope = slope + np.where(q - at > 0.0, upper.unit_stiffness("axial", up, soft), 0.0)
        return force, slope

    most_lower, most_upper = (MAX_SQUEEZE_SHARE * half.height_mm for half in (lower, upper))
    low, high = q - most_upper, np.full_like(q, most_lower)
    beyond = (slack(low)[0] > 0.0) | (slack(high)[0] < 0.0) | ~np.isfinite(w + q)
    at = np.clip(q / 2.0 + w / (slack(q / 2.0)[1] + 1e-300), low, np.maximum(high, low))
    for _ in range(100):
        force, slope = slack(at)
        low, high = np.where(force <= 0.0, at, low), np.where(force >= 0.0, at, high)
        step = at - force / np.where(slope > 0.0, slope, np.inf)
        outside = ~((step >= low) & (step <= high)) | (slope <= 0.0)
        moved = np.where(outside, (low + high) / 2.0, step)
        moved = np.where(force == 0.0, at, moved)
        still = np.abs(moved - at) <= 1e-15 * (lower.height_mm + upper.height_mm)
        at = moved
        if (still | beyond).all():
            break
    at = np.where(beyond, np.nan, at)
    return at.reshape(shape), (q - at).reshape(shape)


def squeeze_for_force(half: RoundPad, load_mm2: Any) -> Array:
    """Squeeze in mm of one pad under a load over Young's modulus in N / MPa, 0 or more; nan beyond its range."""
    tried = np.linspace(0.0, MAX_SQUEEZE_SHARE * half.height_mm, _POINTS)
    force = np.maximum.accumulate(np.asarray(half.unit_force(tried), dtype=float))
    at = np.interp(load_mm2, force, tried)
    for _ in range(2):  # from so near, Newton's steps end at the last digits
        at = np.clip(at - (half.unit_force(at) - load_mm2) / half.unit_stiffness("axial", at), 0.0, tried[-1])
    return np.where(np.asarray(load_mm2) <= force[-1], at, np.nan)


class TwoHalves(FormBase):
    """A plate held between two halves that one screw squeezes; a subclass gives them and what screw and plate are."""

    made: ClassVar[str] = "buy"
    axes: ClassVar[tuple[str, ...]] = ("axial", "shear")

    plate_mm: float
    thread: str | None
    spacer_mm: float | None

    @property
    def halves(self) -> tuple[RoundPad, RoundPad]:
        """Lower and upper half."""
        raise NotImplementedError

    def _check_stack(self) -> None:
        self._positive("plate_mm", or_zero=True)
        if self.thread is not None:
            pitch_mm(self.thread)
        if self.spacer_mm is not None:
            self._positive("spacer_mm")
            if self.spacer_mm <= self.plate_mm:
                raise InputError(f"{self.kind} spacer_mm", self.spacer_mm, f"above plate_mm ({self.plate_mm:g} mm)")
            squeeze, most = self.spacer_squeeze_mm, MAX_SQUEEZE_SHARE * self.squeezable_height_mm
            if squeeze is not None and squeeze > most:
                allowed = f"at least {self.stack_mm - most:g} mm, where the halves are squeezed to half their height"
                raise InputError(f"{self.kind} spacer_mm", self.spacer_mm, allowed, "take a longer spacer")

    @property
    def fixed_squeeze_mm(self) -> float | None:
        """See :meth:`FormBase.fixed_squeeze_mm`: the spacer's."""
        held = self.spacer_squeeze_mm
        return None if held is None else max(held, 0.0)

    def squeezes_to_try(self, axis: str) -> list[float]:
        """See :meth:`FormBase.squeezes_to_try`: by quarter turns of the screw up to 30 % of the height, never none."""
        if axis != "axial" or self.fixed_squeeze_mm is not None:
            return super().squeezes_to_try(axis)
        most = 0.3 * self.squeezable_height_mm
        step = pitch_mm(self.thread) / 4.0 if self.thread else most / 12.0
        step *= max(1.0, round(most / step / 16.0))
        return [round(step * (k + 1), 6) for k in range(int(most / step + 1e-9))]

    @property
    def neck_mm(self) -> tuple[float, float] | None:
        """Inner and outer diameter in mm of the rubber in the plate's hole; None without any."""
        return None

    @property
    def drawn_mm(self) -> list[tuple[str, list[tuple[float, float]]]]:
        """See :attr:`FormBase.drawn_mm`: both halves, the plate, and the neck through it."""
        (low, wide, bore), (high, *upper) = (half.solid_mm or (0.0, 0.0, 0.0) for half in self.halves)
        plate = ("plate", (getattr(self, "hole_mm", bore), 1.2 * (wide or 0.0)), self.plate_mm)
        layers: list[Any] = [("rubber", (bore, wide), low), plate, ("rubber", upper[::-1], high)]
        if self.neck_mm is not None:
            layers[1:2] = [(*plate[:2], -self.plate_mm), ("rubber", self.neck_mm, self.plate_mm)]
        return stacked(layer for layer in layers if layer[2])

    @property
    def bearing_height_mm(self) -> float:
        """See :meth:`FormBase.bearing_height_mm`: that of the lower half."""
        return self.halves[0].height_mm

    @property
    def solid_mm(self) -> tuple[float | None, float | None, float] | None:
        """See :attr:`FormBase.solid_mm`: that of the taller half."""
        return max(self.halves, key=lambda half: half.height_mm).solid_mm

    @property
    def squeezable_height_mm(self) -> float:
        """Free height of both halves together in mm."""
        return sum(half.height_mm for half in self.halves)

    @property
    def stack_mm(self) -> float:
        """Height of halves and plate at first touch in mm."""
        return self.squeezable_height_mm + self.plate_mm

    @property
    def spacer_squeeze_mm(self) -> float | None:
        """Total squeeze in mm when the screw is tight on the spacer; negative: the halves stay loose."""
        return None if self.spacer_mm is None else self.stack_mm - self.spacer_mm

    def unit_stiffness(self, axis: str, squeeze_mm: Array, compressibility: Any = 0.0) -> Any:
        """See :meth:`FormBase.unit_stiffness`; a squeeze of 0 takes the spacer's, if there is one."""
        total = np.asarray(squeeze_mm, dtype=float)
        held = self.spacer_squeeze_mm
        if held is not None and held > 0.0:
            total = np.where(total == 0.0, held, total)
        lower, upper = self.halves
        soft = np.real(compressibility)
        down, up = balance(lower, upper, total, 0.0, soft) if np.any(total) else (total, total)
        value = lower.unit_stiffness(axis, down, compressibility)
        return value + upper.unit_stiffness(axis, up, compressibility)

    def unit_tilting(self, compressibility: Any = 0.0) -> Any:
        """See :meth:`FormBase.unit_tilting`: each half turns, and moves sideways by its distance from the plate."""
        turned = (half.unit_tilting(compressibility) for half in self.halves)
        levers = ((half, 0.5 * (half.height_mm + self.plate_mm)) for half in self.halves)
        none = np.zeros(())
        return sum(turned) + sum(half.unit_stiffness("shear", none, compressibility) * arm**2 for half, arm in levers)

    @property
    def covered(self) -> bool:
        """See :attr:`FormBase.covered`: whether both halves are."""
        return all(half.covered for half in self.halves)

    def offset_sd(self, axis: str = "axial") -> float:
        """See :meth:`FormBase.offset_sd`: that of the less certain half."""
        self._check_axis(axis)
        return max(half.offset_sd(axis) for half in self.halves)

    def warnings(self, axis: str = "axial") -> tuple[str, ...]:
        """See :meth:`FormBase.warnings`: those of both halves, of the spacer, and its own."""
        out = list(dict.fromkeys(text for half in self.halves for text in half.warnings(axis)))
        held = self.spacer_squeeze_mm
        if held is not None and held < 0.0:
            out.append(
                f"{self.kind}: the spacer is {-held:.3g} mm longer than the stack; the plate is loose and rattles"
            )
        return (*out, *(f"{self.kind}: {text}" for text in self.cautions(axis)))

    def _check_axis(self, axis: str) -> None:
        super()._check_axis(axis)
        for half in self.halves:
            half._check_axis(axis)


@register
@dataclass(frozen=True)
class GrommetPair(TwoHalves):
    """A plate held between two pads or rings that one screw squeezes.

    While both halves touch, the stiffness is their sum; :mod:`matdb.mounting.squeeze` says when one lifts off.
    Here the plate carries no load: the halves share the squeeze so that their forces are equal. With no squeeze
    they just touch.

    Attributes
    ----------
    lower, upper : Pad or Ring
        The halves; upper None takes one like the lower. A dictionary as from ``to_dict``, or text such as
        ``"ring 12x5x4"`` (mm), does as well.
    plate_mm : float
        Thickness of the plate between them in mm, 0 or more.
    thread : str or None
        The screw's thread, for instance ``"M3"``.
    spacer_mm : float or None
        Length of the sleeve that stops the screw, in mm; when the squeeze is not given, it is the spacer's.

    Raises
    ------
    InputError
        A half is neither a pad nor a ring, a dimension is out of range, or the thread is unknown.

    Examples
    --------
    >>> from matdb.form.round_pad import Ring
    >>> pair = GrommetPair(Ring(12.0, 5.0, 4.0), plate_mm=2.0, thread="M3", spacer_mm=9.4)
    >>> pair.stack_mm, round(pair.spacer_squeeze_mm, 6)
    (10.0, 0.6)
    """

    kind: ClassVar[str] = "grommet-pair"
    sketch: ClassVar[tuple[str, ...]] = ("###   ###", "=========", "###   ###")
    called: ClassVar[str] = "pair: two rings on a screw, plate between"
    asked: ClassVar[Mapping[str, str]] = {
        "lower": "Lower half: outer x hole x height, such as 14x5x7mm",
        "upper": "Upper half, the same way (empty: the same)",
        "plate": "Thickness of the plate between them",
    }

    lower: RoundPad | dict[str, Any] | str
    upper: RoundPad | dict[str, Any] | str | None = None
    plate_mm: float = 0.0
    thread: str | None = None
    spacer_mm: float | None = None

    def __post_init__(self) -> None:
        for name in ("lower", "upper"):
            half = self.lower if name == "upper" and self.upper is None else getattr(self, name)
            if isinstance(half, dict):
                half = form_from_dict(half)
            elif isinstance(half, str):
                half = form_from_text(half)
            if not isinstance(half, RoundPad):
                raise InputError(f"{self.kind} {name}", half, "a pad or a ring, such as ring 12x5x4")
            object.__setattr__(self, name, half)
        self._check_stack()

    @property
    def halves(self) -> tuple[RoundPad, RoundPad]:
        """See :attr:`TwoHalves.halves`."""
        assert isinstance(self.lower, RoundPad)
        assert isinstance(self.upper, RoundPad)
        return self.lower, self.upper

    def cautions(self, axis: str) -> Iterator[str]:
        """See :meth:`FormBase.cautions`: what two plain rings leave out."""
        if axis == "shear":
            left_out = "a neck in the plate's hole, and a sleeve or screw that fills the bore"
            yield f"two plain halves leave out {left_out}: 2 to 4 times as stiff sideways; form grommet has them"

    @property
    def pair(self) -> GrommetPair:
        """See :meth:`FormBase.pair`: itself."""
        return self
