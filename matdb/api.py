"""The store as other tools see it: records in, fits, curves and answers out."""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

import matdb.advice
import matdb.curve
from matdb.advice.answers import PartAnswers
from matdb.advice.effective import Effective, effective
from matdb.bench.readings import Reading, check_on_part
from matdb.checks import checked_number
from matdb.curve.curve import Curve
from matdb.errors import InputError, StoreError
from matdb.form.part import Part
from matdb.material.record import Material
from matdb.mounting.record import LOAD_FACTORS, Mounting
from matdb.store import FitRecord, MaterialEvidence, Records, StoredReading
from matdb.version import VERSION

if TYPE_CHECKING:
    # What a plain question does not need: matdb.advice and matdb.curve import these when they are first asked for.
    import matdb.advice.surprise
    import matdb.advice.tabulated
    import matdb.curve.fit
    from matdb.advice.camera import SixAxes
    from matdb.advice.cover import Cover
    from matdb.advice.exposure import Temperatures
    from matdb.advice.judge import Candidate
    from matdb.advice.squeeze import Squeeze
    from matdb.advice.suit import Suitability
    from matdb.curve.low_temperature import LowTemperature
    from matdb.curve.next_reading import Affordable, NextReading
    from matdb.curve.prony import Prony
    from matdb.mounting.shake import AirframeSpectrum

#: Temperatures that a question may name, degrees Celsius.
_ASKED_C = (-273.0, 400.0, "degrees Celsius")


def open_store(
    where: str | os.PathLike[str] | None = None,
    *,
    on_wait: Callable[[float], None] | None = None,
    as_fitted: bool = False,
    on_fit: Callable[[str, float], None] | None = None,
) -> Store:
    """Open a store; create it and bring its schema up to date as needed.

    What an upgrade did, and where the store lies as it was before, stands in ``records.upgraded``.

    Parameters
    ----------
    where : str, path or None
        A file, an SQLAlchemy URL, or None for ``MATDB_STORE`` or else the user's default file.
    on_wait : callable, optional
        Called about once a second with the seconds waited so far while another program writes to the file.
    as_fitted : bool
        Answer by the newest fit even where readings are newer; else :meth:`Store.current_curve` fits first.
    on_fit : callable, optional
        Called with the material and the share done, 0 to 1, while an answer waits for such a fit.

    Raises
    ------
    NotAStore, NewerStore, StoreReadOnly, StoreBusy
        The store cannot be used; each says why and what to do.
    """
    place = where if where is not None else os.environ.get("MATDB_STORE") or None
    return Store(Records(place, on_wait=on_wait), as_fitted=as_fitted, on_fit=on_fit)


