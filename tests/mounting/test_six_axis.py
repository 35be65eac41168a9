"""Six axes: against independent models, closed forms, and itself at other shapes."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matdb.errors import InputError
from matdb.mounting import six_axis as sa
from matdb.mounting.record import CameraPackage, Mounting, rectangle_positions

G = 9.80665


def mounting(**change):
    values = {
        "name": "quad",
        "mass_kg": 0.5,
        "count": 4,
        "rpm_idle": 3000,
        "rpm_full": 7200,
        "positions_mm": rectangle_positions(80, 60),
        "box_mm": (90, 60, 50),
    }
    return Mounting(**{**values, **change})


def skew():
    """A body without any symmetry on five unlike, inclined isolators."""
    rng = np.random.default_rng(5)
    inertia = np.array([[620.0, 40, -30], [40, 800, 25], [-30, 25, 700]])
    points = np.array([[60.0, 40, 12], [55, -42, 8], [-50, 45, 15], [-62, -38, 9], [5, 3, 30]])
    tilt = rng.normal(0, 0.4, (5, 3)) + np.array([0, 0, 1])
    tilt /= np.linalg.norm(tilt, axis=1, keepdims=True)
    body = sa.Suspension(0.7, inertia, points, tilt, np.array([35.0, -4, -20]))
    return body, np.array([9.0, 7.5, 8.2, 6.4, 3.0]), np.array([4.0, 3.1, 5.2, 2.4, 1.0])


def energy_hessian(body, axial, shear):
    """Stiffness matrix as the second differences of the springs' energy under true finite rotations."""
    from scipy.spatial.transform import Rotation

    def energy(q):
        moved = q[:3] + Rotation.from_rotvec(q[3:]).apply(body.positions_mm) - body.positions_mm
        along = np.einsum("ni,ni->n", moved, body.directions)
        across = np.sum(moved**2, axis=1) - along**2
        return 0.5 * np.sum(axial * along**2 + shear * across)

    step = np.array([1e-2] * 3 + [1e-4] * 3)
    out = np.empty((6, 6))
    for i in range(6):
        for j in range(6):
            a, b = np.eye(6)[i] * step, np.eye(6)[j] * step
            out[i, j] = (energy(a + b) - energy(a - b) - energy(b - a) + energy(-a - b)) / (4 * step[i] * step[j])
    return out


def test_tilting_adds_to_roll_and_pitch_alone_and_less_the_wider_the_isolators_stand():
    body, axial, shear = skew()
    upright = sa.Suspension(
        body.mass_kg, body.inertia_kg_mm2, body.positions_mm, np.tile([0.0, 0, 1], (5, 1)), body.camera_mm
    )
    added = sa.stiffness_matrix(upright, axial, shear, 30.0) - sa.stiffness_matrix(upright, axial, shear)
    assert np.allclose(added, np.diag([0, 0, 0, 150.0, 150.0, 0]))
    # A ring 16 x 6 x 5 at 1 MPa: 59 N/mm along, 25 across, 950 N mm/rad; four on a square of 80 and of 24 mm.
    gain = []
    for wide in (80, 24):
        square = sa.suspension(mounting(positions_mm=rectangle_positions(wide, wide)))
        roll = [sa.stiffness_matrix(square, 59.0, 25.0, tilting)[3, 3] for tilting in (0.0, 950.0)]
        gain.append(roll[1] / roll[0] - 1.0)
    assert gain == pytest.approx([950.0 / (59.0 * 40.0**2), 950.0 / (59.0 * 12.0**2)])
    assert sa.modes(square, 59.0, 25.0, 950.0).frequency_hz.sum() > sa.modes(square, 59.0, 25.0).frequency_hz.sum()


def test_stiffness_matrix_is_the_hessian_of_the_springs_energy():
    body, axial, shear = skew()
    got = sa.stiffness_matrix(body, axial, shear)
    want = energy_hessian(body, axial, shear)
    scale = np.sqrt(np.outer(np.diag(want), np.diag(want)))
    assert np.abs(got - want).max() > 0
    assert (np.abs(got - want) / scale).max() < 1e-6


def test_frequencies_agree_with_an_independent_energy_model_to_1e_6():
    from scipy.linalg import eigh

    body, axial, shear = skew()
    # Independent mass matrix too: point masses on the principal axes, with the same inertia.
    moments, axes = np.linalg.eigh(body.inertia_kg_mm2)
    reach = np.sqrt((moments.sum() / 2 - moments) * 3 / body.mass_kg)
    points = np.vstack([sign * reach[i] * axes[:, i] for i in range(3) for sign in (1, -1)])
    mass = np.zeros((6, 6))
    for p in points:
        arm = np.hstack([np.eye(3), np.column_stack([np.cross(e, p) for e in np.eye(3)])])
        mass += body.mass_kg / 6 * arm.T @ arm
    values = eigh(1e3 * energy_hessian(body, axial, shear), mass, eigvals_only=True)
    assert sa.modes(body, axial, shear).frequency_hz == pytest.approx(np.sqrt(values) / (2 * np.pi), rel=1e-6)


