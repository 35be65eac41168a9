"""The generator itself: solved live, so that the tables' numbers are seen to be finite elements'."""

import math

import numpy as np
import pytest

pytest.importorskip("skfem")

from generators.finite_elements.generate import solve_case
from generators.finite_elements.linear import bush_stiffness, column_stiffness
from generators.finite_elements.mesh import COARSE, FINE, ROUGH, graded
from generators.finite_elements.squeeze import SQUEEZE_MESHES, squeeze_column

from matdb.form import Bush, Strut
from matdb.form.column import column_axial, column_sideways, column_tilting
from matdb.form.squeeze_law import tabulated_law


def test_points_of_the_tables_solved_anew():
    # Off the grid, chosen by hand.
    assert column_stiffness(0.37, 0.21, "axial", fineness=COARSE) == pytest.approx(
        float(column_axial(0.37, 0.21)), rel=1e-3
    )
    assert column_stiffness(0.9, 0.6, "sideways", fineness=COARSE) == pytest.approx(
        float(column_sideways(0.9, 0.6)), rel=1e-3
    )
    bush = Bush(outer_mm=2.0, inner_mm=2.0 / 1.7, length_mm=0.6)
    assert bush_stiffness(1.7, 0.6, "radial", fineness=COARSE) == pytest.approx(
        bush.stiffness_n_per_mm(axis="radial"), rel=1e-3
    )


def test_tilting_solved_anew_and_slender_columns_bend_as_beams():
    for slender, hole in ((0.17, 0.0), (0.37, 0.41), (2.3, 0.3)):
        solved = column_stiffness(slender, hole, "tilt", fineness=ROUGH)
        assert solved == pytest.approx(float(column_tilting(slender, hole)), rel=5e-3)
    assert column_stiffness(0.1, 0.0, "tilt", compressibility=0.02, fineness=ROUGH) == pytest.approx(
        float(column_tilting(0.1, 0.0, 0.02)), rel=0.05
    )
    bush = Bush(outer_mm=2.0, inner_mm=2.0 / 1.7, length_mm=0.6)
    assert bush_stiffness(1.7, 0.6, "tilt", fineness=ROUGH) == pytest.approx(
        bush.tilting_stiffness_n_mm_per_rad(), rel=5e-3
    )
    # E I / L of a slender rod.
    assert Strut(1.0, length_mm=100.0).tilting_stiffness_n_mm_per_rad() == pytest.approx(math.pi / 6400, rel=2e-3)


def test_bulk_modulus_point_solved_anew():
    value = column_stiffness(0.08, 0.3, "axial", compressibility=0.004, fineness=COARSE)
    assert value == pytest.approx(float(column_axial(0.08, 0.3, 0.004)), rel=5e-3)


def test_what_mostly_shears_hardly_feels_the_bulk_modulus():
    for solve in (
        lambda c: bush_stiffness(2.5, 0.2, "axial", compressibility=c, fineness=COARSE),
        lambda c: bush_stiffness(1.5, 3.0, "axial", compressibility=c, fineness=COARSE),
        lambda c: column_stiffness(0.1, 0.2, "sideways", compressibility=c, fineness=COARSE),
        lambda c: column_stiffness(2.0, 0.0, "sideways", compressibility=c, fineness=COARSE),
    ):
        assert solve(0.05) / solve(0.0) == pytest.approx(1.0, abs=0.015)


def test_a_tall_column_between_its_faces_is_a_bar():
    # A bonded end stiffens a length of about 0.155 D.
    assert column_stiffness(12.0, 0.0, "axial", fineness=COARSE) == pytest.approx(1 / (1 - 0.155 / 12), rel=1e-3)


def test_meshes_converge():
    value, difference = solve_case(("bush axial", (2.0, 1.0), True))
    assert difference < 2e-4
    assert value == pytest.approx(2.6827, rel=1e-4)


def test_graded_points_are_dense_where_asked():
    points = graded(1.0, 3.0, 1e-3, COARSE, at_start=True, at_end=True)
    assert points[[0, -1]] == pytest.approx([1.0, 3.0])
    # The axis must be the axis: 5e-17 once made a solid body hollow.
    axis = graded(0.0, 0.5, FINE.least * 0.16996674692355343, FINE, at_start=False, at_end=True)
    assert (axis[0], axis[-1]) == (0.0, 0.5)
    steps = np.diff(points)
    assert (steps > 0.0).all()
    assert steps[0] < 2e-3
    assert steps[-1] == pytest.approx(steps[0])
    assert steps.max() <= 2.0 / COARSE.most * 1.5


def test_large_squeeze_point_solved_anew():
    shape, hole = 0.75, 0.4
    shares = np.array([0.05, 0.1, 0.15])
    solved = squeeze_column((1 - hole) / (4 * shape), hole, shares, SQUEEZE_MESHES[1])
    assert solved.share == pytest.approx(shares)
    assert solved.linear == pytest.approx(float(column_axial((1 - hole) / (4 * shape), hole)), rel=6e-3)
    ours = tabulated_law(shape, hole).force(shares)
    assert ours == pytest.approx(solved.force / solved.linear, rel=0.01)


def test_a_tall_column_squeezes_like_a_uniform_one():
    shares = np.array([0.1])
    solved = squeeze_column(3.1, 0.0, shares, SQUEEZE_MESHES[1])
    uniform = (0.9**-2 - 0.9) / 3.0
    assert solved.force[0] / solved.linear == pytest.approx(uniform, rel=2e-3)
    assert math.isclose(solved.narrowest[0], 1.0)
