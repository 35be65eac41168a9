"""A small store to test on: two materials, three parts, seven readings, one mounting; all made up."""

import datetime as dt

from matdb.bench.readings import Deflection, HardnessReading, ModulusPoint, Resonance, RingDown
from matdb.form import Bush, Pad, Part, Ring
from matdb.material.record import Material
from matdb.mounting.record import Mounting

AMBER = Material(name="amber 40A", family="silicone", hardness="40 A", density_kg_m3=1120.0, source="label")
CORAL = Material(name="coral 00", family="unknown", glass_transition_c=-50.0, note="two\nlines")
RING = Part(name="007", material="amber 40A", form=Ring(outer_mm=16, inner_mm=6, height_mm=5), thread="M3")
PAD = Part(name="pad 10x5", material="amber 40A", form=Pad(diameter_mm=10, height_mm=5))
BUSH = Part(name="bush", material="coral 00", form=Bush(outer_mm=16, inner_mm=8, length_mm=12, bonded=False))
READINGS = [
    RingDown(part="007", temperature_c=-18, mass_kg=0.25, frequency_hz=31.2, log_decrement=0.55, who="zoë"),
    RingDown(part="007", temperature_c=23, mass_kg=0.25, count=2, squeeze_mm=0.4, frequency_hz=20.0),
    Resonance(part="pad 10x5", temperature_c=0, mass_kg=0.5, frequency_hz=25.0, half_power_width_hz=4.0),
    Deflection(part="007", temperature_c=23, mass_kg=0.5, deflection_mm=0.31, dwell_s=10, soak_min=60),
    ModulusPoint(material="amber 40A", temperature_c=0, frequency_hz=10, storage_mpa=2.1, loss_factor=0.12),
    HardnessReading(material="coral 00", temperature_c=23, value="30 OO", seconds_out=5.0),
    RingDown(
        part="bush",
        temperature_c=5,
        mass_kg=0.3,
        frequency_hz=40,
        taken_at=dt.datetime(2024, 2, 3, 4, 5, 6, 7, tzinfo=dt.timezone(dt.timedelta(hours=-7))),
    ),
]
MOUNTING = Mounting(name="nose", mass_kg=0.9, count=4, rpm_idle=3600, rpm_full=7200)


def fill(records):
    records.add([AMBER, CORAL, RING, PAD, BUSH, *READINGS, MOUNTING])
