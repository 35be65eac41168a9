"""Every default screen: the answer first, a dozen lines at a width of 80, a builder's words, and the same in JSON."""

import json
import re
import shlex
from collections import Counter

import pytest
from contract.script import command

from matdb.advice.requirement import CRAFT, VERDICTS
from matdb.advice.summary import FAILS
from matdb.cli.words import WORDS
from matdb.mounting.directions import MOTIONS
from matdb.mounting.record import FOOTAGE

#: What belongs to ``report`` and ``--why``.
FORBIDDEN = re.compile(
    r"family prior|\binside\b|\bdraws?\b|four parameters|follow error|of the temperatures|adds, temperatures"
    r"|WLF|Arrhenius|posterior|None|nan\b"
)
#: Eight parts of every form of the recorded store.
EIGHT = (
    *("gel ring 14x5x7", "gel pair", "silicone ring 16x6x5", "silicone tube 6x4x9"),
    *("printed leg 6x4.8x24", "tan tube 6x4x10", "taper", "loop"),
)
_PARTS = " ".join(f"--part '{name}'" for name in EIGHT)
_OWN = "--mass 900g --count 4 --kv 920 --cells 4 --spread 180x180mm --box 90x80x60mm"
_VERDICT = r"(Suits|Probably suits), .+ sure.*: fit |(Open|Nothing suits|Probably nothing suits): the best, "
_RING = r"gel ring 14x5x7 unsqueezed, axial under 155 g, -5 degC: [\d.]+ \("
_TUBE = r"tan tube 6x4x10 unsqueezed, axial: [\d.]+ N/mm at -6"
_NEXT = r"Take next(, to settle that part)?: a |No further reading is worth it"
_SIZE = r"(Suits|Probably suits), .+ sure.*: |(Open|Nothing suits|Probably nothing suits): the best, "
_COVERS = r"One part does it: |No single part"

