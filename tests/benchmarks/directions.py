"""Sideways and rocking stiffness of virtual mounts: how often the band holds the truth.

    python tests/benchmarks/directions.py 100

Each mount is four grommets or rings whose every dimension is off its drawing (normal, 10 %, at most 20 %; plate and
hole as cut). Their true stiffness is finite elements of what they are; the rubber is a virtual specimen outside the
fitted family (``tests/virtual.py``), scaled to 0.6 to 5 MPa. One axial and one sideways ring-down at 23 degC on the
four, with a bench's noise (3 % of frequency, 15 % of the decrement), are all that the program is told beside the
drawing. Asked is the sideways stiffness of a part and the stiffness against rocking of the mount, rows 30 mm and 80 mm
apart, at 23 and 0 degC and 30 Hz. Told beside it: the same from the axial reading alone, twice.
"""

import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS.parent), str(TESTS)]

import virtual
from generators.finite_elements.grommet import MODES, whole_grommet
from generators.finite_elements.grommet_fit import ASIDE_MESH
from generators.finite_elements.linear import column_stiffness

from matdb.bench.readings import RingDown
from matdb.curve.fit import fit_curve
from matdb.form import Grommet, Part, Ring
from matdb.form.base import TILTING
from matdb.material.record import Material
from matdb.mounting.suspended import ln_storage

MATERIAL = Material(name="virtual", family="unknown")
KINDS = ("ring", "loose, bore free", "loose, on a sleeve", "pressed, bore free", "pressed, on a sleeve")
ASKED_C, ASKED_HZ, ROWS_MM = (23.0, 0.0), 30.0, (30.0, 80.0)
AS_CUT = ("plate_mm", "hole_mm")


def drawn(kind, rng):
    """A part as drawn, and as it is."""
    if kind == "ring":
        sizes = {"outer_mm": rng.uniform(10, 18), "inner_mm": rng.uniform(4, 6), "height_mm": rng.uniform(4, 8)}
    else:
        bore = rng.uniform(3.5, 4.5)
        sizes = {"flange_outer_mm": rng.uniform(11, 16), "bore_mm": bore, "plate_mm": rng.uniform(1, 3)}
        sizes |= {"lower_mm": rng.uniform(2.5, 5), "hole_mm": bore + rng.uniform(2.5, 4)}
        sizes |= {"upper_mm": sizes["lower_mm"]}
    off = {name: 1.0 + 0.1 * np.clip(rng.standard_normal(), -2.0, 2.0) for name in sizes if name not in AS_CUT}
    actual = {name: value * off.get(name, 1.0) for name, value in sizes.items()}
    if kind != "ring":
        # What would not go together is as far off as it can be.
        actual["bore_mm"] = min(actual["bore_mm"], actual["hole_mm"] - 1.0)
        actual["flange_outer_mm"] = max(actual["flange_outer_mm"], actual["hole_mm"] + 1.0)
    return sizes, actual


def form_of(kind, sizes):
    """The form that the program is told."""
    if kind == "ring":
        return Ring(**sizes)
    neck, bore = kind.split(", ")
    return Grommet(**sizes, neck=neck, sleeve_mm=sizes["bore_mm"] if bore == "on a sleeve" else None)


def solved(kind, sizes, soft):
    """Axial, sideways and tilting stiffness at a Young's modulus of 1 MPa by finite elements, N/mm and N mm/rad.

    ``soft`` is Young's over bulk modulus.
    """
    if kind == "ring":
        outer, height = sizes["outer_mm"], sizes["height_mm"]
        hole = sizes["inner_mm"] / outer
        area, second = math.pi / 4 * outer**2 * (1 - hole**2), math.pi / 64 * outer**4 * (1 - hole**4)
        units = {"axial": area / height, "sideways": area / height, "tilt": second / height}
        how = {"compressibility": soft, "fineness": ASIDE_MESH}
        return [column_stiffness(height / outer, hole, a, **how) * unit for a, unit in units.items()]
    neck, bore = kind.split(", ")
    radius = sizes["flange_outer_mm"] / 2.0
    places = [sizes[name] / 2.0 / radius for name in ("bore_mm", "hole_mm")]
    places += [sizes["lower_mm"] / radius, sizes["upper_mm"] / radius, sizes["plate_mm"] / 2.0 / radius]
    wanted = [(neck, bore == "on a sleeve", mode) for mode in MODES]
    values = whole_grommet(*places, wanted, compressibility=soft, fineness=ASIDE_MESH)
    return [value * radius ** (3 if mode == "tilt" else 1) for value, mode in zip(values, MODES, strict=True)]


