"""``matdb picture``: charts in the terminal, or as PNG or SVG."""

from __future__ import annotations

import shutil
import sys
from dataclasses import dataclass, replace
from typing import Annotated, Any

from matdb.advice.exposure import flight
from matdb.advice.requirement import Candidate
from matdb.api import Store
from matdb.cli import options
from matdb.cli.options import Group, Held, Question, arg, opt, option, quantity
from matdb.cli.screen import show
from matdb.form.part import Part
from matdb.form.thread import pitch_mm
from matdb.picture.chart import Chart
from matdb.picture.figure import picture_file, save_picture
from matdb.picture.material_charts import master_chart, modulus_chart, residual_chart
from matdb.picture.mounting_charts import MOST_PARTS, frequency_chart, squeeze_chart, transmissibility_chart
from matdb.picture.terminal import chart_text
from matdb.units import parse, parse_range

app = Group("Draw charts: in the terminal, or with --out as a PNG or SVG file.", short_help="Draw charts.")

RangeOption = Annotated[str, opt("--temp", "RANGE", "Ends of the temperature axis, such as -20C..50C.")]
FewTempsOption = Annotated[
    list[str], opt("--temp", "TEMPERATURE", "A line at this temperature, such as -5C. Up to four times.")
]
MountingArgument = Annotated[str, arg("MOUNTING", "The mounting's name.")]
PartArgument = Annotated[str, arg("PART", "The part's name.")]


@dataclass(frozen=True)
class Drawing(Question):
    """A call for a chart, and where that goes."""

    out: str | None = option("FILE", "Write a file ending in .png or .svg instead of showing text.")
    force: options.ForceOption = False

    def __post_init__(self) -> None:
        if self.out is not None:
            picture_file(self.out, force=self.force)  # before the long work

    def show(self, chart: Chart) -> None:
        """Write the file, or print the chart as text or as its numbers."""
        written = None if self.out is None else str(save_picture(chart, self.out, force=self.force))

        def screen() -> None:
            if written is not None:
                show(f"written: {written}", wrap=False)
                return
            width, height = shutil.get_terminal_size((90, 40))
            each = max(min((height - 8) // len(chart.panels) - 5, 16), 8)
            blocks = "utf" in (getattr(sys.stdout, "encoding", None) or "").lower()
            show(chart_text(chart, width=min(max(width, 40), 100), height=each, blocks=blocks), wrap=False)

        self.answer({"files": list(filter(None, [written])), "chart": chart}, screen, chart.notes)


@app.command()
def modulus(
    call: Drawing,
    material: options.MaterialArgument,
    temp: RangeOption = "-30C..60C",
    frequency: str = option("FREQUENCY", "Frequency of the curve, such as 30Hz.", "30Hz"),
) -> None:
    """Draw the modulus over temperature.

    Storage modulus and loss factor, with bands and readings.
    """
    how = _axis(temp) | {"frequency_hz": parse(frequency, "frequency", "--frequency")}
    with call.existing() as store:
        chart = modulus_chart(store.current_curve(material), **how)
    call.show(chart)


@app.command()
def master(call: Drawing, material: options.MaterialArgument, temp: RangeOption = "-30C..60C") -> None:
    """Draw the master curve.

    Over reduced frequency, with the shift factors over temperature.
    """
    axis = _axis(temp)
    with call.existing() as store:
        chart = master_chart(store.current_curve(material), **axis)
    call.show(chart)


@app.command()
def residuals(material: options.MaterialArgument, call: Drawing) -> None:
    """Draw the residuals of a fit.

    How far every reading lies from it.
    """
    with call.existing() as store:
        chart = residual_chart(store.current_curve(material))
    call.show(chart)


@app.command()
def frequency(
    call: Drawing,
    mounting: MountingArgument,
    held: Held,
    part: list[str] | None = option("NAME", "A part to draw. Up to five times."),
    temp: RangeOption = "-30C..50C",
    forecast: str | None = option("RANGE", "Temperatures to mark, such as -6C..14C."),
) -> None:
    """Draw natural frequency over temperature.

    With the wanted window and the forecast.
    """
    axis = _axis(temp)
    expected = parse_range(forecast, "temperature", "--forecast") if forecast else None
    flown = flight(low_c=expected[0], high_c=expected[1]) if expected else flight(**axis)
    with call.existing() as store:
        wanted, parts, chosen = store.mounting(mounting), held.parts(store, part), list[str]()
        if part is None and len(parts) > MOST_PARTS:
            best = store.suit(wanted, flown, axis=held.axis)[:MOST_PARTS]
            chosen = [f"The {MOST_PARTS} of {len(parts)} parts that suit best; name others by --part."]
            parts = [store.part(row.part) for row in best]
        how = held.under(store, wanted, parts, flown).how_all(parts)
        candidates = [candidate(store, each) for each in parts]
        chart = frequency_chart(candidates, wanted, **axis, forecast_c=expected, **how)
    call.show(replace(chart, notes=(*chosen, *chart.notes)))


@app.command()
def transmissibility(
    mounting: MountingArgument, part: PartArgument, temp: FewTempsOption, held: Held, call: Drawing
) -> None:
    """Draw transmissibility.

    How much of the craft's shake reaches the camera, with the rotor orders.
    """
    with call.existing() as store:
        wanted, known = store.mounting(mounting), store.part(part)
        at = [parse(t, "temperature", "--temp") for t in temp]
        how = held.under(store, wanted, [known], at).how(known)
        chart = transmissibility_chart(candidate(store, known), wanted, at, **how)
    call.show(chart)


@app.command()
def squeeze(
    call: Drawing,
    mounting: MountingArgument,
    part: PartArgument,
    temp: FewTempsOption,
    pitch: str | None = option("LENGTH", "Pitch of the screw, such as 0.5mm; the part's thread without it."),
) -> None:
    """Draw stiffness over squeeze.

    A part's stiffness and natural frequency over the squeeze that it carries.
    """
    with call.existing() as store:
        wanted, known = store.mounting(mounting), store.part(part)
        at = [parse(t, "temperature", "--temp") for t in temp]
        screw = known.known_screw
        step_mm = quantity(pitch, "length", "--pitch") or (pitch_mm(screw) if screw else None)
        limits_mm = None
        if known.form.pair is not None:
            advice = store.squeeze(part, temperature_c=at, mounting=wanted)
            limits_mm = float(advice.least_mm.high), float(advice.most_mm.low), advice.points[0].squeeze_mm
        chart = squeeze_chart(candidate(store, known), at, wanted, pitch_mm=step_mm, limits_mm=limits_mm)
    call.show(chart)


def candidate(store: Store, part: Part) -> Candidate:
    """A part with its material and the curve fitted to it, as charts take it."""
    return Candidate(part, store.material(part.material), store.current_curve(part.material))


def _axis(text: str) -> dict[str, Any]:
    low, high = parse_range(text, "temperature", "--temp")
    return {"low_c": low, "high_c": high}
