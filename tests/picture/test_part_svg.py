"""The drawing of a part: to scale, whole, and with the dimensions that it was given."""

import re
import xml.etree.ElementTree as ET

import pytest

from matdb.errors import InputError
from matdb.form import BentLeg, Bush, Grommet, GrommetPair, Measured, Pad, PrintedStrut, Ring, Strut, Taper
from matdb.picture.part_svg import part_svg

FORMS = [
    Ring(16, 6, 5),
    Pad(10, 4),
    Bush(12, 6, 10),
    Strut(8, 4, 20),
    Taper(12, 8, 10),
    PrintedStrut(8, 3, 30, walls=2, infill_share=0.2, flare_mm=12, flare_length_mm=4),
    BentLeg(4, 2, 8, 180, 5, 3),
    Grommet(12, 4.2, 3.5, 2.5, 2, 7, neck_outer_mm=6.4),
    GrommetPair(Ring(12, 5, 4), Pad(10, 3), plate_mm=2),
]


def drawn(form):
    root = ET.fromstring(part_svg(form, "a < part"))
    name = "{http://www.w3.org/2000/svg}"
    polygons = [
        [tuple(map(float, pair.split(","))) for pair in each.get("points").split()]
        for each in root.iter(f"{name}polygon")
    ]
    return root, polygons, [each.text for each in root.iter(f"{name}text")]


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.kind)
def test_a_drawing_is_to_scale_and_inside_its_sheet(form):
    root, polygons, texts = drawn(form)
    _, _, wide, tall = map(float, root.get("viewBox").split())
    x, y = ([point[i] for polygon in polygons for point in polygon] for i in (0, 1))
    assert min(*x, *y) >= 0.0
    assert max(x) <= wide
    assert max(y) <= tall
    mm = [point for _, polygon in form.drawn_mm for point in polygon]
    across, up = (max(p[i] for p in mm) - min(p[i] for p in mm) for i in (0, 1))
    assert (max(x) - min(x)) / (max(y) - min(y)) == pytest.approx(across / up, rel=0.01)
    assert "a < part, mm" in texts


def test_a_drawing_tells_the_dimensions_that_were_given():
    for form, told in (
        (Ring(16, 6, 5), {"⌀16", "⌀6", "5"}),
        (Taper(12, 8, 10), {"⌀12", "⌀8", "10"}),
        (Grommet(12, 4.2, 3.5, 2.5, 2, 7), {"⌀12", "⌀4.2", "⌀7", "3.5", "2", "2.5", "8"}),
        (BentLeg(4, 2, 8, 180), {"18"}),
    ):
        assert told <= set(drawn(form)[2]), form


def test_a_form_without_geometry_has_no_drawing():
    with pytest.raises(InputError, match="drawn"):
        part_svg(Measured(), "loop")


@pytest.mark.parametrize(
    ("form", "doubt"),
    [
        (Ring(355, 6, 5), r"outer of 355 mm"),
        (Ring(16, 6, 0.2), r"shape factor of 12\.5"),
        (Ring(16, 0.16, 5), r"diameter ratio of 0\.01"),
        (Strut(8, length_mm=0.1), r"length of 0\.1 mm"),
    ],
)
def test_a_slip_of_a_unit_is_doubted(form, doubt):
    assert any(re.search(doubt, text) for text in form.doubts)


def test_what_is_drawn_here_is_not_doubted():
    assert not [text for form in FORMS for text in form.doubts]
