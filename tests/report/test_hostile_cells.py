"""Does text that is meant to do harm come out harmless in every file that leaves, or is it refused in a sentence?

The outside judges: Chromium for pages, openpyxl and the csv module for tables, an XML parser for drawings.
"""

from __future__ import annotations

import csv
import io
import json
import os
import re
import shutil
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from xml.dom import minidom

import openpyxl
import pandas as pd
import pytest
from selenium import webdriver
from selenium.common.exceptions import NoAlertPresentException
from selenium.webdriver.common.by import By

from survstats.cli.program import run_command
from survstats.groundwork.cells import acts_as_formula
from survstats.records.demo import demo_folder

NO_BROWSER = not (shutil.which("chromium") and shutil.which("chromedriver"))
HARM = {
    "script": "<script>window.harmed = 1; alert(1)</script>",
    "picture": "<img src=x onerror='window.harmed = 1; alert(1)'>",
    "way out": "</text></svg></style></title>--><svg onload=alert(1)>",
    "entity": "&lt;script&gt;alert(1)&lt;/script&gt; ]]> <!ENTITY x SYSTEM 'file:///etc/passwd'>",
    "address": "javascript:alert(1)",
    "formula": '=HYPERLINK("http://127.0.0.1/?"&A1,"open")',
    "command": "@SUM(1+1)*cmd|' /C calc'!A0",
    "plus": "+1+cmd|' /C calc'!A0",
    "minus": "-2+3+cmd|' /C calc'!A0",
    "quoted": "'=1+1",
    "full width": "\uff1d1+1",
    "zero width": "\u200b=1+1",
    "override": "\u202egpj.exe\u202c \u2067abc\u2069",
    "hebrew": "\u05e9\u05dc\u05d5\u05dd\u200f",
    "path": "../../../../etc/passwd",
    "other path": "C:\\Windows\\system32\\..\\..\\x",
    "template": "{{ 7*7 }} {effect.rd|points} ${x} `id` $(id) %n%s",
    "setting": '#panic("x") $ x $ \\ @x <y>',
}
CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f]")
DIRECTION = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
TITLE = "<script>alert(1)</script>=1+1 {{ 7*7 }}"


def spoil(folder: Path, texts: list[str]) -> None:
    """Write each text into codes and free texts of a row of its own, and into a cell that only takes codes."""
    mishap, occupant = (
        pd.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False)
        for name in ("mishap", "occupant")
    )
    many = [texts[at % len(texts)] for at in range(len(mishap))]
    new = dict(
        zip(
            mishap["mishap_id"],
            [f"{text} {at}"[-len(text) - 3 :] for at, text in enumerate(many)],
            strict=True,
        )
    )
    for table in (mishap, occupant):
        table["mishap_id"] = table["mishap_id"].map(new)
    for name in (
        "operator_code",
        "region_code",
        "report_source",
        "impact_survivability_rationale",
        "coder_id",
    ):
        mishap[name] = many
    for name in ("occupant_id", "exit_used"):
        occupant.loc[range(len(texts)), name] = texts
    occupant.loc[range(len(texts)), "training_evidence"] = "inferred"  # so that the request asks for them
    mishap.to_csv(folder / "mishap.csv", index=False)
    occupant.to_csv(folder / "occupant.csv", index=False)
    plan = (folder / "study.toml").read_text(encoding="utf-8")
    for key in ("title", "place"):
        plan = re.sub(rf"(?m)^{key} = .*$", f"{key} = {json.dumps(TITLE)}", plan)
    (folder / "study.toml").write_text(plan, encoding="utf-8")


def wrong_code(folder: Path, texts: list[str]) -> None:
    occupant = pd.read_csv(folder / "occupant.csv", dtype=str, keep_default_na=False)
    occupant.loc[range(len(texts)), "suit_worn"] = texts
    occupant.to_csv(folder / "occupant.csv", index=False)


