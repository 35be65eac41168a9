"""Coverage-guided fuzzing of everything that reads a file: ``python tests/fuzz/fuzz_importers.py [seconds] [target]``.

Each target starts from the small valid files of ``seeds.py``; libFuzzer changes them and keeps what reaches new
code. Reading may succeed or raise a :class:`matdb.errors.MatdbError` whose text is one line. Anything else is a
finding, as are more than 10 s or 1 GiB for one input; the input is then kept beside the corpus. Needs the extra
``fuzz``. Options: ``--corpus FOLDER`` goes on from an earlier run.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import pkgutil
import random
import re
import sqlite3
import struct
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parents[1]), str(HERE)]

LONGEST_S, MOST_MB = 10, 1024
#: Bytes of the longest input tried; defects of length have their own tests.
_LENGTHS = {
    "store_document": 60_000,
    "flight_csv": 40_000,
    "readings_xlsx": 12_000,
    "fit_arrays": 2000,
    "store_file": 300,
}
_LONGEST_LINE = 2000

Target = Callable[[bytes], None]


# -- targets, made inside the fuzzing process -------------------------------------------------------------------


def readings_csv(folder: Path) -> Target:
    from seeds import PARTS

    from matdb.exchange.reading_file import read_readings

    parts = {p.name: p for p in PARTS}

    def once(data: bytes) -> None:
        found = read_readings("f.csv", data, parts=parts, materials=["amber"], defaults={"kind": "ring-down"})
        assert len(found.readings) == len(found.lines)
        for problem in found.problems:
            _one_line(str(problem))

    return once


def readings_xlsx(folder: Path) -> Target:
    from seeds import PARTS, packed_workbook

    from matdb.exchange.reading_file import read_readings
    from matdb.exchange.spreadsheet import read_spreadsheet

    parts = {p.name: p for p in PARTS}
    entries = ["", "xl/worksheets/sheet1.xml", "xl/sharedStrings.xml", "xl/workbook.xml", "xl/styles.xml"]

    def once(data: bytes) -> None:
        entry = entries[data[0] % len(entries)] if data else ""
        # Behind a checksum or a packer no change would ever come through: one entry is changed, then packed.
        table, _ = read_spreadsheet("f.xlsx", packed_workbook({entry: data[1:]}) if entry else data[1:])
        read_readings("f.xlsx", table, parts=parts, materials=["amber"])

    return once


def points_csv(folder: Path) -> Target:
    from matdb.exchange.point_file import read_points

    def once(data: bytes) -> None:
        read_points("f.csv", data)

    return once


def store_document(folder: Path) -> Target:
    import matdb
    from matdb.exchange.whole_store import import_store, store_text

    empty = folder / "empty.sqlite"
    matdb.open_store(empty).close()
    blank = empty.read_bytes()
    file, path = folder / "store.json", folder / "store.sqlite"

    def once(data: bytes) -> None:
        file.write_bytes(data)
        path.write_bytes(blank)
        try:
            with matdb.open_store(path) as store:
                import_store(store, file)
                _ask(store)
                again = "".join(store_text(store))
            json.loads(again)
        finally:
            _remove(path)

    return once


def trace_csv(folder: Path) -> Target:
    from matdb.bench.trace.file import read_trace

    options: list[dict[str, Any]] = [
        {},
        {"sample_rate_hz": 500.0},
        {"time_column": 1, "signal_columns": [2]},
        {"time_unit": "ms", "base_columns": ["base"]},
    ]
    file = folder / "trace.csv"

    def once(data: bytes) -> None:
        file.write_bytes(data[1:])
        trace = read_trace(file, **options[(data[:1] or b"\0")[0] % len(options)])
        assert trace.time_s.shape == trace.signal.shape[:1]

    return once


def flight_csv(folder: Path) -> Target:
    from matdb.bench.flight.log import read_log
    from matdb.bench.flight.rotor import follow_rotors
    from matdb.bench.trace.record import Refused

    options: list[dict[str, Any]] = [{}, {"columns": [2, 3, 4], "unit": "deg/s"}, {"columns": ["p", "q", "r"]}]
    file = folder / "flight.csv"

    def once(data: bytes) -> None:
        file.write_bytes(data[1:])
        log = read_log(file, **options[(data[:1] or b"\0")[0] % len(options)])
        assert log.rate.shape == (log.time_s.size, 3)
        try:
            follow_rotors(log)
        except Refused as why:
            _one_line(str(why))

    return once


def forecast_csv(folder: Path) -> Target:
    from matdb.weather.hourly import hourly_csv, monthly_csv

    def once(data: bytes) -> None:
        way, text = (data[:1] or b"\0")[0] % 4, data[1:]
        if way == 2:
            monthly_csv(text)
        elif way == 3:
            monthly_csv(text, unit="F")
        else:
            found = hourly_csv(text) if way == 0 else hourly_csv(text, unit="F")
            json.dumps(found.to_dict(), allow_nan=False)
            for i in range(min(len(found), 3)):
                found.label(i)

    return once


def weather_report(folder: Path) -> Target:
    import datetime as dt

    from matdb.weather.reports import metar_forecast, taf_forecast

    def once(data: bytes) -> None:
        text = data.decode("utf-8", "replace")
        read = taf_forecast if text.startswith("TAF") else metar_forecast
        for issued in (None, dt.date(2024, 2, 28)):
            read(text, issued).label(0)

    return once


def spectrum_csv(folder: Path) -> Target:
    from matdb.mounting.shake import read_spectrum

    def once(data: bytes) -> None:
        read_spectrum(data, "f.csv")

    return once


def store_file(folder: Path) -> Target:
    from seeds import small_store

    import matdb
    from matdb.exchange.whole_store import store_text

    sound = small_store(folder / "sound.sqlite").read_bytes()
    path = folder / "store.sqlite"

    def once(data: bytes) -> None:
        path.write_bytes(_patched(sound, data[1:]) if not data or data[0] % 4 == 0 else sound)
        try:
            if data and data[0] % 4:
                _rewritten(path, data[0] % 4, data[1:])
            with matdb.open_store(path) as store:
                for finding in store.records.check():
                    _one_line(finding.says)
                _ask(store)
                "".join(store_text(store))
        finally:
            _remove(path)

    return once


def fit_arrays(folder: Path) -> Target:
    import hashlib

    from matdb.errors import MatdbError
    from matdb.store.arrays import unpack

    def once(data: bytes) -> None:
        block = data[1:]
        if data[:1] != b"\0":
            block += hashlib.sha256(block).digest()
        try:
            unpack(block)
        except ValueError as error:  # which the store turns into one of its own
            raise MatdbError(str(error)) from None

    return once


def mounting_json(folder: Path) -> Target:
    from matdb.errors import MatdbError
    from matdb.mounting.record import mounting_from_dict
    from matdb.mounting.six_axis import suspension

    def once(data: bytes) -> None:
        try:
            values = json.loads(data)
        except (ValueError, RecursionError):
            raise MatdbError("no JSON") from None
        if isinstance(values, dict):
            found = mounting_from_dict(values | {"name": "cam"})
            json.dumps(found.to_dict(), allow_nan=False)
            suspension(found, "main")

    return once


TARGETS = (
    readings_csv,
    readings_xlsx,
    points_csv,
    store_document,
    trace_csv,
    flight_csv,
    forecast_csv,
    weather_report,
    spectrum_csv,
    store_file,
    fit_arrays,
    mounting_json,
)


def _ask(store: Any) -> None:
    """Put the usual questions to a store of unknown content; each may be refused."""
    from matdb.errors import MatdbError

    questions: list[Callable[[], Any]] = [
        store.materials,
        store.parts,
        store.mountings,
        lambda: store.readings(include_retired=True),
        lambda: store.curve("amber").modulus([-5.0, 23.0], 30.0),
        lambda: store.effective("ring", -5.0, mass_kg=0.2),
        lambda: store.curve_of_fit(1).report,
        lambda: store.records.history("material", "amber"),
        store.undo,
    ]
    for question in questions:
        try:
            question()
        except MatdbError as error:
            _one_line(str(error))


def _one_line(text: str) -> None:
    assert text.isprintable(), f"not one line: {text!r}"
    assert len(text) <= _LONGEST_LINE, f"{len(text)} characters of message: {text[:200]!r}"


def _patched(sound: bytes, data: bytes) -> bytes:
    """The file with single bytes changed: offset (3 bytes) and value, as often as there are."""
    out = bytearray(sound)
    for k in range(0, len(data) - 3, 4):
        out[int.from_bytes(data[k : k + 3], "big") % len(out)] = data[k + 3]
    return bytes(out)


def _rewritten(path: Path, way: int, data: bytes) -> None:
    """Change the file by SQL: one cell, a piece of a cell's text, or the schema; what SQLite refuses stays undone."""
    connection = sqlite3.connect(path, isolation_level=None)
    text = data[2:].decode("utf-8", "replace")
    try:
        for pragma in ("writable_schema = ON", "ignore_check_constraints = ON", "foreign_keys = OFF"):
            connection.execute(f"PRAGMA {pragma}")
        if way == 3:
            names = [row[0] for row in connection.execute("SELECT name FROM sqlite_schema ORDER BY name")]
            name = names[data[0] % len(names)] if data else ""
            if len(data) > 1 and data[1] % 2:
                connection.execute("UPDATE sqlite_schema SET sql = ? WHERE name = ?", (text, name))
            else:
                connection.execute(text)
            return
        cells = [
            (table, column[1])
            for (table,) in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name")
            for column in connection.execute(f'PRAGMA table_info("{table}")')
        ]
        if len(data) < 2:
            return
        table, column = cells[data[0] % len(cells)]
        if way == 1:
            value: Any = _value(data[1], data[2:])
        else:
            row = connection.execute(f'SELECT "{column}" FROM "{table}"').fetchone()
            value = row[0] if row else None
            at = 0 if value is None else data[1] * len(str(value)) // 256
            value = str(value)[:at] + text + str(value)[at + len(text) :]
        connection.execute(f'UPDATE "{table}" SET "{column}" = ?', (value,))
    except (sqlite3.Error, sqlite3.Warning, ValueError):
        pass
    finally:
        connection.close()


