"""The table of bulk softening against the exact function, by which every single part is answered."""

from __future__ import annotations

import math

import numpy as np
import pytest

from matdb.errors import InputError
from matdb.form import Bush, Grommet, Pad, PrintedStrut, Ring
from matdb.form.bulk_softening import BulkSoftening, Places

B = 2000.0
FORMS = [
    (Ring(outer_mm=22.0, inner_mm=4.0, height_mm=5.0), "axial"),
    (Ring(outer_mm=12.0, inner_mm=4.0, height_mm=5.0), "axial"),
    (Pad(diameter_mm=30.0, height_mm=3.0), "axial"),
    (Pad(diameter_mm=10.0, height_mm=10.0), "shear"),
    (Bush(outer_mm=20.0, inner_mm=8.0, length_mm=20.0), "radial"),
]


def states(angle_most):
    rng = np.random.default_rng(4)
    return np.log(B) + rng.uniform(-9.5, -0.2, (40, 50)) + 1j * rng.uniform(0.0, angle_most, (40, 50))


@pytest.mark.parametrize(("form", "axis"), FORMS)
@pytest.mark.parametrize(
    ("angle", "bound", "of_storage"), [(0.05, 5e-4, 1e-3), (0.5, 6e-3, 1.2e-2), (0.9, 2.2e-2, 9e-2)]
)
def test_the_table_is_the_exact_function(form, axis, angle, bound, of_storage):
    ln_e, softening = states(angle), BulkSoftening(form, axis, B)
    exact = form.ln_bulk_softening(axis, ln_e, B)
    assert np.abs(softening.of(ln_e).real - exact.real).max() < bound
    assert np.abs(softening.of(ln_e).imag - exact.imag).max() < bound
    places = Places.of(ln_e, B)
    np.testing.assert_allclose(softening.left(places, storage=False), exact.real, atol=bound)
    storage = exact.real + np.log(np.cos(ln_e.imag + exact.imag) / np.cos(ln_e.imag))
    np.testing.assert_allclose(softening.left(places, storage=True), storage, atol=of_storage)


def test_it_tells_where_it_matters():
    softening = BulkSoftening(*FORMS[2], B)
    assert softening.matters(np.array([math.log(10.0)], dtype=complex))
    assert not softening.matters(np.array([math.log(0.005)], dtype=complex))
    assert softening.at(math.log(10.0)) == pytest.approx(
        FORMS[2][0].ln_bulk_softening("axial", math.log(10.0), B), abs=1e-3
    )


def test_a_direction_that_is_no_word_is_refused():
    for odd in (np.zeros(0), np.array(["axial"]), None, 3):
        with pytest.raises(InputError, match="axis"):
            FORMS[0][0].offset_sd(odd)


def test_a_pattern_or_sleeve_that_is_none_is_refused():
    with pytest.raises(InputError, match="pattern"):
        PrintedStrut(6.0, length_mm=20.0, pattern=[1.0])
    with pytest.raises(InputError, match="sleeve_mm"):
        Grommet(flange_outer_mm=12, bore_mm=4.2, lower_mm=3.5, plate_mm=2, hole_mm=7, sleeve_mm=np.array([np.nan, 1.0]))


def test_a_modulus_that_is_no_number_spoils_no_other():
    """A stored fit may hold a draw that gives none at some temperature."""
    table = BulkSoftening(Ring(16, 6, 5), "axial", 1500.0)
    whole = table.of(np.array([1.0 + 0.1j]))
    assert table.of(np.array([math.nan + 0.1j, 1.0 + 0.1j]))[1:].tolist() == whole.tolist()
    assert math.isfinite(table.at(math.nan))
