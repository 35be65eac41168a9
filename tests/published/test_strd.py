"""Certified nonlinear regression problems through the optimiser core, from both starts.

Source: NIST Statistical Reference Datasets, nonlinear regression (public domain), as carried in the source distribution
of lmfit 1.3.4; data, starts, certified values and standard deviations in nist_strd.txt beside this file.
"""

from pathlib import Path

import numpy as np
import pytest
from oracles.optimum import least_squares


def read():
    problems = {}
    for line in (Path(__file__).parent / "nist_strd.txt").read_text(encoding="ascii").splitlines():
        if line.startswith("#"):
            continue
        head, *rest = line.split()
        if head == "problem":
            here = problems[rest[0]] = {"rss": float(rest[1]), "parameters": [], "data": []}
        elif head == "data":
            here["data"].append(np.array(rest, dtype=float))
        else:
            here["parameters"].append([float(v) for v in (head, *rest)])
    return problems


PROBLEMS = read()
exp = np.exp


def peaks(b, x):
    return (
        b[0] * exp(-b[1] * x) + b[2] * exp(-((x - b[3]) ** 2) / b[4] ** 2) + b[5] * exp(-((x - b[6]) ** 2) / b[7] ** 2)
    )


def three_exponentials(b, x):
    return b[0] * exp(-b[1] * x) + b[2] * exp(-b[3] * x) + b[4] * exp(-b[5] * x)


def cubics(b, x):
    return (b[0] + b[1] * x + b[2] * x**2 + b[3] * x**3) / (1 + b[4] * x + b[5] * x**2 + b[6] * x**3)


def seasons(b, x):
    def wave(period, c, s):
        return c * np.cos(2 * np.pi * x / period) + s * np.sin(2 * np.pi * x / period)

    return b[0] + wave(12.0, b[1], b[2]) + wave(b[3], b[4], b[5]) + wave(b[6], b[7], b[8])


def decay_over_line(b, x):
    return exp(-b[0] * x) / (b[1] + b[2] * x)


def saturation(b, x):
    return b[0] * (1 - exp(-b[1] * x))


MODELS = {
    "Bennett5": lambda b, x: b[0] * (b[1] + x) ** (-1 / b[2]),
    "BoxBOD": saturation,
    "Chwirut1": decay_over_line,
    "Chwirut2": decay_over_line,
    "DanWood": lambda b, x: b[0] * x ** b[1],
    "ENSO": seasons,
    "Eckerle4": lambda b, x: b[0] / b[1] * exp(-0.5 * ((x - b[2]) / b[1]) ** 2),
    "Gauss1": peaks,
    "Gauss2": peaks,
    "Gauss3": peaks,
    "Hahn1": cubics,
    "Kirby2": lambda b, x: (b[0] + b[1] * x + b[2] * x**2) / (1 + b[3] * x + b[4] * x**2),
    "Lanczos1": three_exponentials,
    "Lanczos2": three_exponentials,
    "Lanczos3": three_exponentials,
    "MGH09": lambda b, x: b[0] * (x**2 + x * b[1]) / (x**2 + x * b[2] + b[3]),
    "MGH10": lambda b, x: b[0] * exp(b[1] / (x + b[2])),
    "MGH17": lambda b, x: b[0] + b[1] * exp(-x * b[3]) + b[2] * exp(-x * b[4]),
    "Misra1a": saturation,
    "Misra1b": lambda b, x: b[0] * (1 - (1 + b[1] * x / 2) ** -2),
    "Misra1c": lambda b, x: b[0] * (1 - (1 + 2 * b[1] * x) ** -0.5),
    "Misra1d": lambda b, x: b[0] * b[1] * x / (1 + b[1] * x),
    "Nelson": lambda b, x, z: b[0] - b[1] * x * exp(-b[2] * z),
    "Rat42": lambda b, x: b[0] / (1 + exp(b[1] - b[2] * x)),
    "Rat43": lambda b, x: b[0] / (1 + exp(b[1] - b[2] * x)) ** (1 / b[3]),
    "Roszman1": lambda b, x: b[0] - b[1] * x - np.arctan(b[2] / (x - b[3])) / np.pi,
    "Thurber": cubics,
}


def test_every_shipped_problem_has_its_model():
    assert sorted(MODELS) == sorted(PROBLEMS)
    assert len(MODELS) == 27


@pytest.mark.slow
@pytest.mark.parametrize("start", [0, 1])
@pytest.mark.parametrize("name", sorted(MODELS))
def test_certified_values_and_standard_deviations(name, start):
    problem, model = PROBLEMS[name], MODELS[name]
    y, *x = problem["data"]
    if name == "Nelson":
        y = np.log(y)
    table = np.array(problem["parameters"])
    found = least_squares(lambda points: y - model(points.T[:, :, None], *x), table[:, start])
    x, errors = found.x, found.scaled_standard_errors
    if name.startswith("Lanczos"):  # the three exponentials have no order
        order = np.argsort(x[1::2])
        x, errors = x.reshape(3, 2)[order].ravel(), errors.reshape(3, 2)[order].ravel()
    assert x == pytest.approx(table[:, 2], rel=1e-6)
    assert errors == pytest.approx(table[:, 3], rel=1e-4)
    if name != "Lanczos1":  # its certified sum, 1.4e-25, is below what double precision resolves
        assert found.sum_of_squares == pytest.approx(problem["rss"], rel=1e-6)
