"""The field page in a real browser: numbers, keyboard, widths, requests, accessibility, paper, no script."""

import base64
import datetime as dt
import hashlib
import json
import random
import re
from dataclasses import replace
from html import escape
from importlib.resources import files

import numpy as np
import pytest
from picture import browser
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

import matdb
from matdb.advice.exposure import Flight
from matdb.advice.summary import summary
from matdb.errors import FileTaken, InputError
from matdb.form.grommet_pair import GrommetPair
from matdb.form.thread import turns_text
from matdb.mounting.phone import with_phone
from matdb.picture.page import MOST_BYTES, field_page, save_page
from matdb.picture.page_tables import _part, page_tables
from matdb.weather.forecast import forecast_range

CAUTIONS = ("This is an estimate.", "Hold it with a second line.")
#: Two phones upright, one on its side, a desk.
WIDTHS = (360, 390, 844, 1280)
HEIGHTS = {844: 390}
#: A place in the tables is that of the page's own degrees Celsius, whatever is typed.
FAHRENHEIT = 1.8, 32.0


@pytest.fixture(scope="module")
def tables(store):
    return page_tables(store, "nose", low_c=-30.0, high_c=50.0, made_at=dt.datetime(2030, 1, 2, 3, 4, tzinfo=dt.UTC))


@pytest.fixture(scope="module")
def file(tables, tmp_path_factory):
    return save_page(tables, tmp_path_factory.mktemp("page") / "nose.html", cautions=CAUTIONS, at_c=-5.0)


@pytest.fixture(scope="module")
def opened(tmp_path_factory):
    driver = browser.start(tmp_path_factory.mktemp("profile"))
    yield driver
    driver.quit()


@pytest.fixture
def page(opened, file):
    """The page, freshly loaded at phone width."""
    visit(opened, file, 360)
    return opened


def visit(driver, file, width):
    touch = width < 1000
    metrics = {"width": width, "height": HEIGHTS.get(width, 740), "deviceScaleFactor": 1, "mobile": touch}
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": touch})
    driver.get(file.as_uri())


def text(driver, selector):
    return driver.find_element(By.CSS_SELECTOR, selector).text


def slide(driver, temperature):
    script = "const s = document.getElementById('slid'); s.value = arguments[0]; s.dispatchEvent(new Event('input'));"
    driver.execute_script(script, temperature)


# -- what it is ---------------------------------------------------------------------------------------------


def test_the_file_is_small_and_asks_for_nothing(file):
    content = file.read_bytes()
    assert len(content) < MOST_BYTES
    page = content.decode()
    for bad in ("src=", "@import", "url(", "fetch(", "XMLHttpRequest", "<iframe", "<img"):
        assert bad not in page, bad
    assert "default-src 'none'" in page
    # The one address inside is the picture's name for its own kind of element, if any.
    assert re.findall(r"https?://", page) == []


def test_equal_tables_are_equal_pages(tables, file):
    assert field_page(tables, cautions=CAUTIONS, at_c=-5.0) == file.read_text(encoding="utf-8")


def test_names_of_the_user_are_text_and_nothing_else(store, tables):
    page = field_page(tables, cautions=("a <b> & c",))
    assert "leg <1>" not in page
    assert "degC" not in field_page(tables, cautions=("Below -10 degC it is brittle.",))
    assert "leg &lt;1&gt;" in page
    assert "leg \\u003c1\\u003e" in page
    assert "a &lt;b&gt; &amp; c" in page


def test_it_says_when_from_what_and_how_sure(tables, opened, file):
    page = file.read_text(encoding="utf-8")
    assert "2030-01-02 03:04 UTC" in page
    assert tables.fingerprint in page
    assert "Measured at −18 to 50 °C" in page
    assert "Rests on its label only." in page
    for caution in CAUTIONS:
        assert caution in page


