"""A camera on four isolators, six degrees of freedom, struck by hand and recorded by a phone: records of known truth.

Equations of motion integrated step by step (SciPy's solve_ivp), the truth from the eigenvalues of the same matrices;
nothing here is shared with what reads a record. Kinds of record: ``hit`` (struck over the centre, one mode),
``two`` (struck off centre: bounce and rocking), ``alias`` (a mode above half the phone's rate), ``batched`` (time
stamps that come by the packet), ``stamped`` (even readings whose time stamps tremble).
"""

from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp

from matdb.bench.trace.record import Trace

KINDS = ("hit", "two", "alias", "batched", "stamped")


@dataclass(frozen=True)
class Struck:
    """The bounce's damped frequency and decrement, all modes' frequencies, the record, and the phone's rate."""

    frequency_hz: float
    log_decrement: float
    all_hz: np.ndarray
    all_decrements: np.ndarray
    trace: Trace
    rate_hz: float


def _cross(r):
    return np.array([[0.0, -r[2], r[1]], [r[2], 0.0, -r[0]], [-r[1], r[0], 0.0]])


def struck(kind, seed):
    """One record of a kind."""
    rng = np.random.default_rng([3141, KINDS.index(kind), seed])
    rate = {"alias": 100.0}.get(kind) or float(rng.choice([400.0, 500.0] if kind == "hit" else [200.0, 400.0, 500.0]))
    bounce = rng.uniform(58.0, 90.0) if kind == "alias" else rng.uniform(8.0, 32.0)
    zeta = rng.uniform(0.03, 0.12)
    mass, box = rng.uniform(0.15, 1.2), rng.uniform(0.05, 0.12, 3)
    inertia = np.diag([box[1] ** 2 + box[2] ** 2, box[0] ** 2 + box[2] ** 2, box[0] ** 2 + box[1] ** 2]) * mass / 12.0
    centred = kind != "two"
    spread, low = rng.uniform(0.04, 0.1, 2), 0.0 if centred else rng.uniform(0.0, 0.03)
    axial = mass * (2.0 * np.pi * bounce) ** 2 / 4.0
    each = np.diag([rng.uniform(0.4, 1.0)] * 2 + [1.0]) * axial
    stiffness = np.zeros((6, 6))
    for x in (-0.5, 0.5):
        for y in (-0.5, 0.5):
            arm = np.array([x * spread[0], y * spread[1], -low])
            reach = np.hstack([np.eye(3), -_cross(arm)])
            stiffness += reach.T @ each @ reach
    inverse = np.linalg.inv(np.block([[mass * np.eye(3), np.zeros((3, 3))], [np.zeros((3, 3)), inertia]]))
    damping = stiffness * 2.0 * zeta / (2.0 * np.pi * bounce)
    system = np.block([[np.zeros((6, 6)), np.eye(6)], [-inverse @ stiffness, -inverse @ damping]])
    poles, shapes = np.linalg.eig(system)
    up = poles.imag > 1.0
    poles, shapes = poles[up], shapes[:, up]
    vertical = int(
        np.argmax(np.abs(shapes[2]) / np.linalg.norm(shapes[:3] + 1e-12, axis=0) * (np.abs(shapes[2]) > 1e-9))
    )
    vertical = int(np.argmin(np.abs(np.abs(poles) / 2 / np.pi - bounce))) if centred else vertical

    off = np.zeros(3) if centred else np.append(rng.uniform(-0.03, 0.03, 2), 0.0)
    point = np.array([off[0], off[1], 0.5 * box[2]])
    sensor = np.array([0.0, 0.0, 0.5 * box[2] + 0.005]) + np.append(rng.uniform(-0.02, 0.02, 2), 0.0)
    direction = np.array([0.0, 0.0, -1.0]) if centred else np.append(rng.uniform(-0.1, 0.1, 2), -1.0)
    wide = rng.uniform(0.002, 0.006) if kind != "alias" else rng.uniform(0.001, 0.003)
    decay = zeta * 2.0 * np.pi * bounce
    gap = float(np.clip(7.0 / decay, 0.6, 2.5))
    hits = 0.35 + gap * np.arange(int(rng.integers(4, 8))) + rng.uniform(0.0, 0.1)
    strength = rng.uniform(0.6, 1.3, hits.size)
    end = hits[-1] + gap
    even = rng.uniform(0.0, 1.0 / rate) + np.arange(int(end * rate)) / rate
    taken = np.sort(even + rng.normal(0.0, 0.03 / rate, even.size)) if kind == "two" else even
    # A swing of some 4 m/s2 after the pulse.
    impulse = 4.0 * mass / (2.0 * np.pi * bounce)
    wrench = np.concatenate([direction, np.cross(point, direction)]) * impulse * 0.5 * np.pi / wide

    def force(t):
        inside = (t >= hits) & (t < hits + wide)
        return float(np.sum(np.where(inside, strength * np.sin(np.pi * (t - hits) / wide), 0.0)))

    def slope(t, state, on):
        out = system @ state
        if on:
            out[6:] += inverse @ (wrench * force(t))
        return out

    state, at, told = np.zeros(12), 0.0, np.zeros((taken.size, 6))
    for edge, on in sorted([(h, False) for h in hits] + [(h + wide, True) for h in hits] + [(end, False)]):
        rows = np.flatnonzero((taken >= at) & (taken < edge))
        found = solve_ivp(
            slope, (at, edge), state, "DOP853", np.append(taken[rows], edge), args=(on,), rtol=1e-7, atol=1e-11
        )
        for row, each_state in zip(rows, found.y.T, strict=False):
            whole = slope(taken[row], each_state, on)[6:]
            # What an accelerometer feels: its own acceleration and gravity, which the tilt shares out.
            tilt = _cross(each_state[3:6])
            told[row, :3] = whole[:3] + np.cross(whole[3:], sensor) + (np.eye(3) - tilt) @ [0.0, 0.0, 9.81]
        state, at = found.y[:, -1], edge
    signal = told[:, :3] + rng.normal(0.0, rng.uniform(0.005, 0.05), (taken.size, 3)) + rng.normal(0.0, 0.02, 3)
    signal = np.clip(np.round(signal / 0.0024) * 0.0024, -39.2, 39.2)
    stamps = taken.copy()
    if kind == "batched":
        size, style = int(rng.integers(4, 16)), int(rng.integers(3))
        last = np.minimum((np.arange(taken.size) // size + 1) * size - 1, taken.size - 1)
        late = rng.uniform(0.0, 0.3, taken.size // size + 1) / rate
        stamps = taken[last] + late[np.arange(taken.size) // size] + 0.004
        if style == 1:  # a packet is read out quickly
            stamps += (np.arange(taken.size) % size) * 2e-4
        elif style == 2:  # a clock of few digits
            stamps = np.floor(taken / (size / rate)) * size / rate
    if kind == "stamped":
        stamps = np.sort(taken + rng.normal(0.0, 0.15 / rate, taken.size))
    return Struck(
        float(poles[vertical].imag / 2 / np.pi), float(-2 * np.pi * poles[vertical].real / poles[vertical].imag),
        poles.imag / 2 / np.pi, -2 * np.pi * poles.real / poles.imag,
        Trace(stamps, signal, ("x (m/s2)", "y (m/s2)", "z (m/s2)")), rate,
    )  # fmt: skip
