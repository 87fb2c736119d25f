"""All files of a sharing run, taken together: do they say more than the results, and is there a trace of anybody?"""

from __future__ import annotations

import csv
import datetime
import io
import json
import re
import shutil
import subprocess

import pytest
from attack import Attack, groups, told
from thin import read_tables, write_tables

from survstats.groundwork.errors import CallError
from survstats.records.demo import demo_folder
from survstats.report.papers import papers, publish
from survstats.study.plan import read_study
from survstats.study.results import MASKED, StudyResults
from survstats.study.run import run

TODAY = datetime.date(2026, 11, 24)
NOW = datetime.datetime(2026, 11, 24, 12, 34, 56, tzinfo=datetime.UTC)
LIMIT = 5
SIGNS = {"mishap": "MISHAPQX", "occupant": "PERSONQX", "coder": "CODERQX", "operator": "OPERATORQX"}


def marked_study(name, folder):
    """A demo whose mishaps, people, coders and operators have ids that cannot be taken for anything else."""
    shutil.copytree(demo_folder(name), folder)
    mishap, occupant = read_tables(folder)
    for table in (mishap, occupant):
        table["mishap_id"] = SIGNS["mishap"] + table["mishap_id"].str.replace("-", "")
    occupant["occupant_id"] = SIGNS["occupant"] + occupant["occupant_id"]
    for field, sign in (("coder_id", "coder"), ("second_coder_id", "coder"), ("operator_code", "operator")):
        mishap[field] = mishap[field].where(mishap[field].isin(["", "unknown"]), SIGNS[sign] + mishap[field])
    write_tables(folder, (mishap, occupant))
    return read_study(folder)


@pytest.fixture(scope="module", params=["demo_main", "demo_small"])
def sharing(request, tmp_path_factory):
    """The study, its board results and the files of its sharing run, by name."""
    study = marked_study(request.param, tmp_path_factory.mktemp("marked") / "study")
    board = run(study, today=TODAY)
    return study, board, papers(run(study, today=TODAY, audience="sharing"), now=NOW)


def pdf_text(pdf):
    return subprocess.run(
        ["pdftotext", "-layout", "-", "-"], input=pdf, capture_output=True, check=True
    ).stdout.decode()


def pdf_facts(pdf):
    return subprocess.run(["pdfinfo", "-"], input=pdf, capture_output=True, check=True).stdout.decode()


def readable(files):
    """Every file as text, PDFs with their metadata; fonts, which are no text, left out."""
    for name, raw in files.items():
        if name.endswith(".pdf"):
            yield name, pdf_text(raw) + pdf_facts(raw)
            yield name, raw.decode("latin-1")
        else:
            yield name, re.sub(r"base64,[A-Za-z0-9+/=]+", "", raw.decode())


def test_no_mishap_person_coder_or_operator_is_named_in_any_file(sharing):
    _, board, files = sharing
    assert SIGNS["mishap"] in board.to_json()  # so that the search can find something
    for name, text in readable(files):
        for sign in SIGNS.values():
            assert sign not in text, name


def test_no_date_is_finer_than_a_year(sharing):
    _, _, files = sharing
    months = "January|February|March|April|May|June|July|August|September|October|November|December"
    for name, text in readable(files):
        assert not re.search(r"\b(1[89]|20)\d\d-\d\d(-\d\d)?\b", text), name
        assert not re.search(rf"\b({months}) (1[89]|20)\d\d|\d (?:{months})\b", text), name
        assert "12:34" not in text, name
    assert json.loads(files["manifest.json"])["made_at"] == "2026"


def test_no_file_rows_and_no_findings_but_their_rules(sharing):
    _, board, files = sharing
    assert not [name for name in files if "missing.csv" in name or "runs.csv" in name]
    assert json.loads(files["results.json"])["rows"] == {}
    header = files["tables/findings.csv"].decode().splitlines()[0]
    assert header == "rule,severity"
    seen = {str(row[5]) for row in board.tables["findings"].rows if len(str(row[5])) > 12}
    for name, text in readable(files):
        assert not [one for one in seen if one in text], name


def test_all_files_together_do_not_give_a_small_count_away(sharing):
    study, board, files = sharing
    shared = StudyResults.from_json(files["results.json"].decode())
    counts = told(shared)
    assert Attack(groups(study, board.lists["gaps.fields"]), counts).given_away(LIMIT) == {}


