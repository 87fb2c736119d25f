"""Does the annex tell every doubt, and how the word is made, as the stored figures and codes have it?"""

from __future__ import annotations

import datetime
from dataclasses import replace

import pytest
from annex_samples import CHALLENGES, with_annex
from test_annex_says import annex, changed, told

from survstats.report.annex.paper import annex_content
from survstats.report.content import plain
from survstats.report.publish import render_html
from survstats.report.wording import catalogue
from survstats.study.results import Number, StudyResults, Table

DATE = datetime.date(2026, 11, 24)


@pytest.fixture(scope="module")
def results(demo_results) -> StudyResults:
    return with_annex(demo_results["demo_main"])


def section(content, key: str):
    return next(part for part in content.sections if part.key == key)


def block(content, title: str, key: str = "doubts"):
    return next(each for each in section(content, key).blocks if plain(each.title) == title)


def sentences(found) -> list[str]:
    return [plain(item).replace("\u00a0", " ") for item in found.items]


def without_tables(results: StudyResults, *names: str) -> StudyResults:
    return replace(results, tables={k: v for k, v in results.tables.items() if k not in names})


# ---- the table of doubts ---------------------------------------------------------------------------------------------


def test_every_doubt_has_its_row_its_state_in_words_and_a_mark_for_it(results):
    battery = section(annex(results), "doubts").blocks[0]
    assert len(battery.table.rows) == len(CHALLENGES) == 12
    marks = {
        "holds": "met",
        "weakens": "partly_met",
        "overturns": "not_met",
        "not_assessable": "not_assessed",
    }
    for row, mark, (name, (state, _)) in zip(
        battery.table.rows, battery.marks.states, CHALLENGES.items(), strict=True
    ):
        assert catalogue("en")["challenge_question"][name] in plain(row[0])
        assert plain(row[battery.marks.column]) == catalogue("en")["challenge_state"][state]
        assert mark == marks[state]
        assert plain(row[2])


def test_a_mark_stands_before_the_state_on_the_screen_and_is_silent(results):
    page = render_html(annex(results))
    assert page.count('aria-hidden="true"') >= 20  # twelve doubts, eight gates
    assert "</svg> weakens it</td>" in page.replace("\n", "")


def test_agreeing_rows_are_said_to_be_no_independent_evidence(results):
    words = told(annex(results), "doubts")
    assert words.count("no independent evidence") == 2  # under all doubts, and under the choices


def test_every_finding_that_a_study_stores_has_its_sentence(demo_results, thin_results):
    for results in (*demo_results.values(), *thin_results.values()):
        for name, _, finding in results.tables["challenges"].rows:
            assert finding in catalogue("en")["challenge"][name], (name, finding)


def test_a_doubt_whose_figures_are_withheld_says_so_and_shows_no_state(results):
    rows = [
        (
            name,
            "not_assessable" if name == "worst_case" else state,
            "masked" if name == "worst_case" else finding,
        )
        for name, (state, finding) in CHALLENGES.items()
    ]
    table = Table(results.tables["challenges"].columns, tuple(rows))
    limit = {"sharing.limit": Number(5, "count", "rule")}
    shared = changed(
        results,
        codes={"paper.audience": "sharing"},
        numbers=limit,
        without=("choices.smallest", "choices.largest"),
    )
    shared = without_tables(
        replace(shared, tables={**shared.tables, "challenges": table}), "choices", "fitness"
    )
    content = annex_content(shared, date=DATE)
    found = {
        plain(row[0])[0:2].strip("\u00a0 "): row for row in section(content, "doubts").blocks[0].table.rows
    }
    assert [plain(cell) for cell in found["2"][1:]] == ["withheld", "It rests on counts that are withheld."]
    assert [plain(cell) for cell in found["9"][1:]] == ["holds", "It rests on counts that are withheld."]
    for title in (
        "Choices of our own",
        "A hidden trait, such as fitness",
    ):  # what is left out is not pointed at
        assert "table" not in plain(block(content, title).lead)


# ---- tipping ---------------------------------------------------------------------------------------------------------


