"""The field page in a real browser: numbers, keyboard, widths, requests, accessibility, paper, no script."""

import base64
import datetime as dt
import hashlib
import json
import random
import re
from html import escape
from importlib.resources import files

import numpy as np
import pytest
from picture import browser
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

import matdb
from matdb.advice.summary import summary
from matdb.errors import FileTaken, InputError
from matdb.form.grommet_pair import GrommetPair
from matdb.form.thread import turns_text
from matdb.picture.page import MOST_BYTES, field_page, save_page
from matdb.picture.page_tables import page_tables

CAUTIONS = ("This is an estimate.", "Hold it with a second line.")
WIDTHS = (360, 1280)


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
    metrics = {"width": width, "height": 740, "deviceScaleFactor": 1, "mobile": False}
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
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
    page = field_page(tables, cautions=CAUTIONS)
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


def test_numbers_are_the_library_s_at_fifty_temperatures(page, store, tables):
    draw = random.Random(7)
    t = [round(draw.uniform(-30.0, 50.0), 1) for _ in range(50)]
    shown = {}
    for k, each in enumerate(t):
        script = """
            const typed = document.getElementById('typed');
            typed.value = arguments[0]; typed.dispatchEvent(new Event('input'));
            return [...document.querySelectorAll('.part')].map(
                (p) => ['f', 'k', 'z'].flatMap((c) => [p.querySelector('.' + c + ' b').textContent,
                    ...p.querySelector('.' + c + ' span').textContent.split(' to ')]).map(Number));
        """
        shown[k] = page.execute_script(script, str(each))
    for i, part in enumerate(tables.parts):
        found = store.effective(part.part.name, np.array(t), mass_kg=0.6, count=4, squeeze_mm=part.row.squeeze_mm)
        bands = (found.natural_frequency_hz, found.stiffness_n_per_mm, found.damping_ratio)
        expected = np.stack([v for b in bands for v in (b.median, b.low, b.high)], axis=1)
        got = np.array([shown[k][i] for k in range(50)])
        np.testing.assert_allclose(got[:, ::3], expected[:, ::3], rtol=0.01, err_msg=part.part.name)
        # The ends of the bands are rounder than the medians.
        np.testing.assert_allclose(got[:, [1, 2, 4, 5]], expected[:, [1, 2, 4, 5]], rtol=0.03, err_msg=part.part.name)


def test_verdict_and_probability_are_the_library_s(page, store, tables):
    for t in (-27.0, 4.0, 41.0):
        slide(page, t)
        for i, part in enumerate(tables.parts):
            (row,) = store.suit("nose", [t], parts=[part.part.name], squeeze_mm=part.row.squeeze_mm)
            word, share = text(page, f"#part{i} .word").rsplit(", ", 1)
            assert word == row.verdict, (t, part.part.name)
            digits = re.search(r"\d+", share)
            assert abs(float(digits[0]) - 100 * row.probability) <= 1.0, (t, part.part.name, share, row.probability)


def test_squeeze_is_told_in_turns(store, opened, tmp_path):
    page = page_tables(store, "nose", parts=["ring"], squeeze_mm=0.6)
    assert "1.2 turns past first touch" in page.parts[0].squeeze
    assert "0.6 mm (10\u00a0%), 1.2 turns past first touch" in field_page(page, cautions=())


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
    assert told.startswith(f"{point.squeeze_mm:.3g} mm (")
    assert told.endswith(f"{turns_text(point.turns)}, spacer {point.spacer_mm:.3g}\u00a0mm")
    assert f"<dd>{told}</dd>" in field_page(best, cautions=())


def test_the_keyboard_is_enough(page):
    order = []
    for _ in range(9):
        page.switch_to.active_element.send_keys(Keys.TAB)
        element = page.switch_to.active_element
        order.append(
            element.get_attribute("id") or element.get_attribute("data-step") or element.get_attribute("class")
        )
    assert order[2:8] == ["typed", "-5", "-1", "1", "5", "slid"]
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
    assert text(page, "#told") == "Type a temperature in °C, such as −5."
    typed.send_keys(Keys.TAB)
    assert typed.get_attribute("value") == slider.get_attribute("value") == "-11.5"


def test_beyond_its_temperatures_it_stays_at_the_end_and_says_so(page):
    typed = page.find_element(By.ID, "typed")
    typed.send_keys(Keys.CONTROL + "a")
    typed.send_keys("-80")
    assert page.find_element(By.ID, "slid").get_attribute("value") == "-30"
    assert text(page, "#told").endswith("This page knows −30 to 50 °C.")


def test_extrapolation_is_said_only_where_it_is_one(page, tables):
    i = next(k for k, part in enumerate(tables.parts) if part.part.name == "tube")
    beyond = page.find_element(By.CSS_SELECTOR, f"#part{i} .beyond")
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
    # The checker is put in past the page's own policy.
    source = files("axe_core_python").joinpath("axe.min.js").read_text(encoding="utf-8")
    opened.execute_script(source)
    rules = {"runOnly": ["wcag2a", "wcag2aa", "wcag2aaa", "wcag21a", "wcag21aa", "best-practice"]}
    found = opened.execute_async_script("const done = arguments[1]; axe.run(document, arguments[0]).then(done);", rules)
    opened.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
    assert [(v["id"], [n["html"][:120] for n in v["nodes"]]) for v in found["violations"]] == []
    assert len(found["passes"]) > 20


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
