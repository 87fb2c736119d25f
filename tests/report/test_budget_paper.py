"""Does the budget paper say what its form allows and no more, and is it whole in print and on the screen?"""

from __future__ import annotations

import datetime
import re
from dataclasses import fields, is_dataclass, replace
from functools import cache

import pytest
from budget_samples import OUTCOMES, POLICIES, with_budget
from test_tracing import pieces

from survstats.report.annex.content import AnnexContent, pictures_of
from survstats.report.budget.paper import budget_content
from survstats.report.content import Piece, plain
from survstats.report.figures import figure_data
from survstats.report.folder import MADE_BY
from survstats.report.papers import papers
from survstats.report.publish import count_pages, render_html, render_pdf
from survstats.report.rounding import FORMS, WHOLE_FORMS
from survstats.report.wording import catalogue, guidance
from survstats.study.results import MASKED, Number

DATE = datetime.date(2026, 11, 24)
ALL = ("recommend", "lean", "would_have_to", "inputs_missing", "not_drawn")
NEVER = re.compile(r"\b(proves?|proven|significant(ly)?|effective(ness|ly)?|saved|savings?)\b", re.IGNORECASE)
GAP = "\u00a0"


@pytest.fixture(scope="module")
def made(demo_results):
    @cache
    def make(form: str, value: bool = True, direction: str = "benefit") -> AnnexContent:
        results = with_budget(demo_results["demo_main"], form, value=value)
        codes = {**results.codes, "budget.direction": direction}
        content = budget_content(replace(results, codes=codes), date=DATE)
        assert content is not None
        return content

    return make


def said(part) -> str:
    """All words of a part, one text after the other."""
    if isinstance(part, tuple) and part and all(isinstance(inner, Piece) for inner in part):
        return plain(part)
    if isinstance(part, tuple):
        return " ".join(said(inner) for inner in part)
    if is_dataclass(part):
        return " ".join(said(getattr(part, field.name)) for field in fields(part))
    return ""


def ids(part) -> set[str]:
    return {piece.id for piece in pieces(part) if piece.id}


def section(content: AnnexContent, key: str):
    return next(part for part in content.sections if part.key == key)


@pytest.mark.parametrize("form", ALL)
def test_every_digit_stands_in_a_marked_number(made, form):
    bare = [p.text for p in pieces(made(form)) if p.id is None and re.search(r"\d", p.text)]
    assert bare == []


@pytest.mark.parametrize("form", ALL)
def test_forbidden_words_are_nowhere(made, form):
    for direction in ("benefit", "harm", "no_worthwhile_difference"):
        assert not NEVER.search(said(made(form, True, direction)))


@pytest.mark.parametrize("form", ["would_have_to", "inputs_missing", "not_drawn"])
def test_what_the_verdict_does_not_carry_is_not_told(made, form):
    content = made(form)
    told = ids(content)
    assert not told & set(OUTCOMES)
    assert not [name for name in told if name.startswith(("acceptability.", "evpi."))]
    assert not {"best_option"} & set(pictures_of(content))
    assert "worth most" not in said(content)


def test_what_is_not_carried_is_not_told_even_where_it_is_stored(demo_results):
    results = with_budget(demo_results["demo_main"], "lean")
    codes = {**results.codes, "budget.form": "would_have_to"}
    told = ids(budget_content(replace(results, codes=codes), date=DATE))
    stored = {name for name in OUTCOMES if name.startswith(("budget.", "policy."))} - {"budget.capped"}
    assert not told & stored
    assert not [name for name in told if name.startswith(("acceptability.", "evpi."))]


def test_cause_words_need_the_strongest_word(made):
    for form in ALL:
        assert ("consistent with training improving survival" in said(made(form))) is (form == "recommend")


def test_a_leaning_says_if(made):
    assert "if training is why" in said(made("lean").answer)
    assert "do not settle" in said(made("would_have_to").answer)


@pytest.mark.parametrize("form", ["lean", "recommend"])
def test_harm_and_no_difference_have_texts_of_their_own(made, form):
    harm, small = (said(made(form, True, way)) for way in ("harm", "no_worthwhile_difference"))
    assert "ask why before anything is bought" in harm
    assert "Cutting the course would gain lives" in harm
    assert "improving survival" not in harm + small
    answers = {said(made(form, True, way).answer) for way in ("benefit", "harm", "no_worthwhile_difference")}
    assert len(answers) == 3


