"""The same stiffness and damping ratio from the part table through many programs, at 50 random states.

Run: ``python tests/benchmarks/readers.py``. Each looks up by the table's own rule; columns: largest deviation of the
medians from the library's own answer, percent. A program that is not installed is left out with a word.
"""

from __future__ import annotations

import json
import math
import random
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

TOP = Path(__file__).parents[2]
sys.path.insert(0, str(TOP))
import matdb
from matdb.exchange.tables import part_table, write_table

EXAMPLES = TOP / "tests" / "examples"
PART = "ring 16x6x5"
BOUND = 1.1
QUERY = (EXAMPLES / "look_up.sql").read_text(encoding="utf-8")
NODE = """
import { lookUp } from %s;
import { readFileSync } from "node:fs";
const { rows } = JSON.parse(readFileSync("table.json"));
for (const line of readFileSync(0, "utf8").trim().split("\\n"))
  console.log(Object.values(lookUp(rows, ...line.split(" ").map(Number))).join(" "));"""


def grid(table: Any, states: list[tuple[float, float]]) -> np.ndarray:
    """By the rule, from columns as any data frame gives them."""
    t, f = (np.unique(np.asarray(table[name])) for name in ("temperature_c", "frequency_hz"))
    asked_t, asked_f = np.array(states).T
    i = np.searchsorted(t, asked_t, side="right") - 1
    j = np.searchsorted(f, asked_f, side="right") - 1
    u, v = asked_t - t[i], np.log(asked_f / f[j]) / np.log(f[j + 1] / f[j])
    found = []
    for name in ("stiffness_n_per_mm", "damping_ratio"):
        k = np.asarray(table[name]).reshape(f.size, t.size)
        cold = (1 - v) * k[j, i] + v * k[j + 1, i]
        found.append((1 - u) * cold + u * ((1 - v) * k[j, i + 1] + v * k[j + 1, i + 1]))
    return np.stack(found, axis=1)


def by_sqlite(states: list[tuple[float, float]]) -> Any:
    with sqlite3.connect("bench.sqlite") as store:
        store.create_function("ln", 1, math.log)
        return [store.execute(QUERY, {"part": PART, "axis": "axial", "t": t, "f": f}).fetchone() for t, f in states]


def by_pandas(states: list[tuple[float, float]]) -> Any:
    import pandas

    return grid(pandas.read_csv("table.csv"), states)


def by_polars(states: list[tuple[float, float]]) -> Any:
    import polars

    return grid(polars.read_csv("table.csv"), states)


def by_duckdb(states: list[tuple[float, float]]) -> Any:
    import duckdb

    query = QUERY.replace("FROM published_stiffness", "FROM 'table.csv'").replace("given_hz", "frequency_hz")
    for name in ("part", "axis", "t", "f"):
        query = query.replace(f":{name}", f"${name}")
    about = {"part": PART, "axis": "axial"}
    return [duckdb.execute(query, about | {"t": t, "f": f}).fetchone() for t, f in states]


def by_workbook(states: list[tuple[float, float]]) -> Any:
    import openpyxl

    header, *rows = openpyxl.load_workbook("table.xlsx", read_only=True).worksheets[0].iter_rows(values_only=True)
    return grid(dict(zip(header, zip(*rows, strict=True), strict=True)), states)


def by_program(words: list[str], states: list[tuple[float, float]]) -> Any:
    typed = "".join(f"{t} {f}\n" for t, f in states)
    told = subprocess.run(words, input=typed, capture_output=True, text=True, check=True).stdout
    return np.array(told.split(), dtype=float).reshape(-1, 2)


def by_python(states: list[tuple[float, float]]) -> Any:
    return by_program([sys.executable, str(EXAMPLES / "look_up.py"), "table.csv"], states)


def by_javascript(states: list[tuple[float, float]]) -> Any:
    script = NODE % json.dumps((EXAMPLES / "look_up.mjs").as_uri())
    return by_program(["node", "--input-type=module", "-e", script], states)


def by_cpp(states: list[tuple[float, float]]) -> Any:
    subprocess.run(["g++", "-std=c++17", "-o", "look_up", EXAMPLES / "look_up.cpp"], check=True)
    return by_program(["./look_up", "table.csv"], states)


def by_notebook(states: list[tuple[float, float]]) -> Any:
    import nbclient
    import nbformat

    cell = f"""
import sys, matdb
sys.path.insert(0, {str(Path(__file__).parent)!r})
from readers import grid
with matdb.open_store("bench.sqlite") as store:
    table = store.part_table({PART!r}).to_frame()
for stiffness, damping in grid(table, {states!r}):
    print(stiffness, damping)
"""
    book = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(cell)])
    nbclient.NotebookClient(book, timeout=120).execute()
    told = "".join(output["text"] for output in book.cells[0].outputs)
    return np.array(told.split(), dtype=float).reshape(-1, 2)


def by_spreadsheet(states: list[tuple[float, float]]) -> Any:
    """Under German number rules: the table with decimal commas, and the formulas of the example beside it."""
    if shutil.which("soffice") is None:
        raise FileNotFoundError("soffice is not installed")
    sys.path.insert(0, str(TOP / "tests"))
    from spreadsheet_program import opened, with_formulas

    asked = with_formulas(Path("commas.csv"), Path("asked.csv"), states)
    rows = opened([asked], "de_DE", Path.cwd())["asked.csv"]
    return [row[-2:] for row in rows[: len(states)]]


WAYS = {
    "sqlite3": by_sqlite, "pandas": by_pandas, "polars": by_polars, "DuckDB": by_duckdb, "workbook": by_workbook,
    "Python, no package": by_python, "JavaScript": by_javascript, "C++": by_cpp, "notebook": by_notebook,
    "spreadsheet program": by_spreadsheet,
}  # fmt: skip


def main() -> None:
    import os

    draw = random.Random(20)
    hertz = [math.exp(draw.uniform(0.0, math.log(266.0))) for _ in range(50)]
    states = [(round(draw.uniform(-40.0, 59.9), 2), round(f, 3)) for f in hertz]
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        with matdb.open_store("bench.sqlite") as store:
            store.add(matdb.Material(name="amber 40A", family="silicone", hardness="40 A"))
            store.add(matdb.Part(name=PART, material="amber 40A", form=matdb.Ring(16, 6, 5)))
            store.add(matdb.Mounting(name="nose", mass_kg=0.6, count=4, rpm_idle=4200, rpm_full=8000))
            store.publish()
            for name in ("table.csv", "table.json", "table.xlsx"):
                write_table(store, name, "table", part_table(store, [PART], "axial"))
            write_table(store, "commas.csv", "table", part_table(store, [PART], "axial"), comma=True)
            found = store.effective(PART, *np.array(states).T)
            truth = np.stack([found.stiffness_n_per_mm.median, found.damping_ratio.median], axis=1)
        worst = 0.0
        print(f"{'':20} stiffness, %  damping ratio, %   (stated: {BOUND} %)")
        for name, ask in WAYS.items():
            try:
                off = 100.0 * np.abs(np.array(ask(states), dtype=float) / truth - 1.0).max(axis=0)
            except (ImportError, FileNotFoundError) as error:
                print(f"{name:20} left out: {error}")
                continue
            worst = max(worst, *off)
            print(f"{name:20} {off[0]:12.3f}  {off[1]:15.3f}")
        os.chdir(TOP)
    if worst > BOUND:
        sys.exit(f"{worst:.2f} % is more than {BOUND} %")


if __name__ == "__main__":
    main()
