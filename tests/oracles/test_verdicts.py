"""Verdicts of random mountings against a six-axis model written apart: complex 6 x 6 at every rotor order and speed."""

import dataclasses
import math

import numpy as np
import pytest

import matdb
from matdb.advice.judge import Candidate
from matdb.advice.suit import suit
from matdb.curve.fit import prior_curve

#: Where each motion stands among x, y, z and the rotations about them.
AXIS = {"vertical": 2, "lateral": 1, "longitudinal": 0, "roll": 3, "pitch": 4, "yaw": 5}
TURNS = ("roll", "pitch", "yaw")
DRAWS = 20


def one_draw(family, hardness, pick):
    """A material of which a single curve is known, drawn from its label, and the part's own offset is nothing."""
    material = matdb.Material(name=family, family=family, hardness=hardness)
    curve = prior_curve(material)
    one = curve.parameters[[pick % len(curve.parameters)]].repeat(DRAWS, axis=0)
    # Read at every temperature, so that no doubt is left.
    settled = {"basis": "readings", "measured_c": (-60.0, 90.0), "crystallises": False}
    known = dataclasses.replace(
        curve, parameters=one, misfit=np.zeros(DRAWS), offsets={"p": np.zeros(DRAWS)}, **settled
    )
    return material, known


def grommet(rng):
    outer = rng.uniform(9.0, 16.0)
    bore = outer * rng.uniform(0.3, 0.45)
    lower, upper = rng.uniform(2.5, 6.0, 2)
    if rng.random() < 0.5:
        return matdb.GrommetPair(matdb.Ring(outer, bore, lower), matdb.Ring(outer, bore, upper), thread="M3")
    hole = bore + rng.uniform(0.4, 0.7) * (outer - bore)
    return matdb.Grommet(
        flange_outer_mm=outer,
        bore_mm=bore,
        lower_mm=lower,
        upper_mm=upper,
        plate_mm=2.0,
        hole_mm=hole,
        neck=str(rng.choice(["loose", "pressed"])),
        thread="M3",
    )


def mounting(rng, **more):
    length, width = rng.uniform(40.0, 110.0, 2)
    idle = rng.uniform(5000.0, 14000.0)
    return matdb.Mounting(
        **{
            "name": "m",
            "mass_kg": rng.uniform(0.3, 1.4),
            "count": int(rng.choice([3, 4, 6])),
            "rpm_idle": idle,
            "rpm_full": idle * rng.uniform(1.3, 2.2),
            "manoeuvre_hz": rng.uniform(2.0, 8.0),
            "spread_mm": (length, width),
            "centre_mm": (rng.uniform(-4.0, 4.0), rng.uniform(-4.0, 4.0), rng.uniform(-10.0, 25.0)),
            "box_mm": tuple(rng.uniform(50.0, 130.0, 3)),
        }
        | more
    )


class SixAxes:
    """A box on springs, moved by an airframe that turns about the point below its centre in the springs' plane."""

    def __init__(self, wanted, along, across):
        centre = np.array(wanted.centre_mm) * 1e-3
        self.points = np.array(wanted.positions_mm) * 1e-3 - centre
        self.pivot = np.array([0.0, 0.0, self.points[:, 2].mean()])
        a, b, c = np.array(wanted.box_mm) * 1e-3
        m = wanted.mass_kg
        self.mass = np.diag([m, m, m, *(m / 12.0 * np.array([b * b + c * c, a * a + c * c, a * a + b * b]))])
        self.spring = np.diag([across, across, along]) * 1e3  # N/m at 1 MPa
        plan = self.points[:, :2] - self.points[:, :2].mean(axis=0)
        self.radius = math.sqrt((plan**2).sum() / len(plan))

    @staticmethod
    def moved(point, motion):
        return motion[:3] + np.cross(motion[3:], point)

    def matrices(self):
        """Forces on the box per unit of its own motion, and per unit of the airframe's: summed spring by spring."""
        own, base = np.zeros((6, 6)), np.zeros((6, 6))
        for j, unit in enumerate(np.eye(6)):
            for r in self.points:
                back, push = (self.spring @ self.moved(at, unit) for at in (r, r - self.pivot))
                own[:, j] += np.concatenate([back, np.cross(r, back)])
                base[:, j] += np.concatenate([push, np.cross(r, push)])
        return own, base

    def turns(self, modulus, hz):
        """Rotation of the camera in rad per m and rad of the airframe, (..., F, 3, 6); moduli of shape (..., F)."""
        own, base = self.matrices()
        w = 2.0 * np.pi * hz[:, None, None]
        answer = np.linalg.solve(modulus[..., None, None] * own - w * w * self.mass, modulus[..., None, None] * base)
        return answer[..., 3:, :]

    def shares(self, modulus, hz):
        """Shares let through and missed by name, of moduli of any shape (..., F) at frequencies of shape (F,)."""
        turns = self.turns(modulus, hz)
        through = {
            name: np.linalg.norm(turns[..., at], axis=-1) * (self.radius if at < 3 else 1.0)
            for name, at in AXIS.items()
        }
        missed = {name: np.linalg.norm(turns[..., 3 + j] - np.eye(3)[j], axis=-1) for j, name in enumerate(TURNS)}
        return through, missed


