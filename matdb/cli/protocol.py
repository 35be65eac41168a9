"""``matdb protocol``: a sheet for the bench with numbers for one part."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

from matdb.bench.decrement import decrement_from_damping_ratio
from matdb.cli.options import (
    AxisOption,
    CountOption,
    ForceOption,
    JsonOption,
    SqueezeOption,
    StepOption,
    StoreOption,
    existing,
    needed,
    quantity,
    temperatures,
)
from matdb.cli.soak import air_of

if TYPE_CHECKING:
    from matdb.api import Store
    from matdb.bench.protocol import ProtocolStep


def protocol(
    ctx: typer.Context,
    part: Annotated[str, typer.Argument(metavar="PART", help="The part's name.")],
    temps: Annotated[
        list[str] | None,
        typer.Option("--temp", metavar="TEMPERATURE", help="A temperature or range; -18C, 5C, 23C and 50C without it."),
    ] = None,
    step: StepOption = "20K",
    frequency: Annotated[
        str,
        typer.Option("--frequency", metavar="FREQUENCY", help="Ring near this frequency: the camera's natural one."),
    ] = "30Hz",
    mass: Annotated[
        str | None, typer.Option("--mass", metavar="MASS", help="The mass to ring with, instead of one worked out.")
    ] = None,
    count: CountOption = 1,
    axis: AxisOption = "axial",
    squeeze: SqueezeOption = "0mm",
    air: Annotated[str, typer.Option("--air", metavar="AIR", help="Air in the chamber: still or fan.")] = "still",
    out: Annotated[
        str | None, typer.Option("--out", metavar="FILE", help="Write the sheet to this file, such as sheet.md.")
    ] = None,
    force: ForceOption = False,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write a bench protocol sheet.

    In Markdown: steps, temperatures, soak minutes, the mass that rings near the field's natural frequency, cautions,
    and a table to fill in.
    """
    from matdb.bench.protocol import protocol_markdown
    from matdb.cli.cautions import BENCH
    from matdb.cli.screen import document, show
    from matdb.files import new_file, write_text

    at = temperatures(temps or ["-18C", "5C", "23C", "50C"], step).tolist()
    hertz = needed(frequency, "frequency", "--frequency")
    air_word = air_of(air)
    if out is not None:
        new_file(out, force=force)
    with existing(ctx, store) as kept:
        known = kept.part(part)
        material = kept.material(known.material)
        squeeze_mm = needed(squeeze, "length", "--squeeze")
        mass_kg = quantity(mass, "mass", "--mass")
        steps, basis, notes = plan(kept, part, at, hertz, mass_kg, count, axis, squeeze_mm, air_word)
    text = protocol_markdown(
        part=part,
        form=known.form.label(),
        material=material.name,
        family=material.family,
        basis=basis,
        count=count,
        axis=axis,
        air=air_word,
        steps=steps,
        notes=notes,
        cautions=BENCH,
    )
    written = None if out is None else str(write_text(out, text, force=force))
    if as_json:
        content = {"part": part, "steps": [asdict(s) for s in steps], "basis": basis, "file": written, "markdown": text}
        document("protocol", content, notes)
    elif written is not None:
        show(f"written: {written}", wrap=False)
    else:
        print(text, end="")


def plan(
    kept: Store,
    part: str,
    temperature_c: list[float],
    frequency_hz: float,
    mass_kg: float | None,
    count: int,
    axis: str,
    squeeze_mm: float,
    air: str,
) -> tuple[list[ProtocolStep], str, list[str]]:
    """The steps, what the expected figures rest on, and what to know. Raises InputError, NotFound."""
    import numpy as np

    from matdb.bench.protocol import ProtocolStep, bench_mass_kg
    from matdb.bench.thermal.soak import crystallisation_note, drift, soak
    from matdb.bench.thermal.state import body_of
    from matdb.material.record import service_range

    known = kept.part(part)
    material = kept.material(known.material)
    notes = []
    if mass_kg is None:
        middle = kept.effective(
            part, float(np.median(temperature_c)), frequency_hz=frequency_hz, axis=axis, squeeze_mm=squeeze_mm
        )
        mass_kg = bench_mass_kg(float(middle.stiffness_n_per_mm.median), frequency_hz, count)
    found = kept.effective(part, temperature_c, mass_kg=mass_kg, count=count, axis=axis, squeeze_mm=squeeze_mm)
    hertz, zeta = found.natural_frequency_hz, found.damping_ratio
    assert hertz is not None
    body = body_of(known.form)
    low, high = service_range(material)
    steps = []
    for k, t in enumerate(temperature_c):
        if not low <= t <= high:
            notes.append(f"{t:g} degC is outside the service range, {low:g} to {high:g} degC: leave it out")
        near = abs(t - 23.0) <= 2.0
        steps.append(
            ProtocolStep(
                temperature_c=t,
                soak_min=None
                if body is None
                else max(10.0, float(np.ceil(soak(body, t, family=material.family, air=air).minutes_safe / 5.0) * 5.0)),
                seconds_left=math.inf
                if near
                else None
                if body is None
                else float(drift(body, t, 0.0, family=material.family).seconds_left),
                mass_kg=mass_kg,
                frequency_hz=(float(hertz.median[k]), float(hertz.low[k]), float(hertz.high[k])),
                log_decrement=(_decrement(zeta.median[k]), _decrement(zeta.low[k]), _decrement(zeta.high[k])),
                note=crystallisation_note(material.family, t),
            )
        )
    shaky = [s.frequency_hz for s in steps if not 5.0 <= s.frequency_hz[0] <= 100.0]
    if shaky:
        notes.append("expected outside 5 to 100 Hz somewhere: take another --mass or --frequency for a phone's sensor")
    if any(s.log_decrement[0] > 2.0 for s in steps):
        notes.append("a decrement above 2 rings for two cycles at most: add a static deflection at each temperature")
    if found.basis != "readings":
        notes.append("no reading yet: expect a factor of two to three either way; write the sheet anew after the first")
    if any(s.frequency_hz[2] > 5.0 * s.frequency_hz[1] for s in steps):
        notes.append(
            "its stiffness is not known yet: the mass is a guess; read it once at room temperature, then ask anew"
        )
    if body is None:
        notes.append("the part's dimensions are not known: soak until a thermometer inside it stands still")
    return steps, "readings" if found.basis == "readings" else "family prior", notes


def _decrement(damping_ratio: float) -> float:
    """Logarithmic decrement of a damping ratio; bands may reach past 1."""
    return decrement_from_damping_ratio(min(float(damping_ratio), 0.9))
