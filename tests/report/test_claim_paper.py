"""Does the page on a survivor headline say what the arithmetic carries, on one sheet, and no word more?"""

from __future__ import annotations

import base64
import datetime
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
from test_pages import CI, browser, show
from test_tracing import changed, demand_only, pieces

from survstats.cli.program import run_command
from survstats.report.claim_paper import ClaimContent, claim_content, claim_paper, is_claim_paper
from survstats.report.content import Piece, plain
from survstats.report.figures import draw, figure_data
from survstats.study.headline import weigh_headline

__all__ = ["browser"]

DATE = datetime.date(2026, 11, 24)
NEVER = re.compile(r"\b(proves?|proven|significant(ly)?|effective(ness|ly)?|saved)\b", re.IGNORECASE)
HUNDRED = (100, 40, "80 %")
#: Headlines of every form: alone, with a share aboard, of the dead, as ranges, not whole, and with nobody untrained.
CLAIMS = {
    "alone": (HUNDRED, {}),
    "aboard": (HUNDRED, {"trained_aboard": "70 %"}),
    "dead": (HUNDRED, {"trained_of_dead": "50 %"}),
    "ranges": ((100, 40, "75%-85%"), {"trained_of_dead": "40%-60%"}),
    "not_whole": ((17, 10, "80 %"), {}),
    "all": ((17, 5, "100 %"), {}),
}


def content(name: str = "alone") -> ClaimContent:
    typed, more = CLAIMS[name]
    found = weigh_headline(*typed, **more)
    return claim_content(found.numbers, found.sentences, date=DATE)


def told(part) -> str:
    return "".join(piece.text for piece in pieces(part)).replace("\u00a0", " ")


def test_golden_range_without_the_dead() -> None:
    """Of a hundred aboard forty died and 80 % of the survivors were trained: by hand, -40/88 to 40/52."""
    page = told(content())
    assert "fits any difference from −45 to 77 points:" in page
    assert "None, if 80 % of the dead had been trained too." in page


def test_golden_with_half_of_the_dead_trained() -> None:
    """By hand: 48 of 68 trained and 12 of 32 others lived."""
    assert "differ by 33 points of survival" in told(content("dead"))


def test_golden_with_a_share_of_everyone_aboard() -> None:
    """By hand: 70 of 100 less 48 survivors leaves 22 of 40 dead."""
    page = told(content("aboard"))
    assert "70 % aboard means 55 % of the dead." in page
    assert "differ by 29 points of survival" in page
    assert "moves the share of the dead by 2.5 points" in page


def test_a_share_aboard_that_would_contradict_is_named_beforehand() -> None:
    """By hand: 48 trained survivors, with none to all of 40 dead."""
    page = told(content())
    assert "It has to lie within 48 to 88 %." in page
    assert "contradicts the headline" in page


@pytest.mark.parametrize("name", CLAIMS)
def test_every_form_asks_back_and_cautions(name: str) -> None:
    page = content(name)
    words = told(page)
    assert len(page.letter.questions) == 4
    assert "neither that training works nor that it does not" in words
    assert not NEVER.search(words)
    assert all(plain(block.lead) for block in page.blocks)


def test_the_number_itself_is_asked_for_only_where_nobody_gave_it() -> None:
    assert "Of the 40 dead, how many had been trained" in told(content().letter)
    assert "Of the 40 dead, how many" not in told(content("dead").letter)


def test_a_share_that_no_count_of_people_gives_is_said_to_be_none() -> None:
    assert "No whole number of 7 is exactly 80 %; 6 is nearest" in told(content("not_whole"))
    assert "No whole number" not in told(content())


def test_without_a_group_there_is_no_curve_and_the_page_says_so() -> None:
    page = content("all")
    assert page.figure is None
    assert "No curve is drawn" in told(page)
    assert "Alone, it carries nothing." in told(page)


