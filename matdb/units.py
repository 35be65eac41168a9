"""Quantities with units at the edges: text in, plain floats in trade units out.

Every field has one dimension, and every dimension one trade unit (:data:`UNITS`); inside matdb a float is
always in that unit. The unit is never guessed: ``-5C`` is a temperature because the field is one, a bare
``5`` is refused there, and ``1,5 mm`` is refused because half of the world reads 1.5 and half 15.

Conversion factors are exact: inch 25.4 mm and pound 0.45359237 kg by definition (International Yard and
Pound Agreement, 1959; memory), standard gravity 9.80665 m/s2 (3rd CGPM, 1901; memory).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

from matdb.errors import InputError, UnitError

#: Standard acceleration of free fall, m/s2 (3rd CGPM, 1901; ISO 80000-3).
STANDARD_GRAVITY_M_S2 = 9.80665

_ABSOLUTE_ZERO_C = -273.15
_LONGEST = 60

# Dimension, trade unit, the units that a message names, an example; below, the spellings of each unit and what turns
# a number in it into the trade unit: times, over, plus. Two factors, since 9 * 0.001 is not 0.009; factors are taken
# from left to right.
_TABLE = """
temperature | degC | a temperature in C, F or K | -18C
    C c °C ℃ degC degc degreesC Celsius celsius = 1
    F f °F ℉ degF degf degreesF Fahrenheit fahrenheit = 5 / 9 + -17.77777777777778
    K k kelvin = 1 / 1 + -273.15
temperature_difference | K | a temperature difference in K, C or F | 0.5K
    K k kelvin C c °C ℃ degC degc Celsius celsius = 1; F f °F ℉ degF degf Fahrenheit fahrenheit = 5 / 9
mass | kg | a mass in g, kg, oz or lb | 250g
    kg KG Kg kilogram kilograms = 1; g gram grams = 1 / 1000; mg = 1 / 1000000; t tonne tonnes = 1000
    lb lbs LB lbm pound pounds = 0.45359237; oz OZ ounce ounces = 0.45359237 / 16
length | mm | a length in mm, cm, m, um, in or ft | 16mm
    mm MM millimetre millimeter = 1; cm = 10; m = 1000; um µm μm = 1 / 1000
    in inch inches " ″ ” = 25.4; mil thou = 25.4 / 1000; ft ′ = 304.8
altitude | m | an altitude in m, km or ft | 1500m
    m = 1; km = 1000; ft = 0.3048
frequency | Hz | a frequency in Hz or kHz | 31.2Hz
    Hz hz HZ 1/s s-1 s^-1 s⁻¹ = 1; kHz khz = 1000; MHz = 1000000; mHz = 1 / 1000; rpm RPM rev/min 1/min = 1 / 60
rotor_speed | rpm | a rotor speed in rpm, Hz or 1/s | 4900rpm
    rpm RPM rev/min r/min 1/min min-1 min^-1 min⁻¹ = 1; Hz hz HZ 1/s s-1 s^-1 s⁻¹ rev/s rps = 60
angular_rate | rad/s | an angular rate in deg/s or rad/s | 30deg/s
    rad/s rad_s rad/sec = 1; mrad/s = 1 / 1000; deg/s deg_s deg/sec °/s dps DPS = 3.141592653589793 / 180
acceleration | m/s2 | an acceleration in m/s2, mm/s2 or g | 2.5m/s2
    m/s2 m/s² m/s^2 m_s2 = 1; mm/s2 mm/s² mm/s^2 mm_s2 = 1 / 1000; g = 9.80665; mg = 9.80665 / 1000
force | N | a force in N, kN or lbf | 2.4N
    N = 1; mN = 1 / 1000; kN = 1000; lbf = 0.45359237 * 9.80665; gf = 9.80665 / 1000; kgf = 9.80665
stiffness | N/mm | a stiffness in N/mm, kN/m, N/m or lbf/in | 4.2N/mm
    N/mm kN/m = 1; N/m = 1 / 1000; N/um N/µm N/μm kN/mm MN/m = 1000; lbf/in lb/in = 0.45359237 * 9.80665 / 25.4
