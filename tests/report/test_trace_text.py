"""Does the way back from a number read well on a terminal, and does it say where the number is printed?"""

from __future__ import annotations

from dataclasses import replace

import pytest

from survstats.groundwork.errors import CallError
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
