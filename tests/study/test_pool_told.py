"""Is the school told month by month for each policy, and nothing made up where its capacity is not given?"""

from __future__ import annotations

import pytest
from plausible_worlds import a_plan, given, many_worlds, two_policies

from survstats.decision.courses import first_courses, refreshers
from survstats.study.pool_told import pool_ids, store_pool
from survstats.study.results_builder import ResultsBuilder

WORLDS = many_worlds()


def told(plan=None, form="lean") -> ResultsBuilder:
    out = ResultsBuilder()
    store_pool(out, plan or a_plan(), WORLDS, two_policies(), form)
    return out


def test_every_id_is_stored_or_absent_with_a_reason():
    for out in (told(), told(a_plan(inputs={})), told(form="would_have_to")):
        stored = {*out.numbers, *out.tables}
        assert {name for name in pool_ids(two_policies()) if name not in stored} == set(out.absent)


def test_the_need_is_a_twelfth_of_a_settled_years_courses():
    leaving = WORLDS.leaving.mean(axis=0)
    covered = WORLDS.people * two_policies()[0].covered
    each = first_courses(leaving) + refreshers(2.0, leaving)
    out = told(a_plan(inputs={}))
    assert out.numbers["policy.0.demand_a_month"].value == pytest.approx(covered @ each / 12)
    assert out.absent["policy.0.overdue_after"] == "not_given"
    assert out.absent["pool"] == "not_given"


def test_months_of_each_policy_follow_each_other_and_end_with_who_waits():
    out = told()
    table = out.tables["pool"]
    lines = [dict(zip(table.columns, row, strict=True)) for row in table.rows]
    assert [(row["policy"], row["month"]) for row in lines] == [
        (at, month) for at in (0, 1) for month in range(1, 121)
    ]
    assert lines[119]["overdue"] == out.numbers["policy.0.overdue_after"].value
    assert max(row["trained"] for row in lines) <= 20.0 + 1e-9
    assert out.numbers["policy.0.overdue_at_start"].value == pytest.approx(30.0)
    assert out.codes["policy.0.pool"] == "keeps_up"
    gone = int(out.numbers["policy.0.backlog_gone_month"].value)
    assert lines[gone - 2]["overdue"] >= 0.5 > lines[gone - 1]["overdue"]


def test_too_few_places_fall_behind():
    out = told(a_plan(inputs={"courses_a_month": given(5.0)}))
    assert out.codes["policy.0.pool"] == "falls_behind"
    assert out.absent["policy.0.backlog_gone_month"] == "backlog_stays"
    assert out.numbers["policy.0.overdue_after"].value > 30.0


def test_overdue_people_that_are_not_given_are_said_to_be_not_given():
    out = told(a_plan(inputs={"courses_a_month": given(20.0)}))
    assert out.codes["pool.overdue"] == "not_given"
    assert out.absent["pool.overdue_now"] == "not_given"
    assert out.numbers["policy.0.overdue_at_start"].value == 0.0


def test_a_short_decision_is_followed_for_its_own_years():
    assert told(a_plan(years=3)).numbers["pool.months"].value == 36
    assert told(a_plan(years=40)).numbers["pool.months"].value == 120
