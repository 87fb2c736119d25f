"""Does every number, and every cell of a table, lead back to rows, to the plan, to a threshold or to mishaps?"""

from __future__ import annotations

import re

import pandas as pd
import pytest
from thin import THIN

from survstats.groundwork.errors import CallError
from survstats.records.demo import DEMO_NAMES, demo_folder
from survstats.study.plan import read_study
from survstats.study.results import StudyResults
from survstats.study.run import run
from survstats.study.trace import trace

ELSEWHERE = ("plan", "threshold", "rule", "trainer_runs", "log", "finding", "graph", "published", "given")
#: Tables with hundreds of rows made alike: their first rows stand for all.
MOST_ROWS = 12


def cells(results):
    for name, table in results.tables.items():
        for at in range(min(len(table.rows), MOST_ROWS)):
            for column, value in zip(table.columns, table.rows[at], strict=True):
                if isinstance(value, int | float):
                    yield f"{name}.{at}.{column}"


def leads_nowhere(found):
    """Whether a way back ends in nothing, although what was traced is not zero people or zero mishaps."""
    ends = found.rows or found.without_row or found.mishaps or found.kind in ELSEWHERE
    counted = found.number.value if found.number else found.cell
    nobody = counted == 0 or (found.rests_on and not any(size for _, size in found.rests_on))
    return not ends and not nobody


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_every_number_and_cell_of_the_demos_ends_somewhere(demo_results, name):
    results = demo_results[name]
    for asked in (*results.numbers, *cells(results)):
        assert not leads_nowhere(trace(results, asked)), asked


@pytest.mark.parametrize("name", THIN)
def test_every_number_and_cell_of_thin_studies_ends_somewhere(thin_results, name):
    results = thin_results[name]
    for asked in (*results.numbers, *cells(results)):
        assert not leads_nowhere(trace(results, asked)), asked


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_a_count_of_people_leads_to_as_many_rows(demo_results, name):
    results = demo_results[name]
    counted = [one for one in results.people if one in results.numbers]
    assert len(counted) > 50
    for asked in counted:
        found = trace(results, asked)
        assert found.kind == "people"
        assert len(found.rows) + found.without_row == results.numbers[asked].value, asked


def test_the_rows_are_those_of_the_file(demo_results):
    found = trace(demo_results["demo_main"], "seen.trained_died")
    file = pd.read_csv(demo_folder("demo_main") / "occupant.csv", dtype=str, keep_default_na=False)
    assert len(found.rows) == 13
    for one in found.rows:
        row = file.iloc[one.row - 2]  # the first line holds the names of the columns
        assert one.file == "occupant.csv"
        assert (row["mishap_id"], row["occupant_id"]) == (one.mishap, one.occupant)
        assert row["outcome"] != "survived"
        assert row["training_ever"] == "yes"


def test_the_main_estimate_rests_on_the_four_groups_compared(demo_results):
    results = demo_results["demo_main"]
    found = trace(results, "effect.rd")
    assert found.kind == "estimate"
    assert dict(found.rests_on) == {
        f"seen.{group}_{fate}": results.numbers[f"seen.{group}_{fate}"].value
        for group in ("trained", "untrained")
        for fate in ("survived", "died")
    }
    assert len(found.rows) == results.numbers["cohort.analysed"].value
    assert dict(found.ledger)["cohort.ledger.analysed"] == len(found.rows)
    assert "cohort.ledger.lapsed" not in dict(found.ledger)


@pytest.mark.parametrize(
    ("asked", "kind"),
    [
        ("plan.currency_months", "plan"),
        ("imputed.draws", "plan"),
        ("threshold.mishaps", "threshold"),
        ("verdict.assessed", "rule"),
        ("runs.people", "trainer_runs"),
        ("span.mishaps", "mishaps"),
        ("records.not_blind", "mishaps"),
        ("cohort.mishaps", "mishaps"),
        ("cohort.died", "people"),
        ("flip.p", "estimate"),
        ("findings_by_rule.0.findings", "finding"),
        ("flow.0.lapsed", "people"),
        ("crude_shares.0.of_dead", "estimate"),
        ("ledger_p1.0.mishaps", "mishaps"),
        ("graph.open_paths_p1", "graph"),
        ("pairs.seat_people", "people"),
        ("overlap.one_sided", "people"),
        ("empty_cells.0.trained", "people"),
        ("recency.0.to_months", "rule"),
        ("fading_curve.1.months", "rule"),
        ("fading_months.0.from_months", "rule"),
        ("imputation_delta.0.delta_dead", "rule"),
        ("imputation_chains.3.iteration", "rule"),
        ("tipping.0.trained_died", "rule"),
        ("tipping.0.difference", "estimate"),
        ("tipping.unknown_dead", "people"),
        ("fitness.floor", "plan"),
        ("fitness.2.strength", "rule"),
        ("fitness.strength_limit", "estimate"),
        ("choices.4.number", "rule"),
        ("miscoding_grid.0.specificity", "rule"),
        ("challenge.fitness.number", "rule"),
        ("change.up_count", "rule"),
        ("recency.0.difference", "estimate"),
        ("calibration.0.from_risk", "estimate"),
        ("input.half_life_months", "plan"),
        ("budget_inputs.1.value", "plan"),
        ("budget_bounds.1.most", "rule"),
        ("exposure.mishaps", "plan"),
        ("exposure.mishaps_a_year", "given"),
        ("policy.1.extra_cost_a_year", "given"),
        ("pool.0.due", "given"),
        ("budget.at_risk", "decided"),
        ("budget_if.1.lives_a_year", "decided"),
        ("worlds.0.at_risk.0", "decided"),
        ("matrix_bands.0.at_least", "published"),
    ],
)
def test_what_kind_of_thing_a_number_is(demo_results, asked, kind):
    assert trace(demo_results["demo_main"], asked).kind == kind


