"""How quickly a fit gives how many effective draws, beside a general ensemble sampler on the same posterior.

``python tests/benchmarks/fit_speed.py [seeds]`` fits each set of readings from that many seeds (20; of 5,000 readings
8) and prints, of ln E' at 30 Hz and -10 to 35 degC: effective draws of the mean (the posterior's variance over that of
its mean between seeds) and of the ends of the 95 % bands (as many independent draws would scatter as much), how far
those ends scatter (their worst standard deviation, %), the largest standard deviation of a law's weight, the quickest
processor time of a fit, and what an effective draw takes, ms. Fifteen readings are one more than fourteen.

Beside it stands emcee, run the plain way [1]_ on the very density, laws by one coordinate more: 128 walkers that start
at draws of the posterior, so that it needs no burn-in; effective draws are all over their autocorrelation time.
``general_tools.py`` holds both against each other where noise and misfit are known.

References
----------
.. [1] J. Goodman, J. Weare, Commun. Appl. Math. Comput. Sci. 5 (2010) 65 (stretch moves).
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

import rubbers
import virtual

from matdb.curve import posterior as sampling
from matdb.curve.fit import fit_curve
from matdb.curve.gathering import gather
from matdb.curve.prior import EXCEPTIONS, FACT_HZ, ln_modulus, prior_of
from matdb.curve.tolerance import ln_tolerant
from matdb.material.record import Material
from matdb.material.shift import ZERO_C

ASKED_K = np.array([-10.0, 0.0, 10.0, 35.0]) + ZERO_C
ENDS = (0.025, 0.975)
TRUTHS = {
    3: "flat plateau",
    5: "two-peaked",
    8: "polyurethane",
    14: "WLF both sides",
    15: "WLF both sides",
    40: "two processes",
    5000: "flat plateau",
}
WALKERS = 128


class Speed(NamedTuple):
    """Effective draws of the mean and of the ends of bands, their scatter, %, that of laws' weights, s for a fit."""

    mean: float
    ends: float
    scatter: float
    weights: float
    seconds: float


def taken(count: int) -> tuple[Material, dict[str, Any], Any]:
    """So many ring-downs, as a fit takes them."""
    truth = rubbers.rubber(count, TRUTHS[count])
    design = rubbers.DESIGNS.get(count) or np.linspace(-18.0, 50.0, count)
    readings = rubbers.ring_downs(truth, design, np.random.default_rng(count))
    return Material(name="virtual", family=truth.family), {"virtual": virtual.PART}, readings


def ln_storage(curve: np.ndarray) -> np.ndarray:
    value = ln_modulus(curve, ASKED_K, np.full(ASKED_K.shape, FACT_HZ))
    return value.real + np.log(np.cos(value.imag))


def fits(count: int, seeds: int) -> Speed:
    """Fit the readings from so many seeds; nothing is kept from fit to fit."""
    material, parts, readings = taken(count)
    seconds, told, weights = [], [], []
    for seed in range(seeds):
        start = time.process_time()
        curve = fit_curve(material, parts, readings, seed=seed)
        seconds.append(time.process_time() - start)
        told.append(ln_storage(curve.parameters))
        weights.append(list(curve.weights.values()))
    ends = np.array([np.quantile(each, ENDS, axis=0) for each in told])
    within = np.mean([each.var(axis=0) for each in told])
    between = np.var([each.mean(axis=0) for each in told], axis=0, ddof=1).mean()
    # Of n independent draws a quantile's variance is p (1 - p) / n over the square of the density there.
    p = np.array(ENDS)
    low, high = np.quantile(np.concatenate(told), [p - 0.01, p + 0.01], axis=0)
    alone = (p * (1.0 - p))[:, None] * ((high - low) / 0.02) ** 2
    of_ends = alone.mean() / ends.var(axis=0, ddof=1).mean()
    scatter = 100.0 * ends.std(axis=0, ddof=1).max()
    return Speed(within / between, of_ends, scatter, float(np.std(weights, axis=0).max()), min(seconds))


def ensemble(count: int, steps: int) -> tuple[float, float]:
    """Effective draws of the mean and processor time of an ensemble sampler on the same density."""
    import emcee

    material, parts, readings = taken(count)
    evidence = gather(readings, parts, material.family)
    prior = prior_of(material, float(np.ptp(evidence.temperature_k)))
    contrasts = evidence.contrasts()
    ahead = sampling._prior_layer(prior, evidence.common_sd, sampling.PRIOR_PARTICLES, 0)[1]
    found = sampling.fit_posterior(prior, evidence)
    laws = len(sampling.VARIANTS)

    def which(x: np.ndarray) -> np.ndarray:
        return np.clip(x[:, -1].astype(int), 0, laws - 1)

    def ln_density(x: np.ndarray) -> np.ndarray:
        u, law = x[:, :-1], which(x)
        curve = sampling.draws_of(prior, u, law)
        facts = ln_tolerant(prior.fact_residuals(curve, evidence.common_sd), *EXCEPTIONS).sum(axis=1)
        read = evidence.residuals(curve, *sampling.unpack(prior, evidence, contrasts, u))
        value = ahead[law] - 0.5 * np.sum(u**2, axis=1) + facts + evidence.ln_tempered(read, 1.0)
        return np.where((x[:, -1] >= 0.0) & (x[:, -1] < laws) & np.isfinite(value), value, -np.inf)

    rng = np.random.default_rng(count)
    rows = rng.choice(len(found.coordinates), WALKERS, replace=False)
    by_law = rng.choice(laws, WALKERS, p=list(found.weights.values())) + rng.random(WALKERS)
    start = np.column_stack([found.coordinates[rows], by_law])
    sampler = emcee.EnsembleSampler(WALKERS, start.shape[1], ln_density, vectorize=True)
    begun = time.process_time()
    sampler.run_mcmc(start, steps)
    spent = time.process_time() - begun
    chain = sampler.get_chain().reshape(-1, start.shape[1])
    value = ln_storage(sampling.draws_of(prior, chain[:, :-1], which(chain))).reshape(steps, WALKERS, -1)
    # Of a short chain the autocorrelation time is told too small, in its favour.
    tau = float(np.mean(emcee.autocorr.integrated_time(value, tol=0, quiet=True)))
    return steps * WALKERS / tau, spent


def main(seeds: int) -> None:
    head = ("of mean", "of ends", "ends, %", "weights", "s", "ms a draw", "emcee, ms", "ratio")
    print(f"{'readings':<10}" + "".join(f"{word:>11}" for word in head))
    for count in TRUTHS:
        ours = fits(count, seeds if count < 1000 else min(seeds, 8))
        effective, spent = ensemble(count, 3000)
        each, theirs = 1e3 * ours.seconds / ours.mean, 1e3 * spent / effective
        print(
            f"{count:<10}{ours.mean:>11.0f}{ours.ends:>11.0f}{ours.scatter:>11.1f}{ours.weights:>11.2f}"
            f"{ours.seconds:>11.2f}{each:>11.2f}{theirs:>11.2f}{each / theirs:>11.2f}",
            flush=True,
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
