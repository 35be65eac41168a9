"""Flights of known truth: an airframe, its rotors, and a camera on soft mounts, as their two gyros would log them.

Written apart from the package: rigid-body matrices, base excitation and rotors stand here a second time, from
Harris' Shock and Vibration Handbook, 5th ed., chapter 3 (memory); nothing of ``matdb`` is called.

Motion of the craft that is not the rotors' is made on a grid of 400 Hz and passes the mount in the frequency domain,
where a complex stiffness of any law is exact; rotor lines are added as they stand at each sensor's own instants, so
that those above half its rate alias as in flight.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.spatial.transform import Rotation

GRID_HZ = 400.0
G = 9.80665
AT_HZ = 16.0  # where a mount has its stiffness and loss factor
GROWING = 0.4  # power of frequency in a loss that grows
LAWS = ("constant", "causal", "between", "growing")
RATES = (200.0, 250.0, 400.0, 500.0, 1000.0, 2000.0, 4000.0)


@dataclass
class Truth:
    """What is true of a flight."""

    flew_s: tuple[float, float]
    rotor: CubicSpline  # mean of the rotors, Hz, over the airframe's own time
    hover_hz: float
    blades: int
    offset_s: float  # camera stamp = (airframe stamp - offset) * (1 + drift)
    drift: float
    turn: Rotation  # camera axes <- airframe axes
    modes_hz: np.ndarray  # all six
    damping: np.ndarray  # ratio of each of them
    share: np.ndarray  # what each of them adds to roll, pitch, yaw of the camera per that of the airframe, (3, 6)


@dataclass
class Flight:
    """Two logs: seconds and rad/s; the airframe's acceleration in m/s2."""

    time_s: np.ndarray
    rate: np.ndarray
    acceleration: np.ndarray
    throttle: np.ndarray
    camera_time_s: np.ndarray
    camera_rate: np.ndarray
    truth: Truth


def cross(r):
    return np.cross(np.eye(3), r) * -1.0  # columns: r x e_j


@dataclass
class Mount:
    """Four isolators under a box: kg, mm, N/mm."""

    mass_kg: float
    box_mm: tuple
    half_mm: tuple
    above_mm: float
    axial: float
    across: float
    loss: float
    pivot_mm: tuple = (0.0, 0.0, -30.0)
    law: str = "constant"  # of LAWS

    def matrices(self):
        a, b, c = self.box_mm
        mass = np.diag(
            [self.mass_kg] * 3 + [self.mass_kg / 12 * s for s in (b * b + c * c, a * a + c * c, a * a + b * b)]
        )
        stiff = np.zeros((6, 6))
        for sx in (-1, 1):
            for sy in (-1, 1):
                r = np.array([sx * self.half_mm[0], sy * self.half_mm[1], -self.above_mm])
                arm = np.hstack([np.eye(3), -np.array([[0, -r[2], r[1]], [r[2], 0, -r[0]], [-r[1], r[0], 0]])])
                stiff += arm.T @ np.diag([self.across, self.across, self.axial]) @ arm
        return mass, 1e3 * stiff  # kg, kg mm2; N/m per mm...: kg/s2 in these units

    def complex_stiffness(self, hz):
        """Over its real part at 16 Hz."""
        if self.law == "growing":
            # Fractional Kelvin-Voigt, causal as it is: R. L. Bagley, P. J. Torvik, J. Rheology 27 (1983) 201 (memory).
            angle = 0.5 * np.pi * GROWING
            part = self.loss / (np.sin(angle) - self.loss * np.cos(angle))
            return (1 + part * (1j * hz / AT_HZ) ** GROWING) / (1 + part * np.cos(angle))
        # A power law's loss angle is pi / 2 times the power: H. C. Booij, G. P. J. M. Thoone, Rheol. Acta 21 (1982) 15,
        # from memory.
        slope = {"constant": 0.0, "between": 0.5, "causal": 1.0}[self.law] * 2 / np.pi * np.arctan(self.loss)
        return (1 + 1j * self.loss) * (hz / AT_HZ) ** slope

    def modes(self):
        mass, stiff = self.matrices()
        root = np.linalg.inv(np.linalg.cholesky(mass))
        values, vectors = np.linalg.eigh(root @ stiff @ root.T)
        shapes = root.T @ vectors
        # Hz; damping ratio; of roll, pitch, yaw: what each mode adds to the camera's turn per turn of the airframe
        hz = AT_HZ
        for _ in range(60):
            held = self.complex_stiffness(hz)
            hz = np.sqrt(values * held.real) / (2 * np.pi)
        return hz, 0.5 * held.imag / held.real, shapes[3:] * (shapes.T @ mass @ self.carried()).T[3:]

    def transfer(self, hz):
        """Camera motion per airframe motion at the camera's centre of gravity, (F, 6, 6)."""
        mass, stiff = self.matrices()
        f = np.asarray(hz)[:, None, None]
        held = stiff * self.complex_stiffness(f)
        return np.linalg.solve(held - (2 * np.pi * f) ** 2 * mass, held)

    def carried(self):
        """Motion at the camera's centre of gravity per motion of the airframe at its own."""
        p = -np.array(self.pivot_mm)
        out = np.eye(6)
        out[:3, 3:] = -np.array([[0, -p[2], p[1]], [p[2], 0, -p[0]], [-p[1], p[0], 0]])
        return out