def test_the_answer_comes_first_and_is_the_screen_s(tables, store):
    page = field_page(tables, cautions=CAUTIONS).replace("−", "-")
    wanted = summary(tables.mounting, tables.temperature_c, store.suit(tables.mounting, tables.temperature_c))
    assert tables.answer == wanted
    at = [page.index(escape(line.replace(" degC", " °C"))) for line in (*wanted.lines, *wanted.others)]
    assert at == sorted(at)
    assert page.index("<h1>") < at[0]
    assert at[-1] < page.index('id="slid"')


def test_the_fingerprint_follows_the_content(picture_file, store, tmp_path):
    from shutil import copy

    from matdb.exchange.whole_store import store_fingerprint

    with matdb.open_store(copy(picture_file, tmp_path / "copy.sqlite")) as other:
        assert store_fingerprint(other) == store_fingerprint(store)
        other.add(matdb.RingDown(part="tube", temperature_c=5.0, mass_kg=0.15, frequency_hz=22.0))
        assert store_fingerprint(other) != store_fingerprint(store)


# -- in the browser -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", WIDTHS)
def test_it_shows_without_error_or_request(width, opened, file):
    opened.get_log("performance")
    opened.get_log("browser")
    visit(opened, file, width)
    slide(opened, 12.5)
    assert opened.get_log("browser") == []
    sent = [json.loads(entry["message"])["message"] for entry in opened.get_log("performance")]
    asked = {m["params"]["request"]["url"] for m in sent if m["method"] == "Network.requestWillBeSent"}
    # The browser's own start page may still be loading its parts.
    assert {url for url in asked if not url.startswith(("data:", "chrome:", "chrome-untrusted:"))} == {file.as_uri()}
    # Nothing sticks out sideways.
    assert opened.execute_script("return document.documentElement.scrollWidth") <= width
    assert opened.find_element(By.CSS_SELECTOR, "#part0 .word").is_displayed()
    assert opened.find_element(By.TAG_NAME, "svg").size["width"] > 300


@pytest.mark.parametrize("width", WIDTHS[:-1])
def test_on_a_phone_the_answer_is_largest_and_everything_is_for_gloves(width, opened, file):
    visit(opened, file, width)
    sizes = opened.execute_script("""
        const size = (e) => parseFloat(getComputedStyle(e).fontSize), all = [...document.body.querySelectorAll('*')];
        return [size(document.getElementById('best')), Math.max(...all.filter((e) => e.id !== 'best').map(size))]""")
    assert sizes[0] > sizes[1]
    # It is seen without scrolling, and so is the slider.
    for element in ("best", "slid"):
        box = opened.execute_script(f"return document.getElementById('{element}').getBoundingClientRect().toJSON()")
        assert box["top"] >= 0.0
        assert box["bottom"] <= HEIGHTS.get(width, 740), element
        assert box["right"] <= width
    controls = opened.execute_script("""
        document.querySelectorAll('details').forEach((d) => { d.open = true; });
        return [...document.querySelectorAll('button, input, summary')].map((e) => e.getBoundingClientRect())
            .filter((b) => b.width).map((b) => [b.width, b.height])""")
    assert len(controls) > 10
    assert np.min(controls) >= 44.0
    style = (files("matdb.picture") / "page.css").read_text(encoding="utf-8")
    for thumb in ("-webkit-slider-thumb", "-moz-range-thumb"):
        wide, tall = re.search(thumb + r"[^}]*?width: (\d+)px; height: (\d+)px", style).groups()
        assert min(int(wide), int(tall)) >= 44


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("car", [False, True])
def test_nothing_that_stays_in_view_hides_the_rest(car, width, opened, file):
    visit(opened, file, width)
    opened.execute_script("document.getElementById('car').open = arguments[0];", car)
    free = opened.execute_script("""
        const step = 60, seen = new Set();
        for (let y = 0; y < document.documentElement.scrollHeight; y += step) {
            scrollTo(0, y);
            for (const [k, p] of [...document.querySelectorAll('#in dt')].entries()) {
                const b = p.getBoundingClientRect();
                const top = document.elementFromPoint(b.left + 2, b.top + 4);
                if (top && p.contains(top)) seen.add(k);
            }
        }
        const shown = document.querySelectorAll('#in dt');
        scrollTo(0, 600);
        const steer = document.querySelector('.steer').getBoundingClientRect();
        const tall = Math.max(0, Math.min(innerHeight, steer.bottom) - Math.max(0, steer.top));
        return [seen.size, shown.length, innerWidth > innerHeight && innerHeight < 500 ? 0 : tall / innerHeight];""")
    assert free[0] == free[1] > 3
    assert free[2] < 0.62


