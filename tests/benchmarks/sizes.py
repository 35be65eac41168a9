"""Proposals on random mountings and materials: promised against judged, against a random search, and their time.

``python tests/benchmarks/sizes.py 200 20000``: so many questions, and so many random designs against each (0 for none);
a third number is where to begin.
"""

import sys
import time
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

import numpy as np

import matdb
from matdb.advice.design import FREE
from matdb.advice.exposure import exposure
from matdb.advice.judge import judge
from matdb.advice.requirement import Candidate
from matdb.advice.size import size
from matdb.curve.fit import prior_curve
from matdb.form import FORMS

LABELS = (
    *(("silicone gel", "30 OO"), ("silicone", "20 A"), ("silicone", "40 A"), ("natural rubber", "40 A")),
    *(("TPU", "60 A"), ("TPU", "85 A"), ("polyurethane gel", "30 OO"), ("butyl", "40 A")),
)
KINDS = {
    "ring": ("outer_mm", "inner_mm", "height_mm"),
    "pad": ("diameter_mm", "height_mm"),
    "strut": ("outer_mm", "length_mm"),
    "printed-strut": ("outer_mm", "length_mm", "walls", "infill_share"),
    "grommet": ("flange_outer_mm", "bore_mm", "lower_mm", "hole_mm"),
}
TOLD = {"grommet": {"plate_mm": 2.0, "thread": "M3"}}
#: Shares of the height that random designs are squeezed by at first.
SHARES = {"ring": (0.0, 0.1), "pad": (0.0, 0.1), "grommet": (0.05, 0.12, 0.2)}


def question(rng):
    """A mounting, temperatures, a material and a form."""
    idle, more = rng.uniform(3000.0, 9000.0), {}
    if rng.random() < 0.6:
        more["spread_mm"], more["box_mm"] = (tuple(rng.uniform(*e).round()) for e in ((40, 150, 2), (50, 130, 3)))
        more["centre_mm"] = (0.0, 0.0, float(rng.integers(-5, 25)))
    mounting = matdb.Mounting(
        name="m", mass_kg=rng.uniform(0.1, 1.2), count=int(rng.integers(3, 7)), rpm_idle=idle,
        rpm_full=idle * rng.uniform(1.3, 2.2), manoeuvre_hz=rng.uniform(1.0, 6.0), **more,
    )  # fmt: skip
    low = int(rng.integers(-20, 15))
    family, hardness = LABELS[rng.integers(len(LABELS))]
    material = matdb.Material(name="x", family=family, hardness=hardness)
    return mounting, np.arange(low, low + rng.integers(5, 40), 2.0), material, list(KINDS)[rng.integers(len(KINDS))]


def chances(mounting, temperature_c, material, curve, forms, squeeze_mm=None):
    """The judge's probability of each form, at the most probable of the squeezes."""
    parts = [matdb.Part(name="r", material="x", form=form) for form in forms]
    exposed = exposure([(part, material) for part in parts], temperature_c)
    candidates, found = [Candidate(part, material, curve) for part in parts], np.zeros((2, len(forms)))
    for some in judge(candidates, mounting, exposed, squeeze_mm=squeeze_mm, every_squeeze=True):
        for each in some:
            own = each.probability, each.probability + 0.01 * each.met
            found[:, each.index] = np.maximum(found[:, each.index], own)
    return found


def with_draws(curve, step):
    """The same curve of every so manieth draw."""
    some = {name: getattr(curve, name)[::step] for name in ("parameters", "misfit", "turned", "rest", "softening")}
    return replace(curve, offsets={name: values[::step] for name, values in curve.offsets.items()}, **some)


def random_forms(rng, kind, tries):
    """Random designs of a form, the lowest first."""
    forms = []
    while len(forms) < tries:
        values = {name: float(np.exp(rng.uniform(*np.log(FREE[name])))) for name in KINDS[kind]}
        if "walls" in values:
            values["walls"] = int(rng.integers(FREE["walls"][0], FREE["walls"][1] + 1))
        try:
            form = FORMS[kind](**values | TOLD.get(kind, {}))
        except matdb.InputError:
            continue
        if not any(form.doubts):
            forms.append(form)
    return sorted(forms, key=lambda form: form.squeezable_height_mm)


def by_chance(rng, mounting, temperature_c, material, curve, kind, tries):
    """The best of so many random designs.

    All of them are judged at a few squeezes with few draws over both ends of the temperatures, then those that come
    nearest with more, and the best of these as the judge does.
    """
    forms, ends, near = random_forms(rng, kind, tries), temperature_c[[0, -1]], []
    for k in range(0, tries, 250):
        some = forms[k : k + 250]
        squeezes = [share * some[0].squeezable_height_mm for share in SHARES.get(kind, (0.0,))]
        near.append(chances(mounting, ends, material, with_draws(curve, 8), some, squeezes)[1])
    for kept, draws, over in ((400, 4, temperature_c[:: len(temperature_c) // 3 or 1]), (20, 1, temperature_c)):
        forms = [forms[k] for k in np.argsort(-np.concatenate(near), kind="stable")[:kept]]
        found = chances(mounting, over, material, with_draws(curve, draws), forms)
        near = [found[1]]
    return found[0].max()


def main(questions, tries, first=0):
    rows, seed = [], first
    while len(rows) < questions:
        rng = np.random.default_rng(1000 + seed)
        seed += 1
        mounting, temperature_c, material, kind = question(rng)
        if mounting.window_hz[0] > mounting.window_hz[1]:
            continue
        curve, started = prior_curve(material), time.process_time()
        found = size(material, curve, mounting, temperature_c, form=kind, told=TOLD.get(kind, {}))
        seconds = time.process_time() - started
        own = []
        for each in found:
            exposed = exposure([(each.part, material)], temperature_c)
            (judged,) = judge([Candidate(each.part, material, curve)], each.mounting, exposed)
            own.append(judged[0].probability)
        off = max(abs(each.probability - p) for each, p in zip(found, own, strict=True))
        best, chance, started = found[0].probability, np.nan, time.process_time()
        if tries and best < 0.95:  # nothing is more probable by 0.05 than what is surer
            chance = by_chance(rng, mounting, temperature_c, material, curve, kind, tries)
        rows.append((off, chance - best, seconds))
        print(
            f"{seed - 1:4d} {kind:14s}{material.family:28s}{best:7.3f}{chance:7.3f}{seconds:7.1f} s"
            f"{time.process_time() - started:7.1f} s",
            flush=True,
        )
    off, gain, seconds = np.array(rows).T
    print(f"{len(rows)} questions; promised against judged: {off.max():.4f} at most")
    compared = np.isfinite(gain).sum()
    print(
        f"the best of {tries} random designs is more probable by {np.nanmax(gain, initial=-1.0):.3f} at most, on "
        f"{compared} questions; {(~np.isfinite(gain)).sum() if tries else 0} were surer than 95 %"
    )
    middle, most_of, most = np.quantile(seconds, [0.5, 0.95, 1.0])
    print(f"CPU seconds: median {middle:.1f}, 95 % below {most_of:.1f}, most {most:.1f}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