def _value(kind: int, data: bytes) -> Any:
    if kind % 5 == 0:
        return None
    if kind % 5 == 1:
        return int.from_bytes(data[:8], "big", signed=True)
    if kind % 5 == 2:
        return struct.unpack(">d", data[:8].ljust(8, b"\0"))[0]
    return data if kind % 5 == 3 else data.decode("utf-8", "replace")


def _remove(path: Path) -> None:
    for each in path.parent.glob(path.name + "*"):
        each.unlink()


# -- changing JSON by its meaning ---------------------------------------------------------------------------------

_ODD: list[Any] = [
    None, True, False, 0, -1, 1, 2**31, -(2**63), 10**30, 0.5, -0.0, 1e308, float("nan"), float("inf"), "", "x", "\n",
    "amber", "ring", "nan", "2024-01-31T14:05:00+00:00", "9999-12-31T23:59:59-23:59", [], {}, [[]], [1, "x"],
    "🙂" * 200,
]  # fmt: skip


def _json_changed(data: bytes, longest: int, seed: int) -> bytes:
    """Half of the time a value of the document is put in the place of another; else bytes are changed."""
    import atheris

    rng = random.Random(seed)
    if rng.random() < 0.4:
        return bytes(atheris.Mutate(data, longest))
    try:
        whole = json.loads(data)
    except (ValueError, RecursionError):
        return bytes(atheris.Mutate(data, longest))
    for _ in range(rng.randint(1, 3)):
        places = list(_places(whole))
        if not places:
            break
        holder, key = rng.choice(places)
        way = rng.random()
        if way < 0.15:
            del holder[key]
        elif way < 0.3 and isinstance(holder, dict):
            holder[rng.choice(["id", "name", "form", "kind", "note", "x"])] = holder.pop(key)
        elif way < 0.4 and isinstance(holder, list):
            holder.insert(key, holder[key])
        elif way < 0.6:
            other, there = rng.choice(places)
            holder[key] = other[there]
        else:
            holder[key] = rng.choice(_ODD)
        try:
            whole = json.loads(json.dumps(whole))
        except (ValueError, RecursionError):
            return bytes(atheris.Mutate(data, longest))
    return json.dumps(whole).encode()[:longest]


