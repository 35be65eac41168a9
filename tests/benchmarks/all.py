"""What is promised of speed and memory, in one table of ratios.

    python tests/benchmarks/all.py [--quick] [--only WORDS] [--markdown]

Both sides of a ratio run in turn in the same minute and the quickest of their processor times counts, so that a busy
machine slows both and decides nothing; wall times are beside them where a process is started. Every benchmark runs in a
process of its own on one thread, and its largest memory is that of the process. Modules are compiled beforehand, as an
installation does. ``--quick`` makes the large stores smaller, with fewer rounds. Needs the ``bench`` extra.

The import floor of a command is ``python -c`` with the modules of others that its answer uses, and nothing of matdb: it
reads with sqlite3 and json, checks with hashlib, draws with rich, computes with NumPy (its random numbers make the
misfit), and lets Typer read two options of a command that does nothing, since Typer loads most of itself then.
"""

from __future__ import annotations

import argparse
import json
import os
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

TOP = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TOP), str(TOP / "tests"), str(TOP / "tests" / "benchmarks")]

PART, TEMP, MASS = "silicone ring 16x6x5", "-5C", "155g"
SOFT = "gel ring 14x5x7"
SHARED = "dataclasses, datetime, functools, hashlib, importlib.util, json, pathlib, re, sqlite3, textwrap, urllib.parse"
DRAWN = "rich.box, rich.console, rich.table, rich.text"
FLOORS = {
    "typer": """import typer
app = typer.Typer()
@app.command()
def nothing(part: str, temp: list[str] = [], count: int = 1): pass
typer.main.get_command(app).main(["a", "--temp", "b"], standalone_mode=False)"""
}
FLOORS["answer"] = f"import {SHARED}, {DRAWN}, numpy, numpy.random\n{FLOORS['typer']}"


def in_turn(ours: Callable[[], Any], theirs: Callable[[], Any], rounds: int, repeat: int = 1) -> tuple[float, float]:
    """Quickest processor time of each, run in turn."""
    best = [float("inf"), float("inf")]
    for _ in range(rounds):
        for k, work in enumerate((ours, theirs)):
            started = time.process_time()
            for _ in range(repeat):
                work()
            best[k] = min(best[k], (time.process_time() - started) / repeat)
    return best[0], best[1]


# -- effective stiffness ------------------------------------------------------------------------------------


def _loaded(folder: Path, draws: int | None = None, misfit: bool = True) -> Any:
    import dataclasses

    import matdb
    from matdb.advice.answers import PartAnswers

    with matdb.open_store(folder / "demo.sqlite") as store:
        # The closed form knows nothing of rubber that gives by its volume: that of a soft part does not.
        known = store.answers(PART if draws is None else SOFT)
    curve = known.curve
    if draws is not None:
        curve = dataclasses.replace(
            curve,
            parameters=curve.parameters[:draws],
            misfit=curve.misfit[:draws] * (1.0 if misfit else 0.0),
            offsets={name: values[:draws] for name, values in curve.offsets.items()},
        )
    return PartAnswers(curve, known.material, known.part)


def bare(parameters: Any, scale: Any, t: Any, f: Any) -> tuple[Any, Any]:
    """The closed form of a part's stiffness and damping ratio in plain NumPy, for parameters of shape (13, n, 1)."""
    import numpy as np

    ln_e0, ln_e1, alpha, gamma, vertical, ln_tau, tg, c1, c2, upper, energy, exponent, law = parameters
    k, ref = t + 273.15, 296.15

    def wlf(kelvin: Any) -> Any:
        joint = np.clip(kelvin, tg, upper)
        x = joint - tg
        slope = np.log(10.0) * c1 * c2 * (joint / (c2 + x)) ** 2
        return -np.log(10.0) * c1 * x / (c2 + x) + slope * (1.0 / kelvin - 1.0 / joint)

    shift = np.where(law == 1.0, energy / 8.31446261815324 * (1.0 / k - 1.0 / ref), wlf(k) - wlf(ref))
    z = np.exp(alpha * (ln_tau + shift + np.log(2.0 * np.pi * f) + 0.5j * np.pi))
    e0, e1 = np.exp(ln_e0), np.exp(ln_e1)
    modulus = (e1 - (e1 - e0) * (1.0 + z) ** -gamma) * (k / ref) ** vertical * (1j * f / 30.0) ** exponent
    return scale * modulus.real, 0.5 * modulus.imag / modulus.real