def test_a_finger_moves_the_slider(opened, file):
    visit(opened, file, 390)
    box = opened.execute_script("return document.getElementById('slid').getBoundingClientRect().toJSON()")
    y, points = box["top"] + 0.5 * box["height"], (0.31, 0.5, 0.8)
    for kind, at in zip(("touchStart", "touchMove", "touchMove"), points, strict=True):
        touch = [{"x": box["left"] + at * box["width"], "y": y}]
        opened.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": kind, "touchPoints": touch})
    opened.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    assert 30.0 < float(opened.find_element(By.ID, "slid").get_attribute("value")) < 42.0


@pytest.mark.parametrize("fahrenheit", [False, True])
def test_numbers_are_the_library_s_at_fifty_temperatures(fahrenheit, page, store, tables):
    draw = random.Random(7)
    scale, zero = FAHRENHEIT if fahrenheit else (1.0, 0.0)
    if fahrenheit:
        page.find_element(By.ID, "unit").click()
    t = [round(draw.uniform(-30.0, 50.0), 1) for _ in range(50)]
    shown = {}
    for k, each in enumerate(t):
        script = """
            const typed = document.getElementById('typed');
            typed.value = arguments[0]; typed.dispatchEvent(new Event('input'));
            return [...document.querySelectorAll('.part')].map(
                (p) => ['f', 'k', 'z', 'c'].flatMap((c) => [p.querySelector('.' + c + ' b').textContent,
                    ...p.querySelector('.' + c + ' span').textContent.split(' to ')]).map(Number));
        """
        shown[k] = sorted_as_numbered(page, page.execute_script(script, f"{scale * each + zero:.2f}"))
    for i, part in enumerate(tables.parts):
        found = store.effective(part.part.name, np.array(t), mass_kg=0.6, count=4, squeeze_mm=part.row.squeeze_mm)
        tapped = store.effective(part.part.name, np.array(t), mass_kg=0.8, count=4, squeeze_mm=part.row.squeeze_mm)
        bands = found.natural_frequency_hz, found.stiffness_n_per_mm, found.damping_ratio, tapped.natural_frequency_hz
        expected = np.stack([v for b in bands for v in (b.median, b.low, b.high)], axis=1)
        got = np.array([shown[k][i] for k in range(50)])
        np.testing.assert_allclose(got[:, ::3], expected[:, ::3], rtol=0.01, err_msg=part.part.name)
        # The ends of the bands are rounder than the medians.
        np.testing.assert_allclose(got[:, [1, 2, 4, 5]], expected[:, [1, 2, 4, 5]], rtol=0.03, err_msg=part.part.name)


def sorted_as_numbered(driver, rows):
    """What the cards say in the order of the page's parts: the rejected ones stand last."""
    numbers = driver.execute_script("return [...document.querySelectorAll('.part')].map((p) => Number(p.id.slice(4)))")
    return [row for _, row in sorted(zip(numbers, rows, strict=True))]


