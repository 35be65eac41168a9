"""The service over HTTP: the library's answers, to many at once, to any request, in a browser; nothing written."""

import asyncio
import base64
import dataclasses
import hashlib
import json
import os
import socket
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx
import jsonschema
import numpy as np
import pytest
import schemathesis
from contract.script import command
from hypothesis import HealthCheck, given, settings

import matdb
from matdb.exchange.json_schema import DEFINITIONS
from matdb.service import MOST_STATES, QUESTIONS, application, openapi

TOP = Path(__file__).parents[2]
MATERIAL, PART = "amber 40A", "ring 16x6x5"
ASKED = {"temperature_c": "-5.5", "frequency_hz": "30"}


def filled(file):
    with matdb.open_store(file) as store:
        store.add(matdb.Material(name=MATERIAL, family="silicone", hardness="40 A"))
        store.add(matdb.Part(name=PART, material=MATERIAL, form=matdb.Ring(16, 6, 5)))
        store.add(matdb.Mounting(name="nose", mass_kg=0.6, count=4, rpm_idle=4200, rpm_full=8000))
    return file


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    return filled(tmp_path_factory.mktemp("service") / "bench.sqlite")


class Serving:
    """``matdb serve`` in a process of its own, for a ``with`` block."""

    def __init__(self, file, *words, **environment):
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        run = [sys.executable, "-m", "matdb", "serve", "--store", str(file), "--port", str(port), *words]
        self.process = subprocess.Popen(
            run, cwd=TOP, env=os.environ | environment, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
        )
        self.base = f"http://127.0.0.1:{port}"

    def __enter__(self):
        until = time.monotonic() + 60
        while time.monotonic() < until and self.process.poll() is None:
            try:
                httpx.get(self.base + "/openapi.json")
            except httpx.TransportError:
                time.sleep(0.1)
            else:
                return self.base
        self.process.kill()
        pytest.fail(self.process.communicate()[1])

    def __exit__(self, *error):
        self.process.terminate()
        self.process.communicate(timeout=20)


@pytest.fixture(scope="module")
def base(file):
    with Serving(file, "--mounting", "nose", "--temp", "-10C..25C") as base:
        yield base


def ask(app, url, **headers):
    """A request without a network."""

    async def asked():
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://localhost") as client:
            return await client.get(url, headers=headers)

    return asyncio.run(asked())


@pytest.fixture
def store(file):
    with matdb.open_store(file, as_fitted=True) as store:
        yield store


@pytest.fixture
def app(store):
    return application(store)


def test_the_answers_are_the_library_s(store, app):
    t, f = [-20.0, -5.5, 23.0], [3.0, 30.0, 140.0]
    listed = "temperature_c=-20,-5.5,23&frequency_hz=3,30,140"
    told = ask(app, f"/parts/{PART}/stiffness?{listed}&squeeze_mm=0.5").json()
    # How near those are to bands over the draws, tests/advice/test_banded.py holds.
    found = store.answers(PART, squeeze_mm=0.5).banded(t, f)
    for name, band in (("stiffness_n_per_mm", found.stiffness_n_per_mm), ("damping_ratio", found.damping_ratio)):
        for end in ("median", "low", "high"):
            np.testing.assert_allclose(told[name][end], getattr(band, end), rtol=1e-12)
    assert told["warnings"] == list(found.warnings)
    assert (told["extrapolated"], told["basis"], told["fit_id"]) == ([True] * 3, "family prior", None)
    told = ask(app, f"/parts/{PART}/complex-stiffness?{listed}").json()
    k = store.answers(PART).complex_stiffness(t, f)
    np.testing.assert_allclose(np.array(told["real_n_per_mm"]) + 1j * np.array(told["imag_n_per_mm"]), k, rtol=1e-12)
    told = ask(app, f"/materials/{MATERIAL}/curve?temperature_c=5&frequency_hz=30").json()
    assert told["storage_mpa"] == store.curve(MATERIAL).modulus(5.0, 30.0).storage_mpa.to_dict()
    told = ask(app, "/mountings/nose/answer?flight_c=-10,25").json()
    row = store.suit("nose", [-10.0, 25.0])[0]
    assert (told["answer"]["part"], told["answer"]["probability"]) == (row.part, row.probability)
    assert [each["name"] for each in ask(app, "/parts").json()["parts"]] == [PART]


