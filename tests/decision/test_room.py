"""How much of a gain finds room: against sums over people, one by one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from survstats.decision.held import retained
from survstats.decision.room import (
    difference_held,
    difference_recorded,
    faded,
    gain_of_first_day,
    survival_holding,
)

RATES = st.sampled_from([0.0, 0.05, 0.35, 1.2])
SHARES = st.one_of(st.just(0.0), st.just(1.0), st.floats(0, 1))
FEW = settings(max_examples=60, deadline=None)


def over_people(gain, untrained, interval, fading, leaving, people=200_001):
    """The mean over people spread as leaving spreads them, each cut by themselves."""
    most = interval if np.isfinite(interval) else 40 / leaving
    years = most * (np.arange(people) + 0.5) / people
    there = np.exp(-leaving * years)
    each = np.clip(gain * np.exp(-fading * years), -untrained, 1 - untrained)
    return float((each * there).sum() / there.sum())


@FEW
@given(
    st.floats(-2, 2),
    SHARES,
    st.sampled_from([0.5, 2.0, 10.0, np.inf]),
    RATES,
    st.sampled_from([0.0, 0.1, 0.4]),
)
def test_it_is_the_mean_over_people_cut_one_by_one(gain, untrained, interval, fading, leaving):
    if np.isinf(interval) and leaving == 0:
        return
    found = float(difference_held(gain, untrained, interval=interval, fading=fading, leaving=leaving))
    assert found == pytest.approx(over_people(gain, untrained, interval, fading, leaving), abs=5e-5)
    assert -1e-12 <= untrained + found <= 1 + 1e-12


def test_by_hand():
    # .8 of .4 who die: whole until half is left, one half-life of two years; then .4 x 2 / ln 2 / 2 over two years more
    found = difference_held(0.8, 0.6, interval=4, fading=np.log(2) / 2)
    assert float(found) == pytest.approx((2 * 0.4 + 0.4 * (1 - 0.5) * 2 / np.log(2)) / 4)
    assert float(difference_held(0.8, 0.6, interval=2, fading=np.log(2) / 2)) == pytest.approx(0.4)
    assert float(difference_held(-0.8, 0.6, interval=1, fading=0.0)) == -0.6
    assert float(difference_held(0.8, 1.0, interval=1, fading=0.3)) == 0
    assert float(difference_held(0.3, 0.6, interval=np.inf, fading=0.3)) == 0


def test_with_room_enough_it_is_gain_times_what_is_held():
    gain, held = np.linspace(-0.5, 0.3, 9), retained(3, 0.3, 0.2)
    found = difference_held(gain, 0.6, interval=3, fading=0.3, leaving=0.2)
    np.testing.assert_allclose(found, gain * held, rtol=1e-14)


@FEW
@given(st.integers(0, 10_000), st.integers(1, 30), st.floats(0, 2))
def test_the_gain_of_the_first_day_gives_the_recorded_difference_back(seed, people, fading):
    rng = np.random.default_rng(seed)
    untrained = rng.uniform(0, 1, (20, 3, 2))
    observed = rng.uniform(-untrained, 1 - untrained)
    still = faded(np.full(20, fading), rng.uniform(0, 60, people))
    gain = gain_of_first_day(observed, untrained, still)
    one_by_one = np.clip(gain[:, None] * still[:, :, None, None], -untrained[:, None], 1 - untrained[:, None])
    np.testing.assert_allclose(one_by_one.mean(axis=1), observed, atol=1e-12)
    np.testing.assert_allclose(difference_recorded(gain, untrained, still), observed, atol=1e-12)
    assert (np.abs(gain) >= np.abs(observed) - 1e-12).all()


def test_all_the_room_filled_asks_for_no_more_than_fills_it_for_everybody():
    still = np.array([[1.0, 0.5]])
    full = gain_of_first_day(np.array([[0.5, 0.9, -0.5, 0.0]]), np.array([[0.5, 0.5, 0.5, 1.0]]), still)
    np.testing.assert_allclose(full, [[1.0, 1.0, -1.0, 0.0]])


@FEW
@given(st.floats(-3, 3), SHARES, st.floats(0, 1), st.floats(0.1, 9))
def test_survival_is_a_share_and_false_confidence_takes_no_more_than_there_is(
    gain, untrained, lost, interval
):
    plain = float(survival_holding(gain, untrained, interval=interval, fading=0.4, leaving=0.1))
    assert 0 <= plain <= 1
    less = float(survival_holding(gain, untrained, lost, interval=interval, fading=0.4, leaving=0.1))
    assert less == pytest.approx(max(plain - lost, 0), abs=1e-12)
