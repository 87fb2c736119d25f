"""How often a fleet comes down in water: the design's golden values, and scipy.stats beside them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from survstats.decision.exposure import (
    MishapRate,
    chance_of_mishaps,
    chance_of_none,
    check_rate,
    draw_rate,
    none_in,
    rate_limits,
    years_between,
)
from survstats.groundwork.errors import StudyFileError
from survstats.groundwork.resampling import stream

RATE = MishapRate(3, 200_000)


def test_three_mishaps_in_200_000_hours():
    # Golden values of the design, section 6 (computed twice there).
    assert RATE.mean * 20_000 == pytest.approx(0.35)
    assert chance_of_none(RATE, 20_000) == pytest.approx(0.71635055, abs=1e-8)
    assert rate_limits(RATE) == pytest.approx((4.2247e-6, 4.0032e-5), rel=2e-5)


def test_limits_are_those_of_scipys_gamma():
    found = rate_limits(RATE, level=0.8)
    assert found == pytest.approx(stats.gamma(3.5, scale=1 / 200_000).ppf([0.1, 0.9]), rel=1e-12)


def test_mishaps_to_come_are_scipys_negative_binomial():
    number = np.arange(200)
    found = chance_of_mishaps(RATE, 50_000, number)
    np.testing.assert_allclose(found, stats.nbinom(3.5, 200_000 / 250_000).pmf(number), rtol=1e-9)
    assert found.sum() == pytest.approx(1.0)
    assert found[0] == pytest.approx(chance_of_none(RATE, 50_000), rel=1e-12)


def test_none_counted_is_no_promise():
    none = MishapRate(0, 200_000)
    assert none.mean == pytest.approx(0.5 / 200_000)
    assert 0 < rate_limits(none)[0] < rate_limits(none)[1]


def test_draws_are_of_that_gamma():
    draws = draw_rate(RATE, stream(1, "mishaps"), 20_000)
    assert stats.kstest(draws, stats.gamma(3.5, scale=1 / 200_000).cdf).pvalue > 0.001


def test_no_mishap_in_ten_years_agrees_with_the_closed_form_where_hours_are_known():
    yearly = draw_rate(RATE, stream(1, "mishaps"), 200_000) * 20_000
    assert none_in(yearly, 10) == pytest.approx(chance_of_none(RATE, 200_000), abs=0.002)


def test_uncertain_hours_make_a_long_quiet_time_likelier():
    # The mean of a falling convex function: spread lifts it.
    assert none_in(np.array([0.1, 0.7]), 10) > none_in(np.array([0.4, 0.4]), 10)


def test_one_in_so_many_years():
    assert years_between(0.35) == pytest.approx(2.857143)


@pytest.mark.parametrize(
    ("reason", "rate"),
    [
        ("not_a_count", MishapRate(-1, 1000)),
        ("not_a_count", MishapRate(1.5, 1000)),
        ("no_hours", MishapRate(1, 0)),
        ("no_hours", MishapRate(1, float("inf"))),
    ],
)
def test_what_is_no_count_in_hours_is_refused(reason, rate):
    with pytest.raises(StudyFileError) as caught:
        check_rate(rate)
    assert caught.value.reason == reason
    assert caught.value.remedy
