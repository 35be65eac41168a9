"""Any words after any command: an answer or one line, and a refusal leaves the store and the folder as they were."""

import contextlib
import io
import json
import os
import re
import shutil
import sys
import tempfile
from pathlib import Path

import pytest
from command_line import dump
from example_counts import RUN, trying
from generators.reference import each_command
from hypothesis import given
from hypothesis import strategies as st

import matdb
import matdb.fitted
from matdb.cli.run import run
from matdb.exchange.whole_store import export_store

#: Commands whose answers take long.
SLOW = (
    "bench", "cover", "demo", "export prony", "fit", "next", "page", "picture", "protocol", "reading trace", "size",
    "soak", "squeeze", "store publish", "suit",
)  # fmt: skip


#: Every command by its words, from the program itself; but the one that does not end.
COMMANDS = {tuple(path.split()[1:]): c for path, c in each_command() if not hasattr(c, "commands")}
del COMMANDS["serve",]

# -- words --------------------------------------------------------------------------------------------------------

_GOOD = {
    "PART": ["0042", "ring 16x6x5", "pad", "pair"],
    "MATERIAL": ["amber", "tan"],
    "MOUNTING": ["cam", "six"],
    "NAME": ["amber", "0042", "ring 16x6x5", "cam", "main", "new", "day"],
    "TEMPERATURE": ["-18C", "0F", "23 °C", "255K", "-20C..30C", "5C"],
    "RANGE": ["-10C..25C", "4200rpm..8000rpm", "5C", "2Hz..60Hz", "-1..3"],
    "MASS": ["250g", "0.55 lb", "0.3kg"],
    "FREQUENCY": ["30Hz", "1Hz..100Hz", "1800rpm"],
    "LENGTH": ["0.5mm", "0mm", '0.02"', "1mm"],
    "TIME": ["10s", "45min", "2024-01-31T14:05", "1h"],
    "KELVIN": ["5K", "20K", "0.5C"],
    "NUMBER": ["1", "2", "0.3", "4", "7"],
    "COUNT": ["1", "4"],
    "FILE": [
        "readings.csv", "trace.csv", "forecast.csv", "monthly.csv", "spectrum.csv", "mounting.json", "points.csv",
        "store.json", "new.csv", "new.json", "new.svg", "new.html", "new.sqlite", "new.md",
    ],
    "TEXT": ["typed twice", "METAR EDDM 251050Z M02/M05 Q1013", "TAF EDDM 201100Z 2012/2118 TX03/2014Z TNM05/2106Z"],
    "AXIS": ["axial", "shear", "radial", "lateral"],
    "AIR": ["still", "fan"],
    "UNIT": ["C", "F", "ms", "s"],
    "COLUMN": ["1", "2", "ax", "time (s)"],
    "KIND": ["ring-down", "modulus"],
    "KINDS": ["ring-down,deflection", "resonance"],
    "SHORE": ["40 A", "30 OO"],
    "SHARE": ["0.9", "95%"],
    "HOURS": ["06:00..10:00", "22..4"],
    "ALTITUDE": ["450m", "1500 ft"],
    "MODULUS": ["2.1MPa", "300psi"],
    "MASSES": ["100g,250g"],
    "TEMPERATURES": ["-18C,23C"],
    "FAMILY": ["silicone", "natural rubber"],
    "DENSITY": ["1120kg/m3"],
    "FORM": ["ring", "pad", "strut", "grommet-pair", "cable-loop"],
    "THREAD": ["M3", "M3x0.5"],
    "SPEED": ["5600rpm"],
    "NAME --DIMENSION SIZE...": ["new", "--outer=16mm", "--inner=6mm", "--height=5mm", "--not-bonded"],
}  # fmt: skip
_ODD = [
    "", " ", "-", "--", "-1", "0", "nan", "inf", "-inf", "1e308", "1e999kg", "-1e300C", "9" * 400, "0x10",
    "1_000", "１２", "-5", "-273.15C", "-300C", "1e9C", "nanC", "0g", "-250g", "1e-320kg", "1e308mm", "0mm",
    "9mm", "-1mm", "0Hz", "1e12Hz", "-1Hz", "1,5kg", "1.5.5kg", "..", "C..C", "30C..-20C", "-20C..",
    "-200C..300C", "a..b", "0K", "5", "None", "true", "../../outside", "../up.csv", "~/home.csv",
    "no/such/folder/x.csv", ".", "./", "day.csv\n", "new\tname", "a;b", "=1+1", "<script>alert(1)</script>",
    "'; DROP TABLE material; --", "%s%n", "{}", "\x1b[31m", "\x7f", "\u202e", "\udcff", "é", "🙂" * 50,
    "x" * 5000, "\u00a0", "amber ", "AMBER", "0042,ring", "9999-12-31T23:59:59", "0001-01-01T00:00:00+14:00",
    "sqlite:///x.sqlite", "postgresql://nobody@localhost:1/x", "M" * 200, "1e-400s", "100000000h", "2024-13-01",
]  # fmt: skip


