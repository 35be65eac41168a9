"""A chamber outside the service range is warned of by name."""

from matdb.bench.drift import bench_state
from matdb.bench.readings import HardnessReading
from matdb.bench.soak import service_note


def test_an_oven_too_hot_for_natural_rubber_is_named():
    assert "natural rubber (-50 to 70 degC)" in service_note("natural rubber", 250.0)
    assert "smoke" in service_note("natural rubber", 250.0)
    assert "brittle" in service_note("natural rubber", -80.0)
    assert service_note("natural rubber", 23.0) == ""


def test_a_reading_carries_it():
    reading = HardnessReading(material="tan", temperature_c=250.0, value="40 A")
    assert any("service range" in text for text in bench_state(reading, None, "natural rubber").warnings)