def test_every_answer_holds_to_the_document(app):
    document = openapi()
    schemas = {"$defs": DEFINITIONS}
    for question in QUESTIONS:
        name = {"parts": PART, "materials": MATERIAL, "mountings": "nose"}[question.path.split("/")[1]]
        asked = {"flight_c": "5", **ASKED}
        url = question.path.format(name=name) + "?" + "&".join(f"{n}={asked[n]}" for n in question.asks if n in asked)
        said = document["paths"][question.path]["get"]["responses"]["200"]["content"]["application/json"]["schema"]
        schema = json.loads(json.dumps(said).replace("#/components/schemas/", "#/$defs/")) | schemas
        jsonschema.validate(ask(app, url).json(), schema)


@pytest.mark.parametrize(
    ("url", "status", "field"),
    [
        (f"/parts/{PART}/stiffness?temperature_c=5&frequency_hz=nan", 400, "frequency_hz"),
        (f"/parts/{PART}/stiffness?temperature_c=5", 400, "frequency_hz"),
        (f"/parts/{PART}/stiffness?temperature_c=5&frequency_hz=30&more=1", 400, "more"),
        (f"/parts/{PART}/stiffness?temperature_c=5&temperature_c=6&frequency_hz=30", 400, "query"),
        (f"/parts/{PART}/stiffness?temperature_c=5,6&frequency_hz=1,2,3", 400, "frequency_hz"),
        (f"/parts/{PART}/stiffness?frequency_hz=1&temperature_c=" + "5," * MOST_STATES + "5", 400, "temperature_c"),
        (f"/parts/{PART}/stiffness?temperature_c=5&frequency_hz=30&axis=up", 400, "axis"),
        ("/parts/nobody/stiffness?temperature_c=5&frequency_hz=30", 404, "part"),
        ("/mountings/nose/answer?flight_c=" + ",".join(["5"] * 25), 400, "flight_c"),
        ("/nowhere", 404, "path"),
    ],
)
def test_a_refusal_names_field_value_and_what_is_allowed(app, url, status, field):
    found = ask(app, url)
    assert (found.status_code, found.json()["error"]["field"]) == (status, field)
    assert found.json()["error"]["allowed"]


def test_an_answer_is_known_by_its_fit_until_the_store_is_written_to(tmp_path):
    file = filled(tmp_path / "own.sqlite")
    with matdb.open_store(file, as_fitted=True) as store:
        app, url = application(store), f"/parts/{PART}/stiffness?temperature_c=5&frequency_hz=30"
        first = ask(app, url)
        tag = first.headers["etag"]
        assert tag.startswith('"prior-')
        assert (ask(app, url, **{"If-None-Match": tag}).status_code, ask(app, url).headers["etag"]) == (304, tag)
        assert first.json()["is_current"]
        with matdb.open_store(file) as other:
            other.add(matdb.HardnessReading(material=MATERIAL, temperature_c=23.0, value="44 A"))
        stale = ask(app, url, **{"If-None-Match": tag})
        assert (stale.status_code, stale.json()["is_current"], stale.json()["fit_id"]) == (200, False, None)
        assert stale.json()["stiffness_n_per_mm"] == first.json()["stiffness_n_per_mm"]
        with matdb.open_store(file) as other:
            other.fit(MATERIAL)
        fitted = ask(app, url)
        assert fitted.headers["etag"].startswith('"fit-1-')
        assert (fitted.json()["is_current"], fitted.json()["fit_id"]) == (True, 1)


def test_beyond_this_computer_a_token_is_needed(store):
    app = application(store, token="a long enough secret")
    assert ask(app, "/parts").status_code == 401
    assert ask(app, "/").headers["www-authenticate"] == "Basic"
    named = base64.b64encode(b"anybody:a long enough secret").decode()
    for carried in ("Bearer a long enough secret", f"Basic {named}"):
        assert ask(app, "/parts", Authorization=carried).status_code == 200
    for carried in ("Bearer another", "Basic !", "a long enough secret"):
        assert ask(app, "/parts", Authorization=carried).status_code == 401
    for token in ([], ["--token", "short"]):
        code, _, err = command(["serve", "--host", "0.0.0.0", *token])
        assert (code, "--token" in err) == (2, True)


def test_a_taken_port_is_refused_in_one_line(file):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        code, _, err = command(["serve", "--store", str(file), "--port", str(port)])
    assert (code, err.count("\n")) == (2, 1)
    assert f"127.0.0.1:{port}" in err


def test_no_name_but_its_own_reaches_it_and_no_other_page(store):
    app = application(store, hosts=("localhost",), origin="http://tool.example")
    assert ask(app, "/parts").status_code == 200
    assert ask(app, "/parts", Host="rebound.example").status_code == 400
    told = ask(app, "/parts", Origin="http://tool.example").headers
    assert told["access-control-allow-origin"] == "http://tool.example"
    assert "access-control-allow-origin" not in ask(app, "/parts", Origin="http://other.example").headers


