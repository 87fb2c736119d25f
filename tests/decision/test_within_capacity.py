"""Is the choice within the capacity the best there is, and the stated gap never too small?"""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from survstats.decision.within_capacity import MOST_EXACT, choose, divided_bound

some = st.lists(st.tuples(st.integers(-5, 60), st.integers(1, 30)), min_size=0, max_size=10)


def best_of_all(gain, courses, capacity) -> float:
    """Every subset, one by one."""
    return max(
        sum(g for g, taken in zip(gain, subset, strict=True) if taken)
        for subset in product((0, 1), repeat=len(gain))
        if sum(c for c, taken in zip(courses, subset, strict=True) if taken) <= capacity
    )


def by_table(gain, courses, capacity: int) -> float:
    """The best by capacity, one candidate after the other (whole courses)."""
    best = np.zeros(capacity + 1)
    for more, need in zip(gain, courses, strict=True):
        if need <= capacity:
            best[need:] = np.maximum(best[need:], best[: capacity + 1 - need] + max(more, 0.0))
    return float(best[-1])


@given(candidates=some, capacity=st.integers(0, 120))
@settings(max_examples=100, deadline=None)
def test_exact_for_few_against_every_subset(candidates, capacity):
    gain, courses = (
        (np.array(part, dtype=float) for part in zip(*candidates, strict=True))
        if candidates
        else (np.zeros(0),) * 2
    )
    found = choose(gain, courses, float(capacity))
    assert found.method == "exact"
    assert found.gap == 0.0
    assert found.gain == best_of_all(gain, courses, capacity)
    assert gain[found.chosen].sum() == found.gain
    assert courses[found.chosen].sum() <= capacity
    assert divided_bound(gain[gain > 0], courses[gain > 0], float(capacity)) >= found.gain - 1e-9


@pytest.mark.parametrize("seed", range(3))
def test_thirty_candidates_against_an_integer_programme(seed):
    generator = np.random.default_rng(seed)
    courses = generator.integers(20, 60, MOST_EXACT).astype(float)
    gain = courses * generator.uniform(0.9, 1.1, MOST_EXACT)  # much alike: hard to choose among
    found = choose(gain, courses, 400.0)
    other = milp(
        -gain,
        integrality=np.ones(MOST_EXACT),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(courses[None, :], ub=400.0),
        options={"mip_rel_gap": 0.0},
    )
    assert found.method == "exact"
    assert found.gain == pytest.approx(-other.fun, rel=1e-7)
    assert courses[found.chosen].sum() <= 400.0


@pytest.mark.parametrize("seed", range(5))
def test_beyond_thirty_the_best_lies_within_the_stated_gap(seed):
    generator = np.random.default_rng(seed)
    courses = generator.integers(1, 40, 60)
    gain = np.round(courses * generator.uniform(0.2, 2.0, 60), 3)
    found = choose(gain, courses.astype(float), 300.0)
    best = by_table(gain, courses, 300)
    assert found.method == "greedy"
    assert found.gain <= best + 1e-9 <= found.gain + found.gap + 2e-9
    assert courses[found.chosen].sum() <= 300


def test_greedy_takes_the_single_best_where_small_ones_block_it():
    gain, courses = np.array([1.0] * 31 + [90.0]), np.array([0.9] * 31 + [100.0])
    found = choose(gain, courses, 100.0)
    assert list(np.flatnonzero(found.chosen)) == [31]
    assert found.gap == pytest.approx(31 + 90 * (100 - 27.9) / 100 - 90)


def test_more_places_never_gain_less_and_harm_is_never_chosen():
    gain, courses = np.array([3.0, -1.0, 2.0, 5.0]), np.array([4.0, 1.0, 3.0, 6.0])
    gains = [choose(gain, courses, float(places)).gain for places in range(16)]
    assert gains == sorted(gains)
    assert not choose(gain, courses, 100.0).chosen[1]
    assert not choose(-np.abs(gain), courses, 100.0).chosen.any()
