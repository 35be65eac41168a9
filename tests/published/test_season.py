"""A year of open hourly data through the ranking and the choice of a set."""

import csv
import dataclasses
import io
from pathlib import Path

import numpy as np
import pytest

from matdb.advice.cover import cover
from matdb.advice.exposure import flight
from matdb.advice.judge import Candidate
from matdb.advice.suit import suit
from matdb.curve.fit import prior_curve
from matdb.form import Pad, Part, Ring
from matdb.material.record import Material
from matdb.mounting.record import Mounting

#: Hourly normals of two cities for 2010 in degrees Fahrenheit (the package's own description of the data).
CITIES = ("seattle-temps.csv", "sf-temps.csv")
MOUNTING = Mounting(name="heavy", mass_kg=5.0, count=4, rpm_idle=4500, rpm_full=9000, manoeuvre_hz=10.5)


@pytest.fixture(scope="module")
def parts():
    found = []
    for family, label, forms in (
        ("thermoplastic polyurethane ester", "85 A", {f"leg {d}": Pad(d, 20) for d in (2, 2.5, 3, 4)}),
        ("silicone gel", "50 OO", {f"gel {d}": Ring(d, 5, 12) for d in (16, 22)}),
        ("natural rubber", "45 A", {"ring": Ring(12, 5, 10)}),
    ):
        material = Material(name=family, family=family, hardness=label)
        curve = prior_curve(material)
        curve = dataclasses.replace(curve, parameters=curve.parameters[:100], misfit=curve.misfit[:100])
        found += [Candidate(Part(name=n, material=family, form=f), material, curve) for n, f in forms.items()]
    return found


@pytest.mark.slow
@pytest.mark.parametrize("city", CITIES)
def test_a_year_of_hours_is_ranked_and_covered(parts, city):
    package = pytest.importorskip("vega_datasets")
    text = (Path(package.__file__).parent / "_data" / city).read_text(encoding="utf-8")
    year = flight(csv=text, what=city, unit="F")
    fahrenheit = [float(row["temp"]) for row in csv.DictReader(io.StringIO(text))]
    assert len(year.forecast) == len(fahrenheit) == 8759  # an hour is missing where clocks go forward
    assert year.forecast.low_c == pytest.approx((min(fahrenheit) - 32.0) / 1.8)
    assert year.forecast.high_c == pytest.approx((max(fahrenheit) - 32.0) / 1.8)
    rows = suit(parts, MOUNTING, year)
    assert rows[0].hours == pytest.approx(8760.0, abs=2.0)
    assert all(0.0 <= r.share_of_temperatures <= 1.0 for r in rows)
    assert all(r.probability <= r.share_of_temperatures + 1e-9 for r in rows)
    assert rows[0].worst_when.startswith("2010-")
    # Hour by hour gives the same as the histogram, but for the rounding to half a kelvin.
    some = year.forecast.temperature_c[::97]
    few = {r.part: r for r in suit(parts, MOUNTING, some, squeeze_mm=0.0)}
    for row in suit(parts, MOUNTING, np.round(some * 2) / 2, squeeze_mm=0.0):
        assert row.share_of_temperatures == pytest.approx(few[row.part].share_of_temperatures, abs=0.02)
    one = max(r.share_of_temperatures for r in suit(parts, MOUNTING, year))
    found = cover(parts, MOUNTING, year, share=min(one + 0.01, 1.0))
    assert found.proven
    assert found.share >= one - 1e-9
    assert found.best_by_size[0].share == pytest.approx(max(one, found.best_by_size[0].share))
    assert found.share_with_swaps >= found.share - 0.03
    assert found.hours == pytest.approx(8760.0, abs=2.0)


def test_a_year_that_no_single_leg_covers_takes_two(parts):
    package = pytest.importorskip("vega_datasets")
    text = (Path(package.__file__).parent / "_data" / CITIES[0]).read_text(encoding="utf-8")
    year = flight(csv=text, what=CITIES[0], unit="F")
    leg = parts[0]
    draws = np.median(leg.curve.parameters, axis=0)[None].repeat(50, axis=0)
    names = {f"known leg {d}": d for d in (2, 2.5, 3, 3.5, 4, 5)}
    curve = dataclasses.replace(
        leg.curve,
        parameters=draws,
        misfit=np.zeros(50),
        basis="readings",
        offsets={name: np.linspace(-0.05, 0.05, 50) for name in names},
    )
    legs = [
        Candidate(Part(name=n, material=leg.material.name, form=Pad(d, 20)), leg.material, curve)
        for n, d in names.items()
    ]
    found = cover(legs, dataclasses.replace(MOUNTING, mass_kg=12.0), year, share=0.97)
    assert found.reached
    assert found.proven
    assert len(found.members) == 2
    assert found.best_by_size[0].at_most < 0.97
    (swap,) = found.swaps
    assert year.forecast.low_c < swap.down_c < swap.up_c < year.forecast.high_c
    assert found.share_with_swaps > 0.97 - 0.01
    assert 2 <= found.swap_count < 2 * 365
