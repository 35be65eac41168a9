"""Figures: what the axes hold, that equal charts are equal files, and what is said without the package."""

import sys
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest

from matdb.errors import FileTaken, InputError, MissingExtra
from matdb.picture.figure import draw, picture_bytes, save_picture
from matdb.picture.material_charts import master_chart, modulus_chart, residual_chart
from matdb.picture.mounting_charts import frequency_chart, squeeze_chart, transmissibility_chart


@pytest.fixture(scope="module")
def charts(store, candidate):
    mounting = store.mounting("nose")
    curve = store.curve("amber 40A")
    return {
        "modulus": modulus_chart(curve),
        "master": master_chart(curve),
        "residuals": residual_chart(curve),
        "frequency": frequency_chart([candidate("ring"), candidate("tube")], mounting, forecast_c=(-6.0, 9.0)),
        "transmissibility": transmissibility_chart(candidate("ring"), mounting, [-10.0, 23.0]),
        "squeeze": squeeze_chart(candidate("ring"), [-10.0, 23.0], mounting, pitch_mm=0.5),
        "long words": _worded(frequency_chart([candidate("ring"), candidate("tube")], mounting)),
    }


def _worded(chart):
    """Twice the chart's panel, every label as long as a name or a column's title may be."""
    (panel,) = chart.panels
    title = "acceleration_of_the_camera_y_m_s2, less its median"
    names = (f"{k} with a name of forty characters, squeezed" for k in range(5))
    series = [replace(panel.series[k % 2], label=name, colour=k) for k, name in enumerate(names)]
    panel = replace(panel, y_label=title, series=tuple(series))
    return replace(chart, title=f"a camera with a long name on a {'long ' * 6}part", panels=(panel, panel))


@pytest.mark.slow
def test_labels_do_not_overprint_and_a_legend_shows_its_line_s_whole_pattern(charts):
    for name, chart in charts.items():
        figure = draw(chart)
        figure.canvas.draw()
        renderer = figure.canvas.get_renderer()
        upright = [axes.yaxis.label.get_window_extent(renderer) for axes in figure.axes]
        others = [text.get_window_extent(renderer) for text in figure.texts]
        others += [axes.xaxis.label.get_window_extent(renderer) for axes in figure.axes]
        others += [t.get_window_extent(renderer) for a in figure.axes for t in a.yaxis.get_ticklabels() if t.get_text()]
        for k, box in enumerate(upright):
            assert not any(box.overlaps(other) for other in upright[k + 1 :]), name
            assert not any(box.overlaps(other) for other in others), name
        for axes in figure.axes:
            for handle in axes.get_legend().get_lines():
                pattern = handle._unscaled_dash_pattern[1] or (0.0,)
                length = handle.get_window_extent(renderer).width * 72.0 / figure.dpi
                assert sum(pattern) * handle.get_linewidth() <= length, name


@pytest.mark.slow
def test_every_picture_draws_its_data_and_says_units(charts):
    for name, chart in charts.items():
        figure = draw(chart)
        axes = figure.axes
        assert len(axes) == len(chart.panels), name
        for one, panel in zip(axes, chart.panels, strict=True):
            assert one.get_xlabel() == panel.x_label
            assert one.get_ylabel() == panel.y_label or name == "long words"
            drawn = [line for line in one.lines if len(line.get_xdata()) > 2 or line.get_linestyle() == "None"]
            for line, series in zip(drawn, panel.series, strict=False):
                np.testing.assert_array_equal(line.get_xdata(), series.x)
                np.testing.assert_array_equal(line.get_ydata(), series.y)
            assert len(drawn) == len(panel.series), name
            filled = [c for c in one.collections if len(c.get_paths())]
            assert len(filled) == sum(s.low is not None for s in panel.series), name
            labels = {text.get_text() for text in one.get_legend().get_texts()}
            assert labels == {s.label for s in panel.series if s.label} | {s.label for s in panel.spans}, name


@pytest.mark.slow
def test_text_stays_inside_and_is_big_enough(charts):
    for name, chart in charts.items():
        figure = draw(chart)
        wide, tall = figure.canvas.get_width_height()
        box = figure.get_tightbbox(figure.canvas.get_renderer())
        assert box.x0 >= -0.01, name
        assert box.y0 >= -0.01, name
        assert box.x1 * figure.dpi <= wide + 1, name
        assert box.y1 * figure.dpi <= tall + 1, name
        # At 360 px wide, tick labels are about 10 px high.
        size = figure.axes[0].xaxis.get_ticklabels()[0].get_size()
        assert size / 72 * 360 / figure.get_figwidth() > 8.0, name


def test_equal_charts_are_equal_files(charts):
    for kind in ("png", "svg"):
        first, second = (picture_bytes(charts["frequency"], kind) for _ in range(2))
        assert first == second
    svg = second
    assert b"dc:date" not in svg
    tree = ET.fromstring(svg)
    assert "natural frequency" in "".join(tree.itertext())


def test_drawing_leaves_global_settings_alone(charts):
    import matplotlib

    before = dict(matplotlib.rcParams)
    picture_bytes(charts["residuals"], "png")
    assert dict(matplotlib.rcParams) == before


def test_a_picture_is_written_whole_and_never_over_another(charts, tmp_path):
    target = save_picture(charts["residuals"], tmp_path / "a.PNG")
    assert target.read_bytes().startswith(b"\x89PNG")
    with pytest.raises(FileTaken, match="--force"):
        save_picture(charts["residuals"], target)
    assert save_picture(charts["residuals"], target, force=True) == target
    with pytest.raises(InputError, match=r"\.png or \.svg"):
        save_picture(charts["residuals"], tmp_path / "a.pdf")
    with pytest.raises(InputError, match="folder"):
        save_picture(charts["residuals"], tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["a.PNG"]


def test_without_the_package_the_extra_is_named(charts, monkeypatch):
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    with pytest.raises(MissingExtra, match=r"pip install 'elastomer-matdb\[pictures\]'"):
        picture_bytes(charts["residuals"], "png")
