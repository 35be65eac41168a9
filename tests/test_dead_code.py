"""Nothing in the house that only tests call: whoever reads it may trust that a user can reach it."""

import ast
import fnmatch

import house_size
import pytest
import vulture

import matdb
from matdb.cli.app import _SINGLE

#: What others call by name, though nothing here does, and who does.
ALLOWED = {
    "__init_subclass__": "Python calls it for each class made from another",
    "__signature__": "Typer reads a command's options from it",
    "_repr_html_": "a notebook shows an answer by it",
    "itersize": "the driver's own switch",
    "read_only": "the driver's own switch",
    "unraisablehook": "Python calls it for what nobody can catch",
    "type_annotation_map": "SQLAlchemy reads it when it maps the classes",
    "writeable": "a flag of NumPy's arrays",
}


#: Classes of the public face and those they are made from.
PUBLIC = {
    base.__name__
    for name in matdb.__all__
    if isinstance(public := getattr(matdb, name), type)
    for base in public.__mro__
    if base.__module__.startswith("matdb.")
}


def _reached(tree):
    """Lines that are reached without a call by name, and why nobody need call them.

    A record's fields are its answer, as JSON and to whoever holds it; the columns of a table are read by their names;
    a command is called by the command line; the methods of a public class belong to the public face.
    """
    for node in ast.walk(tree):
        marks = [ast.unparse(mark) for mark in getattr(node, "decorator_list", ())]
        if isinstance(node, ast.ClassDef):
            bases = {ast.unparse(base) for base in node.bases}
            if "Base" in bases:
                yield node.lineno, "table"
            for inner in node.body:
                record = any("dataclass" in mark for mark in marks) or bases & {
                    "Base",
                    "NamedTuple",
                    "Protocol",
                    "TypedDict",
                }
                if isinstance(inner, ast.AnnAssign) and record:
                    yield inner.lineno, "field"
                if isinstance(inner, ast.FunctionDef) and node.name in PUBLIC and not inner.name.startswith("_"):
                    yield min([inner.lineno, *(mark.lineno for mark in inner.decorator_list)]), "public"
        elif isinstance(node, ast.FunctionDef) and any(
            fnmatch.fnmatch(mark, pattern) for mark in marks for pattern in ("*.command(*", "*.callback(*")
        ):
            yield min(mark.lineno for mark in node.decorator_list), "command"


def _dead(more=""):
    """Module and name of whatever neither the house nor its public face calls."""
    search = vulture.Vulture()
    reached = set()
    for name, path, tree in house_size.modules():
        search.scan("" if path.name == "__init__.py" else path.read_text(encoding="utf-8"), filename=name)
        reached |= {(name, line) for line, _ in _reached(tree)}
    search.scan(more, filename="more")
    scripts = house_size.HOUSE.parent / "migrations"
    calls = "\n".join(path.read_text(encoding="utf-8") for path in sorted(scripts.rglob("*.py")))
    names = [*matdb.__all__, *(function for _, function, _ in _SINGLE.values())]
    search.scan(calls.replace("from __future__ import annotations", "") + "\n" + "\n".join(names), filename="outside")
    return {
        (str(item.filename), item.name)
        for item in search.get_unused_code()
        if str(item.filename) != "outside" and (str(item.filename), item.first_lineno) not in reached
    }


@pytest.fixture(scope="module")
def dead():
    return _dead()


@pytest.mark.slow
def test_nothing_is_there_that_only_tests_call(dead):
    left = sorted(f"{module}.{name}" for module, name in dead if name not in ALLOWED)
    assert not left, f"delete these, or move what is an independent reference to tests/oracles: {left}"


def test_every_exception_from_the_rule_is_still_needed(dead):
    assert set(ALLOWED) <= {name for _, name in dead}


@pytest.mark.slow
def test_the_search_finds_what_is_only_offered():
    more = "def merely_offered():\n    return 1\n"
    assert ("more", "merely_offered") in _dead(more)
