"""Load-deflection points from files."""

import pytest

from matdb.errors import InputError, UnitError
from matdb.exchange.point_file import as_point, read_points


@pytest.mark.parametrize(
    "text",
    [
        "deflection_mm,force_n\n0.5,4\n1,10\n",
        "note\tForce [N]\tsag (mm)\na\t10\t1\n\t4\t0.5\n\t\t2\n",
        "load (kN);deflection (cm)\n0,004;0,05\n0,01;0,1\n",
    ],
)
def test_columns_are_known_by_their_units(text):
    assert read_points("p.csv", text) == (pytest.approx((0.5, 4.0)), pytest.approx((1.0, 10.0)))


def test_a_mass_counts_as_its_weight():
    # Standard gravity 9.80665 m/s2, pound 0.45359237 kg, inch 25.4 mm: all by definition.
    assert read_points("p.csv", "mass_g,deflection_in\n1000,1\n") == ((25.4, pytest.approx(9.80665)),)
    assert as_point("1lb", "1in") == (25.4, pytest.approx(0.45359237 * 9.80665))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("deflection,force\n1,2\n", "units in the header"),
        ("deflection_mm,force_n,load_n\n1,2,3\n", "second one"),
        ("deflection_mm,force_n\n1,x\n", "line 2"),
        ("deflection_mm,force_n\n,\n1,\n", "at least one row"),
    ],
)
def test_files_that_cannot_be_read_say_why(text, says):
    with pytest.raises(InputError) as caught:
        read_points("p.csv", text)
    assert says in str(caught.value)


def test_sides_of_a_point_need_units_of_their_own():
    with pytest.raises(UnitError):
        as_point("1", "2mm")
    with pytest.raises(InputError):
        as_point("1mm", "2mm")
