"""Is the paper short, plain and honest in every form it can take, and the same in HTML and in print?"""

from __future__ import annotations

import csv
import datetime
import io
import os
import re
import shutil
import subprocess
from dataclasses import replace
from itertools import pairwise

import pytest
from bs4 import BeautifulSoup
from thin import THIN

from survstats.records.demo import DEMO_NAMES
from survstats.report.brief import brief_content
from survstats.report.content import BriefContent, Piece, plain
from survstats.report.papers import csv_text

DATE = datetime.date(2026, 11, 24)
NEVER = re.compile(r"\b(proves?|proven|significant(ly)?|effective(ness|ly)?|saved?)\b", re.IGNORECASE)
EVERY = [*DEMO_NAMES, *THIN]

needs_pdftotext = pytest.mark.skipif(
    shutil.which("pdftotext") is None and not os.environ.get("CI"), reason="pdftotext is not installed"
)


@pytest.fixture(scope="module")
def contents(demo_results, thin_results):
    return {name: brief_content(r, date=DATE) for name, r in {**demo_results, **thin_results}.items()}


def running_text(c: BriefContent) -> list[tuple[Piece, ...]]:
    """The texts of page 1 that are read as sentences."""
    texts = [c.question, c.population, *c.banners, c.answer, c.word.meaning]
    if c.decision:
        texts += [c.decision.told, c.decision.rests, c.decision.money]
    for reading in c.word.readings:
        texts += [reading.question, reading.reason]
    for block in c.blocks:
        texts += [block.lead, *block.body]
    return [*texts, *c.foot]


def first_page(c: BriefContent) -> list[tuple[Piece, ...]]:
    """Everything that stands on page 1 below the running head, the letters of the seats figure included."""
    texts = [*running_text(c), c.word.label, c.word.word, *(block.name for block in c.blocks)]
    texts += [reading.answer for reading in c.word.readings]
    if c.seats:
        for arm in (c.seats.upper, c.seats.lower):
            texts += [arm.label, arm.alive_text, arm.interval_label, arm.low_text, arm.high_text]
        s = c.seats
        texts += [
            s.upper.unit_text,
            s.difference,
            s.difference_interval,
            s.key_full,
            s.key_half,
            s.key_open,
            s.note,
        ]
    return texts


def counted(text: tuple[Piece, ...]) -> list[str]:
    """The words of a text; a number whose thousands stand apart is one."""
    return re.sub(r"(?<=\d)\u00a0(?=\d)", "", plain(text)).split()


@pytest.mark.parametrize("name", EVERY)
def test_page_1_has_at_most_450_words(contents, name):
    assert sum(len(counted(text)) for text in first_page(contents[name])) <= 450


@pytest.mark.parametrize("name", EVERY)
def test_sentences_of_page_1_have_at_most_20_words_on_average(contents, name):
    sentences = [
        part
        for text in running_text(contents[name])
        for part in re.split(r"(?<=[.?!])\s+", plain(text).replace("\u00a0", " "))
        if part
    ]
    lengths = [len(part.split()) for part in sentences]
    assert sum(lengths) / len(lengths) <= 20
    assert max(lengths) <= 40


@pytest.mark.parametrize("name", EVERY)
def test_every_form_of_the_paper_says_its_parts(contents, name):
    c = contents[name]
    assert plain(c.answer)
    assert len(c.blocks) == 4
    assert len(c.gates) == 8
    assert "no safety case" in plain(c.foot[0])
    assert c.word.is_word
    assert plain(c.word.meaning)
    assert len(c.words) == 3
    assert (c.seats is None) == (name in THIN or name == "demo_survivor_only")
    assert all(
        plain(text).strip() for text in first_page(c) if not c.decision or text is not c.decision.rests
    )


@pytest.mark.parametrize("name", THIN)
def test_a_thin_paper_says_what_was_seen_what_is_needed_and_what_to_record(contents, name):
    c = contents[name]
    assert re.search(r"\d", plain(c.blocks[0].body[0]))
    assert "need" in plain(c.assumptions.title)
    assert len(plain(c.assumptions.lead)) > 20
    assert "everyone aboard" in plain(c.blocks[3].lead)


@pytest.mark.parametrize("name", ["everyone_trained", "nobody_trained", "seven_mishaps", "survivors_asked"])
def test_where_people_of_unknown_training_matter_the_bounds_are_drawn(contents, thin_results, name):
    assert ("unknown.rd_low" in thin_results[name].numbers) == (contents[name].axis is not None)


def test_survivors_asked_alone_raises_the_banner(contents):
    for name in ("demo_survivor_only", "survivors_asked"):
        assert "survivors" in plain(contents[name].banners[0])
    assert contents["demo_null"].banners == ()


# ---- the files ------------------------------------------------------------------------------------------------------


def pages_of(pdf: bytes) -> list[str]:
    told = subprocess.run(
        ["pdftotext", "-raw", "-", "-"], input=pdf, capture_output=True, check=True
    ).stdout.decode()
    return [page for page in told.split("\f") if page.strip()]


def squeezed(text: str) -> str:
    return re.sub(r"\s+", "", text)


def soup_of(papers) -> BeautifulSoup:
    soup = BeautifulSoup(papers["brief.html"], "html.parser")
    for style in soup.find_all("style"):
        style.decompose()
    return soup


