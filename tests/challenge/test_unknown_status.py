"""Are the bounds over unknown training what one finds by trying every status?"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from survstats.challenge.unknown_status import CELLS, unknown_bounds
from survstats.groundwork.errors import NotEstimable


def every_difference(counts):
    """The difference for each way to give the unknown a status; ways that leave a group empty give none."""
    s1, d1, s0, d0, us, ud = (int(count) for count in counts)
    return [
        (s1 + a) / (s1 + a + d1 + b) - (s0 + us - a) / (s0 + us - a + d0 + ud - b)
        for a in range(us + 1)
        for b in range(ud + 1)
        if s1 + a + d1 + b and s0 + us - a + d0 + ud - b
    ]


@given(st.lists(st.integers(0, 4), min_size=6, max_size=6))
@settings(max_examples=300)
def test_bounds_are_the_extremes_over_all_assignments(cells):
    every = every_difference(cells)
    table = np.array([cells], dtype=float)
    one_outcome = not sum(cells[0::2]) or not sum(cells[1::2])
    if one_outcome or not every:
        with pytest.raises(NotEstimable) as caught:
            unknown_bounds(table)
        assert caught.value.reason == ("one_outcome" if one_outcome else "one_arm")
        return
    found = unknown_bounds(table)
    assert (found.low, found.high) == pytest.approx((min(every), max(every)), abs=1e-12)
    assert (found.unknown_survived, found.unknown_died) == (cells[4], cells[5])
    assert (found.interval_low, found.interval_high) == (found.low, found.high)


@given(st.lists(st.lists(st.integers(0, 5), min_size=6, max_size=6), min_size=2, max_size=6))
def test_the_interval_contains_the_range_and_stays_inside_minus_one_and_one(rows):
    table = np.array(rows, dtype=float)
    try:
        found = unknown_bounds(table)
    except NotEstimable:
        return
    assert -1 <= found.interval_low <= found.low <= found.high <= found.interval_high <= 1
    turned = unknown_bounds(table[::-1])
    assert (turned.interval_low, turned.interval_high) == pytest.approx(
        (found.interval_low, found.interval_high), abs=1e-12
    )


def every_difference_with_perhaps(cells, perhaps):
    """The same, for each way to count or leave out the dead who perhaps do not belong."""
    s1, d1, s0, d0, us, ud = cells
    trained, untrained, unknown = perhaps
    return [
        value
        for p1 in range(trained + 1)
        for p0 in range(untrained + 1)
        for pu in range(unknown + 1)
        for value in every_difference((s1, d1 + p1, s0, d0 + p0, us, ud + pu))
    ]


@given(
    st.lists(st.integers(0, 3), min_size=6, max_size=6), st.lists(st.integers(0, 2), min_size=3, max_size=3)
)
@settings(max_examples=300)
def test_bounds_are_the_extremes_over_who_belongs_as_well(cells, perhaps):
    if not sum(cells[0::2]) or not sum(cells[1::2]) + sum(perhaps):
        return
    every = every_difference_with_perhaps(cells, perhaps)
    tables = np.array([cells], dtype=float), np.array([perhaps], dtype=float)
    if not every:
        with pytest.raises(NotEstimable):
            unknown_bounds(*tables)
        return
    found = unknown_bounds(*tables)
    assert (found.low, found.high) == pytest.approx((min(every), max(every)), abs=1e-12)
    assert found.perhaps == sum(perhaps)


def some_mishaps(unknown, seed=3, mishaps=9):
    rng = np.random.default_rng(seed)
    table = rng.integers(1, 7, (mishaps, 6)).astype(float)
    table[:, 4:] = unknown * table[:, 4:]
    return table


def ends_and_errors(table):
    total = table.sum(axis=0)
    ends = np.array([min(every_difference(total)), max(every_difference(total))])
    parts = np.array(
        [[min(every_difference(total - row)), max(every_difference(total - row))] for row in table]
    )
    g = len(table)
    return ends, np.sqrt((g - 1) / g * ((parts - ends) ** 2).sum(axis=0))


def test_nobody_unknown_gives_the_two_sided_interval():
    # width 0: the factor of Imbens and Manski is the two-sided t quantile
    table = some_mishaps(unknown=0)
    ends, errors = ends_and_errors(table)
    found = unknown_bounds(table)
    reach = stats.t.ppf(0.975, 8) * errors[0]
    assert found.low == found.high == pytest.approx(ends[0])
    assert (found.interval_low, found.interval_high) == pytest.approx(
        (ends[0] - reach, ends[0] + reach), rel=1e-8
    )


def test_a_wide_range_gives_the_one_sided_factor():
    table = some_mishaps(unknown=1, mishaps=40)
    ends, errors = ends_and_errors(table)
    assert (ends[1] - ends[0]) / errors.max() > 5
    found = unknown_bounds(table)
    reach = stats.t.ppf(0.95, 39) * errors
    assert (found.interval_low, found.interval_high) == pytest.approx(
        (ends[0] - reach[0], ends[1] + reach[1]), rel=1e-5
    )


def test_the_factor_solves_its_equation_in_between():
    table = some_mishaps(unknown=0)
    table[0, 5] = 1.0  # a single unknown: a narrow range
    ends, errors = ends_and_errors(table)
    found = unknown_bounds(table)
    factor = (ends[0] - found.interval_low) / errors[0]
    assert factor == pytest.approx((found.interval_high - ends[1]) / errors[1], rel=1e-8)
    assert stats.t.ppf(0.95, 8) < factor < stats.t.ppf(0.975, 8)
    covered = stats.t.cdf(factor + (ends[1] - ends[0]) / errors.max(), 8) - stats.t.cdf(-factor, 8)
    assert covered == pytest.approx(0.95, abs=1e-9)


def test_a_mishap_that_holds_a_whole_group_leaves_no_interval():
    # without the first mishap nobody is or can have been trained
    table = np.array([[3, 1, 0, 0, 0, 0], [0, 0, 2, 2, 0, 0], [0, 0, 3, 1, 0, 0]], dtype=float)
    found = unknown_bounds(table)
    assert (found.interval_low, found.interval_high) == (-1.0, 1.0)
    assert not found.interval_excludes_zero


def test_one_mishap_has_no_interval_of_its_own():
    found = unknown_bounds(np.array([[3.0, 1, 1, 3, 0, 1]]))
    assert (found.interval_low, found.interval_high) == (found.low, found.high)
    assert found.mishaps == 1


def test_a_worst_case_beyond_zero_is_noticed():
    table = np.tile(np.array([[6.0, 0, 0, 6, 0, 1]]), (12, 1))
    found = unknown_bounds(table)
    assert found.interval_low > 0
    assert found.interval_excludes_zero
    assert math.isclose(found.low, 72 / 84, rel_tol=1e-12)


def test_order_of_the_cells():
    assert CELLS == (
        "trained_survived",
        "trained_died",
        "untrained_survived",
        "untrained_died",
        "unknown_survived",
        "unknown_died",
    )
