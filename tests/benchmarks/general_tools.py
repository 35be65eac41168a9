"""The optimum and the sampler against general tools on the same data, in one run.

Run ``python tests/benchmarks/general_tools.py [cases] [chains]`` (needs lmfit and emcee). First table: effective
samples a second of ln E' at four temperatures. For the tempered sampler they are the posterior variance over the
variance of posterior means between independent runs; all six models, noise and misfit are sampled, and no prior is kept
from run to run. For lmfit with emcee run the plain way, samples over autocorrelation time; it samples one model with
noise and misfit held, starts at the optimum, and its burn-in is not counted. Second table: in how many of the cases the
most probable parameters are no worse than the best that lmfit's Levenberg-Marquardt finds from 20 random starts.
"""

from __future__ import annotations

import contextlib
import io
import sys
import time
import warnings
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

import emcee
import lmfit
import virtual
from oracles.fractional import ln_fractional_modulus
from oracles.optimum import Objective, most_probable

from matdb.curve import posterior as sampling
from matdb.curve.evidence import Evidence
from matdb.curve.gathering import gather
from matdb.curve.parameters import REFERENCE_K, ln_time
from matdb.curve.prior import prior_of
from matdb.material.record import Material

PRIOR = prior_of(Material(name="virtual", family="unknown"))
STARTS = 20
RUNS = 24
ASKED_K = np.array([-10.0, 10.0, 23.0, 45.0]) + 273.15


def evidence_of(seed: int) -> Evidence:
    """Readings of a virtual specimen, designs in turn."""
    design = virtual.DESIGNS[seed % len(virtual.DESIGNS)]
    taken = virtual.readings(virtual.specimen(seed), design, np.random.default_rng([seed, 13]))
    return gather(taken, {"virtual": virtual.PART})


def as_parameters(u: np.ndarray) -> lmfit.Parameters:
    parameters = lmfit.Parameters()
    for k, value in enumerate(u):
        parameters.add(f"u{k}", value=float(value))
    return parameters


def plain(objective: Objective):
    """The residual as lmfit calls it: one point at a time."""
    return lambda p: objective.residuals(np.array([[v.value for v in p.values()]]))[0]


def optimum(cases: int) -> None:
    better, ours_s, theirs_s, worst = 0, 0.0, 0.0, -np.inf
    for seed in range(cases):
        evidence = evidence_of(seed)
        posterior = sampling.fit_posterior(PRIOR, evidence)
        objective = Objective(PRIOR, evidence, posterior)
        start = time.process_time()
        ours = most_probable(PRIOR, evidence, posterior).minimum.sum_of_squares
        ours_s += time.process_time() - start
        rng = np.random.default_rng([seed, 17])
        start = time.process_time()
        theirs = np.inf
        for _ in range(STARTS):
            parameters = as_parameters(rng.standard_normal(objective.dimension))
            theirs = min(theirs, float(lmfit.minimize(plain(objective), parameters, method="leastsq").chisqr))
        theirs_s += time.process_time() - start
        worst = max(worst, ours - theirs)
        if ours <= theirs + 1e-6:
            better += 1
        else:
            print(f"  case {seed}: {ours:.6f} against {theirs:.6f}", flush=True)
    print(f"{'optimum':<44}{'no worse in':>14}{'s a case':>12}")
    print(f"{'most_probable':<44}{f'{better} of {cases}':>14}{ours_s / cases:>12.2f}")
    print(f"{f'lmfit leastsq, {STARTS} random starts':<44}{'':>14}{theirs_s / cases:>12.2f}")
    print(f"largest excess of our sum of squares: {worst:.1e}", flush=True)


def ln_storage(draws: np.ndarray) -> np.ndarray:
    """Ln of the storage modulus at 30 Hz, shape (draws, temperatures)."""
    ln_s = np.log(2.0 * np.pi * 30.0) + 0.5j * np.pi
    value, _ = ln_fractional_modulus(ln_time(draws, ASKED_K) + ln_s, *(draws[:, [k]] for k in range(4)))
    value = value + draws[:, [4]] * np.log(ASKED_K / REFERENCE_K)
    return value.real + np.log(np.cos(value.imag))


def sampler(chains: int, steps: int = 1500, burn: int = 500) -> None:
    head = ("ours: effective", "s", "a second", "emcee: effective", "s", "a second", "ratio")
    print(f"{'case':<6}" + "".join(f"{h:>18}" for h in head), flush=True)
    ratios = []
    for seed in range(chains):
        evidence = evidence_of(seed)
        start = time.process_time()
        runs = []
        for run in range(RUNS):
            sampling._prior_layer.cache_clear()
            runs.append(ln_storage(sampling.fit_posterior(PRIOR, evidence, seed=run).draws))
        seconds = (time.process_time() - start) / RUNS
        within = np.mean([values.var(axis=0) for values in runs], axis=0)
        between = np.var([values.mean(axis=0) for values in runs], axis=0, ddof=1)
        effective = float(np.mean(within) / np.mean(between))
        posterior = sampling.fit_posterior(PRIOR, evidence)
        objective = Objective(PRIOR, evidence, posterior)
        best = most_probable(PRIOR, evidence, posterior).minimum.x
        minimizer = lmfit.Minimizer(plain(objective), as_parameters(best))
        begin = time.process_time()
        # A short chain is remarked on; its too small autocorrelation time is in emcee's favour.
        with warnings.catch_warnings(), contextlib.redirect_stdout(io.StringIO()):
            warnings.simplefilter("ignore")
            walkers = 2 * objective.dimension + 2
            around = best + 0.1 * np.random.default_rng(seed).standard_normal((walkers, best.size))
            found = minimizer.emcee(
                steps=steps, burn=burn, nwalkers=walkers, pos=around, is_weighted=True, progress=False, seed=seed
            )
        spent = (time.process_time() - begin) * (steps - burn) / steps
        chain = found.chain.reshape(-1, objective.dimension)
        values = ln_storage(objective.parameters(chain)[0]).reshape(*found.chain.shape[:2], -1)
        tau = float(np.mean(emcee.autocorr.integrated_time(values, tol=0, quiet=True)))
        theirs = values.shape[0] * values.shape[1] / tau
        ratio = effective / seconds / (theirs / spent)
        ratios.append(ratio)
        print(
            f"{seed:<6}{effective:>18.0f}{seconds:>18.2f}{effective / seconds:>18.0f}"
            f"{theirs:>18.0f}{spent:>18.1f}{theirs / spent:>18.1f}{ratio:>18.1f}",
            flush=True,
        )
    print(f"median ratio {np.median(ratios):.1f}, least {min(ratios):.1f} (aim: 5)", flush=True)


if __name__ == "__main__":
    if (chains := int(sys.argv[2]) if len(sys.argv) > 2 else 5) > 0:
        sampler(chains)
    if (cases := int(sys.argv[1]) if len(sys.argv) > 1 else 100) > 0:
        optimum(cases)