def test_csv_files_say_what_the_results_say(sharing):
    _, _, files = sharing
    shared = StudyResults.from_json(files["results.json"].decode())
    for row in csv.DictReader(io.StringIO(files["tables/numbers.csv"].decode())):
        number = shared.numbers[row["id"]]
        if number.method == MASKED:
            assert row["value"] in ("", "nan"), row["id"]
            assert not any(row[part] for part in ("low", "high", "mishaps", "occupants"))
        else:
            assert float(row["value"]) == number.value
    for name, table in shared.tables.items():
        written = list(csv.reader(io.StringIO(files[f"tables/{name}.csv"].decode())))
        assert written[1:] == [["" if cell is None else str(cell) for cell in row] for row in table.rows]
    known = {
        round(100 * part, 6)
        for number in shared.numbers.values()
        for part in (number.value, number.low, number.high)
        if part is not None
    }
    for name in ("figures/axis.csv", "figures/seats.csv"):
        for row in csv.reader(io.StringIO(files[name].decode())):
            for cell in row:
                if re.fullmatch(r"-?\d+(\.\d+)?", cell):
                    assert round(float(cell), 6) in known, (name, cell)


def test_pages_print_one_word_for_every_withheld_number(sharing):
    _, _, files = sharing
    shared = StudyResults.from_json(files["results.json"].decode())
    hidden = {name for name, number in shared.numbers.items() if number.method == MASKED}
    hidden |= {
        f"{name}.{at}.{column}"
        for name, table in shared.tables.items()
        for at, row in enumerate(table.rows)
        for column, cell in zip(table.columns, row, strict=True)
        if cell == MASKED
    }
    printed = {}
    for name in ("brief.html", "records.html"):
        for one, text in re.findall(r'data-number="([^"]+)">([^<]*)<', files[name].decode()):
            printed.setdefault(one, set()).add(text)
    assert hidden & set(printed)
    for one in hidden & set(printed):
        assert printed[one] == {"withheld"}, one


def test_what_is_withheld_stands_in_a_sentence_of_its_own(sharing):
    _, _, files = sharing
    for name in ("brief.html", "records.html"):
        text = re.sub(r"<style.*?</style>|<td.*?</td>", " ", files[name].decode(), flags=re.S)
        text = " ".join(re.sub(r"<[^>]+>", "", text).split())
        assert "withheld" in text
        assert not re.search(
            r"(?i)\b(of|for|in|by|than|and) withheld|withheld (of|or|and the|died|were) ", text
        ), name


def test_no_hash_of_records_plan_or_study_leaves(sharing):
    _, board, files = sharing
    hashes = {value for name, value in board.provenance.items() if re.fullmatch("[0-9a-f]{64}", value)}
    assert len(hashes) >= 5
    shipped = {board.provenance["verdict_thresholds"], board.provenance["choices"]}  # files of the package
    for name, text in readable(files):
        assert not [one for one in hashes - shipped if one in text or f"{one[:4]}\u00a0{one[4:8]}" in text], (
            name
        )
    manifest = json.loads(files["manifest.json"])
    assert manifest["verdict_thresholds"] == board.provenance["verdict_thresholds"]
    assert manifest["version.survstats"]


def test_papers_say_that_they_are_safe_alone(sharing):
    _, _, files = sharing
    for paper in ("brief", "records"):
        text = " ".join(pdf_text(files[f"{paper}.pdf"]).split())
        assert "Nothing in these files gives a withheld count back" in text
        assert "laid beside papers of other plans or filters" in text


def test_print_and_drawings_hold_no_number_that_the_screen_does_not(sharing):
    _, _, files = sharing
    number = re.compile(r"\d+(?:\.\d+)?")
    for paper in ("brief", "records"):
        screen = re.sub(
            r"<style.*?</style>|base64,[A-Za-z0-9+/=]+", "", files[f"{paper}.html"].decode(), flags=re.S
        )
        on_screen = set(number.findall(re.sub(r"<[^>]+>", " ", screen)))
        pages = {"1", "2", "3"}
        assert set(number.findall(pdf_text(files[f"{paper}.pdf"]))) - pages <= on_screen


def test_every_page_says_for_whom_it_is(sharing, demo_papers):
    _, _, files = sharing
    for paper in ("brief", "records"):
        for raw, words in (
            (files, "for sharing: counts of people under 5"),
            (demo_papers["demo_small"], "for the board, not for passing on"),
        ):
            pages = pdf_text(raw[f"{paper}.pdf"]).split("\f")[:-1]
            assert len(pages) >= 2
            assert all(words in " ".join(page.split()) for page in pages)
            assert words in raw[f"{paper}.html"].decode().replace("</span>", "").replace(
                "\u00a0", " "
            ) or words in re.sub(r"<[^>]+>", "", raw[f"{paper}.html"].decode())


def test_results_for_the_board_cannot_be_published_for_sharing(sharing, tmp_path):
    _, board, _ = sharing
    with pytest.raises(CallError) as refused:
        publish(board, tmp_path / "out", audience="sharing")
    assert refused.value.reason == "other_audience"
    assert not (tmp_path / "out").exists()