#: A question to the store of recorded answers -> how its first line begins.
RECORDED = {
    f"suit --mounting 'demo camera' --temp -10C..25C {_PARTS}": _VERDICT,
    f"suit --mounting 'six axes' --temp -10C..25C {_PARTS}": _VERDICT,
    f"suit --mounting 'six axes' --temp -40C..25C {_PARTS}": _VERDICT,
    f"suit {_OWN} --temp -10C..25C {_PARTS}": _VERDICT,
    f"cover --mounting 'demo camera' --temp -20C..35C {_PARTS}": _COVERS,
    f"cover --mounting 'six axes' --monthly monthly.csv --share 99% --most 3 {_PARTS}": _COVERS,
    "cover --mounting 'demo camera' --temp -40C..35C --share 99% --part 'tan tube 6x4x10' --part bush": _COVERS,
    "size 'demo camera' --material 'white 20A' --form ring --sizes sizes.csv --temp -10C..25C": _SIZE,
    "size 'six axes' --material 'white 20A' --form ring --inner 4mm,9mm --outer 14mm --height 9mm --temp 5C": _SIZE,
    "squeeze 'gel pair' --temp -10C..25C --mass 600g": r"gel pair: [\d.]+ turns past first touch, spacer",
    "squeeze 'gel pair' --temp -10C..25C --mounting 'six axes' --turns 1": r"gel pair: .*turns past first touch,",
    "next 'gel ring 14x5x7' --temp -10C..25C --mass 155g": _NEXT,
    "next --mounting 'demo camera' --temp -6C..14C": _NEXT,
    "next 'tan tube 6x4x10' --temp -6C..14C --masses 155g --temps 23C,5C": r"Take next: a ",
    "stiffness 'gel ring 14x5x7' --temp -5C --mass 155g": _RING,
    "stiffness 'gel pair' --temp -20C..50C --mass 600g --count 4 --turns 2": r"gel pair squeezed by 1 mm, ",
    "stiffness 'tan tube 6x4x10' --temp -60C..50C --frequency 1Hz..100Hz": _TUBE,
    "curve 'white 20A' --temp -40C..60C": r"white 20A at 30 Hz: [\d.]+ MPa at -40 degC to ",
    "curve 'tan 40A' --temp 5C --frequency 20Hz": r"tan 40A at 20 Hz, 5 degC: [\d.]+ \(",
    "fit 'white 20A'": r"white 20A at 30 Hz: [\d.]+ \(",
    "fit 'tan 40A'": r"tan 40A at 30 Hz: [\d.]+ \(",
    "modes 'six axes' 'gel pair' --temp 5C --squeeze 0.8mm": r"gel pair under main of six axes at 5 degC, ",
    "modes 'six axes' 'gel ring 14x5x7' --temp -40C --package zoom": r"gel ring 14x5x7 under zoom of six axes at -40",
    "soak 'gel ring 14x5x7' --temp -18C": r"gel ring 14x5x7: soak \d+ min at -18 degC",
    "soak 'tan tube 6x4x10' --temp -40C..50C --minutes 10min --out 8s": r"tan tube 6x4x10: soak [\d to]+ min at ",
    "protocol 'gel ring 14x5x7'": r"gel ring 14x5x7: ring it with 100 g at -18, 5, 23, 50 degC",
    "protocol 'tan tube 6x4x10' --temp -40C..60C --count 4": r"tan tube 6x4x10: ring it with ",
    f"compare '{EIGHT[0]}' '{EIGHT[5]}' --mass 900g,1200g --count 4": r"With 900 g at -10 degC, softest first: ",
    f"compare '{EIGHT[0]}' '{EIGHT[1]}' --mounting 'six axes' --mass 900g": r"With 600 g: gel ",
    "part show 'gel pair'": r"gel pair: grommet-pair ",
    "part show bush": r"bush: bush outer 12",
    "page 'demo camera' --out page.html --temp -10C..20C --most 3": _VERDICT,
}
#: A question to the demo's own store.
DEMO = {
    "suit --mounting 'demo camera' --temp -6C..14C": _VERDICT,
    "suit --mounting 'demo camera' --temp -35C..45C": _VERDICT,
    "cover --mounting 'demo camera' --temp -25C..35C": _COVERS,
    "squeeze 'gel grommet 13x6+5' --mounting 'demo camera' --temp -6C..14C": r"gel grommet 13x6\+5: [\d.]+ turns past",
    "next --mounting 'demo camera' --temp -6C..14C": _NEXT,
    "next 'gel grommet 13x6+5' --temp -6C..14C --mass 140g --turns 3": _NEXT,
    "stiffness 'gel grommet 13x6+5' --temp -6C..14C --mass 600g --count 4 --turns 3": r"gel grommet 13x6\+5 sque",
    "curve 'print 85A' --temp -20C..40C": r"print 85A at 30 Hz: ",
    "modes 'demo camera' 'gel grommet 13x6+5' --temp -6C --squeeze 1.5mm": r"gel grommet 13x6\+5 under main of demo",
    "soak 'gel grommet 13x6+5' --temp -18C": r"gel grommet 13x6\+5: soak ",
    "protocol 'gel grommet 13x6+5' --turns 3": r"gel grommet 13x6\+5: ring it with ",
    "part show 'gel grommet 13x6+5'": r"gel grommet 13x6\+5: grommet ",
}


def held(question, begins):
    words = shlex.split(question)
    code, out, err = command(words)
    assert code == 0
    assert err == ""
    lines = out.splitlines()
    assert re.match(begins, lines[0]), lines[0]
    # What continues an item of a list, a sketch, and a table below the answer take no room of the answer.
    own = [line for line in lines if not line.startswith(("  - ", "    ", "  #", "  =", "  ["))]
    assert len(own) <= 12 or words[0] == "compare", out
    assert [line for line in lines if len(line) > 80 and not line.startswith("written: ")] == []
    assert FORBIDDEN.findall(out) == []
    again = ["--force"] * (words[0] == "page")
    told = json.loads(command([*words, "--json", *again])[1])
    assert list(told)[:5] == ["matdb", "schema", "command", "files", "answer"]
    # The fit itself is made twice, and told by its number.
    if words[0] != "fit":
        assert " ".join(out.split()).startswith(" ".join(told["answer"]["lines"]))


