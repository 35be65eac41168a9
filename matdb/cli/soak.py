"""``matdb soak``: minutes in the freezer or oven, and the seconds that remain outside."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Any

from matdb.bench.thermal.soak import check_soak, crystallisation_note, drift, service_note
from matdb.bench.thermal.soak import soak as soak_of
from matdb.bench.thermal.state import body_of
from matdb.cli.cautions import BENCH
from matdb.cli.options import Call, StepOption, TempsOption, arg, collects, needed, option, quantity, temperatures
from matdb.cli.screen import Column, given_text, lines, records_table, show
from matdb.errors import InputError

AIR_WORDS = {"still": "still", "fan": "fanned", "fanned": "fanned"}


def air_of(word: str) -> str:
    """The air that the user named. Raises InputError."""
    if word.casefold() not in AIR_WORDS:
        raise InputError("--air", word, "still or fan")
    return AIR_WORDS[word.casefold()]


@dataclass(frozen=True, kw_only=True)
class SoakOptions:
    """What is soaked, where, and what is asked beside the minutes."""

    part: Annotated[str, arg("PART", "The part's name.")]
    temp: TempsOption
    step: StepOption = "5K"
    air: str = option("AIR", "Air in the chamber: still or fan.", "still")
    room: str = option("TEMPERATURE", "Temperature of the part before, and of the bench.", "23C")
    minutes: str | None = option("TIME", "Tell the likely core temperature after so long, such as 20min.")
    out: str | None = option("TIME", "Tell the temperature so long after it left the chamber, such as 8s.")

    @property
    def soaked_min(self) -> float | None:
        """Minutes that are asked about; the option's name says its unit, so that ``--minutes 20`` is clear."""
        plain = (self.minutes or "").strip()
        text = f"{plain} min" if plain.replace(".", "", 1).isdigit() else self.minutes
        seconds = quantity(text, "duration", "--minutes")
        return None if seconds is None else seconds / 60.0


@collects
def soak(said: SoakOptions, call: Call) -> None:
    """Tell how long to soak a part.

    Minutes until its core is within 1 K of freezer or oven, and how many seconds after it left the chamber the
    error passes 2 K.
    """
    at = temperatures(said.temp, said.step)
    air, room_c = air_of(said.air), needed(said.room, "temperature", "--room")
    soaked_min, out_s = said.soaked_min, quantity(said.out, "duration", "--out")
    with call.existing() as store:
        known = store.part(said.part)
        family = store.material(known.material).family
    body = body_of(known.form)
    if body is None:
        cure = f"a {known.form.kind} does not say how thick it is; soak until a thermometer inside stands still"
        raise InputError("part", said.part, "of a form with dimensions", cure)
    need = soak_of(body, at, start_c=room_c, family=family, air=air)
    loss = drift(body, at, out_s or 0.0, room_c=room_c, family=family, chamber_sd_k=0.3)
    figures: dict[str, Any] = {
        "temperature_c": at,
        "minutes": need.minutes,
        "minutes_safe": need.minutes_safe,
        "seconds_to_2k": loss.seconds_left,
    }
    warnings = [*(service_note(family, t) for t in at), *(crystallisation_note(family, t, soaked_min) for t in at)]
    if soaked_min is not None:
        check = check_soak(body, soaked_min, at, start_c=room_c, family=family, air=air)
        figures |= {"core_c": check.core_c, "core_sd_k": check.core_sd_k, "enough": check.enough}
        warnings.insert(0, check.warning)
    if out_s is not None:
        figures |= {"out_temperature_c": loss.temperature_c, "out_temperature_sd_k": loss.temperature_sd_k}
    if known.form.pair is not None:
        warnings.append("of the pair, the taller half is reckoned with")
    warnings = [need.note, *filter(None, dict.fromkeys(warnings))]
    rows = [dict(zip(figures, row, strict=True)) for row in zip(*(v.tolist() for v in figures.values()), strict=True)]
    content = {"part": said.part, "family": family, "air": air, "room_c": room_c, "within_k": 1.0, "rows": rows}

    def screen() -> None:
        what = f"{said.part} ({known.form.label()} mm) of {known.material}, {family}"
        show(f"{what}: from {room_c:g} degC, {air} air in the chamber, still air on the bench")
        records_table(rows, _columns(soaked_min, out_s))
        lines("Before you rely on it:", warnings)
        if bool((abs(at - 22.5) > 22.5).any()):
            lines("Cautions:", [BENCH[0]])

    call.answer(content, screen, warnings)


def _columns(soaked_min: float | None, out_s: float | None) -> list[Column]:
    def left(row: dict[str, Any]) -> str:
        seconds = row["seconds_to_2k"] + (out_s or 0.0)
        return "never" if math.isinf(seconds) else f"{seconds:.0f}" if row["seconds_to_2k"] > 0.0 else "passed"

    def core(row: dict[str, Any]) -> str:
        return f"{row['core_c']:.1f} +- {row['core_sd_k']:.1f}" + ("" if row["enough"] else " (too short)")

    def outside(row: dict[str, Any]) -> str:
        return f"{row['out_temperature_c']:.1f} +- {row['out_temperature_sd_k']:.1f}"

    columns = [
        Column("at degC", lambda row: given_text(row["temperature_c"]), right=True),
        Column("minutes to within 1 K", lambda row: f"{row['minutes']:.0f}", right=True),
        Column("plan with", lambda row: f"{row['minutes_safe']:.0f}", right=True),
        Column("seconds outside to 2 K", left, right=True),
    ]
    if soaked_min is not None:
        columns.append(Column(f"core after {given_text(soaked_min)} min, degC", core, right=True))
    if out_s is not None:
        columns.append(Column(f"after {given_text(out_s)} s outside, degC", outside, right=True))
    return columns
