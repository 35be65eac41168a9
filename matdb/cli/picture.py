"""``matdb picture``: charts in the terminal, or as PNG or SVG."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any

import typer

from matdb.cli.options import (
    AxisOption,
    ForceOption,
    JsonOption,
    MaterialArgument,
    SqueezeOption,
    StoreOption,
    existing,
    needed,
    quantity,
)

if TYPE_CHECKING:
    from matdb.advice.suit import Candidate
    from matdb.api import Store
    from matdb.picture.chart import Chart

app = typer.Typer(
    help="Draw charts: in the terminal, or with --out as a PNG or SVG file.",
    short_help="Draw charts.",
    rich_markup_mode=None,
)

OutOption = Annotated[
    str | None,
    typer.Option("--out", metavar="FILE", help="Write a file ending in .png or .svg instead of showing text."),
]
RangeOption = Annotated[
    str, typer.Option("--temp", metavar="RANGE", help="Ends of the temperature axis, such as -20C..50C.")
]
FewTempsOption = Annotated[
    list[str],
    typer.Option("--temp", metavar="TEMPERATURE", help="A line at this temperature, such as -5C. Up to four times."),
]
MountingArgument = Annotated[str, typer.Argument(metavar="MOUNTING", help="The mounting's name.")]
PartsOption = Annotated[
    list[str] | None, typer.Option("--part", metavar="NAME", help="A part to draw. Up to five times.")
]


@app.command()
def modulus(
    ctx: typer.Context,
    material: MaterialArgument,
    temp: RangeOption = "-30C..60C",
    frequency: Annotated[
        str, typer.Option("--frequency", metavar="FREQUENCY", help="Frequency of the curve, such as 30Hz.")
    ] = "30Hz",
    out: OutOption = None,
    force: ForceOption = False,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Draw the modulus over temperature.

    Storage modulus and loss factor, with bands and readings.
    """
    from matdb.picture.material_charts import modulus_chart

    low, high = _range(temp)
    f = needed(frequency, "frequency", "--frequency")
    with existing(ctx, store) as kept:
        chart = modulus_chart(kept.curve(material), low_c=low, high_c=high, frequency_hz=f)
    _show("picture modulus", chart, out, force, as_json)


