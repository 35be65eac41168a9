"""Every family's prior predictive at 30 Hz against what is known of its usual grades (stiffness ratio, loss factors).

None of the figures was read from print for this test: (a) is the range that a review of these rows named, (b) handbook
curves from memory, (c) common practice, no source. A new grade may lie far outside: the row says the usual one.
"""

import numpy as np
import pytest

from matdb.curve.fit import prior_curve
from matdb.curve.posterior import prior_population
from matdb.curve.prior import ln_modulus, prior_of
from matdb.material.record import Material

#: Family: storage modulus at -20 over 23 degC; loss factor at -20, 0 and 23 degC; where each comes from.
KNOWN = {
    "natural rubber": (1.25, 0.18, 0.10, 0.07, "loss at -20: 0.15 to 0.2 (a); rest (b)"),
    "chloroprene": (2.4, 0.60, 0.25, 0.14, "(b)"),
    "nitrile": (10.0, 0.75, 0.50, 0.20, "medium acrylonitrile (b)"),
    "EPDM": (1.6, 0.40, 0.18, 0.12, "(b)"),
    "butyl": (5.0, 1.10, 0.75, 0.37, "loss at -20: 1.0 to 1.4 (a); rest (b)"),
    "silicone": (1.15, 0.13, 0.12, 0.11, "loss at -20: 0.1 to 0.15 (a); rest (b)"),
    "silicone gel": (1.13, 0.32, 0.28, 0.25, "(c)"),
    "polyurethane gel": (8.0, 0.75, 0.70, 0.52, "loss at 20 degC: 0.3 to 0.6 (b); rest (c)"),
    "thermoplastic polyurethane ester": (7.0, 0.35, 0.30, 0.18, "(b)"),
    "thermoplastic polyurethane ether": (5.5, 0.32, 0.27, 0.18, "(b)"),
    "steel cable": (1.015, 0.18, 0.18, 0.18, "damping ratio 0.05 to 0.25, small amplitudes least; steel's modulus (b)"),
}


def expected(family, share):
    """Interval of that share of the prior for each figure of ``KNOWN``."""
    prior = prior_of(Material(name="any", family=family))
    draws = prior_population(prior, draws=4000, particles=10_000).draws
    ln_e = ln_modulus(draws, np.array([-20.0, 0.0, 23.0]) + 273.15, np.full(3, 30.0))
    storage, loss = np.exp(ln_e).real, np.tan(ln_e.imag)
    found = np.column_stack([storage[:, 0] / storage[:, 2], loss])
    return np.quantile(found, [(1.0 - share) / 2.0, (1.0 + share) / 2.0], axis=0)


@pytest.mark.parametrize("family", KNOWN)
def test_what_a_family_leads_to_expect_is_what_is_known_of_it(family):
    low, high = expected(family, 0.5)
    known = np.array(KNOWN[family][:4])
    assert ((low <= known) & (known <= high)).all(), (low.round(3), known, high.round(3))


@pytest.mark.parametrize("mixed", ["thermoplastic polyurethane", "gel"])
def test_a_mixed_family_leads_to_expect_either_of_its_kinds(mixed):
    low, high = expected(mixed, 0.9)
    for known in (np.array(KNOWN[kind][:4]) for kind in KNOWN if mixed in kind):
        assert ((low <= known) & (known <= high)).all(), (low.round(3), known, high.round(3))


def test_silicone_in_deep_cold_is_no_confident_megapascal():
    # LLNL-TR-426277: from about 6 to about 400 MPa (shear) between -40 and -60 degC; melts near -30 degC.
    curve = prior_curve(Material(name="any", family="silicone"))
    cold, mild = (curve.modulus(t, 1.0).storage_mpa for t in (-50.0, -25.0))
    assert cold.high / cold.median > 20.0
    assert mild.high / mild.median < 4.0
    # What crystallised on the way stays: colder is no softer and no surer.
    colder = curve.modulus(-80.0, 1.0).storage_mpa
    assert colder.high / colder.median > 10.0
    for t in (-50.0, -80.0):
        assert any("crystallises" in note for note in curve.range_notes(np.array(t), np.array(30.0)))
    assert not any("crystallises" in note for note in curve.range_notes(np.array(-25.0), np.array(30.0)))
