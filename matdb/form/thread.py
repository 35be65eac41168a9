"""Screw threads: the pitch that turns a number of turns into millimetres."""

from __future__ import annotations

from matdb.errors import InputError

#: ISO metric coarse pitches in mm (ISO 261 and ISO 724, from memory).
COARSE_PITCH_MM: dict[str, float] = {
    "M1.6": 0.35,
    "M2": 0.4,
    "M2.5": 0.45,
    "M3": 0.5,
    "M4": 0.7,
    "M5": 0.8,
    "M6": 1.0,
    "M8": 1.25,
}


def turns_text(turns: float) -> str:
    """Turns of a screw in words.

    Examples
    --------
    >>> turns_text(1.0)
    '1 turn past first touch'
    """
    return f"{turns:.3g} turn{'' if turns == 1.0 else 's'} past first touch"


def pitch_mm(thread: str) -> float:
    """Advance of a screw per turn in mm.

    Parameters
    ----------
    thread : str
        A coarse ISO thread such as ``"M3"``, or with its pitch in mm for any other: ``"M3x0.35"``.

    Raises
    ------
    InputError
        Neither of these.

    Examples
    --------
    >>> pitch_mm("M3"), pitch_mm("M4x0.5")
    (0.5, 0.5)
    """
    cure = "for any other thread give its pitch too: M3x0.35"
    if isinstance(thread, str):
        name = thread.strip().upper().replace("×", "X")
        if name in COARSE_PITCH_MM:
            return COARSE_PITCH_MM[name]
        size, cross, pitch = name.partition("X")
        if cross and size.startswith("M"):
            try:
                diameter, value = float(size[1:]), float(pitch)
            except ValueError:
                diameter = value = 0.0
            if 0.0 < value < diameter <= 100.0:
                return value
    raise InputError("thread", thread, "one of " + ", ".join(COARSE_PITCH_MM), cure)
