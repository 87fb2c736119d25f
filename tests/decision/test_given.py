"""Are given figures drawn as they were given? Quantiles against scipy.stats, limits against themselves."""

from __future__ import annotations

import itertools
import math
from typing import get_args

import numpy as np
import pytest
from hypothesis import given as drawn_from
from hypothesis import settings
from hypothesis import strategies as st
from scipy import stats

from survstats.decision.given import Given, Shape, beta_parameters, check, quantile, sample
from survstats.groundwork.errors import StudyFileError
from survstats.groundwork.resampling import stream

SHARES = np.array([0.001, 0.025, 0.1, 0.5, 0.9, 0.975, 0.999])
LIMITS = [0.025, 0.5, 0.975]


def test_known_is_the_same_in_every_draw():
    assert (sample(Given("hours", 3.0), stream(1, "x"), 5) == 3.0).all()


def test_uniform_runs_from_low_to_high():
    found = quantile(Given("hours", 12.0, 10.0, 30.0, "uniform"), SHARES)
    np.testing.assert_allclose(found, stats.uniform(10, 20).ppf(SHARES))


def test_normal_is_scipys():
    # Limits one standard normal quantile on either side: stats.norm is the independent answer.
    found = quantile(Given("hours", 10.0, 10 - 1.959963985, 10 + 1.959963985, "normal"), SHARES)
    np.testing.assert_allclose(found, stats.norm(10, 1).ppf(SHARES), rtol=1e-9)


def test_lognormal_is_scipys():
    spread = 0.4
    low, high = 24 * np.exp(np.array([-1, 1]) * stats.norm.ppf(0.975) * spread)
    found = quantile(Given("half_life", 24.0, low, high, "lognormal"), SHARES)
    np.testing.assert_allclose(found, stats.lognorm(spread, scale=24).ppf(SHARES), rtol=1e-9)


def test_beta_is_the_one_its_limits_came_from():
    truth = stats.beta(20, 80)
    low, high = truth.ppf([0.025, 0.975])
    assert beta_parameters(0.2, low, high) == pytest.approx((20, 80), rel=1e-6)
    found = quantile(Given("share", 0.2, low, high, "beta"), SHARES)
    np.testing.assert_allclose(found, truth.ppf(SHARES), rtol=1e-6)


def test_a_beta_has_its_value_for_a_mean_and_round_limits_nearly():
    figure = Given("share", 0.3, 0.2, 0.4, "beta")
    draws = sample(figure, stream(1, "x"), 50_000)
    assert draws.mean() == pytest.approx(0.3, abs=4 * draws.std() / math.sqrt(len(draws)))
    assert quantile(figure, [0.025, 0.975]) == pytest.approx([0.2, 0.4], abs=0.02)


@pytest.mark.parametrize("shape", ["normal", "lognormal"])
def test_unequal_limits_are_met_exactly(shape):
    found = quantile(Given("cost", 10.0, 8.0, 19.0, shape), LIMITS)
    np.testing.assert_allclose(found, [8, 10, 19], rtol=1e-12)


def test_draws_have_the_limits_they_were_given():
    draws = sample(Given("cost", 10.0, 8.0, 19.0, "lognormal"), stream(1, "x"), 50_000)
    inside = np.mean((draws > 8) & (draws < 19))
    assert inside == pytest.approx(0.95, abs=4 * math.sqrt(0.95 * 0.05 / len(draws)))


@pytest.mark.parametrize("shape", ["normal", "lognormal"])
def test_an_end_moves_nothing_between_the_limits(shape):
    figure = Given("cost", 1.0, 0.2, 2.5, shape)
    inside = np.linspace(0.025, 0.975, 39)
    ends = {"least": 0.15, "most": 2.6}
    np.testing.assert_allclose(quantile(figure, inside, **ends), quantile(figure, inside))
    assert quantile(figure, [0, 1], **ends) == pytest.approx([0.15, 2.6])


def test_beyond_its_limit_a_figure_is_spread_and_not_heaped_at_the_end():
    draws = sample(Given("cost", 1.0, 0.2, 1.8, "normal"), stream(1, "x"), 20_000, least=0.1)
    tail = draws[draws < 0.2]
    assert draws.min() >= 0.1
    assert len(tail) == pytest.approx(500, abs=90)
    assert len(np.unique(tail)) == len(tail)


@settings(deadline=None, max_examples=40)
@drawn_from(
    shape=st.sampled_from(["uniform", "normal", "lognormal"]),
    parts=st.tuples(*[st.floats(0.01, 1e6)] * 3).filter(lambda x: len(set(x)) == 3),
    shares=st.lists(st.floats(0, 1), min_size=2, max_size=6),
)
def test_quantiles_rise_and_stay_between_the_ends(shape, parts, shares):
    low, value, high = sorted(parts)
    found = quantile(Given("x", value, low, high, shape), sorted(shares), least=0.0, most=2e6)
    assert (np.diff(found) >= 0).all()
    assert ((found >= 0) & (found <= 2e6)).all()


@pytest.mark.parametrize(
    ("reason", "figure"),
    [
        ("not_finite", Given("x", math.nan)),
        ("limits_of_known", Given("x", 1.0, 0.5, 2.0)),
        ("needs_limits", Given("x", 1.0, None, 2.0, "normal")),
        ("value_outside", Given("x", 3.0, 1.0, 2.0, "uniform")),
        ("value_outside", Given("x", 1.0, 1.0, 2.0, "normal")),
        ("value_outside", Given("x", 1.0, 1.0, 1.0, "uniform")),
        ("not_positive", Given("x", 1.0, 0.0, 2.0, "lognormal")),
        ("not_a_share", Given("x", 1.0, 0.5, 2.0, "beta")),
        ("limits_unmet", Given("x", 0.1, 0.09, 0.9, "beta")),
        ("limits_unmet", Given("x", 0.06, 0.05, 0.9, "beta")),  # half of it would lie below 1e-10
        ("below_floor", Given("x", 1.0, -1.0, 3.0, "normal")),
        ("above_ceiling", Given("x", 30.0)),
    ],
)
def test_what_cannot_be_is_refused_with_a_way_out(reason, figure):
    with pytest.raises(StudyFileError, match="'x'") as caught:
        check(figure, least=0.0, most=20.0)
    assert caught.value.reason == reason
    assert caught.value.remedy


def test_a_beta_that_is_let_through_leaves_about_as_much_beyond_each_limit_as_it_should():
    passed = 0
    for value, low, high in itertools.product(
        (0.02, 0.06, 0.3, 0.9), (0, 0.001, 0.01, 0.2), (0.1, 0.4, 0.95, 1)
    ):
        try:
            check(Given("x", value, low, high, "beta"))
        except StudyFileError:
            continue
        law = stats.beta(*beta_parameters(value, low, high))
        assert low == 0 or 0.01 <= law.cdf(low) <= 0.05
        assert high == 1 or 0.01 <= law.sf(high) <= 0.05
        passed += 1
    assert passed >= 5


def test_no_draw_without_the_check():
    with pytest.raises(StudyFileError):
        sample(Given("x", 1.0, -1.0, 3.0, "normal"), stream(1, "x"), 2, least=0.0)


def test_every_shape_can_be_drawn():
    for shape in get_args(Shape):
        ends = (None, None) if shape == "known" else (0.2, 0.4)
        draws = sample(Given("x", 0.3, *ends, shape), stream(1, "x"), 50)
        assert np.isfinite(draws).all()
        assert (len(np.unique(draws)) == 1) == (shape == "known")