def random_mount(rng):
    mass = rng.uniform(0.2, 1.2)
    box = rng.uniform(60, 120), rng.uniform(50, 100), rng.uniform(40, 90)
    bounce = rng.uniform(9.0, 24.0)
    axial = mass * (2 * np.pi * bounce) ** 2 / 4e3
    return Mount(
        mass,
        box,
        (rng.uniform(25, 50), rng.uniform(20, 45)),
        rng.uniform(-6, 6),
        axial,
        axial * rng.uniform(0.5, 1.2),
        rng.uniform(0.1, 0.4),
        (rng.uniform(-40, 40), 0.0, rng.uniform(-60, -10)),
    )


def _noise(rng, n, corner_hz, rms, order=1, top_hz=150.0):
    f = np.fft.rfftfreq(n, 1 / GRID_HZ)
    shape = 1.0 / (1.0 + (f / corner_hz) ** 2) ** (order / 2) / (1.0 + (f / top_hz) ** 16) ** 0.5
    x = np.fft.irfft(np.fft.rfft(rng.standard_normal(n)) * shape, n)
    return x * (rms / x.std())


def fly(
    rng,
    *,
    seconds=None,
    rate_hz=None,
    camera_rate_hz=None,
    mount=None,
    flies=True,
    hover_hz=None,
    quiet=1.0,
    blades=None,
    clock=None,
    vary="",
    law="constant",
):
    """A random flight.

    Parameters
    ----------
    rng : Generator
    seconds : float, optional
        In the air.
    rate_hz, camera_rate_hz : float, optional
        Of the two logs.
    mount : Mount, optional
    flies : bool
        Or stands on the ground with its rotors still.
    hover_hz : float, optional
        Rotor speed in hover.
    clock : (float, float), optional
        Drift and offset of the camera's clock, s.
    quiet : float
        What turbulence and commands are multiplied by.
    vary : str
        "gusts": turbulence of another slope, with a hump; "steady": a throttle that does not move; "apart": pairs of
        rotors 2 % apart; else as usual.
    law : str
        Of a random mount: "constant": stiffness and loss factor, over frequency; "causal": stiffness grows as a power
        law of its constant loss must; "between": half as steeply; "growing": so does the loss.
    """
    seconds = rng.uniform(120, 300) if seconds is None else seconds
    rate_hz = rng.choice(RATES) if rate_hz is None else rate_hz
    camera_rate_hz = rng.choice(RATES) if camera_rate_hz is None else camera_rate_hz
    mount = replace(random_mount(rng), law=law) if mount is None else mount
    blades = int(rng.choice([2, 2, 3])) if blades is None else blades
    hover = rng.uniform(45, 130) if hover_hz is None else hover_hz
    before, after = rng.uniform(8, 25), rng.uniform(8, 20)
    total = before + seconds + after
    n = 2 * (int((total + 4) * GRID_HZ) // 2)
    grid = np.arange(n) / GRID_HZ - 2.0
    start, end = before, before + seconds
    up = np.clip(np.minimum(grid - start, end - grid) / 1.5, 0, 1) if flies else np.zeros(n)
    up = up * up * (3 - 2 * up)

    # rates of the airframe, rad/s
    deg = np.pi / 180
    turning = np.stack([
        quiet * (_noise(rng, n, rng.uniform(0.4, 2.0), deg * rng.uniform(*span), order=4)
                 + _noise(rng, n, rng.uniform(1.0, 3.0), deg * rng.uniform(2.0, 6.0)))
        for span in ((8, 35), (8, 35), (4, 20))
    ], axis=1)  # fmt: skip
    push = np.stack([quiet * _noise(rng, n, 2.0, rng.uniform(0.3, 1.2)) for _ in range(3)], axis=1)  # m/s2
    if vary == "gusts":
        # Power falling with 5/3 above a third of a hertz, and a hump where the frame's arms swing.
        f, hump = np.fft.rfftfreq(n, 1 / GRID_HZ), rng.spawn(2)[1].uniform(22.0, 40.0)
        shape = (
            (1.0 + f / 0.3) ** (-5 / 6)
            * (1.0 + 4.0 * np.exp(-0.5 * ((f - hump) / 1.5) ** 2))
            * np.sqrt(1 + (f / 2) ** 2)
        )
        for x in (turning, push):
            x[:] = np.fft.irfft(np.fft.rfft(x, axis=0) * shape[:, None], n, axis=0) * 2.0
    turning, push = turning * up[:, None], push * up[:, None]

    # the mount, in the frequency domain: rates pass as displacements do
    f = np.fft.rfftfreq(n, 1 / GRID_HZ)
    f[0] = 1e-3
    whole = mount.transfer(f) @ mount.carried()
    turns_of_turn, turns_of_push = whole[:, 3:, 3:], whole[:, 3:, :3]
    w = 2j * np.pi * f[:, None]
    spectra = np.fft.rfft(turning, axis=0), np.fft.rfft(push * 1e3, axis=0)
    # What sensor and mount feel of weight, an acceleration to both, when the craft tilts: in flight only what the air
    # holds back. Its angle is that of the rates above a twentieth of a hertz.
    angle = spectra[0] / w * (f[:, None] > 0.05)
    weight = G * rng.spawn(1)[0].uniform(0.0, 0.3) * np.stack([-angle[:, 1], angle[:, 0], 0.0 * f], axis=1)
    # rate = turn_per_mm * (acceleration / iw); below a quarter of a hertz position is held
    moved = (spectra[1] / w + 1e3 * weight / w) * (f[:, None] > 0.25)
    camera = np.fft.irfft(
        np.einsum("fij,fj->fi", turns_of_turn, spectra[0]) + np.einsum("fij,fj->fi", turns_of_push, moved), n, axis=0
    )

    # rotors
    collective = 1 + (vary != "steady") * np.clip(
        _noise(rng, n, rng.uniform(0.05, 0.3), rng.uniform(0.03, 0.10), order=3), -0.3, 0.3
    )
    trim = rng.normal(0, 0.006, 4) + (vary == "apart") * np.array([0.01, -0.01, -0.01, 0.01])
    mix = np.array([[1, 1], [1, -1], [-1, 1], [-1, -1]]) * 0.01
    slow = np.stack([np.convolve(turning[:, k], np.ones(80) / 80, "same") for k in (0, 1)], axis=1) / (30 * deg)
    idle = np.clip(np.minimum(grid - start + 6, end + 4 - grid), 0, 1) * flies * 0.4
    speeds = hover * (np.maximum(up * collective, idle)[:, None] + up[:, None] * (trim + slow @ mix.T))  # (n, 4)
    speeds = np.maximum(speeds, 0)
    phases = np.cumsum(speeds, axis=0) / GRID_HZ
    once, pass_ = rng.uniform(0.3, 2.0), rng.uniform(0.2, 1.5)
    size = deg * rng.uniform(1.0, 6.0)
    lines = []  # order, rotor, complex amplitude of rate (3) and acceleration (3) at hover
    for order, strength in ((1, once), (blades, pass_), (2 * blades, 0.4 * pass_)):
        for k in range(4):
            z = rng.standard_normal((2, 6)) @ np.diag([0.6, 0.6, 0.6, 1, 1, 0.4])
            z = (z[0] + 1j * z[1]) * strength * rng.uniform(0.5, 1.5) / 2.0
            lines.append((order, k, z[3:] * size, z[:3] * rng.uniform(0.5, 2.0)))
    hz_table = np.arange(1.0, 1500.0, 1.0)
    rotor_turns = mount.transfer(hz_table)[:, 3:, 3:]

    def sampled(times, series):
        return CubicSpline(grid, series)(times)

    def rotor_lines(times, at_camera):
        rate, push_ = np.zeros((times.size, 3)), np.zeros((times.size, 3))
        spin, turned = sampled(times, speeds), sampled(times, phases)
        for order, k, z, a in lines:
            loud = (spin[:, k] / hover) ** 2
            wave = np.exp(2j * np.pi * order * turned[:, k])
            if at_camera:
                hz = np.clip(order * spin[:, k], 1, 1498)
                for i in range(3):
                    gain = np.interp(hz, hz_table, rotor_turns[:, i] @ z)
                    rate[:, i] += (gain * wave).real * loud
            else:
                rate += (z * wave[:, None]).real * loud[:, None]
                push_ += (a * wave[:, None]).real * loud[:, None]
        return rate, push_

    def stamps(hz):
        t = np.arange(0.0, total, 1 / hz)
        keep = np.ones(t.size, bool)
        for _ in range(rng.integers(0, 4)):
            at = rng.integers(0, t.size)
            keep[at : at + rng.integers(1, int(0.05 * hz) + 2)] = False
        return t[keep]

    true_a, true_c = stamps(rate_hz), stamps(camera_rate_hz)
    noise = deg * rng.uniform(0.004, 0.02)
    line_rate, line_push = rotor_lines(true_a, False)
    rate = sampled(true_a, turning) + line_rate
    rate += rng.standard_normal(rate.shape) * noise * np.sqrt(rate_hz / 2) + deg * rng.normal(0, 0.5, 3)
    gravity = np.fft.irfft(weight, n, axis=0)
    gravity[:, 2] += G * (1.0 + (collective**2 - 1) * up)
    acceleration = (
        sampled(true_a, gravity + push)
        + line_push
        + rng.standard_normal((true_a.size, 3)) * 0.02 * np.sqrt(rate_hz / 400)
    )
    camera_rate = sampled(true_c, camera) + rotor_lines(true_c, True)[0]
    turn = Rotation.from_rotvec(rng.uniform(0, np.pi) * (lambda v: v / np.linalg.norm(v))(rng.standard_normal(3)))
    camera_rate = turn.apply(camera_rate) + deg * rng.normal(0, 0.5, 3)
    camera_rate += rng.standard_normal(camera_rate.shape) * noise * np.sqrt(camera_rate_hz / 2)
    drift, offset = (rng.uniform(-50e-6, 50e-6), rng.uniform(-20, 20)) if clock is None else clock
    jitter = rng.uniform(0, 0.2) / max(rate_hz, 500), rng.uniform(0, 0.2) / max(camera_rate_hz, 500)
    stamp_a = np.sort(true_a + jitter[0] * rng.uniform(-0.5, 0.5, true_a.size))
    stamp_c = np.sort((true_c - offset) * (1 + drift) + jitter[1] * rng.uniform(-0.5, 0.5, true_c.size))
    hz, damping, share = mount.modes()
    mean = speeds.mean(axis=1)
    air = (grid > start + 2) & (grid < end - 2)
    truth = Truth(
        flew_s=(start, end),
        rotor=CubicSpline(grid, mean),
        hover_hz=float(np.median(mean[air])),
        blades=blades,
        offset_s=offset,
        drift=drift,
        turn=turn,
        modes_hz=hz,
        damping=damping,
        share=share,
    )
    return Flight(stamp_a, rate, acceleration, sampled(true_a, collective * up), stamp_c, camera_rate, truth)