def rotor_hz(wanted):
    """Every order (once and each blade), at speeds from lowest to highest."""
    speeds = np.linspace(wanted.rpm_idle, wanted.rpm_full, 12) / 60.0
    return np.concatenate([speeds, 2.0 * speeds])


def margins(wanted, row, modulus_at, strict=1.0):
    """Of each motion, how many times as stiff (or soft) it may become until its limit is passed.

    Where a resonance just reaches a limit, that hangs on the last percent: ``strict`` multiplies the limits.
    """
    isolation, follow = (strict / (ratio**2 - 1.0) for ratio in wanted.ratios)
    form = row["form"]
    aside = form.cross_axis
    along, across = (float(form.stiffness_n_per_mm(1.0, a, squeeze_mm=row["mm"])) for a in ("axial", aside))
    body = SixAxes(wanted, along, across)
    rotor, slow = rotor_hz(wanted), wanted.manoeuvre_hz * np.linspace(0.1, 1.0, 10)
    scales = np.exp(np.arange(-5.0, 5.0, 0.01))  # of stiffness
    through = body.shares(scales[:, None] * modulus_at(rotor), rotor)[0]
    missed = body.shares(scales[:, None] * modulus_at(slow), slow)[1]
    room = {}
    for name in AXIS:
        over = (through[name] > isolation).any(axis=1)
        room[name] = scales[np.argmax(over)] if over.any() else math.inf
        lost = (missed[name] > follow).any(axis=1) if name in TURNS else np.zeros(1, bool)
        if lost.any():
            room[name] = min(room[name], 1.0 / scales[np.flatnonzero(lost)[-1]])
    return room


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(12))
def test_deciding_motion_and_verdict_are_those_of_a_model_written_apart(seed):
    rng = np.random.default_rng(seed)
    family, hardness = [("silicone gel", "20 OO"), ("silicone", "30 A")][seed % 2]
    material, curve = one_draw(family, hardness, int(rng.integers(0, 400)))
    part = matdb.Part(name="p", material=material.name, form=grommet(rng))
    wanted = mounting(rng)
    while wanted.window_hz[0] > wanted.window_hz[1]:
        wanted = mounting(rng)
    t = float(rng.uniform(-15.0, 30.0))
    (row,) = suit([Candidate(part, material, curve)], wanted, [t])
    told = {each.name: each for each in row.requirements}
    if told["lift-off"].margin < 0.0:
        pytest.skip("a half alone carries it")

    def modulus_at(hz):
        return np.exp(curve.ln_modulus(np.full(hz.shape, t), np.log(2.0 * math.pi * hz))[0])

    room, near = (
        margins(wanted, {"form": part.form, "mm": row.squeeze_mm}, modulus_at, strict) for strict in (1.0, 0.7)
    )
    for name in AXIS:
        # Never looser than the model; tighter only where a resonance nearly reaches the limit: limits are tabulated at
        # loss angles up to a sixth and ratios an eighth apart, and the strictest neighbour counts where one is passed
        # (of 1,140 motions on other draws, 23 are tighter than at 0.93 of the limit, 9 than at 0.85).
        found = 2.0 * math.log1p(told[name].margin)
        assert found <= max(math.log(room[name]), -8.0) + 0.025 or room[name] > 100.0, name
        assert found >= min(math.log(near[name]), 4.6) - 0.025, name
    assert row.all_directions
    picture = [name for name in told if name in AXIS]
    nearest = sorted(room, key=room.get)
    if room[nearest[0]] < 0.97 * room[nearest[1]]:
        assert picture[0] == nearest[0]
    holds = room[nearest[0]] >= 1.0 and all(told[name].margin >= 0.0 for name in told if name not in AXIS)
    if abs(math.log(room[nearest[0]])) > 0.03:
        assert (row.verdict, row.probability) == (("suits", 1.0) if holds else ("does not suit", 0.0))