@app.command()
def master(
    ctx: typer.Context,
    material: MaterialArgument,
    temp: RangeOption = "-30C..60C",
    out: OutOption = None,
    force: ForceOption = False,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Draw the master curve.

    Over reduced frequency, with the shift factors over temperature.
    """
    from matdb.picture.material_charts import master_chart

    low, high = _range(temp)
    with existing(ctx, store) as kept:
        chart = master_chart(kept.curve(material), low_c=low, high_c=high)
    _show("picture master", chart, out, force, as_json)


@app.command()
def residuals(
    ctx: typer.Context,
    material: MaterialArgument,
    out: OutOption = None,
    force: ForceOption = False,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Draw the residuals of a fit.

    How far every reading lies from it.
    """
    from matdb.picture.material_charts import residual_chart

    with existing(ctx, store) as kept:
        chart = residual_chart(kept.curve(material))
    _show("picture residuals", chart, out, force, as_json)


@app.command()
def frequency(
    ctx: typer.Context,
    mounting: MountingArgument,
    part: PartsOption = None,
    temp: RangeOption = "-30C..50C",
    forecast: Annotated[
        str | None, typer.Option("--forecast", metavar="RANGE", help="Temperatures to mark, such as -6C..14C.")
    ] = None,
    squeeze: SqueezeOption = "0mm",
    axis: AxisOption = "axial",
    out: OutOption = None,
    force: ForceOption = False,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Draw natural frequency over temperature.

    With the wanted window and the forecast.
    """
    from matdb.picture.mounting_charts import frequency_chart

    low, high = _range(temp)
    with existing(ctx, store) as kept:
        wanted = kept.mounting(mounting)
        chart = frequency_chart(
            _candidates(kept, part, axis),
            wanted,
            low_c=low,
            high_c=high,
            forecast_c=_range(forecast, "--forecast") if forecast else None,
            squeeze_mm=needed(squeeze, "length", "--squeeze"),
            axis=axis,
        )
    _show("picture frequency", chart, out, force, as_json)


@app.command()
def transmissibility(
    ctx: typer.Context,
    mounting: MountingArgument,
    part: Annotated[str, typer.Argument(metavar="PART", help="The part's name.")],
    temp: FewTempsOption,
    squeeze: SqueezeOption = "0mm",
    axis: AxisOption = "axial",
    out: OutOption = None,
    force: ForceOption = False,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Draw transmissibility.

    How much of the craft's shake reaches the camera, with the rotor orders.
    """
    from matdb.picture.mounting_charts import transmissibility_chart

    with existing(ctx, store) as kept:
        wanted = kept.mounting(mounting)
        (candidate,) = _candidates(kept, [part], axis)
        chart = transmissibility_chart(
            candidate,
            wanted,
            [needed(t, "temperature", "--temp") for t in temp],
            squeeze_mm=needed(squeeze, "length", "--squeeze"),
            axis=axis,
        )
    _show("picture transmissibility", chart, out, force, as_json)


@app.command()
def squeeze(
    ctx: typer.Context,
    mounting: MountingArgument,
    part: Annotated[str, typer.Argument(metavar="PART", help="The part's name.")],
    temp: FewTempsOption,
    pitch: Annotated[
        str | None,
        typer.Option(
            "--pitch", metavar="LENGTH", help="Pitch of the screw, such as 0.5mm; the part's thread without it."
        ),
    ] = None,
    out: OutOption = None,
    force: ForceOption = False,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Draw stiffness over squeeze.

    A part's stiffness and natural frequency over the squeeze that it carries.
    """
    from matdb.form.thread import pitch_mm
    from matdb.picture.mounting_charts import squeeze_chart
    from matdb.picture.page_tables import screw_of

    with existing(ctx, store) as kept:
        wanted = kept.mounting(mounting)
        (candidate,) = _candidates(kept, [part], "axial")
        at = [needed(t, "temperature", "--temp") for t in temp]
        screw = screw_of(candidate.part)
        window: dict[str, Any] = {}
        if candidate.part.form.pair is not None:
            advice = kept.squeeze(part, wanted.mass_kg, at, count=wanted.count, load_factors=wanted.load_factors)
            window = {
                "least_mm": float(advice.least_mm.high),
                "most_mm": float(advice.most_mm.low),
                "recommended_mm": advice.recommended_mm,
            }
        chart = squeeze_chart(
            candidate,
            at,
            mass_kg=wanted.mass_kg,
            count=wanted.count,
            pitch_mm=quantity(pitch, "length", "--pitch") or (pitch_mm(screw) if screw else None),
            **window,
        )
    _show("picture squeeze", chart, out, force, as_json)


def _candidates(kept: Store, names: Sequence[str] | None, axis: str) -> list[Candidate]:
    from matdb.advice.suit import Candidate

    parts = [kept.part(n) for n in names] if names else [p for p in kept.parts() if axis in p.form.axes]
    return [Candidate(p, kept.material(p.material), kept.curve(p.material)) for p in parts]


def _range(text: str, option: str = "--temp") -> tuple[float, float]:
    from matdb.units import parse_range

    low, high = parse_range(text, "temperature", option)
    return low, high


def _show(command: str, chart: Chart, out: str | None, force: bool, as_json: bool) -> None:
    """Write the file, or print the chart as text or as its numbers."""
    from matdb.cli.screen import document, show

    written = None
    if out is not None:
        from matdb.picture.figure import save_picture

        written = str(save_picture(chart, out, force=force))
    if as_json:
        document(command, {"file": written, "chart": _plain(chart)}, chart.notes)
        return
    if written is not None:
        show(f"written: {written}", wrap=False)
        return
    import shutil
    import sys

    from matdb.picture.terminal import chart_text

    width, height = shutil.get_terminal_size((90, 40))
    each = max(min((height - 8) // len(chart.panels) - 5, 16), 8)
    blocks = "utf" in (getattr(sys.stdout, "encoding", None) or "").lower()
    show(chart_text(chart, width=min(max(width, 40), 100), height=each, blocks=blocks), wrap=False)


def _plain(chart: Chart) -> dict[str, Any]:
    """What the chart shows as numbers; nan becomes null."""
    return {
        "title": chart.title,
        "subtitle": chart.subtitle,
        "panels": [
            {
                "x": panel.x_label,
                "y": panel.y_label,
                "series": [
                    {"label": s.label, "style": s.style, "x": s.x, "y": s.y, "low": s.low, "high": s.high}
                    for s in panel.series
                ],
                "ranges": [
                    {"axis": s.axis, "low": s.low, "high": s.high, "label": s.label, "kind": s.kind}
                    for s in panel.spans
                ],
            }
            for panel in chart.panels
        ],
    }
