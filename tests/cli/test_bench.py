"""``matdb bench``: through a pipe, and in a real terminal with the session killed at every prompt."""

import os
import re
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

import matdb
from matdb.cli import asking, bench
from matdb.errors import InputError

TOP = Path(__file__).parents[2]
QUICK = ("bench", "pad", "--no-advice")
COLD = ("-18C", "45min", "250g", "31Hz", "8.0/2.1 in 5", "6", "yes")
WARM = ("23C", "250g", "0.31mm", "10s", "yes")


def readings(store):
    with matdb.open_store(store) as kept:
        return [each.reading for each in kept.readings(part="pad")]


@pytest.fixture
def piped(matdb_says, monkeypatch):
    """Run a session on lines of input."""
    import io

    def run(*answers, words=QUICK):
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{a}\n" for a in answers)))
        return matdb_says(*words)

    return run


def test_a_session_through_a_pipe(piped, store):
    told = piped(*COLD, *WARM, "q")
    assert (told.code, told.err) == (0, "")
    assert "2 readings logged" in told.out
    cold, warm = readings(store)
    assert cold == matdb.RingDown(
        part="pad", temperature_c=-18.0, soak_min=45.0, mass_kg=0.25, frequency_hz=31.0, seconds_out=6.0,
        log_decrement=cold.log_decrement,
    )  # fmt: skip
    assert cold.log_decrement == pytest.approx(0.26750, abs=1e-5)
    assert warm == matdb.Deflection(part="pad", temperature_c=23.0, mass_kg=0.25, deflection_mm=0.31, dwell_s=10.0)


def test_only_what_is_needed_is_asked(piped):
    told = piped("23C", "31Hz", "", "yes", "q", words=(*QUICK, "--mass", "250g"))
    assert told.code == 0
    assert "logged reading" in told.out
    for word in ("Mass", "Soaked", "Seconds outside"):
        assert word not in told.out


def test_slips_are_asked_again(piped, store):
    told = piped(
        "cold", "-400C", "-18C", "45g", "45min", "no", "250g", "31", "31kg", "31Hz", "none", "9", "0.55", "-3", "6s",
        "perhaps", "yes", "q",
    )  # fmt: skip
    assert told.code == 0
    assert len(readings(store)) == 1
    assert "Traceback" not in told.out + told.err


def test_bare_numbers_take_the_unit_that_was_asked_for_and_commas_are_decimal(piped, store):
    assert piped("-18", "45", "250", "25,3Hz", "0,55", "8", "yes", "q").code == 0
    (reading,) = readings(store)
    assert (reading.temperature_c, reading.soak_min, reading.mass_kg) == (-18.0, 45.0, 0.25)
    assert (reading.frequency_hz, reading.log_decrement, reading.seconds_out) == (25.3, 0.55, 8.0)


def test_back_asks_the_question_before_again_and_offers_what_was_typed(piped, store):
    told = piped("23C", "250g", "31Hz", "back", "32Hz", "0.5", "back", "0.6", "", "q")
    assert told.code == 0
    assert "deflection such as 0.31mm [31Hz]" in told.out
    (reading,) = readings(store)
    assert (reading.frequency_hz, reading.log_decrement) == (32.0, 0.6)


@pytest.mark.slow
def test_a_pair_is_asked_how_far_it_is_squeezed(piped, matdb_says, store):
    halves = ("--lower", "ring 14x5x7mm", "--upper", "ring 14x5x5mm", "--plate", "2mm", "--thread", "M3")
    assert matdb_says("part", "add", "pair", "--material", "tan", "--form", "grommet-pair", *halves).code == 0
    assert piped("23C", "3turns", "250g", "31Hz", "", "yes", "q", words=("bench", "pair", "--no-advice")).code == 0
    with matdb.open_store(store) as kept:
        (reading,) = kept.readings(part="pair")
    assert reading.reading.squeeze_mm == 1.5
    assert matdb_says("stiffness", "pair", "--temp", "5C", "--mass", "250g", "--squeeze", "3turns").code == 0
    again = ("--temp", "23C", "--mass", "250g", "--frequency", "30Hz", "--squeeze", "2 turns")
    assert matdb_says("reading", "add", "ring-down", "pair", *again, "--json").json["reading"]["squeeze_mm"] == 1.0


def test_what_is_not_confirmed_is_not_logged(piped, store):
    told = piped(*COLD[:-1], "no", "q")
    assert told.code == 0
    assert "not logged" in told.out
    assert readings(store) == []


@pytest.mark.parametrize("after", range(len(COLD)))
def test_an_input_that_ends_early_logs_nothing_half(piped, store, after):
    told = piped(*COLD[:after])
    assert told.code == 130
    assert told.err.strip() == "matdb: stopped"
    assert readings(store) == []


def test_the_last_mass_is_offered_again(piped):
    piped(*COLD, "q")
    told = piped("23C", "", "31Hz", "", "", "q")
    assert "Mass [250g]" in told.out
    assert "logged reading" in told.out


