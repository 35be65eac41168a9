"""What other programs build on: draws, complex stiffness, shares, masses, units, pickles, frames and types."""

from __future__ import annotations

import pickle
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas
import pint
import pytest
import xarray
from numpy.testing import assert_allclose

import matdb

TOP = Path(__file__).parents[1]
T, F = np.array([[-10.0], [5.0], [30.0]]), np.array([8.0, 30.0])
UNITS = pint.UnitRegistry()


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    with matdb.open_store(tmp_path_factory.mktemp("draws") / "bench.sqlite") as store:
        store.add(matdb.Material(name="amber", family="silicone", hardness="40 A"))
        store.add(matdb.Part(name="ring", material="amber", form=matdb.Ring(outer_mm=16, inner_mm=6, height_mm=5)))
        for t, f in ((-18.0, 47.0), (23.0, 43.0), (50.0, 42.0)):
            store.add(matdb.RingDown(part="ring", temperature_c=t, mass_kg=3.0, frequency_hz=f, log_decrement=0.5))
        store.fit("amber")
        yield store


@pytest.fixture(scope="module")
def answers(store):
    return store.answers("ring")


def test_complex_stiffness_is_that_of_the_medians(answers):
    known = answers.median(T, F)
    k = answers.complex_stiffness(T, F)
    assert k.shape == (3, 2)
    assert_allclose(k.real, known.stiffness_n_per_mm, rtol=1e-12)
    assert_allclose(k.imag / k.real, 2.0 * known.damping_ratio, rtol=1e-12)
    assert answers.complex_stiffness(5, 30).shape == ()


def test_draws_have_the_bands_of_the_answer(store, answers):
    n = len(store.curve("amber").parameters)
    k = answers.draws(T, F, n=n, seed=5)
    whole = answers.effective(T, F)
    assert k.shape == (n, 3, 2)
    low, high = np.quantile(k.real, (0.025, 0.975), axis=0)
    assert_allclose(low, whole.stiffness_n_per_mm.low, rtol=1e-12)
    assert_allclose(high, whole.stiffness_n_per_mm.high, rtol=1e-12)
    assert_allclose(np.quantile(0.5 * k.imag / k.real, 0.975, axis=0), whole.damping_ratio.high, rtol=1e-12)


def test_rows_of_draws_hold_together(answers):
    # Of one part in one draw the ratio over temperature is far better known than the stiffness itself.
    k = answers.draws([0.0, 20.0], 30.0, n=300).real
    alone, together = np.std(np.log(k[:, 0])), np.std(np.log(k[:, 0] / k[:, 1]))
    assert together < 0.7 * alone


def test_draws_by_seed_and_number(answers):
    first, again, other = (answers.draws(5.0, 30.0, n=50, seed=s) for s in (1, 1, 2))
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)
    many = answers.draws(5.0, 30.0, n=1000)
    assert many.shape == (1000,)
    assert np.unique(many).size == np.unique(answers.draws(5.0, 30.0, n=400)).size
    for wrong in ({"n": 0}, {"n": 2.5}, {"seed": -1}):
        with pytest.raises(matdb.InputError, match="a whole number"):
            answers.draws(5.0, 30.0, **wrong)


def test_a_share_of_its_own(store, answers):
    usual, narrow = (answers.effective(5.0, 30.0, share=share).stiffness_n_per_mm for share in (0.95, 0.68))
    k = answers.draws(5.0, 30.0, n=len(store.curve("amber").parameters)).real
    assert_allclose((narrow.low, narrow.high), np.quantile(k, (0.16, 0.84)), rtol=1e-9)
    assert usual.low < narrow.low < narrow.median == usual.median < narrow.high < usual.high
    bands = store.curve("amber").modulus(5.0, 30.0, share=0.5)
    assert bands.storage_mpa.low > store.curve("amber").modulus(5.0, 30.0).storage_mpa.low
    with pytest.raises(matdb.InputError, match="share"):
        store.effective("ring", 5.0, 30.0, share=95)


