"""Is the annex whole for every study, does it say why a figure is not there, and do print and screen say the same?"""

from __future__ import annotations

import ast
import datetime
import os
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
from annex_samples import with_annex
from test_tracing import pieces

from survstats.report.annex.content import AnnexContent, pictures_of
from survstats.report.annex.methods import METHODS, REPORTING
from survstats.report.annex.paper import annex_content
from survstats.report.content import plain
from survstats.report.figures import figure_data
from survstats.report.publish import count_pages, render_html, render_pdf
from survstats.report.wording import catalogue, sources

DATE = datetime.date(2026, 11, 24)
PACKAGE = Path(__file__).parents[2] / "survstats"
NEVER = re.compile(r"\b(proves?|proven|significant(ly)?|effective(ness|ly)?|saved)\b", re.IGNORECASE)
SECTIONS = [
    "question",
    "flow",
    "missing",
    "crude",
    "estimate",
    "within",
    "between",
    "recency",
    "levels",
    "getting-out",
    "cabin",
    "runs",
    "imputation",
    "fit",
    "one-out",
    "doubts",
    "word",
    "graph",
    "methods",
    "provenance",
    "cautions",
    "reporting",
]


@pytest.fixture(scope="module")
def contents(demo_results, thin_results) -> dict[str, AnnexContent]:
    """The annex of every demo, of every thin study, and of one that has everything."""
    every = {**demo_results, **thin_results, "everything": with_annex(demo_results["demo_main"])}
    return {name: annex_content(results, date=DATE) for name, results in every.items()}


def words(content: AnnexContent) -> str:
    return " ".join(piece.text for piece in pieces(content))


def test_every_study_has_every_section_and_none_is_empty(contents):
    for name, content in contents.items():
        assert [section.key for section in content.sections] == SECTIONS, name
        for section in content.sections:
            told = [block for block in section.blocks if block.lead or block.items or block.table]
            assert told, f"{name}: {section.key}"
            assert all(
                len(row) == len(block.table.heads)
                for block in told
                if block.table
                for row in block.table.rows
            )


def test_every_item_of_the_reporting_list_leads_to_a_section(contents):
    assert len(REPORTING) == 22
    for content in contents.values():
        keys = [section.key for section in content.sections]
        table = content.sections[-1].blocks[0].table
        assert len(table.rows) == 22
        for (_, answering), row in zip(REPORTING, table.rows, strict=True):
            assert answering
            for key in answering:
                at = keys.index(key)
                assert f"{at + 1} {plain(content.sections[at].title)}" in plain(row[2])


def test_no_form_of_the_annex_uses_the_words_it_must_not(contents):
    for content in contents.values():
        assert not NEVER.search(words(content))


def test_every_table_is_introduced_by_how_to_read_it(contents):
    for content in contents.values():
        for section in content.sections:
            assert all(plain(block.lead) for block in section.blocks if block.table or block.picture)


def test_funding_that_is_not_stated_is_said_to_be(demo_results):
    results = demo_results["demo_main"]
    assert "not stated" in words(annex_content(results, date=DATE))
    paid = replace(results, texts={**results.texts, "study.funding": "the sea rescue fund"})
    told = words(annex_content(paid, date=DATE))
    assert "the sea rescue fund" in told
    assert "not stated" not in told


def test_every_reason_that_the_package_can_give_has_a_sentence():
    """The codes of `NotEstimable` in the source, and those that a study stores as absent."""
    codes = set()
    for path in PACKAGE.rglob("*.py"):
        for part in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(part, ast.Call) and getattr(part.func, "id", "") == "NotEstimable":
                codes |= (
                    {part.args[0].value} if part.args and isinstance(part.args[0], ast.Constant) else set()
                )
    assert len(codes) > 12
    assert codes - set(catalogue("en")["reason"]) == set()


def test_every_stored_reason_has_a_sentence(demo_results, thin_results):
    stored = {
        reason
        for results in (*demo_results.values(), *thin_results.values())
        for reason in results.absent.values()
    }
    assert stored - set(catalogue("en")["reason"]) == set()


