"""Does the paper about the records say what is there, leave out what is not, and the same in HTML and in print?"""

from __future__ import annotations

import datetime
import os
import re
import shutil
import subprocess
from collections import ChainMap
from dataclasses import replace

import pytest
from bs4 import BeautifulSoup
from thin import THIN

from survstats.records.demo import DEMO_NAMES
from survstats.report.brief import brief_content
from survstats.report.content import Piece, plain
from survstats.report.publish import count_pages, render_html, render_pdf
from survstats.report.records_content import RecordsContent
from survstats.report.records_paper import records_content
from survstats.study.results import MASKED, Number, StudyResults, Table

DATE = datetime.date(2026, 11, 25)
EVERY = [*DEMO_NAMES, *THIN]
NEVER = re.compile(r"\b(proves?|proven|significant(ly)?|effective(ness|ly)?|saved?)\b", re.IGNORECASE)

needs_pdftotext = pytest.mark.skipif(
    shutil.which("pdftotext") is None and not os.environ.get("CI"), reason="pdftotext is not installed"
)


@pytest.fixture(scope="module")
def results(demo_results, thin_results):
    return ChainMap(demo_results, thin_results)


def content(results: StudyResults) -> RecordsContent:
    return records_content(results, date=DATE)


def changed(results: StudyResults, **counts: int) -> StudyResults:
    """The results with other counts; double underscores stand for points."""
    numbers = {
        name.replace("__", "."): Number(float(value), "count", "counted") for name, value in counts.items()
    }
    return replace(results, numbers={**results.numbers, **numbers})


def accepting(results: StudyResults) -> StudyResults:
    accepted = Table(
        ("rule", "title", "findings", "reason"),
        (("R7", "Wave height and sea state disagree", 3, "hindcast"),),
    )
    by_rule = results.tables["findings_by_rule"]
    line = ("R7", "accepted", "Wave height and sea state disagree", 3, "correct one of the two")
    assert by_rule.columns == ("rule", "severity", "title", "findings", "remedy")
    return replace(
        results,
        tables={
            **results.tables,
            "accepted": accepted,
            "findings_by_rule": Table(by_rule.columns, (line, *by_rule.rows)),
        },
    )


def texts(part):
    if isinstance(part, tuple) and part and isinstance(part[0], Piece):
        yield part
    elif isinstance(part, tuple):
        for inner in part:
            yield from texts(inner)
    elif hasattr(part, "__dataclass_fields__"):
        for field in part.__dataclass_fields__:
            yield from texts(getattr(part, field))


@pytest.mark.parametrize("name", EVERY)
def test_every_study_has_a_whole_paper(results, name):
    c = content(results[name])
    assert re.search(r"\d+.mishaps?", plain(c.read))
    assert plain(c.answer)
    assert plain(c.ledger.rows[0][0]).startswith("aboard")
    assert plain(c.ledger.rows[-1][0]) == "compared"
    assert {plain(block.name) for block in c.blocks} == {"Times of getting out", "How far two coders agree"}
    assert all(plain(text).strip() for text in texts(c))
    assert not NEVER.search(" ".join(plain(text) for text in texts(c)))
    assert (c.pool is None) == (not results[name].numbers["records.runs"].value)
    assert (c.runs is None) == (c.pool is None)
    render_html(c)


def drawn(r: StudyResults, field: str) -> bool:
    """Whether there is somebody of whom the field is not known."""
    pairs = [
        (r.numbers[f"gaps.{field}.known_{fate}"].value, r.numbers[f"gaps.{field}.of_{fate}"].value)
        for fate in ("died", "survived")
        if f"gaps.{field}.known_{fate}" in r.numbers
    ]
    return any(known < everyone for known, everyone in pairs)


@pytest.mark.parametrize("name", EVERY)
def test_fields_known_of_everyone_are_named_instead_of_drawn(results, name):
    r = results[name]
    named = sum(
        not drawn(r, field)
        and any(
            f"gaps.{field}.of_{fate}" in r.numbers and r.numbers[f"gaps.{field}.of_{fate}"].value
            for fate in ("died", "survived")
        )
        for field in r.lists["gaps.fields"]
    )
    told = [plain(item) for item in content(r).known.items if plain(item).startswith("Known of everyone: ")]
    assert len(told) == (named > 0)
    if told:
        assert len(re.split(", | and ", told[0])) == named