def test_fahrenheit_is_told_throughout_and_typed_with_either_unit(page):
    places = "return [document.body.innerText, [...document.querySelectorAll('.deg')].map((e) => e.textContent)]"
    script = "document.querySelectorAll('details').forEach((d) => { d.open = true; });"
    page.execute_script(script)
    before, scale = page.execute_script(places)
    page.find_element(By.ID, "unit").click()
    after, turned = page.execute_script(places)
    assert "°C" in before
    assert "°C" not in after
    number = r"[−-]?\d+(?:\.\d+)?"

    def told(text, sign):
        found = re.findall(rf"({number})(?: to ({number}))? °{sign}", text)
        return np.array([float(v.replace("−", "-")) for pair in found for v in pair if v])

    celsius = told(before, "C")
    assert celsius.size > 15
    np.testing.assert_allclose(told(after, "F"), 1.8 * celsius + 32.0, atol=0.15)
    np.testing.assert_allclose(
        [float(v.replace("−", "-")) for v in turned], [1.8 * float(v.replace("−", "-")) + 32 for v in scale], atol=0.51
    )
    typed = page.find_element(By.ID, "typed")
    for word, place in (("70", 21.1), ("-5C", -5.0), ("14 °F", -10.0), ("21,5 c", 21.5)):
        typed.send_keys(Keys.CONTROL + "a")
        typed.send_keys(word)
        assert float(page.find_element(By.ID, "slid").get_attribute("value")) == pytest.approx(place, abs=0.26), word
    page.find_element(By.ID, "unit").click()
    assert page.execute_script(places)[0].count("°F") == 1  # the button
    assert typed.get_attribute("value") == "21.5"


def test_every_way_of_telling_temperatures_turns_to_fahrenheit(opened, tables, tmp_path):
    said = (
        "guessed below -16.8 and above 49.1 degC at 10 Hz",
        "from -18 to 5 degC, 3 K more",
        "near -25 degC for 2 h",
        "at -10, 0 and 23.5 degC",
    )
    visit(opened, save_page(tables, tmp_path / "words.html", cautions=said), 360)
    opened.find_element(By.ID, "unit").click()
    turned = [each.text for each in opened.find_elements(By.CSS_SELECTOR, "#cautions li")]
    assert turned == [
        "guessed below 1.8 and above 120.4 °F at 10 Hz",
        "from −0.4 to 41 °F, 3 K more",
        "near −13 °F for 2 h",
        "at 14, 32 and 74.3 °F",
    ]


def test_a_part_from_a_warm_car_lags_as_the_weather_says(page, tables):
    from matdb.bench.thermal.body import body_of, thermal_of
    from matdb.weather.forecast import Forecast
    from matdb.weather.lag import part_temperature

    page.execute_script("document.getElementById('car').open = true;")
    slide(page, 0.0)
    for minutes in (0, 15, 60):
        script = (
            "const m = document.getElementById('minutes'); m.value = arguments[0]; m.dispatchEvent(new Event('input'));"
        )
        page.execute_script(script, minutes)
        for i, part in enumerate(tables.parts):
            air = Forecast(np.zeros(3), times=np.array([0.0, 1.0, 2.0]))
            family = {"amber 40A": "silicone", "coral": "thermoplastic polyurethane ether"}[part.part.material]
            lag = part_temperature(air, body_of(part.part.form), start_c=20.0, thermal=thermal_of(family))
            wanted = np.interp(minutes / 60.0, lag.times, lag.temperature_c)
            card = f"document.querySelector('#part{i} .lag')"
            said = page.execute_script(f"return {card}.hidden ? '0 °C' : {card}.querySelector('b').textContent")
            assert float(said.split()[0]) == pytest.approx(wanted, abs=0.6), (minutes, part.part.name)


def test_rejected_parts_are_folded_away_and_come_back(page, tables):
    for t in (-28.0, 10.0, 45.0, -28.0):
        slide(page, t)
        sides = page.execute_script("""
            return ['in', 'out'].map((id) => [...document.querySelectorAll('#' + id + ' .part')].map((p) =>
                [Number(p.id.slice(4)), Number(p.querySelector('.verdict').className.slice(-1))]))""")
        kept, out = sides
        assert sorted(i for i, _ in kept + out) == list(range(len(tables.parts)))
        assert all(v > 2 for _, v in out)
        assert kept
        assert all(v <= 2 for _, v in kept) or len(kept) == 1
        assert sides == [sorted(kept), sorted(out)]
        folded = page.find_element(By.ID, "rejected")
        assert folded.is_displayed() == bool(out)
        assert f"{len(out)} rejected here" in page.find_element(By.ID, "many").get_attribute("textContent") or not out


