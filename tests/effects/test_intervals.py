"""Is the jackknife interval the textbook's, by hand?"""

from __future__ import annotations

import math

import numpy as np
import pytest

from survstats.effects.intervals import edges, jackknife_error, jackknife_estimate, t_quantile


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