def test_masses_broadcast(store, answers):
    masses = np.array([0.5, 2.0, 0.5])
    whole = store.effective("ring", T, mass_kg=masses, count=2)
    quick = answers.median(T, mass_kg=masses, count=2)
    assert whole.stiffness_n_per_mm.median.shape == quick.stiffness_n_per_mm.shape == (3, 3)
    for i, j in np.ndindex(3, 3):
        one = store.effective("ring", float(T[i, 0]), mass_kg=float(masses[j]), count=2)
        assert_allclose(whole.natural_frequency_hz.high[i, j], one.natural_frequency_hz.high, rtol=1e-9)
        assert_allclose(quick.damping_ratio[i, j], one.damping_ratio.median, rtol=0.03)
    with pytest.raises(matdb.InputError, match="mass_kg"):
        store.effective("ring", 5.0, mass_kg=[0.2, -1.0])


def test_quantities_are_converted_or_refused(store, answers):
    q = UNITS.Quantity
    plain = answers.effective((np.array([14.0, 50.0]) - 32.0) / 1.8, 30.0).stiffness_n_per_mm.median
    for f in (30.0, q(30.0, "Hz"), q(0.03, "kHz"), q(1800.0, "rpm")):
        assert_allclose(answers.effective(q([14.0, 50.0], "degF"), f).stiffness_n_per_mm.median, plain, rtol=1e-9)
    assert_allclose(
        answers.median(q(296.15, "K"), 30.0).stiffness_n_per_mm, answers.median(23.0, 30.0).stiffness_n_per_mm
    )
    grams = store.effective("ring", 5.0, mass_kg=q([200.0, 400.0], "g"))
    assert_allclose(
        grams.natural_frequency_hz.median, store.effective("ring", 5.0, mass_kg=[0.2, 0.4]).natural_frequency_hz.median
    )
    assert matdb.Ring(outer_mm=q(1.6, "cm"), inner_mm=6, height_mm=5) == matdb.Ring(16, 6, 5)
    for t, f, field in ((q(3.0, "mm"), 30.0, "temperature_c"), (5.0, q([3.0], "rad/s"), "frequency_hz")):
        with pytest.raises(matdb.InputError, match=f"{field}: 'a quantity in .*converts to"):
            answers.effective(t, f)
    with pytest.raises(matdb.InputError, match="mass_kg"):
        matdb.RingDown(part="ring", temperature_c=23.0, mass_kg=q(3.0, "N"), frequency_hz=30.0, log_decrement=0.5)


def test_numbers_of_every_type_mean_the_same(answers):
    first = answers.median(5.0, 30.0)
    for number in (int, np.float64, np.float32, np.int64):
        got = answers.median(number(5), number(30))
        assert type(got.stiffness_n_per_mm) is float
        assert got.stiffness_n_per_mm == first.stiffness_n_per_mm


def test_what_is_public_pickles_and_prints_shortly(store, answers):
    mounting = matdb.Mounting(
        name="camera", mass_kg=2.4, count=4, rpm_idle=4200, rpm_full=8000, spread_mm=(80, 60), box_mm=(110, 80, 60)
    )
    things = [
        store.curve("amber"),
        answers,
        answers.effective(T, F),
        answers.median(5.0, 30.0),
        store.part("ring"),
        mounting,
    ]
    things += [
        *store.suit(mounting, [-10.0, 25.0]),
        store.prony("amber"),
        store.cover(mounting, [5.0]),
        store.modes(mounting, "ring", 5.0),
    ]
    with pytest.raises(matdb.NotFound) as refused:
        store.part("rong")
    for thing in (*things, refused.value):
        again = pickle.loads(pickle.dumps(thing))
        assert type(again) is type(thing)
    assert_allclose(pickle.loads(pickle.dumps(answers)).draws(T, F), answers.draws(T, F))
    assert len(repr(store.curve("amber"))) < 120
    for thing in (*things, store.readings()[0].reading, store.curve("amber").modulus(T, F), store.part_table("ring")):
        assert len(repr(thing)) <= 400, repr(thing)
        assert len(thing._repr_html_() if hasattr(thing, "_repr_html_") else "") < 20_000


def test_six_modes_are_six_rows(store):
    mounting = matdb.Mounting(
        name="camera", mass_kg=2.4, count=4, rpm_idle=4200, rpm_full=8000, spread_mm=(80, 60), box_mm=(110, 80, 60)
    )
    frame = store.modes(mounting, "ring", 5.0).to_frame()
    assert len(frame) == 6
    assert (frame["natural_frequency_hz_low"] < frame["natural_frequency_hz_high"]).all()


def test_short_records_print_whole(store):
    assert repr(store.material("amber")).startswith("Material(name='amber', family='silicone', hardness='40 A', ")
    assert repr(matdb.Band(1.0, 0.5, 2.0)) == "Band(median=1.0, low=0.5, high=2.0)"


