"""Every JSON answer that is recorded holds to the schema that its command ships."""

import json
import re
from pathlib import Path

import jsonschema
import pytest
from contract.script import RECORDED, command, read

import matdb
from matdb.cli.schema import DOCUMENTS, document_schema

REFERENCE = Path(matdb.__file__).parent / "cli" / "REFERENCE.md"
IDENTIFIER = re.compile(r"[a-zA-Z_$][a-zA-Z0-9_$]*")


def recorded():
    """Documents of the recordings, by command; long rows of numbers stand there as one."""
    for file in sorted(RECORDED.glob("*.txt")):
        for step in read(file):
            if "--json" not in step.words or "--help" in step.words:
                continue
            said = re.sub(r"^exit \d+\n", "", step.said)
            said = re.split(r"^! |^--- ", said, maxsplit=1, flags=re.MULTILINE)[0]
            if said.strip():
                yield step.command, json.loads(re.sub(r"<\d+ numbers: [^>]*>", "0", said))


def keys(value):
    if isinstance(value, dict):
        yield from value
    for each in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
        yield from keys(each)


def test_every_recorded_document_is_valid():
    checks = {name: jsonschema.Draft202012Validator(document_schema(name)) for name in DOCUMENTS}
    seen, wrong = set(), []
    for asked, document in recorded():
        seen.add(document["command"])
        wrong += [
            f"{asked}: {e.json_path}: {e.message[:200]}" for e in checks[document["command"]].iter_errors(document)
        ]
        wrong += [f"{asked}: the key {key!r}" for key in keys(document) if not IDENTIFIER.fullmatch(key)]
    assert not wrong, "\n".join(wrong[:20])
    assert len(seen) > 45


def open_objects(schema, path):
    """Where a schema lets any name stand."""
    if schema.get("type") == "object" and schema.get("additionalProperties", True) in (True, {}):
        yield path
    inside = [*((name, each) for name, each in schema.get("properties", {}).items())]
    inside += [(f"[{n}]", schema[n]) for n in ("items", "additionalProperties") if isinstance(schema.get(n), dict)]
    inside += [("|", each) for each in schema.get("anyOf", ())]
    for name, each in inside:
        yield from open_objects(each, f"{path} {name}")


def test_every_object_is_closed():
    assert [place for name in DOCUMENTS for place in open_objects(document_schema(name), name)] == []


def test_every_command_that_answers_in_json_has_a_schema():
    sections = REFERENCE.read_text(encoding="utf-8").split("\n## matdb ")[1:]
    asked = {each.partition("\n")[0] for each in sections if "`--json`" in each}
    asked = {"reading add" if name.startswith("reading add ") else name for name in asked}
    assert asked == DOCUMENTS.keys() - {"error"}


def test_a_schema_refuses_what_is_no_answer():
    check = jsonschema.Draft202012Validator(document_schema("stiffness"))
    whole = next(document for _, document in recorded() if document["command"] == "stiffness")
    row = whole["rows"][0]
    for broken in (
        whole | {"rows": [row | {"stiffness_n_per_mm": 3.0}]},
        whole | {"more": 1},
        {name: value for name, value in whole.items() if name != "warnings"},
        whole | {"rows": [row | {"stiffness_n_per_mm": {"median": 3.0, "low": 2.0}}]},
    ):
        assert not check.is_valid(broken)


@pytest.mark.parametrize(
    ("words", "code", "field", "value"),
    [
        (["stiffness", "nobody", "--temp", "5C", "--frequency", "30Hz"], 1, "part", "nobody"),
        (["stiffness", "bush", "--temp", "5", "--frequency", "30Hz"], 2, "--temp", "5"),
        (["stiffness", "bush", "--temp", "5C"], 2, "--frequency and --mass", "neither"),
        (["stiffness", "bush"], 2, "--temp", None),
        (["stiffness"], 2, "part", None),
        (["nonsense"], 2, "command", "nonsense"),
        (["part", "shw", "bush"], 2, "command", "shw"),
        (["stiffness", "bush", "--temp", "5C", "--mass", "1kg", "--count", "x"], 2, "--count", "x"),
        (["stiffness", "bush", "--tmp", "5C"], 2, "--tmp", "5C"),
        (["store", "info", "--store", "none.sqlite"], 1, "store", "none.sqlite"),
    ],
)
def test_a_refusal_is_one_document_with_the_exit_code_as_ever(desk, words, code, field, value):
    found, out, err = command([*words, "--json"])
    assert found == code
    document = json.loads(out)
    jsonschema.validate(document, document_schema("error"))
    assert document["exit_code"] == code
    error = document["error"]
    assert (error["field"], error["value"]) == (field, value)
    assert err == f"matdb: {error['message']}\n"
    assert command(words)[1:] == ("", err)
