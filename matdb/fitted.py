"""The records of a store with the curves that are fitted to them, so that no answer rests on an older fit."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Self

import numpy as np

import matdb.advice
import matdb.curve
from matdb.checks import check_told, checked_kind
from matdb.curve.curve import Curve
from matdb.errors import InputError, StoreError
from matdb.form.part import Part
from matdb.material.record import Material
from matdb.mounting.record import Mounting
from matdb.store import FitRecord, MaterialEvidence, Records, StoredReading, rows
from matdb.store.stored import Undone
from matdb.version import VERSION

if TYPE_CHECKING:
    # What a plain question does not need: matdb.advice and matdb.curve import these when they are first asked for.
    import matdb.advice.tabulated
    import matdb.curve.fit


class FittedRecords:
    """Records, and for each material the newest fit, made anew where readings are newer.

    Attributes
    ----------
    records : Records
        The records underneath: lists, corrections, removals, history.
    """

    def __init__(
        self, records: Records, *, as_fitted: bool = False, on_fit: Callable[[str, float], None] | None = None
    ) -> None:
        self.records = records
        self._as_fitted, self._on_fit = as_fitted, on_fit
        #: By material, where a fit could not be kept: what it knew, and the curve.
        self._unkept: dict[str, tuple[str, Curve]] = {}
        #: By material: what the curve rests on (number of the fit, record, whether stale), and the curve.
        self._curves: dict[str, tuple[tuple[int | None, Material, bool], Curve]] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()

    def close(self) -> None:
        """Close every connection."""
        self.records.close()

    def remove(self, what: int | Material | Part | Mounting, why: str = "") -> int:
        """Take a reading (by its number), a material, a part or a mounting away; it is kept with its history.

        Answers how many readings count no more: a reason is needed for them. Raises NotFound, InputError.
        """
        self._curves.clear()
        checked_kind(
            "what", what, int | Material | Part | Mounting, "a reading's number, a material, a part or a mounting"
        )
        if not isinstance(what, int):
            return self.records.remove(rows.what_of(what), what.name, why)
        self.records.remove_reading(what, why)
        return 1

    def undo(self) -> Undone:
        """Take back the last change of the store that was not taken back yet: when it was made, and what became of it.

        Raises StoreError when there is none.
        """
        self._curves.clear()
        return self.records.undo()

    def material(self, name: str) -> Material:
        """The material of that name. Raises NotFound."""
        return self.records.material(name)

    def part(self, name: str) -> Part:
        """The part of that name. Raises NotFound."""
        return self.records.part(name)

    def mounting(self, name: str) -> Mounting:
        """The mounting of that name. Raises NotFound."""
        return self.records.mounting(name)

    def materials(self) -> list[Material]:
        """All materials, by name."""
        return self.records.materials()

    def parts(self, material: str | None = None) -> list[Part]:
        """All parts, or those of one material, by name."""
        return self.records.parts(material)

    def mountings(self) -> list[Mounting]:
        """All mountings, by name."""
        return self.records.mountings()

    def readings(
        self,
        *,
        material: str | None = None,
        part: str | None = None,
        kind: str | None = None,
        include_retired: bool = False,
    ) -> list[StoredReading]:
        """Readings by number; ``material``, ``part`` and ``kind`` narrow the list. Raises InputError, NotFound."""
        for name, value in (("material", material), ("part", part), ("kind", kind)):
            if not isinstance(value, str | None):
                raise InputError(name, value, "a name or None")
        checked_kind("include_retired", include_retired, bool, "True or False")
        return self.records.readings(material, part, kind, include_retired)

    def fit(self, material: str, *, seed: int = 0, progress: Callable[[float], None] | None = None) -> Curve:
        """Fit all readings of a material and keep the fit; without readings, the family prior, which is not kept.

        Parameters
        ----------
        material : str
            Its name.
        seed : int
            Seed of the draws; the same readings and seed give the same fit.
        progress : callable, optional
            Called with the share done, 0 to 1.

        Raises
        ------
        NotFound
            No such material.
        InputError
            A reading does not fit its part's form.
        """
        if isinstance(seed, bool) or not isinstance(seed, int) or not 0 <= seed < 2**63:
            raise InputError("seed", seed, "a whole number from 0 to 2**63 - 1")
        check_told(progress=progress)
        seen = self.records.evidence(material)
        if not seen.readings:
            return matdb.curve.fit.prior_curve(seen.material, seed=seed)
        return self._kept(seen, _fitted(seen, seed=seed, progress=progress), seed)

    def _kept(self, seen: MaterialEvidence, curve: Curve, seed: int) -> Curve:
        """A fit with its number, once it is written."""
        meta, arrays = curve.to_meta_and_arrays()
        record = FitRecord(
            material=seen.material.name,
            program_version=VERSION,
            meta=meta,
            arrays=arrays,
            reading_ids=tuple(reading.id for reading in seen.readings),
            seed=seed,
            fingerprint=seen.fingerprint,
        )
        # The table is computed from what is kept, before the store is locked for writing, and kept with the fit.
        rows = self._tabulated(record.material, self._curve_from(record, stale=False))
        saved = self.records.fit(self.records.save_fit(record, *rows))
        self._curves.clear()
        return dataclasses.replace(curve, **_made(saved))

    def publish(self, material: str | None = None) -> int:
        """Compute the table of effective stiffness that the store publishes for tools that only speak SQL.

        A fit does so by itself for its material; parts and mountings added later ask for it.

        Parameters
        ----------
        material : str, optional
            Its name; every material when None.

        Returns
        -------
        int
            How many rows were written.

        Raises
        ------
        NotFound
            No such material.
        """
        names = [material] if material is not None else [m.name for m in self.records.materials()]
        count = 0
        for name in names:
            curve = self.current_curve(name)
            rows = self._tabulated(name, curve)  # before the store is locked for writing
            if rows:
                count += self.records.publish(name, curve.fit_id, *rows)
        return count

    def _tabulated(self, material: str, curve: Curve) -> tuple[list[tuple[Any, ...]], ...]:
        """Rows of a material's stiffness table and of what squeezes do; nothing when it has no part."""
        parts = self.records.parts(material)
        masses = sorted({round(m.mass_kg / m.count, 9) for m in self.records.mountings()})
        rows = matdb.advice.tabulated.stiffness_rows(curve, parts, masses, self._highest_hz())
        return (list(rows), list(matdb.advice.tabulated.squeeze_factors(parts))) if parts else ()

    def _highest_hz(self) -> float:
        """The highest rotor order of any mounting, Hz; 0 without one."""
        return max((m.rotor_bands[-1].high_hz for m in self.records.mountings()), default=0.0)

    def part_table(self, part: str, *, axis: str = "axial", squeeze_mm: float = 0.0) -> matdb.PartTable:
        """Storage and loss stiffness of a part over temperature and frequency: what :meth:`publish` writes, and more.

        It holds -40 to 60 degC and 1 Hz to the highest rotor order of any mounting, at least 100 Hz. Looked up by its
        rule, medians of stiffness and damping ratio are within 1.1 % of the library's own, of loss within 2 %.

        Parameters
        ----------
        part : str
            Its name.
        axis : str
            One of the form's directions.
        squeeze_mm : float
            Static squeeze.

        Raises
        ------
        NotFound
            No such part.
        InputError
            The form has no such direction, or does not take the squeeze.
        """
        known = self.records.part(part)
        known.form.offset_sd(axis)  # refuses an axis that the form lacks, before a fit is made for it
        curve = self.current_curve(known.material)
        return matdb.advice.tabulated.part_table(curve, known, axis, squeeze_mm, self._highest_hz())

    def curve(self, material: str) -> Curve:
        """The newest fit of a material, or its family prior when there is none.

        A fit that is older than a reading, a correction or a changed record has ``stale`` set.

        Raises
        ------
        NotFound
            No such material.
        """
        return self._known(material)[1]

    def current_curve(self, material: str) -> Curve:
        """The curve that every answer rests on: that of :meth:`curve`, once it knows every reading and record.

        Where they are newer than the fit it is made anew and kept; in a store that cannot be written it serves this
        store only while it is open. A store opened with ``as_fitted`` answers by the newest fit as it is.

        Raises
        ------
        NotFound
            No such material.
        InputError
            A reading does not fit its part's form.
        """
        return self._current(material)[1]

    def _current(self, material: str) -> tuple[Material, Curve]:
        known = self._known(material)
        if self._as_fitted or not known[1].stale:
            return known
        seen = self.records.evidence(material)
        name = seen.material.name
        if self._unkept.get(name, ("",))[0] != seen.fingerprint:
            told = self._on_fit or (lambda _material, _share: None)
            told(name, 0.0)
            try:
                if not seen.readings:
                    curve = matdb.curve.fit.prior_curve(seen.material)
                else:
                    curve = _fitted(seen, progress=lambda share: told(name, min(share, 0.99)))
                    self._kept(seen, curve, 0)
                    return self._known(name)
            except StoreError:
                pass
            finally:
                told(name, 1.0)
            self._unkept[name] = (seen.fingerprint, curve)
        return seen.material, self._unkept[name][1]

    def curve_of_fit(self, number: int) -> Curve:
        """The curve of an older fit, so that an old answer can be explained. Raises NotFound."""
        return self._curve_from(self.records.fit(number))

    def _known(self, material: str) -> tuple[Material, Curve]:
        record = self.records.material(material)
        newest = self.records.newest_fit(record.name)
        # Readings that no fit has used yet make a prior out of date as well.
        stale = self.records.is_stale(newest) if newest else self.records.has_readings(record.name)
        rests_on = (newest.id if newest else None, record, stale)
        if self._curves.get(record.name, (None,))[0] != rests_on:
            if newest:
                curve = self._curve_from(newest, stale)
            else:
                curve = dataclasses.replace(matdb.curve.fit.prior_curve(record), stale=stale)
            self._curves[record.name] = (rests_on, curve)
        return record, self._curves[record.name][1]

    def _curve_from(self, fit: FitRecord, stale: bool | None = None) -> Curve:
        known = {"seed": fit.seed or 0, "stale": self.records.is_stale(fit) if stale is None else stale, **_made(fit)}
        return Curve.from_meta_and_arrays(fit.material, fit.meta, fit.arrays, **known)