@pytest.mark.slow
def test_eight_clients_at_once_get_what_one_gets(base, file):
    before = hashlib.sha256(file.read_bytes()).hexdigest()
    urls = [
        f"{base}/parts/{PART}/stiffness?temperature_c={t}&frequency_hz={f}" for t in range(-20, 40, 3) for f in (9, 90)
    ]
    alone = [httpx.get(url).json() for url in urls]
    with ThreadPoolExecutor(8) as pool:
        found = list(pool.map(lambda url: httpx.get(url).json(), urls * 8))
    assert found == alone * 8
    for method in ("POST", "PUT", "PATCH", "DELETE"):
        assert httpx.request(method, urls[0]).status_code == 405
    assert hashlib.sha256(file.read_bytes()).hexdigest() == before


@pytest.mark.slow
@pytest.mark.parametrize("path", [question.path for question in QUESTIONS])
def test_any_request_is_answered_as_described(base, path):
    described = schemathesis.openapi.from_url(f"{base}/openapi.json")
    known = {"parts": PART, "materials": MATERIAL, "mountings": "nose"}[path.split("/")[1]]
    # Whether a part has a direction, or stands a squeeze, no schema says.
    beyond = [schemathesis.checks.positive_data_acceptance, schemathesis.checks.unsupported_method]
    asked = []

    @given(described[path]["GET"].as_strategy())
    @settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck), database=None)
    def answered(case):
        if case.path_parameters and len(asked) % 2:
            case.path_parameters["name"] = known
        asked.append(case)
        case.call_and_validate(excluded_checks=beyond)

    answered()
    assert len(asked) > 10 or "{" not in path


@pytest.mark.slow
def test_a_page_in_a_real_browser_asks_it(base, tmp_path):
    from picture.browser import start

    driver = start(tmp_path / "profile")
    try:
        driver.get(base + "/")
        assert "nose" in driver.title or "nose" in driver.page_source
        # That page may ask nobody, by its own rule; another of the same origin may.
        driver.get(base + "/parts")
        url = f"/parts/{PART}/stiffness?temperature_c=-5.5&frequency_hz=30"
        script = (
            "const done = arguments[1]; fetch(arguments[0]).then((r) => r.json()).then(done, (e) => done(String(e)));"
        )
        told = driver.execute_async_script(script, url)
    finally:
        driver.quit()
    assert told == httpx.get(base + url).json()


def test_an_answer_that_is_there_is_known_however_its_tag_is_told(app):
    url = f"/parts/{PART}/stiffness?temperature_c=5&frequency_hz=30"
    tag = ask(app, url).headers["etag"]
    for told in (tag, f"W/{tag}", f'"other", {tag}', "*"):
        assert ask(app, url, **{"If-None-Match": told}).status_code == 304, told
    assert ask(app, url, **{"If-None-Match": '"other"'}).status_code == 200


def test_a_wrong_path_or_method_is_told_what_there_is(app):
    error = ask(app, "/rings").json()["error"]
    assert (error["field"], error["value"]) == ("path", "/rings")
    assert "/parts/{name}/stiffness" in error["allowed"]


def test_whatever_changes_a_part_changes_its_tag(tmp_path):
    url = "/parts/loop/stiffness?temperature_c=5&frequency_hz=30"
    points = [(0.2 * k, 1.5 * k + 0.03 * k * k) for k in range(1, 30)]
    with matdb.open_store(filled(tmp_path / "bench.sqlite"), as_fitted=True) as store:
        app, tags = application(store), set()
        part = matdb.Part(name="loop", material=MATERIAL, form=matdb.CableLoop(30, tuple(points)))
        store.add(part)
        other = tuple((x, y + 0.01 * (k == 14)) for k, (x, y) in enumerate(points))
        for change in ({"form": matdb.CableLoop(30, other)}, {"mass_kg": 0.002}, {"note": "a" * 500}):
            tags.add(ask(app, url).headers["etag"])
            store.records.replace("loop", part := dataclasses.replace(part, **change), "changed")
        tags.add(ask(app, url).headers["etag"])
    assert len(tags) == 4


def test_nothing_can_be_posted(base):
    refused = httpx.post(base + "/parts")
    assert refused.status_code == 405
    assert refused.json()["error"]["message"] == "method: 'POST' is not allowed; it must be GET or HEAD"
