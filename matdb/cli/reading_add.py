"""``matdb reading add``: one command a kind of reading."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from matdb.cli.options import JsonOption, NoteOption, StoreOption, opened

if TYPE_CHECKING:
    from matdb.api import Store
    from matdb.bench.readings import Reading

app = typer.Typer(help="Log one reading.", rich_markup_mode=None)

#: What the options of these commands are called, by field; the rest follow from the field's own name.
OPTION_OF: Final = {
    "temperature_c": "--temp",
    "temperature_sd_c": "--temp-sd",
    "mass_kg": "--mass",
    "count": "--count",
    "axis": "--axis",
    "squeeze_mm": "--squeeze",
    "frequency_hz": "--frequency",
    "frequency_sd_hz": "--frequency-sd",
    "log_decrement": "--decrement",
    "log_decrement_sd": "--decrement-sd",
    "half_power_width_hz": "--width",
    "amplification": "--amplification",
    "deflection_mm": "--deflection",
    "deflection_sd_mm": "--deflection-sd",
    "dwell_s": "--dwell",
    "storage_mpa": "--storage",
    "storage_sd": "--storage-sd",
    "loss_factor": "--loss-factor",
    "loss_factor_sd": "--loss-factor-sd",
    "value": "--value",
    "soak_min": "--soak",
    "seconds_out": "--out",
    "who": "--who",
    "taken_at": "--at",
    "note": "--note",
}


def _option(name: str, metavar: str, text: str) -> Any:
    return typer.Option(name, metavar=metavar, help=text)


PartArgument = Annotated[str, typer.Argument(metavar="PART", help="The part that was read.")]
MaterialArgument = Annotated[str, typer.Argument(metavar="MATERIAL", help="The material that was read.")]
Temp = Annotated[
    str,
    _option(
        "--temp", "TEMPERATURE", "Temperature of the part, with --soak or --out that of its chamber; such as -18C."
    ),
]
TempSd = Annotated[str | None, _option("--temp-sd", "KELVIN", "Standard deviation of the temperature, such as 0.5K.")]
Mass = Annotated[str, _option("--mass", "MASS", "The mass on all the parts together, such as 250g.")]
Count = Annotated[int, typer.Option("--count", metavar="NUMBER", help="How many equal parts share the mass.")]
Axis = Annotated[str, _option("--axis", "AXIS", "Direction: axial, shear, radial or lateral.")]
Squeeze = Annotated[str | None, _option("--squeeze", "LENGTH", "Static squeeze of each part, such as 0.5mm.")]
Frequency = Annotated[str, _option("--frequency", "FREQUENCY", "The frequency read, such as 31.2Hz.")]
FrequencySd = Annotated[str | None, _option("--frequency-sd", "FREQUENCY", "Its standard deviation; 3 % without it.")]
Soak = Annotated[str | None, _option("--soak", "TIME", "How long the part lay at the temperature, such as 45min.")]
Out = Annotated[
    str | None, _option("--out", "TIME", "Time since it left the freezer or oven, such as 8s; a fit corrects for it.")
]
Who = Annotated[str | None, _option("--who", "NAME", "Who took the reading.")]
At = Annotated[str | None, _option("--at", "TIME", "When it was taken, such as 2024-01-31T14:05; now without it.")]


@app.command("ring-down")
def ring_down(
    ctx: typer.Context,
    part: PartArgument,
    temp: Temp,
    mass: Mass,
    frequency: Frequency,
    decrement: Annotated[
        str | None,
        _option("--decrement", "NUMBER", "Logarithmic decrement per cycle, such as 0.55; leave it out if not read."),
    ] = None,
    count: Count = 1,
    axis: Axis = "axial",
    squeeze: Squeeze = None,
    frequency_sd: FrequencySd = None,
    decrement_sd: Annotated[
        str | None, _option("--decrement-sd", "NUMBER", "Its standard deviation; 15 % without it.")
    ] = None,
    temp_sd: TempSd = None,
    soak: Soak = None,
    out: Out = None,
    who: Who = None,
    at: At = None,
    note: NoteOption = "",
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Log a free vibration.

    A mass on the part is tapped; frequency and decay are read.
    """
    given = {
        "frequency_hz": frequency,
        "log_decrement": decrement,
        "frequency_sd_hz": frequency_sd,
        "log_decrement_sd": decrement_sd,
    }
    given |= {"mass_kg": mass, "count": str(count), "axis": axis, "squeeze_mm": squeeze}
    given |= _common(temp, temp_sd, soak, out, who, at, note)
    log(ctx, store, as_json, "ring-down", part, given)


