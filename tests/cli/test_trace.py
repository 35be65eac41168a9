"""``matdb reading trace``: from a file to a logged reading, and what is refused."""

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

import matdb

STATE = ("--part", "0042", "--temp", "23C", "--mass", "150g")


def ring(frequency=21.6, decrement=0.3, *, taps=5, rate=400.0, soften=0.0, noise=0.01, seed=1):
    """Time and one noisy axis of taps that ring down."""
    rng = np.random.default_rng(seed)
    gap = 10.0 / (frequency * decrement)
    time = np.arange(0.0, 0.4 + taps * gap, 1.0 / rate)
    x = np.zeros(time.size)
    for start in 0.3 + gap * np.arange(taps):
        after = time - start
        on = after >= 0
        size = np.exp(-decrement * frequency * after[on])
        phase = 2 * np.pi * np.cumsum(frequency * (1.0 - soften * size)) / rate
        x[on] += size * np.sin(phase)
    return time, 9.81 + x + noise * rng.normal(size=time.size)


def write(file, time, *columns, head="time_s,acc_z"):
    rows = "\n".join(",".join(f"{v:.6g}" for v in row) for row in zip(time, *columns, strict=True))
    file.write_text(f"{head}\n{rows}\n", encoding="utf-8")
    return file


@pytest.fixture
def tapped(tmp_path):
    return write(tmp_path / "tap.csv", *ring())


@pytest.mark.slow
def test_shown_not_logged(matdb_says, tapped, dump):
    before = dump()
    told = matdb_says("reading", "trace", tapped, *STATE)
    assert (told.code, told.err) == (0, "")
    assert "5 taps at" in told.out
    assert "Nothing was logged" in told.out
    assert "by readings" in told.out
    assert dump() == before
    assert matdb_says("reading", "trace", tapped).code == 0


def test_the_figures_and_their_json(matdb_says, tapped):
    told = matdb_says("reading", "trace", tapped, "--json")
    mode = told.json["modes"][0]
    assert told.json["verdict"] == "good"
    assert mode["frequency_hz"] == pytest.approx(21.6, rel=0.01)
    assert mode["log_decrement"] == pytest.approx(0.3, rel=0.1)
    assert len(told.json["taps_s"]) == 5
    assert told.json["number"] is None


@pytest.mark.slow
def test_one_tap_and_clipped_readings_are_told(matdb_says, tapped, tmp_path):
    whole = " ".join(matdb_says("reading", "trace", tapped).out.split())
    assert "only 1 tap" not in whole
    assert "clipped" not in whole
    time, x = ring(taps=1)
    one = matdb_says("reading", "trace", write(tmp_path / "one.csv", time, x)).out
    assert "only 1 tap: repeat to see the scatter" in one
    time, x = ring()
    file = write(tmp_path / "clipped.csv", time, np.clip(x, 9.81 - 0.7, 9.81 + 0.7))
    share = matdb_says("reading", "trace", file, "--json").json["clipped"]
    assert 0.002 < share < 0.1
    told = " ".join(matdb_says("reading", "trace", file).out.split())
    assert f"clipped: {100 * share:.2g} % of the readings lie at the sensor's limit" in told
    assert "counted as at or beyond it" in told
    assert "only 1 tap" not in told


def test_logged_with_its_uncertainty(matdb_says, tapped, store):
    told = matdb_says(
        "reading", "trace", tapped, *STATE, "--log", "--soak", "5min", "--out", "3s", "--who", "me", "--json"
    )
    assert told.code == 0
    with matdb.open_store(store) as kept:
        logged = kept.records.reading(told.json["number"]).reading
    mode = told.json["modes"][0]
    assert logged.kind == "ring-down"
    assert (logged.frequency_hz, logged.frequency_sd_hz) == (mode["frequency_hz"], mode["frequency_sd_hz"])
    assert (logged.log_decrement, logged.log_decrement_sd) == (mode["log_decrement"], mode["log_decrement_sd"])
    assert (logged.soak_min, logged.seconds_out, logged.who, logged.note) == (5.0, 3.0, "me", "from tap.csv")


def test_softening_with_amplitude_is_told_and_flagged(matdb_says, tmp_path):
    file = write(tmp_path / "soft.csv", *ring(soften=0.06))
    told = matdb_says("reading", "trace", file, *STATE, "--log")
    assert told.code == 0
    assert "softens with amplitude" in told.out
    assert "Before you rely on it" in told.out
    assert "changes with amplitude" in " ".join(told.out.split())


