"""The pitch of a metric screw by its name."""

from __future__ import annotations

import re
from typing import Final

__all__ = ["COARSE_PITCH_MM", "pitch_of_thread"]

#: Nominal diameter in mm: coarse pitch in mm (ISO 261, from memory).
COARSE_PITCH_MM: Final = {
    1.6: 0.35,
    2.0: 0.4,
    2.5: 0.45,
    3.0: 0.5,
    3.5: 0.6,
    4.0: 0.7,
    5.0: 0.8,
    6.0: 1.0,
    8.0: 1.25,
}


def pitch_of_thread(thread: str | None) -> float | None:
    """The pitch in mm of a screw named like ``M3`` or ``M3x0.35``; None when the name does not tell.

    Parameters
    ----------
    thread : str or None
        A part's ``thread``.
    """
    found = re.fullmatch(r"\s*M\s*(\d+(?:\.\d+)?)\s*(?:[x×]\s*(\d+(?:\.\d+)?))?\s*", thread or "", re.IGNORECASE)
    if found is None:
        return None
    if found[2] is not None:
        return float(found[2]) or None
    return COARSE_PITCH_MM.get(float(found[1]))