def rung(truth, unit, temperature_c, mass_kg, rng, axis):
    """A ring-down of a mass on four, as a bench reads it."""
    s = 2j * np.pi * 30.0
    for _ in range(200):
        s = 1j * np.sqrt(4e3 * unit / mass_kg * truth.modulus(s, temperature_c))
    f, decrement = s.imag / (2 * np.pi), -2 * np.pi * s.real / s.imag
    f, decrement = f * math.exp(0.03 * rng.standard_normal()), decrement * math.exp(0.15 * rng.standard_normal())
    how = {"part": "part", "temperature_c": temperature_c, "mass_kg": mass_kg, "count": 4, "axis": axis}
    return RingDown(**how, frequency_hz=f, log_decrement=min(decrement, 5.0))


def asked(curve, part, temperature_c):
    """Ln of the sideways stiffness of a part and of a mount's stiffness against rocking, every draw."""
    t, ln_omega = np.array(temperature_c), np.log(2 * np.pi * ASKED_HZ)
    felt = {a: curve.through(part.form, a, curve.ln_stiffest(t)) for a in part.form.axes}
    ln_e = {a: ln_storage(felt[a].ln_modulus(t, ln_omega)) for a in felt}
    ln_e[TILTING] = ln_e["axial"]
    units = (part.form.stiffness_n_per_mm(1.0, "axial"), part.form.stiffness_n_per_mm(1.0, "shear"))
    units = (*units, part.form.tilting_stiffness_n_mm_per_rad(1.0))
    axes = ("axial", "shear", TILTING)
    along, across, tilt = (k * np.exp(ln_e[a] + curve.offset_draws(part, a)) for k, a in zip(units, axes, strict=True))
    return [np.log(across), *[np.log(4 * (along * (mm / 2) ** 2 + tilt)) for mm in ROWS_MM]]


def mount(seed):
    """Of a mount, for both sets of readings and every temperature: whether the band holds, and its width in ln."""
    kind, rng = KINDS[seed % len(KINDS)], np.random.default_rng([seed, 16])
    sizes, actual = drawn(kind, rng)
    part, truth = Part(name="part", material="virtual", form=form_of(kind, sizes)), virtual.specimen(seed)
    # As soft as rubbers of such mounts are, so that its volume hardly counts.
    modulus = math.exp(rng.uniform(math.log(0.6), math.log(5.0)))
    scale = modulus / truth.at(30.0, 23.0).real
    truth = replace(truth, rubbery_mpa=scale * truth.rubbery_mpa, moduli_mpa=scale * truth.moduli_mpa)
    along, across, tilt = solved(kind, actual, modulus / virtual.BULK_MPA)
    mass = 4e3 * along * modulus / (2 * np.pi * rng.uniform(20.0, 40.0)) ** 2
    first, again = (rung(truth, along, 23.0, mass, rng, "axial") for _ in range(2))
    aside = rung(truth, across, 23.0, mass, rng, "shear")
    out = []
    for readings in ([first, aside], [first, again]):
        curve = fit_curve(MATERIAL, {"part": part}, readings)
        for t in ASKED_C:
            e = truth.at(ASKED_HZ, t).real
            true = [across * e, *[4 * (along * (mm / 2) ** 2 + tilt) * e for mm in ROWS_MM]]
            for draws, value in zip(asked(curve, part, t), true, strict=True):
                low, high = np.quantile(draws, (0.025, 0.975))
                out.append((low <= math.log(value) <= high, high - low, math.log(value) - np.median(draws)))
    return kind, out


def main(count):
    """Cover, width and error over the mounts, as they come and in all."""
    told = [
        (which, f"{what} at {t:g} degC")
        for which in ("axial and sideways", "axial twice")
        for t in ASKED_C
        for what in ("sideways", *[f"rocking, rows {mm:g} mm apart," for mm in ROWS_MM])
    ]
    found = []
    for seed in range(count):
        found.append(mount(seed))
        if (seed + 1) % 10 == 0 or seed + 1 == count:
            print(f"\n{seed + 1} mounts: covered, of each kind, mean width (factor), largest error %", flush=True)
            for k, (which, what) in enumerate(told):
                rows = [out[k] for _, out in found]
                kinds = [np.mean([out[k][0] for kind, out in found if kind == each] or [math.nan]) for each in KINDS]
                width, most = np.mean([w for _, w, _ in rows]), max(abs(e) for _, _, e in rows)
                each = " ".join(f"{share:.2f}" for share in kinds)
                covered = np.mean([holds for holds, _, _ in rows])
                line = f"{which:19s} {what:40s} {covered:.3f}  ({each})  {math.exp(width):.2f}"
                print(f"{line}  {100 * math.expm1(most):.0f}", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
