"""Any arguments to anything public: an answer or one of matdb's own exceptions, and then the store is as it was."""

import contextlib
import datetime as dt
import inspect
import io
import json

import numpy as np
import pytest
from command_line import dump
from example_counts import RUN, trying
from hypothesis import given
from hypothesis import strategies as st

import matdb
import matdb.curve.next_reading
import matdb.fitted
from matdb.bench.readings import Reading
from matdb.curve.next_reading import Affordable
from matdb.form.base import FormBase
from matdb.mounting.shake import AirframeSpectrum
from matdb.weather.forecast import Forecast, forecast_range

MATERIALS = [matdb.Material(name="amber", family="silicone", hardness="40 A"), matdb.Material(name="tan")]
HALF = matdb.Ring(outer_mm=14, inner_mm=5, height_mm=5)
PARTS = [
    matdb.Part(name="ring", material="amber", form=matdb.Ring(16, 6, 5)),
    matdb.Part(name="0042", material="amber", form=matdb.Strut(outer_mm=6, inner_mm=4, length_mm=10)),
    matdb.Part(name="pair", material="tan", form=matdb.GrommetPair(lower=HALF, upper=HALF, plate_mm=2)),
]
MOUNTING = matdb.Mounting(
    name="cam", mass_kg=0.6, count=4, rpm_idle=4200, rpm_full=8000, box_mm=(60, 50, 40),
    positions_mm=((30, 30, 0), (-30, 30, 0), (-30, -30, 0), (30, -30, 0)),
    focal_length_mm=24.0, pixel_pitch_um=2.4,
)  # fmt: skip
READING = matdb.RingDown(part="ring", temperature_c=-18.0, mass_kg=0.15, frequency_hz=23.4, log_decrement=0.5)
SPECTRUM = AirframeSpectrum(np.array([10.0, 70.0]), np.full((2, 6), 0.1))

#: Sensible values of an argument, by its name; those of its stem where the name has a unit.
GOOD = {
    "material": ["amber", "tan"],
    "part": ["ring", "0042", "pair"],
    "parts": [["ring"], ("ring", "0042"), []],
    "mounting": ["cam", MOUNTING],
    "package": ["main", None],
    "name": ["new", "amber", "ring", "cam"],
    "number": [1, 2],
    "new": [READING],
    "things": [READING, [READING], MATERIALS[0], matdb.Material(name="fresh"), [], PARTS[0]],
    "temperature_c": [-5.0, [-20.0, 0.0, 30.0], np.linspace(-20, 30, 7), forecast_range(-10, 20), 23],
    "frequency_hz": [30.0, [1.0, 100.0], None],
    "low_c": [-10.0], "high_c": [25.0], "assembly_c": [23.0],
    "mass_kg": [0.25, None], "count": [1, 4], "axis": ["axial", "shear"], "squeeze_mm": [0.0, 0.5, None],
    "share": [0.95], "most": [1, 3], "goal": [0.01], "turns": [1.0, None], "set_share": [0.15],
    "load_factors": [(-1.0, 3.0)], "affordable": [None, Affordable()], "spectrum": [None, SPECTRUM], "why": ["typed"],
    "seed": [0, 1], "which": ["amber", "ring"], "kind": ["ring-down"], "form": [HALF, PARTS[2].form],
    "family": ["silicone"], "hardness": ["40 A", None], "value": ["41 A"], "thread": ["M3", None], "note": ["", "text"],
    "lower": [HALF], "upper": [HALF], "positions_mm": [(), MOUNTING.positions_mm], "box_mm": [(60, 50, 40), None],
    "points": [((0.1, 1.0), (0.2, 2.5))], "rpm_idle": [4200.0], "rpm_full": [8000.0], "taken_at": [None],
    "packages": [()], "median": [1.0], "low": [0.5], "high": [2.0], "rows": [None, 2000],
    "kind_": ["material"], "field": ["x"], "allowed": ["1"], "progress": [None], "on_wait": [None],
}  # fmt: skip
ODD = [
    None, True, False, 0, -1, 1, 7, 10**400, -(2**70), 0.0, -0.0, 1e-320, 1e308, -1e308, float("nan"), float("inf"),
    1j, "", " ", "amber", "\n", "\x00", "\ud800", "x" * 5000, "🙂", "../../x", "1", "nan", b"x", b"", [], (), {}, set(),
    [[]], [None], [float("nan")], ["a", 1], [[1.0, 2.0], [3.0]], {"a": 1}, range(3), object(), object, np.float64(3.0),
    np.array(5.0), np.array([]), np.array([np.nan, 1.0]), np.zeros((2, 2, 2)), np.array(["a"]), np.array([object()]),
    np.full(3, 1e308), dt.datetime(2024, 1, 1), dt.datetime(2024, 1, 1, tzinfo=dt.UTC), lambda *_: None, READING, HALF,
    MATERIALS[0], PARTS[0], MOUNTING, iter([1]), np.datetime64("2024-01-01"), Ellipsis,
]  # fmt: skip


