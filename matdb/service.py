"""Answers over HTTP: what a live tool asks of a store, read-only, and the OpenAPI document that says so.

Everything is answered in one thread, from parts that stay loaded until the store is written to: the newest fit answers
as it is, and says whether it is current. Nothing is ever fitted or written.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import parse_qsl

import numpy as np
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.cors import CORSMiddleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from matdb.advice.answers import PartAnswers
from matdb.advice.summary import WhatToFit, summary
from matdb.api import Store
from matdb.curve.band import Band
from matdb.errors import InputError, MatdbError, NotFound, StoreError, error_fields
from matdb.exchange.json_schema import DEFINITIONS, ERROR, schema_of
from matdb.fields import plain
from matdb.version import VERSION

#: Most states, and most temperatures of a ranking, in one question.
MOST_STATES: Final = 2000
MOST_RANKED: Final = 24
#: Most parts that a ranking takes: some seconds, in which nobody else is answered.
_MOST_PARTS: Final = 300
#: Parts kept loaded, and answers of rankings and pages kept.
_MOST_KEPT: Final = 256

_FIT: Final = {"basis": str, "fit_id": int | None, "is_current": bool}
_ENCODER: Final = json.JSONEncoder(ensure_ascii=False, allow_nan=False, separators=(",", ":"), default=plain)
_STATES: Final = {"temperature_c": Any, "frequency_hz": Any}


def _numbers(most: int, low: float, high: float) -> dict[str, Any]:
    each = {"type": "number", "minimum": low, "maximum": high}
    return {"type": "array", "items": each, "minItems": 1, "maxItems": most}


_TEMPERATURES: Final = _numbers(MOST_STATES, -150.0, 300.0)
#: What may be asked by name behind the question mark: its schema, and what it is.
ASKED: Final[dict[str, tuple[dict[str, Any], str]]] = {
    "temperature_c": (_TEMPERATURES, "degrees Celsius, one or several between commas"),
    "frequency_hz": (_numbers(MOST_STATES, 1e-3, 1e5), "Hz, one for all or as many as temperatures"),
    "flight_c": (_numbers(MOST_RANKED, -60.0, 90.0), "temperatures of the flight, degrees Celsius, between commas"),
    "axis": ({"type": "string", "default": "axial"}, "direction of the part"),
    "squeeze_mm": ({"type": "number", "minimum": 0, "maximum": 1000, "default": 0}, "static squeeze of each part, mm"),
}


@dataclass(frozen=True)
class Question:
    """A route: its path, what it says, what may be asked, the fields of its answer, and what answers."""

    path: str
    says: str
    asks: tuple[str, ...]
    answer: Mapping[str, Any]
    ask: Callable[[Service, str, dict[str, Any]], tuple[Any, Callable[[], Mapping[str, Any]]]]


class Service:
    """What is known of an open store, until it is written to."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self._mark: Any = None
        self._parts: dict[Any, tuple[PartAnswers, str]] = {}
        self.kept: dict[Any, Any] = {}

    def renew(self) -> None:
        """Forget what is kept where the store was written to since."""
        mark = self.store.records.mark()
        if mark != self._mark:
            self._mark = mark
            self._parts.clear()
            self.kept.clear()

    def part(self, name: str, asked: Mapping[str, Any]) -> tuple[PartAnswers, str]:
        """A part, loaded, and what tells it from what it was. Raises NotFound, InputError."""
        key = name, asked["axis"], asked["squeeze_mm"]
        if key not in self._parts:
            if len(self._parts) >= _MOST_KEPT:
                self._parts.clear()
            found = self.store.answers(name, axis=key[1], squeeze_mm=key[2])
            self._parts[key] = found, _told_apart(found.curve.fit_id, found.curve.stale, found.part, found.material)
        return self._parts[key]


def _told_apart(fit_id: int | None, *known: Any, without: str = "prior") -> str:
    """How an entity tag begins: the number of the fit, or a word without one, and a digest of what else decides."""
    digest = hashlib.sha256(repr((VERSION, *map(plain, known))).encode()).hexdigest()[:12]
    return f"{without if fit_id is None else f'fit-{fit_id}'}-{digest}"


