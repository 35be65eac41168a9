"""What the store hands out: frozen records, none of them tied to a database."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matdb.bench.readings import Reading
from matdb.fields import plain
from matdb.form.part import Part
from matdb.material.record import Material

#: When a change was made that was taken back, and what became of each record.
Undone = tuple[dt.datetime, list[str]]


@dataclass(frozen=True, slots=True)
class StoredReading:
    """A reading with what the store knows of it.

    Attributes
    ----------
    id : int
        Its number, never used again.
    reading : Reading
        The reading; ``taken_at`` is filled.
    logged_at : datetime
        When it was written to the store, UTC.
    retired_at, retired_why : datetime or None, str or None
        When and why it stopped counting: corrected or removed. None while it counts.
    corrects_id : int or None
        The reading that it replaces.

    """

    id: int
    reading: Reading
    logged_at: dt.datetime
    retired_at: dt.datetime | None = None
    retired_why: str | None = None
    corrects_id: int | None = None

    @property
    def active(self) -> bool:
        """True while the reading counts."""
        return self.retired_at is None

    def to_dict(self) -> dict[str, Any]:
        """The reading's own fields as plain values, between its number and what became of it."""
        became = {"logged_at": self.logged_at, "counts": self.active, "retired_at": self.retired_at}
        more = plain(became | {"retired_why": self.retired_why, "corrects": self.corrects_id})
        return {"number": self.id, **self.reading.to_dict(), **more}


@dataclass(frozen=True, kw_only=True, eq=False)
class FitRecord:
    """A fit as kept: enough to answer with, and to explain an old answer.

    Attributes
    ----------
    material : str
        The material's name.
    program_version : str
        The version of matdb that made it.
    meta : mapping
        Laws, weights, parameters' names, prior, part offsets and so on: plain values.
    arrays : mapping of str to ndarray
        Draws and the like, float64.
    reading_ids : tuple of int or None
        The readings that it used; None when they were not asked for.
    seed : int or None
        The seed of its random numbers.
    fingerprint : str
        Of the evidence it saw; empty lets the store take the one at the time of saving.
    id, created_at : int or None, datetime or None
        Given by the store.

    """

    material: str
    program_version: str
    meta: Mapping[str, Any] = field(default_factory=dict, repr=False)
    arrays: Mapping[str, NDArray[np.float64]] = field(default_factory=dict, repr=False)
    reading_ids: tuple[int, ...] | None = ()
    seed: int | None = None
    fingerprint: str = ""
    id: int | None = None
    created_at: dt.datetime | None = None


@dataclass(frozen=True, kw_only=True)
class MaterialEvidence:
    """All that a fit of one material may use, read at one instant.

    Attributes
    ----------
    material : Material
        The material.
    parts : tuple of Part
        Its parts, by name.
    readings : tuple of StoredReading
        The readings that count, in the order of their numbers.
    fingerprint : str
        To be kept with the fit: it changes when any of the above does.

    """

    material: Material
    parts: tuple[Part, ...]
    readings: tuple[StoredReading, ...]
    fingerprint: str


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One thing that a check of the store found.

    Attributes
    ----------
    level : str
        ``"error"``: restore a backup. ``"note"``: nothing is lost, but look.
    what : str
        What it concerns.
    says : str
        One line.

    """

    level: str
    what: str
    says: str


@dataclass(frozen=True, kw_only=True)
class Upgraded:
    """What opening an older store did.

    Attributes
    ----------
    before, after : str
        Its revision, and that of this program.
    copy : Path
        The store as it was; ``restore`` reads it.

    """

    before: str
    after: str
    copy: Path
