"""``matdb protocol``: a sheet for the bench with numbers for one part."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Any, Final

import numpy as np

from matdb.api import Store
from matdb.bench.decrement import decrement_from_damping_ratio
from matdb.bench.protocol import ProtocolStep, bench_mass_kg, protocol_markdown
from matdb.bench.thermal.soak import crystallisation_note, drift, soak
from matdb.bench.thermal.state import body_of
from matdb.cli import options
from matdb.cli.cautions import BENCH
from matdb.cli.options import Call, Held, arg, collects, opt, option
from matdb.cli.screen import show
from matdb.cli.soak import air_of
from matdb.curve.band import Band
from matdb.files import new_file, write_text
from matdb.form.part import Part
from matdb.material.record import Material, service_range

#: Without ``--temp``: freezer, refrigerator, room and oven.
_USUAL: Final = ["-18C", "5C", "23C", "50C"]


@dataclass(frozen=True, kw_only=True)
class ProtocolOptions(Held):
    """What is to be read, and how."""

    part: Annotated[str, arg("PART", "The part's name.")]
    temps: Annotated[
        list[str] | None, opt("--temp", "TEMPERATURE", "A temperature or range; -18C, 5C, 23C and 50C without it.")
    ] = None
    step: options.StepOption = "20K"
    frequency: str = option("FREQUENCY", "Ring near this frequency: the camera's natural one.", "30Hz")
    mass: str | None = option("MASS", "The mass to ring with, instead of one worked out.")
    count: options.CountOption = 1
    air: str = option("AIR", "Air in the chamber: still or fan.", "still")
    out: str | None = option("FILE", "Write the sheet to this file, such as sheet.md.")
    force: options.ForceOption = False


@collects
def protocol(said: ProtocolOptions, call: Call) -> None:
    """Write a bench protocol sheet.

    In Markdown: steps, temperatures, soak minutes, the mass that rings near the field's natural frequency, cautions,
    and a table to fill in.
    """
    at = options.temperatures(said.temps or _USUAL, said.step).tolist()
    options.needed(said.frequency, "frequency", "--frequency")
    air = air_of(said.air)
    if said.out is not None:
        new_file(said.out, force=said.force)
    with call.existing() as store:
        known = store.part(said.part)
        material = store.material(known.material)
        steps, basis, notes = _plan(store, known, material, at, said)
    what: dict[str, Any] = {
        "part": said.part,
        "form": known.form.label(),
        "material": material.name,
        "family": material.family,
    }
    what |= {"basis": basis, "count": said.count, "axis": said.axis, "air": air}
    text = protocol_markdown(**what, steps=steps, notes=notes, cautions=BENCH)
    written = None if said.out is None else str(write_text(said.out, text, force=said.force))

    def screen() -> None:
        if written is None:
            print(text, end="")
        else:
            show(f"written: {written}", wrap=False)

    content = {"part": said.part, "steps": steps, "basis": basis, "file": written, "markdown": text}
    call.answer(content, screen, notes)


def _plan(
    store: Store, part: Part, material: Material, temperature_c: list[float], said: ProtocolOptions
) -> tuple[list[ProtocolStep], str, list[str]]:
    """The steps, what the expected figures rest on, and what to know. Raises InputError, NotFound."""
    notes: list[str] = []
    frequency_hz = options.needed(said.frequency, "frequency", "--frequency")
    how = said.how(part)
    notes += [text] if (text := said.said(part)) else []
    mass_kg = options.quantity(said.mass, "mass", "--mass")
    if mass_kg is None:
        middle = store.effective(part.name, float(np.median(temperature_c)), frequency_hz=frequency_hz, **how)
        mass_kg = bench_mass_kg(float(middle.stiffness_n_per_mm.median), frequency_hz, said.count)
    found = store.effective(part.name, temperature_c, mass_kg=mass_kg, count=said.count, **how)
    hertz, zeta = found.natural_frequency_hz, found.damping_ratio
    assert hertz is not None
    body, family = body_of(part.form), material.family
    low, high = service_range(material)
    steps = []
    for k, t in enumerate(temperature_c):
        if not low <= t <= high:
            notes.append(f"{t:g} degC is outside the service range, {low:g} to {high:g} degC: leave it out")
        soak_min = left = None
        if body is not None:
            minutes = float(soak(body, t, family=family, air=air_of(said.air)).minutes_safe)
            soak_min = max(10.0, math.ceil(minutes / 5.0) * 5.0)
            left = float(drift(body, t, 0.0, family=family).seconds_left)
        steps.append(
            ProtocolStep(
                temperature_c=t,
                soak_min=soak_min,
                seconds_left=math.inf if abs(t - 23.0) <= 2.0 else left,
                mass_kg=mass_kg,
                frequency_hz=_ends(hertz, k),
                log_decrement=_decrements(*_ends(zeta, k)),
                note=crystallisation_note(family, t),
            )
        )
    if any(not 5.0 <= s.frequency_hz[0] <= 100.0 for s in steps):
        notes.append("expected outside 5 to 100 Hz somewhere: take another --mass or --frequency for a phone's sensor")
    if any(s.log_decrement[0] > 2.0 for s in steps):
        notes.append("a decrement above 2 rings for two cycles at most: add a static deflection at each temperature")
    if found.basis != "readings":
        notes.append("no reading yet: expect a factor of two to three either way; write the sheet anew after the first")
    if any(s.frequency_hz[2] > 5.0 * s.frequency_hz[1] for s in steps):
        unknown = "its stiffness is not known yet: the mass is a guess"
        notes.append(f"{unknown}; read it once at room temperature, then ask anew")
    if body is None:
        notes.append("the part's dimensions are not known: soak until a thermometer inside it stands still")
    return steps, "readings" if found.basis == "readings" else "family prior", notes


def _ends(band: Band, k: int) -> tuple[float, float, float]:
    """Middle, low and high end of one entry of a band."""
    return float(band.median[k]), float(band.low[k]), float(band.high[k])


def _decrements(*damping_ratio: float) -> tuple[float, float, float]:
    """Logarithmic decrements of damping ratios; bands may reach past 1."""
    middle, low, high = (decrement_from_damping_ratio(min(zeta, 0.9)) for zeta in damping_ratio)
    return middle, low, high
