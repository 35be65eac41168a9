"""matdb: a temperature-aware elastomer store.

Readings of soft mounts come in from the bench; stiffness and damping ratio at a field temperature come out, each
with a band that says how sure it is.

Examples
--------
>>> import matdb
>>> with matdb.open_store("bench.sqlite") as store:  # doctest: +SKIP
...     store.add(matdb.Material(name="amber 40A", family="silicone", hardness="40 A"))
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from matdb.version import VERSION as __version__  # noqa: N811

if TYPE_CHECKING:
    from matdb.advice.answers import MedianAnswer as MedianAnswer
    from matdb.advice.answers import PartAnswers as PartAnswers
    from matdb.advice.camera import SixAxes as SixAxes
    from matdb.advice.cover import Cover as Cover
    from matdb.advice.effective import Effective as Effective
    from matdb.advice.exposure import Flight as Flight
    from matdb.advice.exposure import flight as flight
    from matdb.advice.squeeze import Squeeze as Squeeze
    from matdb.advice.suit import Suitability as Suitability
    from matdb.api import Store as Store
    from matdb.api import open_store as open_store
    from matdb.bench.readings import Deflection as Deflection
    from matdb.bench.readings import HardnessReading as HardnessReading
    from matdb.bench.readings import ModulusPoint as ModulusPoint
    from matdb.bench.readings import Reading as Reading
    from matdb.bench.readings import Resonance as Resonance
    from matdb.bench.readings import RingDown as RingDown
    from matdb.curve.band import Band as Band
    from matdb.curve.curve import Curve as Curve
    from matdb.curve.low_temperature import LowTemperature as LowTemperature
    from matdb.curve.next_reading import Affordable as Affordable
    from matdb.curve.next_reading import NextReading as NextReading
    from matdb.curve.prony import Prony as Prony
    from matdb.errors import AlreadyExists as AlreadyExists
    from matdb.errors import FileTaken as FileTaken
    from matdb.errors import FitError as FitError
    from matdb.errors import InputError as InputError
    from matdb.errors import MatdbError as MatdbError
    from matdb.errors import MissingExtra as MissingExtra
    from matdb.errors import NewerStore as NewerStore
    from matdb.errors import NotAStore as NotAStore
    from matdb.errors import NotFound as NotFound
    from matdb.errors import StoreBusy as StoreBusy
    from matdb.errors import StoreError as StoreError
    from matdb.errors import StoreReadOnly as StoreReadOnly
    from matdb.errors import UnitError as UnitError
    from matdb.form import Bush as Bush
    from matdb.form import CableLoop as CableLoop
    from matdb.form import GrommetPair as GrommetPair
    from matdb.form import Measured as Measured
    from matdb.form import Pad as Pad
    from matdb.form import Part as Part
    from matdb.form import PrintedStrut as PrintedStrut
    from matdb.form import Ring as Ring
    from matdb.form import Strut as Strut
    from matdb.form import Taper as Taper
    from matdb.material.record import Material as Material
    from matdb.mounting.record import CameraPackage as CameraPackage
    from matdb.mounting.record import Mounting as Mounting
    from matdb.mounting.shake import AirframeSpectrum as AirframeSpectrum
    from matdb.mounting.shake import read_spectrum as read_spectrum
    from matdb.store.stored import StoredReading as StoredReading
    from matdb.weather.forecast import Forecast as Forecast

#: Public name -> module that has it; imported on first use, so that ``import matdb`` costs next to nothing.
_HOME = {
    "Affordable": "matdb.curve.next_reading",
    "AirframeSpectrum": "matdb.mounting.shake",
    "AlreadyExists": "matdb.errors",
    "Band": "matdb.curve.band",
    "Bush": "matdb.form",
    "CableLoop": "matdb.form",
    "CameraPackage": "matdb.mounting.record",
    "Cover": "matdb.advice.cover",
    "Curve": "matdb.curve.curve",
    "Deflection": "matdb.bench.readings",
    "Effective": "matdb.advice.effective",
    "FileTaken": "matdb.errors",
    "FitError": "matdb.errors",
    "Flight": "matdb.advice.exposure",
    "Forecast": "matdb.weather.forecast",
    "GrommetPair": "matdb.form",
    "HardnessReading": "matdb.bench.readings",
    "InputError": "matdb.errors",
    "LowTemperature": "matdb.curve.low_temperature",
    "MatdbError": "matdb.errors",
    "Material": "matdb.material.record",
    "Measured": "matdb.form",
    "MedianAnswer": "matdb.advice.answers",
    "MissingExtra": "matdb.errors",
    "ModulusPoint": "matdb.bench.readings",
    "Mounting": "matdb.mounting.record",
    "NewerStore": "matdb.errors",
    "NextReading": "matdb.curve.next_reading",
    "NotAStore": "matdb.errors",
    "NotFound": "matdb.errors",
    "Pad": "matdb.form",
    "Part": "matdb.form",
    "PartAnswers": "matdb.advice.answers",
    "PrintedStrut": "matdb.form",
    "Prony": "matdb.curve.prony",
    "Reading": "matdb.bench.readings",
    "Resonance": "matdb.bench.readings",
    "Ring": "matdb.form",
    "RingDown": "matdb.bench.readings",
    "SixAxes": "matdb.advice.camera",
    "Squeeze": "matdb.advice.squeeze",
    "Store": "matdb.api",
    "StoreBusy": "matdb.errors",
    "StoreError": "matdb.errors",
    "StoreReadOnly": "matdb.errors",
    "StoredReading": "matdb.store.stored",
    "Strut": "matdb.form",
    "Suitability": "matdb.advice.suit",
    "Taper": "matdb.form",
    "UnitError": "matdb.errors",
    "flight": "matdb.advice.exposure",
    "open_store": "matdb.api",
    "read_spectrum": "matdb.mounting.shake",
}

__all__ = [
    "Affordable",
    "AirframeSpectrum",
    "AlreadyExists",
    "Band",
    "Bush",
    "CableLoop",
    "CameraPackage",
    "Cover",
    "Curve",
    "Deflection",
    "Effective",
    "FileTaken",
    "FitError",
    "Flight",
    "Forecast",
    "GrommetPair",
    "HardnessReading",
    "InputError",
    "LowTemperature",
    "MatdbError",
    "Material",
    "Measured",
    "MedianAnswer",
    "MissingExtra",
    "ModulusPoint",
    "Mounting",
    "NewerStore",
    "NextReading",
    "NotAStore",
    "NotFound",
    "Pad",
    "Part",
    "PartAnswers",
    "PrintedStrut",
    "Prony",
    "Reading",
    "Resonance",
    "Ring",
    "RingDown",
    "SixAxes",
    "Squeeze",
    "Store",
    "StoreBusy",
    "StoreError",
    "StoreReadOnly",
    "StoredReading",
    "Strut",
    "Suitability",
    "Taper",
    "UnitError",
    "__version__",
    "flight",
    "open_store",
    "read_spectrum",
]


def __getattr__(name: str) -> Any:
    home = _HOME.get(name)
    if home is None:
        raise AttributeError(f"module 'matdb' has no attribute {name!r}")
    from importlib import import_module

    value = getattr(import_module(home), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return __all__
