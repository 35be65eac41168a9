"""The library over the demo store answers what it always answered, and keeps its public face."""

import functools
import inspect
import re
import typing

import numpy as np
import pytest
from contract.plain import text
from contract.script import RECORDED, WRITE, difference, normal

import matdb

T = [-20.0, -5.0, 10.0, 23.0, 50.0]


#: Where a natural frequency is solved: what two solvers agree to.
SOLVED = 5e-6


def held(name, told, bound=None):
    """Hold a text against its recording."""
    file = RECORDED / f"{name}.python"
    told = normal(told, "<none>")
    if WRITE:
        file.write_text(told, encoding="utf-8")
        return
    found = difference(file.read_text(encoding="utf-8"), told, bound)
    assert found is None, f"{file.name}: {found}"


@pytest.fixture
def store(desk):
    with matdb.open_store("demo.sqlite") as opened:
        yield opened


def tried(call):
    """What a call gives, or its error line."""
    try:
        return call()
    except matdb.MatdbError as error:
        return f"{type(error).__name__}: {error}"


def test_forms():
    forms = [
        matdb.Pad(10, 5), matdb.Pad(10, 5, bonded=False, load_points=((0.5, 4.0), (1.0, 10.0))), matdb.Ring(16, 6, 5),
        matdb.Bush(12, 6, 10), matdb.Strut(8, length_mm=20), matdb.Strut(8, 4, 20),
        matdb.PrintedStrut(10, 4, 25, wall_mm=0.8, infill_share=0.2, pattern="bend", build="lying"),
        matdb.Taper(12, 8, 10), matdb.CableLoop(30, ((1, 2), (3, 5)), 0.2),
        matdb.Measured(height_mm=8, shear_share=0.4),
        matdb.GrommetPair(matdb.Ring(12, 5, 4), matdb.Pad(10, 3), plate_mm=2, thread="M3", spacer_mm=8.5),
    ]  # fmt: skip
    told = {}
    for form in forms:
        for axis in form.axes:
            for squeeze in (0.0, 0.1, 0.3, 0.6):
                for modulus in (1.0, 2.0 + 0.3j):
                    name = f"{form!r}.stiffness_n_per_mm({modulus}, {axis!r}, squeeze_mm={squeeze})"
                    call = functools.partial(form.stiffness_n_per_mm, modulus, axis, squeeze_mm=squeeze)
                    told[name] = tried(call)
            told[f"{form!r}.offset_sd({axis!r})"] = tried(functools.partial(form.offset_sd, axis))
            told[f"{form!r}.warnings({axis!r})"] = tried(functools.partial(form.warnings, axis))
        told[f"{form!r}.label()"] = form.label()
    told["torsion"] = matdb.Bush(12, 6, 10).torsional_stiffness_n_mm_per_rad(1.0)
    held("forms", text(told))


def test_answers(store):
    told = {}
    for part in store.parts():
        for axis in part.form.axes:
            for question in ({"frequency_hz": 30.0}, {"mass_kg": 0.62, "count": 4}):
                asked = f"{part.name!r}, {axis!r}, {question}"
                told[f"effective({asked})"] = tried(
                    functools.partial(store.effective, part.name, T, axis=axis, **question)
                )
                told[f"answers({asked}).median"] = tried(
                    lambda name=part.name, axis=axis, question=question: store.answers(name, axis=axis).median(
                        T, **question
                    )
                )
    ring = store.answers("gel ring 14x5x7", squeeze_mm=0.5)
    told["squeezed"] = [ring.median(T, frequency_hz=10.0), ring.effective(5.0, mass_kg=0.155)]
    told["pair squeezed"] = store.effective("gel pair", T, mass_kg=0.6, count=4, squeeze_mm=0.8)
    grid = store.effective("bush", np.array(T)[:, None], np.array([1.0, 10.0, 100.0]), axis="radial")
    told["broadcast"] = grid
    told["refused"] = [
        tried(lambda: store.effective("nobody", 5.0, 30.0)),
        tried(lambda: store.effective("bush", 5.0)),
        tried(lambda: store.effective("bush", 5.0, -1.0)),
        tried(lambda: store.effective("bush", 5.0, 30.0, axis="lateral")),
        tried(lambda: store.effective("bush", [], 30.0)),
        tried(lambda: store.effective("bush", "5C", 30.0)),
        tried(lambda: store.answers("bush", squeeze_mm=9.0)),
    ]
    held("answers", text(told), SOLVED)


