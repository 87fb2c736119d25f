"""Does page 1 open with the decision of the study file, and say of it what the word allows and no more?"""

from __future__ import annotations

import datetime
import re
from dataclasses import replace

import pytest
from decision_samples import FORMS, NAMES, with_decision, without_decision
from test_brief import NEVER, counted, first_page, running_text

from survstats.records.demo import DEMO_NAMES
from survstats.report.brief import brief_content
from survstats.report.content import plain
from survstats.report.publish import count_pages, render_html, render_pdf
from survstats.study.plan import read_study
from survstats.study.run import run

DATE = datetime.date(2026, 11, 24)
STUDIES = ("demo_main", "demo_separation", "demo_harm")
CARRIED = {"lean", "recommend"}


def content(results):
    return brief_content(results, date=DATE)


def lead(results) -> str:
    """All that page 1 says of the decision, on one line."""
    found = content(results).decision
    return " ".join(plain(text) for text in (found.told, found.rests, found.money)).replace("\u00a0", " ")


def forms(results):
    """The results told in every form, with and without a value of a life where it makes a difference."""
    for form in FORMS:
        yield form, with_decision(results, form)
    for best in range(len(NAMES)):
        yield f"lean, {best} best", with_decision(results, "lean", best=best)
    for direction in ("harm", "no_worthwhile_difference"):
        yield direction, with_decision(results, "lean", direction=direction)


@pytest.fixture(scope="module", params=STUDIES)
def study(demo_results, request):
    return demo_results[request.param]


def test_its_question_stands_on_top_and_nothing_of_it_where_none_is_named(study):
    for form, results in forms(study):
        assert plain(content(results).question).startswith("Should passengers be called back"), form
    bare = content(without_decision(study))
    assert bare.decision is None
    assert bare.options == ()
    assert plain(bare.question).startswith("Did people trained")


def test_that_no_money_is_asked_for_is_said_under_the_caution(study):
    foot = [plain(text) for text in content(without_decision(study)).foot]
    assert len(foot) == 2
    assert "names no decision" in foot[1]
    assert len(content(with_decision(study, "lean")).foot) == 1


def test_a_word_that_is_not_earned_carries_no_lives_no_cost_per_life_and_no_best_option(study):
    for form, results in forms(study):
        said = lead(results)
        carried = results.codes["budget.form"] in CARRIED
        assert ("−0.0" in said) == carried, form
        assert ("best" in said) <= carried, form
        if form == "would_have_to":
            assert "cannot choose" in said
            assert "what it does to lives these records cannot say" in said
            assert "no cost" not in said


def test_figures_of_lives_left_in_the_results_are_not_told_without_a_word(study):
    whole = with_decision(study, "lean", best=1)
    codes = {**whole.codes, "budget.form": "would_have_to"}
    said = lead(replace(whole, codes=codes))
    assert not re.search(r"\d\)? lives|best|5 million|−0\.03", said)
    assert re.search(r"\d\)? lives", lead(whole))


def test_a_word_that_merely_leans_carries_ranking_and_lives_only_if_training_is_why(study):
    leans, carries = (lead(with_decision(study, form, best=1)) for form in ("lean", "recommend"))
    assert "If training is why, at EUR 5 million a life, every fourth year is best" in leans
    assert "lives, if training is why." in leans
    assert "if training is why" not in carries.lower()


@pytest.mark.parametrize("name", [name for name in DEMO_NAMES if name != "demo_survivor_only"])
def test_passengers_alone_stand_beside_all_aboard_on_page_1_with_a_decision_and_without(demo_results, name):
    for results in (demo_results[name], without_decision(demo_results[name])):
        saw = content(results).blocks[0].body[0]
        told = {piece.id for piece in saw}
        assert {"effect.rd_all_aboard", "effect.rd_passengers"} <= told


def test_what_stands_beside_the_main_estimate_is_one_sentence_however_much_of_it_there_is(study):
    def said(*absent):
        numbers = {name: number for name, number in study.numbers.items() if name not in absent}
        return plain(content(replace(study, numbers=numbers)).blocks[0].body[0])

    assert re.search(r"All aboard, the difference is \S+ \(.*?\); passengers alone, \S+ \(.*?\)\.", said())
    assert "; passengers alone" not in said("effect.rd_passengers")
    assert re.search(r"Passengers alone, the difference is .*?\)\.", said("effect.rd_all_aboard"))
    assert "the difference is" not in said("effect.rd_all_aboard", "effect.rd_passengers", "crude.rd")


def test_the_interval_stands_beside_every_figure_of_a_policy(study):
    said = lead(with_decision(study, "lean", best=1))
    assert "EUR 412 000 (327 000 to 531 000) less" in said
    assert "−0.031 (−0.12 to 0.011) lives" in said


def test_a_dearer_policy_is_said_to_cost_more(study):
    results = with_decision(study, "lean", best=1)
    dearer = replace(results.numbers["policy.1.extra_cost_a_year"], value=2.5e4, low=2e4, high=3e4)
    said = lead(replace(results, numbers={**results.numbers, "policy.1.extra_cost_a_year": dearer}))
    assert "EUR 25 000 (20 000 to 30 000) more" in said


