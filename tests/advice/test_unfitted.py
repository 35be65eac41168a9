"""Readings that no fit has used yet are not denied."""

import dataclasses

import numpy as np
import pytest

import matdb
from matdb.advice.effective import effective
from matdb.curve.fit import prior_curve
from matdb.errors import InputError
from matdb.exchange.tables import curve_warnings
from matdb.form import Pad, Part, PrintedStrut
from matdb.material.record import Material


@pytest.mark.slow
def test_readings_that_are_not_fitted_are_told_of(tmp_path):
    with matdb.open_store(tmp_path / "bench.sqlite", as_fitted=True) as store:
        store.add(matdb.Material(name="gel", family="silicone gel"))
        store.add(matdb.Part(name="ring", material="gel", form=matdb.Ring(14, 6, 6)))
        before = store.effective("ring", 10.0, frequency_hz=20.0)
        assert any(text.startswith("no reading of gel: rests on its label only") for text in before.warnings)
        store.add(matdb.RingDown(part="ring", temperature_c=23.0, mass_kg=0.15, frequency_hz=22.0, log_decrement=0.5))
        after = store.effective("ring", 10.0, frequency_hz=20.0)
        said = "the readings of gel are not fitted yet: rests on its label only (silicone gel), not a measurement"
        assert [text for text in after.warnings if "fit" in text] == [f"{said}; run 'matdb fit \"gel\"'"]
        assert said in curve_warnings(store.curve("gel"), np.array([10.0]), np.array([20.0]))[0]
        assert after.basis == "family prior"
        store.fit("gel")
        fitted = store.effective("ring", 23.0, frequency_hz=22.0)
        assert not any("not fitted" in text for text in fitted.warnings)


def test_a_question_fits_first_what_is_newer_than_the_fit(tmp_path):
    file, told = tmp_path / "bench.sqlite", []
    with matdb.open_store(file, on_fit=lambda name, share: told.append((name, share))) as store:
        store.add(matdb.Material(name="gel", family="silicone gel"))
        store.add(matdb.Part(name="ring", material="gel", form=matdb.Ring(14, 6, 6)))
        store.effective("ring", 10.0, frequency_hz=20.0)
        assert told == []
        ring = matdb.RingDown(part="ring", temperature_c=23.0, mass_kg=0.15, frequency_hz=22.0, log_decrement=0.5)
        number = store.add(ring)
        assert store.curve("gel").basis == "family prior"
        assert store.effective("ring", 10.0, frequency_hz=20.0).basis == "readings"
        assert (told[0], told[-1]) == (("gel", 0.0), ("gel", 1.0))
        first = store.curve("gel").fit_id
        assert (first, store.curve("gel").stale) == (1, False)
        # A corrected reading no longer counts, whoever asks, and a removed one leaves the label alone.
        number = store.correct(number, dataclasses.replace(ring, frequency_hz=30.0), "misread")
        stiff = store.answers("ring").effective(23.0, 30.0).stiffness_n_per_mm.median
        assert stiff > 1.5 * store.curve_of_fit(1).modulus(23.0, 22.0).storage_mpa.median
        assert store.curve("gel").fit_id == 2
        store.remove(number, "wrong part")
        assert store.effective("ring", 23.0, frequency_hz=20.0).basis == "family prior"
    with matdb.open_store(file, as_fitted=True) as store:
        assert store.effective("ring", 23.0, frequency_hz=20.0).basis == "readings"


def test_a_store_that_cannot_be_written_is_fitted_in_memory(tmp_path, monkeypatch):
    with matdb.open_store(tmp_path / "bench.sqlite") as store:
        store.add(matdb.Material(name="gel", family="silicone gel"))
        store.add(matdb.Part(name="ring", material="gel", form=matdb.Ring(14, 6, 6)))
        store.add(matdb.RingDown(part="ring", temperature_c=23.0, mass_kg=0.15, frequency_hz=22.0, log_decrement=0.5))

        def refuses(*_):
            raise matdb.errors.StoreReadOnly("bench.sqlite", "it can only be read")

        monkeypatch.setattr(store.records, "save_fit", refuses)
        found = store.current_curve("gel")
        assert (found.basis, found.fit_id) == ("readings", None)
        assert store.current_curve("gel") is found
        assert store.effective("ring", 23.0, frequency_hz=20.0).basis == "readings"
        assert store.curve("gel").basis == "family prior"


def test_what_a_form_asks_a_reading_for_is_not_asked_once_there_is_one():
    material = Material(name="tpu", family="thermoplastic polyurethane")
    leg = Part(name="leg", material="tpu", form=PrintedStrut(8, 0, 32, walls=2, infill_share=0.15))
    curve = prior_curve(material)
    read = dataclasses.replace(curve, basis="readings", offsets={"leg": np.zeros(len(curve.parameters))})

    def asked(curve):
        found = effective(curve, material, leg, 20.0, frequency_hz=30.0).warnings
        return [text for text in found if "infill is only estimated" in text]

    assert len(asked(curve)) == 1
    assert asked(read) == []


def test_a_frequency_and_a_mass_are_not_asked_for_at_once():
    material = Material(name="tpu", family="thermoplastic polyurethane")
    pad = Part(name="pad", material="tpu", form=Pad(10, 10))
    with pytest.raises(InputError, match="left out where mass_kg is given; give one of the two"):
        effective(prior_curve(material), material, pad, 20.0, frequency_hz=30.0, mass_kg=0.2)
