"""How right the bands are on rubber as it is: truths that no candidate model contains (:mod:`rubbers`).

Run by ``calibration.py rubber``. Every table is measured at 30 Hz, at temperatures that were not read.
"""

from __future__ import annotations

import dataclasses
import time
from concurrent.futures import ProcessPoolExecutor

import numpy as np
import rubbers
import virtual

from matdb.advice.effective import effective
from matdb.curve.fit import fit_curve
from matdb.material.record import Material
from matdb.material.softening import ln_softening

ASKED = np.array(rubbers.ASKED)
HERTZ = 30.0
WRONG = 1.6


def fitted(truth, taken):
    material = Material(name="virtual", family=truth.family)
    return material, fit_curve(material, {"virtual": virtual.PART}, taken)


def judged(curve, truth) -> dict:
    """Error, coverage and width at every temperature, and the share of readings that were named."""
    want, got = truth.at(HERTZ, ASKED), curve.modulus(ASKED, HERTZ)
    loss = want.imag / want.real
    return {
        "covered": (got.storage_mpa.low <= want.real) & (want.real <= got.storage_mpa.high),
        "hi/lo": got.storage_mpa.high / got.storage_mpa.low,
        "|error|": np.abs(got.storage_mpa.median / want.real - 1.0),
        "loss covered": (got.loss_factor.low <= loss) & (loss <= got.loss_factor.high),
        "loss hi/lo": got.loss_factor.high / got.loss_factor.low,
        "named": np.array([row["fumbled"] for row in curve.report["readings"]]),
    }


def covered(task) -> dict:
    seed, kind, count, thermometer = task
    truth = rubbers.rubber(seed, kind)
    rng = np.random.default_rng([seed, count, rubbers.KINDS.index(kind)])
    more = {"thermometer_sd_k": 0.0} if thermometer == "exact" else {}
    # A kelvin is what a reading allows for that tells nothing of its thermometer.
    off = rng.normal() if thermometer == "real" else 0.0
    taken = [each(reading, **more) for reading in rubbers.ring_downs(truth, rubbers.DESIGNS[count], rng, off_k=off)]
    start = time.process_time()
    _, curve = fitted(truth, taken)
    return judged(curve, truth) | {"s/fit": time.process_time() - start}


def said(row) -> str:
    """What the report says of a reading: "fumbled", one of "two", "glass" (or misread), or nothing."""
    if row["fumbled"]:
        return "fumbled"
    return "glass" if isinstance(row["or_else"], str) else "" if row["or_else"] is None else "two"


def named(task) -> tuple[list[str], list[str], list[str]]:
    """What is said of readings that are all right; of the right ones and the wrong one where one of ``count`` shows a
    stiffness wrong by 1.6 (up or down)."""
    seed, kind, count = task
    truth = rubbers.rubber(seed, kind)
    rng = np.random.default_rng([seed, count, rubbers.KINDS.index(kind), 9])
    at, factor = int(rng.integers(count)), WRONG ** rng.choice((-1.0, 1.0))
    state = rng.bit_generator.state
    clean = rubbers.ring_downs(truth, rubbers.DESIGNS[count], rng)
    rng.bit_generator.state = state
    taken = rubbers.ring_downs(truth, rubbers.DESIGNS[count], rng, wrong=factor, wrong_at=at)
    right, spoilt = (list(map(said, fitted(truth, r)[1].report["readings"])) for r in (clean, taken))
    return right, spoilt[:at] + spoilt[at + 1 :], [spoilt[at] + (" coldest" if at == 0 else "")]


