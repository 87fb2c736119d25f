"""Are estimates from completed data sets pooled as Rubin, and Barnard and Rubin, have it?"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from survstats.groundwork.errors import CallError
from survstats.models.pooling import pool


def pooled(m: int, between: float, within: float, complete_df: float):
    """Estimates with exactly that variance between them."""
    values = np.arange(m, dtype=float)
    values = (values - values.mean()) * math.sqrt(between / values.var(ddof=1))
    return pool(values, np.full(m, within), complete_df=complete_df)


def with_increase(m: int, increase: float, complete_df: float):
    """Estimates whose gaps raise the variance by the share ``increase`` of that within."""
    return pooled(m, increase / (1 + 1 / m), 1.0, complete_df)


@pytest.mark.parametrize(
    ("m", "increase", "complete_df", "df"),
    [
        # Rubin's own 484 read in a statistics package's manual; the others worked out by hand from the formula of
        # Barnard and Rubin 1999 (doi:10.1093/biomet/86.4.948)
        (5, 0.1, math.inf, 484.0),
        (5, 0.1, 50.0, 40.11415),
        (5, 0.1, 484.0, 229.9794),
        (5, 0.3, 20.0, 11.83375),
        (5, 0.3, math.inf, 75.1111),
    ],
)
def test_degrees_of_freedom_of_worked_examples(m, increase, complete_df, df):
    assert with_increase(m, increase, complete_df).df == pytest.approx(df, rel=2e-6)


def test_twenty_draws_and_twelve_mishaps():
    # worked out by hand: B .04, T .2, 11 degrees of freedom
    found = pooled(20, 0.04, 0.2 - 1.05 * 0.04, 11.0)
    assert found.se**2 == pytest.approx(0.2, rel=1e-12)
    assert found.df == pytest.approx(7.321985, abs=5e-7)


def test_the_example_of_r():
    # pool.scalar of R's mice 3.15.0: Q 1 to 5, U 1, n 51, k 1
    found = pool([1, 2, 3, 4, 5], np.ones(5), complete_df=50.0)
    assert (found.value, found.between, found.within, found.se**2) == pytest.approx((3, 2.5, 1, 4))
    assert found.df == pytest.approx(4.46903, abs=5e-6)
    assert found.fraction_missing == pytest.approx(0.81694, abs=5e-6)


POSITIVE = st.floats(1e-3, 1e3)


@given(m=st.integers(2, 60), increase=POSITIVE, fewer=st.floats(1, 1e4), more=st.floats(1.001, 1e3))
def test_degrees_of_freedom_rise_with_the_complete_ones_and_never_pass_them(m, increase, fewer, more):
    # properties stated by Barnard and Rubin 1999
    low, high = with_increase(m, increase, fewer), with_increase(m, increase, fewer * more)
    endless = with_increase(m, increase, math.inf).df
    assert low.df < high.df < endless * (1 + 1e-9)
    assert low.df <= fewer
    assert with_increase(m, increase, 1e14).df == pytest.approx(endless, rel=1e-6)


@given(st.lists(st.floats(-5, 5), min_size=2, max_size=30), POSITIVE, st.floats(1, 500))
def test_the_error_is_never_below_that_of_a_complete_set(values, within, complete_df):
    found = pool(values, np.full(len(values), within), complete_df=complete_df)
    assert found.se >= math.sqrt(within) * (1 - 1e-12)
    assert 0 <= found.fraction_missing <= 1
    assert min(values) - 1e-12 <= found.value <= max(values) + 1e-12


def test_draws_that_agree_took_no_information():
    found = pool([0.1, 0.1, 0.1], [0.04] * 3, complete_df=11.0)
    assert (found.between, found.fraction_missing) == (0.0, 0.0)
    assert found.se == pytest.approx(0.2)
    assert found.df == pytest.approx(12 / 14 * 11)


@pytest.mark.parametrize(
    ("values", "variances", "complete_df", "reason"),
    [
        ([0.1], [0.1], 9.0, "too_few_draws"),
        ([0.1, 0.2], [0.1], 9.0, "pooled_shape"),
        ([0.1, 0.2], [0.1, -0.1], 9.0, "bad_variance"),
        ([0.1, 0.2], [0.1, math.inf], 9.0, "bad_variance"),
        ([0.1, 0.2], [0.1, 0.1], 0.0, "complete_df"),
    ],
)
def test_what_cannot_be_pooled_is_refused(values, variances, complete_df, reason):
    with pytest.raises(CallError) as fault:
        pool(values, variances, complete_df=complete_df)
    assert fault.value.reason == reason
