"""Any sequence of changes leaves the store as a plain dictionary would be left."""

import dataclasses
import itertools
import os
import shutil
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import Bundle, RuleBasedStateMachine, consumes, initialize, invariant, multiple, rule
from hypothesis.strategies import composite

from matdb.bench.readings import Deflection, HardnessReading, RingDown
from matdb.errors import AlreadyExists, InputError, NotFound
from matdb.form import Pad, Part
from matdb.material.record import Material
from matdb.store import FitRecord, Records, copy_store

NAMES = st.one_of(
    st.sampled_from(["a", "A", "0", "00", "é", "e\u0301", "'", '"', "%s", "?", "a b", "\\N", "NULL", "\U0001f300"]),
    st.text(min_size=1, max_size=120).filter(lambda t: t.isprintable() and t == t.strip()),
)
NOTES = st.text(max_size=50).filter(lambda t: all(c.isprintable() or c in "\n\t" for c in t))
SIZES = st.floats(1e-6, 999.0)
_EMPTY: list[Path] = []


def empty_store():
    """One empty store, made once, to be copied for every run of the machine."""
    if not _EMPTY:
        path = Path(tempfile.mkdtemp(prefix="matdb-model-")) / "empty.sqlite"
        Records(path).close()
        _EMPTY.append(path)
    return _EMPTY[0]


@pytest.fixture(scope="module", autouse=True)
def _clean_up():
    yield
    while _EMPTY:
        shutil.rmtree(_EMPTY.pop().parent)


@composite
def readings(draw, part):
    note, temperature = draw(NOTES), draw(st.floats(-273.0, 400.0))
    common = {"temperature_c": temperature, "note": note, "mass_kg": draw(SIZES)}
    if draw(st.booleans()):
        return RingDown(
            part=part, frequency_hz=draw(SIZES), log_decrement=draw(st.none() | st.floats(1e-9, 6)), **common
        )
    return Deflection(part=part, deflection_mm=draw(SIZES), dwell_s=draw(st.floats(1e-3, 1e8)), **common)


