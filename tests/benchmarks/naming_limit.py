"""How often a wrong reading can be named at all, and how narrow a band can be: by the truths' own generator.

``python tests/benchmarks/naming_limit.py [truths]`` (20,000 by default, some five minutes) draws truths of
:mod:`rubbers`, takes readings of some of them with the noise of :func:`rubbers.ring_downs`, and asks Bayes' theorem,
with all other truths as the prior, whether one reading shows a stiffness wrong by 1.6 and which. The alarm is set so
that one right reading in 200 is named in sets without a wrong one. No rule on the fitted curve can do better on these
truths; ``calibration.py rubber`` prints what the report's rule does.

Then, of each kind of truth, with all others as the prior and the thermometer exact: the 95 % band of the storage
modulus at 30 Hz at the temperatures that ``calibration.py rubber`` asks, its coverage and its median's error. A fit
does not know the generator, and leaves the thermometer a kelvin. It takes many truths for their bands to hold 95 %, of
two-peaked ones the most.
"""

from __future__ import annotations

import math
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

import rubbers
import virtual

WRONG = 0.5 * math.log(1.6)  # of ln frequency
FREQUENCY_SD, DECREMENT_SD = 0.03, 0.15
#: What the part's geometry leaves open on ln frequency, the same for all readings of a set.
LEVEL_SD = 0.075
KINDS = ("flat plateau", "two-peaked", "WLF both sides", "polyurethane", "critical gel")
TESTS = 1500


def rung(seed: int) -> np.ndarray:
    """Ln of frequency and decrement of one truth at the temperatures of five readings, one by one, shape (10,), and
    ln of its storage modulus where it is asked, over the modulus that its mass is chosen by, shape (4,)."""
    truth = rubbers.rubber(10**6 + seed, KINDS[seed % len(KINDS)])
    level = abs(truth.at(30.0, 23.0))
    mass = virtual.UNIT * level * 1e3 / (2.0 * math.pi * 30.0) ** 2
    asked = truth.at(30.0, np.array(rubbers.ASKED)).real / level
    return np.log([*np.ravel([truth.ring(t, mass) for t in rubbers.DESIGNS[5]]), *asked])


def ln_odds(taken: np.ndarray, known: np.ndarray) -> np.ndarray:
    """Ln odds of each reading being wrong, up or down, against none being so, shape (readings,)."""
    m = len(taken)
    weights = np.linalg.inv(FREQUENCY_SD**2 * np.eye(m) + LEVEL_SD**2)
    away = taken - known
    loss = 0.5 * (away[:, :, 1] ** 2).sum(axis=1) / DECREMENT_SD**2

    def ln_likelihood(slip: np.ndarray) -> float:
        left = away[:, :, 0] - slip
        value = -0.5 * np.einsum("ni,ij,nj->n", left, weights, left) - loss
        return float(np.logaddexp.reduce(value))

    none = ln_likelihood(np.zeros(m))
    each = [np.logaddexp(*(ln_likelihood(sign * WRONG * row) for sign in (-1.0, 1.0))) for row in np.eye(m)]
    return np.array(each) - none - math.log(2.0 * m)


def limit(truths: np.ndarray, columns: list[int]) -> None:
    """Print how many wrong readings are named alone, and within a pair."""
    rng, m = np.random.default_rng(1), len(columns)
    truths = truths[:, :10].reshape(-1, 5, 2)[:, columns]
    clean, wrong, place = [], [], []
    for i in rng.choice(len(truths), min(TESTS, len(truths) // 4), replace=False):
        known = np.delete(truths, i, axis=0)
        taken = truths[i] + rng.standard_normal((m, 2)) * [FREQUENCY_SD, DECREMENT_SD]
        clean.append(ln_odds(taken, known))
        place.append(int(rng.integers(m)))
        taken[place[-1], 0] += WRONG * rng.choice((-1.0, 1.0))
        wrong.append(ln_odds(taken, known))
    level = np.quantile(np.logaddexp.reduce(clean, axis=1), 1.0 - m / 200.0)
    alarm = np.logaddexp.reduce(wrong, axis=1) > level
    order = np.argsort(-np.array(wrong), axis=1)
    hit = [alarm & (order[:, :n] == np.array(place)[:, None]).any(axis=1) for n in (1, 2)]
    print(f"{m} readings, {len(place)} sets: wrong one named alone {hit[0].mean():.3f}, in a pair {hit[1].mean():.3f}")
    for k in range(m):
        mine = np.array(place) == k
        alone, pair = (each[mine].mean() for each in hit)
        print(f"  at {rubbers.DESIGNS[5][columns[k]]:g} degC: alone {alone:.2f}, in a pair {pair:.2f}", flush=True)


def narrowest(truths: np.ndarray, columns: list[int]) -> None:
    """Print the band of the storage modulus of each kind that Bayes' theorem gives, its level on the readings alone."""
    rng, m = np.random.default_rng(2), len(columns)
    rung_at, asked = truths[:, :10].reshape(-1, 5, 2)[:, columns], truths[:, 10:]
    for kind, name in enumerate(KINDS):
        mine = np.arange(kind, len(truths), len(KINDS))
        ends, errors = [], []
        for i in rng.choice(mine, min(TESTS // 10, len(mine)), replace=False):
            away = rung_at[i] + rng.standard_normal((m, 2)) * [FREQUENCY_SD, DECREMENT_SD] - rung_at
            level = away[:, :, 0].mean(axis=1)
            z = (away - np.stack([level, 0.0 * level], axis=1)[:, None]) / [FREQUENCY_SD, DECREMENT_SD]
            ln_weight = -0.5 * (z**2).sum(axis=(1, 2))
            ln_weight[i] = -np.inf
            weight = np.exp(ln_weight - ln_weight.max())
            drawn = rng.choice(len(truths), 4000, p=weight / weight.sum())
            noise = FREQUENCY_SD / math.sqrt(m) * rng.standard_normal(drawn.size)
            found = asked[drawn] + 2.0 * (level[drawn] + noise)[:, None] - asked[i]
            low, middle, high = np.quantile(found, (0.025, 0.5, 0.975), axis=0)
            ends.append((low, high))
            errors.append(np.abs(middle))
        low, high = np.array(ends).transpose(1, 0, 2)
        covered, width = ((low <= 0.0) & (high >= 0.0)).mean(), np.exp(np.median(high - low))
        print(
            f"{m} readings, {name:<15} covered {covered:.3f}  hi/lo {width:.3f}  |error| {np.median(errors):.3f}",
            flush=True,
        )


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    with ProcessPoolExecutor(2) as pool:
        found = np.array(list(pool.map(rung, range(count), chunksize=100)))
    for columns in ([0, 2, 4], [0, 1, 2, 3, 4]):
        limit(found, columns)
        narrowest(found, columns)
