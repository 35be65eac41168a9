"""The public contract: what other tools call, exactly as they call it."""

import numpy as np
import pytest

import matdb


@pytest.fixture
def store(tmp_path):
    with matdb.open_store(tmp_path / "bench.sqlite") as opened:
        opened.add(matdb.Material(name="amber 40A", family="silicone", hardness="40 A"))
        form = matdb.Ring(outer_mm=16, inner_mm=6, height_mm=5)
        opened.add(matdb.Part(name="ring 16x6x5", material="amber 40A", form=form))
        yield opened


def log(store):
    """Readings that agree: a modulus of some 1.9 MPa on a ring of 116 N/mm per MPa or so."""
    unit = store.part("ring 16x6x5").form.stiffness_n_per_mm(1.0)
    for t, e, decrement in ((-18.0, 2.4, 0.55), (23.0, 1.9, 0.40), (50.0, 1.75, 0.33)):
        f = np.sqrt(unit * e * 1e3 / 3.0) / (2 * np.pi)
        store.add(
            matdb.RingDown(
                part="ring 16x6x5", temperature_c=t, mass_kg=3.0, count=1, frequency_hz=f, log_decrement=decrement
            )
        )
    x = 5.0 * 9.80665 / (unit * 1.6)
    store.add(matdb.Deflection(part="ring 16x6x5", temperature_c=23.0, mass_kg=5.0, deflection_mm=x, dwell_s=10))
    store.add(
        matdb.ModulusPoint(
            material="amber 40A", temperature_c=0.0, frequency_hz=10.0, storage_mpa=2.1, loss_factor=0.12
        )
    )
    store.add(matdb.HardnessReading(material="amber 40A", temperature_c=23.0, value="41 A"))


def test_without_readings_the_family_prior_answers_and_says_so(store):
    got = store.effective("ring 16x6x5", temperature_c=-5.0, frequency_hz=30.0)
    assert got.basis == "family prior"
    assert got.extrapolated is True
    assert any("rests on its label only" in text for text in got.warnings)
    assert store.fit("amber 40A").basis == "family prior"
    assert store.curve("amber 40A").fit_id is None


@pytest.mark.slow
def test_readings_narrow_the_band(store):
    before = store.effective("ring 16x6x5", temperature_c=-5.0, frequency_hz=30.0).stiffness_n_per_mm
    log(store)
    curve = store.fit("amber 40A")
    assert curve.basis == "readings"
    got = store.effective("ring 16x6x5", temperature_c=-5.0, frequency_hz=30.0)
    assert got.basis == "readings"
    assert got.extrapolated is False
    assert got.stiffness_n_per_mm.low < got.stiffness_n_per_mm.median < got.stiffness_n_per_mm.high
    assert got.stiffness_n_per_mm.high / got.stiffness_n_per_mm.low < 0.4 * before.high / before.low
    unit = store.part("ring 16x6x5").form.stiffness_n_per_mm(1.0)
    assert got.stiffness_n_per_mm.median == pytest.approx(2.25 * unit, rel=0.12)
    assert 0.04 < got.damping_ratio.median < 0.12


@pytest.mark.slow
def test_arrays_broadcast_over_temperature_and_frequency(store):
    log(store)
    curve = store.fit("amber 40A")
    got = curve.modulus(np.array([[-10.0], [0.0], [20.0]]), np.array([5.0, 50.0]))
    assert got.storage_mpa.median.shape == (3, 2)
    assert got.loss_factor.high.shape == (3, 2)
    assert got.extrapolated.shape == (3, 2)
    one = curve.modulus(0.0, 50.0)
    assert isinstance(one.storage_mpa.median, float)
    assert one.storage_mpa.median == pytest.approx(got.storage_mpa.median[1, 1], rel=1e-12)
    effective = store.effective("ring 16x6x5", temperature_c=[-5.0, 5.0], frequency_hz=30.0)
    assert effective.stiffness_n_per_mm.median.shape == (2,)