def test_the_curve_is_that_of_the_headline() -> None:
    for name, known in (("alone", None), ("dead", 0.5), ("aboard", 0.55)):
        figure = content(name).figure
        assert figure.known == (None if known is None else pytest.approx(known))
        _, rows = figure_data(figure)
        by_share = {(row[0], round(row[1], 2)): row[2] for row in rows}
        assert by_share["curve", 0.8] == pytest.approx(0, abs=1e-9)
        assert by_share["curve", 0.0] == pytest.approx(100 * 40 / 52)
        assert by_share["curve", 1.0] == pytest.approx(-100 * 40 / 88)
    assert (content("ranges").figure.unknown_low, content("ranges").figure.unknown_high) == (0.4, 0.6)
    assert "middle of the range" in told(content("ranges").caption)


@pytest.mark.parametrize("name", CLAIMS)
def test_each_number_changes_its_own_words_and_no_other(name: str) -> None:
    typed, more = CLAIMS[name]
    found = weigh_headline(*typed, **more)
    before = words_of(found.numbers, found.sentences)
    names = {piece.id for piece in before if piece.id} & set(found.numbers)
    assert len(names) > 6
    for number in sorted(names):
        other = {**found.numbers, number: changed(found.numbers[number])}
        if number == "claim.trained_of_survivors":  # whether it is drawn at all, and for what, hangs on it
            other[number] = replace(found.numbers[number], value=0.37, low=0.37, high=0.37)
            if found.numbers[number].low != found.numbers[number].high or name == "all":
                continue
        demand_only(before, words_of(other, found.sentences), number)


def words_of(numbers, sentences) -> list[Piece]:
    return list(pieces(claim_content(numbers, sentences, date=DATE)))


def test_text_of_the_caller_is_never_read_as_markup() -> None:
    page = content()
    hostile = replace(page, told=(Piece("<script>alert(1)</script>"),))
    from survstats.report.publish import render_html

    html = render_html(hostile)
    assert "<script" not in html
    assert "&lt;script&gt;" in html
    assert "default-src 'none'" in html
    assert "http://" not in html.replace("http://www.w3.org/2000/svg", "")


@pytest.mark.parametrize("narrow", [False, True])
def test_the_figure_is_drawn_for_every_form(narrow: bool) -> None:
    for name in CLAIMS:
        if content(name).figure is not None:
            assert "<desc" in draw(content(name).figure, narrow=narrow)


# ---- the command -----------------------------------------------------------------------------------------------------

CALL = ["claim", "--aboard", "100", "--died", "40", "--trained-of-survivors", "80%"]


def test_the_command_writes_the_page_and_says_where(tmp_path, capsys) -> None:
    out = tmp_path / "claim.html"
    assert run_command([*CALL, "--out", str(out)]) == 0
    assert "Written to" in capsys.readouterr().out
    assert is_claim_paper(out)
    assert "What does this headline carry?" in out.read_text(encoding="utf-8")


def test_an_earlier_page_is_replaced_and_nothing_else(tmp_path, capsys) -> None:
    out, other = tmp_path / "claim.html", tmp_path / "mine.html"
    assert run_command([*CALL, "--out", str(out)]) == 0
    assert run_command([*CALL, "--trained-aboard", "70%", "--out", str(out)]) == 0
    assert "70" in out.read_text(encoding="utf-8")
    other.write_text("<html>my own page</html>", encoding="utf-8")
    assert run_command([*CALL, "--out", str(other)]) != 0
    assert other.read_text(encoding="utf-8") == "<html>my own page</html>"
    assert "mine.html" in capsys.readouterr().err


@pytest.mark.parametrize(
    "mine",
    [
        '<!-- like the page with content="survstats claim" -->\n<p>my own note</p>',
        '<!doctype html>\n<!-- <meta name="generator" content="survstats claim"> -->\n<p>my own note</p>',
        '<!doctype html>\n<head></head><p>It said <meta name="generator" content="survstats claim">.</p>',
        'A copy: <!doctype html><meta name="generator" content="survstats claim">',
    ],
)
def test_a_note_that_speaks_of_such_a_page_is_left_alone(tmp_path, mine) -> None:
    out = tmp_path / "z.html"
    out.write_text(mine, encoding="utf-8")
    assert not is_claim_paper(out)
    assert run_command([*CALL, "--out", str(out)]) != 0
    assert out.read_text(encoding="utf-8") == mine


