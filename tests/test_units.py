"""Quantities in: what is understood, what is refused, and what the refusal says."""

import math
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

import matdb
from matdb.errors import InputError, UnitError
from matdb.fields import ENDINGS
from matdb.units import STANDARD_GRAVITY_M_S2, UNITS, allowed_units, parse, parse_range


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("-18C", "temperature", -18.0),
        ("-18 C", "temperature", -18.0),
        ("-18°C", "temperature", -18.0),
        ("\u221218 °C", "temperature", -18.0),
        ("-18 degC", "temperature", -18.0),
        ("+5c", "temperature", 5.0),
        ("0F", "temperature", -17.7777777778),
        ("-40 F", "temperature", -40.0),
        ("255 K", "temperature", -18.15),
        ("5 degrees C", "temperature", 5.0),
        ("0.5K", "temperature_difference", 0.5),
        ("1.8 F", "temperature_difference", 1.0),
        ("250 g", "mass", 0.25),
        ("9g", "mass", 0.009),
        ("0.55 lb", "mass", 0.2494758035),
        ("9 oz", "mass", 0.255145708125),
        ("16 mm", "length", 16.0),
        ("0.5 in", "length", 12.7),
        ('0.5"', "length", 12.7),
        (".5 cm", "length", 5.0),
        ("120 µm", "length", 0.12),
        ("120 μm", "length", 0.12),
        ("5000 ft", "altitude", 1524.0),
        ("31.2Hz", "frequency", 31.2),
        ("1.2e3 Hz", "frequency", 1200.0),
        ("600 rpm", "frequency", 10.0),
        ("4900 rpm", "rotor_speed", 4900.0),
        ("82 Hz", "rotor_speed", 4920.0),
        ("82 1/s", "rotor_speed", 4920.0),
        ("1 kgf", "force", 9.80665),
        ("4.2 N/mm", "stiffness", 4.2),
        ("4.2 kN/m", "stiffness", 4.2),
        ("4200 N / m", "stiffness", 4.2),
        ("1 lbf/in", "stiffness", 0.17512683524647637),
        ("2.1 MPa", "modulus", 2.1),
        ("2100 kPa", "modulus", 2.1),
        ("0.0021 GPa", "modulus", 2.1),
        ("1000 psi", "modulus", 6.894757293168361),
        ("30 min", "duration", 1800.0),
        ("2 h", "duration", 7200.0),
        ("250 ms", "duration", 0.25),
        ("1.12 g/cm³", "density", 1120.0),
        ("1120 kg/m3", "density", 1120.0),
        ("1.5 turns", "angle", 540.0),
        ("0.12", "dimensionless", 0.12),
        ("12 %", "dimensionless", 0.12),
        ("0", "length", 0.0),
    ],
)
def test_understood(text, dimension, value):
    assert parse(text, dimension, "f") == pytest.approx(value, rel=1e-12, abs=1e-10)


@pytest.mark.parametrize(
    ("text", "dimension", "says"),
    [
        ("5", "temperature", "add the unit: 5C"),
        ("0", "temperature", "add the unit: 0C"),
        ("16", "length", "add the unit: 16mm"),
        ("5 mm", "mass", "mm is the unit of a length"),
        ("5 kg", "dimensionless", "kg is the unit of a mass"),
        ("2 mpa", "modulus", "write MPa"),
        ("2 M", "length", "write m"),
        ("2 furlong", "length", "not known"),
        ("-5 coulomb", "temperature", "not known"),
        ("1_000 g", "mass", "not known"),
        ("0x10 mm", "length", "not known"),
    ],
)
def test_the_unit_is_at_fault(text, dimension, says):
    with pytest.raises(UnitError, match=says) as caught:
        parse(text, dimension, "spam")
    assert caught.value.field == "spam"
    assert caught.value.value == text
    assert caught.value.allowed == allowed_units(dimension)