def words_of(metavar):
    """Values for an option: most of them sensible, the rest anything that a shell can hand over."""
    good = _GOOD.get(str(metavar).strip("[]."), _GOOD["NUMBER"])
    every = sorted({word for words in _GOOD.values() for word in words})
    text = st.text(st.characters(exclude_characters="\0/~."), max_size=20)
    number = st.floats().map(repr) | st.integers().map(str)
    unit = st.sampled_from(["", "C", "K", "g", "kg", "mm", "Hz", "rpm", "s", "min", "%", "MPa", " A"])
    return st.one_of(
        *[st.sampled_from(good)] * 6,
        st.sampled_from(every),
        st.sampled_from(_ODD),
        st.builds(str.__add__, number, unit),
        text,
    )


@st.composite
def arguments(draw, command):
    """Words for a command: its arguments, most of what it needs, some of what it takes, now and then a stranger."""
    words = []
    for param in command.params:
        if param.param_type_name == "argument":
            many = "..." in str(param.metavar)
            for _ in range(draw(st.integers(0, 4 if "DIM" in str(param.metavar) else 2)) if many else 1):
                words.append(draw(words_of(param.metavar)))
            continue
        share = 15 if param.required else 4
        if "--help" in param.opts or draw(st.integers(0, 15)) > share:
            continue
        if "--store" in param.opts:
            # Mostly the store that the environment names.
            if draw(st.integers(0, 4)) == 0:
                words += [
                    "--store",
                    draw(st.sampled_from(["none.sqlite", "readings.csv", ".", "", "no/such", "\n", "x://y"])),
                ]
        elif param.is_flag:
            words.append(param.opts[0])
        else:
            for _ in range(draw(st.integers(1, 2)) if getattr(param, "multiple", False) else 1):
                words += [param.opts[0], draw(words_of(param.metavar))]
    if draw(st.integers(0, 15)) == 0:
        words.insert(
            draw(st.integers(0, len(words))), draw(st.sampled_from([*_ODD, "--unknown", "-x", "--help", "--json"]))
        )
    return words


# -- a folder, a store, and an eye on what is written -------------------------------------------------------------


class Eye:
    """Notes every path that this process opens for writing, makes, renames or removes."""

    _CHANGES = ("os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.link", "os.symlink", "os.truncate", "os.chmod")

    def __init__(self):
        self.open, self.seen = False, []
        sys.addaudithook(self._note)

    def _note(self, event, details):
        if not self.open:
            return
        if event == "open":
            path, mode, flags = details
            writes = any(c in (mode or "") for c in "wax+") or (flags or 0) & (os.O_WRONLY | os.O_RDWR | os.O_CREAT)
            paths = [path] if writes else []
        elif event in self._CHANGES:
            paths = details[:2]
        else:
            paths = details[:1] if event == "sqlite3.connect" else []
        self.seen += [os.fsdecode(p) for p in paths if isinstance(p, str | bytes | os.PathLike)]


