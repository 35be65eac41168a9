"""Window limits and the table of natural frequencies against the equation solved anew."""

import dataclasses
import math

import numpy as np
import pytest

from matdb.advice.effective import suspended
from matdb.advice.exposure import exposure
from matdb.advice.judge import Payload, judge
from matdb.advice.window import Window

STEPS = np.linspace(-25.0, 45.0, 8)


@pytest.mark.parametrize("name", ["silicone", "gel", "urethane", "natural"])
def test_the_table_is_within_a_thousandth_of_the_solved_frequency(materials, name):
    curve = materials[name][1]
    window = Window(curve, STEPS, 8.0, 30.0)
    for target in (3.0, 20.0, 90.0):  # Hz, about
        scale = np.full(len(curve.parameters), 0.0)
        mass = float(np.exp(np.median(curve.ln_modulus(STEPS, np.full(8, math.log(2 * math.pi * target))).real)))
        mass *= 1e3 / (2 * math.pi * target) ** 2
        solved = suspended(curve, scale, mass, STEPS)
        ln_w = np.broadcast_to((scale + math.log(1e3 / mass))[:, None], (len(scale), STEPS.size))
        found, ln_e = window.natural(ln_w, np.arange(STEPS.size))
        assert found == pytest.approx(solved.frequency_hz, rel=1e-3)
        zeta = 0.5 * np.tan(ln_e.imag)
        assert zeta == pytest.approx(solved.damping_ratio, rel=5e-3, abs=3e-4)


def test_a_mass_on_the_limit_rings_at_the_limit(materials):
    curve = materials["natural"][1]
    window = Window(curve, STEPS, 8.0, 30.0)
    for k, t in enumerate(STEPS):
        # W of the limit, taken as the stiffness of 1 kg.
        at_high = suspended(curve, window.high[:, k] - math.log(1e3), 1.0, np.array([t]))
        at_low = suspended(curve, window.low[:, k] - math.log(1e3), 1.0, np.array([t]))
        assert at_high.frequency_hz == pytest.approx(30.0, rel=1e-4)
        assert at_low.frequency_hz == pytest.approx(8.0, rel=1e-4)


def test_without_a_manoeuvre_band_nothing_is_too_soft(materials):
    window = Window(materials["gel"][1], STEPS, 0.0, 30.0)
    assert np.all(window.low == -np.inf)


def test_probabilities_are_those_of_counting_solved_frequencies(candidates, mounting):
    hours = np.repeat(STEPS, [1, 2, 3, 4, 4, 3, 2, 1])
    mounting = dataclasses.replace(mounting, strain_most=0.9)
    payload = Payload.of(mounting)
    exposed = exposure([(c.part, c.material) for c in candidates], hours)
    for found in (each for group in judge(candidates, mounting, exposed, squeeze_mm=0.0) for each in group):
        f = suspended(found.candidate.curve, found.ln_scale, mounting.mass_kg, STEPS).frequency_hz
        inside = (f >= payload.low_hz) & (f <= payload.high_hz)
        # Travel at the load factor fits, and no leg buckles.
        height, _ = found.candidate.part.form.travel_height("axial")
        k = np.exp(found.judge.window.ln_load_modulus + found.ln_scale[:, None])
        inside &= mounting.load_factor * payload.weight_n / k <= 0.5 * height
        low, high = (-50, 70) if found.candidate.material.family == "natural rubber" else (-30, 80)
        if found.candidate.material.family.startswith(("natural", "thermo")):
            inside &= (low <= STEPS) & (high >= STEPS)
        # A draw nearer to a limit than the table is to the solver may count on either side.
        near = np.any([np.abs(f / limit - 1.0) < 3e-3 for limit in (payload.low_hz, payload.high_hz)], axis=0)
        # So may one that is strained beyond 0.9, the most that can be allowed.
        slack = near.mean(axis=0) + 1.01 / len(f)
        assert near.mean() < 0.05
        assert (np.abs(found.by_step - inside.mean(axis=0)) <= slack).all()
        assert abs(found.probability - inside.all(axis=1).mean()) <= near.any(axis=1).mean() + 1.01 / len(f)
        assert abs(found.share - np.average(inside.mean(axis=0), weights=exposed.weight[0])) <= slack.max()
        assert found.by_step[found.worst] == found.by_step.min()
