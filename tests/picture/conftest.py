"""A small store with a fit, a prior and a mounting; all made up."""

import pytest

import matdb
from matdb.advice.suit import Candidate


@pytest.fixture(scope="session")
def picture_file(tmp_path_factory):
    file = tmp_path_factory.mktemp("picture") / "bench.sqlite"
    with matdb.open_store(file) as store:
        store.add(
            [
                matdb.Material(name="amber 40A", family="silicone", hardness="40 A", source="made up"),
                matdb.Material(name="coral", family="thermoplastic polyurethane ether", note="<b>&amp;"),
                matdb.Part(name="ring", material="amber 40A", form=matdb.Ring(14, 6, 6), thread="M3"),
                matdb.Part(name="tube", material="amber 40A", form=matdb.Strut(outer_mm=6, inner_mm=4, length_mm=10)),
                matdb.Part(name="leg <1>", material="coral", form=matdb.Strut(outer_mm=5, inner_mm=4, length_mm=20)),
                matdb.Mounting(name="nose", mass_kg=0.6, count=4, rpm_idle=4200, rpm_full=8000, manoeuvre_hz=8.0),
                *(
                    matdb.RingDown(part="tube", temperature_c=t, mass_kg=0.15, frequency_hz=f, log_decrement=d)
                    for t, f, d in ((-18.0, 23.4, 0.5), (0.0, 22.3, 0.38), (23.0, 21.6, 0.3), (50.0, 21.0, 0.25))
                ),
                matdb.Deflection(part="tube", temperature_c=23.0, mass_kg=0.2, deflection_mm=0.8, dwell_s=10.0),
                matdb.HardnessReading(material="amber 40A", temperature_c=23.0, value="41 A"),
            ]
        )
        store.fit("amber 40A")
    return file


@pytest.fixture(scope="session")
def store(picture_file):
    """The store, open; nobody writes to it."""
    with matdb.open_store(picture_file) as opened:
        yield opened


@pytest.fixture(scope="session")
def candidate(store):
    def of(name):
        part = store.part(name)
        return Candidate(part, store.material(part.material), store.curve(part.material))

    return of
