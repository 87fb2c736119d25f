"""Does the budget paper say what its form allows and no more, and is it whole in print and on the screen?"""

from __future__ import annotations

import datetime
import math
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
    assert "hold only if training adds" not in said(section(made("lean"), "have-to"))


@pytest.mark.parametrize("value", [True, False])
def test_above_break_evens_of_an_assumed_gain_it_is_said_that_they_are_no_price_of_a_life(made, value):
    even = section(made("would_have_to", value), "have-to").blocks[-1]
    told = plain(even.lead)
    assert f"assumed 3{GAP}points" in told
    assert "the price of a life" in told
    assert ("mishaps a year hold" in told) == value
    assert "assumed" not in plain(section(made("lean", value), "have-to").blocks[-1].lead)


@pytest.mark.parametrize("shape", ["inside", "at_longest", "at_shortest", "at_end", "none", "no_value"])
def test_no_interval_is_best_where_the_records_cannot_tell(demo_results, shape):
    results = with_budget(demo_results["demo_main"], "would_have_to", **{"interval.shape": shape})
    stored = {"interval.best_months": Number(31, "months", "invented")}
    stored["interval.today_regret"] = Number(23400, "money", "invented")
    results = replace(results, numbers={**results.numbers, **stored})
    told = said(section(budget_content(results, date=DATE), "interval"))
    assert "Worth is highest" not in told
    assert "is expected to lose EUR" not in told
    assert ("would be" if shape != "at_end" else "would still rise") in told


def test_what_is_best_is_not_said_where_the_records_show_a_loss(made):
    for form in ("lean", "recommend"):
        harm, gain = (made(form, True, way) for way in ("harm", "benefit"))
        for content, is_said in ((harm, False), (gain, True)):
            assert ("worth most" in said(content.answer)) == is_said
            assert ("the best option by expectation is" in said(section(content, "worth"))) == is_said
        assert "follows from the loss" in said(section(harm, "worth"))


@pytest.mark.parametrize("direction", ["benefit", "harm"])
def test_a_leaning_states_its_condition_at_every_figure_of_lives(made, direction):
    lean, firm = (made(form, True, direction) for form in ("lean", "recommend"))
    heads = [plain(head) for head in lean.opening[0].table.heads]
    assert heads[3:] == [
        "lives against today, if training is why",
        "chance of fewer lives, if training is why",
    ]
    for key in ("buys", "exposure", "worth"):
        assert "f training is why" in said(section(lean, key))
        assert "f training is why" not in said(section(firm, key))
    assert "no ceiling on research" in said(section(lean, "worth"))


def nobody_today(results):
    """The results as they are where today's policy trains nobody: no programme to hold against none."""
    gone = ("budget.years_per_life", "budget.cost_per_life", "interval.today_regret")
    numbers = {name: number for name, number in results.numbers.items() if name not in gone}
    numbers |= {f"policy.0.covered.{at}": Number(0, "share", "study_file") for at in range(3)}
    if "budget.lives_per_year" in numbers:
        numbers["budget.lives_per_year"] = Number(0, "lives", "invented", 0, 0, 0.95)
    codes = {**results.codes, "interval.policy": "1"}
    return replace(results, numbers=numbers, codes=codes)


@pytest.mark.parametrize("form", ["recommend", "lean", "would_have_to", "inputs_missing"])
def test_where_nobody_is_trained_today_nothing_is_said_of_a_programme(demo_results, form):
    results = with_budget(demo_results["demo_main"], form)
    before = said(budget_content(results, date=DATE))
    told = said(budget_content(nobody_today(results), date=DATE))
    untrue = [
        "than no training",
        "against no training",
        "Against no training at all",
        "today's training comes to",
        "Today's interval",
        "those of today's policy throughout",
        "The cut costs nobody",
    ]
    assert [one for one in untrue if one in told] == []
    assert len([one for one in untrue if one in before]) >= {"recommend": 6, "lean": 5}.get(form, 0)
    assert f"{POLICIES[0]}: nobody is trained" in told
    assert "nobody is trained" not in before
    if form != "inputs_missing":
        assert f"The people kept trained are those of {POLICIES[1]} throughout" in told
    assert f"{POLICIES[2]}: crew{GAP}97{GAP}%" in told