@app.command()
def resonance(
    ctx: typer.Context,
    part: PartArgument,
    temp: Temp,
    mass: Mass,
    frequency: Frequency,
    width: Annotated[
        str | None,
        _option("--width", "FREQUENCY", "Width of the peak at 0.707 of its height, such as 4.1Hz."),
    ] = None,
    amplification: Annotated[
        str | None, _option("--amplification", "NUMBER", "Peak transmissibility, above 1; used without a width.")
    ] = None,
    count: Count = 1,
    axis: Axis = "axial",
    squeeze: Squeeze = None,
    frequency_sd: FrequencySd = None,
    temp_sd: TempSd = None,
    soak: Soak = None,
    out: Out = None,
    who: Who = None,
    at: At = None,
    note: NoteOption = "",
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Log a forced response.

    The resonance of a mass on the part, with the width or the height of its peak.
    """
    given = {
        "frequency_hz": frequency,
        "half_power_width_hz": width,
        "amplification": amplification,
        "frequency_sd_hz": frequency_sd,
    }
    given |= {"mass_kg": mass, "count": str(count), "axis": axis, "squeeze_mm": squeeze}
    given |= _common(temp, temp_sd, soak, out, who, at, note)
    log(ctx, store, as_json, "resonance", part, given)


@app.command()
def deflection(
    ctx: typer.Context,
    part: PartArgument,
    temp: Temp,
    mass: Mass,
    deflection: Annotated[str, _option("--deflection", "LENGTH", "How far it gave way, such as 0.31mm.")],
    dwell: Annotated[str | None, _option("--dwell", "TIME", "Time from loading to reading; 10s without it.")] = None,
    count: Count = 1,
    axis: Axis = "axial",
    squeeze: Squeeze = None,
    deflection_sd: Annotated[
        str | None, _option("--deflection-sd", "LENGTH", "Its standard deviation; 6 % without it.")
    ] = None,
    temp_sd: TempSd = None,
    soak: Soak = None,
    out: Out = None,
    who: Who = None,
    at: At = None,
    note: NoteOption = "",
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Log a static deflection.

    A weight on the part, read after a dwell.
    """
    given = {"deflection_mm": deflection, "dwell_s": dwell, "deflection_sd_mm": deflection_sd}
    given |= {"mass_kg": mass, "count": str(count), "axis": axis, "squeeze_mm": squeeze}
    given |= _common(temp, temp_sd, soak, out, who, at, note)
    log(ctx, store, as_json, "deflection", part, given)


@app.command()
def modulus(
    ctx: typer.Context,
    material: MaterialArgument,
    temp: Temp,
    frequency: Frequency,
    storage: Annotated[str, _option("--storage", "MODULUS", "Storage part of Young's modulus, such as 2.1MPa.")],
    loss_factor: Annotated[str | None, _option("--loss-factor", "NUMBER", "Loss factor, such as 0.12.")] = None,
    storage_sd: Annotated[
        str | None, _option("--storage-sd", "NUMBER", "Relative standard deviation of the modulus; 6 % without it.")
    ] = None,
    loss_factor_sd: Annotated[
        str | None, _option("--loss-factor-sd", "NUMBER", "Standard deviation of the loss factor; 15 % without it.")
    ] = None,
    temp_sd: TempSd = None,
    soak: Soak = None,
    out: Out = None,
    who: Who = None,
    at: At = None,
    note: NoteOption = "",
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Log a point of a laboratory sweep.

    Storage modulus and loss factor at a temperature and a frequency.
    """
    given = {"frequency_hz": frequency, "storage_mpa": storage, "loss_factor": loss_factor}
    given |= {"storage_sd": storage_sd, "loss_factor_sd": loss_factor_sd}
    given |= _common(temp, temp_sd, soak, out, who, at, note)
    log(ctx, store, as_json, "modulus", material, given)


@app.command()
def hardness(
    ctx: typer.Context,
    material: MaterialArgument,
    temp: Temp,
    value: Annotated[str, _option("--value", "SHORE", "Shore hardness with its scale, such as '41 A'.")],
    temp_sd: TempSd = None,
    soak: Soak = None,
    out: Out = None,
    who: Who = None,
    at: At = None,
    note: NoteOption = "",
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Log a Shore hardness."""
    given = {"value": value} | _common(temp, temp_sd, soak, out, who, at, note)
    log(ctx, store, as_json, "hardness", material, given)


def _common(
    temp: str,
    temp_sd: str | None,
    soak: str | None,
    out: str | None,
    who: str | None,
    at: str | None,
    note: str,
) -> dict[str, str | None]:
    return {
        "temperature_c": temp,
        "temperature_sd_c": temp_sd,
        "soak_min": soak,
        "seconds_out": out,
        "who": who,
        "taken_at": at,
        "note": note or None,
    }


def values_of(given: dict[str, str | None]) -> dict[str, Any]:
    """Texts of options to a reading's fields; those not given are left out. Raises UnitError, InputError."""
    from matdb.exchange.columns import BY_FIELD, value_of

    values = {}
    for name, text in given.items():
        if text is None:
            continue
        column = BY_FIELD[name]
        # Free text is taken as it is; only files carry guarded cells.
        value = text if column.dimension == "text" else value_of(column, text, OPTION_OF[name])
        if value is not None:
            values[name] = value
    return values


def log(
    ctx: typer.Context,
    store: str | None,
    as_json: bool,
    kind: str,
    on: str,
    given: dict[str, str | None],
) -> None:
    """Make a reading of a command's words, check it on its part, and log it."""
    from matdb.bench.readings import READINGS, check_on_part, reading_from_dict
    from matdb.cli.screen import document, lines, show

    subject = READINGS[kind].subject
    reading = reading_from_dict({"kind": kind, subject: on, **values_of(given)})
    with opened(ctx, store) as kept:
        if subject == "part":
            check_on_part(reading, kept.part(on))
        odd = kept.doubts(reading)
        number = kept.records.add_reading(reading)
        logged = kept.records.reading(number)
        doubts = [*odd, *bench_doubts(kept, reading)]
    warnings = [*doubts, *hazards(reading)]
    if as_json:
        document("reading add", {"number": number, "reading": logged.reading.to_dict()}, warnings)
        return
    show(f"logged reading {number}: {kind} on {on} at {reading.temperature_c:g} degC")
    lines("Before you rely on it:", doubts)
    lines("Cautions:", hazards(reading))


def bench_doubts(kept: Store, reading: Reading) -> list[str]:
    """What soak and drift say of a reading, and how many seconds were left."""
    from matdb.bench.thermal.state import bench_state

    if reading.subject != "part" or (reading.soak_min is None and reading.seconds_out is None):
        return []
    part = kept.part(getattr(reading, "part"))  # noqa: B009
    state = bench_state(reading, part, kept.material(part.material).family)
    said = list(state.warnings)
    if state.drift is not None and not state.drift.warning and abs(state.drift.drift_k) >= 0.1:
        left = float(state.drift.seconds_left)
        said.append(
            f"{reading.seconds_out:.0f} s out of the chamber: a fit takes {state.temperature_c:.1f} +- "
            f"{state.temperature_sd_k:.1f} degC; the error passes 2 K {left:.0f} s later"
        )
    return said


def hazards(reading: Any) -> list[str]:
    """Cautions for the bench at this reading's temperature and load."""
    from matdb.cli.cautions import BENCH

    found = []
    if not 0.0 <= reading.temperature_c <= 45.0:
        found.append(BENCH[0])
    if (getattr(reading, "mass_kg", None) or 0.0) >= 2.0:
        found.append(BENCH[1])
    return found