def shaken(rate=400.0, seconds=60.0, frequency=21.6, loss=0.2):
    rng = np.random.default_rng(3)
    n = int(rate * seconds)
    base = rng.normal(size=n)
    f = np.fft.rfftfreq(n, 1 / rate)
    ratio = (1 + 1j * loss) / (1 - (f / frequency) ** 2 + 1j * loss)
    payload = np.fft.irfft(np.fft.rfft(base) * ratio, n)
    noise = 0.02 * rng.normal(size=(2, n))
    return np.arange(n) / rate, payload + noise[0], base + noise[1]


def test_a_shaken_record_becomes_a_resonance(matdb_says, tmp_path, store):
    file = write(tmp_path / "flight.csv", *shaken(), head="time_s,payload,base")
    told = matdb_says("reading", "trace", file, *STATE, "--forced", "--log", "--json")
    assert told.code == 0, told.err
    with matdb.open_store(store) as kept:
        logged = kept.records.reading(told.json["number"]).reading
    assert logged.kind == "resonance"
    assert logged.frequency_hz == pytest.approx(21.6, rel=0.02)
    assert logged.half_power_width_hz / logged.frequency_hz == pytest.approx(0.2, rel=0.1)
    plain = matdb_says("reading", "trace", file, "--forced")
    assert "loss factor" in plain.out


@pytest.mark.slow
def test_a_picture_of_record_and_fit(matdb_says, tapped, tmp_path):
    pytest.importorskip("matplotlib")
    for end, mark in (("png", b"\x89PNG"), ("svg", b"<?xml")):
        picture = tmp_path / f"fit.{end}"
        told = matdb_says("reading", "trace", tapped, "--picture", picture)
        assert told.code == 0
        assert picture.read_bytes().startswith(mark)
    again = matdb_says("reading", "trace", tapped, "--picture", tmp_path / "fit.png")
    assert (again.code, again.err.count("\n")) == (1, 1)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--log",), "--part"),
        (("--part", "0042", "--temp", "23C", "--log"), "--mass"),
        ((*STATE, "--log", "--mode", "4"), "mode"),
        ((*STATE, "--log", "--axis", "shear"), "axis"),
        (("--part", "0043", "--temp", "23C", "--mass", "150g", "--log"), "'0043'"),
        (("--signal", "gyro"), "gyro"),
        (("--within", "60Hz..5Hz"), "--within"),
        (("--time-unit", "days"), "--time-unit"),
        (("--forced",), "base"),
        ((*STATE, "--log", "--soak", "long"), "--soak"),
    ],
)
def test_bad_input_is_one_line_and_logs_nothing(matdb_says, tapped, dump, words, says):
    before = dump()
    told = matdb_says("reading", "trace", tapped, *words)
    assert told.code in (1, 2), told.out
    assert told.err.count("\n") == 1
    assert says in told.err
    assert dump() == before


def test_noise_is_refused(matdb_says, tmp_path, dump):
    before = dump()
    rng = np.random.default_rng(0)
    file = write(tmp_path / "noise.csv", np.arange(2000) / 400.0, rng.normal(size=2000))
    for more in ((), ("--json",), ("--log", *STATE)):
        told = matdb_says("reading", "trace", file, *more)
        assert (told.code, told.err.count("\n")) == (2, 1)
        assert "refused" in told.err
    assert dump() == before


def test_no_such_file(matdb_says, tmp_path):
    told = matdb_says("reading", "trace", tmp_path / "none.csv")
    assert (told.code, told.err.count("\n")) == (2, 1)
    assert "none.csv" in told.err