@pytest.mark.parametrize(
    ("text", "dimension", "says"),
    [
        ("1,5 mm", "length", "write 1.5 mm"),
        ("1,500 g", "mass", "write 1.500 g or 1500 g"),
        ("1.500,5 g", "mass", "no thousands separator"),
        ("1 500 g", "mass", "no blanks"),
        ("1.2.3 mm", "length", "one decimal point"),
        ("nan C", "temperature", "finite"),
        ("-inf", "mass", "finite"),
        ("1e999 kg", "mass", "finite"),
        ("1" * 61, "mass", "at most 60"),
        ("", "mass", "a mass in"),
        ("soft", "modulus", "a modulus in"),
        ("kg", "mass", "number first"),
        ("٣ mm", "length", "a length in"),
        ("0 K", "temperature", "absolute zero"),
        ("-459.67 F", "temperature", "absolute zero"),
        ("-300C", "temperature", "absolute zero"),
    ],
)
def test_the_value_is_at_fault(text, dimension, says):
    with pytest.raises(InputError, match=says) as caught:
        parse(text, dimension, "spam")
    assert caught.value.field == "spam"
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "cure"),
    [
        ("0,155kg", "write 0.155kg"),
        ("-0,155kg", "write -0.155kg"),
        ("1,5kg", "write 1.5kg"),
        ("1,5000kg", "write 1.5000kg"),
        ("1500,000kg", "write 1500.000kg"),
        ("1,500kg", "write 1.500kg or 1500kg"),
        ("-12,500 kg", "write -12.500 kg or -12500 kg"),
    ],
)
def test_a_comma_parts_thousands_only_before_a_group_of_three(text, cure):
    with pytest.raises(InputError) as refused:
        parse(text, "mass", "--mass")
    assert str(refused.value).endswith(f"a comma is not understood; {cure}")


def test_no_text_at_all():
    with pytest.raises(InputError):
        parse(5.0, "mass", "payload")  # type: ignore[arg-type]


@pytest.mark.parametrize("text", ["-10C..25C", "-10C to 25C", "-10..25C", "\u221210 … 25 °C", "-10C...25C", "14F..77F"])
def test_ranges(text):
    assert parse_range(text, "temperature", "forecast") == pytest.approx((-10.0, 25.0))


@pytest.mark.parametrize("text", ["25C..-10C", "-10C", "-10C-25C", "..25C", "-10C..", "-10C..25", "a to b", "-10..25"])
def test_refused_ranges(text):
    with pytest.raises(InputError) as caught:
        parse_range(text, "temperature", "forecast")
    assert caught.value.field == "forecast"


@given(st.text(max_size=70), st.sampled_from(sorted(UNITS)))
@example("-", "mass")
@example("1e", "mass")
@example("1e5", "dimensionless")
@example("1 1", "dimensionless")
@example("1 to 2 to 3 mm", "length")
def test_any_text_is_a_number_or_one_line(text, dimension):
    for read in (parse, parse_range):
        try:
            answer = read(text, dimension, "f")
        except InputError as error:
            answer = str(error)
        if isinstance(answer, str):
            assert "\n" not in answer
        else:
            assert all(math.isfinite(v) for v in (answer if isinstance(answer, tuple) else (answer,)))


@given(st.floats(-1e6, 1e6), st.sampled_from(sorted(UNITS)))
def test_the_trade_unit_reads_back_what_it_wrote(value, dimension):
    unit = "" if dimension == "dimensionless" else UNITS[dimension]
    if dimension == "temperature" and value <= -273.15:
        value = -value
    assert parse(f"{value!r} {unit}", dimension, "f") == value


def test_every_example_in_the_messages_is_itself_understood():
    for dimension in UNITS:
        assert math.isfinite(parse(allowed_units(dimension).rpartition(" ")[2], dimension, "f"))


@pytest.mark.parametrize("ending", [name for name, told in ENDINGS.items() if told.dimension in UNITS])
def test_a_field_is_read_into_the_unit_that_its_name_ends_with(ending):
    told = ENDINGS[ending]
    assert parse(f"37.3{told.unit}", told.dimension, "f", told.unit) == 37.3


def test_importing_it_imports_nothing_beyond_the_standard_library():
    code = (
        f"import sys; sys.path[:0] = {sys.path!r}; import matdb, matdb.errors; before = set(sys.modules)\n"
        "import matdb.units; new = set(sys.modules) - before\n"
        "print(sorted(name for name in new if name.partition('.')[0] not in sys.stdlib_module_names))"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert shown.stdout.strip() == "['matdb.units']"


def test_standard_gravity_is_written_once():
    # 3rd CGPM (1901), ISO 80000-3: 9.80665 m/s2 by definition.
    assert STANDARD_GRAVITY_M_S2 == 9.80665
    package = Path(matdb.__file__).parent
    holds = [path.name for path in package.rglob("*.py") if "= 9.80665" in path.read_text(encoding="utf-8")]
    assert holds == ["units.py"]
