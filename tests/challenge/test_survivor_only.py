"""Is the arithmetic of the survivor headline right, at its listed values and against counting every whole number?"""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from survstats.challenge.survivor_only import (
    Assumed,
    Headline,
    compare,
    difference_range,
    if_not_negative,
    rounded_range,
    share_of_dead,
    shares_aboard_possible,
    whole_number_behind,
)
from survstats.groundwork.errors import CallError

HUNDRED = Headline(aboard=100, died=40, trained_of_survivors=(0.8, 0.8))


def near(value):
    return pytest.approx(value, rel=1e-5)


# ---- listed values (computed twice by independent code) -----------------------------------------------------------


def test_golden_range_without_any_share_of_the_dead():
    # by hand: -40 / (48 + 40) and 40 / (12 + 40)
    assert difference_range(60, 40, of_survivors=(0.8, 0.8)) == near((-0.454545, 0.769231))


def test_golden_at_half_of_the_dead():
    found = compare(60, 40, of_survivors=0.8, of_dead=0.5)
    assert (found.difference, found.survival_ratio, found.odds_ratio) == near((0.330882, 1.882353, 4.0))


def test_golden_at_nine_tenths_of_the_dead():
    assert compare(60, 40, of_survivors=0.8, of_dead=0.9).difference == near(-0.178571)


def test_golden_from_the_share_aboard():
    low, high = share_of_dead(HUNDRED, (0.7, 0.7))
    assert (low, high) == near((0.55, 0.55))
    found = compare(60, 40, of_survivors=0.8, of_dead=low)
    assert (found.difference, found.survival_ratio, found.odds_ratio) == near((0.285714, 1.714286, 3.272727))


def test_golden_shares_aboard_that_agree():
    assert shares_aboard_possible(HUNDRED) == near((0.48, 0.88))


@pytest.mark.parametrize("aboard", [(0.0, 0.479), (0.881, 1.0), (0.2, 0.2)])
def test_figures_that_contradict_each_other_are_never_clipped(aboard):
    with pytest.raises(CallError, match="contradict") as caught:
        share_of_dead(HUNDRED, aboard)
    assert caught.value.reason == "contradiction"


def test_a_range_that_reaches_over_the_edge_keeps_what_is_possible():
    assert share_of_dead(HUNDRED, (0.4, 0.58)) == near((0.0, 0.25))
    assert share_of_dead(HUNDRED, (0.48, 0.48)) == pytest.approx((0.0, 0.0), abs=1e-12)
    assert share_of_dead(HUNDRED, (0.88, 0.88)) == near((1.0, 1.0))


def test_with_nothing_known_of_the_dead_the_odds_ratio_may_be_anything():
    # from hardly any of the dead trained to nearly all of them, every odds ratio is passed
    few, many = (compare(60, 40, of_survivors=0.8, of_dead=share).odds_ratio for share in (1e-9, 1 - 1e-9))
    assert few > 1e8
    assert many < 1e-8


def test_golden_slope_of_the_share_of_the_dead_in_the_share_aboard():
    # N / D = 2.5: an error of two points in the share aboard is one of five points among the dead
    assert share_of_dead(HUNDRED, (0.72, 0.72))[0] - share_of_dead(HUNDRED, (0.70, 0.70))[0] == near(0.05)


def test_rounded_figures_reach_to_the_corners_of_their_box():
    # 80 % and 70 % to whole per cents: r from (.695 x 100 - .805 x 60) / 40 to (.705 x 100 - .795 x 60) / 40, by hand
    rounded = Headline(100, 40, rounded_range(0.8, 0))
    of_dead = share_of_dead(rounded, rounded_range(0.7, 0))
    assert of_dead == near((0.53, 0.57))
    low, high = difference_range(60, 40, of_survivors=rounded.trained_of_survivors, of_dead=of_dead)
    corners = [
        compare(60, 40, of_survivors=q, of_dead=r).difference
        for q in rounded.trained_of_survivors
        for r in of_dead
    ]
    assert (low, high) == near((min(corners), max(corners)))
    assert low < 0.285714 < high


# ---- an assumption, labelled ----------------------------------------------------------------------------------------


def test_a_range_cut_at_zero_says_that_it_was():
    cut = if_not_negative(difference_range(60, 40, of_survivors=(0.8, 0.8)))
    assert cut == Assumed(0.0, pytest.approx(0.769231, rel=1e-5), "not_negative")
    assert if_not_negative((0.1, 0.3)) == Assumed(0.1, 0.3, "not_negative")


def test_an_assumption_that_the_figures_contradict_is_refused():
    below = difference_range(60, 40, of_survivors=(0.8, 0.8), of_dead=(0.85, 0.9))
    assert below[1] < 0
    with pytest.raises(CallError) as caught:
        if_not_negative(below)
    assert caught.value.reason == "contradiction"
    assert if_not_negative((-0.2, 0.0)) == Assumed(0.0, 0.0, "not_negative")


# ---- properties -----------------------------------------------------------------------------------------------------

counts = st.integers(1, 30)