modulus | MPa | a modulus in MPa, kPa, GPa, Pa or psi | 2.1MPa
    MPa N/mm2 N/mm² N/mm^2 = 1; kPa = 1 / 1000; GPa = 1000; Pa N/m2 N/m² N/m^2 = 1 / 1000000; bar = 1 / 10
    psi PSI lbf/in2 lbf/in² lbf/in^2 = 0.45359237 * 9.80665 / 645.16; ksi = 453.59237 * 9.80665 / 645.16
duration | s | a duration in s, min, h or ms | 30min
    s sec second seconds = 1; ms = 1 / 1000; us µs μs = 1 / 1000000
    min mins minute minutes = 60; h hr hour hours = 3600; d day days = 86400
density | kg/m3 | a density in kg/m3, g/cm3 or lb/ft3 | 1120kg/m3
    kg/m3 kg/m³ kg/m^3 g/l g/L = 1; g/cm3 g/cm³ g/cm^3 g/cc g/ml g/mL kg/l kg/L t/m3 = 1000
    lb/ft3 lb/ft³ lb/ft^3 = 0.45359237 / 0.028316846592
angle | deg | an angle in deg, rad or turns | 90deg
    deg ° degree degrees = 1; rad = 180 / 3.141592653589793; turn turns rev = 360
dimensionless | 1 | a plain number or a percentage | 0.12
    % percent = 1 / 100