#: Of these one in the place of each argument in turn; drawn at random, few ever meet what takes long.
STRANGE = [
    None, True, 10**400, 1j, float("nan"), "", "x" * 5000, b"x", (), {}, set(), [[]], [None], ["a", 1],
    [[1.0, 2.0], [3.0]], object(), object, np.array(5.0), np.array([]), np.array([np.nan, 1.0]), np.array(["a"]),
    np.array("a"), np.array([object()]), [np.array([np.nan, 1.0])], dt.datetime(2024, 1, 1), lambda *_: None, READING,
    HALF, iter([1]), np.datetime64("2024-01-01"), (1e-320, 1.0), ({}, 1.0), (1.0, set()), (np.array(5.0), 1.0),
]  # fmt: skip


def good_of(name):
    return GOOD.get(name) or GOOD.get(name.rpartition("_")[0]) or [1.0, 5.0, 12.0]


def strangers(function):
    """Arguments of which one is strange, the other ones that are needed good."""
    known = [p for p in inspect.signature(function).parameters.values() if p.name not in ("self", "told")]
    needed = {p.name: good_of(p.name)[0] for p in known if p.default is p.empty}
    for p in known:
        for strange in STRANGE:
            yield needed | {p.name: strange}


def values_of(name, default):
    good = good_of(name)
    if default is not inspect.Parameter.empty:
        good = [*good, default]
    odd = [st.sampled_from(ODD), st.floats(), st.integers(), st.text(max_size=8), st.lists(st.floats(), max_size=3)]
    return st.one_of(*[st.sampled_from(good)] * 12, *odd)


@st.composite
def calls(draw, function):
    """Arguments for a function: mostly those it needs, some of the others, now and then too few or a stranger."""
    place, named = [], {}
    for p in inspect.signature(function).parameters.values():
        if p.kind is p.VAR_POSITIONAL or p.name == "self":
            continue
        if p.kind is p.VAR_KEYWORD:
            for name in ("material", "part", "kind"):
                if draw(st.integers(0, 3)) == 0:
                    named[name] = draw(values_of(name, None))
            continue
        if draw(st.integers(0, 15)) > (14 if p.default is p.empty else 5):
            continue
        value = draw(values_of(p.name, p.default))
        if p.kind is p.POSITIONAL_ONLY:
            place.append(value)
        else:
            named[p.name] = value
    return place, named


STORE = [
    name
    for name, member in inspect.getmembers(matdb.Store, inspect.isfunction)
    if not name.startswith("_") and name != "close"
]
SLOW = (
    "fit",
    "publish",
    "cover",
    "suit",
    "next_readings",
    "next_readings_for",
    "prony",
    "low_temperature",
    "squeeze",
    "size",
)
#: Records that a caller fills in; the others are answers.
TAKEN = (FormBase, Reading, matdb.Material, matdb.Part, matdb.Mounting, Affordable, AirframeSpectrum, Forecast)
MADE = [
    name
    for name in matdb.__all__
    if isinstance(getattr(matdb, name), type) and issubclass(getattr(matdb, name), TAKEN) and name != "Reading"
]


def told(error, missing):
    """What may be raised: matdb's own in one line; a TypeError only for arguments that are not there."""
    if isinstance(error, TypeError):
        text = str(error)
        assert missing, repr(error)
        assert "argument" in text, repr(error)
        return
    assert isinstance(error, matdb.MatdbError), repr(error)
    assert str(error).isprintable()


