"""Is expected net benefit none exactly where a break-even says, and on the side it says?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from some_worlds import keeps, plain_world, some_worlds

from survstats.decision.break_even import BreakEven, mishaps, points, value_of_life
from survstats.decision.draw_worlds import assumed_gain
from survstats.decision.outcome import outcome


def months_until(held):
    """Months after which somebody holds this share of a gain whose half-life is two years."""
    return np.array([-24 * np.log2(held)])


TODAY = keeps(3, 0.5, 0.5, 0.5)
WIDER = keeps(1, 1, 0.8, 0.6)
CUT = keeps(4, 0.2, 0.1, 0)


def worth(worlds, policy, value, today=TODAY):
    found = outcome(worlds, policy, today=today)
    return value * found.lives.mean() - found.extra_cost.mean()


def with_difference(worlds, difference):
    return assumed_gain(worlds, difference)


def test_a_value_of_life_by_hand():
    # .35 mishaps a year x 6.88 people x .5 x .17 lives for 5,000 and 50 refreshers every two years at 800
    found = value_of_life(outcome(plain_world(), keeps(2, 0.5), today=keeps(2, 0)))
    assert found == BreakEven(pytest.approx((5000 + 25 * 800) / 0.20468, rel=1e-5), "above")


def test_a_cut_is_worth_it_below_a_value_of_life():
    found = value_of_life(outcome(plain_world(), keeps(2, 0.0), today=keeps(2, 0.5)))
    assert found.form == "below"
    assert found.value == pytest.approx((5000 + 25 * 800) / 0.20468, rel=1e-5)


@pytest.mark.parametrize(
    ("policy", "today", "changes", "form"),
    [
        (keeps(2, 0.5), keeps(2, 0), {"gain": [[[-0.1, -0.1]]]}, "never"),
        (keeps(2, 0), keeps(2, 0.5), {"gain": [[[-0.1, -0.1]]]}, "always"),
        (keeps(4, 0.5), keeps(2, 0.5), {}, "always"),  # cheaper, and nothing fades
    ],
)
def test_where_lives_and_money_go_together_there_is_no_break_even(policy, today, changes, form):
    assert value_of_life(outcome(plain_world(**changes), policy, today=today)) == BreakEven(None, form)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 40), st.sampled_from([WIDER, CUT]), st.floats(1e3, 1e8))
def test_net_benefit_is_none_at_each_break_even_and_turns_there(seed, policy, value):
    worlds = some_worlds(seed, draws=50)
    found = value_of_life(outcome(worlds, policy, today=TODAY))
    if found.value is not None:
        turns(found, lambda v: worth(worlds, policy, v), found.value)
    found = mishaps(worlds, policy, today=TODAY, value_of_life=value)
    if found.value is not None:
        turns(
            found,
            lambda rate: worth(replace(worlds, mishaps_a_year=np.full(50, rate)), policy, value),
            found.value,
        )
    found = points(worlds, policy, today=TODAY, value_of_life=value)
    if found.value is not None:
        turns(found, lambda d: worth(with_difference(worlds, d), policy, value), found.value)


def turns(found, at, value):
    size = abs(at(value * 1.5)) + abs(at(value * 0.5))
    assert abs(at(value)) <= 1e-8 * size
    assert (at(value * 1.01) > 0) == (found.form == "above")
    assert (at(value * 0.99) > 0) == (found.form == "below")


def test_points_do_not_hang_on_the_estimate():
    worlds = some_worlds(1)
    other = replace(worlds, gain=worlds.gain * 0.1, false_confidence=np.zeros(worlds.draws))
    same = replace(worlds, false_confidence=np.zeros(worlds.draws))
    found = [points(one, WIDER, today=TODAY, value_of_life=1e6) for one in (same, other)]
    assert found[0] == found[1]


def test_points_by_hand_are_those_observed_and_not_those_of_the_first_day():
    world = plain_world(fading=[np.log(2) / 2])
    held = 0.475  # of the gain, by the people of the records
    recorded = replace(world, recorded_months=months_until(held))
    found = points(recorded, keeps(2, 0.5), today=keeps(2, 0), value_of_life=1e6)
    lives = (5000 + 25 * 800) / 1e6
    assert found == BreakEven(
        pytest.approx(lives / (0.35 * 6.88 * 0.5 * 0.7213475204444817) * held, rel=1e-5), "above"
    )


def test_a_gain_beyond_all_who_die_is_none():
    found = points(plain_world(), keeps(2, 0.5), today=keeps(2, 0), value_of_life=1e3)
    assert found == BreakEven(None, "never")
    found = points(plain_world(), keeps(2, 0), today=keeps(2, 0.5), value_of_life=1e3)
    assert found == BreakEven(None, "always")


def test_points_turn_where_worth_turns_with_what_is_held_cut():
    # of 4 in 10 who die untrained, those refreshed each second year hold .72 of a small gain and each fourth year .54
    world = plain_world(fading=[np.log(2) / 2], recorded_months=months_until(0.72))
    rarer, often = keeps(4, 1), keeps(2, 1)
    money = 25 * 800.0
    lost = (0.7213475204 - 0.5410106403) / 0.72 * 0.35 * 6.88  # lives for a difference of 1
    found = points(world, rarer, today=often, value_of_life=money / (lost * 0.2))
    assert found == BreakEven(pytest.approx(0.2, rel=1e-6), "below")
    # more is lost the more there is to lose, until even those refreshed each fourth year all live for most of it
    at = np.linspace(0, 0.4, 401)
    worlds = [assumed_gain(world, one) for one in at]
    most = -min(outcome(one, rarer, today=often).lives[0] for one in worlds)
    found = points(world, rarer, today=often, value_of_life=money / (most * 1.01))
    assert found == BreakEven(None, "always")


def test_worth_that_turns_and_turns_back_has_no_one_place():
    # of all who die untrained those refreshed each second year lose most at a middling gain; a great one lasts for all
    world = plain_world(fading=[np.log(2) / 2], recorded_months=months_until(0.2))
    rarer, often = keeps(10, 1), keeps(2, 1)
    money = 100 * (1 / 2 - 1 / 10) * 800.0
    at = np.linspace(0, 0.4, 401)
    lost = np.array([-outcome(assumed_gain(world, one), rarer, today=often).lives[0] for one in at])
    assert lost.argmax() not in (0, 400)  # it turns
    between = (lost.max() + lost[-1]) / 2
    assert points(world, rarer, today=often, value_of_life=money / between) == BreakEven(None, "turns_twice")
    found = points(world, rarer, today=often, value_of_life=money / (lost[-1] * 0.9))
    assert found.form == "below"
    assert np.interp(found.value, at, lost) == pytest.approx(lost[-1] * 0.9, rel=1e-3)


def test_harm_in_training_can_be_worth_it_at_no_gain_of_today_but_at_more_mishaps():
    worlds = plain_world(deaths_per_course=[0.01])
    found = mishaps(worlds, keeps(2, 0.5), today=keeps(2, 0), value_of_life=1e6)
    assert found.form == "above"
    assert found.value == pytest.approx((25_000 / 1e6 + 25 * 0.01) / (6.88 * 0.5 * 0.17), rel=1e-6)


def test_today_against_itself_is_worth_it_nowhere():
    assert mishaps(plain_world(), keeps(2, 1), today=keeps(2, 1), value_of_life=1e6) == BreakEven(
        None, "never"
    )