def _places(value: Any) -> Any:
    if isinstance(value, dict | list):
        for key in list(value) if isinstance(value, dict) else range(len(value)):
            yield value, key
            yield from _places(value[key])


# -- one process a target -----------------------------------------------------------------------------------------


def inside(name: str, arguments: list[str]) -> None:
    """Fuzz one target; does not return."""
    import atheris

    with atheris.instrument_imports(include=["matdb"]):
        import matdb

        for module in pkgutil.walk_packages(matdb.__path__, "matdb."):
            if not module.name.startswith(("matdb.cli", "matdb.picture", "matdb.__main__")):
                importlib.import_module(module.name)
    from matdb.errors import MatdbError

    folder = Path(tempfile.mkdtemp(prefix="matdb-fuzz-", dir=os.environ.get("MATDB_FUZZ_FOLDER")))
    once = next(t for t in TARGETS if t.__name__ == name)(folder)

    def tried(data: bytes) -> None:
        try:
            once(data)
        except MatdbError as error:
            _one_line(str(error))

    more = {"custom_mutator": _json_changed} if name in ("store_document", "mounting_json") else {}
    atheris.Setup([sys.argv[0], *arguments], tried, **more)
    atheris.Fuzz()


def fuzzed(name: str, seconds: float, corpus: Path) -> dict[str, Any]:
    """Fuzz one target in a process of its own, and read its log."""
    from seeds import SEEDS, WORDS

    kept, found = corpus / name, corpus / "findings" / name
    for each in (kept, found):
        each.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        for k, seed in enumerate(SEEDS[name](Path(folder))):
            (kept / f"seed-{k}").write_bytes(seed)
        words = Path(folder) / "words.txt"
        quoted = (
            "".join(chr(b) if 32 <= b < 127 and b not in b'"\\' else f"\\x{b:02x}" for b in w.encode()) for w in WORDS
        )
        words.write_text("".join(f'"{word}"\n' for word in quoted), encoding="ascii")
        command = [
            sys.executable, __file__, "--inside", name, f"-max_total_time={int(seconds)}", f"-timeout={LONGEST_S}",
            f"-rss_limit_mb={MOST_MB}", f"-max_len={_LENGTHS.get(name, 4000)}", f"-artifact_prefix={found}/",
            f"-dict={words}", "-print_final_stats=1", "-use_value_profile=1", str(kept),
        ]  # fmt: skip
        before = set(found.iterdir())
        started = time.monotonic()
        environment = {**os.environ, "MATDB_FUZZ_FOLDER": folder, "OMP_NUM_THREADS": "1", "TZ": "UTC"}
        with (corpus / f"{name}.log").open("wb") as log:
            code = subprocess.run(command, stdout=log, stderr=log, env=environment, check=False).returncode
    text = (corpus / f"{name}.log").read_text(encoding="utf-8", errors="replace")
    edges = [int(n) for n in re.findall(r"(?:INITED|NEW|REDUCE|pulse|DONE|RELOAD)\s+cov: (\d+)", text)]
    executed = re.findall(r"stat::number_of_executed_units:\s*(\d+)", text) or re.findall(r"^#(\d+)", text, re.M)
    # Of the fuzzing alone; a process that found something does not say.
    took = re.findall(r"^Done \d+ runs in (\d+) second", text, re.M)
    return {
        "target": name,
        "seconds": int(took[-1]) if took else round(time.monotonic() - started),
        "executions": int(executed[-1]) if executed else 0,
        "edges at start": edges[0] if edges else 0,
        "edges at end": edges[-1] if edges else 0,
        "corpus": sum(1 for _ in kept.iterdir()),
        "peak MB": max(map(int, re.findall(r"(?:peak_rss_mb:\s*|rss: )(\d+)", text)), default=0),
        "findings": len(set(found.iterdir()) - before) or int(code != 0),
    }