@pytest.mark.parametrize("name", EVERY)
def test_bars_and_their_words_are_the_stored_counts(results, name):
    r = results[name]
    c = content(r)
    asked = [field for field in r.lists["gaps.fields"] if drawn(r, field)]
    for row, field in zip(c.gaps.rows if c.gaps else (), asked, strict=True):
        for fate, counts, told in (
            ("died", row.died, row.died_text),
            ("survived", row.survived, row.survived_text),
        ):
            known, everyone = (r.numbers.get(f"gaps.{field}.{part}_{fate}") for part in ("known", "of"))
            if known is None or not everyone.value:
                assert counts is None
                assert told == ()
                continue
            assert counts == (known.value, everyone.value)
            assert [int(n) for n in re.findall(r"\d+", plain(told))] == [known.value, everyone.value]


def test_the_answer_names_who_is_there(results):
    r = results["demo_main"]
    assert plain(content(changed(r, gaps__died=39, gaps__complete_died=12)).answer).startswith(
        "Everything the comparison needs is known for 12 of 39 dead and "
    )
    assert "Nobody died" in plain(content(changed(r, gaps__died=0)).answer)
    assert "Nobody lived" in plain(content(changed(r, gaps__survived=0)).answer)
    none = {name.replace(".", "__"): 0 for name in r.numbers if ".of_" in name}
    nobody = content(changed(r, gaps__survived=0, gaps__died=0, **none))
    assert "Nobody" in plain(nobody.answer)
    assert nobody.gaps is None


def test_the_ledger_leaves_out_steps_at_which_nobody_is(results):
    r = results["demo_main"]
    steps = {str(row[0]): row for row in r.tables["ledger_p1"].rows}
    there = [code for code, row in steps.items() if row[1] or code in ("aboard", "in_population", "analysed")]
    c = content(r)
    assert len(c.ledger.rows) == len(there)
    for row, code in zip(c.ledger.rows, there, strict=True):
        assert [plain(cell) for cell in row[1:]] == ["" if n is None else str(n) for n in steps[code][1:]]


def test_a_filter_is_told_on_both_papers_and_counted_in_the_ledger(results):
    r = results["demo_main"]
    table = r.tables["ledger_p1"]
    rows = (*table.rows[:3], ("other_year", 30, 4, 20, 10), *table.rows[3:])
    r = replace(
        changed(r, cohort__ledger__other_year=30),
        lists={**r.lists, "population.classes": ["A_twin"], "population.roles": ["passenger", "flight_crew"]},
        tables={**r.tables, "ledger_p1": Table(table.columns, rows)},
    )
    r = replace(r, numbers={**r.numbers, "population.first_year": Number(2000.0, "year", "study_file")})
    told = "Only from 2000 on; aircraft class A_twin; passengers and flight crew."
    brief = brief_content(r, date=DATE)
    assert plain(brief.population).endswith(told)
    assert "30 were in other years" in plain(brief.provenance[0]).replace("\u00a0", " ")
    assert plain(content(r).read).endswith(told)
    assert "in other years" in [plain(row[0]) for row in content(r).ledger.rows]


@pytest.mark.parametrize(
    ("state", "told"),
    [
        ("kept", "Of 5 plans in this folder’s log, 3 were tried on these records; this is number 2"),
        ("not_kept", "No run log"),
        ("damaged", "run log is damaged"),
    ],
)
def test_how_many_plans_were_tried_is_told(results, state, told):
    r = changed(results["demo_small"], log__plan_number=2, log__plans_here=3, log__plans=5)
    r = replace(r, codes={**r.codes, "log.state": state})
    for c in (brief_content(r, date=DATE), content(r)):
        assert any(told in plain(line).replace("\u00a0", " ") for line in c.provenance)


def test_a_full_paper_still_has_two_pages(results):
    r = changed(
        results["demo_main"],
        cohort__ledger__no_row=5,
        gaps__no_row=5,
        records__not_blind=3,
        records__blind_unknown=2,
        log__plan_number=2,
        log__plans_here=3,
        log__plans=5,
        log__states=2,
    )
    r = replace(
        accepting(r),
        codes={**r.codes, "unknown.rows": "part", "log.state": "kept"},
        lists={**r.lists, "records.banners": ["R41"]},
    )
    for make in (brief_content, records_content):
        assert count_pages(render_pdf(make(r, date=DATE))) == 2