def test_draws_of_a_curve_have_its_bands(store):
    curve = store.curve("amber")
    e, bands = curve.draws(T, F, n=len(curve.parameters), seed=3), curve.modulus(T, F)
    assert e.shape == (len(curve.parameters), 3, 2)
    for values, whole in ((e.real, bands.storage_mpa), (e.imag / e.real, bands.loss_factor)):
        low, high = np.quantile(values, (0.025, 0.975), axis=0)
        assert_allclose((low, high), (whole.low, whole.high), rtol=1e-9)
    with pytest.raises(matdb.InputError, match="n: 0"):
        curve.draws(T, F, n=0)


NO_NUMBERS = [
    True, np.True_, [True, False], "5", b"5", "5C", np.timedelta64(5, "s"), np.datetime64("2026-01-01"), 5 + 0j,
    np.array([5 + 0j]), np.ma.masked_array([5.0, 6.0], [False, True]), np.ma.masked, None, [None, 5.0], {5.0}, {5.0: 1},
    UNITS.Quantity(5.0, "delta_degC"), UNITS.Quantity(5.0, ""), [UNITS.Quantity(5.0, "degC")],
]  # fmt: skip


@pytest.mark.parametrize("value", NO_NUMBERS, ids=repr)
def test_what_is_no_number_is_refused(store, answers, value):
    asked = [lambda: store.effective("ring", value, 30.0), lambda: answers.median(value, 30.0)]
    asked += [lambda: answers.draws(value, 30.0), lambda: store.curve("amber").modulus(value, 30.0)]
    asked += [lambda: matdb.RingDown(part="ring", temperature_c=value, mass_kg=3, frequency_hz=30, log_decrement=0.5)]
    for ask in asked:
        with pytest.raises(matdb.InputError, match="temperature_c"):
            ask()


def test_labels_of_series_are_kept(store):
    hours = pandas.Series([-5.0, 3.0], index=pandas.Index(["dawn", "noon"], name="hour"))
    for found in (store.effective("ring", hours, 30.0), store.effective("ring", 5.0, hours.abs())):
        assert found.to_frame().loc["noon", "stiffness_n_per_mm"] == found.stiffness_n_per_mm.median[1]
        assert found.to_xarray().damping_ratio.sel(hour="dawn") == found.damping_ratio.median[0]
    assert store.curve("amber").modulus(hours, 30.0).to_frame().index.equals(hours.index)
    # An index by the name of a column hides none.
    odd = store.effective("ring", pandas.Series([-5.0, 3.0], pandas.Index([1, 2], name="temperature_c")), 30.0)
    assert odd.to_xarray().temperature_c.values.tolist() == [-5.0, 3.0]
    with pytest.raises(matdb.InputError, match="to_numpy"):
        store.effective("ring", hours, pandas.Series([30.0, 60.0], index=["noon", "dawn"]))
    assert store.effective("ring", hours, 30.0).to_dict()["temperature_c"] == [-5.0, 3.0]


def test_named_dimensions_go_together_by_name(store, answers):
    hours = xarray.DataArray([-5.0, 3.0], dims="hour", coords={"hour": [6, 12]}, attrs={"units": "degC"})
    hertz = xarray.DataArray([10.0, 30.0], dims="order", coords={"order": [1, 2]})
    plain = store.effective("ring", hours.values[:, None], hertz.values)
    found = store.effective("ring", hours, hertz).to_xarray()
    assert found.stiffness_n_per_mm.dims == ("hour", "order")
    assert_allclose(found.stiffness_n_per_mm_high, plain.stiffness_n_per_mm.high)
    assert found.temperature_c.sel(hour=12, order=1) == 3.0
    # Of one size, they would else pass for pairs.
    assert answers.complex_stiffness(hours, hertz).shape == (2, 2)
    masses = xarray.DataArray([2.0, 3.0, 4.0], dims="payload")
    assert dict(store.effective("ring", hours, mass_kg=masses).to_xarray().sizes) == {"hour": 2, "payload": 3}


def test_a_part_table_becomes_a_grid(store):
    table = store.part_table("ring")
    grid = table.to_xarray().stiffness_n_per_mm
    assert grid.dims == ("frequency_hz", "temperature_c")
    known = store.effective("ring", -5.0, 30.0).stiffness_n_per_mm.median
    assert float(grid.sel(temperature_c=-5.0, frequency_hz=30.0)) == pytest.approx(known, rel=0.005)
    assert_allclose(table.to_frame()["stiffness_n_per_mm"], table.stiffness_n_per_mm.median)


