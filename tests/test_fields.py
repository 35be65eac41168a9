"""A field is told once, in its class: everything else follows."""

import csv
import inspect
import json
import re
from dataclasses import dataclass, fields
from typing import ClassVar

import pytest

from matdb.bench import readings
from matdb.bench.readings import READINGS, RingDown, reading_fields, reading_from_dict
from matdb.cli.reading_add import _command
from matdb.cli.run import as_typed
from matdb.delimited import csv_text
from matdb.errors import InputError
from matdb.exchange.reading_file import columns, heading_of, read_readings, value_of
from matdb.fields import ending_of, entry, record_fields, stem_of
from matdb.form import Part, Ring
from matdb.material.record import Material
from matdb.mounting.record import Mounting
from matdb.units import UNITS


@dataclass(frozen=True, kw_only=True)
class TapWithSwing(RingDown):
    """A free vibration whose amplitude was read too: a kind with one field more, and nothing else."""

    kind: ClassVar[str] = "tap"
    swing_mm: float | None = entry(
        None, 0.0, 50.0, open_low=True, aliases=("swing",), shown="swinging {} mm", help="How far it swung."
    )


@pytest.fixture
def taps(monkeypatch):
    monkeypatch.setitem(readings.READINGS, "tap", TapWithSwing)


def test_a_new_field_is_one_line_in_its_class(taps):
    # The option of "reading add".
    options = inspect.signature(_command(TapWithSwing)).parameters
    (about,) = options["swing_mm"].annotation.__metadata__
    assert about.help == "How far it swung."
    assert "--swing" in (about.default, *(about.param_decls or ()))
    # The columns of files, whatever their unit and name.
    assert "swing_mm" in columns()
    found = heading_of("Swing (in)")
    assert (found.field.name, value_of(found.field, "0.1", "swing", "in")) == ("swing_mm", pytest.approx(2.54))
    # In and out of a CSV and of JSON.
    tap = TapWithSwing(part="ring", temperature_c=20, mass_kg=0.2, frequency_hz=30, swing_mm=0.5)
    names = [name for name in columns() if hasattr(tap, name) and getattr(tap, name) is not None]
    text = csv_text(names, [[getattr(tap, name) for name in names]])
    parts = {"ring": Part(name="ring", material="gel", form=Ring(outer_mm=16, inner_mm=6, height_mm=5))}
    assert next(csv.reader(text.splitlines())) == names
    assert read_readings("taps.csv", text, parts=parts, materials=["gel"]).readings == [tap]
    assert reading_from_dict(json.loads(json.dumps(tap.to_dict()))) == tap
    # Its limits, and an error in the words of whoever typed it.
    with pytest.raises(InputError, match=r"swing_mm: 80 is not allowed; it must be above 0 and at most 50 mm") as e:
        TapWithSwing(part="ring", temperature_c=20, mass_kg=0.2, frequency_hz=30, swing_mm=80)
    assert as_typed(e.value, ["--swing", "80mm"]).field == "--swing"


def test_every_field_of_every_reading_has_an_option_and_a_column():
    known = {f.name for cls in READINGS.values() for f in fields(cls)}
    assert known == set(reading_fields())
    assert known == set(columns()) - {"kind"}
    options = [each.option for each in reading_fields().values()]
    assert len(set(options)) == len(options)
    assert all(re.fullmatch(r"--[a-z]+(-[a-z]+)*", option) for option in options)
    assert all(each.help for each in reading_fields().values())


def test_names_of_columns_mean_one_field_each():
    named = [name for each in columns().values() for name in {each.stem, *each.aliases}]
    assert sorted(named) == sorted(set(named))


def test_a_field_holds_what_its_name_says():
    for cls in (*READINGS.values(), Material, Mounting):
        for name, each in record_fields(cls).items():
            if each.dimension in UNITS and each.unit:
                assert name == "seconds_out" or ending_of(name).label != "1"


@pytest.mark.parametrize(
    ("name", "stem", "dimension", "unit"),
    [
        ("temperature_c", "temperature", "temperature", "degC"),
        ("temperature_sd_c", "temperature_sd", "temperature_difference", "K"),
        ("density_kg_m3", "density", "density", "kg/m3"),
        ("stiffness_n_per_mm", "stiffness", "stiffness", "N/mm"),
        ("soak_min", "soak", "duration", "min"),
        ("loss_factor", "loss_factor", "dimensionless", "1"),
    ],
)
def test_endings(name, stem, dimension, unit):
    told = ending_of(name)
    assert (stem_of(name), told.dimension, told.label) == (stem, dimension, unit)