def _quoted(word: str) -> str:
    """A word as libFuzzer's dictionaries have it."""
    return "".join(chr(b) if 32 <= b < 127 and b not in b'"\\' else f"\\x{b:02x}" for b in word.encode())


def main() -> int:
    """Fuzz every target, or one, for so many seconds in all, and print a table."""
    if sys.argv[1:2] == ["--inside"]:
        inside(sys.argv[2], sys.argv[3:])
    names = [t.__name__ for t in TARGETS]
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("seconds", nargs="?", type=float, default=110.0, help="in all, shared evenly; 110 without it")
    parser.add_argument("target", nargs="?", choices=names, help="only this one")
    parser.add_argument("--corpus", type=Path, help="folder to go on from and to keep what is found")
    given = parser.parse_args()
    corpus = given.corpus or Path(tempfile.mkdtemp(prefix="matdb-corpus-"))
    wanted = [given.target] if given.target else names
    total: dict[str, int] = {}
    for k, name in enumerate(wanted):
        row = fuzzed(name, given.seconds / len(wanted), corpus)
        if not k:
            print(" | ".join(row), flush=True)
        print(" | ".join(str(v) for v in row.values()), flush=True)
        for key, value in list(row.items())[1:]:
            total[key] = max(total.get(key, 0), value) if key == "peak MB" else total.get(key, 0) + value
    print(" | ".join(["all", *(str(v) for v in total.values())]))
    print(f"corpus, logs and findings: {corpus}")
    return 1 if total["findings"] else 0


if __name__ == "__main__":
    sys.exit(main())