@pytest.fixture(scope="module")
def bench(filled, tmp_path_factory):
    """A folder to work in, with a store, files of every kind, and how all of it was."""
    top = tmp_path_factory.mktemp("any")
    kept, field = top / "kept", top / "a" / "b" / "field"
    kept.mkdir()
    shutil.copy(filled, kept / "bench.sqlite")
    half = matdb.Ring(outer_mm=14, inner_mm=5, height_mm=5)
    with matdb.open_store(kept / "bench.sqlite") as store:
        store.add(
            [
                matdb.Part(name="pair", material="amber", form=matdb.GrommetPair(lower=half, upper=half, plate_mm=2)),
                matdb.Mounting(
                    name="six", mass_kg=0.6, count=4, rpm_idle=4200, rpm_full=8000, box_mm=(60, 50, 40),
                    positions_mm=((30, 30, 0), (-30, 30, 0), (-30, -30, 0), (30, -30, 0)),
                    focal_length_mm=24.0, pixel_pitch_um=2.4,
                ),
            ]
        )  # fmt: skip
        export_store(store, kept / "store.json")
    rows = "\n".join(f"{k / 100},{(-1) ** (k // 5) * 0.97**k:.5f}" for k in range(400))
    for name, text in {
        "readings.csv": "kind,part,temp_C,mass_g,frequency_hz\nring-down,0042,-5,150,22.1\n",
        "trace.csv": "time (s),ax\n" + rows,
        "forecast.csv": "time,temp (C)\n2026-01-31 14:00,-5\n2026-01-31 15:00,-4\n",
        "monthly.csv": "month,low (C),high (C)\n" + "".join(f"{m},{m - 9},{m + 9}\n" for m in range(1, 13)),
        "spectrum.csv": "frequency (Hz),z (m/s2)\n10,0.1\n70,1\n",
        "mounting.json": '{"mass_kg": 0.6, "count": 4, "rpm_idle": 4200, "rpm_full": 8000}',
        "points.csv": "deflection_mm,force_n\n0.1,1\n0.2,2.5\n",
    }.items():
        (kept / name).write_text(text, encoding="utf-8")
    patch = pytest.MonkeyPatch()
    for name in ("HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "XDG_CONFIG_HOME", "XDG_CACHE_HOME", "MPLCONFIGDIR"):
        patch.setenv(name, str(top / "home"))
    for name in ("FORCE_COLOR", "MATDB_TRACEBACK", "MATDB_BACKUPS", "TTY_COMPATIBLE"):
        patch.delenv(name, raising=False)
    patch.setenv("COLUMNS", "120")
    patch.setenv("NO_COLOR", "1")
    patch.setenv("MATDB_STORE", "bench.sqlite")
    (top / "home").mkdir()
    # The same readings give the same fit: made once, so that the time goes to many questions.
    fits, made = {}, matdb.fitted._fitted

    def fitted(seen, *, seed=0, progress=None):
        key = (seen.material.name, seen.fingerprint, seed)
        if key not in fits:
            fits[key] = made(seen, seed=seed)
        return fits[key]

    patch.setattr(matdb.fitted, "_fitted", fitted)
    patch.setattr(tempfile, "tempdir", str(top / "home"))
    there = {path.name: path.read_bytes() for path in kept.iterdir()}
    before = Path.cwd()
    yield top, field, there, Eye()
    os.chdir(before)
    patch.undo()


def laid_out(field, there):
    """Put the folder back as it was."""
    for path in field.iterdir() if field.exists() else ():
        if path.is_dir():
            shutil.rmtree(path)
        elif path.name not in there or path.read_bytes() != there[path.name]:
            path.unlink()
    field.mkdir(parents=True, exist_ok=True)
    for name, content in there.items():
        if not (field / name).exists():
            (field / name).write_bytes(content)
    os.chdir(field)


#: What a fit that was made anew for a question leaves, whether the question is then refused or not.
_FITTED = re.compile(r'INSERT INTO "(fit|fit_reading|effective_stiffness|squeeze_factor)" ')


def records_of(path):
    """All of a store's file as SQL but what fits give."""
    return "\n".join(line for line in dump(path).splitlines() if not _FITTED.match(line))


def same_store(field, there, kept, *, fitted):
    """Whether the store holds what it held; bytes first, for they nearly always tell."""
    log = field / "bench.sqlite-wal"
    quiet = not log.exists() or not log.stat().st_size
    if quiet and (field / "bench.sqlite").read_bytes() == there["bench.sqlite"]:
        return True
    if fitted:
        with matdb.open_store(field / "bench.sqlite") as store:
            assert not [each for each in store.records.check() if each.level == "error"]
    same = records_of if fitted else dump
    return same(field / "bench.sqlite") == same(kept / "bench.sqlite")


#: What a command may say before its last line: problems of a file one by one, and how far it is.
_BEFORE = re.compile(r"line \d+, column .*|\.\.\. and \d+ more|.*\d+ %.*|matdb: waiting .*")


@pytest.mark.slow
@pytest.mark.parametrize("path", COMMANDS, ids=" ".join)
def test_any_words_are_answered_or_refused_in_one_line(path, bench):
    top, field, there, eye = bench
    slow = " ".join(path).startswith(SLOW)

    @trying(0.2 if slow else 5)
    @given(arguments(COMMANDS[path]))
    def tried(words):
        RUN["command line"] += 1
        laid_out(field, there)
        out, err = io.StringIO(), io.StringIO()
        eye.seen, eye.open = [], True
        stdin, sys.stdin = sys.stdin, io.StringIO("-18C\n250g\n\n")
        try:
            with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
                code = run([*path, *words])
        finally:
            eye.open, sys.stdin = False, stdin
        said = err.getvalue()
        # What asks stops where the input ends, as where the user stops it.
        assert code in (0, 1, 2, *([130] if path in {("bench",), ("start",)} else [])), (code, said)
        assert "Traceback" not in said + out.getvalue()
        assert "unexpected fault" not in said, said
        outside = [
            p
            for p in (os.path.abspath(each.removeprefix("file:").partition("?mode=")[0]) for each in eye.seen)
            if not p.startswith((f"{top}{os.sep}", "/dev/")) and "__pycache__" not in p
        ]
        assert not outside, outside
        if code == 0:
            options = words[: words.index("--")] if "--" in words else words
            if "--json" in options and not {"--help", "-h"} & set(options):
                json.loads(out.getvalue(), parse_constant=lambda name: pytest.fail(f"{name} is no JSON"))
            return
        # A question that is refused late, at what only the curve can tell, may have made a fit anew, and says so.
        fitted = "fitting them first" in said
        assert same_store(field, there, top / "kept", fitted=fitted), "the store was changed"
        left = {p.name for p in field.iterdir()} - set(there) - {"bench.sqlite-wal", "bench.sqlite-shm"}
        assert not left, left
        if path != ("store", "check") or code != 1:
            *before, last = said.splitlines() or [""]
            assert last.startswith("matdb: "), said
            assert last.isprintable(), said
            assert all(_BEFORE.fullmatch(line) for line in before), said

    tried()
