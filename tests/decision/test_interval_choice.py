"""Are the best interval, the flat stretch, regret and the steps what a plain count of a small table gives?"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plausible_worlds import many_worlds, one_world, two_policies

from survstats.decision.courses import refreshers
from survstats.decision.held import retained
from survstats.decision.interval_choice import choose_interval, flat_zone, regret, steps, values_of_life
from survstats.decision.outcome import outcomes_by_interval
from survstats.decision.refresher import NEVER, best_interval
from survstats.decision.world import Policy
from survstats.study.interval_told import LOOKED_AT

ALL = np.ones(3, dtype=bool)


def test_regret_counted_by_hand():
    worth = np.array([[4.0, 3.0, 0.0], [1.0, 5.0, 0.0]])  # the best: 4 and 5, on average 4.5
    assert regret(worth, ALL) == pytest.approx([2.0, 0.5, 4.5])
    only_last = regret(worth, np.array([True, False, True]))  # the best allowed: 4 and 1
    assert only_last[[0, 2]] == pytest.approx([0.0, 2.5])
    assert np.isnan(only_last[1])


def test_the_flat_stretch_is_unbroken_allowed_and_within_a_twentieth():
    worth = np.array([94.9, 95.0, 99.0, 100.0, 96.0, 90.0, 97.0])
    allowed = np.ones(7, dtype=bool)
    assert flat_zone(worth, 3, allowed) == (1, 4)
    allowed[4] = False
    assert flat_zone(worth, 3, allowed) == (1, 3)
    assert flat_zone(-worth, 0, np.ones(7, dtype=bool)) == (0, 0)


def test_one_world_with_one_group_has_the_interval_of_the_formula():
    world = one_world(leaving=np.full((1, 1), 0.15))
    policy = Policy("all", 2.0, np.ones(1))
    years = np.append(np.linspace(0.5, 8.0, 751), NEVER)
    found = outcomes_by_interval(world, [policy], years, today=policy)
    value = 3e6
    choice = choose_interval(found.lives[0], found.cost[0], value, np.ones(752, dtype=bool))
    benefit = value * 0.5 * 4.0 / 100.0 * 0.2
    best = float(best_interval(benefit, 600.0, np.log(2) / 2, leaving=0.15))
    assert years[choice.best] == pytest.approx(best, abs=0.01)
    each = benefit * retained(years, np.log(2) / 2, 0.15) - 600.0 * refreshers(years, 0.15)
    assert choice.worth == pytest.approx(100.0 * (each - each[-1]), rel=1e-9, abs=1e-6)
    assert choice.regret[choice.best] == 0.0


def test_on_the_grid_of_the_paper_one_world_has_the_interval_of_the_formula_within_a_step():
    world = one_world(leaving=np.full((1, 1), 0.15))
    policy = Policy("all", 2.0, np.ones(1))
    months = np.append(np.array(LOOKED_AT, dtype=float), NEVER)
    found = outcomes_by_interval(world, [policy], months / 12, today=policy)
    for value in (1e6, 3e6, 8e6):
        choice = choose_interval(found.lives[0], found.cost[0], value, np.ones(len(months), dtype=bool))
        best = 12 * float(best_interval(value * 0.5 * 4.0 / 100.0 * 0.2, 600.0, np.log(2) / 2, leaving=0.15))
        at = choice.best
        assert months[max(at - 1, 0)] < best < months[at + 1], value


def test_regret_is_never_negative_and_places_of_worlds_make_the_chances():
    policy, _ = two_policies()
    months = np.append(np.arange(6.0, 61.0, 6.0), NEVER)
    found = outcomes_by_interval(many_worlds(), [policy], months / 12, today=policy)
    allowed = months <= 48.0
    choice = choose_interval(found.lives[0], found.cost[0], 5e6, allowed)
    assert np.nanmin(choice.regret) >= 0.0
    assert np.nanargmin(choice.regret) == choice.best  # least regret and most worth are the same choice
    assert choice.chance_best.sum() == pytest.approx(1.0)
    assert np.all(choice.chance_best[~allowed] == 0.0)
    assert allowed[choice.of_worlds].all()


def test_steps_by_hand():
    # from the longest to the shortest: 0, 1, 1.5, 1.4 lives for 0, 10, 30, 50
    found = steps(np.array([0.0, 1.0, 1.5, 1.4]), np.array([0.0, 10.0, 30.0, 50.0]))
    assert [one.cost_per_life for one in found] == [10.0, 40.0, None]
    assert [(one.best_from, one.best_to) for one in found] == [(10.0, 40.0), (40.0, np.inf), (None, None)]


def test_an_option_between_two_better_ones_is_never_the_best():
    lives, cost = np.array([0.0, 0.4, 1.0]), np.array([0.0, 9.0, 10.0])
    assert values_of_life(lives, cost, 1) == (None, None)
    assert values_of_life(lives, cost, 0) == (0.0, 10.0)
    assert values_of_life(np.array([1.0, 1.0]), np.array([2.0, 1.0]), 0) == (None, None)


@given(
    options=st.lists(
        st.tuples(st.integers(-20, 20), st.integers(0, 50)), min_size=2, max_size=7, unique=True
    ),
    value=st.floats(0.0, 60.0),
)
@settings(max_examples=200, deadline=None)
def test_the_best_at_any_value_of_a_life_is_the_one_whose_stretch_holds_it(options, value):
    lives, cost = np.array(options, dtype=float).T
    worth = value * lives - cost
    for at in range(len(options)):
        least, most = values_of_life(lives, cost, at)
        inside = least is not None and least + 1e-9 < value < most - 1e-9
        if inside:
            assert worth[at] >= worth.max() - 1e-9
        elif worth[at] > np.delete(worth, at).max() + 1e-6:
            assert least is not None
            assert least - 1e-6 <= value <= most + 1e-6
