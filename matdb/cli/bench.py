"""``matdb bench``: read one part step by step; every confirmed reading is in the store before the next question."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Annotated, Any, Final

import typer

from matdb.advice.surprise import MENDS
from matdb.api import Store
from matdb.bench.decrement import decrement_from_amplitudes
from matdb.bench.readings import Deflection, Reading, RingDown
from matdb.bench.thermal.body import body_of
from matdb.bench.thermal.soak import crystallisation_note, drift, soak
from matdb.cli.asking import Question, Turn, ask_all, until, with_unit, yes
from matdb.cli.options import (
    AtHandOption,
    CountOption,
    HeldFor,
    Place,
    arg,
    at_hand,
    ends,
    option,
    quantity,
    squeeze_said,
)
from matdb.cli.reading import figures_of
from matdb.cli.reading_add import all_doubts, hazards, logged_before
from matdb.cli.screen import Progress, band_cell, lines, show
from matdb.curve.next_reading import Affordable
from matdb.errors import InputError, MatdbError, UnitError
from matdb.exchange.reading_file import value_of
from matdb.fields import checked_field, record_fields
from matdb.form.part import Part
from matdb.material.record import Material
from matdb.mounting.on_part import check_on_part
from matdb.units import counted, parse

#: Within so many kelvin of the room a part needs no soak and does not drift.
_ROOM_C, _NEAR_K = 23.0, 4.0
#: Bands wider than this factor name no mass.
_UNKNOWN = 30.0


@dataclass(frozen=True, kw_only=True)
class BenchOptions(HeldFor):
    """What is read, how, and at which temperatures it is to be known."""

    part: Annotated[str, arg("PART", "The part on the bench.")]
    field_temp: str = option("RANGE", "The field temperatures whose stiffness is to be known.", "-10C..30C", "--for")
    mass: str | None = option("MASS", "The mass on the bench, such as 250g; asked without it.")
    count: CountOption = 1
    temps: AtHandOption = None
    who: str = option("NAME", "Who takes the readings.", "")
    advise: bool = option(None, "Fit and advise after each reading.", True, "--advice/--no-advice")


def bench(said: BenchOptions, place: Place) -> None:
    """Read one part, step by step.

    For instance: matdb bench leg --count 4 --for -4C..9C.

    Asks for one reading after another, with units. A reading that you confirm is logged at once; then the band over
    the field temperatures and the reading to take next are shown. Stop with q at a temperature, or at any time with
    Ctrl-C; start again to go on.
    """
    field_c = ends(said.field_temp, "temperature", "--for")
    with place.existing(as_fitted=True) as store:
        part = store.part(said.part)
        said = said.best(store, [part], field_c)
        part.form.stiffness_n_per_mm(1.0, **said.how(part))
        mass_kg = quantity(said.mass, "mass", "--mass")
        if said.said(part):
            show(f"{said.said(part)}.")
        Session(store, part, store.material(part.material), field_c, said, mass_kg).run()


@dataclass
class Session:
    """One part on the bench: what was answered last is offered again."""

    store: Store
    part: Part
    material: Material
    field_c: tuple[float, float]
    said: BenchOptions
    mass_kg: float | None
    logged: list[int] = field(default_factory=list)
    advised: Any = None
    #: What was known at each temperature when it was last shown.
    known: dict[float, str] = field(default_factory=dict)

    def run(self) -> None:
        """Ask until the user stops."""
        past = [each.reading for each in self.store.readings(part=self.part.name)]
        if self.mass_kg is None:
            self.mass_kg = next((m for r in reversed(past) if (m := getattr(r, "mass_kg", None))), None)
        many = counted(len(past), "readings") if past else "no reading"
        show(f"{self.part.name} ({self.part.form.label('mm')}) of {self.material.name}: {many} so far. q stops.")
        try:
            self._look()
            while True:
                if self.read():
                    self._look()
        except Turn:
            show(self._farewell("done"))
        except (KeyboardInterrupt, typer.Abort, EOFError):
            print()
            show(self._farewell("stopped"))
            raise typer.Abort from None

    def _farewell(self, word: str) -> str:
        many = f"{counted(len(self.logged), 'readings')} logged" if self.logged else "nothing logged"
        return f'{word}: {many}; matdb bench "{self.part.name}" goes on from here'

    # -- questions -----------------------------------------------------------------------------------------

    def read(self) -> bool:
        """Ask for one reading; whether it was confirmed and logged. Raises Turn, and Abort where the input ends."""
        typed: dict[str, str] = {}
        answers: dict[str, Any] = {}
        while True:
            answers = ask_all(self._questions, typed, answers)
            reading = self._made(**answers)
            try:
                check_on_part(reading, self.part)
                show(f"{reading.kind} at {reading.temperature_c:g} degC: {figures_of(reading)}")
                lines("Before you rely on it:", self._doubts(reading))
                confirmed = until("Log it?", "yes", yes)
                break
            except InputError as error:
                show(str(error))
            except Turn as turn:
                if turn.way != "back":
                    raise
        if not confirmed:
            show("not logged")
            return False
        number = self.store.add(reading)
        assert isinstance(number, int)
        self.logged.append(number)
        # Told only once it is on the disk.
        show(f"logged reading {number}")
        return True

    def _chamber(self, text: str) -> float:
        """The temperature that was answered, with advice on it."""
        temperature_c = parse(with_unit(text, "C"), "temperature", "temperature")
        # Refused here already, not after all the questions.
        probe = RingDown(part=self.part.name, temperature_c=temperature_c, mass_kg=1.0, frequency_hz=1.0)
        notes = hazards(probe)
        body, family = body_of(self.part.form), self.material.family
        if self._chilled(temperature_c) and body is not None:
            minutes = float(soak(body, temperature_c, family=family).planned_min)
            left = float(drift(body, temperature_c, 0.0, family=family).seconds_left)
            ready = "assembled on its screw, " if self.part.form.pair is not None else ""
            notes.append(f"soak {ready}{minutes:.0f} min or more; outside, the error passes 2 K after {left:.0f} s")
            notes.append(crystallisation_note(family, temperature_c))
        for line in filter(None, notes):
            show(line, indent="  ")
        return temperature_c

    def _chilled(self, temperature_c: float) -> bool:
        return abs(temperature_c - _ROOM_C) > _NEAR_K

    def _questions(self, answers: Mapping[str, Any]) -> list[Question]:
        """What is asked of a reading, as far as the answers so far tell."""
        usual = None if self.advised is None else f"{self.advised.temperature_c:g}C"
        asked = [Question("temperature_c", "Temperature of chamber or room, degC (q stops)", self._chamber, usual)]
        chilled = self._chilled(answers.get("temperature_c", _ROOM_C))
        if chilled:
            asked.append(Question("soak_min", "Soaked for, such as 45min (empty: not known)", _soak, ""))
        if self.part.form.pair is not None and self.said.squeeze is None and self.said.turns is None:
            mm = self.said.on(self.part)[0]
            turns = self.part.turns_at(mm)
            usual = f"{mm:.3g}mm" if turns is None else f"{turns:.3g}turns"
            asked.append(
                Question("squeeze_mm", "Squeezed past first touch, such as 3turns or 0.8mm", self._squeeze, usual)
            )
        if self.said.mass is None:
            kg = self.advised.mass_kg if self.advised is not None else self.mass_kg
            words = "Mass" if self.said.count == 1 else f"Mass on all {self.said.count} together"
            asked.append(Question("mass_kg", words, _mass, None if kg is None else f"{1e3 * kg:g}g"))
        asked.append(Question("read", "Read: frequency such as 31Hz, or deflection such as 0.31mm", _figure))
        if answers.get("read", ("",))[0] == "deflection_mm":
            asked.append(Question("dwell_s", "Dwell from loading to reading", _dwell, "10s"))
        else:
            words = "Decrement, or amplitudes as 8/2.1 in 5 cycles (empty: not read)"
            asked.append(Question("log_decrement", words, _decrement, ""))
        if chilled:
            asked.append(Question("seconds_out", "Seconds outside, such as 8s (empty: not known)", _out, ""))
        return asked

    def _squeeze(self, text: str) -> float:
        return self.part.squeeze_at(*squeeze_said(with_unit(text, "mm")))[0]

    def _made(self, *, read: tuple[str, float], **answers: Any) -> Reading:
        """The reading that the answers tell."""
        name, value = read
        self.mass_kg = answers.setdefault("mass_kg", self.mass_kg)
        kind: type[Reading] = Deflection if name == "deflection_mm" else RingDown
        about = {"part": self.part.name, "count": self.said.count, "who": self.said.who, **self.said.how(self.part)}
        return kind(**about | answers | {name: value})

    def _doubts(self, reading: Reading) -> list[str]:
        """What says a slip of mass, count or unit before the reading is logged, and what soak and drift say."""
        found = (text.removesuffix(MENDS) for text in all_doubts(self.store, reading))
        return [*logged_before(self.store, reading), *found]

    # -- answers -------------------------------------------------------------------------------------------

    def _look(self) -> None:
        """Fit, show the band and what tightened it, and advise."""
        if not self.said.advise:
            return
        try:
            with Progress(f"fit of {self.material.name}") as update:
                if self.store.curve(self.material.name).stale:
                    self.store.fit(self.material.name, progress=update)
                low_c, high_c = self.field_c
                states = list(dict.fromkeys((low_c, 0.5 * (low_c + high_c), high_c)))
                load = {"frequency_hz": 30.0} if self.mass_kg is None else {"mass_kg": self.mass_kg}
                how: dict[str, Any] = {**self.said.how(self.part), **load, "count": self.said.count}
                now = self.store.effective(self.part.name, states, **how)
                able = Affordable(**at_hand(self.said.temps))
                ranked = self.store.next_readings(self.part.name, low_c, high_c, affordable=able, **how)
        except MatdbError as error:
            self.advised = None
            show(f"no advice: {error}")
            return
        band = now.stiffness_n_per_mm
        for k, t in enumerate(states):
            text, before = band_cell(band, index=k), self.known.get(t, "")
            was = f", was {before}" if before not in ("", text) else ""
            show(f"at {t:g} degC: {text} N/mm{was}", indent="  ")
            self.known[t] = text
        show(f"brackets hold 95 %, by {'readings' if now.basis == 'readings' else 'the label only'}")
        width = sum(math.log(float(h) / float(lo)) for lo, h in zip(band.low, band.high, strict=True)) / len(states)
        # Of a part whose stiffness nobody knows, no mass can be named either.
        self.advised = a = ranked[0] if ranked and width < math.log(_UNKNOWN) else None
        if width >= math.log(_UNKNOWN):
            once = "read it once at room temperature, with a mass near the camera's share"
            show(f"its stiffness is not known yet: {once}")
        if a is not None:
            then = band_cell(a.band_after)
            brings = f": {low_c:g} degC is then known to {then} N/mm" * (then != band_cell(a.band_before))
            show(f"next: a {a.kind} at {a.temperature_c:g} degC with {1e3 * a.mass_kg:g} g{brings}")


_KNOWN: Final = record_fields(RingDown, Deflection)


def _reader(name: str, label: str, asked: str = "", unit: str = "") -> Callable[[str], Any]:
    """What reads a field, within its limits, under the name that the user knows; ``unit`` is that of bare numbers."""
    each = replace(_KNOWN[name], name=label)
    return lambda text: checked_field(each, value_of(each, with_unit(text, unit), asked or label))


_mass, _dwell = _reader("mass_kg", "mass", unit="g"), _reader("dwell_s", "dwell", unit="s")
_soak, _out = _reader("soak_min", "soak", unit="min"), _reader("seconds_out", "seconds outside", unit="s")


def _figure(text: str) -> tuple[str, float]:
    """What was read: the name of its field, and its value."""
    for name, label in (("frequency_hz", "frequency"), ("deflection_mm", "deflection")):
        with suppress(UnitError):
            return name, _reader(name, label, "reading")(text)
    raise InputError("reading", text, "a frequency such as 31Hz or a deflection such as 0.31mm")


def _decrement(text: str) -> Any:
    text = with_unit(text, "")
    number = r"(\d+\.?\d*|\.\d+)"
    pair = re.fullmatch(rf"{number}\s*(?:/|to)\s*{number}\s+in\s+{number}(?:\s*cycles?)?", text)
    if pair:
        return decrement_from_amplitudes(*(float(x) for x in pair.groups()))
    try:
        return _reader("log_decrement", "decrement")(text)
    except InputError:
        raise InputError("decrement", text, "a number above 0 and at most 6, or amplitudes as 8/2.1 in 5") from None
