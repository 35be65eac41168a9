"""``matdb stiffness``: a part's effective stiffness and damping ratio at a field temperature."""

from __future__ import annotations

from typing import Annotated

import typer

from matdb.cli.options import (
    AxisOption,
    CountOption,
    CsvOption,
    ForceOption,
    FrequenciesOption,
    JsonOption,
    MassOption,
    SqueezeOption,
    StepOption,
    StoreOption,
    TempsOption,
    store_name,
)


def stiffness(
    ctx: typer.Context,
    part: Annotated[str, typer.Argument(metavar="PART", help="The part's name.")],
    temp: TempsOption,
    frequency: FrequenciesOption = None,
    mass: MassOption = None,
    count: CountOption = 1,
    axis: AxisOption = "axial",
    squeeze: SqueezeOption = "0mm",
    step: StepOption = "5K",
    csv: CsvOption = None,
    force: ForceOption = False,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show a part's stiffness and damping ratio at a frequency, or at the natural frequency under a mass."""
    from matdb.cli.stiffness_answer import stiffness_answer

    stiffness_answer(
        store_name(ctx, store),
        part=part,
        temp=temp,
        frequency=frequency,
        mass=mass,
        count=count,
        axis=axis,
        squeeze=squeeze,
        step=step,
        csv=csv,
        force=force,
        as_json=as_json,
    )