def _about(known: Any) -> dict[str, Any]:
    return {"basis": known.basis, "fit_id": known.fit_id, "is_current": not known.stale}


def _states(asked: Mapping[str, Any]) -> tuple[Any, Any]:
    """Temperatures and frequencies, a plain number where there is one of either. Raises InputError."""
    t, f = asked["temperature_c"], asked["frequency_hz"]
    if len(f) not in (1, len(t)) and len(t) != 1:
        raise InputError("frequency_hz", f"{len(f)} of them", f"one, or as many as temperatures ({len(t)})")
    return (each[0] if len(each) == 1 else np.array(each) for each in (t, f))  # type: ignore[return-value]


def _parts(service: Service, _: str, __: dict[str, Any]) -> tuple[Any, Callable[[], Mapping[str, Any]]]:
    found = []
    for part in service.store.parts():
        curve = service.store.curve(part.material)
        about = {"name": part.name, "material": part.material, "form": part.form.kind, "axes": part.form.axes}
        found.append(about | _about(curve))
    return _told_apart(None, found, without="all"), lambda: {"parts": found}


def _stiffness(service: Service, name: str, asked: dict[str, Any]) -> tuple[Any, Callable[[], Mapping[str, Any]]]:
    known, mark = service.part(name, asked)

    def answer() -> Mapping[str, Any]:
        found = known.banded(*_states(asked))
        names = (*_STATES, "stiffness_n_per_mm", "damping_ratio", "extrapolated", "warnings")
        return {"part": name, "axis": known.axis, "squeeze_mm": known.squeeze_mm, **_about(known.curve)} | {
            each: getattr(found, each) for each in names
        }

    return mark, answer


def _complex(service: Service, name: str, asked: dict[str, Any]) -> tuple[Any, Callable[[], Mapping[str, Any]]]:
    known, mark = service.part(name, asked)

    def answer() -> Mapping[str, Any]:
        t, f = _states(asked)
        found = known.complex_stiffness(t, f)
        about = {"part": name, "axis": known.axis, "squeeze_mm": known.squeeze_mm, **_about(known.curve)}
        return about | {"temperature_c": t, "frequency_hz": f, "real_n_per_mm": found.real, "imag_n_per_mm": found.imag}

    return mark, answer


def _curve(service: Service, name: str, asked: dict[str, Any]) -> tuple[Any, Callable[[], Mapping[str, Any]]]:
    curve = service.store.curve(name)

    def answer() -> Mapping[str, Any]:
        t, f = _states(asked)
        found = curve.modulus(t, f)
        told = {"storage_mpa": found.storage_mpa, "loss_factor": found.loss_factor, "extrapolated": found.extrapolated}
        return {"material": name, **_about(curve), "temperature_c": t, "frequency_hz": f, **told}

    return _told_apart(curve.fit_id, curve.stale, service.store.material(name)), answer


def _fit_for(service: Service, name: str, asked: dict[str, Any]) -> tuple[Any, Callable[[], Mapping[str, Any]]]:
    mounting, at = service.store.mounting(name), asked["flight_c"]
    key = "suit", name, *at
    if key not in service.kept:
        if len(service.kept) >= _MOST_KEPT:
            service.kept.clear()
        if len(parts := service.store.parts()) > _MOST_PARTS:
            raise InputError("mounting", name, f"ranked among at most {_MOST_PARTS} parts", "ask 'matdb suit'")
        names = [part.name for part in parts if "axial" in part.form.axes]
        answer = summary(mounting, np.array(at), service.store.suit(mounting, at, parts=names))
        service.kept[key] = {"mounting": name, "flight_c": at, "answer": plain(answer, finite=True)}
    found = service.kept[key]
    return _told_apart(None, found, without="all"), lambda: found