@pytest.mark.slow
def test_under_a_mass_frequency_and_stiffness_agree(store):
    log(store)
    store.fit("amber 40A")
    got = store.effective("ring 16x6x5", temperature_c=-5.0, mass_kg=2.0, count=4)
    f = np.sqrt(4 * got.stiffness_n_per_mm.median * 1e3 / 2.0) / (2 * np.pi)
    assert got.natural_frequency_hz.median == pytest.approx(f, rel=1e-3)
    assert got.frequency_hz == got.natural_frequency_hz.median


@pytest.mark.slow
def test_leaving_the_measured_range_is_said(store):
    log(store)
    curve = store.fit("amber 40A")
    flags = curve.modulus(np.array([-30.0, 0.0, 70.0]), 20.0).extrapolated
    assert list(flags) == [True, False, True]
    warnings = store.effective("ring 16x6x5", temperature_c=-30.0, frequency_hz=30.0).warnings
    assert any("outside the measured temperatures (-18 to 50 degC)" in text for text in warnings)


@pytest.mark.slow
def test_a_fit_that_predates_a_reading_is_stale(store):
    log(store)
    store.fit("amber 40A")
    assert not store.curve("amber 40A").stale
    store.add(matdb.HardnessReading(material="amber 40A", temperature_c=23.0, value="42 A"))
    assert store.curve("amber 40A").stale
    warnings = store.effective("ring 16x6x5", temperature_c=0.0, frequency_hz=30.0).warnings
    assert not any("older than the newest reading" in text for text in warnings)
    assert not store.curve("amber 40A").stale


def test_a_correction_keeps_the_old_reading(store):
    log(store)
    first = store.readings(part="ring 16x6x5")[0]
    new = matdb.RingDown(part="ring 16x6x5", temperature_c=-18.0, mass_kg=3.0, frequency_hz=47.0, log_decrement=0.5)
    number = store.correct(first.id, new, "wrong mass on the scales")
    everything = {kept.id: kept for kept in store.readings(part="ring 16x6x5", include_retired=True)}
    assert everything[first.id].reading == first.reading
    assert everything[first.id].retired_why == "corrected: wrong mass on the scales"
    assert everything[number].corrects_id == first.id
    assert first.id not in {kept.id for kept in store.readings(part="ring 16x6x5")}


@pytest.mark.slow
def test_an_old_fit_can_be_read_again(store):
    log(store)
    old = store.fit("amber 40A")
    store.add(matdb.HardnessReading(material="amber 40A", temperature_c=23.0, value="60 A"))
    store.fit("amber 40A")
    again = store.curve_of_fit(old.fit_id)
    state = (np.array([-20.0, 5.0]), 25.0)
    assert again.modulus(*state).storage_mpa == old.modulus(*state).storage_mpa
    assert again.modulus(*state).loss_factor == old.modulus(*state).loss_factor
    assert again.program_version == matdb.__version__
    assert again.report["readings"]


@pytest.mark.slow
def test_the_store_survives_closing(store, tmp_path):
    log(store)
    curve = store.fit("amber 40A")
    store.close()
    with matdb.open_store(tmp_path / "bench.sqlite") as again:
        assert again.curve("amber 40A").modulus(3.0, 30.0) == curve.modulus(3.0, 30.0)


@pytest.mark.parametrize(
    ("what", "field"),
    [
        ({"temperature_c": -300.0, "frequency_hz": 30.0}, "temperature_c"),
        ({"temperature_c": "cold", "frequency_hz": 30.0}, "temperature_c"),
        ({"temperature_c": 0.0, "frequency_hz": 0.0}, "frequency_hz"),
        ({"temperature_c": 0.0}, "frequency_hz"),
        ({"temperature_c": 0.0, "frequency_hz": 30.0, "mass_kg": 1.0}, "frequency_hz"),
        ({"temperature_c": 0.0, "mass_kg": -1.0}, "mass_kg"),
        ({"temperature_c": 0.0, "mass_kg": 1.0, "count": 0}, "count"),
        ({"temperature_c": 0.0, "mass_kg": 1.0, "axis": "sideways"}, "axis"),
        ({"temperature_c": [0.0, 1.0], "frequency_hz": [1.0, 2.0, 3.0]}, "frequency_hz"),
    ],
)
def test_bad_questions_are_refused_by_name(store, what, field):
    with pytest.raises(matdb.InputError) as caught:
        store.effective("ring 16x6x5", **what)
    assert caught.value.field == field
    assert "\n" not in str(caught.value)