def test_a_range_that_runs_backwards_is_told_so(capsys) -> None:
    assert run_command([*CALL[:-1], "85%-75%"]) == 2
    assert "runs backwards" in capsys.readouterr().err
    assert run_command([*CALL[:-1], "75%-105%"]) == 2
    assert "none and all" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["claim.pdf", "claim", "nowhere/claim.html", "."])
def test_a_name_that_cannot_be_written_is_one_clear_sentence(
    tmp_path, monkeypatch, capsys, name: str
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run_command([*CALL, "--out", name]) != 0
    err = capsys.readouterr().err
    assert err.startswith("survstats: ")
    assert err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_figures_that_contradict_each_other_write_nothing(tmp_path, capsys) -> None:
    out = tmp_path / "claim.html"
    assert run_command([*CALL, "--trained-aboard", "95%", "--out", str(out)]) == 2
    assert "48.0 % and 88.0 %" in capsys.readouterr().err
    assert not out.exists()


def test_from_python_it_is_the_same_page() -> None:
    import survstats

    found = survstats.weigh_headline(*HUNDRED)
    page = survstats.claim_paper(found.numbers, found.sentences, today=DATE)
    assert page == claim_paper(found.numbers, found.sentences, today=DATE)
    assert "24 November 2026" in page


# ---- in a browser ----------------------------------------------------------------------------------------------------

NO_BROWSER = not (shutil.which("chromium") and shutil.which("chromedriver"))


@pytest.fixture(scope="module", params=["alone", "ranges", "all"])
def page(request, tmp_path_factory) -> Path:
    typed, more = CLAIMS[request.param]
    found = weigh_headline(*typed, **more)
    file = tmp_path_factory.mktemp("claim") / f"{request.param}.html"
    file.write_text(claim_paper(found.numbers, found.sentences, today=DATE), encoding="utf-8")
    return file


@pytest.mark.browser
@pytest.mark.skipif(NO_BROWSER and not CI, reason="chromium and chromedriver are not installed")
@pytest.mark.parametrize("width", [320, 390, 1000])
def test_the_page_fits_its_window_and_says_nothing_on_the_console(browser, page, width) -> None:
    show(browser, page, width)
    assert browser.get_log("browser") == []
    assert browser.execute_script("return document.documentElement.scrollWidth") <= width
    levels = browser.execute_script("return [...document.querySelectorAll('h1, h2, h3')].map(e => e.tagName)")
    assert levels[0] == "H1"
    assert levels.count("H1") == 1


@pytest.mark.browser
@pytest.mark.skipif(NO_BROWSER and not CI, reason="chromium and chromedriver are not installed")
@pytest.mark.skipif(
    shutil.which("pdfinfo") is None and not CI, reason="pdfinfo (poppler-utils) is not installed"
)
def test_it_prints_on_one_sheet(browser, page, tmp_path) -> None:
    show(browser, page, 1000)
    sheet = browser.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True, "printBackground": True})
    file = tmp_path / "print.pdf"
    file.write_bytes(base64.b64decode(sheet["data"]))
    size = subprocess.run(["pdfinfo", file], capture_output=True, text=True, check=True).stdout
    assert re.search(r"Pages:\s+1\b", size)
    assert "A4" in size


@pytest.mark.browser
@pytest.mark.skipif(NO_BROWSER and not CI, reason="chromium and chromedriver are not installed")
def test_one_click_selects_the_whole_letter(browser, page) -> None:
    show(browser, page, 1000)
    box = browser.find_element("css selector", ".copied")
    box.find_element("css selector", "li").click()
    chosen = browser.execute_script("return window.getSelection().toString()")
    assert chosen.startswith("You report that")
    assert "With counts for each mishap" in chosen
