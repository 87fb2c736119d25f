"""Does the worksheet reckon as the package does, at once, and can it be used by hand, by keyboard and by ear?

Run in headless Chromium on the page as it is published. Every figure on it carries its full digits in data attributes,
so that what is compared went the whole way: typed into a field, read, worked out, written.
"""

from __future__ import annotations

import base64
import datetime
import itertools
import os
import shutil
import subprocess
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webelement import WebElement
from worksheet_twin import FORMS, Shown, count, shown, start_of

from survstats.decision.worth import cost_per_life
from survstats.groundwork.resampling import stream
from survstats.report import rounding
from survstats.report.worksheet.page import worksheet_html
from survstats.study.results import StudyResults

AXE = os.environ.get("SURVSTATS_AXE", "")
CI = bool(os.environ.get("CI"))
NO_BROWSER = not (shutil.which("chromium") and shutil.which("chromedriver"))

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(NO_BROWSER and not CI, reason="chromium and chromedriver are not installed"),
]

#: Relative difference allowed between the page and the package.
CLOSE = 1e-6
SETTINGS = 20
SAY_AFTER_S = 0.7

#: Puts figures into fields as a hand would, and reads what the page then shows.
TYPE = """
for (const [key, value] of Object.entries(arguments[0])) {
  const field = document.getElementById('field-' + key);
  if (field.type == 'checkbox') field.checked = value;
  else field.value = value === null ? '' : String(value);
}
document.getElementById('sheet').dispatchEvent(new Event('input', {bubbles: true}));
return Object.fromEntries([...document.querySelectorAll('.outcome [data-result]')].map(place =>
  [place.dataset.result, {...place.dataset}]));
"""
CHANGE_POLICY = """
const list = document.getElementById('start-from');
list.value = arguments[0];
list.dispatchEvent(new Event('change', {bubbles: true}));
"""


OUTSIDE = """
return [...document.querySelectorAll('main *, header *')].filter(part => part.getBoundingClientRect().right >
  document.documentElement.clientWidth + 1).map(part => part.tagName);
"""


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


def harsh(results: StudyResults) -> StudyResults:
    """The same study with false confidence, no longest time, a policy of first courses alone, a group nobody leaves."""
    table = results.tables["worlds"]
    lost = stream(3, "false confidence").uniform(0, 0.3, len(table.rows))
    at = table.columns.index("false_confidence")
    left = table.columns.index("leaving.0")
    rows = [
        tuple(lost[i] if c == at else 0.0 if c == left else v for c, v in enumerate(row))
        for i, row in enumerate(table.rows)
    ]
    numbers = {
        k: v for k, v in results.numbers.items() if k not in ("policy.1.months", "decision.longest_months")
    }
    numbers["input.leavers_a_year.0"] = replace(numbers["input.leavers_a_year.0"], value=0.0)
    tables = {**results.tables, "worlds": replace(table, rows=tuple(rows))}
    return replace(results, numbers=numbers, tables=tables)


@pytest.fixture(
    scope="module",
    params=[
        "demo_main",
        *(pytest.param(name, marks=pytest.mark.slow) for name in ("demo_separation", "harsh")),
    ],
)
def study(request: pytest.FixtureRequest) -> StudyResults:
    demos = request.getfixturevalue("demo_results")
    return harsh(demos["demo_separation"]) if request.param == "harsh" else demos[request.param]