def test_a_number_that_is_not_there_is_explained_by_its_reason(demo_results):
    results = demo_results["demo_main"]
    numbers = {name: number for name, number in results.numbers.items() if not name.startswith("random.")}
    absent = {**results.absent, "random.log_odds": "separated"}
    tables = {name: table for name, table in results.tables.items() if name != "estimators"}
    for name in ("effect.rd_random_intercept", "effect.rd_population_average"):
        numbers.pop(name, None)
    content = annex_content(replace(results, numbers=numbers, absent=absent, tables=tables), date=DATE)
    section = next(section for section in content.sections if section.key == "between")
    assert plain(section.blocks[0].lead) == catalogue("en")["reason"]["separated"]


def test_every_method_has_words_and_a_source():
    for name in METHODS:
        assert {name, f"{name}_how"} <= set(catalogue("en")["annex"]["method"])
        assert re.search(r"doi:10\.\d{4,}/|\d{4}, ", sources()[f"source.{name}"])


def test_levels_are_never_set_against_each_other_by_whether_their_intervals_hold_nought(contents):
    told = words(contents["everything"])
    assert "in one group" in told  # the sentence that forbids it
    assert not re.search(r"only in (the|one)|but not in", told)


def test_within_mishaps_stands_in_a_section_of_its_own_and_is_given_no_points(contents):
    section = next(section for section in contents["everything"].sections if section.key == "within")
    told = " ".join(piece.text for piece in pieces(section.blocks))
    assert "odds of living" in told
    assert "points" not in told


def test_screen_says_what_the_content_says(contents):
    for name in ("everything", "demo_survivor_only"):
        page = render_html(contents[name])
        shown = re.sub(r"<svg.*?</svg>|<style>.*?</style>|<head>.*?</head>", " ", page, flags=re.DOTALL)
        shown = re.sub(r"\s+", "", re.sub(r"<[^>]+>", "", shown)).replace("&#39;", "'").replace("&lt;", "<")
        for section in contents[name].sections:
            for block in section.blocks:
                for text in (section.title, section.lead, block.title, block.lead, *block.items):
                    assert re.sub(r"\s+", "", plain(text)) in shown.replace("&#34;", '"')


@pytest.mark.parametrize("name", ["everything", "demo_survivor_only"])
def test_pdf_is_tagged_and_as_long_as_it_needs(contents, name):
    pdf = render_pdf(contents[name])
    assert count_pages(pdf) > 3
    assert b"pdfuaid" in pdf


@pytest.mark.skipif(
    shutil.which("pdftotext") is None and not os.environ.get("CI"),
    reason="pdftotext (poppler-utils) is not installed",
)
@pytest.mark.parametrize("name", ["everything", "demo_survivor_only"])
def test_pdf_says_the_same(contents, name, tmp_path):
    file = tmp_path / "annex.pdf"
    file.write_bytes(render_pdf(contents[name]))
    text = subprocess.run(
        ["pdftotext", "-layout", file, "-"], capture_output=True, text=True, check=True
    ).stdout
    squeezed = re.sub(r"\s+", "", text)
    for at, section in enumerate(contents[name].sections, 1):
        assert re.sub(r"\s+", "", f"{at}{plain(section.title)}") in squeezed
        for block in section.blocks:
            for text in block.items:
                for sentence in re.split(r"(?<=[.:]) ", plain(text)):
                    whole = re.sub(r"\s+", "", sentence)
                    assert whole in squeezed or len(whole) > 70, whole  # a long one may meet a page's foot


def test_every_figure_has_its_data(contents):
    figures = pictures_of(contents["everything"])
    assert set(figures) >= {
        *("estimators", "fading", "calibration", "chains", "causes"),
        *("choices", "tipping", "one_out"),
    }
    for figure in figures.values():
        columns, rows = figure_data(figure)
        assert rows
        assert all(len(row) == len(columns) for row in rows)