@needs_pdftotext
@pytest.mark.parametrize("make", [brief_content, records_content])
def test_accepted_rules_stand_on_every_page(results, make):
    told = "Accepted against the rules: Wave height and sea state disagree (3 findings): “hindcast”."
    assert not any("Accepted" in plain(note) for note in make(results["demo_main"], date=DATE).head.notes)
    c = make(accepting(results["demo_main"]), date=DATE)
    assert plain(c.head.notes[-1]).replace("\u00a0", " ") == told
    pages = pages_of(render_pdf(c))
    assert len(pages) == 2
    assert all(squeezed(told) in squeezed(page) for page in pages)
    soup = BeautifulSoup(render_html(c), "html.parser")
    shown = squeezed(soup.find("body").get_text())
    assert squeezed(told) in shown
    assert shown.index(squeezed(told)) < shown.index(squeezed(plain(c.answer)))


def test_an_accepted_rule_shows_its_reason_instead_of_a_remedy(results):
    rows = [[plain(cell) for cell in row] for row in content(accepting(results["demo_main"])).findings.rows]
    assert rows[0] == ["R7", "accepted", "Wave height and sea state disagree", "3", "let stand: “hindcast”"]


def test_statements_are_told_too(results):
    rules = {plain(row[0]) for row in content(results["demo_main"]).findings.rows}
    assert {"R39", "R44", "R45"} <= rules
    nothing = replace(
        results["demo_main"],
        tables={
            **results["demo_main"].tables,
            "findings_by_rule": Table(("rule", "severity", "title", "findings", "remedy"), ()),
        },
    )
    assert "No rule applied" in plain(content(nothing).findings.lead)


def coded(results: StudyResults, **kappa: Number | str) -> StudyResults:
    """The results with a figure of agreement for each field, or the reason why there is none."""
    there = {f"agreement.{field}": found for field, found in kappa.items() if isinstance(found, Number)}
    numbers = {
        name: number for name, number in results.numbers.items() if f"{name}_pairs" not in results.numbers
    }
    absent = {f"agreement.{field}": found for field, found in kappa.items() if isinstance(found, str)}
    return replace(results, numbers={**numbers, **there}, absent={**results.absent, **absent})


def test_agreement_has_its_interval_or_the_codes_that_are_the_same(results):
    r = results["demo_main"]
    high = Number(0.71, "ratio", "weighted_kappa", 0.523, 0.897, 0.95, mishaps=41)
    low = Number(-0.05, "ratio", "weighted_kappa", -0.3, 0.2, 0.95, mishaps=33)
    block = content(coded(r, survivability=high, severity=low)).blocks[-1]
    told = " ".join(plain(text) for text in (block.lead, *block.body)).replace("\u00a0", " ")
    assert "0.71 (95 % interval 0.52 to 0.90, 41 mishaps)" in told
    assert "−0.05 (95 % interval −0.30 to 0.20, 33 mishaps)" in told
    assert "One is full agreement" in told
    counts = {
        f"agreement__{field}_{name}": value
        for field in ("survivability", "severity")
        for name, value in (("same", 11), ("pairs", 12), ("open", 1))
    }
    few = content(coded(changed(r, **counts), survivability="few_pairs", severity="one_code_only")).blocks[-1]
    told = " ".join(plain(text) for text in (few.lead, *few.body)).replace("\u00a0", " ")
    assert told.count("The same code in 11 of 12 mishaps") == 2
    assert "Too few pairs" in told
    assert "one code throughout" in told
    assert "In 1 mishap more a coder wrote “unknown”." in told
    assert "One is full agreement" not in told
    nobody = changed(r, agreement__survivability_pairs=0, agreement__severity_pairs=0)
    assert plain(content(nobody).blocks[-1].lead) == "No mishap was coded by a second person."


def test_people_without_a_row_are_told_on_both_papers(results):
    r = changed(results["demo_main"], gaps__no_row=5, cohort__ledger__no_row=5)
    r = replace(r, codes={**r.codes, "unknown.rows": "part"})
    told = "5 people aboard have no row: nothing is known of them, and no figure includes them."
    assert told in plain(content(r).read).replace("\u00a0", " ")
    brief = brief_content(r, date=DATE)
    unseen = plain(brief.blocks[1].body[0]).replace("\u00a0", " ")
    assert unseen.startswith(told)
    assert "Any status of the 53 unknown with a row puts" in unseen
    assert "with a row" in plain(brief.axis.rows[-1].note)
    one = plain(content(changed(r, gaps__no_row=1)).read).replace("\u00a0", " ")
    assert "1 person aboard has no row" in one
    assert "no row" not in plain(content(results["demo_main"]).read)