def test_crossings_are_told_and_marked_by_their_states(results):
    content = annex(results)
    assert block(content, "If more, or fewer, of the unknown dead had been trained").picture.name == "tipping"
    assert "If 16 or more of them had been trained, the difference is no longer more than chance." in told(
        content, "doubts"
    )
    assert "If 16 or fewer of them" in told(annex(results, codes={"tipping.way": "fewer"}), "doubts")
    never = {"tipping.chance_state": "never", "tipping.difference_state": "already"}
    bare = without_tables(results, "challenges")
    words = told(annex(bare, codes=never, without=("tipping.not_beyond_chance",)), "doubts")
    assert "However many of them had been trained, its interval stays" in words
    assert "does not point the way of the main one" in words
    assert "no longer more than chance." not in words


def test_the_way_of_a_crossing_is_stored_and_is_that_of_the_estimate(demo_results):
    ways = {
        name: (found.codes["tipping.way"], found.numbers["effect.rd"].value < 0)
        for name in ("demo_main", "demo_harm")
        if "tipping.way" in (found := demo_results[name]).codes
    }
    assert ways == {"demo_main": ("more", False), "demo_harm": ("fewer", True)}


def test_without_a_stored_way_no_crossing_is_told(results):
    codes = {name: code for name, code in results.codes.items() if name != "tipping.way"}
    shown = told(annex_content(replace(results, codes=codes), date=DATE), "doubts")
    assert "of them had been trained, the difference is no longer" not in shown


def test_a_crossing_that_is_not_stored_is_not_drawn(results):
    both = block(annex(results), "If more, or fewer, of the unknown dead had been trained").picture.figure
    assert both.not_beyond_chance.trained_died == 16
    one = annex(without_tables(results, "challenges"), without=("tipping.not_beyond_chance",))
    figure = block(one, "If more, or fewer, of the unknown dead had been trained").picture.figure
    assert figure.not_beyond_chance is None
    assert figure.no_difference is not None


# ---- choices ---------------------------------------------------------------------------------------------------------


def test_all_listed_choices_stand_in_the_table_and_those_with_a_figure_in_the_strip(results):
    found = block(annex(results), "Choices of our own")
    assert len(found.table.rows) == 24
    assert sum(len(strip.dots) for strip in found.picture.figure.strips) == 23
    assert sum(strip.listed for strip in found.picture.figure.strips) == 24
    assert (
        "23 of 24 could be worked out, and 21 of these are different analyses. 22 point the way of"
        in told(annex(results), "doubts")
    )
    rows = [plain(row[0]) for row in found.table.rows]
    assert "the main estimate, as agreed" in rows[0]
    assert "passengers only; ever trained against never" in rows[18]
    assert plain(found.table.rows[15][1]).endswith("in the other group.")  # why one has no figure


def test_every_code_of_a_choice_has_its_words(results):
    texts = catalogue("en")["annex"]["doubts"]["choices"]
    table = results.tables["choices"]
    for name in ("family", "population", "exposure", "covariates", "missing", "estimator"):
        at = table.columns.index(name)
        assert {str(row[at]) for row in table.rows} <= set(texts[name])


# ---- the other doubts ------------------------------------------------------------------------------------------------


def test_what_a_hidden_trait_would_have_to_be_follows_from_its_strength(results):
    def fitness(**strengths: float) -> str:
        numbers = {
            f"fitness.strength_{name}": replace(results.numbers[f"fitness.strength_{name}"], value=value)
            for name, value in strengths.items()
        }
        return " ".join(sentences(block(annex(results, numbers=numbers), "A hidden trait, such as fitness")))

    assert "2.0 times." in fitness()
    assert "nothing beyond chance is left" in fitness(limit=0.0)
    assert "would not make all of the estimate" in fitness(estimate=float("inf"))
    assert "No gate asks for it" in fitness()


def test_a_cell_of_the_grid_that_cannot_be_says_so(results):
    found = block(annex(results), "If entries of the dead are wrong")
    assert [plain(cell) for cell in found.table.rows[0][1:]] == ["3", "not possible"]


def test_the_check_by_deaths_on_impact_says_what_it_would_have_noticed_and_whether_it_alarms(results):
    title = "Deaths that training can hardly prevent"
    quiet = sentences(block(annex(results), title))
    assert any(
        "a true difference of 4.4 points would be noticed about every second time" in item for item in quiet
    )
    assert any("no proof that the groups are alike" in item for item in quiet)
    loud = sentences(block(annex(results, codes={"impact_death.alarm": "yes"}), title))
    assert any("raises the alarm" in item for item in loud)
    nobody = replace(results.numbers["impact_death.rd"], method="newcombe")
    none = sentences(block(annex(results, numbers={"impact_death.rd": nobody}), title))
    assert any("Nobody compared died on impact" in item for item in none)
    assert not any("background allowed for" in item for item in none)


