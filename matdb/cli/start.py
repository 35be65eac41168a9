"""``matdb start``: a first run that asks, from nothing to a first answer; whatever is told is kept at once."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any, Final

import typer

from matdb.advice.requirement import check_meant
from matdb.api import Store
from matdb.cli.asking import Question, Turn, ask_all, until, with_unit, yes
from matdb.cli.bench import BenchOptions, Session
from matdb.cli.dimensions import dimension_of, form_from_words
from matdb.cli.mounting import OwnMounting
from matdb.cli.options import Place, answered, ends
from matdb.cli.screen import show, sketch
from matdb.cli.stiffness import stiffness
from matdb.cli.suit import suit
from matdb.errors import AlreadyExists, InputError
from matdb.fields import record_fields
from matdb.form import FORMS, Measured, Part
from matdb.form.base import FormBase
from matdb.form.thread import pitch_mm
from matdb.material.hardness import hardness_text
from matdb.material.record import Material, as_sold

#: The forms that are offered, the commonest first.
_OFFERED: Final = ("ring", "pad", "grommet", "grommet-pair", "strut", "printed-strut", "bush", "taper", "measured")
#: What a mounting is asked: option, question, unit of a bare number.
_MOUNTING: Final = (
    ("mass", "Mass on the isolators, camera and all, such as 600g", "g"),
    ("count", "How many isolators carry it", ""),
    ("rotor", "Rotors: in flight 4200..8000rpm, or at full throttle 8000rpm, or 920kv 4s", "rpm"),
    ("hover", "Share of full thrust that hovering takes, such as 50% (empty: not known)", "%"),
    ("spread", "Length x width that the isolators stand over, such as 80x60mm (empty: not known)", "mm"),
    ("box", "Length x width x height of the camera, such as 110x80x60mm (empty: not known)", "mm"),
)
_MOTOR: Final = re.compile(r"(\d+)\s*kv\W*(\d+)\s*s", re.IGNORECASE)


def start(place: Place) -> None:
    """Start here: asks for parts, the camera and a reading, and answers.

    At every question: back, skip, or stop. What was told is in the store at once; start again to go on from there.
    """
    show("Answer, or type back, skip or stop. All is kept at once: 'matdb start' goes on from there.")
    with place.opened() as store:
        run = _Run(store)
        run.through()
    if run.part is None:
        show("Nothing is stored yet; 'matdb start' begins again.")
        return
    about: dict[str, Any] = {"ctx": place.ctx, "store": place.store}
    if run.mounting is not None:
        answered(suit, **about, temp=run.temp, mounting=run.mounting)
    else:
        answered(stiffness, **about, part=run.part, temp=[run.temp], step="20K", frequency=["30Hz"])
    show(f'Go on: matdb start, or read it: matdb bench "{run.part}"', wrap=False)


@dataclass
class _Run:
    """What was told so far, in sections; each stores what it was told, and is taken back by going back."""

    store: Store
    part: str | None = None
    mounting: str | None = None
    temp: str = "-10C..30C"
    at: int = 0
    typed: dict[int, dict[str, str]] = field(default_factory=dict)

    def through(self) -> None:
        """Every section, until the last or until the user stops."""
        self.part = next(iter(self.store.records.names("part")), None)
        self.mounting = next(iter(self.store.records.names("mounting")), None)
        sections = [self.a_part, self.a_mounting, self.the_weather, self.a_reading]
        changed: list[bool] = []
        _sketches()
        while self.at < len(sections):
            section, before = sections[self.at], self.store.records.mark()
            try:
                section()
            except Turn as turn:
                if turn.way == "stop":
                    return
                if turn.way == "back" and self.at:
                    self.at -= 1
                    if changed.pop():
                        show("; ".join(self.store.undo()[1]))
                        if sections[self.at + 1] == self.a_part:
                            del sections[self.at + 1]
                    continue
            except (KeyboardInterrupt, typer.Abort, EOFError):
                print()
                return
            changed.append(self.store.records.mark() != before)
            self.at += 1
            if changed[-1] and section == self.a_part:
                sections.insert(self.at, self.a_part)

    def _ask(self, questions: Callable[[Mapping[str, Any]], Sequence[Question]]) -> dict[str, Any]:
        return ask_all(questions, self.typed.setdefault(self.at, {}))

    # -- a part --------------------------------------------------------------------------------------------

    def a_part(self) -> None:
        """One more part, with its material where that is new."""
        told = self._ask(self._of_part)
        if told["kind"] is None:
            return
        made_of = told["material"]
        if isinstance(made_of, str):
            made_of = self._material(made_of, told["hardness"])
        part = Part(name=told["name"], material=made_of.name, form=_form(told), thread=told.get("thread"))
        new = made_of.name not in self.store.records.names("material")
        self.store.add([*[made_of] * new, part])
        self.part = part.name
        show(f"added part {part.name}: {part.form.label('mm')}, of {made_of.name}")

    def _of_part(self, told: Mapping[str, Any]) -> list[Question]:
        words, usual = f"Which is most like yours, 1 to {len(_OFFERED)}", None
        if self.part is not None:
            words, usual = f"Another part, 1 to {len(_OFFERED)} (empty: no)", ""
        asked = [Question("kind", words, _kind, usual)]
        kind = told.get("kind")
        if kind is None:
            return asked
        asked += [_question(stem, words, _dimension(stem, told)) for stem, words in FORMS[kind].asked.items()]
        if "thread" in record_fields(FORMS[kind]):
            asked.append(_question("thread", "Screw through it, such as M3 (empty: not known)", _thread))
        there = ", ".join(each.name for each in self.store.materials())
        words = "Made of: silicone, gel, TPU 85A, natural, NBR, EPDM, unknown" + f"; or {there}" * bool(there)
        asked.append(Question("material", words, self._made_of))
        if isinstance(told.get("material"), str):
            words = "Hardness, such as 40A, 85A, 30 OO (empty: not known)"
            asked.append(_question("hardness", words, hardness_text))
        if "material" in told:
            sizes = "x".join([size for size in re.findall(r"\d+\.?\d*", _form(told).label()) if size != "0"][:3])
            asked.append(Question("name", "Its name", self._new_name, f"{kind} {sizes}".strip()))
        return asked

    def _made_of(self, text: str) -> Material | str:
        with suppress(LookupError):
            return self.store.material(text)
        word = " ".join(text.split())
        return as_sold(word) or Material(name=word, family=word).name

    def _material(self, word: str, label: str | None) -> Material:
        """The material of an everyday word and a label: the one that is there, or a new one."""
        name = f"{word} {label.replace(' ', '')}" if label else word
        with suppress(LookupError):
            return self.store.material(name)
        return Material(name=name, family=word, hardness=label)

    def _new_name(self, text: str) -> str:
        if text in self.store.records.names("part"):
            raise AlreadyExists("part", text)
        return Part(name=text, material="any", form=Measured()).name

    # -- the camera, the air, a reading ----------------------------------------------------------------------

    def a_mounting(self) -> None:
        """The camera, unless the store has one."""
        while self.mounting is None:
            camera = _own(self._ask(_of_mounting)).made("camera")
            try:
                check_meant(camera)
            except InputError as error:
                show(str(error))
                if not until("Store it all the same, yes or no", "no", yes):
                    continue
            self.store.add(camera, sure=True)
            self.mounting = camera.name
            show("added mounting camera")

    def the_weather(self) -> None:
        """The temperatures that it is flown at."""

        def read(text: str) -> str:
            span = with_unit(text, "C")
            ends(span, "temperature", "temperatures")
            return span

        words = "Coldest to warmest air that you fly in, degC"
        self.temp = self._ask(lambda _: [Question("temp", words, read, "-10..30")])["temp"]

    def a_reading(self) -> None:
        """The first reading, as ``matdb bench`` asks for it."""
        if self.part is None:
            return
        part = self.store.part(self.part)
        show(f"Now a reading of {part.name}: put a mass on it, tap it, tell how fast it rings; skip if not now.")
        camera = None if self.mounting is None else self.store.mounting(self.mounting)
        share = None if camera is None else camera.mass_kg / camera.count
        said = BenchOptions(part=part.name, field_temp=self.temp, advise=False)
        material = self.store.material(part.material)
        Session(self.store, part, material, ends(self.temp, "temperature", "temperatures"), said, share).read()


def _sketches() -> None:
    for number, kind in enumerate(_OFFERED, 1):
        sketch(FORMS[kind], f"{number}  {FORMS[kind].called}")
        show()


def _question(name: str, words: str, read: Callable[[str], Any]) -> Question:
    """A question whose words say themselves where nothing need be answered."""
    return Question(name, words, read, "" if "(empty: " in words else None)


def _kind(text: str) -> str:
    offered = {str(number): kind for number, kind in enumerate(_OFFERED, 1)} | {kind: kind for kind in _OFFERED}
    if text.casefold() not in offered:
        raise InputError("form", text, f"a number from 1 to {len(_OFFERED)}")
    return offered[text.casefold()]


def _form(told: Mapping[str, Any]) -> FormBase:
    """The form of the answers. Raises InputError as :func:`matdb.cli.dimensions.form_from_words`."""
    names = (*FORMS[told["kind"]].asked, "thread")
    form = form_from_words(told["kind"], {f"--{name}": told[name] for name in names if told.get(name) is not None})
    form.check_meant()
    return form


def _dimension(stem: str, told: Mapping[str, Any]) -> Callable[[str], str]:
    """What reads one dimension; the last one also whether all go together."""

    def read(text: str) -> str:
        value = dimension_of(told["kind"], stem, text)
        if stem == list(FORMS[told["kind"]].asked)[-1]:
            _form({**told, stem: value})
        return value

    return read


def _thread(text: str) -> str:
    pitch_mm(text)
    return text


def _of_mounting(told: Mapping[str, Any]) -> list[Question]:
    def reader(option: str, unit: str) -> Callable[[str], str]:
        def read(text: str) -> str:
            value = with_unit(text, unit)
            _own({**told, option: value}).fields()
            return value

        return read

    asked = [_question(option, words, reader(option, unit)) for option, words, unit in _MOUNTING]
    asked[1] = asked[1]._replace(usual="4")
    ranged = ".." in (told.get("rotor") or "")
    return [each for each in asked if not (ranged and each.name == "hover")]


def _own(told: Mapping[str, Any]) -> OwnMounting:
    """The answers as the options of ``matdb mounting add``."""
    said: dict[str, Any] = {name: text for name, text in told.items() if text is not None}
    if motor := _MOTOR.fullmatch(said.get("rotor", "")):
        del said["rotor"]
        said |= {"kv": float(motor[1]), "cells": int(motor[2])}
    if "count" in said:
        said["count"] = int(said["count"])
    return OwnMounting(**said)