def test_a_rule_about_whole_fields_names_them(results):
    r = results["demo_main"]
    names = [f"field_{letter}" for letter in "abcdefghi"]
    old = r.tables["findings"]
    rows = [("R44", "statement", "occupant.csv", None, name, "", "", "") for name in names]
    few, many = (
        {
            plain(row[0]): plain(row[2])
            for row in content(
                replace(r, tables={**r.tables, "findings": Table(old.columns, tuple(some))})
            ).findings.rows
        }["R44"]
        for some in (rows[:2], rows)
    )
    assert few.endswith("one field: field_a and field_b")
    assert many.endswith("field_e, field_f and others")


def test_quartiles_that_were_not_reached_are_words(results):
    r = results["demo_main"]
    table = r.tables["runs"]
    place = {name: at for at, name in enumerate(table.columns)}
    row = list(table.rows[0])
    row[place["time_quartile_1"]], row[place["time_median"]] = 12.0, 21.0
    row[place["time_quartile_3"]] = "not_reached"
    untimed = [None if name.startswith("time_") else cell for name, cell in zip(place, row, strict=True)]
    c = content(replace(r, tables={**r.tables, "runs": Table(table.columns, (tuple(row), tuple(untimed)))}))
    assert [plain(row[-1]) for row in c.runs.rows] == ["21 (12–not reached)", ""]


def test_times_that_are_all_alike_are_told_once(results):
    r = changed(
        results["demo_main"],
        times__given=258,
        times__of_survivors=258,
        times__bands=258,
        times__points=0,
        times__guesses=99,
        times__copied_mishaps=0,
    )
    block = content(r).blocks[0]
    assert plain(block.lead).replace("\u00a0", " ") == "A time stands for 258 people, all of them living."
    assert (
        plain(block.body[0]).replace("\u00a0", " ")
        == "All are bands. 99 are people's guesses of their own time."
    )


def test_what_is_withheld_is_left_out_of_the_drawing_and_named_in_the_words(results):
    r = results["demo_main"]
    drawn_fields = [field for field in r.lists["gaps.fields"] if drawn(r, field)]
    field = drawn_fields[1]
    hidden = Number(float("nan"), "count", MASKED)
    c = content(replace(r, numbers={**r.numbers, f"gaps.{field}.known_died": hidden}))
    assert len(c.gaps.rows) == len(drawn_fields) - 1
    c = content(replace(r, numbers={**r.numbers, "gaps.complete_died": hidden, "runs.runs": hidden}))
    assert "withheld" in plain(c.answer)
    assert c.pool is None


def test_trainer_runs_say_who_they_are(results):
    c = content(results["demo_main"])
    assert "Trained people, in a pool, expecting it" in plain(c.pool.body[0])
    assert len(c.runs.rows) == len(results["demo_main"].tables["runs"].rows)


# ---- the files ------------------------------------------------------------------------------------------------------


def pages_of(pdf: bytes) -> list[str]:
    told = subprocess.run(
        ["pdftotext", "-raw", "-", "-"], input=pdf, capture_output=True, check=True
    ).stdout.decode()
    return [page for page in told.split("\f") if page.strip()]


def squeezed(text: str) -> str:
    return re.sub(r"\s+", "", text)


@needs_pdftotext
@pytest.mark.parametrize("name", DEMO_NAMES)
def test_print_and_screen_say_the_same_and_demos_are_stamped(results, demo_papers, name):
    soup = BeautifulSoup(demo_papers[name]["records.html"], "html.parser")
    for style in soup.find_all("style"):
        style.decompose()
    pages = pages_of(demo_papers[name]["records.pdf"])
    assert len(pages) == 2
    assert all("INVENTED DEMO" in page for page in pages)
    shown, printed = squeezed(soup.get_text()), squeezed(" ".join(pages))
    c = content(results[name])
    for text in texts(replace(c, head=replace(c.head, title=(), page_label=(), edition=()), gaps=None)):
        assert squeezed(plain(text)) in shown, plain(text)
        for word in plain(text).split():
            assert squeezed(word) in printed, plain(text)


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_every_digit_on_the_screen_stands_in_a_marked_number(demo_papers, name):
    soup = BeautifulSoup(demo_papers[name]["records.html"], "html.parser")
    for part in soup.find_all(["style", "title", "desc"]):
        part.decompose()
    loose = [
        str(node)
        for node in soup.find_all(string=re.compile(r"\d"))
        if not node.find_parent(attrs={"data-number": True})
    ]
    assert loose == []


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_the_figure_leaves_as_drawing_and_data(demo_papers, name):
    assert b"<svg" in demo_papers[name]["figures/gaps.svg"]
    assert demo_papers[name]["figures/gaps.csv"].startswith(b"field,died_known_people,died_people,")
