"""The mounting's record: defaults, checks, the way to JSON and back."""

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from matdb.errors import InputError
from matdb.mounting.record import CameraPackage, Mounting, mounting_from_dict, rectangle_positions

PLAIN = {"name": "quad", "mass_kg": 0.5, "count": 4, "rpm_idle": 3000, "rpm_full": 7200}
FULL = Mounting(
    **PLAIN,
    rpm_hover=4800,
    blades=3,
    orders=(1, 3, 6),
    manoeuvre_hz=6,
    load_factors=(-0.2, 3),
    positions_mm=rectangle_positions(80, 60, 10),
    inclination_deg=30,
    centre_mm=(2, 0, -15),
    box_mm=(90, 60, 50),
    camera_point_mm=(40, 0, -15),
    packages=(
        CameraPackage(name="heavy", mass_kg=0.9, inertia_kg_mm2=(900, 800, 700, 1, 2, 3), camera_point_mm=(1, 2, 3)),
    ),
    row_time_us=12.5,
    rows=4000,
    focal_length_mm=24,
    pixel_pitch_um=3.8,
    note="made up",
)


def test_the_simplest_mounting_has_orders_and_a_lowest_frequency():
    m = Mounting(**PLAIN)
    assert [(b.label, b.low_hz, b.high_hz) for b in m.rotor_bands] == [("1/rev", 50, 120), ("2/rev", 100, 240)]
    assert m.lowest_rotor_hz == 50
    assert not m.has_six_axes
    assert [p.name for p in m.all_packages] == ["main"]
    with pytest.raises(InputError, match="give box_mm"):
        _ = m.main.inertia


def test_json_round_trip_keeps_everything():
    for m in (FULL, Mounting(**PLAIN)):
        assert mounting_from_dict(json.loads(json.dumps(m.to_dict()))) == m
    assert "packages" not in Mounting(**PLAIN).to_dict()
    assert FULL.has_six_axes


def test_orders_not_listed_are_left_out_of_the_lowest_frequency():
    assert Mounting(**PLAIN, orders=(2,)).lowest_rotor_hz == 100


def test_box_inertia_is_that_of_an_even_box():
    # 0.5/12 * (60^2 + 50^2) and so on
    assert FULL.main.inertia == pytest.approx((254.1667, 441.6667, 487.5, 0, 0, 0), abs=1e-3)
    assert FULL.package("heavy").inertia == (900, 800, 700, 1, 2, 3)


def test_positions():
    assert rectangle_positions(80, 60)[0] == (40, 30, 0)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"mass_kg": -1}, "mass_kg"),
        ({"mass_kg": "heavy"}, "mass_kg"),
        ({"mass_kg": True}, "mass_kg"),
        ({"count": 0}, "count"),
        ({"count": 2.5}, "count"),
        ({"count": float("nan")}, "count"),
        ({"rpm_idle": 8000}, "rpm_idle"),
        ({"rpm_idle": 0}, "rpm_idle"),
        ({"rpm_hover": 100}, "rpm_hover"),
        ({"blades": 2.0}, "blades"),
        ({"orders": (0,)}, "orders"),
        ({"orders": "1"}, "orders"),
        ({"manoeuvre_hz": -1}, "manoeuvre_hz"),
        ({"load_factors": (2, 0.5)}, "load_factors"),
        ({"load_factors": 2}, "load_factors"),
        ({"positions_mm": ((0, 0, 0),)}, "positions_mm"),
        ({"positions_mm": ((0, 0),) * 4}, "positions_mm"),
        ({"positions_mm": 4}, "positions_mm"),
        ({"directions": ((0, 0, 0),) * 4}, "directions"),
        ({"directions": ((0, 0, 1),) * 4, "inclination_deg": 10}, "inclination_deg"),
        ({"inclination_deg": 100}, "inclination_deg"),
        ({"box_mm": (1, 2, 0)}, "box_mm"),
        ({"box_mm": (1, 2, 3), "inertia_kg_mm2": (1, 1, 1)}, "box_mm"),
        ({"inertia_kg_mm2": (1, 1, 3)}, "inertia_kg_mm2"),
        ({"inertia_kg_mm2": (1, 1)}, "inertia_kg_mm2"),
        ({"rows": 10.5}, "rows"),
        ({"row_time_us": 0}, "row_time_us"),
        ({"packages": (CameraPackage(name="main", mass_kg=1),)}, "package name"),
        ({"packages": ("heavy",)}, "packages"),
        ({"name": ""}, "mounting name"),
        ({"note": "\x00"}, "note"),
    ],
)
def test_what_cannot_be_is_refused_by_field(change, field):
    with pytest.raises(InputError) as caught:
        Mounting(**{**PLAIN, **change})
    assert caught.value.field == field
    assert "\n" not in str(caught.value)