def test_a_frequency_far_from_the_curve_is_doubted(piped):
    told = piped("23C", "150g", "216Hz", "", "no", "q", words=("bench", "0042", "--no-advice"))
    assert "times would be expected (99.9 %): check mass, count, unit and squeeze\n" in told.out
    usual = piped("23C", "150g", "21.6Hz", "", "no", "q", words=("bench", "0042", "--no-advice"))
    assert "would be expected" not in usual.out


@pytest.mark.slow
def test_the_band_tightens_and_the_next_reading_is_named(piped):
    told = piped(*COLD, "q", words=("bench", "pad", "--for", "-10C..25C"))
    assert told.code == 0
    assert "brackets hold 95 %, by the label only" in told.out
    # Before the reading, after it, and as it was.
    before, after = re.findall(r"at -10 degC: (\S+ \(\S+\)) N/mm(?:, was (\S+ \(\S+\)))?", told.out)
    assert after[1] == before[0] != after[0]
    assert "factor" not in told.out
    assert told.out.count("next: a ") == 2


@pytest.mark.slow
def test_a_part_of_unknown_stiffness_gets_no_invented_mass(piped, matdb_says):
    matdb_says("part", "add", "bought", "--material", "tan", "--form", "measured")
    told = piped("q", words=("bench", "bought"))
    assert "not known yet" in told.out
    assert "next: a " not in told.out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("bench", "nut"), "'nut'"),
        (("bench", "pad", "--for", "-10"), "--for"),
        (("bench", "pad", "--axis", "torsion"), "axis"),
        (("bench", "pad", "--mass", "250"), "--mass"),
    ],
)
def test_bad_options_are_one_line(piped, words, says):
    told = piped(words=words)
    assert told.code in (1, 2)
    assert told.err.count("\n") == 1
    assert says in told.err


@pytest.mark.parametrize(
    ("text", "value"), [("", None), ("0.55", 0.55), ("8/4 in 1", 0.693147), ("8 to 4 in 2 cycles", 0.346574)]
)
def test_decrement_or_two_amplitudes(text, value, monkeypatch):
    monkeypatch.setattr("typer.prompt", lambda *_, **more: text or more["default"])
    found = asking.until("Decrement", "", bench._decrement)
    assert found == (None if value is None else pytest.approx(value, abs=1e-6))


@pytest.mark.parametrize("text", ["x", "4/8 in 2", "8/4", "0", "7"])
def test_no_decrement(text):
    with pytest.raises(InputError):
        bench._decrement(text)


# -- in a real terminal ------------------------------------------------------------------------------------

PROMPTS = ("Temperature of chamber", "Soaked for", "Mass", "Read:", "Decrement", "Seconds outside", "Log it")


def terminal(store):
    pexpect = pytest.importorskip("pexpect")
    if not hasattr(pexpect, "spawn"):
        pytest.skip("no pseudo-terminal here")
    env = {**os.environ, "MATDB_STORE": str(store), "NO_COLOR": "1", "COLUMNS": "160", "OMP_NUM_THREADS": "1"}
    env["PYTHONPATH"] = os.pathsep.join([str(TOP), env.get("PYTHONPATH", "")])
    # A run in the background leaves Ctrl-C without effect on all that it starts; a terminal's own does not.
    how = {"timeout": 60, "encoding": "utf-8", "dimensions": (40, 160)}
    how["preexec_fn"] = lambda: signal.signal(signal.SIGINT, signal.SIG_DFL)
    return pexpect.spawn(sys.executable, ["-m", "matdb", *QUICK], env=env, **how)


def answer(child, *answers):
    for prompt, text in zip(PROMPTS, answers, strict=False):
        child.expect_exact(prompt)
        child.sendline(text)


def finished(child):
    import pexpect

    child.expect(pexpect.EOF)
    child.close()
    return child


@pytest.mark.slow
@pytest.mark.parametrize("at", range(len(PROMPTS)), ids=[p.split(" ", 1)[0].lower() for p in PROMPTS])
def test_killed_at_a_prompt_nothing_confirmed_is_lost(store, at):
    child = terminal(store)
    answer(child, *COLD)
    child.expect(r"logged reading \d+")
    # A second reading, killed with no warning at the given prompt.
    answer(child, *COLD[:at])
    child.expect_exact(PROMPTS[at])
    os.kill(child.pid, signal.SIGKILL)
    finished(child)
    assert child.signalstatus == signal.SIGKILL
    kept = readings(store)
    assert [r.frequency_hz for r in kept] == [31.0]
    connection = sqlite3.connect(store)
    try:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    finally:
        connection.close()


@pytest.mark.slow
def test_killed_as_soon_as_it_is_told_and_gone_on_with(store):
    child = terminal(store)
    answer(child, *COLD)
    child.expect(r"logged reading (\d+)")
    os.kill(child.pid, signal.SIGKILL)
    finished(child)
    child = terminal(store)
    child.expect_exact("1 reading so far")
    child.expect_exact(PROMPTS[0])
    child.sendline("-18C")
    child.expect_exact("Soaked for")
    child.sendline("")
    child.expect_exact("Mass [250g]")
    child.sendline("")
    for prompt, text in zip(PROMPTS[3:], ("30Hz", "", "", "y"), strict=True):
        child.expect_exact(prompt)
        child.sendline(text)
    child.expect(r"logged reading (\d+)")
    child.expect_exact(PROMPTS[0])
    child.sendline("q")
    child.expect_exact("done: 1 reading logged")
    finished(child)
    assert child.exitstatus == 0
    assert [r.frequency_hz for r in readings(store)] == [31.0, 30.0]