def test_camera_response_agrees_with_a_state_space_model_to_1e_6():
    from scipy.linalg import eigvals, solve
    from scipy.signal import StateSpace

    body, axial, shear = skew()
    beta = 4e-4  # viscous, in proportion to the stiffness: K (1 + i w beta)
    k = 1e3 * energy_hessian(body, axial, shear)
    inverse = np.linalg.inv(body.mass_matrix)
    r = body.camera_mm
    shift = np.eye(6)
    shift[:3, 3:] = np.column_stack([np.cross(e, r) for e in np.eye(3)])
    # Relative motion z = x - b about the camera point, driven by the airframe's acceleration.
    a = np.block([[np.zeros((6, 6)), np.eye(6)], [-inverse @ k, -beta * inverse @ k]])
    f = np.array([3.0, 12.0, 25.0, 60.0, 200.0])
    lossy = 1 + 2j * np.pi * f[:, None] * beta
    got = sa.camera_transmissibility(body, axial * lossy, shear * lossy, f)
    drive = np.vstack([np.zeros((6, 6)), -np.linalg.inv(shift)])
    system = StateSpace(a, drive, np.hstack([shift, np.zeros((6, 6))]), np.zeros((6, 6)))
    for x, t in zip(f, got, strict=True):
        h = system.C @ solve(2j * np.pi * x * np.eye(12) - system.A, system.B)
        want = np.eye(6) - (2 * np.pi * x) ** 2 * h  # the acceleration of a unit motion is -w^2
        assert np.abs(t - want).max() < 1e-6 * np.abs(want).max()
    # Its poles: viscous damping in proportion to the stiffness, zeta = w beta / 2.
    poles = np.sort_complex(eigvals(system.A))
    w = 2 * np.pi * sa.modes(body, axial, shear).frequency_hz
    want = -0.5 * beta * w**2 + 1j * w * np.sqrt(1 - (0.5 * beta * w) ** 2)
    both = np.sort_complex(np.concatenate([want, want.conj()]))
    assert np.abs(poles - both).max() < 1e-6 * np.abs(both).max()


@pytest.fixture(scope="module")
def level():
    return sa.suspension(mounting())


def test_isolators_level_with_the_centre_of_gravity_give_six_pure_modes(level):
    m = sa.modes(level, 10.0, 4.0)
    f = dict(zip(m.words, m.frequency_hz, strict=True))
    ixx, iyy, izz = np.diag(level.inertia_kg_mm2)
    want = {
        "bounce": 4e4 / 0.5,
        "surge": 1.6e4 / 0.5,
        "sway": 1.6e4 / 0.5,
        "roll rocking": 4e4 * 30**2 / ixx,
        "pitch rocking": 4e4 * 40**2 / iyy,
        "yaw twist": 1.6e4 * 50**2 / izz,
    }
    assert set(f) == set(want)
    for name, value in want.items():
        assert f[name] == pytest.approx(np.sqrt(value) / (2 * np.pi), rel=1e-12), name
    assert m.energy.sum(axis=0) == pytest.approx(np.ones(6))
    assert sa.coupling_warnings(level, 10.0, 4.0) == ()


def test_equal_frequencies_still_lie_along_the_axes():
    # A cube on a square: surge and sway, and both rockings, in pairs.
    body = sa.suspension(mounting(box_mm=(60, 60, 60), positions_mm=rectangle_positions(70, 70)))
    m = sa.modes(body, 8.0, 8.0)
    assert sorted(m.words) == sorted(sa.MODE_NAMES)


def test_a_low_centre_of_gravity_couples_and_says_where_it_turns():
    body = sa.suspension(mounting(centre_mm=(0, 0, -25)))
    m = sa.modes(body, 10.0, 4.0)
    coupled = [w for w in m.words if "coupled" in w]
    assert len(coupled) == 4
    assert m.words[0].startswith("sway coupled with roll rocking (")
    assert "turning about a point" in m.words[0]
    # The pivot in words is a still point of the shape: x + pitch * height = 0.
    j = next(j for j, w in enumerate(m.words) if w.startswith("surge coupled"))
    height = -m.shapes[0, j] / m.shapes[4, j]
    side = "above" if height > 0 else "below"
    assert f"{abs(height):.0f} mm {side} the centre of gravity" in m.words[j]
    offset = sa.elastic_centre_mm(body, 10.0, 4.0)
    assert offset == pytest.approx([25, 25, 0, 0, 0, 0])
    texts = sa.coupling_warnings(body, 10.0, 4.0)
    assert texts[0] == "the elastic centre lies 25 mm above the centre of gravity: surge couples with pitch rocking"
    assert len(texts) == 2


