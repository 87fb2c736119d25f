"""Is the share of the gain that people hold between courses the one that follows from fading and leaving?"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from survstats.decision.held import mean_discount, retained
from survstats.groundwork.errors import CallError

HALVED_IN_TWO_YEARS = np.log(2) / 2
RATES = st.one_of(st.just(0.0), st.floats(1e-12, 5))
YEARS = st.floats(0.01, 80)


def test_half_life_of_two_years_gives_the_designs_shares():
    # the design's section 6: courses every 12, 24 and 48 months, nobody leaves
    found = retained([1, 2, 4], HALVED_IN_TWO_YEARS)
    assert found == pytest.approx([0.845111, 0.721348, 0.541011], abs=5e-7)


@settings(max_examples=40, deadline=None)
@given(YEARS, RATES, RATES)
def test_it_is_the_mean_of_what_is_left_over_the_time_since_the_last_course(interval, fading, leaving):
    def there(m: float) -> float:
        return np.exp(-leaving * m)

    held = quad(lambda m: there(m) * np.exp(-fading * m), 0, interval, epsabs=0, epsrel=1e-11, limit=200)[0]
    all_there = quad(there, 0, interval, epsabs=0, epsrel=1e-11, limit=200)[0]
    assert retained(interval, fading, leaving) == pytest.approx(held / all_there, rel=1e-7)


@settings(max_examples=40, deadline=None)
@given(YEARS, RATES, RATES, st.floats(1, 5))
def test_it_is_a_share_that_falls_with_the_interval_and_with_fading(interval, fading, leaving, more):
    found = float(retained(interval, fading, leaving))
    assert 0 < found <= 1
    assert retained(interval * more, fading, leaving) <= found + 1e-12
    assert retained(interval, fading * more, leaving) <= found + 1e-12
    assert retained(interval, fading, leaving + more) >= found - 1e-12  # joiners come fresh from their course


@settings(max_examples=40, deadline=None)
@given(YEARS, st.floats(0, 5))
def test_few_leavers_are_as_good_as_none(interval, fading):
    at_none = retained(interval, fading, 0.0)
    for leaving in (1e-14, 1e-10, 1e-300):
        assert retained(interval, fading, leaving) == pytest.approx(at_none, rel=1e-7)


def test_without_refresher_only_joiners_bring_it_back():
    assert retained(np.inf, 0.3, 0.1) == pytest.approx(0.25)
    assert retained(1e9, 0.3, 0.1) == pytest.approx(0.25)
    assert retained(np.inf, 0.3, 0.0) == 0
    assert retained(np.inf, 0.0, 0.0) == 1


def test_it_broadcasts_over_worlds_groups_and_intervals():
    found = retained([1.0, np.inf], np.full((5, 1, 1), 0.3), np.full((5, 3, 1), 0.1))
    assert found.shape == (5, 3, 2)
    assert found[2, 1] == pytest.approx([float(retained(1.0, 0.3, 0.1)), 0.25])


def test_mean_discount_is_smooth_at_none():
    assert mean_discount([0.0, 1e-12, 1.0]) == pytest.approx([1.0, 1 - 5e-13, 1 - np.exp(-1)], rel=1e-15)


@pytest.mark.parametrize(
    ("arguments", "reason"),
    [
        ((0.0, 0.3, 0.1), "interval_not_positive"),
        ((np.nan, 0.3, 0.1), "interval_not_positive"),
        ((1.0, -0.3, 0.1), "rate_negative"),
        ((1.0, 0.3, np.inf), "rate_negative"),
    ],
)
def test_what_is_no_interval_or_rate_is_refused(arguments, reason):
    with pytest.raises(CallError) as caught:
        retained(*arguments)
    assert caught.value.reason == reason
