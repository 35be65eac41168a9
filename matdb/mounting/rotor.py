"""Rotor speeds in flight from a builder's figures: a highest speed, kV and cells, a share of thrust in hover.

All of it is common practice, no source: thrust grows with the square of the speed; a motor under its propeller at full
throttle turns at 70 to 85 % of its speed without load; descending, a craft lets its rotors slow below hover.
"""

from __future__ import annotations

import math
from typing import Final

from matdb.checks import checked_number, checked_whole

#: Volts of a cell in flight; speed under the propeller over that without load; lowest speed in flight over hover.
_CELL_V, _LOADED, _LOWEST = 3.7, 0.78, 0.75
#: Share of full thrust that hovering takes when it is not told.
_HOVER: Final = 0.5


def full_speed_rpm(kv: float, cells: int) -> tuple[float, str]:
    """Highest rotor speed, 1/min, from a motor's speed per volt, and how it was estimated.

    Parameters
    ----------
    kv : float
        Speed per volt without load, 1/min, above 0 and at most 20000.
    cells : int
        Battery cells in series, 1 to 30.

    Raises
    ------
    InputError
        A value out of range.
    """
    kv = checked_number("--kv", kv, 0.0, 20000.0, "1/min per volt", open_low=True)
    full = round(_LOADED * kv * checked_whole("--cells", cells, 1, 30) * _CELL_V, -1)
    return full, f"highest about {full:g} 1/min, {100 * _LOADED:g} % of kV times {_CELL_V:g} V a cell"


def speeds_in_flight(
    full_rpm: float, hover_share: float | None = None, hover_rpm: float | None = None
) -> tuple[float, float, str]:
    """Lowest speed in flight and speed in hover, 1/min, and how they were estimated.

    Parameters
    ----------
    full_rpm : float
        Highest rotor speed, 1/min.
    hover_share : float, optional
        Thrust in hover over the thrust at that speed, above 0.02 and at most 1; a half without it.
    hover_rpm : float, optional
        The speed in hover itself.

    Raises
    ------
    InputError
        A share out of range.
    """
    if hover_rpm is None:
        share = checked_number("--hover", _HOVER if hover_share is None else hover_share, 0.02, 1.0)
        hover = full_rpm * math.sqrt(share)
        told = (
            f"hover at {100 * share:g} % of full thrust{' assumed' if hover_share is None else ''}, {hover:.0f} 1/min"
        )
    else:
        hover, told = hover_rpm, f"hover at {hover_rpm:g} 1/min"
    return round(_LOWEST * hover, 1), round(hover, 1), f"{told}; lowest taken as {100 * _LOWEST:g} % of hover"