def test_the_best_policy_is_set_against_todays_or_else_the_first_other(study):
    for best, shown in ((0, 1), (1, 1), (2, 2)):
        said = lead(with_decision(study, "lean", best=best))
        assert f"{NAMES[best]} is best on average" in said
        assert f"a year: {NAMES[shown]}," in said


def test_what_rests_on_what_is_said_and_that_nothing_rests_on_runs(study):
    said = lead(with_decision(study, "would_have_to"))
    assert "From mishap records: people at risk" in said
    assert "trainer runs: nothing" in said
    assert "assumed: ditchings" in said


@pytest.mark.parametrize(
    ("qualities", "opening"),
    [
        (("measured",), "given:"),
        (("measured", "expert"), "given, partly assumed:"),
        (("expert",), "assumed:"),
    ],
)
def test_only_what_was_measured_is_called_given(study, qualities, opening):
    results = with_decision(study, "lean")
    codes = {name: code for name, code in results.codes.items() if not name.startswith("input.")}
    codes |= {f"input.some_{at}.quality": code for at, code in enumerate(qualities)}
    assert f"nothing; {opening} ditchings" in lead(replace(results, codes=codes))


def test_missing_figures_are_named_where_they_are_few(study):
    results = with_decision(study, "inputs_missing")
    assert "missing in the study file: flight hours of a year" in lead(results)
    many = ["hours_a_year", "mishaps", "injury_cost"]
    assert "several figures" in lead(replace(results, lists={**results.lists, "budget.missing": many}))


def test_the_harm_that_was_seen_comes_before_any_money(study):
    said = lead(with_decision(study, "lean", direction="harm", best=0))
    assert said.startswith("The trained fared worse.")
    assert "best" not in said


def test_page_1_stays_short_and_plain_in_every_form(demo_results):
    for name, carried in (("demo_main", False), ("demo_separation", True), ("demo_harm", False)):
        for form, results in forms(demo_results[name]):
            if (results.codes["budget.form"] in CARRIED) > carried:
                continue
            told = content(results)
            assert sum(len(counted(text)) for text in first_page(told)) <= 450, (name, form)
            assert not NEVER.search(" ".join(plain(text) for text in running_text(told)))


def test_the_paper_keeps_its_two_pages_and_shows_the_lead_in_print_and_on_the_screen(demo_results):
    told = content(with_decision(demo_results["demo_separation"], "lean", best=1))
    assert count_pages(render_pdf(told)) == 2
    page = render_html(told)
    assert (
        page.index("called back") < page.index('class="decision-lead"') < page.index('class="answer second"')
    )
    assert "crew alone, and lit exits" in page


def pieces(results):
    """Every piece of page 1 that speaks of the decision."""
    told = content(results)
    return [*told.question, *told.decision.told, *told.decision.rests, *told.decision.money, *told.options]


def test_each_figure_and_text_of_the_decision_changes_its_own_words_and_no_other(study):
    results = with_decision(study, "lean", best=1)
    before = pieces(results)
    quoted = {piece.id for piece in before if piece.id}
    assert quoted >= {
        "policy.1.lives_a_year",
        "policy.1.extra_cost_a_year",
        "input.value_of_life",
        "decision.money",
    }
    for name in sorted(quoted):
        kind = next(part for part in ("numbers", "texts", "lists") if name in getattr(results, part))
        stored = getattr(results, kind)
        other = {"texts": "other words", "lists": ["sex"]}.get(kind)
        other = other or replace(stored[name], value=0.61 * stored[name].value)
        after = pieces(replace(results, **{kind: {**stored, name: other}}))
        differing = {old.id for old, new in zip(before, after, strict=True) if old.text != new.text}
        assert differing == {name}


def test_options_stand_in_the_place_for_the_decision_unless_they_are_too_long_for_it(study):
    results = with_decision(study, "lean")
    assert plain(content(results).options).startswith(
        "Options: every second year (today); every fourth year;"
    )
    long = {f"policy.{at}.name": "a policy whose name runs on and on " * 3 for at in range(3)}
    assert content(replace(results, texts={**results.texts, **long})).options == ()


def test_a_paper_to_be_passed_on_says_that_money_is_withheld_and_nothing_of_the_decision(few_mishaps_folder):
    results = run(read_study(few_mishaps_folder), audience="sharing", keep_log=False, today=DATE)
    told = content(results)
    assert told.decision is None
    assert "withheld" in plain(told.foot[1])
    ours = ("decision.", "policy.", "input.", "group.", "spend.", "exposure.", "whom.", "interval.", "pool.")
    for stored in (results.numbers, results.texts, results.lists, results.tables):
        assert [name for name in stored if name.startswith((*ours, "budget"))] == []
    assert {code for name, code in results.codes.items() if name.startswith((*ours, "budget."))} == {"masked"}


def test_records_too_thin_to_draw_worlds_from_carry_no_figure(study):
    results = with_decision(study, "inputs_missing")
    results = replace(results, codes={**results.codes, "budget.form": "not_drawn"})
    said = lead(results)
    assert "too thin to choose" in said
    assert not re.search(r"\d", said)
