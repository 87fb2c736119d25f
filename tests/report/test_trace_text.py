"""Does the way back from a number read well on a terminal, and does it say where the number is printed?"""

from __future__ import annotations

import datetime
from dataclasses import replace

import pytest

from survstats.groundwork.errors import CallError
from survstats.report.budget.paper import budget_content
from survstats.report.places import places
from survstats.report.trace_text import trace_text
from survstats.study.results import Number
from survstats.study.trace import trace


def told(results, name, **more) -> str:
    return "\n".join(trace_text(results, trace(results, name), width=80, **more)).replace("\u00a0", " ")


@pytest.fixture(scope="module")
def results(demo_results):
    return demo_results["demo_main"]


def test_the_main_estimate_is_told_as_the_paper_prints_it_with_what_it_rests_on(results):
    text = told(results, "effect.rd")
    assert text.startswith("effect.rd: 8 (−4 to 20) points (95 % interval)")
    for part in (
        "board paper",
        "annex, section 5, The estimate",
        "It rests on:",
        "Where these people stand in the ledger:",
        "in occupant.csv:",
        "and 217 more",
    ):
        assert part in text


def test_all_rows_are_listed_when_asked_for(results):
    found = trace(results, "effect.rd")
    text = told(results, "effect.rd", all_rows=True)
    assert "more: --rows" not in text
    for row in found.rows:
        assert f"{row.mishap}  {row.occupant}" in text
    assert len(found.rows) == results.numbers["effect.rd"].occupants


@pytest.mark.parametrize(
    "name", ["effect.rd", "span.mishaps", "flow.in_population.current", "recency.0.difference"]
)
def test_no_line_is_wider_than_the_terminal(results, name):
    assert max(map(len, told(results, name, all_rows=True).splitlines())) <= 80


def test_a_cell_is_told_with_the_interval_of_its_row(results):
    row = results.tables["recency"].rows[0]
    low, high = (f"{100 * row[at]:.0f}".replace("-", "−") for at in (6, 7))
    assert f"({low} to {high}) points" in told(results, "recency.0.difference").splitlines()[0]


def test_mishaps_thresholds_and_the_study_file_end_where_they_come_from(results):
    assert "VS-001, VS-002" in told(results, "span.mishaps")
    assert "threshold of the rule" in told(results, "threshold.mishaps")
    assert "study file" in told(results, "plan.currency_months")


def test_a_number_that_is_not_there_says_why(demo_results):
    text = told(demo_results["demo_survivor_only"], "effect.rd")
    assert "no number" in text.splitlines()[0]


def test_an_unknown_id_names_the_nearest(results):
    with pytest.raises(CallError, match=r"Did you mean 'effect\.rd'"):
        trace(results, "effect.rdd")


def test_places_name_each_part_once_and_nothing_where_it_is_not_printed(results):
    found = places(results, "effect.rd_passengers")
    assert len({(place.paper, place.part) for place in found}) == len(found)
    assert {place.paper for place in found} == {"board paper", "annex"}
    assert places(results, "effect.rr_death_untrained") == ()


def test_a_number_is_shown_as_the_paper_shows_it_once(results):
    row = results.tables["recency"].rows[0]
    shown = [f"{100 * row[at]:.0f}".replace("-", "−") for at in (5, 6, 7)]
    forms = [
        form.replace("\u00a0", " ")
        for place in places(results, "recency.0.difference")
        for form in place.shown
    ]
    assert forms == ["{} ({} to {})".format(*shown)]
    estimate = [form for place in places(results, "effect.rd") for form in place.shown]
    assert not {"55", "237"} & set(estimate)


def test_what_is_passed_on_says_that_rows_were_left_out(results):
    shared = replace(
        results,
        numbers={**results.numbers, "sharing.limit": Number(5, "count", "rule")},
        codes={**results.codes, "paper.audience": "sharing"},
        people={},
        mishaps={},
        rows={},
    )
    text = told(shared, "effect.rd")
    assert "left out on purpose" in " ".join(text.split())
    assert "occupant.csv" not in text


#: Cells of the tables on the decision, in the unit that their own row names.
GIVEN = {
    "budget_inputs.1.value": "20 000 (17 000 to 23 000)",
    "budget_inputs.1.low": "17 000",
    "budget_inputs.2.value": "EUR 1 100",
    "budget_inputs.6.high": "EUR 80 000",
    "budget_inputs.7.value": "24 months (10 to 60)",
    "budget_inputs.8.value": "1.0 (0.20 to 5.0) in a million",
    "budget_inputs.27.value": "6 (1 to 15) of a hundred",
}
#: Tables on the decision whose cells are told as they stand in the file beside the paper.
AS_THEY_STAND = (
    *(
        "acceptability",
        "budget_bounds",
        "budget_gain",
        "budget_groups",
        "budget_if",
        "evidence",
        "evpi",
        "interval",
    ),
    *("interval_steps", "matrix_bands", "matrix_policies", "planning", "pool", "swings", "whom_first"),
    *("worlds", "worlds_months"),
)


@pytest.fixture
def first_line(demo_results, monkeypatch):
    """The first line of a trace, without looking through all papers for the second."""
    monkeypatch.setattr("survstats.report.trace_text.places", lambda *_: ())
    results = demo_results["demo_separation"]
    return lambda name: trace_text(results, trace(results, name), width=300)[0].replace("\u00a0", " ")


@pytest.mark.parametrize("name", GIVEN)
def test_a_given_figure_is_told_in_its_own_unit(first_line, name):
    assert first_line(name) == f"{name}: {GIVEN[name]}"


@pytest.mark.parametrize("name", AS_THEY_STAND)
def test_a_cell_of_the_decision_is_told_as_it_stands(demo_results, first_line, name):
    table = demo_results["demo_separation"].tables[name]
    column, cell = next(
        (column, cell)
        for column, cell in reversed(list(zip(table.columns, table.rows[0], strict=True)))
        if isinstance(cell, int | float)
    )
    told = first_line(f"{name}.0.{column}").removeprefix(f"{name}.0.{column}: ")
    assert float(told) == pytest.approx(cell, rel=1e-5)


def test_a_given_figure_is_said_to_stand_where_every_figure_stands(demo_results):
    found = places(demo_results["demo_separation"], "input.hours_a_year")
    assert any("Figures that were given" in place.part for place in found)


def test_every_given_figure_stands_in_the_list_of_figures(demo_results):
    results = demo_results["demo_separation"]
    content = budget_content(results, date=datetime.date(2026, 11, 24))
    listed = next(part for part in content.sections if part.key == "inputs")
    shown = {
        piece.id
        for block in listed.blocks
        if block.table
        for row in block.table.rows
        for cell in row
        for piece in cell
    }
    figures = {name for name in results.numbers if name.startswith("input.")}
    assert len(figures) > 20
    assert figures <= shown