@pytest.mark.parametrize(
    ("title", "needs", "tables", "silent"),
    [
        (
            "If more, or fewer, of the unknown dead had been trained",
            "tipping.expected",
            ("tipping",),
            "as drawn",
        ),
        (
            "If entries of the dead are wrong",
            "miscoding.rd_found",
            ("miscoding_grid",),
            "tables/miscoding_grid",
        ),
        ("A hidden trait, such as fitness", "fitness.strength_estimate", ("fitness",), "E-value"),
        ("Hidden bias within a mishap", "hidden_bias.gamma", (), "worst case"),
        ("Deaths that training can hardly prevent", "impact_death.rd", (), "alarm"),
        ("Mishaps that nobody reported", "under_reporting.rd_half", (), "quarter"),
        ("Choices of our own", "choices.same_sign", ("choices",), "witness"),
    ],
)
def test_a_doubt_without_its_figure_says_why_and_nothing_that_hangs_on_it(
    results, title, needs, tables, silent
):
    bare = without_tables(changed(results, without=(needs,)), "challenges", *tables)
    bare = replace(bare, absent={**bare.absent, needs: "few_mishaps"})
    found = block(annex_content(bare, date=DATE), title)
    assert plain(found.lead) == catalogue("en")["reason"]["few_mishaps"]
    assert found.picture is None
    assert found.table is None
    assert not any(silent in item for item in sentences(found))


# ---- one mishap out --------------------------------------------------------------------------------------------------


def test_each_mishap_left_out_has_its_mark(results):
    found = section(annex(results), "one-out").blocks[0]
    assert found.picture.name == "one_out"
    table = results.tables["one_mishap_out"]
    assert len(found.picture.figure.left_out) == len(table.rows)
    assert "an interval where" not in plain(found.picture.figure.marks_text)
    some = Table(table.columns, ((*table.rows[0][:2], None, None), *table.rows[1:]))
    partly = annex_content(replace(results, tables={**results.tables, "one_mishap_out": some}), date=DATE)
    figure = section(partly, "one-out").blocks[0].picture.figure
    assert "an interval where" in plain(figure.marks_text)


# ---- the word --------------------------------------------------------------------------------------------------------


def test_every_gate_stands_with_its_state_and_what_it_asks(results):
    gates = section(annex(results), "word").blocks[0]
    assert len(gates.table.rows) == 8
    stored = [row[1] for row in results.tables["gates"].rows]
    assert list(gates.marks.states) == stored
    assert all(plain(row[2]) and plain(row[3]) for row in gates.table.rows)


def test_a_threshold_that_is_not_stored_leaves_its_cell_empty_and_nothing_is_made_up(results):
    bare = annex(results, without=("threshold.documented_dead_partly",))
    row = section(bare, "word").blocks[0].table.rows[0]
    assert plain(row[2])
    assert not plain(row[3])


def test_what_would_lift_and_lower_the_word_is_named(results):
    words = told(annex(results), "word")
    assert "The word would be suggests if this were met as well: Beyond chance." in words
    assert "Any of these, failing alone, would weaken it: Enough and Seen." in words
    none = {"change.up": [], "change.down": []}
    words = told(annex(results, codes={"change.up_word": "none"}, lists=none), "word")
    assert "No gate, and no pair of gates" in words
    highest = {"change.up_word": "none", "verdict.word": "supports"}
    assert "There is no stronger word." in told(annex(results, codes=highest, lists=none), "word")


def test_the_word_at_a_lower_floor_and_a_borderline_are_said(results):
    words = told(annex(results), "word")
    assert "no more than 1.7 times both odds, the word would be suggests" in words
    assert "would not change it" in words
    near = {"verdict.borderline": "yes", "verdict.word_at_lower_floor": "cannot_tell"}
    words = told(annex(results, codes=near), "word")
    assert "the word would be the same" in words
    assert "borderline: another seed" in words


def test_the_attacks_that_hurt_most_are_told_on_every_annex(demo_results):
    for results in demo_results.values():
        words = told(annex_content(results, date=DATE), "word")
        assert "Fitter people get trained." in words
        assert "Papers can be wrong." in words