_OF_PART: Final = {"part": str, "axis": str, "squeeze_mm": float, **_FIT, **_STATES}
_MORE: Final = ("temperature_c", "frequency_hz", "axis", "squeeze_mm")
QUESTIONS: Final = (
    Question(
        "/parts",
        "All parts.",
        (),
        {"parts": [{"name": str, "material": str, "form": str, "axes": list[str], **_FIT}]},
        _parts,
    ),
    Question(
        "/parts/{name}/stiffness",
        "Dynamic stiffness and damping ratio of a part, with bands that hold 95 %.",
        _MORE,
        _OF_PART | {"stiffness_n_per_mm": Band, "damping_ratio": Band, "extrapolated": Any, "warnings": list[str]},
        _stiffness,
    ),
    Question(
        "/parts/{name}/complex-stiffness",
        "Complex stiffness of a part, of the median curve.",
        _MORE,
        _OF_PART | {"real_n_per_mm": Any, "imag_n_per_mm": Any},
        _complex,
    ),
    Question(
        "/materials/{name}/curve",
        "Storage modulus and loss factor of a material, with bands that hold 95 %.",
        ("temperature_c", "frequency_hz"),
        {"material": str, **_FIT, **_STATES, "storage_mpa": Band, "loss_factor": Band, "extrapolated": Any},
        _curve,
    ),
    Question(
        "/mountings/{name}/answer",
        "Which part to fit under a mounting, over the temperatures of a flight.",
        ("flight_c",),
        {"mounting": str, "flight_c": list[float], "answer": WhatToFit},
        _fit_for,
    ),
)


def openapi() -> dict[str, Any]:
    """The OpenAPI 3.1 document of all routes, its schemas made from the records."""
    error = {"description": "What was wrong.", "content": _content(schema_of({"error": ERROR}))}
    paths = {}
    for each in QUESTIONS:
        named = [] if "{name}" not in each.path else [_parameter("name", "path", {"type": "string"}, "Its name.", True)]
        asked = [_parameter(n, "query", *ASKED[n], "default" not in ASKED[n][0]) for n in each.asks]
        tag = _parameter("If-None-Match", "header", {"type": "string"}, "The ETag of an answer that is there.", False)
        told = {"description": "The answer.", "content": _content(schema_of(each.answer))}
        told["headers"] = {
            "ETag": {
                "schema": {"type": "string"},
                "description": "Begins with the number of the fit; prior without one, all where several answer.",
            }
        }
        codes = dict.fromkeys(("400", "401", "404", "503"), error)
        answers = {"200": told, "304": {"description": "As it was."}, **codes}
        paths[each.path] = {"get": {"summary": each.says, "parameters": [*named, *asked, tag], "responses": answers}}
    about = {"title": "matdb", "version": VERSION, "description": "Stiffness and damping of soft mounts, read-only."}
    whole = {"openapi": "3.1.0", "info": about, "paths": paths, "components": {"schemas": DEFINITIONS}}
    # References within a document of schemas begin elsewhere.
    found: dict[str, Any] = json.loads(json.dumps(whole).replace("#/$defs/", "#/components/schemas/"))
    return found


def _content(schema: dict[str, Any]) -> dict[str, Any]:
    return {"application/json": {"schema": schema}}


def _parameter(name: str, place: str, schema: dict[str, Any], says: str, required: bool) -> dict[str, Any]:
    listed = {"style": "form", "explode": False} if schema["type"] == "array" else {}
    return {"name": name, "in": place, "required": required, "schema": schema, "description": says, **listed}


def _read(name: str, text: str) -> Any:
    """What stands behind a name of a question, by its schema. Raises InputError."""
    schema = ASKED[name][0]
    if schema["type"] == "string":
        return text
    each = schema.get("items", schema)
    allowed = f"from {each['minimum']:g} to {each['maximum']:g}"
    texts = text.split(",") if schema["type"] == "array" else [text]
    if len(texts) > schema.get("maxItems", 1):
        raise InputError(name, f"{len(texts)} of them", f"at most {schema['maxItems']}", "ask several times")
    try:
        values = [float(one) for one in texts]
    except ValueError:
        raise InputError(name, text, f"numbers {allowed}") from None
    for value in values:
        if not each["minimum"] <= value <= each["maximum"]:
            raise InputError(name, value, allowed)
    return values if schema["type"] == "array" else values[0]