"""

_Factors = tuple[float, float, float]
_Units = dict[str, _Factors]


#: A diameter as drawings have it.
_DIAMETER = re.compile(r"^[\u00f8\u00d8\u2300\u2205Oo]\s*(?=[\d.])")


def _factors(text: str) -> _Factors:
    scale, _, offset = text.partition(" + ")
    times, _, over = scale.partition(" / ")
    return math.prod(map(float, times.split(" * "))), float(over or 1.0), float(offset or 0.0)


def _read_table() -> Iterator[tuple[str, str, str, str, _Units]]:
    for block in re.split(r"\n(?=\w)", _TABLE.strip()):
        head, *rows = block.splitlines()
        dimension, unit, words, example = head.split(" | ")
        pairs = [each.strip().split(" = ") for row in rows for each in row.split("; ")]
        yield dimension, unit, words, example, {n: _factors(how) for names, how in pairs for n in names.split()}


# Dimension: the units to name in a message, an example, {spelling: factors}.
_DIMENSIONS = {dimension: (words, example, table) for dimension, _, words, example, table in _read_table()}
#: Dimension -> the trade unit that :func:`parse` answers in and that headers name.
UNITS: dict[str, str] = {dimension: unit for dimension, unit, *_ in _read_table()}

_NUMBER = re.compile(r"[-+]?(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)(?:[eE][-+]?[0-9]+)?")

#: Between the ends of a range.
_BETWEEN = re.compile(r"\.\.\.?|…|\sto\s")

# What the keyboard, a word processor or a web page makes of the plain characters.
_PLAIN = str.maketrans(
    {"\u2212": "-", "\u00a0": " ", "\u202f": " ", "\u2009": " ", "º": "°", "˚": "°", "∕": "/", "⁄": "/"}
)


def allowed_units(dimension: str) -> str:
    """What a quantity of this dimension may be written in, in words, with an example: for help texts."""
    words, example, _ = _DIMENSIONS[dimension]
    return f"{words}, for instance {example}"


def parse(text: str, dimension: str, field: str, into: str = "") -> float:
    """Read one quantity.

    Parameters
    ----------
    text : str
        A number and a unit, with or without a blank between: ``-18C``, ``-18 °C``, ``0F``, ``255 K``,
        ``0.55 lb``, ``0.5"``. The minus sign may be U+2212. Decimal point only; ``1.2e-3`` is understood.
        Units are case-sensitive where case carries meaning (``MPa`` and ``mPa``). A bare number is refused,
        but for a zero whose unit does not matter.
    dimension : str
        A key of :data:`UNITS`; ``"dimensionless"`` takes bare numbers.
    field : str
        The name of the field, as the user knows it, for messages.
    into : str
        Unit of the answer, of the same zero; the dimension's trade unit (:data:`UNITS`) when left out.

    Returns
    -------
    float
        The value in that unit; finite.

    Raises
    ------
    UnitError
        No unit, an unknown one, or one of another dimension.
    InputError
        Not a number, a comma in it, not finite, too long, or a temperature not above absolute zero.

    Examples
    --------
    >>> parse("250 g", "mass", "payload")
    0.25

    """
    allowed = allowed_units(dimension)
    _, example, table = _DIMENSIONS[dimension]
    shown, plain = text, _checked_text(text, field, allowed)
    plain = _DIAMETER.sub("", plain) if dimension == "length" else plain
    end = _number_end(plain)
    if end == 0:
        raise InputError(field, shown, allowed, "write a number first" if plain.strip() in table else "")
    digits, unit = plain[:end], "".join(plain[end:].split())
    if unit.startswith(",") or "," in digits:
        raise InputError(field, shown, allowed, _comma_cure(plain))
    if unit not in table and unit[:1] in set("0123456789."):
        raise InputError(field, shown, allowed, "write one number with one decimal point and no blanks in it")
    bare = not unit and dimension != "dimensionless"
    if bare and (dimension == "temperature" or float(digits) != 0.0):
        raise UnitError(field, shown, allowed, f"add the unit: {digits}{_unit_of(example)} if that is meant")
    factor = (1.0, 1.0, 0.0) if not unit else table.get(unit)
    if factor is None:
        raise UnitError(field, shown, allowed, _unit_cure(unit, dimension, table))
    value = float(digits) * factor[0] / factor[1]
    if factor[2]:
        value = round(value + factor[2], 10)  # 255 K is -18.15, not -18.149999999999977
    if not -1e300 < value < 1e300:
        raise InputError(field, shown, allowed, "write a finite number")
    if dimension == "temperature" and value <= _ABSOLUTE_ZERO_C:
        raise InputError(field, shown, "above absolute zero (-273.15C, -459.67F, 0K)", "check the sign and the unit")
    if into and table[into] != table[UNITS[dimension]]:
        # What was written in that unit stays as it is, to the last digit.
        value = float(digits) if factor == table[into] else value * table[into][1] / table[into][0]
    return value


def parse_range(text: str, dimension: str, field: str) -> tuple[float, float]:
    """Read a range, low first: ``-10C..25C``, ``-10C to 25C`` or ``-10..25C`` (one unit for both).

    Parameters
    ----------
    text : str
        Two quantities parted by ``..``, ``…`` or ``to``.
    dimension, field : str
        As for :func:`parse`.

    Returns
    -------
    tuple of float
        Low and high in the dimension's trade unit, low <= high.

    Raises
    ------
    UnitError, InputError
        As :func:`parse`; also when the two ends are not parted as above or the first is the higher.

    """
    words, example, _ = _DIMENSIONS[dimension]
    end = _number_end(example)
    ends = f"{example}..{2.0 * float(example[:end]):g}{example[end:]}" if dimension != "temperature" else "-10C..25C"
    allowed = f"a range of {words}, low first, for instance {ends}"
    plain = _checked_text(text, field, allowed)
    if not is_range(plain):
        raise InputError(field, text, allowed)
    low_text, high_text = range_ends(plain)
    end = _number_end(high_text)
    if low_text and _number_end(low_text) == len(low_text):
        low_text += high_text[end:]
    low, high = parse(low_text, dimension, field), parse(high_text, dimension, field)
    if low > high:
        raise InputError(field, text, allowed, "write the lower end first")
    return low, high


def is_range(text: str) -> bool:
    """Whether the text is written as a range."""
    return bool(_BETWEEN.search(text))


def listed(*texts: str) -> list[str]:
    """Quantities parted by commas, each with its unit: a comma behind a digit parts nothing."""
    return [each.strip() for text in texts for each in re.split(r"(?<=[^\d\s,.])\s*[,;]", text)]


def parse_list(text: str | None, dimension: str, field: str) -> tuple[float, ...]:
    """Quantities parted by commas, as :func:`parse` reads each; none for None. Raises UnitError, InputError."""
    return tuple(parse(each, dimension, field) for each in listed(text or "") if text)


def range_ends(text: str) -> list[str]:
    """The texts of both ends of a range; the whole text where it is none."""
    return [end.strip() for end in _BETWEEN.split(text, maxsplit=1)]


def parse_sizes(text: str, count: int, field: str, alone: str = "") -> tuple[float, ...]:
    """Read lengths joined by x, in mm: ``80x60mm``, ``110mm x 80mm x 60mm``, ``4x3in``.

    Parameters
    ----------
    text : str
        The lengths; one unit at the end serves all.
    count : int
        How many.
    field : str
        As for :func:`parse`.
    alone : str
        What a single length is, where one may stand alone.

    Raises
    ------
    UnitError, InputError
        As :func:`parse`; also for another number of lengths.
    """
    allowed = f"{count} lengths joined by x, for instance {'x'.join(['80', '60', '40'][:count])}mm"
    allowed += f", or {alone} alone" if alone else ""
    parts = split_sizes(_checked_text(text, field, allowed))
    if len(parts) not in ((1, count) if alone else (count,)) or not all(parts):
        raise InputError(field, text, allowed)
    return tuple(parse(part, "length", field) for part in parts)


def split_sizes(text: str) -> list[str]:
    """The texts of lengths joined by x; one unit at the end serves all."""
    parts = [_DIAMETER.sub("", part.strip()) for part in text.lower().replace("×", "x").split("x")]
    unit = parts[-1][_number_end(parts[-1]) :]
    return [part + unit if part and _number_end(part) == len(part) else part for part in parts]


def _checked_text(text: str, field: str, allowed: str) -> str:
    """The text with plain minus signs and blanks; refuses what is no text or far too long."""
    if not isinstance(text, str) or not text.strip():
        raise InputError(field, text, allowed)
    if len(text) > _LONGEST:
        raise InputError(field, text, allowed, f"write at most {_LONGEST} characters")
    plain = text.translate(_PLAIN).strip()
    if plain.lstrip("+-").casefold().startswith(("nan", "inf")):
        raise InputError(field, text, allowed, "write a finite number")
    return plain


def _number_end(text: str) -> int:
    """Where the number at the start of the text ends; 0 when there is none."""
    found = _NUMBER.match(text)
    return found.end() if found else 0


def _unit_of(example: str) -> str:
    return example[_number_end(example) :]


def _comma_cure(plain: str) -> str:
    """Say what a comma may mean: a decimal sign, and thousands only where it stands before a group of three."""
    if plain.count(",") > 1 or "." in plain:
        return "a comma is not understood; write a decimal point and no thousands separator"
    cure = f"a comma is not understood; write {plain.replace(',', '.')}"
    thousands = re.match(r"[1-9][0-9]{0,2},[0-9]{3}(?![0-9])", plain.lstrip("+-"))
    return f"{cure} or {plain.replace(',', '')}" if thousands else cure


def _unit_cure(unit: str, dimension: str, table: _Units) -> str:
    """Name what the unit is, or which spelling was meant."""
    if "," in unit:
        return "give one alone"
    near = sorted(name for name in table if name.casefold() == unit.casefold())
    if near:
        return "write " + " or ".join(near)
    for other, (words, _, others) in _DIMENSIONS.items():
        if other != dimension and unit in others:
            return f"{unit} is the unit of {words.split(' in ')[0] if ' in ' in words else words}"
    return "the unit is not known"


def counted(number: float, word: str) -> str:
    """A number with its word in the plural, which loses its s for one: "36 temperatures", "1 hour"."""
    told = f"{number:.0f}" if number >= 10.0 or number == round(number) else f"{number:.1f}"
    return f"{told} {word.removesuffix('s') if told == '1' else word}"


def counted_of(share: float, whole: float, word: str) -> str:
    """A share of so many hours as their number: "281.4 of 288 hours"."""
    return f"{f'{share * whole:.1f}'.removesuffix('.0')} of {counted(round(whole), word)}"


def mass_text(mass_kg: float) -> str:
    """A mass in the unit that suits it."""
    return f"{1e3 * mass_kg:.4g} g" if mass_kg < 1.0 else f"{mass_kg:.4g} kg"


def percent(probability: float, sign: str = " %") -> str:
    """A probability in percent, cut off as a verdict's word asks for it; never 0 or 100, which draws cannot tell."""
    if probability < 0.01:
        return f"<1{sign}"
    return f">99{sign}" if probability > 0.99 else f"{math.floor(100.0 * probability + 1e-9)}{sign}"