def bare_suspended(parameters: Any, scale: Any, t: Any, mass: float) -> tuple[Any, Any, Any]:
    """The same under a mass: the frequency at which it holds, by fixed-point steps with a secant's haste."""
    import numpy as np

    ln_f = np.full(np.broadcast_shapes(np.shape(t), np.shape(scale)), np.log(30.0))
    for _ in range(5):
        f = np.exp(ln_f)
        stiffness, damping = bare(parameters, scale, t, f)
        # d ln K / d ln omega is about 4 damping / pi.
        ln_f = ln_f - (2 * ln_f - np.log(1e3 * stiffness / mass) + 2 * np.log(2 * np.pi)) / (2 - 4 * damping / np.pi)
    f = np.exp(ln_f)
    return (*bare(parameters, scale, t, f), f)


def case_median(folder: Path, quick: bool) -> list[list[Any]]:
    """Medians alone, vectorised and one at a time."""
    import numpy as np

    known = _loaded(folder)
    # One draw's parameters make the same number of operations as any other's.
    parameters, scale = known.curve.parameters[0][:, None], np.exp(known._ln_scale[0])
    t = np.linspace(-20.0, 45.0, 10_000)
    wide = np.geomspace(1.0, 200.0, 10_000)
    rounds = 5 if quick else 15
    rows = []
    middle = known.effective(t[::500], 30.0).stiffness_n_per_mm.median
    assert np.allclose(known.median(t[::500], 30.0).stiffness_n_per_mm, middle, rtol=2e-3)
    for what, ours, theirs in (
        ("10,000 temperatures, one frequency", lambda: known.median(t, 30.0), lambda: bare(parameters, scale, t, 30.0)),
        ("10,000 states", lambda: known.median(t, wide), lambda: bare(parameters, scale, t, wide)),
        (
            "10,000 temperatures under a mass",
            lambda: known.median(t, mass_kg=0.15),
            lambda: bare_suspended(parameters, scale, t, 0.15),
        ),
    ):
        ours()
        rows.append([f"median, {what}", "closed form, one draw, NumPy", *in_turn(ours, theirs, rounds), 3.0])
    # The very same numbers: the table's own four columns, interpolated by hand.
    at = (np.log(30.0) - np.log(1e-2)) / 0.5
    j = int(at)

    def weights(x: Any) -> list[Any]:
        return [
            -x * (x - 1) * (x - 2) / 6,
            (x + 1) * (x - 1) * (x - 2) / 2,
            -(x + 1) * x * (x - 2) / 2,
            (x + 1) * x * (x - 1) / 6,
        ]

    def by_hand() -> Any:
        x = t + 120.0
        line = sum(w * known._table[:, :, j - 1 + k] for k, w in enumerate(weights(at - j)))
        return np.exp(sum(w * line[:, x.astype(int) - 1 + k] for k, w in enumerate(weights(x - x.astype(int)))))

    same = known.median(t, 30.0)
    np.testing.assert_allclose(np.stack([same.stiffness_n_per_mm, same.damping_ratio]), by_hand()[:2], rtol=1e-12)
    rows.append(
        [
            "median, 10,000 temperatures, one frequency",
            "the same table by hand, equal to 1e-12",
            *in_turn(lambda: known.median(t, 30.0), by_hand, rounds),
            3.0,
        ]
    )
    return rows


def case_scalar(folder: Path, quick: bool) -> list[list[Any]]:
    """One call against one call of a general property library."""
    from CoolProp.CoolProp import PropsSI

    known = _loaded(folder)
    small = _loaded(folder, 200)
    rounds = 5 if quick else 15

    def water() -> float:
        return float(PropsSI("D", "T", 298.15, "P", 101325.0, "Water"))

    def glycol() -> float:
        return float(PropsSI("V", "T", 298.15, "P", 101325.0, "INCOMP::MEG-50%"))

    known.median(-5.0, 30.0), known.median(-5.0, mass_kg=0.15), water(), glycol()
    rows = []
    for what, ours, against, theirs, bound in (
        ("median, one call", lambda: known.median(-5.0, 30.0), "CoolProp, density of water", water, 3.0),
        ("median, one call", lambda: known.median(-5.0, 30.0), "CoolProp, a plain fit (glycol)", glycol, None),
        ("median, one call, under a mass", lambda: known.median(-5.0, mass_kg=0.15), "CoolProp, water", water, 3.0),
        ("200 draws with bands, one call", lambda: small.effective(-5.0, 30.0), "CoolProp, water", water, None),
    ):
        rows.append([what, against, *in_turn(ours, theirs, rounds, 100), bound])
    return rows


