"""A leg sized by handbook formula for a given natural frequency and static deflection.

A mass m on n legs, each a straight bar: k = E A / L (any handbook of strength of materials), natural frequency
f = sqrt(n k / m) / 2 pi, static deflection x = g / (2 pi f)^2: 22.29 Hz sags 0.5 mm (from
memory). Frictionless ends, so that no end effect stands between bar and leg.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

import matdb
from matdb.advice.requirement import Candidate
from matdb.advice.size import size
from matdb.curve.fit import prior_curve

E_MPA, COUNT, MASS, LENGTH = 1.0, 4, 0.6, 8.0
DEFLECTION = 0.5
HZ = math.sqrt(9.80665e3 / DEFLECTION) / (2.0 * math.pi)


def spring(material):
    """One draw, no band: a modulus that neither temperature nor frequency moves."""
    curve = prior_curve(material)
    draws = np.median(curve.parameters, axis=0)[None]
    return replace(curve, parameters=draws, misfit=np.zeros(1), crystallises=False)


def test_the_search_finds_the_handbook_s_leg(monkeypatch):
    assert pytest.approx(22.29, abs=0.005) == HZ
    material = matdb.Material(name="bar", family="silicone", hardness="70 A", service_min_c=-80, service_max_c=200)
    curve = spring(material)
    modulus = lambda self, t, ln_omega, **_: np.full((1, *np.shape(t)), math.log(E_MPA), dtype=complex)  # noqa: E731
    monkeypatch.setattr(matdb.Curve, "ln_modulus", modulus)
    monkeypatch.setattr(matdb.Curve, "offset_draws", lambda *_, **__: np.zeros(1))
    # The window leaves 1 % of the frequency on either side.
    mounting = matdb.Mounting(
        name="m", mass_kg=MASS, count=COUNT, rpm_idle=150.0 * 1.01 * HZ, rpm_full=15000.0, manoeuvre_hz=HZ / 2.0 * 0.99,
    )  # fmt: skip
    told = {"outer_mm": (2.0, 12.0), "length_mm": LENGTH, "bonded": False}
    best = size(material, curve, mounting, [20.0], form="strut", squeeze_mm=0.0, told=told)[0]
    stiffness = MASS / COUNT * (2.0 * math.pi * HZ) ** 2 / 1e3
    by_hand = math.sqrt(4.0 / math.pi * stiffness * LENGTH / E_MPA)

    assert best.probability == 1.0
    assert best.form.outer_mm == pytest.approx(by_hand, rel=0.01)
    assert MASS / COUNT * 9.80665 / best.form.stiffness_n_per_mm(E_MPA) == pytest.approx(DEFLECTION, rel=0.02)
    assert isinstance(Candidate(best.part, material, curve).part.form, matdb.Strut)