def lacks(function, place, named):
    try:
        inspect.signature(function).bind(*place, **named)
    except TypeError:
        return True
    return False


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    """A store with records of every kind and a fit, and its bytes."""
    path = tmp_path_factory.mktemp("any") / "store.sqlite"
    with matdb.open_store(path) as store:
        store.add([*MATERIALS, *PARTS, MOUNTING, READING, READING])
        store.fit("amber")
    return path, path.read_bytes()


def put_back(path, whole):
    for each in path.parent.glob(path.name + "?*"):
        each.unlink()
    path.write_bytes(whole)


@pytest.mark.slow
@pytest.mark.parametrize("name", STORE)
def test_any_arguments_to_a_method(name, sound):
    path, whole = sound
    put_back(path, whole)
    held = dump(path)
    state = {"store": matdb.open_store(path)}
    function = getattr(matdb.Store, name)

    @trying(0.2 if name in SLOW else 6)
    @given(calls(function))
    def tried(call):
        RUN["library"] += 1
        place, named = call
        store = state["store"]
        method = getattr(store, name)
        error = None
        with np.errstate(all="ignore"), contextlib.redirect_stdout(io.StringIO()):
            try:
                method(*place, **named)
            except Exception as raised:
                error = raised
        if path.read_bytes() == whole and not any(e.stat().st_size for e in path.parent.glob("*-wal")):
            changed = False
        else:
            changed = dump(path) != held
        if changed:
            store.close()
            put_back(path, whole)
            state["store"] = matdb.open_store(path)
        if error is not None:
            told(error, lacks(method, place, named))
            assert not changed, f"the store was changed before {error!r}"

    try:
        tried()
    finally:
        state["store"].close()


@pytest.mark.slow
@pytest.mark.parametrize("name", STORE)
def test_each_strange_argument_to_a_method(name, sound, monkeypatch):
    path, whole = sound
    put_back(path, whole)
    monkeypatch.setattr(matdb.fitted, "_fitted", lambda seen, **_: fitted)
    # Seconds each, where nothing is refused.
    monkeypatch.setattr(matdb.curve.next_reading, "rank_next_readings", lambda *_, **__: [])
    with matdb.open_store(path) as store, np.errstate(all="ignore"):
        fitted = store.curve("amber")
        for named in strangers(getattr(matdb.Store, name)):
            try:
                getattr(store, name)(**named)
            except Exception as error:
                told(error, False)


@pytest.mark.parametrize("name", [name for name in vars(matdb.PartAnswers) if not name.startswith("_")])
def test_each_strange_argument_to_answers(name, sound):
    with matdb.open_store(sound[0]) as store, np.errstate(all="ignore"):
        ask = getattr(store.answers("ring"), name)
        for named in strangers(ask):
            try:
                ask(**named)
            except Exception as error:
                told(error, False)


@pytest.mark.parametrize("name", MADE)
def test_each_strange_argument_to_a_record(name):
    for named in strangers(getattr(matdb, name)):
        try:
            getattr(matdb, name)(**named)
        except Exception as error:
            told(error, False)


@pytest.mark.parametrize("name", MADE)
def test_any_arguments_to_a_record(name):
    kind = getattr(matdb, name)

    @trying(6)
    @given(calls(kind))
    def tried(call):
        RUN["library"] += 1
        place, named = call
        try:
            made = kind(*place, **named)
        except Exception as error:
            told(error, lacks(kind, place, named))
            return
        if hasattr(made, "to_dict"):
            json.dumps(made.to_dict(), allow_nan=False, default=str)

    tried()


def test_any_place_to_open(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    @trying(6)
    @given(st.sampled_from(ODD) | st.text(st.characters(exclude_characters="/\0~"), max_size=8))
    def tried(where):
        RUN["library"] += 1
        if where is None:
            return
        try:
            matdb.open_store(where).close()
        except Exception as error:
            told(error, False)

    tried()


def test_any_forecast():
    @trying(6)
    @given(st.sampled_from([*GOOD["temperature_c"], *ODD]), st.sampled_from([None, [0.0, 1.0, 2.0], *ODD]))
    def tried(temperature, times):
        RUN["library"] += 1
        try:
            Forecast(temperature, times)
        except Exception as error:
            told(error, False)

    tried()
