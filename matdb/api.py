"""The store as other tools see it: records in, fits, curves and answers out."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import chain
from typing import TYPE_CHECKING, Any, overload

from numpy.typing import ArrayLike

import matdb.advice
import matdb.curve
from matdb.advice.answers import PartAnswers
from matdb.advice.effective import Effective, effective
from matdb.advice.requirement import Candidate, check_meant
from matdb.bench.readings import Reading
from matdb.checks import check_told, checked_kind, checked_names, checked_number
from matdb.curve.band import SHARE
from matdb.curve.curve import Curve
from matdb.errors import InputError
from matdb.fitted import FittedRecords
from matdb.form.part import Part
from matdb.material.record import Material
from matdb.mounting.on_part import check_on_part
from matdb.mounting.record import LOAD_FACTORS, Mounting
from matdb.store import Records

if TYPE_CHECKING:
    # What a plain question does not need: matdb.advice and matdb.curve import these when they are first asked for.
    import matdb.advice.exposure
    import matdb.advice.surprise
    from matdb.advice.exposure import Temperatures
    from matdb.advice.judgement import Judgement

AnyRecord = Material | Part | Reading | Mounting
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
    check_told(on_wait=on_wait, on_fit=on_fit)
    place = where if where is not None else os.environ.get("MATDB_STORE") or None
    return Store(Records(place, on_wait=on_wait), as_fitted=as_fitted, on_fit=on_fit)


class Store(FittedRecords):
    """An open store. Use it in a ``with`` block, or call :meth:`close`."""

    @overload
    def add(self, things: AnyRecord, *, sure: bool = False) -> int: ...
    @overload
    def add(self, things: Iterable[AnyRecord], *, sure: bool = False) -> list[int]: ...
    def add(self, things: Any, *, sure: bool = False) -> int | list[int]:
        """Add a material, part, reading or mounting, or an iterable of them; all or nothing.

        Parameters
        ----------
        things : record or iterable of records
        sure : bool
            Whether parts and mountings are stored that look like a slip of a unit or a digit, or that no part can hold.

        Returns
        -------
        int or list of int
            The new number, or the numbers in the order given.

        Raises
        ------
        AlreadyExists
            A name is taken.
        InputError
            A reading along an axis or at a squeeze that its part's form does not have; what cannot well be meant.
        NotFound
            A part's material, or a reading's part or material, is not in the store.
        """
        self._curves.clear()
        single = not isinstance(things, Iterable) or getattr(things, "ndim", 1) == 0
        listed = [things] if single else list(things)
        self._check_readings(listed)
        for thing in listed if sure is not True else ():
            check_meant(thing)
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
        """What the newest fit, or else the label, says against a reading; see :mod:`matdb.advice.surprise`.

        Ask before the reading is logged: a wrong mass or unit shows as a stiffness that no draw of the fit expects.

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
        checked_kind("reading", reading, Reading, "a reading such as matdb.RingDown")
        self._check_readings([reading])
        on = getattr(reading, reading.subject)
        part = self.records.part(on) if reading.subject == "part" else None
        material = on if part is None else part.material
        record = self.records.material(material)
        if self.records.newest_fit(material) is None and record.hardness is None:
            return matdb.advice.surprise.untold(record.family, reading)
        return matdb.advice.surprise.doubts(self._known(material)[1], part, reading)

    def correct(self, number: int, new: Reading, why: str) -> int:
        """Put a reading in the place of another, which is kept; answers the new number."""
        self._check_readings([new])
        self._curves.clear()
        return self.records.correct_reading(number, new, why)

    # -- answers -------------------------------------------------------------------------------------------

    def effective(
        self,
        part: str,
        temperature_c: ArrayLike,
        frequency_hz: ArrayLike | None = None,
        *,
        mass_kg: ArrayLike | None = None,
        count: int = 1,
        axis: str = "axial",
        squeeze_mm: float = 0.0,
        amplitude_mm: float | None = None,
        rest_h: float | None = None,
        share: float = SHARE,
    ) -> Effective:
        """Effective stiffness and damping ratio of a part; see :func:`matdb.advice.effective.effective`.

        Parameters
        ----------
        part, temperature_c, frequency_hz, mass_kg, count, axis, squeeze_mm, amplitude_mm, rest_h, share
            Its name, and as there: degrees Celsius, Hz, kg, mm, hours; a frequency or a mass.

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
            rest_h=rest_h,
            share=share,
        )

    def answers(self, part: str, *, axis: str = "axial", squeeze_mm: float = 0.0) -> PartAnswers:
        """Load a part for many questions; see :class:`matdb.advice.answers.PartAnswers`.

        Its ``effective`` is :meth:`effective` without looking into the store again, its ``median`` leaves the bands
        out and is much faster. Load it again after a fit, a correction or a changed record.

        Parameters
        ----------
        part, axis, squeeze_mm
            Its name, one of its form's axes, and the static squeeze of each part in mm.

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
        spectrum: matdb.AirframeSpectrum | None = None,
    ) -> list[matdb.Suitability]:
        """Rank parts for a mounting over temperatures; see :func:`matdb.advice.suit.suit`.

        Parameters
        ----------
        mounting : Mounting or str
            A record, or the name of one in the store.
        parts : sequence of str, optional
            Names; all parts that have the axis when None.
        temperature_c, squeeze_mm, axis, package, spectrum
            As there: degrees Celsius and mm.

        Raises
        ------
        NotFound
            No such mounting or part.
        InputError
            A value out of range.
        """
        checked_kind("spectrum", spectrum, matdb.AirframeSpectrum | None, "an AirframeSpectrum or None")
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
    ) -> matdb.Cover:
        """Find the fewest parts that hold the window for a share of a season; see :func:`matdb.advice.cover.cover`.

        Parameters
        ----------
        mounting, parts, squeeze_mm, axis, package
            As :meth:`suit`.
        temperature_c, share, most
            As there: one temperature an hour of the season, degrees Celsius; a share above 0 and at most 1.

        Raises
        ------
        NotFound
            No such mounting or part.
        InputError
            No part, or a value out of range.
        """
        asked = self._candidates(mounting, parts, axis)
        return matdb.advice.cover.cover(
            *asked, temperature_c, share=share, most=most, squeeze_mm=squeeze_mm, axis=axis, package=package
        )

    def modes(
        self,
        mounting: Mounting | str,
        part: str,
        temperature_c: float,
        *,
        squeeze_mm: float = 0.0,
        package: str = "main",
        rest_h: float | None = None,
    ) -> matdb.SixAxes:
        """All six rigid-body modes of a camera on a part; see :func:`matdb.advice.camera.six_axes`.

        Parameters
        ----------
        mounting, part, temperature_c, squeeze_mm, package, rest_h
            One with positions and box or inertia, the part's name, as there (degrees Celsius, mm) and as `effective`.

        Raises
        ------
        NotFound
            No such mounting or part.
        InputError
            Positions or inertia are not known, or a value out of range.
        """
        temperature_c = checked_number("temperature_c", temperature_c, *_ASKED_C)
        how: dict[str, Any] = {"squeeze_mm": checked_number("squeeze_mm", squeeze_mm, 0.0, 1000.0, "mm")}
        (candidate,), wanted = self._candidates(mounting, [part], "axial")
        candidate = replace(candidate, curve=candidate.curve.rested(rest_h))
        return matdb.advice.camera.six_axes(candidate, wanted, temperature_c, package=package, **how)

    def squeeze(
        self,
        part: str,
        mass_kg: float | None = None,
        temperature_c: Temperatures = (),
        *,
        mounting: Mounting | str | None = None,
        count: int = 4,
        load_factors: tuple[float, float] = LOAD_FACTORS,
        squeeze_mm: float | None = None,
        turns: float | None = None,
        assembly_c: float = 23.0,
        set_share: float = 0.15,
    ) -> matdb.Squeeze:
        """How far to turn the screw of a part in two halves; see :func:`matdb.advice.squeeze.squeeze`.

        Parameters
        ----------
        part : str
            Its name.
        mass_kg : float, optional
            Payload on all pairs together, kg; or a ``mounting``, which also asks for a steady picture.
        temperature_c : array_like, Forecast or Flight
            Temperatures of the flight, degrees Celsius.
        mounting : Mounting or str, optional
            In place of ``mass_kg``, ``count``, ``load_factors``, ``assembly_c`` and ``set_share``.
        count, load_factors, assembly_c, set_share
            Pairs that share the payload, and as in :class:`matdb.mounting.record.Mounting`.
        squeeze_mm, turns : float, optional
            A squeeze to look at, past first touch: in mm or in turns of the thread.

        Raises
        ------
        NotFound
            No such part or mounting.
        InputError
            The part has no two halves, turns without a thread, or a value out of range.
        """
        if mounting is not None and mass_kg is None:
            wanted = self._wanted(mounting)
        elif mass_kg is not None and mounting is None:
            more = {"assembly_c": assembly_c, "set_share": set_share}
            wanted = matdb.advice.squeeze.carried(mass_kg, count, load_factors, **more)
        else:
            raise InputError("mass_kg", mass_kg, "given, or a mounting, not both")
        # What cannot be answered is refused before anything is fitted.
        matdb.advice.squeeze.halves_of(self.records.part(part), squeeze_mm, turns)
        curve, material, asked = self._about(part)
        candidate = matdb.advice.requirement.Candidate(asked, material, curve)
        return matdb.advice.squeeze.squeeze(candidate, wanted, temperature_c, squeeze_mm=squeeze_mm, turns=turns)

    def best_squeezes(
        self, parts: Sequence[str], mounting: Mounting | str, temperature_c: Temperatures, *, axis: str = "axial"
    ) -> dict[str, float]:
        """The squeeze in mm at which each part suits a mounting best, as :meth:`suit` finds it: for want of another.

        Parameters
        ----------
        parts, mounting, temperature_c, axis
            Names, and as :meth:`suit`.

        Raises
        ------
        NotFound, InputError
            As :meth:`suit`.
        """
        judged, _ = self._judged(mounting, parts, temperature_c, axis)
        return {each.candidate.part.name: each.squeeze_mm for each in judged}

    def _judged(
        self, mounting: Mounting | str, parts: Sequence[str] | None, temperature_c: Temperatures, axis: str
    ) -> tuple[list[Judgement], Mounting]:
        """Each part at its best squeeze, and the mounting."""
        candidates, wanted = self._candidates(mounting, parts, axis)
        exposed = matdb.advice.exposure.exposure([(c.part, c.material) for c in candidates], temperature_c)
        return [*chain(*matdb.advice.judge.judge(candidates, wanted, exposed, axis=axis))], wanted

    def size(
        self,
        mounting: Mounting | str,
        temperature_c: Temperatures,
        *,
        material: str,
        form: str,
        sizes: Sequence[Mapping[str, Any]] = (),
        squeeze_mm: float | Sequence[float] | None = None,
        deck_mm: float | None = None,
        package: str | None = None,
        progress: Callable[[float], None] | None = None,
        **told: Any,
    ) -> list[matdb.Proposal]:
        """Propose sizes of a form that would suit a mounting; see :func:`matdb.advice.size.size`.

        Parameters
        ----------
        mounting, material : Mounting or str, str
            A record or the name of one in the store; the material's name.
        temperature_c, form, sizes, squeeze_mm, deck_mm, package, progress, **told
            As there: degrees Celsius, mm; for instance ``outer_mm=(4, 8), length_mm=25``.

        Raises
        ------
        NotFound
            No such mounting or material.
        InputError
            A value out of range, or dimensions that do not go together.
        """
        asked = *self._current(material), self._wanted(mounting), temperature_c
        how: dict[str, Any] = {"squeeze_mm": squeeze_mm, "deck_mm": deck_mm, "package": package}
        return matdb.advice.size.size(*asked, form=form, sizes=sizes, told=told, progress=progress, **how)

    def low_temperature(self, material: str) -> matdb.LowTemperature:
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

    def prony(self, material: str, *, goal: float | None = None) -> matdb.Prony:
        """A generalised Maxwell (Prony) series of the median curve; see :func:`matdb.curve.prony.prony_series`.

        Parameters
        ----------
        material : str
            Its name.
        goal : float, optional
            Largest relative error of the storage modulus; the best there is when None.

        Raises
        ------
        NotFound
            No such material.
        FitError
            The goal is out of reach.
        """
        if goal is not None:
            goal = checked_number("goal", goal, 0.0, 1.0, open_low=True)
        return matdb.curve.prony.prony_series(self._current(material)[1], goal=goal)

    # -- the next reading ----------------------------------------------------------------------------------

    def next_readings(
        self,
        part: Part | str,
        low_c: float,
        high_c: float,
        *,
        mass_kg: float | None = None,
        count: int = 1,
        frequency_hz: float | None = None,
        affordable: matdb.Affordable | None = None,
        axis: str = "axial",
        squeeze_mm: float = 0.0,
    ) -> list[matdb.NextReading]:
        """Rank the next readings to take on a part by how much each is expected to narrow its stiffness.

        See :func:`matdb.curve.next_reading.rank_next_readings`.

        Parameters
        ----------
        part, low_c, high_c
            Its name, or a part that is yet to be made; and the temperatures asked about, degrees Celsius.
        mass_kg, count, frequency_hz, affordable, axis, squeeze_mm
            As there: kg, Hz, mm.

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
        count = int(checked_number("count", count, 1, 1000))
        squeeze_mm = checked_number("squeeze_mm", squeeze_mm, 0.0, 1000.0, "mm")
        checked_kind("affordable", affordable, matdb.Affordable | None, "what the bench can do, an Affordable, or None")
        known = part if isinstance(part, Part) else self.records.part(part)
        material, curve = self._current(known.material)
        question = (low_c, high_c), frequency_hz, mass_kg, count, affordable
        return matdb.curve.next_reading.rank_next_readings(
            curve, material, known, *question, axis=axis, squeeze_mm=squeeze_mm
        )

    def next_readings_for(
        self,
        mounting: Mounting | str,
        low_c: float,
        high_c: float,
        *,
        parts: Sequence[str] | None = None,
        most: int = 3,
        affordable: matdb.Affordable | None = None,
        axis: str = "axial",
    ) -> list[matdb.NextReading]:
        """Rank the next readings for choosing an isolator: on which part, and which reading.

        Each part is asked at its natural frequency under the mounting's mass and count, at its best squeeze.

        Parameters
        ----------
        mounting : Mounting or str
            A record, or the name of one in the store.
        low_c, high_c : float
            The temperatures of the flight, degrees Celsius.
        parts : sequence of str, optional
            Names. When None, the best part whose verdict in :meth:`suit` is open, then those that are least settled,
            ``most`` in all; none where all are settled.
        most : int
            How many parts to look at when none is named, at least 1.
        affordable, axis
            As :meth:`next_readings`.

        Returns
        -------
        list of NextReading
            The one first that takes most off the best part's band, of the stiffness that decides and where it does;
            then the same of the other parts.

        Raises
        ------
        NotFound
            No such mounting or part.
        InputError
            A value out of range.
        """
        low_c, high_c = _span(low_c, high_c)
        flown = matdb.advice.exposure.flight(low_c=low_c, high_c=high_c)
        judged, wanted = self._judged(mounting, parts, flown, axis)
        first = ""
        if parts is None:
            judged = matdb.advice.judgement.open_ones(judged, int(checked_number("most", most, 1, 1_000_000)))
            first = judged[0].candidate.part.name if judged else ""
        how: dict[str, Any] = {"axis": axis, "affordable": affordable}
        ranked = matdb.advice.suit.next_readings
        found = (ranked(each.candidate, wanted, each.deciding, squeeze_mm=each.squeeze_mm, **how) for each in judged)
        return sorted(chain(*found), key=lambda each: (each.part != first or not each.worth_taking, -each.gain))

    def _wanted(self, mounting: Mounting | str) -> Mounting:
        """The mounting that was given, or that of the name that was."""
        if isinstance(mounting, str):
            return self.records.mounting(mounting)
        checked_kind("mounting", mounting, Mounting, "a Mounting, or the name of one in the store")
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
        checked_kind("axis", axis, str, "a direction such as axial")
        if parts is not None:
            known = [self.records.part(name) for name in checked_names("parts", parts)]
        else:
            known = [part for part in self.records.parts() if axis in part.form.axes]
        curves = {material: self._current(material) for material in dict.fromkeys(part.material for part in known)}
        return [matdb.advice.requirement.Candidate(part, *curves[part.material]) for part in known], wanted


def _span(low_c: float, high_c: float) -> tuple[float, float]:
    low_c, high_c = checked_number("low_c", low_c, *_ASKED_C), checked_number("high_c", high_c, *_ASKED_C)
    if low_c > high_c:
        raise InputError("low_c", low_c, f"at most high_c ({high_c:g} degC)")
    return low_c, high_c
