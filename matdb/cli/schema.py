"""``matdb schema``: what the JSON document of each command holds, as JSON Schema made from the records themselves."""

from __future__ import annotations

import dataclasses
import json
from typing import Annotated, Any, Final, Literal, get_type_hints

from matdb.advice.camera import Mode
from matdb.advice.cover import Cover
from matdb.advice.flown import Against, Picture
from matdb.advice.size import Proposal
from matdb.advice.squeeze import Squeeze
from matdb.advice.suit import Suitability
from matdb.advice.summary import Answer, WhatToFit
from matdb.bench.protocol import ProtocolStep
from matdb.bench.readings import Reading
from matdb.bench.trace.record import AmplitudeDependence
from matdb.checks import picked
from matdb.cli.options import arg
from matdb.cli.screen import SCHEMA, lines
from matdb.curve.band import Band
from matdb.curve.low_temperature import LowTemperature
from matdb.curve.next_reading import NextReading
from matdb.exchange.json_schema import DEFINITIONS, ERROR, schema_of
from matdb.exchange.reading_file import Problem
from matdb.form.part import Part
from matdb.material.record import Material
from matdb.mounting.record import Mounting
from matdb.mounting.suspended import RotorBand
from matdb.picture.chart import Span
from matdb.store.stored import Finding, StoredReading


def _of(*optional: str, **fields: Any) -> dict[str, Any]:
    """Fields of a document and their types; those named first may lack."""
    return {f"{name}?" if name in optional else name: each for name, each in fields.items()}


def _any_of(record: type, *but: str) -> dict[str, Any]:
    """Fields of a record, each of which may lack."""
    hints = get_type_hints(record)
    return {f"{f.name}?": hints[f.name] for f in dataclasses.fields(record) if f.name not in but}


def _changes(record: type) -> list[dict[str, Any]]:
    """What a record said before: its fields, as many as it had then."""
    return [{"replaced_at": str, "why": str, "before": _any_of(record)}]


_AIR: Final = _of(
    source=str, temperature_c=Literal["range"], entries=int, take_off_hours=list[float] | None, car_c=float | None,
    notes=list[str],
)  # fmt: skip
_FIT: Final = _of(
    material=str, family=str, basis=str, fit=int | None, made_at=str | None, program_version=str, stale=bool, seed=int,
    reading_count=int, measured_c=Literal["range", None], laws=[{"name": str, "value": float}], four_parameters=float,
    at_30_hz=[{"temperature_c": float, "storage_mpa": Band}],
)  # fmt: skip
_STATE: Final = _of(
    part=str, material=str, axis=str, squeeze_mm=float, temperature_c=float, frequency_hz=float, mass_kg=float | None,
    count=int | None, stiffness_n_per_mm=Band, damping_ratio=Band, natural_frequency_hz=Band | None, basis=str,
    extrapolated=bool, warnings=list[str],
)  # fmt: skip
_MODULUS: Final = _of(
    material=str, temperature_c=float, frequency_hz=float, storage_mpa=Band, loss_factor=Band, basis=str,
    extrapolated=bool, warnings=list[str],
)  # fmt: skip
_COUNTS: Final = _of(
    "retired_readings", "fits", "mountings", materials=int, parts=int, readings=int, retired_readings=int, fits=int,
    mountings=int,
)  # fmt: skip
_RANKED: Final = _of(
    "air", mounting=Mounting, temperature_c=Literal["range"], axis=str, squeeze_mm_asked=float | None,
    lowest_rotor_hz=float, window_hz=Literal["range"], ranking=[Suitability], cautions=list[str], air=_AIR,
)  # fmt: skip
_SQUEEZED: Final = _any_of(Squeeze, "warnings")
_SOAKED: Final = _of(
    "core_c", "core_sd_k", "enough", "out_temperature_c", "out_temperature_sd_k", temperature_c=float, minutes=float,
    minutes_safe=float, minutes_planned=float, seconds_to_1k=float, seconds_to_2k=float, core_c=float,
    core_sd_k=float, enough=bool, out_temperature_c=float, out_temperature_sd_k=float,
)  # fmt: skip
_CASE: Final = _of(
    "verdict", "probability", "reason", part=str, mass_kg=float, count=int, squeeze_mm=float, stiffness_n_per_mm=Band,
    natural_frequency_hz=Band, damping_ratio=Band, verdict=str, probability=float, reason=str,
)  # fmt: skip
_BOUGHT: Final = _of(do=str, what=str, pieces=int, length_mm=float | None, mass_g=float | None, price=float | None)
_SHOWN: Final = {"**": Part, "readings": int, "stiffness_n_per_mm_at_1_mpa": {"*": float}}
_CHANGED: Final = {"changed": list[str]}
_GONE: Final = {"name": str, "retired_readings": int}
_ROTOR: Final = dict.fromkeys(("lowest_hz", "hover_hz", "highest_hz", "sd_hz", "spread_hz"), float) | {"orders": list}
_SERIES: Final = {"label": str, "style": str} | dict.fromkeys(("x", "y", "low", "high"), Any)
_RESIDUAL: Final = dict.fromkeys(("measured_over_predicted", "standardised", "fumbled_probability"), float)
_NAMED: Final = {"name": str, "median": float, "low": float, "high": float}
#: Older fits tell less.
_REPORT: Final = {
    **{f"{name}?": [{"name": str, "value": float}] for name in ("laws", "log_evidence")},
    **{f"{name}?": [_NAMED] for name in ("noise_factors", "offsets", "sessions")},
    "parameters": [_NAMED | {"unit": str, "spread_against_prior?": float, "from": str}],
    "readings": [
        _of("number", "stiffness", "loss", "or_else", "hardly_with", number=int, kind=str, subject=str,
            temperature_c=float, stiffness=_RESIDUAL, loss=_RESIDUAL, fumbled=bool, or_else=int | str | None,
            hardly_with=int | None)
    ],
    "misfit?": Band,
    "geometry_sd?": float,
}  # fmt: skip
_PEAK: Final = dict.fromkeys(("frequency_hz", "frequency_sd_hz", "damping_ratio"), float)
_RANG: Final = _PEAK | _of(
    log_decrement=float, log_decrement_sd=float, share=float, flags=list[str], aliases_hz=list[float]
)
_FORCED: Final = ("loss_factor", "loss_factor_sd", "amplification", "gain", "delay_s")
_TRACED: Final = {f"{name}?": float for name in (*_PEAK, *_FORCED, "hum_hz", "clipped", "rate_hz")} | {
    "channel?": int, "chosen?": int | None, "taps_s?": list[float], "modes?": [_RANG],
    "amplitude_dependence?": AmplitudeDependence | None,
}  # fmt: skip
_PICTURE: Final = {
    "chart": {"title": str, "subtitle": str, "panels": [{"x": str, "y": str, "series": [_SERIES], "ranges": [Span]}]}
}