def test_the_programme_stands_where_one_option_alone_trains_nobody(demo_results):
    results = with_budget(demo_results["demo_main"], "recommend")
    none = {f"policy.2.covered.{at}": Number(0, "share", "study_file") for at in range(3)}
    told = said(budget_content(replace(results, numbers={**results.numbers, **none}), date=DATE))
    assert f"{POLICIES[2]}: nobody is trained, rafts nearer the doors. Cut for it" in told
    assert "Against no training at all, today's policy comes to" in told


def test_the_intervals_that_were_asked_about_stand_in_the_table(demo_results):
    results = with_budget(demo_results["demo_main"], "recommend")
    table = results.tables["interval"]
    rows = tuple((*row, "yes" if row[0] in (31, 54) else "no") for row in table.rows)
    table = replace(table, columns=(*table.columns, "own"), rows=rows)
    content = budget_content(replace(results, tables={**results.tables, "interval": table}), date=DATE)
    shown = [plain(row[0]) for row in section(content, "interval").blocks[1].table.rows]
    assert shown == ["6", "12", "18", "24", "31", "36", "48", "54", "60"]  # not 42


@pytest.mark.parametrize("most", [False, True])
def test_an_interval_without_end_is_called_no_refresher(demo_results, most):
    results = with_budget(demo_results["demo_main"], "recommend")
    of_worlds = Number(math.inf if most else 36, "months", "draws", 15, math.inf, 0.95)
    numbers = {"interval.best_of_worlds": of_worlds, "interval.flat_to": Number(math.inf, "months", "worth")}
    content = budget_content(replace(results, numbers={**results.numbers, **numbers}), date=DATE)
    told = said(section(content, "interval"))
    if most:
        assert "more than half of them would choose no refresher at all" in told
    else:
        assert f"half of them would choose 36 (15{GAP}to{GAP}no refresher) months or less" in told
    assert f"From 22{GAP}months on it is nearly as high, no refresher at all included" in told
    assert "no limit months" not in told
    assert "inf" not in told.split()
    assert render_html(content)


def test_on_page_one_stands_that_the_effect_was_cut_back_in_many_worlds(demo_results):
    for code, is_said in (("often", True), ("seldom", False)):
        results = with_budget(demo_results["demo_main"], "lean", **{"budget.cut_back": code})
        assert ("budget.capped" in ids(budget_content(results, date=DATE).answer)) == is_said


def test_the_records_own_estimate_is_named_among_the_assumptions(demo_results):
    results = with_budget(demo_results["demo_main"], "lean")
    stored = results.tables["budget_if"]
    rows = tuple((*row, "estimate" if row[1] == 0.09 else "multiple") for row in stored.rows)
    table = replace(stored, columns=(*stored.columns, "points_from"), rows=rows)
    results = replace(results, tables={**results.tables, "budget_if": table})
    options, programme = section(budget_content(results, date=DATE), "have-to").blocks[1:3]
    for column, block in ((1, options), (0, programme)):
        told = [plain(row[column]) for row in block.table.rows][:4]
        assert told == ["0", "3", "6", "9 (the records' own)"]


def test_without_a_sum_nothing_is_said_to_rest_on_anything(made):
    for form, there in (("inputs_missing", False), ("not_drawn", False), ("would_have_to", True)):
        assert ("What rests on what" in said(made(form).opening)) == there


def test_what_is_left_out_names_harm_and_what_is_drawn_apart(made):
    told = said(section(made("would_have_to"), "left-out"))
    assert "Harm is taken to fade" in told
    assert "drawn each for itself" in told


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