@needs_pdftotext
@pytest.mark.parametrize("name", DEMO_NAMES)
def test_demo_papers_are_stamped_on_every_page(demo_papers, name):
    pages = pages_of(demo_papers[name]["brief.pdf"])
    assert len(pages) == 2
    assert all("INVENTED DEMO" in page for page in pages)
    html = soup_of(demo_papers[name])
    assert "INVENTED DEMO" in html.find("header").get_text()


def test_real_papers_are_not_stamped(demo_results):
    results = demo_results["demo_small"]
    content = brief_content(replace(results, codes={**results.codes, "study.invented": "no"}), date=DATE)
    assert content.head.stamp == content.head.stamp_note == ()


@needs_pdftotext
@pytest.mark.parametrize("name", DEMO_NAMES)
def test_print_and_screen_say_the_same(demo_papers, contents, name):
    printed = squeezed(" ".join(pages_of(demo_papers[name]["brief.pdf"])))
    shown = squeezed(soup_of(demo_papers[name]).get_text())
    c = contents[name]
    texts = [*running_text(c), c.word.word, *(gate.finding for gate in c.gates), *c.provenance, c.options]
    texts += [c.assumptions.lead, *c.assumptions.items, c.steady.lead, c.headline.lead, c.gates_foot]
    texts += [text for line in c.words for text in (line.word, line.reading)]
    for text in texts:
        assert squeezed(plain(text)) in shown
        assert squeezed(plain(text)) in printed


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_papers_never_use_the_words_they_must_not(demo_papers, name):
    assert not NEVER.search(soup_of(demo_papers[name]).get_text(" "))


@pytest.mark.parametrize("name", EVERY)
def test_no_form_of_the_paper_uses_them(contents, name):
    assert not NEVER.search(" ".join(plain(text) for text in first_page(contents[name])))


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_every_digit_on_the_screen_stands_in_a_marked_number(demo_papers, contents, name):
    soup, c = soup_of(demo_papers[name]), contents[name]
    figures = [figure for figure in (c.seats, c.axis, c.break_even) if figure]
    spoken = " ".join(plain(figure.alt) for figure in figures)
    if c.seats:
        spoken += plain(c.seats.difference) + " " + plain(c.seats.difference_interval)
    ticks: dict[tuple[int, str], list[float]] = {}
    for node in soup.find_all(string=re.compile(r"\d")):
        if node.find_parent(attrs={"data-number": True}):
            continue
        parent, text = node.parent, str(node)
        assert node.find_parent("svg"), text
        if parent.name in ("title", "desc"):  # for screen readers: made of marked pieces only
            assert set(re.findall(r"\d+", text)) <= set(re.findall(r"\d+", spoken))
        else:
            tick = re.fullmatch(r"(−?\d+)(\u00a0%)?", text)
            assert tick, text
            key = (id(node.find_parent("svg")), parent["text-anchor"])
            ticks.setdefault(key, []).append(float(tick[1].replace("−", "-")))
    assert ticks
    for values in ticks.values():  # an axis, not stray numbers: evenly spaced
        step = min(later - earlier for earlier, later in pairwise(sorted(values)))
        assert step > 0
        assert all(value % step == 0 for value in values)


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_marked_numbers_on_the_screen_are_those_of_the_content(demo_papers, contents, name):
    soup = soup_of(demo_papers[name])
    marked = {(tag["data-number"], tag.get_text()) for tag in soup.find_all(attrs={"data-number": True})}

    def pieces(part):
        if isinstance(part, Piece):
            yield part
        elif isinstance(part, tuple):
            for inner in part:
                yield from pieces(inner)
        elif hasattr(part, "__dataclass_fields__"):
            for field in part.__dataclass_fields__:
                yield from pieces(getattr(part, field))

    known = {(piece.id, piece.text) for piece in pieces(contents[name]) if piece.id}
    shown = {(key, text) for key, text in marked if (key, text) not in known}
    # a long number may be parted between lines of a figure; its parts must then be in it
    for key, text in shown:
        assert any(key == other and text.strip() in whole for other, whole in known), (key, text)


@pytest.mark.parametrize("cell", ["=1+1", "+1+1", "-A1", "@SUM(A1)", "\tx", "\r=1"])
def test_text_that_a_spreadsheet_would_take_for_a_formula_is_neutralised(cell):
    text = csv_text(("a", "b"), [(cell, -1.5)])
    assert next(csv.reader(io.StringIO(text[4:], newline=""))) == ["'" + cell.replace("\r", "\n"), "-1.5"]


def test_plain_text_in_tables_is_left_alone():
    assert csv_text(("a",), [("x=1",), (None,), ('a "b", c',)]) == 'a\nx=1\n""\n"a ""b"", c"\n'


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_every_table_is_a_table_without_formulas(demo_papers, name):
    tables = [file for file in demo_papers[name] if file.endswith(".csv")]
    assert len(tables) >= 6
    for file in tables:
        rows = list(csv.reader(io.StringIO(demo_papers[name][file].decode(), newline="")))
        assert len({len(row) for row in rows}) == 1, file
        for row in rows:
            assert not any(cell[:1] in "=+@" and cell for cell in row), file
