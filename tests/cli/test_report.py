"""The fit report: laws, and how the material stiffens in the cold."""

import csv
import io
import json

import numpy as np
import pytest

import matdb
from matdb.cli.fit import law_weights
from matdb.curve.parameters import LAWS


def test_laws_stand_once_with_both_shapes_counted(store):
    with matdb.open_store(store) as kept:
        curve = kept.curve("amber")
    weights, four = law_weights(curve)
    assert set(weights) <= set(LAWS)
    assert sum(weights.values()) == pytest.approx(1.0)
    assert list(weights.values()) == sorted(weights.values(), reverse=True)
    assert four == pytest.approx(sum(w for name, w in curve.weights.items() if "four" in name))
    assert 0.0 < four < 1.0
    for law in weights:
        assert weights[law] == pytest.approx(sum(w for name, w in curve.weights.items() if law in (name, name[:-17])))


def test_the_report_in_words_and_in_json(matdb_says, store):
    told = matdb_says("report", "amber")
    assert told.code == 0, told.err
    answer = matdb_says("report", "amber", "--json").json
    assert sum(law["value"] for law in answer["laws"]) == pytest.approx(1.0)
    assert 0.0 < answer["four_parameters"] < 1.0
    cold = answer["low_temperature"]
    with matdb.open_store(store) as kept:
        assert cold == kept.low_temperature("amber").to_dict()
    # The stiffer, the colder.
    temperatures = [cold[name]["temperature_c"]["median"] for name in ("t2", "t5", "t10", "t100")]
    assert temperatures == sorted(temperatures, reverse=True)
    for word in ("T2 ", "T5 ", "T10 ", "T100 ", "doubles", "glass transition", "extrapolated", "shift law"):
        assert word in told.out
    band = cold["t2"]["temperature_c"]
    assert f"{band['median']:.0f} ({band['low']:.0f} to {band['high']:.0f})" in told.out
    assert f"Glass transition: {cold['glass_transition']['note']}." in told.out


def test_a_prior_has_a_cold_side_too(matdb_says):
    told = matdb_says("report", "tan")
    assert told.code == 0, told.err
    assert "family prior" in told.out
    answer = matdb_says("report", "tan", "--json").json
    assert (answer["basis"], answer["reading_count"]) == ("family prior", 0)
    assert sum(law["value"] for law in answer["laws"]) == pytest.approx(1.0)
    assert answer["low_temperature"]["doubles"]["extrapolated"] is True


@pytest.mark.slow
def test_the_store_hands_out_the_prony_series(store):
    with matdb.open_store(store) as kept:
        series = kept.prony("amber")
        curve = kept.curve("amber")
    assert (series.moduli_mpa > 0.0).all()
    assert series.storage_error <= 0.01
    t, f = np.linspace(series.shift_c[0], series.shift_c[-1], 12)[:, None], np.geomspace(*series.range_hz, 9)
    known, found = curve.modulus(t, f), series.modulus(t, f)
    # As near as it tells, against what everybody else is told; a few draws make a rough median.
    np.testing.assert_allclose(found.real, known.storage_mpa.median, rtol=series.storage_error + 0.003)
    loss = known.storage_mpa.median * known.loss_factor.median
    np.testing.assert_allclose(found.imag, loss, rtol=series.loss_error + 0.003)
    assert series.loss_error <= 0.06


@pytest.mark.slow
def test_simulators_get_the_curve_as_csv_and_as_json(matdb_says, tmp_path):
    file = tmp_path / "prony.csv"
    assert matdb_says("export", "prony", "amber", "--csv", file).code == 0
    rows = list(csv.DictReader(io.StringIO(file.read_text(encoding="utf-8"))))
    assert {"relaxation_time_s", "modulus_mpa"} <= set(rows[0])
    assert all(float(r["modulus_mpa"]) > 0.0 for r in rows)
    shift = tmp_path / "shift.json"
    assert matdb_says("export", "shift", "amber", "--temp", "-10C..20C", "--step", "10K", "--csv", shift).code == 0
    found = json.loads(shift.read_text(encoding="utf-8"))
    values = [r["log10_shift"] for r in found["rows"]]
    assert values == sorted(values, reverse=True)
    assert found["units"]["temperature_c"] == "degC"
