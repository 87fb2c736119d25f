"""Does the HTML paper work in a real browser: wide, on a phone, by keyboard, for a screen reader, in print?

Outside judge of accessibility: axe-core (npm). Its file is named by the environment variable SURVSTATS_AXE.
"""

from __future__ import annotations

import base64
import datetime
import itertools
import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from annex_samples import with_annex
from records_samples import RECORDS
from samples import SAMPLES
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from survstats.report.annex.paper import annex_content
from survstats.report.publish import Content, render_html

AXE = os.environ.get("SURVSTATS_AXE", "")
CI = bool(os.environ.get("CI"))
NO_BROWSER = not (shutil.which("chromium") and shutil.which("chromedriver"))

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(NO_BROWSER and not CI, reason="chromium and chromedriver are not installed"),
]


@pytest.fixture(scope="module")
def browser() -> Iterator[webdriver.Chrome]:
    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium") or "chromium"
    for argument in ("--headless=new", "--no-sandbox", "--disable-dev-shm-usage"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    service = webdriver.ChromeService(shutil.which("chromedriver") or "chromedriver")
    driver = webdriver.Chrome(options=options, service=service)
    yield driver
    driver.quit()


ANNEXES = ("annex", "annex_survivor_only")


def annex(name: str, request: pytest.FixtureRequest) -> Content:
    """The annex with everything in it, or that of a study without an estimate."""
    demos = request.getfixturevalue("demo_results")
    results = with_annex(demos["demo_main"]) if name == "annex" else demos["demo_survivor_only"]
    return annex_content(results, date=datetime.date(2026, 11, 24))


@pytest.fixture(scope="module", params=[*SAMPLES, *RECORDS, *ANNEXES])
def page(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("page") / f"{request.param}.html"
    content = SAMPLES.get(request.param) or RECORDS.get(request.param) or annex(request.param, request)
    file.write_text(render_html(content), encoding="utf-8")
    return file


def only(*names: str) -> pytest.MarkDecorator:
    """A test about some of the pages alone."""
    return pytest.mark.parametrize("page", names, indirect=True, scope="module")


def show(browser: webdriver.Chrome, page: Path, width: int) -> None:
    size = {"width": width, "height": 800, "deviceScaleFactor": 1, "mobile": width < 600}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    browser.get_log("browser")
    browser.get(page.as_uri())


@pytest.mark.parametrize("width", [320, 360, 679, 680, 1000])
def test_page_fits_its_window_and_says_nothing_on_the_console(
    browser: webdriver.Chrome, page: Path, width: int
) -> None:
    show(browser, page, width)
    assert browser.get_log("browser") == []
    assert browser.execute_script("return document.documentElement.scrollWidth") <= width
    outside = browser.execute_script(
        "return [...document.querySelectorAll('main *, header *')].filter(e => e.getBoundingClientRect().right > "
        "document.documentElement.clientWidth + 1).map(e => e.tagName)"
    )
    assert outside == []
    faces = browser.execute_script(
        "return document.fonts.ready.then(f => [...f].filter(x => x.status == 'error').length)"
    )
    assert faces == 0


def test_exactly_one_drawing_of_each_figure_is_shown(browser: webdriver.Chrome, page: Path) -> None:
    for width, shown in ((320, "narrow"), (1000, "wide")):
        show(browser, page, width)
        figures = browser.find_elements(By.CSS_SELECTOR, ".figure")
        for figure in figures:
            seen = [part for part in figure.find_elements(By.CSS_SELECTOR, "svg") if part.is_displayed()]
            assert len(seen) == 1
            assert seen[0].find_element(By.XPATH, "..").get_attribute("class") == shown


@only(*SAMPLES)
def test_gates_become_a_list_on_a_phone(browser: webdriver.Chrome, page: Path) -> None:
    left = "return document.querySelector('.gates tr:nth-child(2) .%s').getBoundingClientRect().%s"
    show(browser, page, 320)
    assert (
        browser.execute_script(left % ("finding", "top"))
        >= browser.execute_script(left % ("state", "bottom")) - 1
    )
    show(browser, page, 1000)
    assert (
        abs(
            browser.execute_script(left % ("finding", "top"))
            - browser.execute_script(left % ("state", "top"))
        )
        < 3
    )


def test_keyboard_scrolls_and_is_never_trapped(browser: webdriver.Chrome, page: Path) -> None:
    """Nothing on a two-page paper asks for focus, so the keys must move the page itself."""
    show(browser, page, 1000)
    if page.stem not in ANNEXES:
        browser.find_element(By.TAG_NAME, "body").send_keys(Keys.TAB, Keys.TAB)
        assert browser.execute_script("return document.activeElement.tagName") == "BODY"
    browser.find_element(By.TAG_NAME, "body").send_keys(Keys.END)
    end = (
        "return new Promise(done => setTimeout(() => "
        "done(window.scrollY + window.innerHeight >= document.documentElement.scrollHeight - 2), 400))"
    )
    assert browser.execute_script(end)


@only(*ANNEXES)
def test_the_list_of_contents_is_walked_in_order_and_leads_to_its_sections(
    browser: webdriver.Chrome, page: Path
) -> None:
    """Every link takes focus once, in the order of the sections, shows it, and moves the page to its heading."""
    show(browser, page, 1000)
    keys = [part.get_attribute("id") for part in browser.find_elements(By.CSS_SELECTOR, "section.part > h2")]
    walked = []
    for _ in keys:
        browser.switch_to.active_element.send_keys(Keys.TAB)
        walked.append(browser.execute_script("return document.activeElement.getAttribute('href')"))
        assert (
            browser.execute_script("return getComputedStyle(document.activeElement).outlineStyle") == "solid"
        )
    assert walked == [f"#{key}" for key in keys]
    browser.switch_to.active_element.send_keys(Keys.ENTER)
    top = f"return document.getElementById('{keys[-1]}').getBoundingClientRect().top"
    assert -1 <= browser.execute_script(top) <= browser.execute_script("return window.innerHeight")


def test_landmarks_and_headings_are_in_order(browser: webdriver.Chrome, page: Path) -> None:
    show(browser, page, 1000)
    for landmark in ("header", "main"):
        assert len(browser.find_elements(By.TAG_NAME, landmark)) == 1
    levels = [int(part.tag_name[1]) for part in browser.find_elements(By.CSS_SELECTOR, "h1, h2, h3, h4")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))


@pytest.mark.skipif(not AXE and not CI, reason="SURVSTATS_AXE does not name axe.min.js (npm i axe-core)")
@pytest.mark.parametrize("width", [320, 1000])
def test_axe_finds_no_violation(browser: webdriver.Chrome, page: Path, width: int) -> None:
    show(browser, page, width)
    browser.execute_script(Path(AXE).read_text(encoding="utf-8"))
    found = browser.execute_async_script("axe.run().then(arguments[0])")
    assert [
        (fault["id"], [node["html"][:90] for node in fault["nodes"]]) for fault in found["violations"]
    ] == []


@pytest.mark.skipif(
    shutil.which("pdfinfo") is None and not CI, reason="pdfinfo (poppler-utils) is not installed"
)
@only(*SAMPLES, *RECORDS)
def test_printed_page_starts_a_new_sheet_for_page_two(
    browser: webdriver.Chrome, page: Path, tmp_path: Path
) -> None:
    show(browser, page, 1000)
    sheet = browser.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True, "printBackground": True})
    file = tmp_path / "print.pdf"
    file.write_bytes(base64.b64decode(sheet["data"]))
    told = subprocess.run(["pdfinfo", file], capture_output=True, text=True, check=True).stdout
    pages = int(next(line.split()[1] for line in told.splitlines() if line.startswith("Pages")))
    assert pages == 2 or (page.stem in ("long", "records_long") and pages <= 4)
    if pages == 2:
        second = subprocess.run(
            ["pdftotext", "-f", "2", "-l", "2", file, "-"], capture_output=True, text=True, check=True
        )
        assert second.stdout.lstrip().startswith("Who is counted" if page.stem in RECORDS else "How steady")
