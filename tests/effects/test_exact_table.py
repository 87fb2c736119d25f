"""Limits of shares and of their difference against published tables, and at the ends."""

from __future__ import annotations

import math

import pytest
from scipy import stats

from survstats.effects.exact_table import clopper_pearson, exact_share, newcombe_difference, wilson
from survstats.groundwork.errors import NotEstimable

SHARES = [(81, 263), (15, 148), (0, 20), (1, 29)]


@pytest.mark.parametrize(
    ("share", "low", "high"),
    [
        (SHARES[0], 0.2553, 0.3662),
        (SHARES[1], 0.0624, 0.1605),
        (SHARES[2], 0, 0.1611),
        (SHARES[3], 0.0061, 0.1718),
    ],
)
def test_score_limits_of_a_share_as_published(share, low, high):
    # Newcombe 1998, Statistics in Medicine 17:857-872, table I, method 3; from memory, and computed again by R
    assert wilson(*share) == pytest.approx((low, high), abs=5.1e-5)


@pytest.mark.parametrize(
    ("share", "low", "high"),
    [
        (SHARES[0], 0.2527, 0.3676),
        (SHARES[1], 0.0578, 0.1617),
        (SHARES[2], 0, 0.1684),
        (SHARES[3], 0.0009, 0.1776),
    ],
)
def test_exact_limits_of_a_share_as_published(share, low, high):
    # Newcombe 1998, Statistics in Medicine 17:857-872, table I, method 5; from memory, and computed again by R
    assert clopper_pearson(*share) == pytest.approx((low, high), abs=5.1e-5)


@pytest.mark.parametrize(
    ("trained", "untrained", "low", "high"),
    [
        ((56, 70), (48, 80), 0.0524, 0.3339),
        ((9, 10), (3, 10), 0.1705, 0.8090),
        ((6, 7), (2, 7), 0.0582, 0.8062),
        ((5, 56), (0, 29), -0.0381, 0.1926),
        ((10, 10), (0, 10), 0.6075, 1.0000),
    ],
)
def test_limits_of_a_difference_as_published(trained, untrained, low, high):
    # Newcombe 1998, Statistics in Medicine 17:873-890, table II, method 10; from memory, and computed again by R
    found = newcombe_difference(trained, untrained, mishaps=4)
    assert (found.low, found.high) == pytest.approx((low, high), abs=5.1e-5)
    assert found.value == pytest.approx(trained[0] / trained[1] - untrained[0] / untrained[1])
    assert found.occupants == trained[1] + untrained[1]


@pytest.mark.parametrize("share", [*SHARES, (20, 20), (7, 9)])
@pytest.mark.parametrize("level", [0.8, 0.95])
def test_exact_limits_leave_the_stated_chance_in_each_tail(share, level):
    # the definition itself, by scipy's binomial distribution
    successes, total = share
    low, high = clopper_pearson(successes, total, level=level)
    if successes:
        assert stats.binom.sf(successes - 1, total, low) == pytest.approx((1 - level) / 2)
    if successes < total:
        assert stats.binom.cdf(successes, total, high) == pytest.approx((1 - level) / 2)


def test_groups_exchanged_turn_the_limits():
    there, back = (newcombe_difference(*pair, mishaps=2) for pair in (((9, 10), (3, 12)), ((3, 12), (9, 10))))
    assert (there.low, there.high) == pytest.approx((-back.high, -back.low))


def test_an_empty_group_is_said():
    with pytest.raises(NotEstimable):
        newcombe_difference((0, 0), (3, 4), mishaps=1)
    with pytest.raises(NotEstimable):
        exact_share(0, 0, mishaps=0)


def test_a_share_keeps_what_it_rests_on():
    found = exact_share(3, 4, mishaps=2)
    assert (found.value, found.occupants, found.mishaps) == (0.75, 4, 2)
    assert math.isnan(found.se)
    assert found.low < 0.75 < found.high