@pytest.fixture(autouse=True)
def narrow(desk, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    return desk


#: Those that fit anew.
_LONG = ("fit 'white",)


@pytest.mark.parametrize(
    "question", [pytest.param(q, marks=pytest.mark.slow) if q.startswith(_LONG) else q for q in RECORDED]
)
def test_the_answer_comes_first_in_a_dozen_lines_and_plain_words(question):
    held(question, RECORDED[question])


@pytest.mark.slow
def test_so_it_does_on_the_demo_s_own_store(monkeypatch):
    code, _, err = command(["demo", "--store", "new.sqlite"])
    assert (code, err) == (0, "")
    monkeypatch.setenv("MATDB_STORE", "new.sqlite")
    for question, begins in DEMO.items():
        held(question, begins)


#: What lists and explains; the rest of what is asked every day.
LISTS = (
    *("part list", "reading list", "reading list --part 'gel ring 14x5x7'", "material list", "material families"),
    *("mounting list", "part forms", "mounting show 'six axes'", "material show 'white 20A'", "words", "store info"),
    *("report 'white 20A'", "stiffness 'gel pair' --temp -20C..50C --mass 600g --count 4 --turns 2 --why"),
    f"suit --mounting 'six axes' --temp -10C..25C {_PARTS} --why all",
    "part show nowhere",
    "stiffness bush --temp 5",
)


@pytest.mark.parametrize("question", [*(q for q in RECORDED if not q.startswith((*_LONG, "page"))), *LISTS])
def test_every_screen_reads_without_colour_at_60_and_80_columns(question, monkeypatch):
    words = shlex.split(question)
    told = {}
    for width in (60, 80, 200):
        monkeypatch.setenv("COLUMNS", str(width))
        _, out, err = command(words)
        told[width] = out
        assert "\x1b" not in out + err
        assert [line for line in out.splitlines() if len(line) > width] == []
    # Nothing is cut off: whatever a wide screen says, a narrow one says too, numbers unbroken.
    for narrow in (60, 80):
        wide, there = (Counter(re.sub("[\u2500:;]", " ", told[width]).split()) for width in (200, narrow))
        assert wide - there == Counter()


#: Words of a screen that no record of the program names.
_TRADE = (
    *("lets through", "misses", "allowed", "squeezed", "first touch", "spacer", "best compromise", "swap", "px rms"),
    *(
        "load factor",
        "natural frequency",
        "damping ratio",
        "decrement",
        "ring-down",
        "deflection",
        "isolators",
        "axial",
    ),
    *("shear", "measured", "guessed", "rests on its label only", "set and creep", "too stiff", "too soft", "brackets"),
)


def test_every_word_of_the_trade_on_a_screen_is_explained():
    named = {*MOTIONS, *CRAFT, *(word for _, word in VERDICTS), *FAILS.values(), *FOOTAGE, *_TRADE}
    told = " ".join(f"{name} {text}" for name, text in WORDS.items())
    assert {word for word in named if word.removeprefix("a half ") not in told} == set()


def test_why_and_cautions_bring_the_rest():
    short, why, cautions = (
        command(["suit", "--mounting", "demo camera", "--temp", "-10C..25C", *more])[1]
        for more in ((), ("--why", "gel pair"), ("--cautions",))
    )
    assert why.startswith(short.rpartition("An estimate")[0])
    assert "gel pair: does not suit" in why.partition("Wanted: ")[2]
    assert cautions.count("\n  - ") == short.count("\n  - ") + 5
