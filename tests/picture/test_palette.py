"""The palette: told apart by the colour-blind, in grey, and by dashes and markers besides."""

import itertools
import re

import numpy as np
import pytest

from matdb.picture.figure import DASHES, INK, MARKERS, PAPER, SERIES

# Machado, Oliveira and Fernandes, IEEE Trans. Vis. Comput. Graph. 15:1291 (2009), severity 1; from memory.
SIGHT = {
    "usual": np.eye(3),
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


def linear(colour):
    value = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255.0
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def lab(rgb):
    """CIELAB under D65 of linear sRGB."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    x = to_xyz @ np.clip(rgb, 0.0, 1.0) / np.array([0.9505, 1.0, 1.089])
    f = np.where(x > 216 / 24389, np.cbrt(x), (24389 / 27 * x + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("sight", SIGHT)
def test_every_pair_differs_for_every_sight(sight):
    seen = [lab(np.asarray(SIGHT[sight]) @ linear(c)) for c in SERIES]
    for (i, a), (j, b) in itertools.combinations(enumerate(seen), 2):
        assert np.linalg.norm(a - b) > 18.0, (SERIES[i], SERIES[j], np.linalg.norm(a - b))


def test_lightness_rises_in_steps_so_that_grey_prints_tell_them_apart():
    lightness = [lab(linear(c))[0] for c in SERIES]
    assert np.diff(lightness).min() > 8.0, lightness


def test_ink_stands_out_from_paper():
    bright, dark = ((linear(c) @ [0.2126, 0.7152, 0.0722]) + 0.05 for c in (PAPER, INK))
    assert bright / dark > 12.0


def test_nothing_rests_on_colour_alone():
    assert len(set(DASHES)) == len(set(MARKERS)) == len(SERIES)


def themes():
    """The colours of each light that the field page knows, the ones that it does not set taken from daylight."""
    from importlib.resources import files

    css = files("matdb.picture").joinpath("page.css").read_text(encoding="utf-8").split("@media print")[0]
    blocks = [dict(re.findall(r"--(\w+): (#\w{6})", block)) for block in re.findall(r":root[^{]*\{(.*?)\}", css, re.S)]
    names = ("day", "dark", "night", "sun")
    blocks = [b for b in blocks if b]
    assert len(blocks) == len(names)
    return {name: blocks[0] | block for name, block in zip(names, blocks, strict=True)}


def contrast(a, b):
    """Contrast ratio after WCAG 2.1, 1 to 21."""
    low, high = sorted((linear(c) @ [0.2126, 0.7152, 0.0722]) + 0.05 for c in (a, b))
    return high / low


@pytest.mark.parametrize("name", ["day", "dark", "night", "sun"])
def test_the_page_s_words_and_lines_stand_out_in_every_light(name):
    theme = themes()[name]
    for word in ("ink", "quiet", "good", "fair", "open", "poor", "bad"):
        assert contrast(theme[word], theme["paper"]) >= (9.5 if name == "sun" else 7.0), word
    for word in ("good", "fair", "open", "poor", "bad"):
        assert contrast(theme["sign"], theme[word]) >= 4.5, word
    for k in range(5):
        for ground in ("paper", "wanted"):
            assert contrast(theme[f"s{k}"], theme[ground]) >= 3.0, (k, ground)
    assert contrast(theme["line"], theme["paper"]) >= 3.0
    assert contrast(theme["focus"], theme["paper"]) >= 3.0
