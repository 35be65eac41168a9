"""The shipped tables against finite elements held aside, off their grids.

``finite_elements_aside.csv`` was made by ``python -m tests.generators.finite_elements --aside 40 --seed 7`` after the
tables (its rows of tilting, buckling and softening by the same with ``--only`` their names), ``squeeze_aside.csv`` by
``--aside-squeeze 45 --seed 7`` on a finer mesh than the table's.
"""

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from matdb.errors import MatdbError
from matdb.form import Bush, Strut, Taper, tables
from matdb.form.column import column_axial, column_sideways, column_tilting
from matdb.form.squeeze_law import tabulated_law
from matdb.shipped import data_folder

HERE = Path(__file__).parent


def rows(name):
    with (HERE / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def slender(shape, hole):
    return (1.0 - hole) / (4.0 * shape)


def bush(ratio, length, bonded=True):
    return Bush(outer_mm=2.0, inner_mm=2.0 / ratio, length_mm=length, bonded=bonded)


#: What a row of each table is called through the public functions.
OURS = {
    "pad axial": lambda s, e: column_axial(slender(s, e), e),
    "pad shear": lambda s, e: 3.0 * column_sideways(slender(s, e), e),
    "pad softening": lambda s, e, c: column_axial(slender(s, e), e, c),
    "strut axial": column_axial,
    "strut lateral": column_sideways,
    "taper axial": lambda t, h: Taper(1.0, t, h).stiffness_n_per_mm(),
    "taper shear": lambda t, h: Taper(1.0, t, h).stiffness_n_per_mm(axis="shear"),
    "bush axial": lambda q, length: bush(q, length).stiffness_n_per_mm(),
    "bush radial": lambda q, length: bush(q, length).stiffness_n_per_mm(axis="radial"),
    "bush radial frictionless": lambda q, length: bush(q, length, bonded=False).stiffness_n_per_mm(axis="radial"),
    "bush radial softening": lambda q, length, c: bush(q, length).stiffness_n_per_mm(
        axis="radial", bulk_modulus_mpa=1.0 / c
    ),
}


OURS |= {
    "pad tilt": lambda s, e: column_tilting(slender(s, e), e),
    "strut tilt": column_tilting,
    "bush tilt": lambda q, length: bush(q, length).tilting_stiffness_n_mm_per_rad(),
    "strut buckling": lambda h, e: Strut(1.0, e, h).buckling_share,
    "pad tilt softening": lambda s, e, c: column_tilting(slender(s, e), e, c),
    "bush tilt softening": lambda q, length, c: bush(q, length).tilting_stiffness_n_mm_per_rad(
        bulk_modulus_mpa=1.0 / c
    ),
}


def errors():
    out = {name: [] for name in OURS}
    for row in rows("finite_elements_aside.csv"):
        at = [float(row[k]) for k in ("first", "second", "third") if row[k]]
        out[row["table"]].append(float(OURS[row["table"]](*at)) / float(row["value"]) - 1.0)
    return {name: np.abs(values) for name, values in out.items()}


def test_every_table_meets_points_held_aside():
    # The promise is 2 % and a median of 0.5 %; these tables do far better, and must go on doing so.
    for name, off in errors().items():
        assert off.size == 40, name
        loose = name.endswith(("softening", "buckling")) or "tilt" in name
        # Tilting sleeves turn their rims, where corners are worst.
        most = 1.2e-2 if name.startswith("bush tilt") else 5e-3 if loose else 1e-3
        assert off.max() < most, name
        assert np.median(off) < (1e-3 if loose else 5e-4), name


def test_mesh_errors_are_stated_and_small():
    said = json.loads((data_folder() / "form_tables.json").read_text(encoding="utf-8"))["tables"]
    for name, table in tables.tables().items():
        # The blunt corner of a flat, steep cone is the hardest.
        most = 0.025 if name.startswith("taper") else 5e-3 if "tilt" in name else 1e-3
        assert 0.0 < said[name]["mesh_error"] < most, name
        # Interpolation passes through its own points.
        grid = list(np.meshgrid(*(a.points() for a in table.axes), indexing="ij"))
        rigid = table.values[..., :1]
        if name.endswith("softening"):
            grid.append(np.broadcast_to(rigid, table.values.shape))
        wanted = table.values / rigid if name.endswith("softening") else table.values
        assert table.value(*grid) == pytest.approx(wanted, rel=1e-9), name
    squeeze = json.loads((data_folder() / "form_squeeze.json").read_text(encoding="utf-8"))["tables"]["squeeze"]
    assert squeeze["fit_error"] < 0.01


def test_large_squeeze_meets_points_held_aside():
    off, by_share = [], []
    for row in rows("squeeze_aside.csv"):
        law = tabulated_law(float(row["shape_factor"]), float(row["diameter_ratio"]))
        share = float(row["squeeze_share"])
        if share <= law.most + 1e-9:
            off.append(abs(law.force(share) / share / float(row["relative_force"]) - 1.0))
            by_share.append(share)
    assert len(off) > 300
    off, by_share = np.array(off), np.array(by_share)
    assert off[by_share < 0.11].max() < 0.015
    assert off[by_share < 0.26].max() < 0.015
    assert off.max() < 0.02
    assert np.median(off) < 0.002


def test_tangents_of_large_squeeze_meet_points_held_aside():
    # Central differences of the forces held aside.
    forces = {}
    for row in rows("squeeze_aside.csv"):
        at = float(row["shape_factor"]), float(row["diameter_ratio"])
        share = float(row["squeeze_share"])
        forces.setdefault(at, {})[round(share, 4)] = float(row["relative_force"]) * share
    off = {0.1: [], 0.15: [], 0.2: []}
    for at, force in forces.items():
        for share in off:
            low, high = round(share - 0.025, 4), round(share + 0.025, 4)
            law = tabulated_law(*at)
            if high in force and high <= law.most + 1e-9:
                ours = (law.force(high) - law.force(low)) / (high - low)
                off[share].append(abs(ours / ((force[high] - force[low]) / (high - low)) - 1.0))
                # The tangent itself is that of the curve there.
                assert law.tangent(share) == pytest.approx(ours, rel=0.02)
    assert min(map(len, off.values())) > 25
    assert max(off[0.1]) < 0.025
    assert max(off[0.15]) < 0.025
    assert max(off[0.2]) < 0.03
    assert np.median(off[0.2]) < 0.005


def test_a_ring_of_shape_factor_1_is_squeezed_by_a_quarter():
    # Finite elements on a mesh of four times as many elements as the table's: F / k0 h at a quarter, slope at a fifth.
    law = tabulated_law(1.0, 0.5)
    assert law.force(0.25) == pytest.approx(0.4326, rel=0.005)
    assert law.force(0.3) == pytest.approx(0.6182, rel=0.01)
    assert (law.force(0.21) - law.force(0.19)) / 0.02 == pytest.approx(2.3208, rel=0.03)


def test_every_tangent_is_positive_and_the_law_ends_where_it_was_solved():
    squeeze = tables.squeeze_table()
    assert squeeze.reach.max() == squeeze.shares[-1] == 0.3
    for shape in np.geomspace(0.08, 5.0, 12):
        for hole in (0.0, 0.01, 0.05, 0.15, 0.3, 0.5, 0.7, 0.82):
            law = tabulated_law(float(shape), hole)
            assert 0.025 <= law.most <= 0.3
            tangent = law.tangent(np.linspace(0.0, 0.5, 101))
            assert (tangent > 0.75).all(), (shape, hole)
            assert tangent[0] == pytest.approx(1.0)


def test_squeeze_law_is_smooth_where_the_table_ends():
    law = tabulated_law(0.7, 0.3)
    e = np.array([law.most - 1e-7, law.most + 1e-7])
    assert np.diff(law.force(e)) == pytest.approx(2e-7 * law.tangent(law.most), rel=1e-3)
    assert law.tangent(e[0]) == pytest.approx(law.tangent(e[1]), rel=1e-5)


def test_arrays_and_scalars_agree():
    table = tables.table("pad softening")
    s, e, c = np.array([0.2, 1.0, 5.0]), np.array([[0.0], [0.5]]), 0.01
    whole = table.ratio(s, e, c)
    assert whole.shape == (2, 3)
    assert whole[1, 2] == pytest.approx(table.ratio(5.0, 0.5, 0.01), rel=1e-12)
    assert table.ratio(s, 0.5, np.full(3, c)) == pytest.approx(whole[1], rel=1e-12)


def test_a_changed_table_is_refused(tmp_path, monkeypatch):
    text = (data_folder() / "form_tables.json").read_text(encoding="utf-8")
    contents = json.loads(text)
    contents["tables"]["pad axial"]["values"][3] *= 1.0001
    (tmp_path / "form_tables.json").write_text(json.dumps(contents), encoding="utf-8")
    monkeypatch.setattr(tables, "data_folder", lambda: tmp_path)
    with pytest.raises(MatdbError, match="checksum"):
        tables.tables.__wrapped__()


@pytest.mark.parametrize("name", ["form_tables.json", "form_squeeze.json"])
def test_tables_say_where_they_come_from(name):
    contents = json.loads((data_folder() / name).read_text(encoding="utf-8"))
    assert contents["version"] == 1
    assert contents["made_by"] == "python -m tests.generators.finite_elements"
    assert contents["tools"]["scikit-fem"]
    assert contents["sha256"] == tables.checksum(contents["tables"])
