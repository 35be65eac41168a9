"""Proposals on random mountings and materials: promised against judged, against a random search, and their time.

``python tests/benchmarks/sizes.py 200 20000``: so many questions, and so many random designs against each (0 for none).
"""

import sys
import time
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


def chances(mounting, temperature_c, material, curve, forms):
    """The judge's probability of each form."""
    parts = [matdb.Part(name="r", material="x", form=form) for form in forms]
    exposed = exposure([(part, material) for part in parts], temperature_c)
    found = np.zeros(len(forms))
    for some in judge([Candidate(part, material, curve) for part in parts], mounting, exposed):
        for each in some:
            found[each.index] = each.probability
    return found


def by_chance(rng, mounting, temperature_c, material, curve, kind, tries):
    """The best of so many random designs: over both ends of the temperatures, then the best ones over all."""
    forms = []
    while len(forms) < tries:
        values = {name: float(np.exp(rng.uniform(*np.log(FREE[name])))) for name in KINDS[kind]}
        if "walls" in values:
            values["walls"] = round(values["walls"])
        try:
            form = FORMS[kind](**values | TOLD.get(kind, {}))
        except matdb.InputError:
            continue
        if not any(form.doubts):
            forms.append(form)
    ends = temperature_c[[0, -1]]
    found = np.concatenate([chances(mounting, ends, material, curve, forms[k : k + 200]) for k in range(0, tries, 200)])
    return chances(mounting, temperature_c, material, curve, [forms[k] for k in np.argsort(-found)[:20]]).max()


def main(questions, tries):
    rows = []
    for seed in range(questions):
        rng = np.random.default_rng(1000 + seed)
        mounting, temperature_c, material, kind = question(rng)
        if mounting.window_hz[0] > mounting.window_hz[1]:
            continue
        curve, started = prior_curve(material), time.process_time()
        found = size(material, curve, mounting, temperature_c, form=kind, told=TOLD.get(kind, {}))
        seconds = time.process_time() - started
        own = [chances(each.mounting, temperature_c, material, curve, [each.form])[0] for each in found]
        off = max(abs(each.probability - p) for each, p in zip(found, own, strict=True))
        chance = by_chance(rng, mounting, temperature_c, material, curve, kind, tries) if tries else np.nan
        rows.append((off, chance - found[0].probability, seconds))
        print(
            f"{seed:4d} {kind:14s}{material.family:32s}{found[0].probability:7.3f}{chance:7.3f}{seconds:7.1f} s",
            flush=True,
        )
    off, gain, seconds = np.array(rows).T
    print(f"{len(rows)} questions; promised against judged: {off.max():.4f} at most")
    print(f"the best of {tries} random designs is more probable by {np.nanmax(gain) if tries else np.nan:.3f} at most")
    middle, most_of, most = np.quantile(seconds, [0.5, 0.95, 1.0])
    print(f"CPU seconds: median {middle:.1f}, 95 % below {most_of:.1f}, most {most:.1f}")


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
