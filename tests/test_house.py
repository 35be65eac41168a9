"""House rules: layers, public names, documented arguments, lint, types, what ships."""

import ast
import graphlib
import importlib.util
import inspect
import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import house_size
import pytest

import matdb

TOP = Path(__file__).parents[1]


def run(*command):
    return subprocess.run(
        [sys.executable, *command],
        cwd=TOP,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "NO_COLOR": "1"},
    )


def test_imports_point_one_way():
    code = "import sys; from importlinter.cli import lint_imports; sys.exit(lint_imports(no_cache=True))"
    done = run("-c", code)
    assert done.returncode == 0, done.stdout + done.stderr


def test_lint():
    done = run("-m", "ruff", "check", "--no-cache", ".")
    assert done.returncode == 0, done.stdout


def test_format():
    done = run("-m", "ruff", "format", "--no-cache", "--check", ".")
    assert done.returncode == 0, done.stdout


@pytest.mark.slow
def test_types():
    done = run("-m", "mypy", "--cache-dir", os.devnull)
    assert done.returncode == 0, done.stdout


#: What is still too large, by module: each entry goes with its cause, and a test fails when it is no longer needed.
TOO_LONG_FUNCTIONS: set[str] = set()
TOO_MANY_PARAMETERS: set[str] = set()
TOO_LONG_FILES: set[str] = set()


@pytest.fixture(scope="module")
def house():
    return list(house_size.modules())


@pytest.mark.slow
def test_no_function_is_too_long_to_read_at_once(house):
    found = {
        f"{name}.{node.name}"
        for name, _, tree in house
        for node in house_size.functions(tree)
        if node.end_lineno - node.lineno + 1 > 80
    }
    assert found == TOO_LONG_FUNCTIONS


def test_no_parameter_list_is_too_long(house):
    # What Typer reads may list more: such a function only collects its options.
    found = {
        f"{name}.{node.name}"
        for name, _, tree in house
        for node in house_size.functions(tree)
        if len([*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]) > 12
        and not any(ast.unparse(mark).endswith((".command()", ".callback()")) for mark in node.decorator_list)
    }
    assert found == TOO_MANY_PARAMETERS


def test_no_file_is_too_long(house):
    found = {name for name, path, _ in house if len(path.read_text(encoding="utf-8").splitlines()) > 600}
    assert found == TOO_LONG_FILES


def test_few_imports_wait_for_a_call(house):
    waiting = [(name, node.lineno) for name, _, tree in house for node in house_size.inner_imports(tree)]
    assert len(waiting) < 60, waiting


def test_no_import_goes_in_a_circle(house):
    names = {name for name, _, _ in house}
    needs = {}
    for name, path, tree in house:
        package = name if path.name == "__init__.py" else name.rpartition(".")[0]
        asleep = {
            id(inner)
            for node in ast.walk(tree)
            if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)
            for inner in ast.walk(node)
        }
        wanted = set()
        for node in ast.walk(tree):
            if id(node) in asleep:
                continue
            if isinstance(node, ast.Import):
                wanted |= {alias.name for alias in node.names}
            elif isinstance(node, ast.ImportFrom):
                base = importlib.util.resolve_name("." * node.level + (node.module or ""), package)
                # From a package comes either a module of it or a name in the package itself.
                wanted |= {f"{base}.{alias.name}" if f"{base}.{alias.name}" in names else base for alias in node.names}
        # The public face imports whatever it is asked for: everybody may ask it its version.
        needs[name] = (wanted & names) - {"matdb"}
    assert needs["matdb.api"]  # the search has found imports at all
    graphlib.TopologicalSorter(needs).prepare()  # raises CycleError, which names the circle