def test_an_answer_as_a_frame(answers):
    frame = answers.effective(T, F).to_frame()
    assert len(frame) == 6
    assert_allclose(frame["temperature_c"], np.repeat(T[:, 0], 2))
    assert_allclose(frame["frequency_hz"], np.tile(F, 3))
    assert (frame["stiffness_n_per_mm_low"] < frame["stiffness_n_per_mm"]).all()
    assert "<table" in answers.effective(5.0, 30.0)._repr_html_()


CLIENT = """
import matdb
import numpy as np

with matdb.open_store("bench.sqlite") as store:
    number: int = store.add(matdb.Material(name="amber", family="silicone"))
    numbers: list[int] = store.add([matdb.Material(name="blue", family="silicone")])
    for stored in store.readings(material="amber"):
        print(stored.id)
    answers = store.answers("ring")
    k = answers.complex_stiffness(np.linspace(-10.0, 20.0, 5), 30.0)
    spread = float(np.std(answers.draws(5.0, 30.0, n=100).real))
    print(number, numbers, abs(k).max(), spread)
"""
MISTAKES = ["store.add(3)", 'store.readings(matreial="amber")', 'store.answers("ring").draws(5.0)', "store.fit(3)"]


CHECKERS = {"mypy": ["--strict", "--config-file", ""], "pyright": ["--pythonpath", sys.executable]}


@pytest.mark.slow
@pytest.mark.parametrize("checker", CHECKERS)
def test_a_client_is_typed(tmp_path, checker):
    asked = [sys.executable, "-m", checker]
    if subprocess.run([*asked, "--version"], capture_output=True, check=False).returncode:
        pytest.skip(f"{checker} cannot be run here")
    (tmp_path / "client.py").write_text(CLIENT, encoding="utf-8")
    wrong = "import matdb\n\nwith matdb.open_store(None) as store:\n" + "".join(f"    {line}\n" for line in MISTAKES)
    (tmp_path / "wrong.py").write_text(wrong, encoding="utf-8")
    call = [*asked, *CHECKERS[checker], "client.py", "wrong.py"]
    done = subprocess.run(call, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert [f"wrong.py:{k}" in done.stdout for k in range(4, 4 + len(MISTAKES))] == [True] * len(MISTAKES), done.stdout
    assert "client.py" not in done.stdout, done.stdout


def test_a_switch_is_true_or_false(store):
    with pytest.raises(matdb.InputError, match="include_retired"):
        store.readings(include_retired=np.array([np.nan, 1.0]))


@pytest.mark.parametrize("package", [[], 3, np.zeros(2)])
def test_a_package_that_is_no_name_is_refused(store, package):
    mounting = matdb.Mounting(name="camera", mass_kg=2.4, count=4, rpm_idle=4200, rpm_full=8000)
    with pytest.raises(matdb.InputError, match="package"):
        store.suit(mounting, [5.0], package=package)


@pytest.mark.parametrize("squeeze_mm", [[], [0.1, 0.2], -1.0, "much"])
def test_a_squeeze_that_is_no_length_is_refused(store, squeeze_mm):
    with pytest.raises(matdb.InputError, match="squeeze_mm"):
        store.effective("ring", 5.0, 30.0, squeeze_mm=squeeze_mm)


def test_answers_over_a_grid_become_a_dataset_with_its_axes(store):
    found = store.effective("ring", np.array([[-5.0], [0.0], [20.0]]), np.array([10.0, 30.0]))
    data = found.to_xarray()
    assert dict(data.sizes) == {"temperature_c": 3, "frequency_hz": 2}
    assert data.stiffness_n_per_mm_low.sel(temperature_c=20.0, frequency_hz=10.0) == found.stiffness_n_per_mm.low[2, 0]
    # Both along one dimension: the first names it, the other goes along.
    paired = store.effective("ring", [-5.0, 0.0], [10.0, 30.0]).to_xarray()
    assert dict(paired.sizes) == {"temperature_c": 2}
    assert sorted([*paired.frequency_hz.values, *paired.temperature_c.values]) == [-5.0, 0.0, 10.0, 30.0]
    assert store.effective("ring", -5.0, 30.0).to_xarray().damping_ratio.size == 1
