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
    from matdb.advice.effective import Effective as Effective
    from matdb.advice.suit import Suitability as Suitability
    from matdb.api import Store as Store
    from matdb.api import open_store as open_store
    from matdb.bench.readings import Deflection as Deflection
    from matdb.bench.readings import HardnessReading as HardnessReading
    from matdb.bench.readings import ModulusPoint as ModulusPoint
    from matdb.bench.readings import Resonance as Resonance
    from matdb.bench.readings import RingDown as RingDown
    from matdb.curve.band import Band as Band
    from matdb.curve.curve import Curve as Curve
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

#: Public name -> module that has it; imported on first use, so that ``import matdb`` costs next to nothing.
_HOME = {
    "AlreadyExists": "matdb.errors",
    "Band": "matdb.curve.band",
    "Bush": "matdb.form",
    "CableLoop": "matdb.form",
    "CameraPackage": "matdb.mounting.record",
    "Curve": "matdb.curve.curve",
    "Deflection": "matdb.bench.readings",
    "Effective": "matdb.advice.effective",
    "FileTaken": "matdb.errors",
    "FitError": "matdb.errors",
    "GrommetPair": "matdb.form",
    "HardnessReading": "matdb.bench.readings",
    "InputError": "matdb.errors",
    "MatdbError": "matdb.errors",
    "Material": "matdb.material.record",
    "Measured": "matdb.form",
    "MissingExtra": "matdb.errors",
    "ModulusPoint": "matdb.bench.readings",
    "Mounting": "matdb.mounting.record",
    "NewerStore": "matdb.errors",
    "NotAStore": "matdb.errors",
    "NotFound": "matdb.errors",
    "Pad": "matdb.form",
    "Part": "matdb.form",
    "PrintedStrut": "matdb.form",
    "Resonance": "matdb.bench.readings",
    "Ring": "matdb.form",
    "RingDown": "matdb.bench.readings",
    "Store": "matdb.api",
    "StoreBusy": "matdb.errors",
    "StoreError": "matdb.errors",
    "StoreReadOnly": "matdb.errors",
    "Strut": "matdb.form",
    "Suitability": "matdb.advice.suit",
    "Taper": "matdb.form",
    "UnitError": "matdb.errors",
    "open_store": "matdb.api",
}

__all__ = [
    "AlreadyExists",
    "Band",
    "Bush",
    "CableLoop",
    "CameraPackage",
    "Curve",
    "Deflection",
    "Effective",
    "FileTaken",
    "FitError",
    "GrommetPair",
    "HardnessReading",
    "InputError",
    "MatdbError",
    "Material",
    "Measured",
    "MissingExtra",
    "ModulusPoint",
    "Mounting",
    "NewerStore",
    "NotAStore",
    "NotFound",
    "Pad",
    "Part",
    "PrintedStrut",
    "Resonance",
    "Ring",
    "RingDown",
    "Store",
    "StoreBusy",
    "StoreError",
    "StoreReadOnly",
    "Strut",
    "Suitability",
    "Taper",
    "UnitError",
    "__version__",
    "open_store",
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