def _made(fit: FitRecord) -> dict[str, Any]:
    """What a curve tells of its fit."""
    return {"fit_id": fit.id, "created_at": fit.created_at, "program_version": fit.program_version}


def _fitted(seen: MaterialEvidence, *, seed: int = 0, progress: Callable[[float], None] | None = None) -> Curve:
    """A curve that knows all the evidence."""
    readings, numbers = [stored.reading for stored in seen.readings], [stored.id for stored in seen.readings]
    parts = {part.name: part for part in seen.parts}
    for stored in seen.readings:
        on = getattr(stored.reading, "part", None)
        if on is not None and on not in parts:
            field, cure = f"part of reading {stored.id}", "the store is damaged, 'matdb store check' says where"
            raise InputError(field, on, f"a part of {seen.material.name}", cure)
    try:
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):  # draws far from the truth
            return matdb.curve.fit.fit_curve(
                seen.material, parts, readings, seed=seed, numbers=numbers, progress=progress
            )
    except FloatingPointError:
        coldest = min(seen.readings, key=lambda stored: stored.reading.temperature_c)
        allowed = f"a temperature at which a {seen.material.family} can be told"
        cure = f"correct or remove it: matdb reading remove {coldest.id}"
        what, at = f"temperature of reading {coldest.id}", f"{coldest.reading.temperature_c:g} degC"
        raise InputError(what, at, allowed, cure) from None