@pytest.mark.parametrize("form", ALL)
def test_page_one_names_every_option_and_what_it_does(made, form):
    opening = said(made(form).opening)
    for name in POLICIES:
        assert opening.count(name) >= (1 if form in ("inputs_missing", "not_drawn") else 2)
    assert f"every 48{GAP}months" in opening
    assert f"front passengers{GAP}93{GAP}%" in opening
    assert "rafts nearer the doors" in opening


def test_today_stands_against_nothing(made):
    rows = made("recommend").opening[0].table.rows
    assert [bool(cell) for cell in rows[0]] == [True, True, False, False, False]
    assert all(all(row) for row in rows[1:])


def test_the_interval_stands_beside_each_estimate(made):
    rows = made("recommend").opening[0].table.rows
    for row in rows:
        for cell in row[1:4]:
            assert not cell or re.fullmatch(r".+ \(.+\u00a0to\u00a0.+\)", plain(cell))


def test_fewer_lives_keep_their_minus(made):
    assert (
        plain(made("recommend").opening[0].table.rows[1][3]) == f"\u22120.033 (\u22120.10{GAP}to{GAP}0.0054)"
    )


def test_where_no_one_may_be_saved_there_is_no_upper_limit(made):
    told = said(section(made("recommend"), "buys"))
    assert f"9.54{GAP}million (3.12{GAP}million{GAP}to{GAP}none: it may save no one)" in told


def test_missing_figures_are_named_with_where_they_are_found(made):
    content = made("inputs_missing")
    assert plain(content.answer).endswith("travel to a course and half-life of the skill.")
    table = section(content, "inputs").blocks[0].table
    assert [plain(row[0]) for row in table.rows] == ["travel to a course", "half-life of the skill"]
    assert all(plain(row[2]) for row in table.rows)
    assert [part.key for part in content.sections] == ["saying", "inputs", "cautions"]


def test_every_given_figure_has_quality_and_source(made):
    table = section(made("recommend"), "inputs").blocks[0].table
    assert len(table.rows) == 21
    for row in table.rows:
        assert all(plain(cell) for cell in row)
    assert {plain(row[4]) for row in table.rows} == {"measured", "assumed", "an expert's guess", "invented"}
    deaths = next(row for row in table.rows if plain(row[0]) == "deaths in a course")
    assert plain(deaths[1]) == f"1.9 (0.40{GAP}to{GAP}8.3)"
    assert plain(deaths[2]) == "in a million courses"


def test_published_values_are_offered_and_applied_nowhere(made):
    content = made("recommend", value=False)
    shown = [name for name in ids(content) if name.startswith("guidance.")]
    assert len(shown) == len(guidance()) == 24
    assert guidance()["guidance.2023.value"] == "13.2"
    assert not {"policy.0.chance_best", "budget.evpi", "input.value_of_life"} & ids(content)
    assert "hangs on what a life is worth to those who decide" in said(content.answer)


def test_what_is_assumed_is_called_so(made):
    content = made("would_have_to")
    for key, points in (("interval", "3.1"), ("whom", "3.2"), ("matrix", "3.3")):
        assert f"assumed {points}{GAP}points" in said(section(content, key))
    told = said(section(content, "have-to"))
    assert "Each row is an assumption" in told
    assert f"assumed 3{GAP}points" in told  # what the break-evens hold for
    assert "hold for an assumed" not in said(section(made("lean"), "have-to"))


@pytest.mark.parametrize("form", ALL)
def test_list_of_what_not_to_say_gives_each_reason(made, form):
    rows = section(made(form), "saying").blocks[1].table.rows
    assert len(rows) >= 4
    assert all(plain(say).startswith("“") and plain(why).endswith(".") for say, why in rows)