def test_dictionaries_with_unknown_or_missing_fields_are_refused():
    with pytest.raises(InputError, match="mounting weight: 3 is not allowed; it must be one of the fields"):
        mounting_from_dict({**PLAIN, "weight": 3})
    with pytest.raises(InputError, match="mounting rpm_full"):
        mounting_from_dict({k: v for k, v in PLAIN.items() if k != "rpm_full"})
    with pytest.raises(InputError, match="package mass_kg"):
        mounting_from_dict({**PLAIN, "packages": [{"name": "a"}]})
    with pytest.raises(InputError, match="packages"):
        mounting_from_dict({**PLAIN, "packages": "a"})
    with pytest.raises(InputError, match="a set of named values"):
        mounting_from_dict([1])


def test_an_unknown_package_names_the_known_ones():
    with pytest.raises(InputError, match="one of main, heavy"):
        FULL.package("light")


def test_replace_keeps_working():
    assert replace(FULL, mass_kg=0.6).main.mass_kg == 0.6


def test_the_guide_s_file_makes_a_mounting_with_six_axes():
    text = (Path(__file__).parents[2] / "matdb" / "cli" / "GUIDE.md").read_text(encoding="utf-8")
    (block,) = re.findall(r"```json\n(.*?)```", text, flags=re.DOTALL)
    mounting = mounting_from_dict({"name": "cam", **json.loads(block)})
    assert mounting.has_six_axes
    assert len(mounting.positions_mm) == mounting.count


def test_what_six_axes_lack_is_told_in_words():
    with pytest.raises(InputError, match=r"^inertia of bare: not known, but needed for six axes; give box_mm"):
        _ = CameraPackage(name="bare", mass_kg=0.5).inertia


def test_more_packages_than_anybody_owns_are_refused():
    """50,000 of them kept every command on the mounting busy for minutes."""
    packages = tuple(CameraPackage(name=str(k), mass_kg=0.5) for k in range(101))
    with pytest.raises(InputError, match=r"101 of them.* at most 100"):
        Mounting(name="nose", mass_kg=0.9, count=4, rpm_idle=3600, rpm_full=7200, packages=packages)


def test_a_single_length_puts_isolators_on_a_circle():
    base = {"name": "cam", "mass_kg": 0.42, "rpm_idle": 7500, "rpm_full": 14000}
    for count in (2, 3, 4, 5, 6):
        places = np.array(Mounting(count=count, spread_mm=(70.0,), **base).positions_mm)
        np.testing.assert_allclose(np.hypot(*places.T[:2]), 35.0)
        # Evenly: neighbours are as far apart as sides of a regular polygon.
        step = np.hypot(*(places - np.roll(places, 1, axis=0)).T[:2])
        np.testing.assert_allclose(step, 70.0 * np.sin(np.pi / count))
    four = np.array(Mounting(count=4, spread_mm=(70.0,), **base).positions_mm)
    corners = np.array(Mounting(count=4, spread_mm=(70.0 / 2**0.5,) * 2, **base).positions_mm)
    np.testing.assert_allclose(np.sort(four, axis=0), np.sort(corners, axis=0), atol=1e-8)
