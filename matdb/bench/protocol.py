"""A bench protocol for one part: what to do, in which order, with which mass, and a table to fill in, as Markdown."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

#: Steps of handy masses within a decade: two equal figures never differ by more than a tenth of a frequency.
_HANDY: Final = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2, 10.0)
#: Taps on one record, and records on one state (common practice, no source).
TAPS, RECORDS = 5, 2
_STEPS: Final = f"""\
## Steps

1. Weigh the plate with everything that rings on it, sensor and screws too: {{masses}}. Write down what the scales \
say, not what it should be.
2. Squeeze and release the part three times by hand, then let it rest for ten minutes.
3. {{soaked}}, beside a thermometer in the same air ({{air}}). {{mass}}.
4. Start the record. Take the part out, start the stop watch, {{set}}.
5. Tap {TAPS} times, softly, and let it ring out between taps: a motion that can just be seen. Stop the watch at the \
middle tap; that is *seconds out*.
6. Put the part back for a quarter of its soak and take a second record; {RECORDS} records a temperature.
7. Log each record before the next: `matdb reading trace FILE.csv --part ... --temp ... --mass ... --soak ... \
--out ... --log`, or type the figures into `matdb bench`.
8. End with the room temperature again: a change there means that the part has aged, slipped or set.
"""


#: A part is set under the mass; a screwed pair takes minutes to assemble, in which it would be warm again.
_LOOSE: Final = {
    "soaked": "Soak the part alone, without plate and mass",
    "mass": "Keep the plate in the chamber too if it fits",
    "set": "set it under the mass",
}
_SCREWED: Final = {
    "soaked": "Assemble it warm ({screwed}) and soak it assembled, plate, screw and washers with it",
    "mass": "If the mass fits into the chamber too, hang it on beforehand; else have it ready on a hook or a clip",
    "set": "hang the mass on",
}


@dataclass(frozen=True, kw_only=True)
class ProtocolStep:
    """One temperature of a protocol.

    Attributes
    ----------
    temperature_c : float
        Of chamber or room, degrees Celsius.
    soak_min : float or None
        Minutes to soak, on the safe side; None where the part's dimensions are not known.
    seconds_left : float or None
        Seconds outside until the error passes 2 K; infinite at room temperature, None where not known.
    mass_kg : float
        The mass on all the parts together, kg.
    frequency_hz : tuple of float
        Expected frequency, Hz: middle, low and high end (95 %).
    log_decrement : tuple of float
        Expected logarithmic decrement likewise.
    note : str
        What to heed here; may be empty.
    """

    temperature_c: float
    soak_min: float | None
    seconds_left: float | None
    mass_kg: float
    frequency_hz: tuple[float, float, float]
    log_decrement: tuple[float, float, float]
    note: str = ""


def bench_mass_kg(stiffness_n_per_mm: float, frequency_hz: float, count: int = 1) -> float:
    """Handy mass that rings near a frequency: m = n k / (2 pi f)^2, rounded to a step of common weights.

    Parameters
    ----------
    stiffness_n_per_mm : float
        Stiffness of one part, N/mm, above 0.
    frequency_hz : float
        Wanted frequency, Hz, above 0.
    count : int
        How many parts share the mass.

    Returns
    -------
    float
        Mass in kg; the frequency it rings at is within 6 % of the wanted one.
    """
    exact = 1e3 * count * stiffness_n_per_mm / (2.0 * math.pi * frequency_hz) ** 2
    decade = 10.0 ** math.floor(math.log10(exact))
    return float(f"{min((decade * step for step in _HANDY), key=lambda m: abs(math.log(m / exact))):.3g}")


def protocol_markdown(
    *,
    part: str,
    form: str,
    material: str,
    family: str,
    basis: str,
    count: int,
    axis: str,
    air: str,
    steps: Sequence[ProtocolStep],
    screwed: str = "",
    notes: Sequence[str] = (),
    cautions: Sequence[str] = (),
) -> str:
    """The sheet.

    Parameters
    ----------
    part, form, material, family : str
        What lies on the bench.
    basis : str
        What the expected figures rest on, in words.
    count : int
        How many pieces carry the mass.
    axis : str
        Direction of the load.
    air : str
        "still" or "fanned": the chamber's air.
    steps : sequence of ProtocolStep
        In the order of work, one at least.
    screwed : str
        How far a pair is squeezed; empty for a part that no screw holds.
    notes, cautions : sequence of str
        What to know, and where it can hurt.

    Returns
    -------
    str
        Markdown, ending in a line feed; cells hold no line break and no bar.
    """
    pieces = "1 piece" if count == 1 else f"{count} equal pieces"
    masses = ", ".join(f"{1e3 * m:.3g} g" for m in sorted({s.mass_kg for s in steps}))
    how = _LOOSE if not screwed else _SCREWED | {"soaked": _SCREWED["soaked"].format(screwed=_escaped(screwed))}
    said = list(dict.fromkeys([*(s.note for s in steps if s.note), *notes]))
    out = [
        f"# Bench protocol: {_escaped(part)}",
        "",
        f"{_escaped(form)} mm, of {_escaped(material)} ({_escaped(family)}). {pieces}, {axis}. Expected figures: "
        f"{basis}.",
        "",
        "Date: ____________  Who: ____________  Room: ______ degC  Hardness seen: ______",
        "",
        *(["## Cautions", "", *(f"- {_escaped(line)}" for line in cautions), ""] if cautions else []),
        _STEPS.format(masses=masses, air="a fan is running" if air == "fanned" else "still air", **how),
        "## Temperatures",
        "",
        _row("at degC", "soak, min", "seconds until 2 K off", "mass, g", "expected, Hz", "expected decrement"),
        _row(*["---:"] * 6),
        *(_temperature_row(s) for s in steps),
        *(["", *(f"- {_escaped(line)}" for line in said)] if said else []),
        "",
        "## To fill in",
        "",
        _row(
            "at degC", "record", "thermometer, degC", "soaked, min", "mass, g", "Hz", "decrement", "seconds out", "note"
        ),
        _row(*["---:"] * 8, "---"),
        *(_row(f"{s.temperature_c:g}", str(k), *[" "] * 7) for s in steps for k in range(1, RECORDS + 1)),
    ]
    return "\n".join(out) + "\n"


def _temperature_row(step: ProtocolStep) -> str:
    left = step.seconds_left
    return _row(
        f"{step.temperature_c:g}",
        "-" if step.soak_min is None else f"{step.soak_min:.0f}",
        "-" if left is None else "any" if math.isinf(left) else f"{left:.0f}",
        f"{1e3 * step.mass_kg:.3g}",
        *("{:.3g} ({:.3g} to {:.3g})".format(*band) for band in (step.frequency_hz, step.log_decrement)),
    )


def _row(*cells: str) -> str:
    return "| " + " | ".join(cells) + " |"


def _escaped(text: str) -> str:
    """One line of Markdown that means itself."""
    line = " ".join(text.split())
    return "".join(f"\\{c}" if c in "\\`*_[]<>|#" else c for c in line)
