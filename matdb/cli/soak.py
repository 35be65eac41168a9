"""``matdb soak``: minutes in the freezer or oven, and the seconds that remain outside."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from matdb.cli.options import JsonOption, StepOption, StoreOption, TempsOption, existing, needed, quantity, temperatures

AIR_WORDS = {"still": "still", "fan": "fanned", "fanned": "fanned"}


def air_of(word: str) -> str:
    """The air that the user named. Raises InputError."""
    from matdb.errors import InputError

    if word.casefold() not in AIR_WORDS:
        raise InputError("--air", word, "still or fan")
    return AIR_WORDS[word.casefold()]


def soak(
    ctx: typer.Context,
    part: Annotated[str, typer.Argument(metavar="PART", help="The part's name.")],
    temp: TempsOption,
    step: StepOption = "5K",
    air: Annotated[str, typer.Option("--air", metavar="AIR", help="Air in the chamber: still or fan.")] = "still",
    room: Annotated[
        str, typer.Option("--room", metavar="TEMPERATURE", help="Temperature of the part before, and of the bench.")
    ] = "23C",
    minutes: Annotated[
        str | None,
        typer.Option(
            "--minutes", metavar="TIME", help="Tell the likely core temperature after so long, such as 20min."
        ),
    ] = None,
    out: Annotated[
        str | None,
        typer.Option(
            "--out", metavar="TIME", help="Tell the temperature so long after it left the chamber, such as 8s."
        ),
    ] = None,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Tell how long to soak a part.

    Minutes until its core is within 1 K of freezer or oven, and how many seconds after it left the chamber the
    error passes 2 K.
    """
    from matdb.bench.thermal.soak import check_soak, crystallisation_note, drift, service_note
    from matdb.bench.thermal.soak import soak as soak_of
    from matdb.bench.thermal.state import body_of
    from matdb.cli.cautions import BENCH
    from matdb.cli.screen import document, given_text, lines, show, table
    from matdb.errors import InputError

    at = temperatures(temp, step)
    air_word, room_c = air_of(air), needed(room, "temperature", "--room")
    soaked_s = quantity(_with_unit(minutes), "duration", "--minutes")
    out_s = quantity(out, "duration", "--out")
    with existing(ctx, store) as kept:
        known = kept.part(part)
        family = kept.material(known.material).family
    body = body_of(known.form)
    if body is None:
        cure = f"a {known.form.kind} does not say how thick it is; soak until a thermometer inside stands still"
        raise InputError("part", part, "of a form with dimensions", cure)
    need = soak_of(body, at, start_c=room_c, family=family, air=air_word)
    loss = drift(body, at, out_s or 0.0, room_c=room_c, family=family, chamber_sd_k=0.3)
    check = None
    if soaked_s is not None:
        check = check_soak(body, soaked_s / 60.0, at, start_c=room_c, family=family, air=air_word)
    rows: list[dict[str, Any]] = []
    for k, t in enumerate(at.tolist()):
        row: dict[str, Any] = {
            "temperature_c": t,
            "minutes": float(need.minutes[k]),
            "minutes_safe": float(need.minutes_safe[k]),
            "seconds_to_2k": float(loss.seconds_left[k]),
        }
        if check is not None:
            row |= {
                "core_c": float(check.core_c[k]),
                "core_sd_k": float(check.core_sd_k[k]),
                "enough": bool(check.enough[k]),
            }
        if out_s is not None:
            row |= {
                "out_temperature_c": float(loss.temperature_c[k]),
                "out_temperature_sd_k": float(loss.temperature_sd_k[k]),
            }
        rows.append(row)
    notes = [crystallisation_note(family, t, None if soaked_s is None else soaked_s / 60.0) for t in at.tolist()]
    notes = [*(service_note(family, t) for t in at.tolist()), *notes]
    warnings = [n for n in dict.fromkeys(notes) if n]
    if check is not None and check.warning:
        warnings.insert(0, check.warning)
    if known.form.pair is not None:
        warnings.append("of the pair, the taller half is reckoned with")
    if as_json:
        content = {"part": part, "family": family, "air": air_word, "room_c": room_c, "within_k": 1.0, "rows": rows}
        document("soak", content, [need.note, *warnings])
        return
    show(
        f"{part} ({known.form.label()} mm) of {known.material}, {family}: from {room_c:g} degC, {air_word} air in the "
        "chamber, still air on the bench"
    )
    headers = ["at degC", "minutes to within 1 K", "plan with", "seconds outside to 2 K"]
    if check is not None:
        headers += [f"core after {given_text(soaked_s and soaked_s / 60.0)} min, degC"]
    if out_s is not None:
        headers += [f"after {given_text(out_s)} s outside, degC"]
    cells = []
    for row in rows:
        cell = [given_text(row["temperature_c"]), f"{row['minutes']:.0f}", f"{row['minutes_safe']:.0f}"]
        left = row["seconds_to_2k"] + (out_s or 0.0)
        cell.append("never" if left == float("inf") else f"{left:.0f}" if row["seconds_to_2k"] > 0.0 else "passed")
        if check is not None:
            cell.append(f"{row['core_c']:.1f} +- {row['core_sd_k']:.1f}" + ("" if row["enough"] else " (too short)"))
        if out_s is not None:
            cell.append(f"{row['out_temperature_c']:.1f} +- {row['out_temperature_sd_k']:.1f}")
        cells.append(cell)
    table(headers, cells, right=range(len(headers)))
    lines("Before you rely on it:", [need.note, *warnings])
    if bool((abs(at - 22.5) > 22.5).any()):
        lines("Cautions:", [BENCH[0]])


def _with_unit(minutes: str | None) -> str | None:
    """The option's name says its unit, so that ``--minutes 20`` is clear."""
    if minutes is None:
        return None
    plain = minutes.strip()
    return f"{plain} min" if plain.replace(".", "", 1).isdigit() else plain