def test_curves(store):
    told = {}
    for material in store.materials():
        curve = store.curve(material.name)
        for hertz in (0.1, 30.0, 1000.0):
            told[f"{material.name}: modulus at {hertz:g} Hz"] = curve.modulus(T, hertz)
        told[f"{material.name}: broadcast"] = curve.modulus(np.array(T)[:, None], [1.0, 100.0]).storage_mpa
        told[f"{material.name}: low_temperature"] = store.low_temperature(material.name)
        told[f"{material.name}: prony"] = store.prony(material.name)
        told[f"{material.name}: facts"] = {
            name: getattr(curve, name)
            for name in ("material", "reading_count", "stale", "fit_id", "seed", "created_at", "program_version")
        }
    told["fit 2"] = store.curve_of_fit(2).modulus(T, 30.0)
    told["refused"] = [
        tried(lambda: store.curve("nobody")),
        tried(lambda: store.curve_of_fit(99)),
        tried(lambda: store.curve("white 20A").modulus(5.0, 0.0)),
        tried(lambda: store.prony("white 20A", goal=0.0)),
        tried(lambda: store.fit("white 20A", seed=-1)),
    ]
    held("curves", text(told))


def test_advice(store, desk):
    mounting = matdb.Mounting(name="m", mass_kg=0.5, count=4, rpm_idle=4500, rpm_full=9000, manoeuvre_hz=6.0)
    spectrum = matdb.read_spectrum((desk.folder / "spectrum.csv").read_bytes())
    told = {
        "spectrum": spectrum,
        "suit": store.suit("demo camera", [-10.0, 5.0, 25.0]),
        "suit, own mounting": store.suit(mounting, [-10.0, 25.0], parts=["gel ring 14x5x7", "bush"], squeeze_mm=0.0),
        "suit, shear": store.suit(mounting, [0.0, 25.0], parts=["gel ring 14x5x7", "white pair"], axis="shear"),
        "suit, six axes": store.suit(
            "six axes", [-5.0, 15.0], parts=["gel ring 14x5x7", "gel pair"], spectrum=spectrum
        ),
        "cover": store.cover("demo camera", np.linspace(-25.0, 35.0, 40), share=0.9, most=3),
        "modes": store.modes("six axes", "gel ring 14x5x7", -5.0, squeeze_mm=0.3),
        "modes, zoom": store.modes("six axes", "silicone tube 6x4x9", 20.0, package="zoom"),
        "squeeze": store.squeeze("gel pair", 0.6, [-10.0, 25.0]),
        "squeeze, turns": store.squeeze("white pair", 0.4, 5.0, count=3, load_factors=(-0.5, 2.0),
            turns=1.5, assembly_c=10.0),
        "next, prior": store.next_readings("tan tube 6x4x10", -5.0, -5.0, affordable=matdb.Affordable(
            temperatures_c=(-18.0, 23.0), masses_kg=(0.1, 0.25), kinds=("ring-down",))),
        "doubts": [
            store.doubts(matdb.RingDown(part="gel ring 14x5x7", temperature_c=23.0, mass_kg=m, frequency_hz=22.0))
            for m in (0.155, 0.015)
        ],
        "refused": [
            tried(lambda: store.suit("nobody", [5.0])),
            tried(lambda: store.suit(mounting, [])),
            tried(lambda: store.suit(mounting, [5.0], parts="bush")),
            tried(lambda: store.suit(mounting, [5.0], package="zoom")),
            tried(lambda: store.cover(mounting, [5.0], share=0.0)),
            tried(lambda: store.modes(mounting, "bush", 5.0)),
            tried(lambda: store.squeeze("bush", 0.6, 5.0)),
            tried(lambda: store.next_readings("bush", 5.0, -5.0)),
        ],
    }  # fmt: skip
    held("advice", text(told), SOLVED)