class StoreMachine(RuleBasedStateMachine):
    """The store beside dictionaries that do the same."""

    materials, parts, rows = Bundle("materials"), Bundle("parts"), Bundle("rows")

    @initialize()
    def open(self):
        self.folder = Path(tempfile.mkdtemp(prefix="matdb-model-"))
        self.path = Path(shutil.copy(empty_store(), self.folder / "store.sqlite"))
        self.store = Records(self.path)
        self.m, self.p, self.r = {}, {}, {}
        self.fits = {}

    @rule(target=materials, name=NAMES, note=NOTES)
    def add_material(self, name, note):
        material = Material(name=name, note=note)
        if name in self.m:
            with pytest.raises(AlreadyExists):
                self.store.add(material)
            return multiple()
        self.store.add(material)
        self.m[name] = material
        return name

    @rule(target=parts, name=NAMES, material=materials, size=SIZES)
    def add_part(self, name, material, size):
        part = Part(name=name, material=material, form=Pad(diameter_mm=size, height_mm=2))
        if name in self.p:
            with pytest.raises(AlreadyExists):
                self.store.add(part)
            return multiple()
        self.store.add(part)
        self.p[name] = part
        self.changed(material)
        return name

    @rule(target=rows, part=parts, data=st.data(), count=st.integers(1, 4))
    def add_readings(self, part, data, count):
        some = [data.draw(readings(part)) for _ in range(count)]
        ids = self.store.add_readings(some)
        assert not set(ids) & set(self.r)
        self.r.update(zip(ids, ([r, None] for r in some), strict=True))
        self.changed(self.p[part].material)
        return multiple(*ids)

    @rule(target=rows, material=materials)
    def add_hardness(self, material):
        reading = HardnessReading(material=material, temperature_c=23, value="40 A")
        (number,) = self.store.add(reading)
        self.r[number] = [reading, None]
        self.changed(material)
        return number

    @rule(part=parts, name=NAMES, data=st.data())
    def add_with_a_stranger(self, part, name, data):
        if name in self.p:
            return
        some = [data.draw(readings(part)), data.draw(readings(name))]
        with pytest.raises(NotFound):
            self.store.add([Material(name="never"), *some] if "never" not in self.m else some)

    @rule(target=rows, number=rows, part=parts, data=st.data())
    def correct(self, number, part, data):
        new = data.draw(readings(part))
        if self.r[number][1] is not None:
            with pytest.raises(InputError):
                self.store.correct_reading(number, new, "why")
            return multiple()
        successor = self.store.correct_reading(number, new, "why")
        self.r[number][1] = "corrected: why"
        self.r[successor] = [new, None]
        self.changed(self.material_of(number))
        self.changed(self.p[part].material)
        return successor

    @rule(number=consumes(rows))
    def remove(self, number):
        if self.r[number][1] is None:
            self.store.remove_reading(number, "gone")
            self.r[number][1] = "removed: gone"
            self.changed(self.material_of(number))
        else:
            with pytest.raises(InputError):
                self.store.remove_reading(number, "gone")

    @rule(part=parts, size=SIZES)
    def replace_part(self, part, size):
        new = dataclasses.replace(self.p[part], form=Pad(diameter_mm=size, height_mm=3))
        self.store.replace(part, new, "measured")
        if new != self.p[part]:
            self.changed(new.material)
        self.p[part] = new

    @rule(material=materials, values=st.lists(st.floats(allow_nan=False), max_size=5))
    def fit(self, material, values):
        evidence = self.store.evidence(material)
        assert [r.id for r in evidence.readings] == [n for n in self.active() if self.material_of(n) == material]
        self.store.save_fit(
            FitRecord(
                material=material,
                program_version="0",
                arrays={"draws": np.array(values)},
                reading_ids=tuple(r.id for r in evidence.readings),
                fingerprint=evidence.fingerprint,
                meta={"reading_count": len(evidence.readings)},
            )
        )
        self.fits[material] = [values, False]

    @rule()
    def open_again(self):
        self.store.close()
        self.store = Records(self.path)

    @rule()
    def copy(self):
        target = self.folder / "copy.sqlite"
        with Records(target) as copy:
            copy_store(self.store, copy)
        self.store.close()
        target.replace(self.path)
        self.store = Records(self.path)

    def changed(self, material):
        if material in self.fits:
            self.fits[material][1] = True

    def material_of(self, number):
        reading = self.r[number][0]
        return self.p[reading.part].material if reading.subject == "part" else reading.material

    def active(self):
        return [n for n in sorted(self.r) if self.r[n][1] is None]

    @invariant()
    def same(self):
        if not hasattr(self, "store"):
            return
        assert self.store.materials() == [self.m[n] for n in sorted(self.m)]
        assert self.store.parts() == [self.p[n] for n in sorted(self.p)]
        kept = self.store.readings(include_retired=True)
        assert [[r.id, r.reading, r.retired_why] for r in kept] == [[n, *self.r[n]] for n in sorted(self.r)]
        assert [r.id for r in self.store.readings()] == self.active()
        for name in itertools.islice(self.p, 2):
            some = [n for n in self.active() if getattr(self.r[n][0], "part", None) == name]
            assert [r.id for r in self.store.readings(part=name)] == some
        for material, (values, stale) in self.fits.items():
            fit = self.store.newest_fit(material)
            assert fit.arrays["draws"].tolist() == values
            assert self.store.is_stale(fit) == stale
            # And so when its readings are counted.
            assert self.store.is_stale(dataclasses.replace(fit, meta={})) == stale

    def teardown(self):
        if hasattr(self, "store"):
            assert [f for f in self.store.check() if f.level == "error"] == []
            self.store.close()
            shutil.rmtree(self.folder)


TestStore = StoreMachine.TestCase
TestStore.pytestmark = [pytest.mark.slow]
TestStore.settings = settings(
    max_examples=int(os.environ.get("MATDB_EXAMPLES", 8)),
    stateful_step_count=20,
    deadline=None,
    suppress_health_check=list(HealthCheck),
)