def test_a_tap_tells_bounce_and_rocking_with_the_phone_on_top(store):
    mounting = matdb.Mounting(
        name="wide", mass_kg=0.6, count=4, rpm_idle=4200, rpm_full=8000, spread_mm=(80, 60), box_mm=(90, 70, 60)
    )
    heavier = with_phone(mounting)
    (row,) = store.suit(mounting, [-10.0, 30.0], parts=["tube"])
    t = np.arange(-10.0, 31.0)
    told = _part(store, mounting, row, Flight(forecast_range(-10.0, 30.0)), "axial")
    for k in (0, 13, 40):
        found = store.modes(heavier, "tube", t[k], squeeze_mm=row.squeeze_mm)
        hz = {what: m.natural_frequency_hz.median for what, m in zip(found.motions, found.modes, strict=True)}
        rocking = sorted((hz["roll rocking"], hz["pitch rocking"]))
        np.testing.assert_allclose(told.rocking_hz[:, k], rocking, rtol=0.005)
        # The very number that 'flight tap' compares with.
        assert told.tapped_hz.median[k] == pytest.approx(hz["bounce"], rel=0.003)


def test_verdict_and_probability_are_the_library_s(page, store, tables):
    for t in (-27.0, 4.0, 41.0):
        slide(page, t)
        for i, part in enumerate(tables.parts):
            (row,) = store.suit("nose", [t], parts=[part.part.name], squeeze_mm=part.row.squeeze_mm)
            said = page.find_element(By.CSS_SELECTOR, f"#part{i} .word").get_attribute("textContent")
            word, share = said.rsplit(", ", 1)
            assert word == row.verdict, (t, part.part.name)
            digits = re.search(r"\d+", share)
            assert abs(float(digits[0]) - 100 * row.probability) <= 1.0, (t, part.part.name, share, row.probability)


def test_squeeze_is_told_in_turns(store, opened, tmp_path):
    ring = page_tables(store, "nose", parts=["ring"], squeeze_mm=0.6, low_c=-10.0, high_c=10.0)
    visit(opened, save_page(ring, tmp_path / "ring.html", cautions=CAUTIONS), 360)
    assert text(opened, "#ends") == "Squeeze 1.2 turns past first touch, 0.6 mm (10 %)."
    page = page_tables(store, "nose", parts=["ring"], squeeze_mm=0.6)
    assert "1.2 turns past first touch" in page.parts[0].squeeze
    assert "1.2 turns past first touch, 0.6 mm (10\u00a0%)" in field_page(page, cautions=())


@pytest.mark.slow
def test_a_pair_says_how_far_to_turn(picture_file, tmp_path):
    from shutil import copy

    pair = GrommetPair(matdb.Ring(12, 5, 4), plate_mm=2.0, thread="M3")
    with matdb.open_store(copy(picture_file, tmp_path / "copy.sqlite")) as other:
        other.add(matdb.Part(name="pair", material="amber 40A", form=pair))
        page = page_tables(other, "nose", parts=["pair"], squeeze_mm=0.6, low_c=-20.0, high_c=30.0)
        best = page_tables(other, "nose", parts=["pair"], low_c=-20.0, high_c=30.0)
        found = other.squeeze("pair", mounting=other.mounting("nose"), temperature_c=best.temperature_c)
    assert "1.2 turns past first touch" in page.parts[0].squeeze
    point = found.points[0]
    told = best.parts[0].squeeze
    assert told.startswith(f"{turns_text(point.turns)}, {point.squeeze_mm:.3g} mm (")
    assert told.endswith(f", spacer {point.spacer_mm:.4g}\u00a0mm")
    written = field_page(best, cautions=())
    assert f"<dd>{told}</dd>" in written
    assert f"<li>cut {best.mounting.count} x spacer, bore 3 mm, {point.spacer_mm:.4g} mm long</li>" in written