@pytest.fixture(scope="module")
def road(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """All files that leave, from one study full of harm: the papers, the findings as both kinds, the form."""
    place = tmp_path_factory.mktemp("hostile")
    study, out = Path(shutil.copytree(demo_folder("demo_small"), place / "study")), place / "out"
    out.mkdir()
    spoil(study, list(HARM.values()))
    assert run_command(["brief", str(study), "--out", str(out / "papers")]) == 0
    assert run_command(["form", str(out / "form.xlsx"), "--study", str(study)]) == 0
    wrong_code(study, list(HARM.values()))
    for kind in ("csv", "xlsx"):
        assert run_command(["check", str(study), "--out", str(out / f"found.{kind}")]) == 1
    return {path.relative_to(out).as_posix(): path for path in out.rglob("*") if path.is_file()}


def kind(road: dict[str, Path], suffix: str) -> list[Path]:
    found = [path for path in road.values() if path.suffix == suffix]
    assert found
    return found


def test_every_kind_of_file_is_looked_at(road: dict[str, Path]) -> None:
    assert {path.suffix for path in road.values()} == {".html", ".pdf", ".json", ".csv", ".svg", ".xlsx"}


def test_csv_files_hold_no_formula_no_control_letter_and_no_long_cell(road: dict[str, Path]) -> None:
    cells = []
    for path in kind(road, ".csv"):
        rows = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8"), newline="")))
        assert len({len(row) for row in rows}) == 1, path.name
        cells += [(path.name, cell) for row in rows for cell in row]
    harmful = [
        cell
        for cell in cells
        if (acts_as_formula(cell[1]) and not cell[1].startswith("'"))
        or CONTROL.search(cell[1])
        or DIRECTION.search(cell[1])
    ]
    assert harmful == []
    assert {f"'{HARM['formula']}", HARM["path"], HARM["script"]} <= {cell for _, cell in cells}


def test_workbooks_hold_no_formula_no_outside_link_and_the_texts_as_texts(road: dict[str, Path]) -> None:
    for path in kind(road, ".xlsx"):
        with zipfile.ZipFile(path) as parts:
            for name in parts.namelist():
                assert "externalLink" not in name
                text = parts.read(name).decode()
                minidom.parseString(text.encode())  # noqa: S318  (our own file)
                assert 'TargetMode="External"' not in text
                assert "<f>" not in text
        cells = [cell for sheet in openpyxl.load_workbook(path) for row in sheet.iter_rows() for cell in row]
        assert not [cell.coordinate for cell in cells if cell.data_type in ("f", "e")]
        texts = [cell.value for cell in cells if isinstance(cell.value, str)]
        assert {HARM["formula"], HARM["command"], HARM["script"], HARM["path"]} <= set(texts)
        assert not [text for text in texts if DIRECTION.search(text) or CONTROL.search(text)]


def test_results_are_json_without_raw_control_letters(road: dict[str, Path]) -> None:
    for path in kind(road, ".json"):
        text = path.read_text(encoding="utf-8")
        json.loads(text)
        assert not CONTROL.search(text)
        assert not DIRECTION.search(text)


def test_drawings_are_plain_xml(road: dict[str, Path]) -> None:
    for path in kind(road, ".svg"):
        drawing = minidom.parseString(path.read_bytes())  # noqa: S318  (our own file)
        for element in drawing.getElementsByTagName("*"):
            assert element.tagName.lower() not in ("script", "foreignobject", "image", "iframe", "a")
            assert not [name for name in element.attributes.keys() if name.lower().startswith("on")]  # noqa: SIM118


def test_pdf_files_act_on_nothing(road: dict[str, Path]) -> None:
    data = b"".join(path.read_bytes() for path in kind(road, ".pdf"))
    for stream in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", data, flags=re.DOTALL):
        try:
            data += zlib.decompress(stream)
        except zlib.error:
            continue
    for word in (b"/JavaScript", b"/JS", b"/Launch", b"/URI", b"/OpenAction", b"/EmbeddedFile", b"/AA"):
        assert not re.search(re.escape(word) + rb"\b", data), word


@pytest.fixture(scope="module")
def browser() -> Iterator[webdriver.Chrome]:
    if NO_BROWSER and not os.environ.get("CI"):
        pytest.skip("chromium and chromedriver are not installed")
    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium") or "chromium"
    for argument in ("--headless=new", "--no-sandbox", "--disable-dev-shm-usage"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    service = webdriver.ChromeService(shutil.which("chromedriver") or "chromedriver")
    driver = webdriver.Chrome(options=options, service=service)
    yield driver
    driver.quit()


@pytest.mark.browser
def test_pages_show_the_texts_and_run_nothing(road: dict[str, Path], browser: webdriver.Chrome) -> None:
    for path in [*kind(road, ".html"), *kind(road, ".svg")]:
        browser.get_log("browser")
        browser.get(path.as_uri())
        with pytest.raises(NoAlertPresentException):
            _ = browser.switch_to.alert.text
        assert browser.execute_script("return window.harmed") is None
        assert browser.execute_script("return document.querySelectorAll('script, img[src=x]').length") == 0
        assert browser.get_log("browser") == []
    browser.get(road["papers/brief.html"].as_uri())
    assert TITLE in browser.find_element(By.TAG_NAME, "body").text


# ---- what cannot be shown is refused ----------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    ["a\x00b", "\x1b[31mred", "x" * 1_000_000, "=" * 1_000_000],
    ids=["nothing", "escape", "long", "long formula"],
)
def test_what_no_cell_can_hold_is_refused_or_comes_out_harmless(
    study_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str
) -> None:
    spoil(study_folder, [text, *(f"code {at}" for at in range(20))])  # one row of each table
    (tmp_path / "out").mkdir()
    words = [
        ["brief", str(study_folder), "--out", str(tmp_path / "out" / "papers")],
        ["check", str(study_folder), "--out", str(tmp_path / "out" / "found.xlsx")],
        ["check", str(study_folder), "--out", str(tmp_path / "out" / "found.csv")],
        ["form", str(tmp_path / "out" / "form.xlsx"), "--study", str(study_folder)],
    ]
    for command in words:
        code = run_command(command)
        told = capsys.readouterr()
        assert code in (0, 1, 2, 3), told.err[-300:]
        assert not CONTROL.search(told.out.replace("\n", "") + told.err.replace("\n", ""))
        assert len(told.err) < 2_000
    for path in (tmp_path / "out").rglob("*.csv"):
        assert max(len(line) for line in path.read_text(encoding="utf-8").splitlines()) < 200_000
    for path in (tmp_path / "out").rglob("*.xlsx"):
        for sheet in openpyxl.load_workbook(path):
            for row in sheet.iter_rows():
                assert not [cell for cell in row if cell.data_type == "f" or len(str(cell.value)) > 32_767]
