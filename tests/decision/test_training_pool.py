"""Is nobody lost between the months, and does the school keep up or fall behind as a count by hand says?"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from survstats.decision.training_pool import follow_pool, monthly_demand
from survstats.decision.world import Policy

NOBODY_LEAVES = np.zeros(1)


def yearly(*covered: float) -> Policy:
    return Policy("yearly", 1.0, np.array(covered or (1.0,)))


def test_by_hand_a_school_that_keeps_up():
    """24 people, yearly, two due each month, two places."""
    pool = follow_pool(yearly(), yearly(), np.array([24.0]), NOBODY_LEAVES, capacity=2.0, months=36)
    assert pool.due == pytest.approx(np.full(36, 2.0))
    assert pool.trained == pytest.approx(np.full(36, 2.0))
    assert pool.overdue == pytest.approx(np.zeros(36))
    assert (pool.start, pool.gone, pool.verdict) == (0.0, 0, "keeps_up")


def test_by_hand_a_school_with_half_the_places_it_needs():
    """One waits more each month for a year; then only those trained fall due, one a month, and twelve wait for ever."""
    pool = follow_pool(yearly(), yearly(), np.array([24.0]), NOBODY_LEAVES, capacity=1.0, months=36)
    assert pool.overdue == pytest.approx(np.minimum(np.arange(1, 37), 12))
    assert (pool.gone, pool.verdict) == (None, "falls_behind")


def test_by_hand_a_backlog_that_goes():
    """Six of 24 overdue, 1.5 due each month, three places: 4.5, 3, 1.5 and nobody wait at the end of the months."""
    pool = follow_pool(
        yearly(), yearly(), np.array([24.0]), NOBODY_LEAVES, capacity=3.0, overdue=6.0, months=60
    )
    assert pool.start == 6.0
    assert pool.overdue[:5] == pytest.approx([4.5, 3.0, 1.5, 0.0, 0.0])
    assert (pool.gone, pool.verdict) == (4, "keeps_up")


def test_by_hand_a_backlog_that_outlives_the_count_is_catching_up():
    few = follow_pool(
        yearly(), yearly(), np.array([24.0]), NOBODY_LEAVES, capacity=3.0, overdue=6.0, months=2
    )
    assert (few.gone, few.verdict) == (None, "catching_up")


def test_by_hand_newcomers_go_before_refreshers():
    """A tenth leaves each month; ten newcomers wait each month, and with ten places nobody is ever refreshed."""
    leaving = np.array([-12.0 * np.log(0.9)])
    pool = follow_pool(yearly(), yearly(), np.array([100.0]), leaving, capacity=10.0, months=24)
    share = 0.9**11 / sum(0.9**age for age in range(12))  # who was trained eleven months ago, at the start
    assert pool.due[0] == pytest.approx(10 + 100 * share * 0.9)
    assert pool.trained[0] == pytest.approx(10.0)
    assert pool.overdue[0] == pytest.approx(100 * share * 0.9)


def test_halving_the_interval_makes_half_of_the_trained_due_at_once():
    every_second_year = Policy("second", 2.0, np.ones(1))
    pool = follow_pool(yearly(), every_second_year, np.array([240.0]), NOBODY_LEAVES, capacity=1000.0)
    assert pool.start == pytest.approx(120.0)
    assert pool.gone == 0
    longer = follow_pool(
        every_second_year, yearly(), np.array([240.0]), NOBODY_LEAVES, capacity=1000.0, overdue=24.0
    )
    assert longer.start == 0.0  # who is past one year is within two
    assert longer.due[:12] == pytest.approx(np.full(12, 2.0))  # those overdue, by when their course ran out
    assert longer.due[12:14] == pytest.approx([18.0, 18.0])  # then who would have been next


def test_by_hand_of_those_overdue_a_somewhat_longer_interval_leaves_some_waiting():
    """Twelve overdue, their courses ended in each of the last twelve months: eight are past 16 months as well."""
    later = Policy("later", 16 / 12, np.ones(1))
    pool = follow_pool(later, yearly(), np.array([132.0]), NOBODY_LEAVES, capacity=1000.0, overdue=12.0)
    assert pool.start == pytest.approx(8.0)
    assert pool.due[:4] == pytest.approx(np.ones(4))
    assert pool.due[4:6] == pytest.approx([10.0, 10.0])


def test_a_longer_interval_puts_off_those_overdue_without_a_month_in_which_all_of_them_come():
    """120 of 2,000 overdue: the places that carry the settled year carry the year in which they come too."""
    today, rarer = (Policy(name, years, np.ones(1)) for name, years in (("second", 2.0), ("fourth", 4.0)))
    people, leaving = np.array([2000.0]), np.array([0.2])
    pool = follow_pool(rarer, today, people, leaving, capacity=95.0, overdue=120.0, months=60)
    assert (pool.start, pool.gone, pool.overdue.max()) == (0.0, 0, 0.0)
    assert pool.due.max() < 95.0


def test_new_cover_waits_for_a_first_course_and_who_is_dropped_does_not():
    people = np.array([100.0, 50.0])
    leaving = np.zeros(2)
    pool = follow_pool(yearly(0.5, 1.0), yearly(1.0, 0.2), people, leaving, capacity=20.0, months=12)
    assert pool.start == pytest.approx(40.0)
    assert pool.current[-1] + pool.overdue[-1] == pytest.approx(100.0)


def test_without_refreshers_only_newcomers_fall_due():
    once = Policy("once", np.inf, np.ones(1))
    pool = follow_pool(once, once, np.array([100.0]), np.array([0.3]), capacity=50.0, months=120)
    assert pool.due == pytest.approx(np.full(120, 100 * (1 - np.exp(-0.3 / 12))))
    assert monthly_demand(once, np.array([100.0]), np.array([0.3])) == pytest.approx(30 / 12)


pools = st.tuples(
    st.lists(
        st.tuples(st.floats(0, 300), st.floats(0, 1), st.floats(0, 1), st.floats(0, 2)),
        min_size=1,
        max_size=3,
    ),
    st.sampled_from([0.25, 1.0, 2.0, np.inf]),
    st.sampled_from([0.5, 1.0, 3.0, np.inf]),
    st.floats(0, 40),
    st.floats(0, 200),
)


@given(drawn=pools)
@settings(max_examples=60, deadline=None)
def test_everybody_covered_is_current_or_waits(drawn):
    groups, interval, before, capacity, overdue = drawn
    people, covered, covered_today, leaving = np.array(groups).T
    pool = follow_pool(
        Policy("new", interval, covered),
        Policy("today", before, covered_today),
        people,
        leaving,
        capacity=capacity,
        overdue=overdue,
        months=40,
    )
    assert pool.current + pool.overdue == pytest.approx(np.full(40, people @ covered), rel=1e-9, abs=1e-9)
    assert np.all(pool.trained <= capacity + 1e-9)
    for part in (pool.due, pool.trained, pool.overdue, pool.current):
        assert np.all(part >= 0)
    stays = np.exp(-np.max(leaving) / 12)  # of those who wait, at most this share is left a month later
    carried = np.append(pool.start, pool.overdue[:-1])
    assert np.all(pool.overdue + pool.trained <= carried + pool.due + 1e-9)
    assert np.all(pool.overdue + pool.trained >= carried * stays + pool.due - 1e-9)


@pytest.mark.parametrize("years", [1.0, 2.0, 4.0])
def test_a_settled_school_gives_the_courses_of_a_settled_year(years):
    policy, people, leaving = Policy("all", years, np.ones(1)), np.array([500.0]), np.array([0.15])
    pool = follow_pool(policy, policy, people, leaving, capacity=1e9, months=120)
    need = monthly_demand(policy, people, leaving)
    assert pool.trained.mean() == pytest.approx(need, rel=0.15 / 24 + 1e-6)  # whole months against moments


def test_places_below_the_need_of_a_settled_year_fall_behind_and_a_few_more_do_not():
    policy, people, leaving = Policy("all", 2.0, np.ones(1)), np.array([500.0]), np.array([0.15])
    need = monthly_demand(policy, people, leaving)
    words = [
        follow_pool(policy, policy, people, leaving, capacity=need * share, months=120).verdict
        for share in (0.9, 1.05)
    ]
    assert words == ["falls_behind", "keeps_up"]


@pytest.mark.parametrize("after", [24, 30])
def test_people_followed_one_by_one_wait_as_the_expected_numbers_do(after):
    """Written apart: 40,000 people with a clock each; too few places at first, then enough to catch up."""
    generator, people = np.random.default_rng(3), 40_000
    gone, places, interval = 1 - np.exp(-0.2 / 12), 1_900, 24
    draws = generator.geometric(gone, 4 * people) - 1
    months = draws[draws < interval][:people].astype(
        float
    )  # since the course; a settled year before anybody is late
    late = np.arange(people) < 6_000
    months[late] = interval + generator.integers(0, 12, 6_000)
    waits_for_first = np.zeros(people, dtype=bool)
    seen = []
    for _ in range(60):
        leaves = generator.random(people) < gone
        waits_for_first |= leaves
        months += 1
        new, again = np.flatnonzero(waits_for_first), np.flatnonzero((months >= after) & ~waits_for_first)
        served = np.concatenate([generator.permutation(new), generator.permutation(again)])[:places]
        months[served], waits_for_first[served] = 0.0, False
        seen.append((len(served), len(new) + len(again) - len(served)))
    trained, overdue = np.array(seen, dtype=float).T
    today, policy = (Policy("all", at / 12, np.ones(1)) for at in (interval, after))
    pool = follow_pool(
        *(policy, today, np.array([float(people)]), np.array([0.2])), capacity=places, overdue=6_000.0
    )
    assert overdue.max() > (5_000 if after == interval else 2_000)  # else the comparison is of nothing
    assert np.abs(pool.overdue - overdue).max() < 0.01 * people
    assert np.abs(pool.trained - trained).max() < 0.01 * people