def test_offsets_name_their_sides():
    body = sa.suspension(mounting(centre_mm=(-12, 9, 0)))
    offset = sa.elastic_centre_mm(body, 10.0, 4.0)
    assert offset == pytest.approx([0, 0, 12, -9, -9, 12])
    text = " ".join(sa.coupling_warnings(body, 10.0, 4.0))
    assert "12 mm ahead of" in text
    assert "9 mm right of" in text


def test_inclination_lifts_the_elastic_centre():
    # A pair at x = +-a tilted by t inward: a force along x at height h tilts nothing when
    # h = a (ka - ks) sin t cos t / (ka sin^2 t + ks cos^2 t) (balance of moments; the focal arrangement).
    t, ka, ks, a = np.radians(35), 12.0, 3.0, 40.0
    body = sa.suspension(mounting(count=2, positions_mm=((a, 0, 0), (-a, 0, 0)), inclination_deg=35))
    want = a * (ka - ks) * np.sin(t) * np.cos(t) / (ka * np.sin(t) ** 2 + ks * np.cos(t) ** 2)
    assert sa.elastic_centre_mm(body, ka, ks)[0] == pytest.approx(want, rel=1e-12)


@settings(max_examples=25, deadline=None)
@given(
    st.floats(0.05, 5), st.floats(0.2, 50), st.floats(0.1, 30), st.floats(-30, 30), st.floats(0, 60), st.floats(20, 150)
)
def test_sum_of_squares_and_rigid_following_hold_for_any_box(m, axial, shear, drop, tilt, side):
    body = sa.suspension(
        mounting(
            mass_kg=m, centre_mm=(3, -2, drop), inclination_deg=tilt, box_mm=(side, 60, 50), camera_point_mm=(40, 5, 0)
        )
    )
    f = sa.modes(body, axial, shear).frequency_hz
    k = sa.stiffness_matrix(body, axial, shear)
    trace = 1e3 * np.trace(np.linalg.solve(body.mass_matrix, k))
    assert np.sum((2 * np.pi * f) ** 2) == pytest.approx(trace, rel=1e-9)
    t = sa.camera_transmissibility(body, axial, shear, np.zeros(1))[0]
    assert np.abs(t - np.eye(6)).max() < 1e-6  # at rest the camera goes with the airframe
    far = sa.camera_transmissibility(body, axial, shear, np.array([1e6]))[0]
    assert np.abs(np.diag(far)).max() < 1e-3


def test_one_isolator_leaves_free_motions():
    body = sa.suspension(mounting(count=1, positions_mm=((0, 0, 0),)))
    m = sa.modes(body, 10.0, 4.0)
    assert (m.frequency_hz[:3] == 0).all()
    assert m.frequency_hz[5] == pytest.approx(np.sqrt(1e4 / 0.5) / (2 * np.pi))


def test_packages_hang_in_their_own_place():
    heavy = CameraPackage(
        name="heavy", mass_kg=0.9, centre_mm=(0, 0, -20), box_mm=(100, 80, 70), camera_point_mm=(50, 0, -20)
    )
    m = mounting(packages=(heavy,))
    body = sa.suspension(m, "heavy")
    assert body.mass_kg == 0.9
    assert (body.positions_mm[:, 2] == 20).all()
    assert body.camera_mm.tolist() == [50, 0, 0]
    assert sa.suspension(m).camera_mm.tolist() == [0, 0, 0]


def test_an_isolator_in_the_middle_stays_upright():
    body = sa.suspension(mounting(count=5, positions_mm=(*rectangle_positions(80, 60), (0, 0, 0)), inclination_deg=30))
    assert body.directions[4].tolist() == [0, 0, 1]
    assert body.directions[0] == pytest.approx([-0.4, -0.3, np.cos(np.radians(30))])
    assert np.linalg.norm(body.directions, axis=1) == pytest.approx(1)


@pytest.mark.parametrize(
    ("call", "word"),
    [
        (lambda b: sa.suspension(mounting(positions_mm=())), "positions_mm of quad"),
        (lambda b: sa.suspension(mounting(box_mm=None)), "inertia of main"),
        (lambda b: sa.suspension(mounting(), "light"), "package"),
    ],
)
def test_what_cannot_be_is_refused_by_field(level, call, word):
    with pytest.raises(InputError) as caught:
        call(level)
    assert caught.value.field == word
    assert "\n" not in str(caught.value)
