"""Charts as text."""

import numpy as np

from matdb.picture.chart import Chart, Mark, Panel, Series, Span
from matdb.picture.mounting_charts import frequency_chart
from matdb.picture.terminal import chart_text


def rising(**more):
    x = np.linspace(0.0, 10.0, 101)
    panel = Panel(
        x_label="x, mm",
        y_label="y, N",
        series=(Series(label="straight", x=x, y=x, **more),),
        x_range=(0.0, 10.0),
        y_range=(0.0, 10.0),
        marks=(Mark(axis="y", at=5.0),),
    )
    return Chart(title="title", subtitle="subtitle", panels=(panel,), notes=("a note",))


def field(text):
    return [line.split("|", 1)[1] for line in text.splitlines() if "|" in line]


def test_a_straight_line_rises_from_corner_to_corner():
    rows = field(chart_text(rising(), width=60, height=20, blocks=False))
    assert len(rows) == 20
    middles = [np.mean([i for i, c in enumerate(row) if c == "*"]) for row in rows]
    wide = max(len(r) for r in rows)
    np.testing.assert_allclose(middles, (np.arange(20)[::-1] + 0.5) / 20 * wide, atol=2.0)


def test_bands_points_and_spans_have_their_signs():
    x = np.linspace(0.0, 10.0, 101)
    chart = rising(low=x - 3.0, high=x + 3.0)
    points = Series(label="seen", x=np.array([5.0]), y=np.array([0.5]), style="points")
    odd = Series(label="odd", x=np.array([9.0]), y=np.array([0.5]), style="crosses")
    panel = chart.panels[0]
    panel = Panel(
        x_label=panel.x_label,
        y_label=panel.y_label,
        series=(*panel.series, points, odd),
        spans=(Span(axis="x", low=0.0, high=2.0, label="here", kind="forecast"),),
        x_range=panel.x_range,
        y_range=panel.y_range,
    )
    text = chart_text(Chart(title="t", subtitle="s", panels=(panel,)), width=60, height=20, blocks=False)
    rows = field(text)
    assert rows[18][len(rows[0]) // 2 - 3 : len(rows[0]) // 2 + 4].count("o") == 1 or "o" in rows[19]
    assert sum(row.count(":") for row in rows) > 200
    assert "x" in rows[18] + rows[19]
    assert "'" in rows[0][:12]
    for word in ("o seen", "x odd", ": band", "' here"):
        assert word in text


def test_ascii_alone_is_ascii_alone(store, candidate):
    chart = frequency_chart([candidate("ring"), candidate("tube")], store.mounting("nose"), forecast_c=(-6.0, 9.0))
    assert chart_text(chart, blocks=False).isascii()
    blocks = chart_text(chart)
    assert any(c in blocks for c in "▀▄▌▐█")
    assert max(len(line) for line in blocks.splitlines()) <= 78
    # Two lines are told apart by letters, in the field and in the legend.
    assert "a ring" in blocks
    assert "b tube" in blocks


def test_text_is_the_same_twice(store, candidate):
    chart = frequency_chart([candidate("ring")], store.mounting("nose"))
    assert chart_text(chart) == chart_text(chart)