def test_what_a_store_takes_and_gives_is_public():
    # Every class that a public method of Store names in its signature can be had as matdb.Name.
    tree = ast.parse((TOP / "matdb" / "api.py").read_text(encoding="utf-8"))
    ours = {
        name.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("matdb.")
        for name in node.names
    }
    (store,) = (node for node in tree.body if isinstance(node, ast.ClassDef) and node.name == "Store")
    named = {
        word.id
        for method in store.body
        if isinstance(method, ast.FunctionDef) and not method.name.startswith("_")
        for note in (method.returns, *(arg.annotation for arg in (*method.args.args, *method.args.kwonlyargs)))
        if note is not None
        for word in ast.walk(note)
        if isinstance(word, ast.Name)
    }
    # Temperatures stands for an array, a Forecast or a Flight.
    assert (named & ours) - {"Temperatures"} <= set(matdb.__all__)
    assert {"Affordable", "Cover", "Flight", "Forecast", "Reading", "SixAxes", "Squeeze"} <= set(matdb.__all__)


def _functions():
    for path in sorted((TOP / "matdb").rglob("*.py")):
        if "cli" in path.parts:
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in tree.body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                yield f"{path.relative_to(TOP)}:{node.name}", node


def test_public_functions_are_documented():
    found = list(_functions())
    assert len(found) > 400
    assert [where for where, node in found if not ast.get_docstring(node)] == []


@pytest.mark.slow
def test_documented_parameters_exist():
    pattern = re.compile(r"^(\w+(?:, \w+)*) : ", re.M)
    for where, node in _functions():
        text = ast.get_docstring(node) or ""
        if "Parameters\n" not in text:
            continue
        block = text.split("Parameters\n")[1].split("\n\nReturns\n")[0].split("\n\nRaises\n")[0].split("\n\n")[0]
        named = {name for group in pattern.findall(block) for name in group.split(", ")}
        args = {a.arg for a in [*node.args.args, *node.args.kwonlyargs, *node.args.posonlyargs]}
        extra = named - args
        assert not extra, f"{where} documents {extra}"


def test_version_is_said_once():
    project = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["version"] == matdb.__version__


def test_import_is_light():
    code = (
        "import sys, matdb; print([m for m in ('numpy', 'scipy', 'sqlalchemy', 'typer', 'rich') if m in sys.modules])"
    )
    assert run("-c", code).stdout.strip() == "[]"


def test_top_level_holds_only_what_it_may():
    allowed = {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "matdb", "migrations", "data", "tests"}
    done = subprocess.run(["git", "ls-files"], cwd=TOP, capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip("not a git checkout")
    tops = {line.split("/")[0] for line in done.stdout.splitlines()}
    assert {t for t in tops if not t.startswith(".")} <= allowed


def test_exceptions_are_drawn_in_their_module():
    from matdb import errors

    for name, cls in inspect.getmembers(errors, inspect.isclass):
        if issubclass(cls, errors.MatdbError):
            assert re.search(rf"\b{name}\b", errors.__doc__), name


def test_no_path_of_a_machine_and_no_registry_host():
    bad = re.compile(r"/home/|/root/|/work/|/Users/|pypi\.org|npmjs|files\.pythonhosted")
    done = subprocess.run(["git", "ls-files", "-z"], cwd=TOP, capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip("not a git checkout")
    for name in done.stdout.split("\0"):
        path = TOP / name
        if (
            name
            and name != "tests/test_house.py"
            and path.is_file()
            and path.suffix in {".py", ".md", ".toml", ".csv", ".json", ""}
        ):
            found = bad.search(path.read_text(encoding="utf-8", errors="ignore"))
            assert not found, f"{name}: {found.group(0)}"


def test_nothing_is_fetched_before_a_commit():
    hooks = (TOP / ".pre-commit-config.yaml").read_text(encoding="utf-8")
    assert set(re.findall(r"repo: (\S+)", hooks)) == {"local"}
    assert set(re.findall(r"language: (\S+)", hooks)) == {"system"}


def test_the_guide_names_files_that_exist():
    text = (TOP / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = set(re.findall(r"(?<![\w/.])((?:\w+/)*\w+\.(?:py|sql|toml|md)|(?:\w+/)+)(?=[`) \]])", text))
    files = {
        str(path.relative_to(TOP))
        for part in ("matdb", "tests", "data", "migrations")
        for path in (TOP / part).rglob("*")
    }
    files |= {path.name for path in TOP.iterdir()}
    missing = sorted(n for n in named if not any(f"/{f}".endswith(f"/{n.rstrip('/')}") for f in files))
    assert not missing
