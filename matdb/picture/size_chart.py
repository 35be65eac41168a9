"""The trade-off behind proposals: how much room is left to isolate against how much to follow."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from matdb.advice.size import Proposal
from matdb.arrays import Array
from matdb.picture.chart import Chart, Mark, Panel, Series, Span

#: Ends of both axes, percent of natural frequency; what lies beyond is drawn at the end.
_LEAST, _MOST = -60.0, 120.0
#: Designs hold where they are as probable as this share of the best.
_HOLDS: Final = 0.5


def trade_off_chart(found: Sequence[Proposal]) -> Chart:
    """Room to the limit of following over that of isolating: every design that was tried, and the proposals in it.

    Parameters
    ----------
    found : sequence of Proposal
        As :func:`matdb.advice.size.size` gives them, the best first.
    """
    best = found[0]
    rooms, chance = _percent(best.trade_off[:, :2]), best.trade_off[:, 2]
    good = chance >= max(_HOLDS * best.probability, 1e-9)
    held = f"holds with {100.0 * _HOLDS * best.probability:.0f} % or more"
    series = [
        Series(label="tried", style="crosses", x=rooms[~good, 0], y=rooms[~good, 1], colour=1),
        Series(label=held, style="points", x=rooms[good, 0], y=rooms[good, 1], colour=0),
    ]
    series = [each for each in series if each.x.size]
    for number, each in enumerate(found, 1):
        x, y = _percent(np.array([[each.isolating_room, each.following_room]])).T
        label = f"{number}: {100.0 * each.probability:.0f} %, {each.part.form.label()}"
        series.append(Series(label=label, style="points", x=x, y=y, colour=number + 1))
    panel = Panel(
        "room to isolate, % of natural frequency",
        "room to follow, %",
        tuple(series),
        (Span("x", 0.0, _MOST, "isolates in the median draw", "wanted"),),
        (Mark("y", 0.0, "follows above"),),
        x_range=(_LEAST, _MOST),
        y_range=(_LEAST, _MOST),
    )
    on = best.mounting
    title = f"{on.name}: sizes of a {best.part.form.kind} of {best.part.material}"
    return Chart(title, f"{1e3 * on.mass_kg:g} g on {on.count}, {best.low_c:g} to {best.high_c:g} °C", (panel,))


def _percent(rooms: Array) -> Array:
    """Room in ln of natural frequency as percent, between the ends of the axes."""
    return np.asarray(np.clip(100.0 * np.expm1(np.clip(rooms, -5.0, 5.0)), _LEAST, _MOST))