@pytest.mark.parametrize("at", [0, 3, 6])
def test_control_c_ends_with_a_word(store, at):
    pexpect = pytest.importorskip("pexpect")
    child = terminal(store)
    answer(child, *COLD)
    child.expect(r"logged reading \d+")
    answer(child, *COLD[:at])
    child.expect_exact(PROMPTS[at])
    # A signal that falls between the prompt and the blocking read is noticed at the next one; a person presses again.
    for _ in range(4):
        child.sendintr()
        if child.expect_exact(["stopped: 1 reading logged", pexpect.TIMEOUT], timeout=12) == 0:
            break
    else:
        pytest.fail("Ctrl-C ended nothing")
    finished(child)
    assert child.exitstatus == 130
    assert "Traceback" not in (child.before or "")
    assert len(readings(store)) == 1


@pytest.mark.slow
def test_the_terminal_hung_up(store):
    child = terminal(store)
    answer(child, *COLD)
    child.expect(r"logged reading \d+")
    child.expect_exact(PROMPTS[0])
    child.close(force=True)
    assert len(readings(store)) == 1


@pytest.mark.slow
def test_as_a_process_through_a_pipe(store):
    done = subprocess.run(
        [sys.executable, "-m", "matdb", *QUICK],
        input="\n".join([*COLD, "q", ""]),
        capture_output=True,
        text=True,
        cwd=TOP,
        env={**os.environ, "MATDB_STORE": str(store)},
        check=False,
        timeout=120,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert "1 reading logged" in done.stdout


def test_a_reading_far_from_the_fit_is_cautioned_and_logged(matdb_says):
    words = ("reading", "add", "ring-down", "0042", "--temp", "10C", "--frequency", "22Hz", "--decrement", "0.35")
    fine = matdb_says(*words, "--mass", "150g", "--json").json
    assert not any("the curve's stiffness" in text for text in fine["warnings"])
    slip = matdb_says(*words, "--mass", "1.5kg")
    assert slip.code == 0
    assert "logged reading" in slip.out
    assert "times the curve's stiffness" in slip.out
    told = matdb_says(*words, "--mass", "15g", "--json").json
    assert any("measured 0." in text and "check mass" in text for text in told["warnings"])
    assert told["number"] > fine["number"]
    # A material without a fit expects nothing.
    first = ("reading", "add", "ring-down", "pad", "--temp", "10C", "--frequency", "22Hz", "--mass", "150kg", "--json")
    assert not any("the curve's stiffness" in text for text in matdb_says(*first).json["warnings"])


def test_a_crystallising_rubber_read_in_the_cold_is_asked_for_its_soak(matdb_says, tmp_path):
    words = ("reading", "add", "ring-down", "pad", "--frequency", "22Hz", "--mass", "150g", "--json")

    def asked(*more):
        return any("tell the soak" in text for text in matdb_says(*words, *more).json["warnings"])

    assert asked("--temp", "-25C")
    assert not asked("--temp", "-25C", "--soak", "30min")
    assert not asked("--temp", "22C")
    # Silicone does so only far colder.
    on = ("reading", "add", "ring-down", "0042", "--frequency", "23Hz", "--mass", "150g", "--json")
    assert not any("tell the soak" in text for text in matdb_says(*on, "--temp", "-18C").json["warnings"])
    rows = "kind,part,temp_C,mass_g,frequency_Hz\n" + "".join(
        f"ring-down,pad,{t},150,{f}\n" for t, f in ((21, 24), (-25, 26), (-20, 25))
    )
    (file := tmp_path / "rows.csv").write_text(rows, encoding="utf-8")
    (said,) = (text for text in matdb_says("reading", "import", file, "--json").json["warnings"] if "soak" in text)
    assert said.startswith("line 3: how long it lay at -25 degC was not told")
    assert said.endswith("; the same of 1 more")


def test_a_list_shows_session_and_soak_and_parts_why_and_note(matdb_says):
    words = ("reading", "add", "ring-down", "pad", "--frequency", "22Hz", "--mass", "150g", "--temp", "0F")
    told = matdb_says(*words, "--session", "shop", "--soak", "45min", "--note", "first", "--json").json
    assert "at -17.78 degC" in matdb_says(*words, "--soak", "50min").out
    of_part = matdb_says("reading", "list", "--part", "pad").out
    assert "shop" in of_part
    assert "soaked 45 min" in of_part
    assert matdb_says("reading", "remove", told["number"], "--why", "slip").code == 0
    assert "removed: slip; first" in " ".join(matdb_says("reading", "list", "--all").out.split())
