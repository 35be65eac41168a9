"""Readings that no fit has used yet are not denied."""

import numpy as np

import matdb
from matdb.exchange.tables import curve_warnings


def test_readings_that_are_not_fitted_are_told_of(tmp_path):
    with matdb.open_store(tmp_path / "bench.sqlite") as store:
        store.add(matdb.Material(name="gel", family="silicone gel"))
        store.add(matdb.Part(name="ring", material="gel", form=matdb.Ring(14, 6, 6)))
        before = store.effective("ring", 10.0, frequency_hz=20.0)
        assert any(text.startswith("no reading of gel: this is the family prior") for text in before.warnings)
        store.add(matdb.RingDown(part="ring", temperature_c=23.0, mass_kg=0.15, frequency_hz=22.0, log_decrement=0.5))
        after = store.effective("ring", 10.0, frequency_hz=20.0)
        said = "the readings of gel are not fitted yet: this is the family prior of silicone gel, not a measurement"
        assert [text for text in after.warnings if "fit" in text] == [f"{said}; run 'matdb fit \"gel\"'"]
        assert said in curve_warnings(store.curve("gel"), np.array([10.0]), np.array([20.0]))[0]
        assert after.basis == "family prior"
        store.fit("gel")
        fitted = store.effective("ring", 23.0, frequency_hz=22.0)
        assert not any("not fitted" in text for text in fitted.warnings)