def test_a_step_of_a_table_leads_to_no_people(demo_results):
    for asked in ("recency.0.from_months", "fading_curve.1.months", "imputation_delta.0.delta_survivors"):
        found = trace(demo_results["demo_main"], asked)
        assert (found.rests_on, found.rows, found.ledger) == ((), (), ()), asked
    assert trace(demo_results["demo_main"], "fading_curve.1.difference").rows


@pytest.fixture(scope="module")
def shared_results():
    return run(read_study(demo_folder("demo_small")), audience="sharing", keep_log=False)


@pytest.mark.parametrize(
    ("asked", "kind"),
    [
        ("cohort.analysed", "people"),
        ("seen.trained_died", "people"),
        ("cohort.mishaps", "mishaps"),
        ("effect.columns", "estimate"),
        ("seen.0.died", "people"),
        ("ledger_p1.0.occupants", "people"),
        ("effect.rd", "estimate"),
    ],
)
def test_in_results_for_sharing_counts_of_people_are_told_as_such(shared_results, asked, kind):
    found = trace(shared_results, asked)
    assert (found.kind, found.withheld, found.rows) == (kind, True, ())


@pytest.mark.parametrize(
    "asked",
    ["flow.aboard.current", "flow", "influence.0.change", "empty_cells.0.trained", "pairs.seat_people"],
)
def test_what_stays_in_the_house_is_told_as_withheld(shared_results, demo_results, asked):
    found = trace(shared_results, asked)
    assert (found.absent, found.withheld, found.cell, found.number) == ("masked", True, None, None)
    if asked != "flow":
        assert trace(demo_results["demo_small"], asked).absent is None


def test_a_cell_of_a_table_that_could_not_be_made_says_why(thin_results):
    assert trace(thin_results["two_mishaps"], "influence.0.change").absent == "few_mishaps"


def test_a_count_of_mishaps_names_them(demo_results):
    found = trace(demo_results["demo_main"], "span.mishaps")
    assert len(found.mishaps) == demo_results["demo_main"].numbers["span.mishaps"].value
    assert set(found.mishaps) == {mishap for mishap, _, _ in demo_results["demo_main"].rows["P2"]}


def test_a_cell_is_found_by_the_text_of_its_row_too(demo_results):
    results = demo_results["demo_main"]
    at = [row[0] for row in results.tables["flow"].rows].index("dead_on_impact")
    by_text, by_place = trace(results, "flow.dead_on_impact.all"), trace(results, f"flow.{at}.all")
    assert by_text == by_place
    assert by_text.cell == len(by_text.rows)
    assert trace(results, "estimators.effect.rd.value").rests_on == trace(results, "effect.rd").rests_on
    assert trace(results, "flow/0/all") == trace(results, "flow.0.all")


def test_an_absent_number_says_why(demo_results):
    found = trace(demo_results["demo_survivor_only"], "effect.rd")
    assert (found.number, found.absent) == (None, "one_outcome")


@pytest.mark.parametrize(
    ("asked", "meant"),
    [
        ("efect.rd", "effect.rd"),
        ("flow.aboard.curent", "flow.aboard.current"),
        ("cohort.dead", "cohort.died"),
        ("EFFECT.RD", "effect.rd"),
        ("Flow.Aboard.Current", "flow.aboard.current"),
    ],
)
def test_an_unknown_id_is_refused_with_the_one_that_was_meant(demo_results, asked, meant):
    with pytest.raises(CallError, match=re.escape(f"'{meant}'")) as caught:
        trace(demo_results["demo_main"], asked)
    assert caught.value.reason == "unknown_id"


@pytest.mark.parametrize(
    ("asked", "where"),
    [
        ("verdict.word", "gates.seen.state"),
        ("gate.miscoding.state", "gates.miscoding.state"),
        ("gate.seen.finding", "gates.seen.finding"),
        ("challenge.fitness.state", "challenges.fitness.state"),
        ("brief.form", "results.json"),
    ],
)
def test_a_word_is_said_to_be_one_with_the_cell_to_ask_for(demo_results, asked, where):
    results = demo_results["demo_main"]
    with pytest.raises(CallError, match="is a word, not a number") as caught:
        trace(results, asked)
    assert where in caught.value.remedy
    if where != "results.json":
        assert trace(results, where).cell in results.codes.values()


@pytest.mark.parametrize(
    "asked", ["", ".", "flow", "flow.", "flow..all", "flow.999.all", "flow.-1.all", "x" * 5000]
)
def test_nonsense_is_refused(demo_results, asked):
    with pytest.raises(CallError):
        trace(demo_results["demo_main"], asked)


def test_it_survives_the_way_through_a_file(demo_results):
    results = demo_results["demo_small"]
    again = StudyResults.from_json(results.to_json())
    for asked in ("effect.rd", "span.mishaps", "flow.aboard.all", "influence.0.change"):
        assert trace(again, asked) == trace(results, asked)