def case_draws(folder: Path, quick: bool) -> list[list[Any]]:
    """200 draws with bands and warnings against the plain evaluation of the draws alone."""
    rows = []
    for misfit, label in ((False, "200 draws, bands"), (True, "200 draws, bands and misfit")):
        known = _loaded(folder, 200, misfit)
        for count in (1, 10, 1000):
            rows += _against_draws(known, f"{label}, {count:,} states", count, 4 if quick else 12)
    return rows


def _against_draws(known: Any, what: str, count: int, rounds: int) -> list[list[Any]]:
    import numpy as np

    parameters, scale = known.curve.parameters.T[:, :, None], np.exp(known._ln_scale)[:, None]
    t = np.linspace(-18.0, 45.0, count)
    found = known.effective(t, 30.0)
    if not known.curve.misfit.any():
        # The same numbers: ends of the bands are NumPy's quantiles of the plain evaluation.
        plain_draws = bare(parameters, scale, t, 30.0)
        for band, plain in zip((found.stiffness_n_per_mm, found.damping_ratio), plain_draws, strict=True):
            low, high = np.quantile(plain, [0.025, 0.975], axis=0)
            np.testing.assert_allclose(band.low, low, rtol=1e-9)
            np.testing.assert_allclose(band.high, high, rtol=1e-9)

    def ours() -> Any:
        return known.effective(t, 30.0)

    def theirs() -> Any:
        return bare(parameters, scale, t, 30.0)

    def with_quantiles() -> Any:
        return [np.quantile(v, [0.025, 0.5, 0.975], axis=0) for v in theirs()]

    repeat = 40 if count < 100 else 1
    rows = [[what, "closed form, 200 draws, NumPy", *in_turn(ours, theirs, rounds, repeat), 3.0]]
    pair = in_turn(ours, with_quantiles, rounds, repeat)
    rows.append([what, "the same and NumPy's quantiles", *pair, None])
    if count > 100:
        t_mass = t[::5]
        pair = in_turn(
            lambda: known.effective(t_mass, mass_kg=0.15),
            lambda: bare_suspended(parameters, scale, t_mass, 0.15),
            max(rounds // 3, 3),
        )
        rows.append([what.replace(f"{count:,}", f"under a mass, {t_mass.size}"), "closed form, solved", *pair, 4.0])
    return rows


# -- fits and ranking ---------------------------------------------------------------------------------------


def case_fit(folder: Path, quick: bool) -> list[list[Any]]:
    """Fits of 3, 40 and 5,000 readings, and how a fit grows with readings, parts and sessions."""
    import dataclasses
    import math

    import numpy as np
    import rubbers
    import sweeps
    import virtual

    from matdb.curve.fit import fit_curve
    from matdb.material.record import Material

    truth, material = virtual.specimen(1), Material(name="virtual", family="unknown")

    def taken(temperatures: int, frequencies: int) -> Any:
        return sweeps.sweep(
            truth,
            np.linspace(-40.0, 60.0, temperatures),
            np.geomspace(0.1, 100.0, frequencies),
            np.random.default_rng(0),
        )

    def rung(readings: int = 28, parts: int = 1, sessions: int = 1) -> tuple[Any, Any]:
        """Ring-downs of as many equal parts in as many sessions, in turn."""
        found = rubbers.ring_downs(
            rubbers.rubber(1, "flat plateau"), np.linspace(-18.0, 50.0, readings), np.random.default_rng(1)
        )
        named = [
            dataclasses.replace(each, part=f"part {k % parts}", session=f"day {k % sessions}")
            for k, each in enumerate(found)
        ]
        return {f"part {k}": dataclasses.replace(virtual.PART, name=f"part {k}") for k in range(parts)}, named

    def grown(what: str, low: int, high: int) -> list[Any]:
        few, many = (rung(**{what: count}) for count in (low, high))
        pair = in_turn(lambda: fit_curve(material, *many), lambda: fit_curve(material, *few), 1 if quick else 3)
        power = math.log(pair[0] / pair[1]) / math.log(high / low)
        return [f"fit, {high} {what}", f"{low} {what}: power {power:.2f}", *pair, None]

    sizes = {3: taken(3, 1), 40: taken(5, 8), 5000: taken(20, 250)}
    fit_curve(material, {}, sizes[3])
    best = dict.fromkeys(sizes, float("inf"))
    for _ in range(1 if quick else 3):
        for size, readings in sizes.items():
            started = time.process_time()
            fit_curve(material, {}, readings)
            best[size] = min(best[size], time.process_time() - started)
    return [
        ["fit of 3 readings", "fit of 40", best[3], best[40], None],
        ["fit of 5,000 readings", "fit of 40", best[5000], best[40], 5.0],
        *(grown(*each) for each in (("readings", 14, 56), ("parts", 1, 4), ("sessions", 1, 4))),
    ]


def case_sampler(folder: Path, quick: bool) -> list[list[Any]]:
    """What an effective draw costs, of means and of the ends of bands, beside an ensemble sampler on the same density.

    ``fit_speed.py`` tells the rest.
    """
    import fit_speed

    rows = []
    for count, seeds in ((3, 20), (14, 20), (15, 20), (40, 20), (5000, 8)):
        ours = fit_speed.fits(count, min(seeds, 5) if quick else seeds)
        effective, spent = fit_speed.ensemble(count, 300 if quick else 3000)
        for what, draws in (("mean", ours.mean), ("ends", ours.ends)):
            name = f"effective draw of {what}, {count:,} readings"
            rows.append([name, f"emcee; {draws:.0f} of a fit", ours.seconds / draws, spent / effective, None])
    return rows


def case_ranking(folder: Path, quick: bool) -> list[list[Any]]:
    """Growth exponents of the ranking: ln of the ratio of times over ln of the factor."""
    import math

    import suit

    base = {"parts": 200, "squeezes": 5, "hours": 36, "draws": 100, "frequencies": 60, "materials": 4, "directions": 6}
    factors = {
        "parts": (200, 800),
        "hours": (36, 144),
        "draws": (100, 400),
        "squeezes": (5, 20),
        "frequencies": (60, 240),
    }
    rows = []
    for name, (low, high) in factors.items():
        runs = [suit.told(base | {name: value}, 1 if quick else 3) for value in (low, high)]
        times = [run["cpu"] for run in runs]
        exponent = math.log(times[1] / times[0]) / math.log(high / low)
        rows.append(
            [
                f"ranking, {high:,} {name}",
                f"{low:,} {name}: power {exponent:.2f}",
                times[1],
                times[0],
                high / low,
                runs[1]["mib"],
            ]
        )
    return rows


# -- the store ----------------------------------------------------------------------------------------------


def case_make(folder: Path, quick: bool) -> list[list[Any]]:
    """Make the stores that the others read."""
    import matdb
    from matdb.bench.readings import RingDown
    from matdb.cli.demo import demo_scenario
    from matdb.store.stored import FitRecord

    scenario = demo_scenario()
    with matdb.open_store(folder / "demo.sqlite") as store:
        store.add(scenario.records)
        for material in scenario.materials:
            store.fit(material.name)
        material = store.part(PART).material
        fit = store.records.newest_fit(material)
    for name, count in (("small", 1000), ("large", 100_000 if quick else 1_000_000)):
        with matdb.open_store(folder / f"{name}.sqlite") as store:
            store.add([*scenario.materials, *scenario.parts])
            # All of them on one material and part: the hardest case for its newest curve.
            store.records.add_readings(
                RingDown(part=PART, temperature_c=-18.0 + 1e-5 * k, mass_kg=0.25, frequency_hz=31.2, log_decrement=0.5)
                for k in range(count)
            )
            store.records.save_fit(
                FitRecord(
                    material=material, program_version="0", meta=fit.meta, arrays=fit.arrays, reading_ids=(), seed=0
                )
            )
    with matdb.open_store(folder / "parts.sqlite") as store:
        store.add(matdb.Material(name="amber", family="silicone"))
        store.add(
            [
                matdb.Part(
                    name=f"ring {k:05d}",
                    material="amber",
                    form=matdb.Ring(outer_mm=10 + k / 1000, inner_mm=5, height_mm=6),
                )
                for k in range(10_000)
            ]
        )
    return []


def case_store(folder: Path, quick: bool) -> list[list[Any]]:
    """Opening, a long list, and the newest curve in a small and a large store."""
    import matdb
    from matdb.store.rows import SELECTS

    rounds = 5 if quick else 15
    large = folder / "large.sqlite"
    with matdb.open_store(large) as store:
        material = store.part(PART).material

    def raw(file: Path, sql: str, *values: Any) -> Any:
        connection = sqlite3.connect(f"file:{file}?mode=ro", uri=True)
        try:
            return connection.execute(sql, values).fetchall()
        finally:
            connection.close()

    def opened(file: Path) -> None:
        matdb.open_store(file).close()

    rows = [
        [
            "open a store of 1,000,000 readings" if not quick else "open a store of 100,000 readings",
            "sqlite3: open, read the version",
            *in_turn(lambda: opened(large), lambda: raw(large, "SELECT version_num FROM alembic_version"), rounds, 5),
            None,
        ]
    ]
    parts = folder / "parts.sqlite"
    with matdb.open_store(parts) as store:
        pair = in_turn(store.records.parts_read, lambda: raw(parts, SELECTS["part"]), rounds)
        rows.append(["list 10,000 parts, with readings counted", "sqlite3: the same rows", *pair, None])
    newest = SELECTS["fit"] + " WHERE material.name = ? ORDER BY fit.id DESC LIMIT 1"
    with matdb.open_store(large) as many, matdb.open_store(folder / "small.sqlite") as few:
        read = many.records.newest_fit
        pair = in_turn(lambda: read(material), lambda: raw(large, newest, material), rounds, 5)
        rows.append(["newest curve in the large store", "sqlite3: the same row, to read", *pair, None])
        pair = in_turn(lambda: read(material), lambda: few.records.newest_fit(material), rounds, 5)
        rows.append(["newest curve in the large store", "in one of 1,000 readings", *pair, 1.5])

        def asked(store: Any) -> None:
            store._curves.clear()
            store.curve(material)

        pair = in_turn(lambda: asked(many), lambda: asked(few), rounds)
        rows.append(["... and whether it is current", "in one of 1,000 readings", *pair, None])
    return rows


CASES = {
    "median": case_median,
    "scalar": case_scalar,
    "draws": case_draws,
    "fit": case_fit,
    "sampler": case_sampler,
    "ranking": case_ranking,
    "store": case_store,
}


# -- running it all -----------------------------------------------------------------------------------------


def environment(folder: Path) -> dict[str, str]:
    """One thread, this checkout, compiled modules kept."""
    kept = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE" and not k.startswith("MATDB")}
    threads = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    return kept | threads | {"PYTHONPATH": str(TOP), "PYTHONPYCACHEPREFIX": str(folder / "compiled"), "COLUMNS": "110"}


def started(words: list[str], env: dict[str, str]) -> tuple[float, float, float]:
    """Processor seconds, wall seconds and largest memory in MiB of one run."""
    begun = time.perf_counter()
    child = subprocess.Popen([sys.executable, *words], env=env, stdout=subprocess.DEVNULL)
    _, status, used = os.wait4(child.pid, 0)
    wall = time.perf_counter() - begun
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        raise SystemExit(f"{words} ended with {child.returncode}")
    return used.ru_utime + used.ru_stime, wall, used.ru_maxrss / 1024.0


def command(*words: str) -> list[str]:
    """What the installed command runs."""
    return ["-c", f"import sys; sys.argv[1:] = {list(words)!r}; from matdb.__main__ import main; sys.exit(main())"]


def cold_starts(folder: Path, quick: bool) -> list[list[Any]]:
    """Commands against their import floors: rows as of the cases, with memory and the ratio of wall times."""
    env = environment(folder)
    asked = ("stiffness", PART, "--temp", TEMP, "--mass", MASS)
    demo, small, large = (str(folder / f"{name}.sqlite") for name in ("demo", "small", "large"))
    ours = {
        "version": command("--version"),
        "list": command("part", "list", "--store", demo),
        "stiffness": command(*asked, "--store", demo),
        "stiffness, large store": command(*asked, "--as-fitted", "--store", large),
    }
    theirs = {name: ["-c", code] for name, code in FLOORS.items()} | {
        "small": command(*asked, "--as-fitted", "--store", small)
    }
    pairs = (
        ("matdb --version", "version", "python -c, the floor of Typer", "typer", None),
        ("matdb part list", "list", "python -c, its import floor", "answer", 1.6),
        ("matdb stiffness", "stiffness", "python -c, its import floor", "answer", 1.6),
        ("matdb stiffness, large store", "stiffness, large store", "store of 1,000 readings", "small", None),
    )
    runs: dict[str, list[tuple[float, float, float]]] = {}
    for turn in range((6 if quick else 20) + 1):
        for side, known in (("ours", ours), ("theirs", theirs)):
            for name, words in known.items():
                taken = started(words, env)
                if turn:  # the first one compiles
                    runs.setdefault(f"{side} {name}", []).append(taken)

    def least(name: str, which: int) -> float:
        return min(run[which] for run in runs[name])

    rows = []
    for what, mine, against, other, bound in pairs:
        a, b = f"ours {mine}", f"theirs {other}"
        rows.append(
            [what, against, least(a, 0), least(b, 0), bound, max(r[2] for r in runs[a]), least(a, 1) / least(b, 1)]
        )
    memory = [max(r[2] for r in runs[name]) for name in ("ours stiffness, large store", "theirs small")]
    rows.append(
        ["its largest memory, MiB", "in a store of 1,000 readings", memory[0], memory[1], 1.05, memory[0], None]
    )
    return rows


def told(name: str, folder: Path, quick: bool) -> list[list[Any]]:
    """A case in a process of its own."""
    words = [sys.executable, __file__, "--case", name, "--folder", str(folder), *(["--quick"] if quick else [])]
    done = subprocess.run(words, env=environment(folder), capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(done.stderr)
    found = json.loads(done.stdout.splitlines()[-1])
    # The ranking runs in processes of its own, which tell their memory themselves.
    return [[*(row if len(row) > 5 else [*row, found["mib"]]), None] for row in found["rows"]]


def shown(seconds: float, unit: bool) -> str:
    """A time with its unit; a bare number without."""
    if not unit:
        return f"{seconds:.0f}"
    for size, name in ((1.0, "s"), (1e-3, "ms"), (1e-6, "µs")):
        if seconds >= size:
            return f"{seconds / size:.3g} {name}"
    return f"{seconds * 1e9:.0f} ns"


def main() -> int:
    """Print the table; exit code 1 when a bound does not hold."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="smaller stores, fewer rounds")
    parser.add_argument("--only", help="cases, separated by commas: cold, " + ", ".join(CASES))
    parser.add_argument("--markdown", action="store_true", help="print a table for a document")
    parser.add_argument("--case", help=argparse.SUPPRESS)
    parser.add_argument("--folder", type=Path, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.case:
        import resource

        rows = (CASES | {"make": case_make})[given.case](given.folder, given.quick)
        print(json.dumps({"rows": rows, "mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0}))
        return 0
    wanted = given.only.split(",") if given.only else ["cold", *CASES]
    failed = 0
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        told("make", folder, given.quick)
        layout = (
            "| {} | {} | {} | {} | {} | {} | {} | {} |"
            if given.markdown
            else "{:<46} {:<36} {:>8} {:>8} {:>6} {:>6} {:>6} {:>6}"
        )
        print(layout.format("what", "against", "matdb", "that", "ratio", "wall", "bound", "MiB"))
        if given.markdown:
            print("|---|---|--:|--:|--:|--:|--:|--:|")
        for name in wanted:
            rows = cold_starts(folder, given.quick) if name == "cold" else told(name, folder, given.quick)
            for what, against, ours, theirs, bound, mib, wall in rows:
                ratio = ours / theirs
                failed += bound is not None and ratio > bound
                seconds = "MiB" not in what
                print(
                    layout.format(
                        what,
                        against,
                        shown(ours, seconds),
                        shown(theirs, seconds),
                        f"{ratio:.2f}" + ("!" if bound is not None and ratio > bound else ""),
                        "" if wall is None else f"{wall:.2f}",
                        "" if bound is None else f"{bound:g}",
                        f"{mib:.0f}",
                    ),
                    flush=True,
                )
    return int(failed > 0)


if __name__ == "__main__":
    raise SystemExit(main())