def test_the_keyboard_is_enough(page):
    order = []
    for _ in range(11):
        page.switch_to.active_element.send_keys(Keys.TAB)
        element = page.switch_to.active_element
        order.append(
            element.get_attribute("id") or element.get_attribute("data-step") or element.get_attribute("class")
        )
    assert order[4:10] == ["typed", "-5", "-1", "1", "5", "slid"]
    slider = page.find_element(By.ID, "slid")
    slider.send_keys(Keys.ARROW_RIGHT * 3)
    assert slider.get_attribute("value") == "-3.5"
    assert text(page, "#told").startswith("At −3.5 °C: ")
    assert slider.get_attribute("aria-valuetext") == "-3.5 degrees Celsius".replace("-", "−")
    page.find_element(By.CSS_SELECTOR, "[data-step='-5']").send_keys(Keys.ENTER)
    assert slider.get_attribute("value") == "-8.5"
    typed = page.find_element(By.ID, "typed")
    for word in ("-12,5", "−12.5", " -12.5 "):
        typed.send_keys(Keys.CONTROL + "a")
        typed.send_keys(word)
        assert slider.get_attribute("value") == "-12.5"
    typed.send_keys(Keys.ARROW_UP)
    assert slider.get_attribute("value") == "-11.5"
    typed.send_keys(Keys.CONTROL + "a")
    typed.send_keys("cold")
    assert typed.get_attribute("aria-invalid") == "true"
    assert " ".join(text(page, "#told").split()) == (
        "No answer: type a temperature This page knows −30 to 50 °C, such as −15."
    )
    typed.send_keys(Keys.TAB)
    assert typed.get_attribute("value") == slider.get_attribute("value") == "-11.5"


def test_beyond_its_temperatures_it_answers_nothing_and_says_so(page):
    typed, slider = page.find_element(By.ID, "typed"), page.find_element(By.ID, "slid")
    for word, before in (("-80", "-8"), ("70", "7")):
        typed.send_keys(Keys.CONTROL + "a")
        typed.send_keys(word)
        assert text(page, "#when") == f"No answer for {word}:"
        assert text(page, "#best") == "beyond this page"
        assert text(page, "#ends") == "This page knows −30 to 50 °C; 70F or 21C names the unit."
        assert typed.get_attribute("aria-invalid") == "true"
        # Nothing of what the first digit alone had asked for is left to be read as the answer.
        assert slider.get_attribute("value") == before
        assert not page.find_element(By.CSS_SELECTOR, "#in .f b").is_displayed()
    typed.send_keys(Keys.TAB)
    assert (typed.get_attribute("value"), typed.get_attribute("aria-invalid")) == ("7", "false")
    assert page.find_element(By.CSS_SELECTOR, "#in .f b").is_displayed()
    slider.send_keys(Keys.HOME)
    assert text(page, "#ends") == "This page knows −30 to 50 °C."


def test_extrapolation_is_said_only_where_it_is_one(page, tables):
    i = next(k for k, part in enumerate(tables.parts) if part.part.name == "tube")
    beyond = page.find_element(By.CSS_SELECTOR, f"#part{i} .beyond")
    page.execute_script("document.getElementById('rejected').open = true;")
    slide(page, 20.0)
    assert not beyond.is_displayed()
    slide(page, -25.0)
    assert beyond.is_displayed()


def test_the_cursor_follows(page):
    places = []
    for t in (-30.0, 10.0, 50.0):
        slide(page, t)
        moved = page.find_element(By.ID, "cursor").get_attribute("transform")
        places.append(float(re.search(r"translate\(([\d.]+)", moved)[1]))
    assert places == [38.0, 188.0, 338.0]


