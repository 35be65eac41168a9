"""Candidates of several families with few draws, so that the tests stay quick."""

import dataclasses

import numpy as np
import pytest

from matdb.advice.judge import Candidate
from matdb.curve.fit import prior_curve
from matdb.curve.parameters import EXPONENT, TIME
from matdb.form import Pad, Part, Ring, Strut
from matdb.material.record import Material
from matdb.mounting.record import Mounting

DRAWS = 100
LABELS = {
    "silicone": ("silicone", "40 A"),
    "gel": ("silicone gel", "30 OO"),
    "urethane": ("thermoplastic polyurethane ester", "85 A"),
    "natural": ("natural rubber", "45 A"),
}


@pytest.fixture(scope="session")
def materials():
    """Material and curve by a short name."""
    found = {}
    for name, (family, hardness) in LABELS.items():
        material = Material(name=name, family=family, hardness=hardness)
        curve = prior_curve(material)
        found[name] = (
            material,
            dataclasses.replace(curve, parameters=curve.parameters[:DRAWS], misfit=curve.misfit[:DRAWS] + 0.02),
        )
    return found


@pytest.fixture(scope="session")
def sure(materials):
    """The same with next to no uncertainty, as well measured parts have."""
    found = {}
    for name, (material, curve) in materials.items():
        # The draw nearest to the medians; of the gel the one that changes least with frequency, without plateau loss:
        # what these tests work out by hand knows hardly any damping.
        at = np.array([-20.0, 20.0, 20.0]), np.log([200.0, 200.0, 0.01])
        ln_e = curve.ln_modulus(*at, misfit=False).real
        far = np.abs(ln_e - np.median(ln_e, axis=0))
        away = np.abs(ln_e[:, 1] - ln_e[:, 2]) + 0.2 * far[:, 1] if name == "gel" else far.max(axis=1)
        draws = curve.parameters[[away.argmin()]].repeat(DRAWS, axis=0)
        if name == "gel":
            draws[:, EXPONENT] = 0.0
            draws[:, TIME] -= 3.0
        found[name] = (
            material,
            dataclasses.replace(
                curve,
                parameters=draws,
                misfit=curve.misfit * 0.0,
                basis="readings",
                measured_c=(-30, 60),
                crystallises=False,
            ),
        )
    return found


@pytest.fixture(scope="session")
def candidates(materials):
    """Twelve parts of four materials."""
    forms = {
        "ring": Ring(outer_mm=12, inner_mm=5, height_mm=8),
        "pad": Pad(diameter_mm=8, height_mm=6),
        "leg": Strut(outer_mm=6, inner_mm=0, length_mm=20),
    }
    return [
        Candidate(Part(name=f"{label} {name}", material=name, form=form), *materials[name])
        for name in LABELS
        for label, form in forms.items()
    ]


@pytest.fixture
def mounting():
    """A small camera on four isolators."""
    return Mounting(name="cam", mass_kg=0.6, count=4, rpm_idle=4500, rpm_full=9000, manoeuvre_hz=4.0)
