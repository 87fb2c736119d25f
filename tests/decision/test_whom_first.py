"""Is what a course adds the area between holding it anew and still holding it, and is the order's doubt counted?"""

from __future__ import annotations

import numpy as np
import pytest
from plausible_worlds import many_worlds, one_world, two_policies
from scipy.integrate import quad

from survstats.decision.outcome import outcome
from survstats.decision.whom_first import candidates, ranking, years_held
from survstats.decision.world import Policy

FADING = np.log(2) / 2
EVERYBODY = Policy("all", 2.0, np.ones(1))


@pytest.mark.parametrize(("months", "mean"), [(6.0, 0.020), (24.0, 0.061), (48.0, 0.092)])
def test_golden_gains_over_two_years(months, mean):
    """A gain of 17 points on the day of the course, half-life and horizon two years; the area by quadrature besides."""
    world = one_world(gain=np.full((1, 1, 2), 0.17))
    found = candidates(world, EVERYBODY, months_since=(months,), horizon=2.0)
    exposed = 0.5 * 4.0  # people at risk in a year
    assert found.gain[0, 0] / exposed / 2.0 == pytest.approx(mean, abs=5e-4)
    area, _ = quad(lambda t: 0.17 * (np.exp(-FADING * t) - np.exp(-FADING * (months / 12 + t))), 0, 2)
    assert found.gain[0, 0] == pytest.approx(exposed * area, rel=1e-9)


def test_leavers_thin_what_a_course_adds_as_people_followed_one_by_one_show():
    generator = np.random.default_rng(4)
    stays = np.minimum(generator.exponential(1 / 0.3, 400_000), 2.0)
    held = (1 - np.exp(-FADING * stays)) / FADING
    error = held.std() / np.sqrt(len(held))
    assert abs(years_held(FADING, 0.3, 2.0) - held.mean()) < 3.5 * error
    assert years_held(FADING, 0.3, 2.0) < 0.95 * years_held(FADING, 0.0, 2.0)  # the test would notice 5 %
    assert years_held(0.0, 0.0, 2.0) == 2.0


def test_the_covered_need_a_refresher_and_the_others_a_first_course():
    world = one_world(
        survival_untrained=np.full((1, 1, 2), 0.5),
        gain=np.array([[[0.3, 0.2]]]),  # never trained, trained
        false_confidence=np.array([0.01]),
        deaths_per_course=np.array([1e-5]),
        injuries_per_course=np.array([0.1]),
        injury_cost=np.array([500.0]),
    )
    found = candidates(world, Policy("part", 2.0, np.array([0.7])), months_since=(12.0,), horizon=2.0)
    assert found.kinds == ("refresher", "first")
    assert found.people == pytest.approx([70.0, 30.0])
    assert found.cost[0] == pytest.approx([70 * 650.0, 30 * 950.0])
    area = (1 - 0.5) / FADING
    refresher = 0.5 * 4.0 * 0.7 * 0.2 * (1 - 0.5**0.5) * area - 70e-5
    first = 0.5 * 4.0 * 0.3 * (0.3 * area - 0.01 * 2.0) - 30e-5
    assert found.gain[0] == pytest.approx([refresher, first])


def test_nobody_is_counted_who_would_live_already_and_nothing_is_lost_that_is_not_there():
    # of .6 who live untrained no more than .4 can be gained; .7 fades to that, and on through two years
    there = 2.0

    def held(gain):
        whole = np.log(gain / 0.4) / FADING
        assert 0 < whole < 2
        return (0.4 * whole + 0.4 * (1 - np.exp(-FADING * (2 - whole))) / FADING) / there

    much = one_world(survival_untrained=np.full((1, 1, 2), 0.6), gain=np.full((1, 1, 2), 0.7))
    nobody = Policy("none", 2.0, np.zeros(1))
    first = candidates(much, nobody, months_since=(None,), horizon=2.0).gain[0, 0]
    assert first == pytest.approx(0.5 * 4.0 * held(0.7) * there)
    after_a_year = candidates(much, EVERYBODY, months_since=(12.0,), horizon=2.0).gain[0, 0]
    assert after_a_year == pytest.approx(0.5 * 4.0 * (held(0.7) - held(0.7 * 0.5**0.5)) * there)
    sure = one_world(
        survival_untrained=np.full((1, 1, 2), 0.02),
        gain=np.full((1, 1, 2), 0.01),
        false_confidence=np.array([0.3]),
    )
    lost = candidates(sure, nobody, months_since=(None,), horizon=2.0).gain[0, 0]
    assert lost == pytest.approx(-0.5 * 4.0 * 0.02 * there)


def test_without_months_given_they_are_those_of_a_settled_year():
    world = one_world(leaving=np.full((1, 1), 0.2))
    found = candidates(world, EVERYBODY, months_since=(None,), horizon=2.0)
    months = np.linspace(0, 24, 20_001)
    there = np.exp(-0.2 * months / 12)
    each = [candidates(world, EVERYBODY, months_since=(at,), horizon=2.0).gain[0, 0] for at in months[::1000]]
    assert found.gain[0, 0] == pytest.approx(
        np.trapezoid(np.array(each) * there[::1000]) / np.trapezoid(there[::1000]), rel=2e-3
    )


def test_over_a_long_time_a_first_course_for_all_adds_up_to_a_policy_without_refreshers():
    """Joiners bring as much a year as one wave of courses brings over an endless horizon, times their rate."""
    world = one_world(leaving=np.full((1, 1), 0.25))
    nobody = Policy("none", np.inf, np.zeros(1))
    wave = candidates(world, nobody, months_since=(None,), horizon=1e3).gain[0, 0]
    settled = outcome(world, Policy("once", np.inf, np.ones(1)), today=nobody).lives[0]
    assert 0.25 * wave == pytest.approx(settled, rel=1e-9)


def test_where_training_harms_a_course_adds_less_than_nothing():
    policy, _ = two_policies()
    found = candidates(many_worlds(gain=-0.3), policy, months_since=(None, 12.0, None), horizon=2.0)
    assert np.all(found.gain.mean(axis=0) < 0)


def test_ranks_by_hand():
    gain = np.array([[4.0, 2.0, 9.0], [4.0, 5.0, 1.0], [4.0, 1.0, 3.0], [4.0, 1.0, 3.0]])
    courses = np.array([1.0, 1.0, 3.0])  # each course: 4 2 3, 4 5 .3, 4 1 1, 4 1 1
    order = ranking(gain, courses)
    assert list(order.rank) == [1, 2, 3]  # means 4, 2.25, 1.33
    assert order.chance_first == pytest.approx([0.75, 0.25, 0.0])
    assert order.rank_low[0] == pytest.approx(1.0)
    assert order.rank_high[2] == pytest.approx(3.0)


def test_chances_to_be_first_add_up_and_the_order_of_candidates_does_not_matter():
    policy, _ = two_policies()
    found = candidates(many_worlds(), policy, months_since=(6.0, None, None), horizon=2.0)
    order = ranking(found.gain, found.people)
    assert order.chance_first.sum() == pytest.approx(1.0)
    turned = ranking(found.gain[:, ::-1], found.people[::-1])
    assert turned.chance_first[::-1] == pytest.approx(order.chance_first)
    assert list(turned.rank[::-1]) == list(order.rank)
    assert np.all(order.rank_low <= order.rank_high)


def test_nobody_needs_a_course_where_there_is_nobody():
    found = candidates(one_world(people=np.zeros(1)), EVERYBODY, months_since=(None,), horizon=2.0)
    assert found.gain.shape == (1, 0)
    assert found.groups == ()
