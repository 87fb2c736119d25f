"""Is the jackknife interval the textbook's, by hand?"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from survstats.effects.intervals import (
    edges,
    jackknife_error,
    jackknife_estimate,
    number_needed,
    t_quantile,
)
from survstats.groundwork.errors import NotEstimable


@pytest.mark.parametrize(
    ("level", "df", "printed"),
    # printed t tables (any textbook)
    [(0.95, 1, 12.706), (0.95, 4, 2.776), (0.90, 4, 2.132), (0.95, 13, 2.160), (0.99, 10, 3.169)],
)
def test_quantiles_are_those_of_printed_tables(level, df, printed):
    assert t_quantile(level, df) == pytest.approx(printed, abs=6e-4)


def test_error_by_hand():
    # four mishaps: (3/4) (.1^2 + .1^2 + .2^2 + 0) = .045
    assert jackknife_error(0.5, np.array([0.4, 0.6, 0.7, 0.5])) == pytest.approx(math.sqrt(0.045), rel=1e-12)


def test_error_of_a_mean_is_the_textbook_standard_error():
    # for equal groups the jackknife of a mean is s / sqrt(g) exactly
    x = np.array([2.0, 3.0, 5.0, 11.0])
    left_out = (x.sum() - x) / 3
    assert jackknife_error(x.mean(), left_out) == pytest.approx(x.std(ddof=1) / 2, rel=1e-12)


def made(point, replicates, scale, unit):
    return jackknife_estimate(point, np.array(replicates), scale=scale, unit=unit, occupants=9, method="m")


def test_interval_of_a_difference_by_hand():
    found = made(0.1, [0.0, 0.1, 0.2], "identity", "difference")
    se = math.sqrt(2 / 3 * 0.02)
    assert (found.se, found.df, found.mishaps) == (pytest.approx(se), 2.0, 3)
    # 4.3027: printed t table, 2 df
    assert (found.low, found.high) == pytest.approx((0.1 - 4.3027 * se, 0.1 + 4.3027 * se), rel=1e-4)


def test_interval_of_a_ratio_is_symmetric_in_logs():
    found = made(1.5, [1.2, 1.5, 1.9, 1.4], "log", "ratio")
    assert found.low * found.high == pytest.approx(1.5**2, rel=1e-12)
    assert found.low > 0


def test_interval_of_a_share_stays_inside():
    found = made(0.98, [0.99, 0.9, 0.97], "logit", "share")
    assert 0 < found.low < 0.98 < found.high < 1


def test_a_wide_difference_is_cut_at_the_edge():
    found = made(0.5, [0.1, 0.9], "identity", "difference")
    assert (found.low, found.high) == (-1.0, 1.0)


@pytest.mark.parametrize(
    ("point", "replicates", "scale", "unit", "limits"),
    [
        (1.0, [1.0, 0.9, 1.0], "logit", "share", (0.0, 1.0)),
        (0.5, [1.0, 0.4, 0.5], "logit", "share", (0.0, 1.0)),
        (2.0, [0.0, 2.0, 3.0], "log", "ratio", (0.0, math.inf)),
        (math.inf, [2.0, 2.0, 3.0], "log", "odds_ratio", (0.0, math.inf)),
    ],
)
def test_a_replicate_on_the_edge_gives_no_limit_and_never_a_silent_number(
    point, replicates, scale, unit, limits
):
    found = made(point, replicates, scale, unit)
    assert (found.low, found.high) == limits


def test_edges():
    assert (edges("difference"), edges("share"), edges("ratio")) == ((-1.0, 1.0), (0.0, 1.0), (0.0, math.inf))


def difference(value, low, high):
    return replace(made(0.1, [0.0, 0.1, 0.2], "identity", "difference"), value=value, low=low, high=high)


def test_number_needed_is_the_published_one():
    # Barrowman 2002, CMAJ 166:1676: 16.6 % (0.9 to 32.2) make 6, 3.1 to 111.1
    found = number_needed(difference(0.166, 0.009, 0.322))
    assert round(found.value) == 6
    assert (round(found.low, 1), round(found.high, 1)) == (3.1, 111.1)
    assert (found.unit, found.level, found.mishaps) == ("count", 0.95, 3)


def test_number_needed_of_a_harm_is_negative_with_limits_in_order():
    found = number_needed(difference(-0.2, -0.4, -0.1))
    assert (found.low, found.value, found.high) == (-10.0, -5.0, -2.5)


@pytest.mark.parametrize("limits", [(-0.01, 0.3), (0.0, 0.3), (-0.2, 0.0)])
def test_no_number_needed_where_the_interval_reaches_zero(limits):
    with pytest.raises(NotEstimable) as caught:
        number_needed(difference(0.1, *limits))
    assert caught.value.reason == "difference_covers_zero"


def test_fewer_mishaps_behind_a_number_widen_its_interval():
    few = jackknife_estimate(
        0.1,
        np.array([0.0, 0.1, 0.2]),
        scale="identity",
        unit="difference",
        occupants=9,
        method="m",
        mishaps=2,
    )
    assert (few.df, few.mishaps) == (1.0, 2)
    assert few.se == made(0.1, [0.0, 0.1, 0.2], "identity", "difference").se