def test_records(store):
    told = {
        "materials": store.materials(), "parts": store.parts(), "mountings": store.mountings(),
        "readings": store.readings(part="gel ring 14x5x7"), "hardness": store.readings(kind="hardness"),
        "refused": [
            tried(lambda: store.material("nobody")),
            tried(lambda: store.add(matdb.Material(name="white 20A"))),
            tried(lambda: store.add(matdb.Part(name="x", material="nobody", form=matdb.Pad(10, 5)))),
            tried(lambda: store.add(matdb.RingDown(part="x", temperature_c=1, mass_kg=1, frequency_hz=9))),
            tried(lambda: store.add(3)),
            tried(lambda: store.correct(999, store.readings()[0].reading, "x")),
            tried(lambda: store.remove(999, "x")),
            tried(lambda: store.readings(part=3)),
            tried(lambda: matdb.RingDown(part="x", temperature_c=999, mass_kg=1, frequency_hz=9)),
            tried(lambda: matdb.RingDown(part="x", temperature_c=1, mass_kg=-1, frequency_hz=9)),
            tried(lambda: matdb.HardnessReading(material="x", temperature_c=1, value="41")),
            tried(lambda: matdb.Mounting(name="m", mass_kg=0.5, count=0, rpm_idle=4500, rpm_full=9000)),
            tried(lambda: matdb.Ring(6, 16, 5)),
            tried(lambda: matdb.Material(name="x", family="granite")),
        ],
    }  # fmt: skip
    held("records", text(told))


# -- the public face -----------------------------------------------------------------------------------------------

#: How records become rows and come back is the store's own business.
INSIDE = re.compile(r"^_|^(to|from)_(dict|meta_and_arrays|plain)$|^(records|add_note|with_traceback|args)$")


class _Any:
    """Stands for a default that a record of options does not tell."""

    def __repr__(self):
        return "..."


ANY = _Any()


def _hint(thing, name):
    # A plain word such as Any tells of no record; what others name may be known to a type checker alone.
    return None if thing.__annotations__.get(name) == "Any" else typing.get_type_hints(thing).get(name)


def signature(thing):
    """Names, kinds and defaults; what a value is called inside may change."""
    try:
        found = inspect.signature(thing)
    except (TypeError, ValueError):
        return "(...)"
    parameters = []
    for each in found.parameters.values():
        if each.kind is inspect.Parameter.VAR_KEYWORD and (record := typing.get_args(_hint(thing, each.name))):
            # Options collected in a record are options still.
            named = inspect.Parameter.KEYWORD_ONLY
            parameters += [inspect.Parameter(name, named, default=ANY) for name in typing.get_type_hints(record[0])]
        else:
            parameters.append(each.replace(annotation=inspect.Parameter.empty))
    return str(found.replace(parameters=parameters, return_annotation=inspect.Signature.empty))


#: What answers come in; how they are made is the library's own business.
ANSWERS = {
    "Band", "Cover", "Curve", "Effective", "Flight", "LowTemperature", "MedianAnswer", "NextReading", "PartAnswers",
    "Proposal", "Prony", "SixAxes", "Squeeze", "Store", "StoredReading", "Suitability",
}  # fmt: skip


def test_nothing_of_the_public_face_is_lost():
    """What is there may grow; what was there stays, with its arguments and defaults."""
    lines = []
    for name in sorted(matdb.__all__):
        thing = getattr(matdb, name)
        if name == "__version__":
            continue
        if not inspect.isclass(thing):
            lines.append(f"{name}{signature(thing)}")
            continue
        lines.append(name if name in ANSWERS else f"{name}{signature(thing)}")
        for base in thing.__mro__[1:]:
            if base.__name__ in matdb.__all__ or base.__module__ == "builtins":
                lines.append(f"{name} is {base.__name__}")
        for member in sorted(set(dir(thing))):
            if INSIDE.match(member) or member in dir(Exception if issubclass(thing, Exception) else object):
                continue
            value = inspect.getattr_static(thing, member)
            if isinstance(value, (staticmethod, classmethod)):
                value = getattr(thing, member)
            if callable(value):
                lines.append(f"{name}.{member}{signature(value)}")
            elif isinstance(value, property) or type(value).__name__ == "cached_property":
                lines.append(f"{name}.{member}: property")
    file = RECORDED / "public_face.python"
    if WRITE:
        file.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return
    recorded = file.read_text(encoding="utf-8").splitlines()
    any_default = {re.sub(r"=[^,()]*(?=[,)])", "", line) for line in lines if "=..." in line}
    assert [x for x in recorded if x not in lines and re.sub(r"=[^,()]*(?=[,)])", "", x) not in any_default] == []