def _asked(request: Request, question: Question) -> dict[str, Any]:
    """The values that a question has, checked; without one its default. Raises InputError."""
    # Starlette's own dictionary of them costs as much as their parsing.
    given = parse_qsl(request.scope["query_string"].decode("latin-1"), keep_blank_values=True)
    for name, text in given:
        if name not in question.asks:
            raise InputError(name, text, "one of " + ", ".join(question.asks) if question.asks else "left out")
    texts = dict(given)
    if len(texts) < len(given):
        raise InputError("query", len(given), "each name once", "put several numbers between commas")
    for name in question.asks:
        if name not in texts and "default" not in ASKED[name][0]:
            raise InputError(name, None, ASKED[name][1])
    return {n: _read(n, texts[n]) if n in texts else ASKED[n][0]["default"] for n in question.asks}


def _json(content: Any, status: int = 200, **headers: str) -> Response:
    try:
        text = _ENCODER.encode(content)
    except ValueError:  # a number that is not finite
        text = _ENCODER.encode(plain(content, finite=True))
    return Response(text, status, headers, "application/json")


def _refused(error: MatdbError) -> Response:
    status = 404 if isinstance(error, NotFound) else 503 if isinstance(error, StoreError) else 400
    about = error_fields(error, str(error))
    if not isinstance(about["value"], str | int | float | None):
        about["value"] = str(about["value"])
    return _json({"error": about}, status)


def application(
    store: Store,
    *,
    page: Callable[[], str] | None = None,
    token: str = "",
    hosts: tuple[str, ...] = (),
    origin: str = "",
) -> Starlette:
    """The service of an open store.

    Parameters
    ----------
    store : Store
        Opened with ``as_fitted``, so that no question makes a fit.
    page : callable, optional
        What gives the page at ``/``.
    token : str
        What every request must carry, as bearer or as the password; none when empty.
    hosts : tuple of str
        The only names by which it may be called; any when empty.
    origin : str
        A web page's origin that may ask; none but its own when empty.
    """
    service, document = Service(store), openapi()

    def guarded(answer: Callable[[Request], Response]) -> Callable[[Request], Any]:
        async def handled(request: Request) -> Response:
            if token and not _carries(request.headers.get("authorization", ""), token):
                refused = _refused(InputError("Authorization", None, "the token of this service"))
                refused.status_code = 401
                refused.headers["WWW-Authenticate"] = "Basic"
                return refused
            try:
                service.renew()
                return answer(request)
            except MatdbError as error:
                return _refused(error)

        return handled

    def route(question: Question) -> Route:
        def answer(request: Request) -> Response:
            asked = _asked(request, question)
            mark, found = question.ask(service, request.path_params.get("name", ""), asked)
            tag = f'"{mark}-{hashlib.sha256(repr(asked).encode()).hexdigest()[:12]}"'
            known = request.headers.get("if-none-match", "").split(",")
            if any(each.strip().removeprefix("W/") in (tag, "*") for each in known):
                return Response(status_code=304, headers={"ETag": tag})
            return _json(found(), ETag=tag)

        return Route(question.path, guarded(answer), methods=["GET"])

    def home(_: Request) -> Response:
        if page is None:
            return _json({"matdb": VERSION, "openapi": "/openapi.json"})
        if "page" not in service.kept:
            service.kept["page"] = page()
        return HTMLResponse(service.kept["page"])

    async def wrong(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        if error.status_code == 405:
            told = InputError("method", request.method, "GET or HEAD")
        else:
            told = InputError("path", request.url.path, "one of " + ", ".join(each.path for each in QUESTIONS))
        found = _refused(told)
        found.status_code = error.status_code
        found.headers.update(error.headers or {})
        return found

    routes = [
        *map(route, QUESTIONS),
        Route("/", guarded(home)),
        Route("/openapi.json", guarded(lambda _: _json(document))),
    ]
    middleware = [Middleware(TrustedHostMiddleware, allowed_hosts=list(hosts))] if hosts else []
    if origin:
        middleware.append(Middleware(CORSMiddleware, allow_origins=[origin], allow_headers=["Authorization"]))
    return Starlette(routes=routes, middleware=middleware, exception_handlers={HTTPException: wrong})


def _carries(header: str, token: str) -> bool:
    """Whether a request's header carries the token: as bearer, or as the password that a browser asks for."""
    kind, _, rest = header.partition(" ")
    if kind.lower() == "basic":
        try:
            rest = base64.b64decode(rest, validate=True).decode().partition(":")[2]
        except ValueError:
            return False
    return hmac.compare_digest(rest.encode(), token.encode())
