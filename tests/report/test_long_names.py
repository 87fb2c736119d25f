"""Does a budget paper with names of sixty letters and sums of many digits stay whole, in print and on the screen?"""

from __future__ import annotations

import datetime
import os
import re
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import replace

import pytest
from budget_samples import with_budget
from samples import t
from selenium import webdriver

from survstats.report.annex.content import pictures_of
from survstats.report.budget.paper import budget_content
from survstats.report.content import plain
from survstats.report.lettering import break_lines, text_width
from survstats.report.lines_content import LinesFigure
from survstats.report.lines_figure import plan_lines
from survstats.report.publish import render_html, render_pdf
from survstats.report.swings_figure import SwingsFigure, plan_swings

CI = bool(os.environ.get("CI"))
NO_BROWSER = not (shutil.which("chromium") and shutil.which("chromedriver"))
OPTION, GROUP, SPEND = (letter * 60 for letter in "xyz")
HUGE = 1e9
DATE = datetime.date(2026, 11, 24)


@pytest.fixture(scope="module")
def content(demo_results):
    """The paper with an option, a group and a spend of sixty letters, and sums of a thousand million times as much."""
    results = with_budget(demo_results["demo_main"], "recommend")
    texts = {"policy.1.name": OPTION, "group.1.name": GROUP, "spend.0.name": SPEND}
    numbers = {
        name: replace(
            number, **{part: getattr(number, part) and HUGE * getattr(number, part) for part in PARTS}
        )
        if number.unit == "money"
        else number
        for name, number in results.numbers.items()
    }
    tables = dict(results.tables)
    for name, column, was, now in (
        ("whom_first", "group", "front passengers", GROUP),
        ("budget_groups", "name", "front passengers", GROUP),
    ):
        at = tables[name].columns.index(column)
        rows = tuple(
            tuple(now if place == at and cell == was else cell for place, cell in enumerate(row))
            for row in tables[name].rows
        )
        tables[name] = replace(tables[name], rows=rows)
    changed = replace(results, texts={**results.texts, **texts}, numbers=numbers, tables=tables)
    found = budget_content(changed, date=DATE)
    assert found is not None
    return found


PARTS = ("value", "low", "high")


def test_a_word_too_wide_for_its_line_breaks_where_it_may() -> None:
    width, size = 100.0, 8.0
    text = t(f"short [policy.1.name|{OPTION}] end")
    lines = break_lines(text, width, size, anywhere=True)
    assert "".join(plain(line) for line in lines).replace(" ", "") == f"short{OPTION}end"
    assert max(text_width(plain(line), size) for line in lines) <= width
    assert {piece.id for line in lines for piece in line if "x" in piece.text} == {"policy.1.name"}
    assert max(text_width(plain(line), size) for line in break_lines(text, width, size)) > width
    plainly = t("words that all fit into a line of this width")
    assert break_lines(plainly, width, size, anywhere=True) == break_lines(plainly, width, size)


@pytest.mark.parametrize("narrow", [False, True])
def test_no_name_stands_out_of_a_drawing(content, narrow: bool) -> None:
    planned = {LinesFigure: plan_lines, SwingsFigure: plan_swings}
    seen = ""
    for figure in pictures_of(content).values():
        plate = planned[type(figure)](figure, narrow=narrow)
        for line in plate.letters:
            left, _, right, _ = line.box()
            assert left >= -0.1
            assert right <= plate.width + 0.1, plain(line.text)
            seen += plain(line.text)
    assert seen.count("x") >= 3 * 60


@pytest.mark.skipif(shutil.which("pdftotext") is None and not CI, reason="pdftotext is not installed")
def test_in_print_no_word_runs_into_another_or_off_the_page(content, tmp_path) -> None:
    file = tmp_path / "budget.pdf"
    file.write_bytes(render_pdf(content))
    told = subprocess.run(["pdftotext", "-bbox", file, "-"], capture_output=True, text=True, check=True)
    pages = told.stdout.replace("\u200b", "").split("<page ")[1:]  # where a word may break
    assert len(pages) > 8
    found = 0
    for page in pages:
        width = float(re.match(r'width="([\d.]+)"', page)[1])
        boxes = [
            (*map(float, box[:4]), box[4])
            for box in re.findall(
                r'xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)">(.*?)</word>', page
            )
        ]
        assert all(left > 0 and right < width - 40 for left, _, right, _, _ in boxes)
        for at, (left, top, right, bottom, word) in enumerate(boxes):
            if not re.fullmatch(r"[xyz]+[:;]?", word):
                continue
            found += 1
            for other in (*boxes[:at], *boxes[at + 1 :]):
                apart = other[0] > right - 0.5 or other[2] < left + 0.5
                # letters of neighbouring lines may share the height that fonts leave above and below them
                assert apart or min(bottom, other[3]) - max(top, other[1]) < 0.45 * (bottom - top), (
                    word,
                    other,
                )
    assert found > 20


@pytest.fixture(scope="module")
def browser() -> Iterator[webdriver.Chrome]:
    options = webdriver.ChromeOptions()
    for argument in ("--headless=new", "--no-sandbox", "--disable-dev-shm-usage"):
        options.add_argument(argument)
    service = webdriver.ChromeService(shutil.which("chromedriver") or "chromedriver")
    driver = webdriver.Chrome(options=options, service=service)
    yield driver
    driver.quit()


@pytest.mark.slow
@pytest.mark.browser
@pytest.mark.skipif(NO_BROWSER and not CI, reason="chromium and chromedriver are not installed")
def test_on_the_screen_nothing_scrolls_sideways(browser, content, tmp_path) -> None:
    file = tmp_path / "budget.html"
    file.write_text(render_html(content), encoding="utf-8")
    for width in (380, 680, 1200):
        size = {"width": width, "height": 800, "deviceScaleFactor": 1, "mobile": width < 600}
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        browser.get(file.as_uri())
        assert browser.execute_script("return document.documentElement.scrollWidth") <= width
        outside = browser.execute_script(
            "const end = document.querySelector('main').getBoundingClientRect().right + 1;"
            "return [...document.querySelectorAll('main *')].filter(e => e.getBoundingClientRect().right > end)"
            ".map(e => e.tagName + ' ' + e.textContent.slice(0, 40))"
        )
        assert outside == [], width