def told(seed: int) -> dict[str, dict]:
    """One specimen under each of the circumstances that a reading may tell of."""
    truth = rubbers.rubber(seed, rubbers.KINDS[seed % 4])
    rng = np.random.default_rng([seed, 77])
    taken = rubbers.ring_downs(truth, rubbers.DESIGNS[3], rng)
    found = {}

    def judge(name, readings, factor=1.0, at=ASKED, **more):
        material, curve = fitted(truth, readings)
        want, got = truth.at(HERTZ, at), effective(curve, material, virtual.PART, at, frequency_hz=HERTZ, **more)
        want = np.array([virtual.felt(each) for each in want * factor])
        stiff, loss = want.real * virtual.UNIT, want.imag / want.real
        k, d = got.stiffness_n_per_mm, got.damping_ratio
        found[name] = {
            "E' covered": (k.low <= stiff) & (stiff <= k.high),
            "loss covered": (2.0 * d.low <= loss) & (loss <= 2.0 * d.high),
            "hi/lo": k.high / k.low,
            "warned": [any(word in w for w in got.warnings for word in ("told", "crystallises"))],
        }

    off = 2.0 * rng.choice((-1.0, 1.0))
    warm = rubbers.ring_downs(truth, rubbers.DESIGNS[3], rng, off_k=off)
    judge("thermometer 2 K off, not told", warm)
    judge("thermometer 2 K off, told +-2 K", [each(r, session="cold", thermometer_sd_k=2.0) for r in warm])
    pieces = np.exp(0.1 * rng.standard_normal(4))
    of_eight = np.concatenate([pieces, np.exp(0.1 * rng.standard_normal(4))])
    one = rubbers.ring_downs(truth, rubbers.DESIGNS[3], rng, stiffer=pieces[0])
    judge("one of four pieces, not told", one, pieces.mean())
    judge("one of four pieces, told", [each(r, piece=1) for r in one], pieces.mean(), count=4)
    judge("one of two pieces, told", [each(r, piece=1) for r in one], pieces[:2].mean(), count=2)
    judge("one of eight pieces, told", [each(r, piece=1) for r in one], of_eight.mean(), count=8)
    bench, flight = 0.01, 0.2
    share = rng.uniform(0.25, 0.5)
    at = (ln_softening(a / virtual.FORM.height_mm, share, 0.006) for a in (flight, bench))
    soft = float(np.exp(np.subtract(*at)))
    judge("amplitude in flight, not told", taken, soft)
    small = [each(r, amplitude_mm=bench) for r in taken]
    judge("amplitude in flight, told", small, soft, amplitude_mm=flight)
    large = [each(r, amplitude_mm=flight) for r in rubbers.ring_downs(truth, (23.0,), rng, stiffer=soft)]
    judge("both amplitudes read", [*small, *large], soft, amplitude_mm=flight)
    # The same for natural rubber, which has crystallised in the cold; the readings were taken after short soaks.
    while truth.family != "natural rubber":
        truth = rubbers.rubber(int(rng.integers(10**6)), rubbers.KINDS[seed % 4])
    cold = np.array([-17.0])
    taken = rubbers.ring_downs(truth, rubbers.DESIGNS[3], rng)
    judge("crystallised at -17 degC, not told", taken, rng.uniform(1.5, 3.0), cold)
    factor = rng.uniform(1.5, 3.0)
    stiff = each(rubbers.ring_downs(truth, cold, rng, stiffer=factor)[0], soak_min=600.0)
    for name, readings in (("alone", [stiff, *taken[1:]]), ("beside a short soak", [stiff, *taken])):
        judge(f"crystallised, read after 10 h {name}", readings, factor, cold)
        judge(f"the same, rested 10 h, {name}", readings, factor, cold, rest_h=10.0)
        judge(f"the same, rested 0.5 h, {name}", readings, 1.0, rest_h=0.5)
    return found


def each(reading, **more):
    return dataclasses.replace(reading, **more)


def line(name: str, found: list[dict]) -> None:
    keys = found[0]
    of = {key: np.concatenate([np.ravel(f[key]) for f in found]).astype(float) for key in keys}
    medians = ("hi/lo", "loss hi/lo", "|error|", "s/fit")
    middle = {key: np.median(v) if key in medians else v.mean() for key, v in of.items()}
    print(f"{name:<36}" + "  ".join(f"{key} {value:.3f}" for key, value in middle.items()), flush=True)


def told_of(count: int, found: list[tuple[list[str], ...]]) -> None:
    """Print how often right and wrong readings are named."""
    print(f"{count} readings, one wrong by {WRONG}")
    for k, name in enumerate(("all right", "right beside a wrong one", "wrong", "wrong, not the coldest")):
        all_said = np.concatenate([f[min(k, 2)] for f in found])
        if k == 3:
            all_said = all_said[[not each.endswith("coldest") for each in all_said]]
        share = {word: np.mean([each.startswith(word) for each in all_said]) for word in ("fumbled", "two", "glass")}
        print(f"  {name:<26} of {all_said.size:<5}" + "  ".join(f"{w} {v:.4f}" for w, v in share.items()), flush=True)


def main(words: list[str]) -> None:
    numbers = [int(word) for word in words if word.isdigit()]
    specimens, first = (*numbers, 100, 0)[:2] if len(numbers) != 1 else (numbers[0], 0)
    kinds = [kind for kind in rubbers.KINDS if kind in words] or rubbers.KINDS
    seeds = range(first, first + specimens)
    thermometer = next((word for word in words if word in ("exact", "real")), "")
    with ProcessPoolExecutor(2) as pool:
        for count in (3, 5, 8):
            for kind in kinds:
                tasks = [(seed, kind, count, thermometer) for seed in seeds]
                line(f"{count} readings, {kind}", list(pool.map(covered, tasks, chunksize=4)))
        for count in (3, 5, 14):
            tasks = [(5000 + seed, kind, count) for seed in seeds[: max(1, specimens // 4)] for kind in kinds]
            told_of(count, list(pool.map(named, tasks, chunksize=4)))
        rows = list(pool.map(told, seeds[: max(1, specimens // 4)]))
        for name in rows[0]:
            line(name, [row[name] for row in rows])