@pytest.fixture(scope="module")
def page(study: StudyResults, tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("sheet") / "worksheet.html"
    html = worksheet_html(study, date=datetime.date(2026, 11, 24))
    assert html is not None
    file.write_text(html, encoding="utf-8")
    return file


def only(*names: str) -> pytest.MarkDecorator:
    return pytest.mark.parametrize("study", names, indirect=True, scope="module")


def show(browser: webdriver.Chrome, page: Path, width: int = 1280, height: int = 800) -> None:
    size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    browser.get_log("browser")
    browser.get(page.as_uri())


def compare(seen: dict[str, dict[str, str]], expected: dict[str, Shown]) -> None:
    """Every figure of the page against the package's, to a millionth of its size."""
    for name, found in seen.items():
        wanted = expected.get(name)
        if wanted is None:
            assert name == "worth"
            assert "value" not in found
            continue
        for part in ("value", "low", "high"):
            number = getattr(wanted, part)
            if name == "chance" and part != "value":
                continue
            assert (part in found) == (number is not None), (name, part, found, wanted)
            if number is not None:
                assert float(found[part]) == pytest.approx(number, rel=CLOSE, abs=1e-9), (name, part)
        if name == "cost_per_life":
            assert found["form"] == wanted.form
        if f"{name}_today" in expected:
            assert float(found["today"]) == pytest.approx(expected[f"{name}_today"].value, rel=CLOSE)


def test_page_shows_what_the_package_works_out_for_each_policy_of_the_study(
    browser: webdriver.Chrome, page: Path, study: StudyResults
) -> None:
    show(browser, page)
    for policy in range(count(study, "policy")):
        browser.execute_script(CHANGE_POLICY, str(policy))
        compare(browser.execute_script(TYPE, {}), shown(study, {}, policy=policy))


def settings(study: StudyResults, policy: int, number: int) -> list[dict[str, float | bool | None]]:
    """Random figures for every field, some left as they are; an interval that the study allows."""
    draws = stream(20261124, "worksheet settings")
    longest = study.numbers.get("decision.longest_months")
    start = start_of(study, policy)
    found = []
    for _ in range(number):
        typed: dict[str, float | bool | None] = {}
        for key, value in start.items():
            if key == "points" and study.codes["budget.form"] != "would_have_to":
                continue
            if key == "months":
                typed[key] = round(float(draws.uniform(1, longest.value if longest else 120)), 1)
            elif key == "no_refresher":
                if longest is None:
                    typed[key] = bool(draws.uniform() < 0.3)
            elif key.startswith("bought"):
                typed[key] = bool(draws.uniform() < 0.5)
            elif key.startswith("covered"):
                typed[key] = int(draws.integers(0, 101))
            elif key == "points":
                typed[key] = round(float(draws.uniform(-20, 40)), 2)
            elif key == "value_of_life":
                typed[key] = round(float(draws.uniform(1e5, 1e7))) if draws.uniform() < 0.7 else None
            elif draws.uniform() < 0.6:
                typed[key] = float(f"{(value or 5.0) * draws.uniform(0.2, 3):.4g}")
        found.append(typed)
    return found


def test_page_agrees_with_the_package_for_random_figures(
    browser: webdriver.Chrome, page: Path, study: StudyResults
) -> None:
    policy = 1
    show(browser, page)
    browser.execute_script(CHANGE_POLICY, str(policy))
    forms = set()
    for typed in settings(study, policy, SETTINGS):
        browser.find_element(By.ID, "back").click()
        browser.execute_script(CHANGE_POLICY, str(policy))
        seen = browser.execute_script(TYPE, typed)
        assert not browser.find_element(By.CSS_SELECTOR, ".outcome .stale").is_displayed(), typed
        compare(seen, shown(study, typed, policy=policy))
        forms.add(seen["cost_per_life"]["form"])
    assert len(forms) >= 2  # the settings reach more than one kind of answer


def test_nobody_kept_trained_closes_the_programme(
    browser: webdriver.Chrome, page: Path, study: StudyResults
) -> None:
    show(browser, page)
    browser.execute_script(CHANGE_POLICY, "1")
    typed = {f"covered.{at}": 0 for at in range(count(study, "group"))}
    seen = browser.execute_script(TYPE, {**typed, "bought.0": False})
    compare(seen, shown(study, {**typed, "bought.0": False}, policy=1))
    assert float(seen["cost"]["value"]) == 0


@only("demo_separation")
def test_money_for_a_life_has_the_limits_of_the_package_wherever_lives_and_money_lie(
    browser: webdriver.Chrome, page: Path
) -> None:
    show(browser, page)
    draws = stream(5, "money and lives")
    seen = set()
    middles = (-3.0, -0.1, 0.0, 0.1, 3.0)
    for money, lives, apart in itertools.product(middles, middles, (0.0, 0.3, 1.0)):
        extra, gained = draws.normal(money, apart, 400), draws.normal(lives, apart, 400)
        expected = cost_per_life(extra, gained)
        found = browser.execute_script(
            "return costPerLife(Float64Array.from(arguments[0]), Float64Array.from(arguments[1]))",
            extra.tolist(),
            gained.tolist(),
        )
        assert found["form"] == FORMS.get(expected.form, expected.form)
        for part in ("value", "low", "high"):
            number = getattr(expected, part)
            assert (found.get(part) is None) == (number is None)
            assert number is None or found[part] == pytest.approx(number, rel=1e-12)
        seen.add((found["form"], found.get("low") is None, found.get("high") is None))
    assert (
        len(seen) == 9
    )  # bought and freed with both limits, one or none, and the three forms without a ratio


@only("demo_separation")
def test_numbers_are_written_as_on_the_papers(browser: webdriver.Chrome, page: Path) -> None:
    show(browser, page)
    size = np.array([1.234567, 5.55555, 9.99951, 3.3])
    values = np.concatenate([size * 10.0**power for power in range(-8, 12)])
    values = [
        0.0,
        1.0,
        100.0,
        2500.0,
        24.7,
        *values,
        *-values,
    ]  # no ties: 24.5 goes to 24 there and to 25 here
    for form in ("figure", "lives", "money"):
        written = browser.execute_script(f"return arguments[0].map(value => FORMS.{form}(value))", values)
        assert written == [rounding.FORMS[form](value) for value in values]
    shares = [0.0, 0.001, 0.00499, 0.0051, 0.123, 0.5, 0.994, 0.996, 0.9999, 1.0]
    for form, given in (("percent", shares), ("months", [1, 24, 24.5])):
        written = browser.execute_script(f"return arguments[0].map(value => FORMS.{form}(value))", given)
        assert written == [rounding.FORMS[form](value) for value in given]


@only("demo_separation")
def test_each_change_is_answered_at_once(
    browser: webdriver.Chrome, page: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Fifty changes each, layout included. The aim is 50 ms; the bound leaves room for a machine at work."""
    show(browser, page)
    clock = """
    const [key, first, step] = arguments;
    const field = document.getElementById('field-' + key);
    return Array.from({length: 50}, (_, turn) => {
      const start = performance.now();
      field.value = String(first + step * turn);
      field.dispatchEvent(new Event('input', {bubbles: true}));
      document.body.getBoundingClientRect();
      return performance.now() - start;
    });
    """
    for key, first, step in (
        ("half_life_months", 12, 0.5),
        ("covered.1", 10, 1),
        ("hours_a_year", 9000, 100),
    ):
        times = browser.execute_script(clock, key, first, step)
        with capsys.disabled():
            print(f"\n{key}: median {np.median(times):.1f} ms, slowest {max(times):.1f} ms", end="")
        assert np.median(times) < 150


WIDTHS = [
    *((360, 800), (1280, 800)),
    *(
        pytest.param(*size, marks=pytest.mark.slow)
        for size in ((320, 640), (899, 700), (900, 700), (1280, 600))
    ),
]


@only("demo_main")
@pytest.mark.parametrize(("width", "height"), WIDTHS)
def test_page_fits_its_window_asks_for_nothing_and_says_nothing_on_the_console(
    browser: webdriver.Chrome, page: Path, width: int, height: int
) -> None:
    show(browser, page, width, height)
    assert browser.get_log("browser") == []
    asked = browser.execute_script("return performance.getEntriesByType('resource').map(e => e.name)")
    assert [name[:30] for name in asked if not name.startswith("data:")] == []
    assert browser.execute_script("return document.documentElement.scrollWidth") <= width
    assert browser.execute_script(OUTSIDE) == []


@only("demo_separation")
@pytest.mark.parametrize("width", [320, 1280])
def test_long_names_and_sources_break_and_push_nothing_out(
    browser: webdriver.Chrome, study: StudyResults, tmp_path: Path, width: int
) -> None:
    word = "Bergungsbereitschaftsdienstleiterversammlung"
    kinds = ("group.", "policy.", "spend.", "input.")
    texts = {name: word * 2 if name.startswith(kinds) else text for name, text in study.texts.items()}
    names = {
        f"{kind}{at}.name": f"{word} {kind}{at}"
        for kind in kinds
        for at in range(9)
        if f"{kind}{at}.name" in texts
    }
    texts |= {**names, "decision.today": names["policy.0.name"], "decision.money": "MONEYMONEYMO"}
    file = tmp_path / "long.html"
    file.write_text(
        worksheet_html(replace(study, texts=texts), date=datetime.date(2026, 11, 24)), encoding="utf-8"
    )
    show(browser, file, width)
    assert browser.get_log("browser") == []
    assert browser.execute_script(OUTSIDE) == []


@only("demo_main")
@pytest.mark.parametrize(("width", "height"), [(320, 256), *WIDTHS])
def test_interval_of_lives_is_always_in_sight(
    browser: webdriver.Chrome, page: Path, width: int, height: int
) -> None:
    show(browser, page, width, height)
    in_sight = """
    return [...document.querySelectorAll('[data-result=lives] .limits')].some(limits => {
      const box = limits.getBoundingClientRect();
      const top = document.elementFromPoint(box.left + box.width / 2, box.top + box.height / 2);
      return box.width > 20 && box.top >= 0 && box.bottom <= innerHeight && limits.contains(top);
    });
    """
    start, end = browser.execute_script(
        "return [document.getElementById('sheet').getBoundingClientRect().top + scrollY, "
        "document.querySelector('.outcome').getBoundingClientRect().bottom + scrollY - innerHeight]"
    )
    for place in np.linspace(start, max(start, end), 9):
        browser.execute_script(f"scrollTo(0, {place})")
        assert browser.execute_script(in_sight), place


@only("demo_main")
@pytest.mark.parametrize(("width", "height"), [(360, 800), (1280, 800)])
def test_every_control_is_reached_by_keyboard_in_order_and_never_hidden(
    browser: webdriver.Chrome, page: Path, width: int, height: int
) -> None:
    show(browser, page, width, height)
    controls = browser.execute_script(
        "return [...document.querySelectorAll('#sheet input, #sheet select, #sheet button')].map(e => e.id)"
    )
    state = """
    const now = document.activeElement, box = now.getBoundingClientRect();
    const seen = document.elementFromPoint(box.left + box.width / 2, box.top + box.height / 2);
    return [now.id, getComputedStyle(now).outlineStyle, seen === now, (now.labels || [1]).length];
    """
    for control in controls:
        browser.switch_to.active_element.send_keys(Keys.TAB)
        assert browser.execute_script(state) == [control, "solid", True, 0 if control == "back" else 1]
    for control in reversed(controls[:-1]):
        browser.switch_to.active_element.send_keys(Keys.SHIFT, Keys.TAB)
        assert browser.execute_script("return document.activeElement.id") == control


def told(browser: webdriver.Chrome, result: str) -> str:
    return str(browser.find_element(By.CSS_SELECTOR, f".outcome [data-result={result}] dd").text)


def field(browser: webdriver.Chrome, key: str) -> WebElement:
    return browser.find_element(By.ID, f"field-{key}")


def retype(browser: webdriver.Chrome, key: str, text: str) -> None:
    field(browser, key).send_keys(Keys.CONTROL, "a")
    field(browser, key).send_keys(Keys.BACKSPACE, text)


@only("demo_main")
def test_a_figure_typed_by_hand_is_marked_and_taken_back(browser: webdriver.Chrome, page: Path) -> None:
    show(browser, page)
    before = told(browser, "cost")
    mark = browser.find_element(By.ID, "changed-refresher_cost")
    assert not mark.is_displayed()
    retype(browser, "refresher_cost", "2820")
    assert mark.text.startswith("Changed by you, from 1")
    assert told(browser, "cost") != before
    browser.find_element(By.ID, "back").send_keys(Keys.ENTER)
    assert not mark.is_displayed()
    assert told(browser, "cost") == before
    assert browser.execute_script("return document.activeElement.id") == "back"


@only("demo_main")
@pytest.mark.parametrize(
    ("key", "text", "sentence"),
    [
        ("people.1", "", "A figure is needed here. Until then 260 is reckoned with."),
        ("people.1", "-3", "Write more than 0. Until then 260 is reckoned with."),
        (
            "people.1",
            "e",
            "Write a number here, such as those of the study. Until then 260 is reckoned with.",
        ),
        ("half_life_months", "0", "Write 0.5 or more. Until then 24 is reckoned with."),
        ("months", "49", "Law or contract allows at most 48 months. Until then 48 is reckoned with."),
        ("deaths_per_course", "1000001", "Write 1 000 000 or less. Until then 1 is reckoned with."),
    ],
)
def test_a_figure_that_cannot_be_used_is_said_beside_it_and_the_old_result_stays(
    browser: webdriver.Chrome, page: Path, key: str, text: str, sentence: str
) -> None:
    show(browser, page)
    before = {result: told(browser, result) for result in ("lives", "cost", "courses")}
    fault = browser.find_element(By.ID, f"wrong-{key}")
    stale = browser.find_element(By.CSS_SELECTOR, ".outcome .stale")
    assert not fault.is_displayed()
    study_figure = field(browser, key).get_attribute("value")
    for turn in (text, study_figure):
        retype(browser, key, turn)
        wrong = turn == text
        assert fault.text.replace("\u00a0", " ") == (sentence if wrong else "")
        assert field(browser, key).get_attribute("aria-invalid") == str(wrong).lower()
        assert f"wrong-{key}" in field(browser, key).get_attribute("aria-describedby").split()
        assert stale.is_displayed() == wrong
        assert {result: told(browser, result) for result in before} == before


@only("demo_main")
def test_a_share_is_slid_by_keys_in_steps_of_a_hundredth(browser: webdriver.Chrome, page: Path) -> None:
    show(browser, page)
    slide, output = field(browser, "covered.1"), browser.find_element(By.ID, "shown-covered.1")
    before = told(browser, "courses")
    assert output.text == "90 %"
    slide.send_keys(Keys.ARROW_LEFT, Keys.ARROW_LEFT)
    assert output.text == slide.get_attribute("aria-valuetext").replace("\u00a0", " ") == "88 %"
    assert told(browser, "courses") != before
    slide.send_keys(Keys.HOME)
    assert output.text == "0 %"


@only("demo_main")
def test_no_value_of_a_life_is_there_until_it_is_given(browser: webdriver.Chrome, page: Path) -> None:
    show(browser, page)
    assert field(browser, "value_of_life").get_attribute("value") == ""
    assert told(browser, "worth") == "Give a value of a life to see this"
    retype(browser, "value_of_life", "3000000")
    assert told(browser, "worth").startswith("EUR ")
    retype(browser, "value_of_life", "")
    assert told(browser, "worth") == "Give a value of a life to see this"


@only("demo_main", "demo_separation")
def test_only_where_the_records_do_not_carry_it_a_gain_is_assumed(
    browser: webdriver.Chrome, page: Path, study: StudyResults
) -> None:
    show(browser, page)
    assumed = study.codes["budget.form"] == "would_have_to"
    assert bool(browser.find_elements(By.ID, "field-points")) == assumed
    notes = [note.text for note in browser.find_elements(By.CSS_SELECTOR, ".outcome dd.told")]
    hang = ("lives", "cost_per_life", "chance", "worth")
    assert (
        sum(note.startswith("Only if the gain you assume is right") for note in notes) == len(hang) * assumed
    )
    assert (
        "Only if the gain you assume is right" in browser.find_element(By.TAG_NAME, "main").text
    ) == assumed
    if assumed:
        assert (
            float(field(browser, "points").get_attribute("value"))
            == 100 * study.numbers["plan.smallest_worthwhile"].value
        )
        retype(browser, "points", "0")
        lives = browser.execute_script("return {...document.querySelector('[data-result=lives]').dataset}")
        assert 0 <= float(lives["value"]) < 0.01  # fewer courses, and nothing but their harm is left


@only("demo_main")
def test_a_burst_of_changes_is_told_once(browser: webdriver.Chrome, page: Path) -> None:
    show(browser, page)
    browser.execute_script(
        "window.heard = []; new MutationObserver(() => heard.push(document.getElementById('spoken').textContent))"
        ".observe(document.getElementById('spoken'), {childList: true})"
    )
    assert browser.find_element(By.ID, "spoken").get_attribute("role") == "status"
    retype(browser, "hours_a_year", "31000")
    assert browser.execute_script("return heard") == []
    time.sleep(2 * SAY_AFTER_S)
    heard = browser.execute_script("return heard")
    assert len(heard) == 1
    shown_lives = (
        told(browser, "lives").replace("(", "limits ").removesuffix(")").replace(" limits", ", limits")
    )
    assert heard[0].startswith(f"Lives a year against today: {shown_lives}.")
    retype(browser, "hours_a_year", "-1")
    time.sleep(2 * SAY_AFTER_S)
    assert browser.execute_script("return heard").pop() == (
        f"A figure cannot be used. What is told here rests on the one before it. {heard[0]}"
    )
    assert browser.find_elements(By.CSS_SELECTOR, "output:not([aria-live=off])") == []


@pytest.mark.skipif(not AXE and not CI, reason="SURVSTATS_AXE does not name axe.min.js (npm i axe-core)")
@only("demo_main")
@pytest.mark.parametrize("width", [320, 1280])
def test_axe_finds_no_violation_before_and_after_a_mistake(
    browser: webdriver.Chrome, page: Path, width: int
) -> None:
    show(browser, page, width)
    browser.execute_script(Path(AXE).read_text(encoding="utf-8"))
    for text in ("2000", "-1"):
        browser.execute_script(TYPE, {"people.0": text})
        found = browser.execute_async_script("axe.run().then(arguments[0])")
        assert [
            (fault["id"], [node["html"][:90] for node in fault["nodes"]]) for fault in found["violations"]
        ] == []


@only("demo_main")
def test_printed_page_holds_the_figures_and_what_follows(
    browser: webdriver.Chrome, page: Path, tmp_path: Path
) -> None:
    show(browser, page)
    retype(browser, "people.0", "4321")
    sheet = browser.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True, "printBackground": True})
    file = tmp_path / "print.pdf"
    file.write_bytes(base64.b64decode(sheet["data"]))
    text = subprocess.run(
        ["pdftotext", "-layout", file, "-"], capture_output=True, text=True, check=True
    ).stdout
    assert "4321" in text
    assert told(browser, "lives").split()[0] in text
    assert text.count("\f") <= 5
