"""Turning of a camera against a state-space model written apart: points moved in space, no formula shared."""

import numpy as np
import pytest
from scipy.signal import StateSpace

from matdb.mounting.directions import MOTIONS, AllowedStiffness, Turning
from matdb.mounting.record import Mounting
from matdb.mounting.six_axis import suspension

#: Where each of MOTIONS stands among x, y, z and the rotations about them.
AXIS = {"vertical": 2, "lateral": 1, "longitudinal": 0, "roll": 3, "pitch": 4, "yaw": 5}


def mounting(half_x, half_y, height, mass=0.62, box=(110.0, 80.0, 60.0), **more):
    corners = [(sx * half_x, sy * half_y, 0.0) for sx in (1, -1) for sy in (1, -1)]
    return Mounting(
        name="m",
        mass_kg=mass,
        count=4,
        rpm_idle=4200,
        rpm_full=8000,
        positions_mm=corners,
        centre_mm=(0.0, 0.0, height),
        box_mm=box,
        **more,
    )


def shift(point, motion):
    """Displacement of a point of a body that moves by six components about the origin."""
    return motion[:3] + np.cross(motion[3:], point)


def state_space(points, pivot, mass, inertia, k, lag, tilting=0.0):
    """Six components of the airframe in, of the camera out: springs k (n, 3) with a force k (x + lag dx/dt).

    Each of them resists ``tilting`` about x and y as well, N m/rad.
    """

    def force(camera, airframe):
        total = np.zeros(6)
        for r, stiff in zip(points, k, strict=True):
            f = stiff * (shift(r - pivot, airframe) - shift(r, camera))
            total[:3] += f
            total[3:] += np.cross(r, f)
            total[3:5] += tilting * (airframe - camera)[3:5]
        return total

    unit = np.eye(6)
    own = -np.array([force(e, 0 * e) for e in unit]).T
    base = np.array([force(0 * e, e) for e in unit]).T
    m = np.diag([mass, mass, mass, *inertia])
    own, base = np.linalg.solve(m, own), np.linalg.solve(m, base)
    # With the airframe's motion as input its rate stands in the state: v = dx/dt - lag * base * u.
    a = np.block([[np.zeros((6, 6)), np.eye(6)], [-own, -lag * own]])
    b = np.block([[lag * base], [base - lag * own @ (lag * base)]])
    return StateSpace(a, b, np.hstack([np.eye(6), np.zeros((6, 6))]), np.zeros((6, 6)))


@pytest.mark.parametrize(
    ("half_x", "half_y", "height", "ratio", "pivot", "tilting_mm2"),
    [
        (40.0, 30.0, 0.0, 0.38, (0.0, 0.0, 0.0), 0.0),
        (40.0, 30.0, 20.0, 0.69, (5.0, -8.0, -70.0), 0.0),
        (90.0, 90.0, 10.0, 0.19, (0.0, 12.0, 30.0), 0.0),
        (25.0, 20.0, 40.0, 0.19, (-9.0, 4.0, -40.0), 0.0),
        (15.0, 12.0, 10.0, 0.38, (5.0, -8.0, -70.0), 40.0),
    ],
)
def test_rotation_and_translation_get_through_as_in_a_state_space_model(
    half_x, half_y, height, ratio, pivot, tilting_mm2
):
    body = suspension(mounting(half_x, half_y, height))
    turning = Turning(body, np.array(pivot), tilting_mm2)
    axial, lag = 3.5, 8e-4
    k = np.tile(np.array([ratio * axial, ratio * axial, axial]) * 1e3, (4, 1))
    points = np.array([(sx * half_x, sy * half_y, -height) for sx in (1, -1) for sy in (1, -1)]) * 1e-3
    model = state_space(
        points, np.array(pivot) * 1e-3, 0.62, np.diag(body.inertia_kg_mm2) * 1e-6, k, lag, axial * tilting_mm2 * 1e-3
    )
    hz = np.geomspace(2.0, 400.0, 37)
    omega = 2.0 * np.pi * hz
    through, missed = turning.shares(np.array([ratio]), (1e3 * axial * (1.0 + 1j * omega * lag) / omega**2)[None, :])
    radius = np.hypot(half_x, half_y) * 1e-3
    for i, w in enumerate(omega):
        t = model.C @ np.linalg.solve(1j * w * np.eye(12) - model.A, model.B)
        for j, name in enumerate(MOTIONS):
            turn = t[3:, AXIS[name]] * (radius if j < 3 else 1.0)
            assert through[0, i, j] == pytest.approx(np.linalg.norm(turn), rel=1e-6, abs=1e-9)
            if j >= 3:
                lagging = turn - np.eye(3)[j - 3]
                assert missed[0, i, j - 3] == pytest.approx(np.linalg.norm(lagging), rel=1e-6, abs=1e-9)


@pytest.mark.parametrize(
    ("half", "height", "ratio", "loss"),
    [((40, 30), 0, 0.38, 0.2), ((40, 30), 20, 0.69, 0.1), ((90, 90), 5, 0.5, 0.4), ((25, 20), 40, 0.19, 0.3)],
)
def test_the_allowed_stiffness_is_where_a_scan_finds_the_limit(half, height, ratio, loss):
    turning = Turning(suspension(mounting(*half, height)), np.array([0.0, 0.0, -height]))
    ratios = np.array([0.9 * ratio, ratio, 1.2 * ratio])
    allowed = AllowedStiffness(turning, ratios, 1.0 / (2.5**2 - 1.0), 1.0 / 3.0)
    hz, slow = np.geomspace(70.0, 267.0, 4), np.linspace(2.0, 8.0, 4)
    modulus = np.full(4, np.log(1.0 + 1j * loss))
    most = allowed.most(modulus, 2.0 * np.pi * hz)[1]
    least = allowed.least(modulus, 2.0 * np.pi * slow)[1]
    scan = np.geomspace(0.005, 500.0, 8000)
    z = 1e3 * scan[:, None] * (1.0 + 1j * loss) / (2.0 * np.pi * np.concatenate([hz, slow])) ** 2
    through, missed = turning.shares(np.array([ratio]), z.reshape(1, -1))
    over = (through.reshape(8000, 8, 6)[:, :4] > 1.0 / (2.5**2 - 1.0)).any(axis=1)
    lost = (missed.reshape(8000, 8, 3)[:, 4:] > 1.0 / 3.0).any(axis=1)
    for j in range(6):
        if over[:, j].any():
            assert np.exp(most[j]) == pytest.approx(scan[np.argmax(over[:, j])], rel=4e-3)
    for j in range(3):
        assert np.exp(least[j]) == pytest.approx(scan[np.flatnonzero(lost[:, j])[-1] + 1], rel=4e-3)