class Store:
    """An open store. Use it in a ``with`` block, or call :meth:`close`.

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

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()

    def close(self) -> None:
        """Close every connection."""
        self.records.close()

    # -- records -------------------------------------------------------------------------------------------

    def add(self, things: Any) -> int | list[int]:
        """Add a material, part, reading or mounting, or an iterable of them; all or nothing.

        Returns
        -------
        int or list of int
            The new number, or the numbers in the order given.

        Raises
        ------
        AlreadyExists
            A name is taken.
        InputError
            A reading along an axis or at a squeeze that its part's form does not have.
        NotFound
            A part's material, or a reading's part or material, is not in the store.
        """
        self._curves.clear()
        single = not isinstance(things, Iterable) or getattr(things, "ndim", 1) == 0
        listed = [things] if single else list(things)
        self._check_readings(listed)
        numbers = self.records.add(listed)
        return numbers[0] if single else numbers

    def _check_readings(self, things: Sequence[Any]) -> None:
        """Refuse readings that no fit could use, before any of them is written."""
        parts = {thing.name: thing for thing in things if isinstance(thing, Part)}
        for thing in things:
            name = getattr(thing, "part", None)
            if isinstance(thing, Reading) and name is not None:
                if name not in parts:
                    parts[name] = self.records.part(name)
                check_on_part(thing, parts[name])

    def doubts(self, reading: Reading) -> tuple[str, ...]:
        """What the newest fit says against a reading that it does not know; see :mod:`matdb.advice.surprise`.

        Ask before the reading is logged: a wrong mass or unit shows as a stiffness that no draw of the fit expects.

        Parameters
        ----------
        reading : Reading
            Of a part or material of the store.

        Returns
        -------
        tuple of str
            Plain sentences; empty when the reading goes with the fit, or when there is none.

        Raises
        ------
        NotFound
            No such part or material.
        InputError
            The reading names an axis or a squeeze that its part's form does not have.
        """
        _must_be("reading", reading, Reading, "a reading such as matdb.RingDown")
        on = getattr(reading, reading.subject)
        part = self.records.part(on) if reading.subject == "part" else None
        material = on if part is None else part.material
        if self.records.newest_fit(material, reading_ids=False) is None:
            return ()
        return matdb.advice.surprise.doubts(self._known(material)[1], part, reading)

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

    def readings(self, **which: Any) -> list[StoredReading]:
        """Readings by number; ``material``, ``part``, ``kind``, ``include_retired`` narrow the list."""
        for name in ("material", "part", "kind"):
            if not isinstance(which.get(name), str | None):
                raise InputError(name, which[name], "a name or None")
        return self.records.readings(**which)

    def correct(self, number: int, new: Reading, why: str) -> int:
        """Put a reading in the place of another, which is kept; answers the new number."""
        self._check_readings([new])
        self._curves.clear()
        return self.records.correct_reading(number, new, why)

    def remove(self, number: int, why: str) -> None:
        """Let a reading count no more; it is kept."""
        self._curves.clear()
        self.records.remove_reading(number, why)

    # -- curves --------------------------------------------------------------------------------------------

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
        if progress is not None and not callable(progress):
            raise InputError("progress", progress, "a function that takes the share done, or None")
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
        number = self.records.save_fit(record, rows)
        saved = self.records.fit(number)
        self._curves.clear()
        return dataclasses.replace(
            curve, fit_id=number, created_at=saved.created_at, program_version=saved.program_version
        )

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
            if rows is not None:
                count += self.records.publish(name, curve.fit_id, rows)
        return count

    def _tabulated(self, material: str, curve: Curve) -> list[tuple[Any, ...]] | None:
        """Rows of a material's stiffness table; None when it has no part."""
        parts = self.records.parts(material)
        masses = sorted({round(m.mass_kg / m.count, 9) for m in self.records.mountings()})
        return list(matdb.advice.tabulated.stiffness_rows(curve, parts, masses)) if parts else None

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
        newest = self.records.newest_fit(record.name, reading_ids=False)
        # Readings that no fit has used yet make a prior out of date as well.
        stale = self.records.is_stale(newest) if newest else self.records.reading_count(material=record.name) > 0
        rests_on = (newest.id if newest else None, record, stale)
        if self._curves.get(record.name, (None,))[0] != rests_on:
            curve = (
                self._curve_from(newest, stale)
                if newest
                else dataclasses.replace(matdb.curve.fit.prior_curve(record), stale=stale)
            )
            self._curves[record.name] = (rests_on, curve)
        return record, self._curves[record.name][1]

    def _curve_from(self, fit: FitRecord, stale: bool | None = None) -> Curve:
        return Curve.from_meta_and_arrays(
            fit.material,
            fit.meta,
            fit.arrays,
            seed=fit.seed or 0,
            fit_id=fit.id,
            created_at=fit.created_at,
            program_version=fit.program_version,
            stale=self.records.is_stale(fit) if stale is None else stale,
        )

    # -- answers -------------------------------------------------------------------------------------------

    def effective(
        self,
        part: str,
        temperature_c: ArrayLike,
        frequency_hz: ArrayLike | None = None,
        *,
        mass_kg: float | None = None,
        count: int = 1,
        axis: str = "axial",
        squeeze_mm: float = 0.0,
        amplitude_mm: float | None = None,
    ) -> Effective:
        """Effective stiffness and damping ratio of a part; see :func:`matdb.advice.effective.effective`.

        Parameters
        ----------
        part : str
            Its name.
        temperature_c : array_like
            Degrees Celsius.
        frequency_hz : array_like, optional
            Hz; give this or ``mass_kg``.
        mass_kg : float, optional
            Mass on ``count`` parts; solves for the natural frequency.
        count, axis, squeeze_mm
            How many parts share the mass, which axis of them, and how far each is squeezed.
        amplitude_mm : float, optional
            Peak amplitude of a part's deflection, mm; that of the readings when None.

        Raises
        ------
        NotFound
            No such part.
        InputError
            A value out of range.
        """
        return effective(
            *self._about(part),
            temperature_c,
            frequency_hz=frequency_hz,
            mass_kg=mass_kg,
            count=count,
            axis=axis,
            squeeze_mm=squeeze_mm,
            amplitude_mm=amplitude_mm,
        )

    def answers(self, part: str, *, axis: str = "axial", squeeze_mm: float = 0.0) -> PartAnswers:
        """Load a part for many questions; see :class:`matdb.advice.answers.PartAnswers`.

        Its ``effective`` is :meth:`effective` without looking into the store again, its ``median`` leaves the bands
        out and is much faster. Load it again after a fit, a correction or a changed record.

        Parameters
        ----------
        part : str
            Its name.
        axis : str
            One of the form's axes.
        squeeze_mm : float
            Static squeeze of each part.

        Raises
        ------
        NotFound
            No such part.
        InputError
            No such axis, or a squeeze out of range.
        """
        squeeze_mm = checked_number("squeeze_mm", squeeze_mm, 0.0, 1000.0, "mm")
        return PartAnswers(*self._about(part), axis=axis, squeeze_mm=squeeze_mm)

    def suit(
        self,
        mounting: Mounting | str,
        temperature_c: Temperatures,
        *,
        parts: Sequence[str] | None = None,
        squeeze_mm: float | None = None,
        axis: str = "axial",
        package: str | None = None,
        spectrum: AirframeSpectrum | None = None,
    ) -> list[Suitability]:
        """Rank parts for a mounting over temperatures; see :func:`matdb.advice.suit.suit`.

        Parameters
        ----------
        mounting : Mounting or str
            A record, or the name of one in the store.
        temperature_c : array_like of shape (hours,), Forecast or Flight
            Degrees Celsius; a ``Flight`` also knows take-off hours and a warm car.
        parts : sequence of str, optional
            Names; all parts that have the axis when None.
        squeeze_mm : float, optional
            Static squeeze of every part; None tries several on each and keeps the best.
        axis : str
            Axis of the parts that carries the motion.
        package : str, optional
            Judge only this camera package; None asks that all of the mounting's hold, one at a time.
        spectrum : AirframeSpectrum, optional
            What the airframe was measured to do, for shake in pixels.

        Raises
        ------
        NotFound
            No such mounting or part.
        InputError
            A value out of range.
        """
        _must_be("spectrum", spectrum, matdb.AirframeSpectrum | None, "an AirframeSpectrum or None")
        asked = self._candidates(mounting, parts, axis)
        return matdb.advice.suit.suit(
            *asked, temperature_c, squeeze_mm=squeeze_mm, axis=axis, package=package, spectrum=spectrum
        )

    def cover(
        self,
        mounting: Mounting | str,
        temperature_c: Temperatures,
        *,
        share: float = 0.95,
        most: int = 4,
        parts: Sequence[str] | None = None,
        squeeze_mm: float | None = None,
        axis: str = "axial",
        package: str | None = None,
    ) -> Cover:
        """Find the fewest parts that hold the window for a share of a season; see :func:`matdb.advice.cover.cover`.

        Parameters
        ----------
        mounting, parts, squeeze_mm, axis, package
            As :meth:`suit`.
        temperature_c : array_like of shape (hours,), Forecast or Flight
            Temperatures of the season, one an hour, degrees Celsius.
        share : float
            Wanted expected share of hours, above 0 and at most 1.
        most : int
            Largest set to look for.

        Raises
        ------
        NotFound
            No such mounting or part.
        InputError
            No part, or a value out of range.
        """
        return matdb.advice.cover.cover(
            *self._candidates(mounting, parts, axis),
            temperature_c,
            share=share,
            most=most,
            squeeze_mm=squeeze_mm,
            axis=axis,
            package=package,
        )

    def modes(
        self,
        mounting: Mounting | str,
        part: str,
        temperature_c: float,
        *,
        squeeze_mm: float = 0.0,
        package: str = "main",
    ) -> SixAxes:
        """All six rigid-body modes of a camera on a part; see :func:`matdb.advice.camera.six_axes`.

        Parameters
        ----------
        mounting : Mounting or str
            With isolator positions, and a box or an inertia.
        part : str
            Its name.
        temperature_c, squeeze_mm : float
            Degrees Celsius; static squeeze of each piece, mm.
        package : str
            The camera package.

        Raises
        ------
        NotFound
            No such mounting or part.
        InputError
            Positions or inertia are not known, or a value out of range.
        """
        temperature_c = checked_number("temperature_c", temperature_c, *_ASKED_C)
        squeeze_mm = checked_number("squeeze_mm", squeeze_mm, 0.0, 1000.0, "mm")
        candidates, wanted = self._candidates(mounting, [part], "axial")
        return matdb.advice.camera.six_axes(
            candidates[0], wanted, temperature_c, squeeze_mm=squeeze_mm, package=package
        )

    def squeeze(
        self,
        part: str,
        mass_kg: float | None = None,
        temperature_c: ArrayLike = (),
        *,
        mounting: Mounting | str | None = None,
        count: int = 4,
        load_factors: tuple[float, float] = LOAD_FACTORS,
        squeeze_mm: float | None = None,
        turns: float | None = None,
        assembly_c: float = 23.0,
        set_share: float = 0.15,
    ) -> Squeeze:
        """How far to turn the screw of a part in two halves; see :func:`matdb.advice.squeeze.squeeze`.

        Parameters
        ----------
        part : str
            Its name.
        mass_kg : float, optional
            Payload on all pairs together, kg; or a ``mounting``, which also asks for a steady picture.
        temperature_c : array_like
            Temperatures of the flight, degrees Celsius.
        mounting : Mounting or str, optional
            In place of ``mass_kg``, ``count``, ``load_factors``, ``assembly_c`` and ``set_share``.
        count : int
            Pairs that share the payload.
        load_factors : (float, float)
            Lowest and highest load factor in units of weight.
        squeeze_mm, turns : float, optional
            A squeeze to look at, past first touch: in mm or in turns of the thread.
        assembly_c : float
            Temperature at which the screw is turned, degrees Celsius.
        set_share : float
            Share of the squeeze that compression set and creep will take.

        Raises
        ------
        NotFound
            No such part or mounting.
        InputError
            The part has no two halves, turns without a thread, or a value out of range.
        """
        if (mounting is None) == (mass_kg is None):
            raise InputError("mass_kg", mass_kg, "given, or a mounting, not both")
        if mounting is not None:
            wanted = self._wanted(mounting)
        else:
            known = checked_number("mass_kg", mass_kg, 0.0, 1000.0, "kg", open_low=True)
            more = {"assembly_c": assembly_c, "set_share": set_share}
            wanted = matdb.advice.squeeze.carried(known, count, load_factors, **more)
        # What cannot be answered is refused before anything is fitted.
        matdb.advice.squeeze.halves_of(self.records.part(part), squeeze_mm, turns)
        curve, material, asked = self._about(part)
        candidate = matdb.advice.judge.Candidate(asked, material, curve)
        return matdb.advice.squeeze.squeeze(candidate, wanted, temperature_c, squeeze_mm=squeeze_mm, turns=turns)

    def low_temperature(self, material: str) -> LowTemperature:
        """T2, T5, T10, T100, where stiffness doubles, and the glass transition, with bands.

        Parameters
        ----------
        material : str
            Its name; without a fit, the family prior answers.

        Raises
        ------
        NotFound
            No such material.
        """
        return matdb.curve.low_temperature.low_temperature(self._current(material)[1])

    def prony(self, material: str, *, goal: float = 0.01) -> Prony:
        """A generalised Maxwell (Prony) series of the median curve; see :func:`matdb.curve.prony.prony_series`.

        Parameters
        ----------
        material : str
            Its name.
        goal : float
            Largest relative error of storage and loss modulus.

        Raises
        ------
        NotFound
            No such material.
        FitError
            The goal is out of reach.
        """
        goal = checked_number("goal", goal, 0.0, 1.0, open_low=True)
        return matdb.curve.prony.prony_series(self._current(material)[1], goal=goal)

    # -- the next reading ----------------------------------------------------------------------------------

    def next_readings(
        self,
        part: str,
        low_c: float,
        high_c: float,
        *,
        mass_kg: float | None = None,
        count: int = 1,
        frequency_hz: float | None = None,
        affordable: Affordable | None = None,
        axis: str = "axial",
        squeeze_mm: float = 0.0,
    ) -> list[NextReading]:
        """Rank the next readings to take on a part by how much each is expected to narrow its stiffness.

        Readings that were logged after the newest fit count; nothing is written. See
        :func:`matdb.curve.next_reading.rank_next_readings`.

        Parameters
        ----------
        part : str
            Its name.
        low_c, high_c : float
            The temperatures asked about, degrees Celsius; equal for a single one.
        mass_kg : float, optional
            Ask at the natural frequency under this mass on ``count`` parts.
        count : int
            Parts that share the mass.
        frequency_hz : float, optional
            Or ask at this frequency; 30 Hz when neither is given.
        affordable : Affordable, optional
            What the bench can do: temperatures, masses, kinds.
        axis, squeeze_mm
            Axis of the part and its static squeeze.

        Returns
        -------
        list of NextReading
            Best first; empty when nothing affordable is sensible on this part.

        Raises
        ------
        NotFound
            No such part.
        InputError
            A value out of range, or both frequency and mass given.
        """
        low_c, high_c = _span(low_c, high_c)
        if low_c > high_c:
            raise InputError("low_c", low_c, f"at most high_c ({high_c:g} degC)")
        count = int(checked_number("count", count, 1, 1000))
        _must_be("affordable", affordable, matdb.Affordable | None, "what the bench can do, an Affordable, or None")
        known = self.records.part(part)
        seen, curve = self._freshly_fitted(known.material)
        return matdb.curve.next_reading.rank_next_readings(
            curve,
            seen.material,
            known,
            {p.name: p for p in seen.parts},
            [stored.reading for stored in seen.readings],
            (low_c,) if low_c == high_c else (low_c, high_c),
            frequency_hz=frequency_hz,
            mass_kg=mass_kg,
            count=count,
            affordable=affordable,
            axis=axis,
            squeeze_mm=squeeze_mm,
        )

    def next_readings_for(
        self,
        mounting: Mounting | str,
        low_c: float,
        high_c: float,
        *,
        parts: Sequence[str] | None = None,
        most: int = 3,
        affordable: Affordable | None = None,
        axis: str = "axial",
        progress: Callable[[float], None] | None = None,
    ) -> list[NextReading]:
        """Rank the next readings for choosing an isolator: on which part, and which reading.

        Each part is asked at its natural frequency under the mounting's mass and count.

        Parameters
        ----------
        mounting : Mounting or str
            A record, or the name of one in the store.
        low_c, high_c : float
            The temperatures of the flight, degrees Celsius.
        parts : sequence of str, optional
            Names. When None, the ``most`` parts whose verdict in :meth:`suit` is least settled.
        most : int
            How many parts to look at when none is named, at least 1.
        affordable : Affordable, optional
            What the bench can do.
        axis : str
            Axis of the parts that carries the motion.
        progress : callable, optional
            Called with the share done, 0 to 1.

        Returns
        -------
        list of NextReading
            The one that takes most off the width of its part's band first.

        Raises
        ------
        NotFound
            No such mounting or part.
        InputError
            A value out of range.
        """
        low_c, high_c = _span(low_c, high_c)
        wanted = self._wanted(mounting)
        names = _names(parts) if parts is not None else self._unsettled(wanted, low_c, high_c, most, axis)
        found: list[NextReading] = []
        for k, name in enumerate(names):
            if progress is not None:
                progress(k / len(names))
            found += self.next_readings(
                name, low_c, high_c, mass_kg=wanted.mass_kg, count=wanted.count, affordable=affordable, axis=axis
            )
        return sorted(found, key=lambda each: (each.width_after - each.width_before, each.minutes))

    def _unsettled(self, mounting: Mounting, low_c: float, high_c: float, most: int, axis: str) -> list[str]:
        """Parts whose verdict is nearest to a toss-up; those that surely do not suit come last."""
        most = int(checked_number("most", most, 1, 1_000_000))
        steps = sorted({low_c, 0.5 * (low_c + high_c), high_c})
        ranking = self.suit(mounting, steps, axis=axis)
        return [each.part for each in sorted(ranking, key=lambda each: abs(each.probability - 0.5))][:most]

    def _freshly_fitted(self, material: str) -> tuple[MaterialEvidence, Curve]:
        """All evidence of a material, and a curve that knows all of it; nothing is kept."""
        seen = self.records.evidence(material)
        curve = self._known(material)[1]
        if seen.readings and (curve.stale or curve.fit_id is None):
            curve = _fitted(seen)
        return seen, curve

    def _wanted(self, mounting: Mounting | str) -> Mounting:
        """The mounting that was given, or that of the name that was."""
        if isinstance(mounting, str):
            return self.records.mounting(mounting)
        _must_be("mounting", mounting, Mounting, "a Mounting, or the name of one in the store")
        return mounting

    def _about(self, part: str) -> tuple[Curve, Material, Part]:
        """What answers about a part rest on."""
        known = self.records.part(part)
        record, curve = self._current(known.material)
        return curve, record, known

    def _candidates(
        self, mounting: Mounting | str, parts: Sequence[str] | None, axis: str
    ) -> tuple[list[Candidate], Mounting]:
        """The parts that were named, or all that have the axis, and the mounting that was."""
        wanted = self._wanted(mounting)
        if parts is not None:
            known = [self.records.part(name) for name in _names(parts)]
        else:
            known = [part for part in self.records.parts() if axis in part.form.axes]
        curves = {material: self._current(material) for material in dict.fromkeys(part.material for part in known)}
        return [matdb.advice.judge.Candidate(part, *curves[part.material]) for part in known], wanted