def test_no_decision_no_paper(demo_results):
    results = with_budget(demo_results["demo_main"], "lean")
    for codes in ({"budget.form": "not_asked"}, {"budget.form": MASKED}):
        assert budget_content(replace(results, codes={**results.codes, **codes}), date=DATE) is None
    without = {name: code for name, code in results.codes.items() if name != "budget.form"}
    assert budget_content(replace(results, codes=without), date=DATE) is None


@pytest.mark.slow
def test_the_folder_holds_the_budget_paper_where_it_was_asked_for(demo_results):
    now = datetime.datetime(2026, 11, 24, tzinfo=datetime.UTC)
    files = papers(demo_results["demo_separation"], now=now)
    assert {"budget.html", "budget.pdf", "figures/swings.svg", "figures/swings.csv"} <= files.keys()
    assert MADE_BY.encode() in files["budget.html"]


@pytest.mark.parametrize("form", ["recommend", "inputs_missing"])
def test_print_and_screen_are_whole(made, form):
    content = made(form)
    html = render_html(content)
    assert "<script" not in html
    assert html.count("<h1>") == 1
    assert all(f'id="{part.key}"' in html for part in content.sections)
    fewest, most = {"recommend": (8, 13), "inputs_missing": (2, 4)}[form]
    assert fewest <= count_pages(render_pdf(content)) <= most


def test_text_of_the_study_is_never_read_as_markup(demo_results):
    results = with_budget(demo_results["demo_main"], "lean")
    texts = {**results.texts, "policy.1.name": "<b>x</b> </script>", "decision.question": "#eval(1) *a* <i>"}
    content = budget_content(replace(results, texts=texts), date=DATE)
    assert "&lt;b&gt;x&lt;/b&gt; &lt;/script&gt;" in render_html(content)
    assert "#eval(1) *a* &lt;i&gt;" in render_html(content)
    assert count_pages(render_pdf(content)) > 3


def test_every_figure_says_what_it_shows_and_has_its_data(made):
    pictures = pictures_of(made("recommend"))
    assert set(pictures) == {"would_have_to", "interval", "best_option", "swings"}
    for figure in pictures.values():
        assert len(plain(figure.alt)) > 60
        header, rows = figure_data(figure)
        assert rows
        assert all(len(row) == len(header) for row in rows)


def sentences(part: dict[str, object]):
    for value in part.values():
        if isinstance(value, dict):
            yield from sentences(value)
        else:
            yield from re.split(r"(?<=[.:;?])\s+", re.sub(r"\{[^}]*\}", "x", str(value)))


def test_sentences_are_short():
    told = [one for one in sentences(catalogue("en")["budget"]) if one.endswith((".", "?"))]
    lengths = [len(one.split()) for one in told]
    assert len(told) > 150
    assert sum(lengths) / len(lengths) <= 20
    assert max(lengths) <= 40


@pytest.mark.parametrize(
    ("form", "value", "shown"),
    [
        ("money", 345_100, f"345{GAP}000"),
        ("money", 999_600, f"1{GAP}million"),
        ("money", -1_234_567, f"\u22121.23{GAP}million"),
        ("money", 0.2, "0"),
        ("lives", 0.0312, "0.031"),
        ("lives", -0.0996, "\u22120.10"),
        ("lives", 0.0, "0"),
        ("lives", 12.4, "12"),
        ("years", 33.4, f"33{GAP}years"),
        ("years", 1.02, f"1{GAP}year"),
        ("figure", 200_000, f"200{GAP}000"),
        ("figure", 0.15, "0.15"),
        ("in_million", 0.0000019, "1.9"),
    ],
)
def test_rounding_of_money_lives_and_years(form, value, shown):
    assert FORMS[form](value) == shown


def test_the_limits_of_money_share_their_word():
    number = Number(4.89e6, "money", "invented", 1.68e6, 37.5e6, 0.95)
    assert (
        WHOLE_FORMS["money_with_interval"](number) == f"4.89{GAP}million (1.68{GAP}to{GAP}37.5{GAP}million)"
    )
    number = Number(1.13e6, "money", "invented", 941_000, 1.36e6, 0.95)
    assert (
        WHOLE_FORMS["money_with_interval"](number)
        == f"1.13{GAP}million (941{GAP}000{GAP}to{GAP}1.36{GAP}million)"
    )