def test_an_unknown_part_offers_close_names(store):
    with pytest.raises(matdb.NotFound, match="ring 16x6x5"):
        store.effective("ring 16x6x6", temperature_c=0.0, frequency_hz=30.0)


@pytest.mark.slow
def test_suit_takes_a_mounting_and_temperatures(store):
    log(store)
    store.fit("amber 40A")
    mounting = matdb.Mounting(name="camera", mass_kg=8.0, count=4, rpm_idle=9000, rpm_full=15000, manoeuvre_hz=10)
    rows = store.suit(mounting, np.linspace(-15, 40, 12))
    assert [row.rank for row in rows] == [1]
    assert rows[0].verdict in {"suits", "probably suits", "open", "probably not", "does not suit"}
    assert 0.0 <= rows[0].probability <= 1.0


@pytest.mark.slow
def test_a_fit_that_cannot_be_tabulated_is_not_kept(tmp_path, monkeypatch):
    """A fit and the table for SQL readers are one transaction: both, or neither."""
    from matdb.store import writer

    with matdb.open_store(tmp_path / "one.sqlite") as store:
        store.add(
            [
                matdb.Material(name="amber", family="silicone"),
                matdb.Part(name="pad", material="amber", form=matdb.Pad(10, 10)),
                matdb.RingDown(part="pad", temperature_c=-5.0, mass_kg=0.2, frequency_hz=20.0, log_decrement=0.4),
            ]
        )
        monkeypatch.setattr(writer.Writer, "publish", lambda *_: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            store.fit("amber")
        assert store.records.fits("amber") == []
        monkeypatch.undo()
        number = store.fit("amber").fit_id
        rows = store.records._reader.rows("SELECT DISTINCT fit_id, basis FROM effective_stiffness")
        assert rows == [(number, "readings")]


@pytest.mark.parametrize(
    ("change", "says"),
    [({"mass_kg": 600.0}, "with sure=True"), ({"manoeuvre_hz": 120.0}, "no part can do both")],
    ids=("a slip of a unit", "nothing can hold it"),
)
def test_a_mounting_that_cannot_be_meant_is_stored_only_by_who_is_sure(tmp_path, change, says):
    usual = {"mass_kg": 0.6, "count": 4, "rpm_idle": 9000, "rpm_full": 15000, "manoeuvre_hz": 10.0}
    camera = matdb.Mounting(name="cam", **(usual | change))
    with matdb.open_store(tmp_path / "new.sqlite") as store:
        with pytest.raises(matdb.InputError, match=says):
            store.add(camera)
        assert store.mountings() == []
        store.add([camera], sure=True)
        assert store.mounting("cam") == camera


@pytest.mark.parametrize("coldest", [-220.0, -273.0])
def test_a_reading_colder_than_any_law_gives_a_fit(tmp_path, coldest):
    """A law that overflows at one reading was no error but a fit of nothing: an IndexError far from the reading."""
    with matdb.open_store(tmp_path / "cold.sqlite") as store:
        store.add(matdb.Material(name="black", family="nitrile"))
        for celsius in (0.0, coldest):
            store.add(matdb.ModulusPoint(material="black", temperature_c=celsius, frequency_hz=10.0, storage_mpa=3.0))
        found = store.fit("black").modulus(0.0, 30.0).storage_mpa
        assert 0.0 < found.low < found.median < found.high