def _fitted(seen: MaterialEvidence, *, seed: int = 0, progress: Callable[[float], None] | None = None) -> Curve:
    """A curve that knows all the evidence."""
    readings, numbers = [stored.reading for stored in seen.readings], [stored.id for stored in seen.readings]
    parts = {part.name: part for part in seen.parts}
    try:
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):  # draws far from the truth
            return matdb.curve.fit.fit_curve(
                seen.material, parts, readings, seed=seed, numbers=numbers, progress=progress
            )
    except FloatingPointError:
        coldest = min(seen.readings, key=lambda stored: stored.reading.temperature_c)
        raise InputError(
            f"temperature of reading {coldest.id}",
            f"{coldest.reading.temperature_c:g} degC",
            f"a temperature at which a {seen.material.family} can be told",
            f"correct or remove it: matdb reading remove {coldest.id}",
        ) from None


def _span(low_c: float, high_c: float) -> tuple[float, float]:
    return checked_number("low_c", low_c, *_ASKED_C), checked_number("high_c", high_c, *_ASKED_C)


def _must_be(field: str, value: Any, kind: Any, allowed: str) -> None:
    if not isinstance(value, kind):
        raise InputError(field, value, allowed)


def _names(parts: Any) -> list[str]:
    """Names of parts as a list; a single text is one name too few to be meant as its letters."""
    if isinstance(parts, str) or not hasattr(parts, "__iter__") or getattr(parts, "ndim", 1) == 0:
        raise InputError("parts", parts, "a list of names")
    return list(parts)