_SIX: Final = {
    **_of(package=str, temperature_c=float, squeeze_mm=float, window_hz=Literal["range"], modes=[Mode]),
    "probability": {"follows": float, "isolates": float, "all_inside": float},
    "basis": str,
}

#: Command: the fields of its document, beside those that every one has.
DOCUMENTS: Final[dict[str, dict[str, Any]]] = {
    "error": {"exit_code": int, "error": ERROR},
    "demo": _of(answer=WhatToFit, about=str, store=str, counts=_COUNTS, fits=[_FIT], stiffness=[_STATE]) | _RANKED,
    "soak": _of(answer=Answer, part=str, family=str, air=str, room_c=float, within_k=float, rows=[_SOAKED]),
    "protocol": _of(answer=Answer, part=str, steps=[ProtocolStep], basis=str, markdown=str),
    "fit": {"answer": Answer, **{f"{name}?": each for name, each in _FIT.items()}, "fits?": [_FIT]},
    "report": _FIT | {"report": _REPORT, "low_temperature": LowTemperature},
    "curve": {"answer": Answer, **_FIT, "rows": [_MODULUS]},
    "stiffness": _of(answer=Answer, part=str, axis=str, basis=str, rows=[_STATE]),
    "suit": {"answer": WhatToFit, **_RANKED},
    "cover": _of(
        answer=Answer, mounting=Mounting, window_hz=Literal["range"], air=_AIR, cover=Cover, cautions=list[str]
    ),
    "size": _of(answer=Answer, proposals=[Proposal], air=_AIR, parts_list=[_BOUGHT], cautions=list[str]),
    "compare": _of(answer=Answer, mounting=str | None, temperature_c=Literal["range"], cases=[_CASE]),
    "modes": {"answer": Answer, "mounting": str, "part": str, "cautions": list[str], **_SIX},
    "squeeze": {"answer": Answer, "payloads?": [_SQUEEZED], **_SQUEEZED},
    "next": _of(
        answer=Answer, parts=list[str], mounting=str | None, axis=str, temperature_c=Literal["range"], candidates=int,
        worth_it=bool, minutes_hold=str, readings=[{"rank": int, "**": NextReading}], quicker=NextReading | None,
    ),
    "page": _of(answer=WhatToFit, bytes=int, fingerprint=str, parts=list[str], left_out=Any),
    "undo": {"made_at": str, "undone": list[str]},
    "words": {"words": [{"name": str, "value": str}]},
    "material add": {"number": int, "material": Material},
    "material edit": {"material": Material, **_CHANGED},
    "material list": {"materials": [{"**": Material, "parts": int, "readings": int, "fit": str}]},
    "material show": _of(
        material=Material, parts=[{"name": str, "form": str}], readings=int, stale=bool, history=_changes(Material),
        fits=[{"number": int, "made_at": str, "program_version": str}],
    ),
    "material families": {"families": [{"family": str, "*": float}]},
    "material remove": _GONE,
    "part add": {"number": int, "part": Part},
    "part edit": {"part": Part, **_CHANGED},
    "part list": {"parts": [{"**": Part, "readings": int}], "next_after": str | None},
    "part show": {"answer": Answer, "part": _SHOWN, "history": _changes(Part)},
    "part forms": {"forms": [_of(form=str, what=str, dimensions=Any, axes=list[str])]},
    "part remove": _GONE,
    "flight read": _of(
        "clock", "sensor", "axes", answer=Answer, flew_s=Literal["range"], rotor=_ROTOR, manoeuvre_hz=float,
        clock=_of(offset_s=float, drift_ppm=float, sd_s=float), axes=[{"**": Against, "missed": Any}],
        sensor=_of(turn_deg=float, sd_deg=float, matrix=list), picture=Picture | None, readings=list[int],
        temperature_c=float | None, instead=[Suitability],
    ),
    "flight tap": {"answer": Answer, "verdict": str, "phone_kg": float, "modes": [Against]},
    "reading add": {"number": int, "reading": Reading},
    "reading list": {"readings": [StoredReading], "next_before": int | None},
    "reading correct": {"number": int, "corrects": int, "reading": StoredReading},
    "reading remove": {"number": int, "reading": StoredReading},
    "reading import": _of(
        file=str, dry_run=bool, logged=int, numbers=list[int], would_log=int, duplicates=list[int],
        problem_count=int, problems=[Problem],
    ),
    "reading trace": _TRACED
    | {"file": str, "forced": bool, "verdict": str, "number": int | None, "reading?": Reading},
    "mounting add": {"number": int, "mounting": Mounting},
    "mounting edit": {"mounting": Mounting, **_CHANGED},
    "mounting list": {"mountings": [Mounting]},
    "mounting show": {"mounting": Mounting, "window_hz": Literal["range"], "rotor_orders": [RotorBand]},
    "mounting remove": _GONE,
    **{f"export {what}": {"rows": int} for what in ("curve", "readings", "shift")},
    "export stiffness": {"rows": int, "squeezed?": list[str]},
    "export table": {"rows": int, "rule": str},
    "export prony": _of(
        rows=int, equation=str, reference_c=float, storage_error=float, loss_error=float, range_hz=Literal["range"],
        extrapolated=bool,
    ),
    "export springs": _of(
        rows=int, equation=str, note=str, storage_error=float, loss_error=float, range_hz=Literal["range"]
    ),
    "export tables": {"counts": {"*": int}},
    "export store": {"bytes": int, "fingerprint": str},
    "import store": {"store": str, "counts": {"*": int}},
    "store info": {"store": str, "read_only": bool, "counts": _COUNTS},
    "store check": _of(
        store=str, sound=bool, findings=[Finding], shipped_sound=bool, shipped=[{"name": str, "value": str}]
    ),
    "store backup": {"store": str},
    "store restore": {"store": str, "backup": str, "counts": _COUNTS},
    "store publish": {"store": str, "rows": int, "views": list[str]},
    **{f"picture {what}": _PICTURE for what in ("modulus", "master", "residuals", "transmissibility")},
    **{f"picture {what}": _PICTURE for what in ("frequency", "squeeze")},
}  # fmt: skip


def document_schema(command: str) -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of a command's document. Raises InputError for a command without one."""
    every = {"matdb": str, "schema": int, "command": str, "files": list[str], "warnings": list[str]}
    whole = schema_of(every | picked("COMMAND", command, DOCUMENTS))
    whole["properties"] |= {"command": {"const": command}, "schema": {"const": SCHEMA}}
    about = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": f"matdb {command}"}
    return about | whole | {"$defs": DEFINITIONS}


def schema(command: Annotated[list[str] | None, arg("[COMMAND]...", "Such as suit, or part show.")] = None) -> None:
    """Show the JSON Schema of what a command answers with --json; without one, of which there are any.

    For instance: matdb schema suit.
    """
    if not command:
        lines("Documents:", DOCUMENTS)
        return
    print(json.dumps(document_schema(" ".join(command)), indent=1))