@given(survivors=counts, died=counts, data=st.data())
def test_no_share_of_the_dead_leaves_the_range_and_both_ends_are_reached(survivors, died, data):
    trained = data.draw(st.integers(0, survivors))
    q = trained / survivors
    low, high = difference_range(survivors, died, of_survivors=(q, q))
    every = [
        trained / (trained + dead) - (survivors - trained) / (survivors - trained + died - dead)
        for dead in range(died + 1)
        if trained + dead and survivors - trained + died - dead
    ]
    assert all(later < earlier for earlier, later in pairwise(every))
    assert low <= min(every) + 1e-12
    assert high >= max(every) - 1e-12
    if 0 < trained < survivors:
        assert (low, high) == pytest.approx((min(every), max(every)), abs=1e-12)
        assert (low, high) == pytest.approx((-died / (trained + died), died / (survivors - trained + died)))


@given(survivors=counts, died=counts, q=st.floats(0.01, 0.99), r=st.floats(0.01, 0.99))
def test_no_effect_exactly_where_the_dead_were_trained_as_often(survivors, died, q, r):
    same = compare(survivors, died, of_survivors=q, of_dead=q)
    assert same.difference == pytest.approx(0, abs=1e-12)
    assert (same.survival_ratio, same.odds_ratio) == pytest.approx((1, 1), rel=1e-9)
    found = compare(survivors, died, of_survivors=q, of_dead=r)
    if abs(r - q) > 1e-6:
        assert (found.difference > 0) == (found.survival_ratio > 1) == (found.odds_ratio > 1) == (r < q)


@given(
    survivors=counts, died=counts, q=st.floats(0.01, 0.99), r=st.floats(0.01, 0.9), more=st.floats(0.01, 0.09)
)
def test_all_three_comparisons_fall_as_more_of_the_dead_were_trained(survivors, died, q, r, more):
    fewer, further = (compare(survivors, died, of_survivors=q, of_dead=share) for share in (r, r + more))
    assert fewer.difference > further.difference
    assert fewer.survival_ratio > further.survival_ratio
    assert fewer.odds_ratio > further.odds_ratio


@given(
    survivors=counts,
    died=counts,
    q=st.tuples(st.floats(0, 1), st.floats(0, 1)).map(sorted).map(tuple),
    r=st.tuples(st.floats(0, 1), st.floats(0, 1)).map(sorted).map(tuple),
    at=st.tuples(st.floats(0, 1), st.floats(0, 1)),
)
def test_whole_boxes_lie_between_their_corners(survivors, died, q, r, at):
    low, high = difference_range(survivors, died, of_survivors=q, of_dead=r)
    assert -1 <= low <= high <= 1
    inside_q, inside_r = (ends[0] + part * (ends[1] - ends[0]) for ends, part in zip((q, r), at, strict=True))
    trained = inside_q * survivors + inside_r * died
    if 1e-9 < trained < survivors + died - 1e-9:
        found = compare(survivors, died, of_survivors=inside_q, of_dead=inside_r).difference
        assert low - 1e-9 <= found <= high + 1e-9


@given(died=counts, survivors=counts, q=st.floats(0, 1), r=st.floats(0, 1))
def test_the_share_of_the_dead_comes_back_from_the_share_aboard(died, survivors, q, r):
    headline = Headline(survivors + died, died, (q, q))
    aboard = (q * survivors + r * died) / headline.aboard
    low, high = shares_aboard_possible(headline)
    assert low - 1e-12 <= aboard <= high + 1e-12
    assert share_of_dead(headline, (aboard, aboard)) == pytest.approx((r, r), abs=1e-9)


@pytest.mark.parametrize("q", [0.0, 1.0])
def test_everyone_or_no_one_trained_among_the_survivors(q):
    low, high = difference_range(60, 40, of_survivors=(q, q))
    assert -1 <= low < high <= 1
    assert math.isfinite(low)
    assert math.isfinite(high)
    with pytest.raises(CallError) as caught:
        compare(60, 40, of_survivors=q, of_dead=q)
    assert caught.value.reason == "empty_group"
    # by hand: all survivors trained, half of the dead: 60/80 - 0/20
    assert compare(60, 40, of_survivors=1.0, of_dead=0.5).difference == pytest.approx(0.75)
    assert compare(60, 40, of_survivors=1.0, of_dead=0.5).odds_ratio == math.inf


# ---- figures as they are told ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("share", "decimals", "expected"),
    [(0.6, 0, (0.595, 0.605)), (0.625, 1, (0.6245, 0.6255)), (0.0, 0, (0.0, 0.005)), (1.0, 0, (0.995, 1.0))],
)
def test_what_a_rounded_share_may_have_been(share, decimals, expected):
    assert rounded_range(share, decimals) == pytest.approx(expected, abs=1e-12)


@given(total=st.integers(1, 500), data=st.data())
def test_the_whole_number_behind_a_share(total, data):
    people = data.draw(st.integers(0, total))
    assert whole_number_behind(people / total, total) == (people, True)


def test_a_share_that_no_whole_number_gives():
    assert whole_number_behind(0.5, 7) == (4, False)