@pytest.mark.parametrize("seed", range(6))
def test_pixels_are_those_of_a_model_written_apart(seed):
    rng = np.random.default_rng(100 + seed)
    material, curve = one_draw("silicone gel", "20 OO", int(rng.integers(0, 400)))
    part = matdb.Part(name="p", material=material.name, form=matdb.Ring(14.0, 5.0, rng.uniform(5.0, 9.0)))
    wanted = mounting(
        rng, manoeuvre_hz=4.0, focal_length_mm=rng.uniform(2.0, 30.0), pixel_pitch_um=rng.uniform(1.5, 6.0)
    )
    hz = np.sort(np.append(rng.uniform(0.5, 400.0, 30), [1.0, 3.0]))
    measured = matdb.AirframeSpectrum(hz, rng.uniform(0.1, 20.0, (32, 6)), density=bool(seed % 2))
    (row,) = suit([Candidate(part, material, curve)], wanted, [5.0], spectrum=measured)
    along, across = (float(part.form.stiffness_n_per_mm(1.0, a, squeeze_mm=row.squeeze_mm)) for a in ("axial", "shear"))
    modulus = np.exp(curve.ln_modulus(np.full(32, 5.0), np.log(2.0 * np.pi * hz))[0])
    turns = SixAxes(wanted, along, across).turns(modulus, hz)
    per_rad = wanted.focal_length_mm / (1e-3 * wanted.pixel_pitch_um)
    told = 0
    for need in row.requirements:
        if need.name not in AXIS:
            assert need.pixels is None
            continue
        at = AXIS[need.name]
        slow = need.name in TURNS and not need.stiff
        picked = hz <= 4.0 if slow else hz >= wanted.lowest_rotor_hz
        turned = turns[..., at] - (np.eye(3)[at - 3] if slow else 0.0)
        acceleration = measured.acceleration[:, at]
        moved = (np.sqrt(acceleration) if measured.density else acceleration) / (2.0 * np.pi * hz) ** 2
        squares = ((per_rad * np.linalg.norm(turned, axis=1) * moved) ** 2)[picked]
        limit = (
            1.0 / (wanted.ratios[1 if slow else 0] ** 2 - 1.0) * (1.0 if at > 2 else 1.0 / SixAxes(wanted, 1, 1).radius)
        )
        most = ((per_rad * limit * moved) ** 2)[picked]
        widths = 0.5 * np.diff(hz[picked], prepend=hz[picked][0]) + 0.5 * np.diff(hz[picked], append=hz[picked][-1])
        weight = widths if measured.density else 0.5
        assert need.pixels == pytest.approx(math.sqrt((weight * squares).sum()), rel=1e-6)
        assert need.pixels_most == pytest.approx(math.sqrt((weight * most).sum()), rel=1e-6)
        told += 1
    assert told == 6
    if row.deciding in AXIS:
        assert f"as measured {row.requirements[0].pixels:.2g} px rms" in row.reason


def stock(rng, number):
    """Parts as they lie about: grommets, rings, pads, sleeves and printed legs of usual sizes."""
    for k in range(number):
        outer = rng.uniform(6.0, 16.0)
        kind = k % 5
        if kind == 0:
            yield grommet(rng)
        elif kind == 1:
            yield matdb.Ring(outer_mm=outer, inner_mm=0.4 * outer, height_mm=rng.uniform(3.0, 10.0))
        elif kind == 2:
            yield matdb.Pad(diameter_mm=outer, height_mm=rng.uniform(3.0, 12.0))
        elif kind == 3:
            yield matdb.Bush(outer_mm=outer + 4.0, inner_mm=0.5 * outer, length_mm=rng.uniform(5.0, 15.0))
        else:
            wall = rng.uniform(0.15, 0.45) * outer
            yield matdb.Strut(outer_mm=outer, inner_mm=outer - 2.0 * wall, length_mm=rng.uniform(8.0, 30.0))


def test_isolators_180_mm_apart_never_do_better_than_does_not_suit():
    rng = np.random.default_rng(180)
    labels = [("silicone gel", "20 OO"), ("silicone", "30 A"), ("natural rubber", "40 A"), ("silicone gel", "40 OO")]
    candidates = []
    for k, form in enumerate(stock(rng, 40)):
        family, hardness = labels[int(rng.integers(0, len(labels)))]
        material = matdb.Material(name=f"{family} {hardness}", family=family, hardness=hardness)
        candidates.append((matdb.Part(name=f"part {k}", material=material.name, form=form), material))
    curves = {material.name: prior_curve(material) for _, material in candidates}
    asked = [Candidate(part, material, curves[material.name]) for part, material in candidates]
    wanted = mounting(
        rng, mass_kg=0.62, count=4, rpm_idle=4200, rpm_full=8000, manoeuvre_hz=8.0, spread_mm=(180.0, 180.0),
        box_mm=(110.0, 80.0, 60.0), centre_mm=(0.0, 0.0, 0.0),
    )  # fmt: skip
    rows = suit(asked, wanted, [-10.0, 25.0])
    assert {row.verdict for row in rows} == {"does not suit"}
    assert len(rows) == 40