BYTES = st.one_of(
    st.binary(max_size=300),
    st.lists(
        st.lists(st.sampled_from(["0", "1.5", "2,5", "", "x", "=1", "nan", "1e308", "-1e999"]), max_size=4), max_size=60
    ).map(lambda rows: ("t;a;b\n" + "\n".join(map(";".join, rows))).encode()),
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(content=BYTES)
@example(content=b"t;;\x01\n0;1e308;0\n1;1e308;0")
def test_any_bytes_end_in_one_line(matdb_says, tmp_path, content):
    file = tmp_path / "fuzz.csv"
    file.write_bytes(content)
    for more in ((), ("--forced",)):
        told = matdb_says("reading", "trace", file, *more)
        assert told.code in (0, 1, 2)
        assert "unexpected fault" not in told.err
        assert told.err.count("\n") == (told.code != 0)


@pytest.mark.slow
def test_two_modes_are_asked_about_before_one_is_logged(matdb_says, tmp_path, dump, store):
    time, bounce = ring(18.0, seed=2)
    rocking = np.interp(time, *ring(27.0, 0.2, taps=4)) - 9.81
    file = write(tmp_path / "two.csv", time, bounce + rocking)
    before = dump()
    asked = matdb_says("reading", "trace", file, "--part", "0042", "--temp", "23C", "--mass", "900g", "--log")
    assert (asked.code, asked.err.count("\n")) == (2, 1)
    assert "tell by --mode which it is" in asked.err
    assert dump() == before
    looked = matdb_says("reading", "trace", file, "--json")
    assert (looked.code, looked.json["verdict"], looked.json["chosen"]) == (0, "asked", None)
    told = matdb_says(
        "reading", "trace", file, "--part", "0042", "--temp", "23C", "--mass", "900g", "--log", "--mode", "2", "--json"
    )
    assert told.code == 0, told.err
    assert "--mode" not in " ".join(told.json["warnings"])
    # Told which it is, nothing is asked any more.
    assert (told.json["chosen"], told.json["verdict"]) == (1, "good")
    with matdb.open_store(store) as kept:
        assert kept.records.reading(told.json["number"]).reading.frequency_hz == told.json["modes"][1]["frequency_hz"]


@pytest.mark.slow
def test_a_stored_mounting_tells_its_bounce_from_its_rocking(matdb_says, tmp_path, store):
    asked = ("--part", "0042", "--temp", "23C", "--mass", "300g")
    with matdb.open_store(store) as kept:
        sides = {"spread_mm": (60, 50), "box_mm": (90, 60, 80)}
        kept.add(matdb.Mounting(name="bench", mass_kg=0.3, count=4, rpm_idle=6000, rpm_full=9000, **sides))
        modes = kept.modes("bench", "0042", 23.0).modes
    (bounce,) = [float(m.natural_frequency_hz.median) for m in modes if m.word.startswith("bounce")]
    other = max(float(m.natural_frequency_hz.median) for m in modes if "rocking" in m.word)
    assert 0.8 < other / bounce < 0.9
    # A little softer than the store thinks, all of it; the band of the part holds both, and rocking is the louder one.
    time, x = ring(0.95 * bounce, 0.2, rate=1000.0, seed=3)
    for start in 0.3 + 10.0 / (0.95 * bounce * 0.2) * np.arange(5):
        on = np.maximum(time - start, 0.0)
        x += (time >= start) * 1.5 * np.exp(-0.2 * 0.95 * other * on) * np.sin(2.0 * np.pi * 0.95 * other * on)
    file = write(tmp_path / "two.csv", time, x)
    assert matdb_says("reading", "trace", file, *asked, "--count", "4", "--log").code == 2
    told = matdb_says("reading", "trace", file, *asked, "--count", "4", "--mounting", "bench", "--log", "--json")
    assert told.code == 0, told.err
    with matdb.open_store(store) as kept:
        logged = kept.records.reading(told.json["number"]).reading
    assert logged.frequency_hz == pytest.approx(0.95 * bounce, rel=0.01)


@pytest.mark.slow
def test_a_record_that_is_logged_twice_is_told_also_with_another_mass(matdb_says, tapped):
    ask = ("reading", "trace", tapped, *STATE, "--log")
    assert "reading 4" not in matdb_says(*ask).out.partition("logged reading 4")[2]
    assert "reading 4 says exactly the same" in matdb_says(*ask).out
    assert matdb_says("undo").code == 0
    other = ("reading", "trace", tapped, "--part", "0042", "--temp", "23C", "--mass", "160g", "--log")
    assert "reading 4 is of the same record" in matdb_says(*other).out


def test_a_slip_is_told_of_a_logged_record_and_of_a_correction_too(matdb_says, tapped):
    slip = ("--part", "0042", "--temp", "23C", "--mass", "15g", "--log")
    told = matdb_says("reading", "trace", tapped, *slip, "--json").json
    assert any("measured 0." in text and "check mass" in text for text in told["warnings"])
    mended = matdb_says("reading", "correct", str(told["number"]), "--mass", "150g", "--why", "slip", "--json").json
    assert not any("check mass" in text for text in mended["warnings"])
    again = matdb_says("reading", "correct", str(mended["number"]), "--mass", "1.5kg", "--why", "test")
    assert again.code == 0
    assert "times the curve's stiffness" in again.out