@pytest.mark.slow
@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("light", ["light", "dark", "sun", "night"])
def test_a_checker_of_accessibility_finds_nothing(light, width, opened, file):
    visit(opened, file, width)
    scheme = "dark" if light == "dark" else "light"
    opened.execute_cdp_cmd(
        "Emulation.setEmulatedMedia", {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    )
    if light in ("sun", "night"):
        opened.find_element(By.CSS_SELECTOR, f"button[data-light={light}]").click()
    opened.execute_script("document.querySelectorAll('details').forEach((d) => { d.open = true; });")
    # The checker is put in past the page's own policy.
    source = files("axe_core_python").joinpath("axe.min.js").read_text(encoding="utf-8")
    opened.execute_script(source)
    rules = {"runOnly": ["wcag2a", "wcag2aa", "wcag2aaa", "wcag21a", "wcag21aa", "best-practice"]}
    found = opened.execute_async_script("const done = arguments[1]; axe.run(document, arguments[0]).then(done);", rules)
    opened.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
    assert [(v["id"], [n["html"][:120] for n in v["nodes"]]) for v in found["violations"]] == []
    assert len(found["passes"]) > 20


def test_what_suits_nowhere_is_left_out_on_paper(tables, opened, tmp_path):
    many = replace(tables, parts=tables.parts * 3)
    visit(opened, save_page(many, tmp_path / "many.html", cautions=CAUTIONS), 1280)
    opened.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    shown = [row.find_element(By.TAG_NAME, "th").text for row in opened.find_elements(By.CSS_SELECTOR, "tbody tr")]
    opened.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    nowhere = [bool(part.probability.max() < 0.25) for part in many.parts]
    assert [bool(name) for name in shown] == [not out or k == nowhere.index(True) for k, out in enumerate(nowhere)]
    printed = opened.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
    assert len(re.findall(rb"/Type\s*/Page\b", base64.b64decode(printed["data"]))) == 1


def test_it_prints_on_one_sheet(page):
    for background in (False, True):
        printed = page.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True, "printBackground": background})
        assert len(re.findall(rb"/Type\s*/Page\b", base64.b64decode(printed["data"]))) == 1


def test_without_script_it_can_be_read(opened, file, tables):
    opened.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        visit(opened, file, 360)
        assert not opened.find_element(By.ID, "slid").is_displayed()
        table = opened.find_element(By.TAG_NAME, "table").text
        for part in tables.parts:
            assert part.part.name in table
            shown = [float(w) for w in re.findall(r"([\d.]+) Hz", table)]
            assert np.isclose(shown, part.natural_frequency_hz.median[30], rtol=0.005).any()
        assert opened.find_element(By.TAG_NAME, "svg").is_displayed()
    finally:
        opened.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})


# -- what is refused ------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_what_cannot_be_is_refused(store, tables, tmp_path):
    for bad in ({"low_c": 5.0, "high_c": 5.0}, {"low_c": -150.0, "high_c": 50.0}, {"most": 13}, {"parts": []}):
        with pytest.raises(InputError):
            page_tables(store, "nose", **bad)
    with pytest.raises(matdb.NotFound):
        page_tables(store, "tail")
    with pytest.raises(InputError):
        field_page(tables, cautions=(), at_c=60.0)
    (tmp_path / "there.html").touch()
    with pytest.raises(FileTaken, match="--force"):
        save_page(tables, tmp_path / "there.html", cautions=())


def test_the_policy_knows_the_one_script_by_its_hash(file):
    """Whatever else gets into the page, by a part's name or a browser's extension, does not run."""
    html = file.read_text(encoding="utf-8")
    (policy,) = re.findall(r'http-equiv="Content-Security-Policy" content="([^"]*)"', html)
    (allowed,) = re.findall(r"script-src ([^;]*)", policy)
    (script,) = re.findall(r"<script>(.*?)</script>", html, re.DOTALL)
    assert allowed == f"'sha256-{base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()}'"
    assert not re.search(r"<[^>]*\son\w+=", html.replace(script, ""))


def test_all_on_one_isolator_has_a_page_too(store):
    # Nothing but the part's own tilting stiffness holds it level: the long phone alone tells pitch from roll.
    one = matdb.Mounting(
        name="one", mass_kg=0.3, count=1, rpm_idle=4200, rpm_full=8000, positions_mm=[(0, 0, 0)], box_mm=(50, 50, 50)
    )
    (row,) = store.suit(one, [-10.0, 30.0], parts=["ring"])
    told = _part(store, one, row, Flight(forecast_range(-10.0, 30.0)), "axial")
    roll, pitch = with_phone(one).main.inertia[:2]
    np.testing.assert_allclose(told.rocking_hz[1] / told.rocking_hz[0], np.sqrt(pitch / roll), rtol=0.1)
    assert np.all(told.rocking_hz > 1.0)
