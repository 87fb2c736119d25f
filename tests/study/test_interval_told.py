"""Does the interval told agree with the worlds it is told of, within what law or contract allows?"""

from __future__ import annotations

import numpy as np
import pytest
from plausible_worlds import a_plan, given, many_worlds, two_policies

from survstats.decision.outcome import outcome
from survstats.decision.world import Policy
from survstats.study.interval_told import IDS, store_interval
from survstats.study.results_builder import ResultsBuilder

WORLDS = many_worlds()


def told(plan=None, worlds=WORLDS, policies=None, form="lean", **words) -> ResultsBuilder:
    out = ResultsBuilder()
    store_interval(out, plan or a_plan(), worlds, policies or two_policies(), form, **words)
    return out


def rows(out: ResultsBuilder, name: str) -> list[dict[str, object]]:
    table = out.tables[name]
    return [dict(zip(table.columns, row, strict=True)) for row in table.rows]


def test_every_id_is_stored_or_absent_with_a_reason():
    for out in (
        told(),
        told(a_plan(inputs={})),
        told(form="would_have_to", points=0.05),
        told(form="not_asked"),
    ):
        stored = {*out.numbers, *out.tables}
        assert {name for name in IDS if name not in stored} == set(out.absent)


def test_the_rows_of_both_policies_are_what_the_policies_come_to():
    today, rarer = two_policies()
    by_month = {row["months"]: row for row in rows(told(), "interval")}
    found = outcome(WORLDS, rarer, today=today)
    assert by_month[24.0]["lives_a_year"] == pytest.approx(0.0, abs=1e-12)
    assert by_month[48.0]["lives_a_year"] == pytest.approx(found.lives.mean())
    assert by_month[48.0]["lives_low"] == pytest.approx(np.quantile(found.lives, 0.025))
    assert by_month[48.0]["cost_a_year"] == pytest.approx(found.cost.mean())
    more = 5e6 * found.lives.mean() - found.extra_cost.mean()
    assert by_month[48.0]["worth"] - by_month[24.0]["worth"] == pytest.approx(more)


def test_the_best_row_has_most_worth_and_least_regret_and_the_flat_stretch_holds_it():
    out = told()
    lines = rows(out, "interval")
    best = max(lines, key=lambda row: row["worth"])
    assert out.numbers["interval.best_months"].value == best["months"]
    assert out.numbers["interval.best_worth"].value == best["worth"]
    assert min(lines, key=lambda row: row["regret"]) is best
    flat = [out.numbers[f"interval.flat_{end}"].value for end in ("from", "to")]
    good = [row["months"] for row in lines if row["worth"] >= 0.95 * best["worth"]]
    assert flat == [min(good), max(good)]
    assert flat[0] < best["months"] < flat[1]
    assert (out.codes["interval.finding"], out.codes["interval.pays"]) == ("inside", "yes")
    today = next(row for row in lines if row["months"] == 24.0)
    assert out.numbers["interval.today_regret"].value == today["regret"] > 0


def test_never_more_than_law_or_contract_allows():
    free = told(a_plan(inputs={"value_of_life": given(5e5)}))
    assert free.numbers["interval.best_months"].value > 24.0
    assert free.numbers["interval.bound_by_longest"].value == 0
    plan = a_plan(
        inputs={"value_of_life": given(5e5)},
        longest_months=24.0,
        longest_source="invented",
        policy=[{"name": name.name, "months": 24.0} for name in two_policies()],
    )
    today, rarer = two_policies()
    bound = told(plan, policies=(today, Policy(rarer.name, 2.0, rarer.covered * 0.5)))
    assert bound.numbers["interval.best_months"].value == 24.0
    assert bound.numbers["interval.bound_by_longest"].value == 1
    assert bound.codes["interval.finding"] == "at_longest"
    for row in rows(bound, "interval"):
        assert row["allowed"] == (row["months"] <= 24.0)
        assert (row["regret"] is None) == (row["months"] > 24.0)
    assert all(row["from_months"] is not None for row in rows(bound, "interval_steps"))
    assert max(row["from_months"] for row in rows(bound, "interval_steps")) == 24.0


def test_where_training_harms_no_refresher_pays():
    out = told(worlds=many_worlds(gain=-0.2))
    assert (out.codes["interval.finding"], out.codes["interval.pays"]) == ("none", "no")
    assert out.absent["interval.best_months"] == "no_refresher_pays"
    assert all(row["cost_per_life"] is None for row in rows(out, "interval_steps"))


def test_without_a_value_of_a_life_only_the_steps_say_what_a_life_costs():
    out = told(a_plan(inputs={}))
    assert out.codes["interval.finding"] == "no_value"
    assert all(row["worth"] is None and row["regret"] is None for row in rows(out, "interval"))
    assert rows(out, "interval_steps") == rows(told(), "interval_steps")


def test_the_best_interval_is_the_one_whose_step_holds_the_value_of_a_life():
    for value in (1e6, 3e6, 2e7):
        out = told(a_plan(inputs={"value_of_life": given(value)}))
        holds = [
            row["to_months"]
            for row in rows(out, "interval_steps")
            if row["best_from"] is not None
            and row["best_from"] <= value
            and (row["best_to"] is None or value <= row["best_to"])
        ]
        worth = {row["months"]: row["worth"] for row in rows(out, "interval")}
        listed = [row["to_months"] for row in rows(out, "interval_steps")]
        assert holds == [max(listed, key=worth.get)]


def test_an_assumed_difference_is_said_in_every_row_and_recommends_nothing():
    out = told(form="would_have_to", points=0.05)
    assert {row["points"] for name in ("interval", "interval_steps") for row in rows(out, name)} == {0.05}
    assert out.numbers["interval.points"].value == 0.05
    assert out.codes["interval.finding"] == "would_have_to"


def test_where_today_covers_nobody_the_first_policy_that_does_is_told_of():
    today, rarer = two_policies()
    out = told(policies=(Policy(today.name, 2.0, np.zeros(3)), rarer))
    assert out.codes["interval.policy"] == "1"
    assert out.absent["interval.today_regret"] == "nobody_today"
    assert "interval.best_worth" in out.numbers
    nobody = told(policies=(Policy(today.name, 2.0, np.zeros(3)), Policy(rarer.name, 4.0, np.zeros(3))))
    assert set(nobody.absent.values()) == {"nobody_covered"}


def test_what_hangs_on_lives_rests_on_the_people_named():
    out = told(rests_on=("cohort.analysed",))
    for name in ("interval", "interval_steps", "interval.best_months", "interval.best_of_worlds"):
        assert out.rests_on[name] == ("cohort.analysed",)
