"""Share and time of a mixture: golden values, the parts against both at once, rows still waiting, a slow search."""

from __future__ import annotations

import numpy as np
import pytest
from banded_sets import DISTRIBUTIONS, ERRORS, banded_rows, row_likelihoods
from scipy.optimize import minimize
from scipy.special import expit, log_expit

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.groundwork.resampling import bootstrap, leave_one_out
from survstats.models.times.interval_time import fit_time, refit_time
from survstats.models.times.mixture_likelihood import gather_mixture, mixture_ascent, weigh
from survstats.models.times.mixture_time import fit_mixture, refit_mixture

TOTAL = {"lognormal": -155.568177, "weibull": -160.3367324, "loglogistic": -156.6134925}


def golden_rows(occupants):
    matrix = np.column_stack([np.ones(90), occupants["trained"], occupants["seat_far"]]).astype(float)
    return (
        matrix,
        occupants["lo"].to_numpy(),
        occupants["hi"].to_numpy(),
        (occupants["ev"] == 1).to_numpy(float),
    )


def mixed_rows(seed, unknown=0.15, distribution="lognormal"):
    """Rows with fates known and not known; of these some were last seen waiting and some never seen."""
    rng = np.random.default_rng(seed)
    matrix, lo, hi, codes = banded_rows(seed, distribution=distribution)
    ever = (rng.random(len(lo)) < expit(0.8 + 0.7 * matrix[:, 1])).astype(float)
    lost = rng.random(len(lo)) < unknown
    ever[lost], hi[lost] = np.nan, np.inf
    lo[lost] = rng.choice([0.0, 8.0, 15.0, 25.0], lost.sum())
    return matrix, lo, hi, ever, codes


def slow_likelihoods(matrix, shared, lo, hi, ever, at, distribution):
    """Log-likelihood of each row from scipy's distributions."""
    j = shared.shape[1]
    coefficients, scale, share = at[j:-1], np.exp(at[-1]), expit(shared @ at[:j])
    found = np.where(ever == 0, np.log1p(-share), 0.0)
    came = ever == 1
    times = row_likelihoods(matrix[came], lo[came], hi[came], coefficients, scale, distribution)
    found[came] = np.log(share[came]) + times
    waits = np.isnan(ever) & (lo > 0)
    z = (np.log(lo[waits]) - matrix[waits] @ coefficients) / scale
    found[waits] = np.log(1 - share[waits] * ERRORS[distribution].cdf(z))
    return found


@pytest.mark.parametrize("distribution", DISTRIBUTIONS)
def test_golden_values_by_the_parts_and_at_once(occupants, distribution):
    # design golden values, computed beforehand by independent code; the total is that of its two parts
    parts = fit_mixture(*golden_rows(occupants), distribution=distribution)
    np.testing.assert_allclose(parts.share, [0.98667029, 0.30609178, -0.67258448], atol=1e-8)
    assert parts.log_likelihood - parts.time.log_likelihood == pytest.approx(-52.81168049, abs=1e-8)
    assert parts.log_likelihood == pytest.approx(TOTAL[distribution], abs=1e-6)
    assert not parts.joint
    joint = fit_mixture(*golden_rows(occupants), distribution=distribution, joint=True)
    assert joint.joint
    np.testing.assert_allclose(joint.share, parts.share, atol=1e-6)
    np.testing.assert_allclose(joint.time.coefficients, parts.time.coefficients, atol=1e-6)
    assert joint.time.scale == pytest.approx(parts.time.scale, abs=1e-6)
    np.testing.assert_allclose(joint.time.covariance, parts.time.covariance, atol=1e-6)
    assert joint.log_likelihood == pytest.approx(parts.log_likelihood, abs=1e-8)


@pytest.mark.parametrize("distribution", DISTRIBUTIONS)
def test_both_at_once_reach_what_a_slow_search_from_many_places_reaches(distribution):
    matrix, lo, hi, ever, _ = mixed_rows(1, distribution=distribution)
    shared = matrix[:, :2]
    fit = fit_mixture(matrix, lo, hi, ever, distribution=distribution, share_matrix=shared)
    assert fit.joint
    best, rng = -np.inf, np.random.default_rng(0)
    for _ in range(4):
        start = np.array([1.0, 0, 2.8, 0, 0, -0.7]) + rng.normal(0, 0.4, 6)
        with np.errstate(all="ignore"):
            found = minimize(
                lambda at: -np.sum(slow_likelihoods(matrix, shared, lo, hi, ever, at, distribution)),
                start,
                method="BFGS",
            )
        if -found.fun > best:
            best, at = -found.fun, found.x
    assert fit.log_likelihood == pytest.approx(best, abs=1e-6)
    assert fit.log_likelihood >= best - 1e-9
    np.testing.assert_allclose(fit.share, at[:2], atol=2e-4)
    np.testing.assert_allclose(fit.time.coefficients, at[2:-1], atol=2e-4)
    assert np.log(fit.time.scale) == pytest.approx(at[-1], abs=2e-4)


@pytest.mark.parametrize("distribution", DISTRIBUTIONS)
def test_slopes_and_curvatures_are_the_differences_of_the_likelihood(distribution):
    matrix, lo, hi, ever, codes = mixed_rows(2, distribution=distribution)
    shared = matrix[:, :2]
    rows = gather_mixture(matrix, shared, lo, hi, ever, codes, 12)
    drawn = np.random.default_rng(2).integers(0, 3, (3, 12)).astype(float)
    weights = weigh(rows, drawn)
    at = np.array(
        [[0.5, 0.3, 7.0, -1.0, 0.2, 2.5], [1.5, -1.0, 5.0, 0.3, -0.4, 1.8], [-1, 2, 9.0, -2, 0, 3.5]]
    ).T
    found = mixture_ascent(rows, weights, at, distribution)
    for b in range(3):
        place = np.concatenate([at[:2, b], at[2:-1, b] / at[-1, b], [-np.log(at[-1, b])]])
        each = slow_likelihoods(matrix, shared, lo, hi, ever, place, distribution)
        assert found.value[b] == pytest.approx(np.sum(drawn[b][codes] * each), rel=1e-9)
    for i in range(6):
        moved = np.zeros((6, 1))
        moved[i] = 1e-5
        above, below = (mixture_ascent(rows, weights, at + sign * moved, distribution) for sign in (1, -1))
        np.testing.assert_allclose(
            (above.value - below.value) / 2e-5, found.gradient[i], rtol=1e-6, atol=1e-5
        )
        difference = -(above.gradient - below.gradient) / 2e-5
        np.testing.assert_allclose(difference, found.information[i], rtol=1e-5, atol=1e-4)


def test_a_row_last_seen_waiting_long_ago_counts_nearly_as_one_that_never_came():
    # 1 - share F(c): nothing at c = 0, and 1 - share once nobody takes that long
    matrix, lo, hi, ever, _ = mixed_rows(3, unknown=0.0)
    never = np.flatnonzero(ever == 0)[:3]
    known = fit_mixture(matrix, lo, hi, ever, distribution="lognormal")
    unsure = ever.copy()
    unsure[never] = np.nan
    late, early = lo.copy(), lo.copy()
    late[never], early[never] = 1e6, 0.0
    far = hi.copy()
    far[never] = np.inf
    as_never = fit_mixture(matrix, late, far, unsure, distribution="lognormal")
    assert as_never.joint
    np.testing.assert_allclose(as_never.share, known.share, atol=1e-6)
    np.testing.assert_allclose(as_never.time.coefficients, known.time.coefficients, atol=1e-6)
    unseen = fit_mixture(matrix, early, far, unsure, distribution="lognormal")
    kept = ~np.isnan(unsure)
    without = fit_mixture(matrix[kept], lo[kept], hi[kept], ever[kept], distribution="lognormal")
    assert not unseen.joint
    np.testing.assert_allclose(unseen.share, without.share, atol=1e-10)
    assert unseen.log_likelihood == pytest.approx(without.log_likelihood, abs=1e-10)


def test_bands_of_rows_that_never_came_are_not_used():
    matrix, lo, hi, ever, _ = mixed_rows(4, unknown=0.0)
    fit = fit_mixture(matrix, lo, hi, ever, distribution="lognormal")
    never = ever == 0
    moved = fit_mixture(
        matrix, np.where(never, 3.0, lo), np.where(never, 4.0, hi), ever, distribution="lognormal"
    )
    np.testing.assert_array_equal(moved.time.coefficients, fit.time.coefficients)
    # and treating them as only not yet out would give other, slower times
    censored = fit_time(
        matrix, np.where(never, 60.0, lo), np.where(never, np.inf, hi), distribution="lognormal"
    )
    assert censored.coefficients[0] > fit.time.coefficients[0] + 0.2


@pytest.mark.parametrize("distribution", DISTRIBUTIONS)
def test_order_units_and_rows_taken_twice(distribution):
    matrix, lo, hi, ever, _ = mixed_rows(5)
    fit = fit_mixture(matrix, lo, hi, ever, distribution=distribution)
    order = np.random.default_rng(5).permutation(len(lo))
    moved = fit_mixture(matrix[order], lo[order], hi[order], ever[order], distribution=distribution)
    np.testing.assert_allclose(moved.share, fit.share, atol=1e-9)
    twice = fit_mixture(matrix, lo, hi, ever, distribution=distribution, weights=np.full(len(lo), 2.0))
    np.testing.assert_allclose(twice.share, fit.share, atol=1e-9)
    assert twice.log_likelihood == pytest.approx(2 * fit.log_likelihood, rel=1e-12)
    minutes = fit_mixture(matrix, lo / 60, hi / 60, ever, distribution=distribution)
    np.testing.assert_allclose(minutes.share, fit.share, atol=1e-8)
    difference = minutes.time.coefficients - fit.time.coefficients
    np.testing.assert_allclose(difference, [-np.log(60), 0, 0], atol=1e-8)


@pytest.mark.parametrize("unknown", [0.0, 0.15])
def test_each_refit_is_the_fit_of_its_rows(unknown):
    matrix, lo, hi, ever, codes = mixed_rows(6, unknown=unknown)
    full = fit_mixture(matrix, lo, hi, ever, distribution="loglogistic")
    assert full.joint == (unknown > 0)
    out = refit_mixture(
        matrix, lo, hi, ever, codes, leave_one_out(12), distribution="loglogistic", start=full
    )
    for group in (0, 7, 11):
        kept = codes != group
        alone = fit_mixture(matrix[kept], lo[kept], hi[kept], ever[kept], distribution="loglogistic")
        np.testing.assert_allclose(out.share[group], alone.share, atol=2e-8)
        np.testing.assert_allclose(out.time.coefficients[group], alone.time.coefficients, atol=1e-8)
        assert out.time.scale[group] == pytest.approx(alone.time.scale, abs=1e-8)
        assert out.log_likelihood[group] == pytest.approx(alone.log_likelihood, abs=1e-9)
    drawn = bootstrap(12, 80, np.random.default_rng(6))
    many = refit_mixture(matrix, lo, hi, ever, codes, drawn, distribution="loglogistic")
    alone = fit_mixture(matrix, lo, hi, ever, distribution="loglogistic", weights=drawn[3][codes])
    np.testing.assert_allclose(many.share[3], alone.share, atol=2e-8)
    np.testing.assert_allclose(many.time.coefficients[3], alone.time.coefficients, atol=1e-8)


def test_the_time_part_of_the_refits_is_that_of_the_rows_that_came():
    matrix, lo, hi, ever, codes = mixed_rows(7, unknown=0.0)
    both = refit_mixture(matrix, lo, hi, ever, codes, leave_one_out(12), distribution="weibull")
    came = ever == 1
    time = refit_time(
        matrix[came], lo[came], hi[came], codes[came], leave_one_out(12), distribution="weibull"
    )
    np.testing.assert_allclose(both.time.coefficients, time.coefficients, atol=1e-12)


def reason(*rows, **options):
    with pytest.raises(NotEstimable) as caught:
        fit_mixture(*rows, distribution="lognormal", **options)
    return caught.value.reason


def test_what_has_no_answer_says_why():
    matrix, lo, hi, ever, codes = mixed_rows(8, unknown=0.0)
    split = matrix[:, 1] == 1
    for joint in (False, True):
        assert reason(matrix, lo, hi, np.ones_like(ever), joint=joint) == "one_outcome"
        assert reason(matrix, lo, hi, np.where(split, 1.0, ever), joint=joint) == "separated"
        assert reason(matrix, lo * 0, hi * np.inf, ever, joint=joint) == "no_rows"
        same = np.where(split, 60.0, lo), np.where(split, np.inf, hi)
        assert reason(matrix, *same, ever, joint=joint) == "times_separated"
        aliased = np.column_stack([matrix, matrix[:, 1]])
        assert reason(matrix, lo, hi, ever, joint=joint, share_matrix=aliased) == "no_free_column"
    assert reason(matrix, lo, np.full_like(hi, np.inf), np.full_like(ever, np.nan)) == "no_rows"
    only = codes == 2
    alone = np.where(only & ~split, 0.0, 1.0)
    with pytest.raises(NotEstimable, match="separated"):
        refit_mixture(matrix, lo, hi, alone, codes, leave_one_out(12), distribution="lognormal")


def test_a_refit_at_once_says_which_part_has_no_answer():
    matrix, lo, hi, ever, codes = mixed_rows(11)
    only, column = codes == 2, matrix[:, 1] == 1
    late = column & ~only & (ever == 1)
    lo, hi = np.where(late, 60.0, lo), np.where(late, np.inf, hi)
    lo[only & column], hi[only & column], ever[only & column] = 10.0, 20.0, 1.0
    out = leave_one_out(12)
    with pytest.raises(NotEstimable) as caught:
        refit_mixture(matrix, lo, hi, ever, codes, out, distribution="lognormal")
    assert caught.value.reason == "times_separated"
    matrix, lo, hi, ever, codes = mixed_rows(11)
    known = column & ~only & ~np.isnan(ever)
    ever[known], lo[known & (lo == 60)] = 1.0, 45.0
    ever[only & column] = 0.0
    waits = np.isnan(ever) & column
    lo[waits] = 0.0
    with pytest.raises(NotEstimable) as caught:
        refit_mixture(matrix, lo, hi, ever, codes, out, distribution="lognormal")
    assert caught.value.reason == "separated"


def test_calls_that_cannot_be_followed_are_refused():
    matrix, lo, hi, ever, _ = mixed_rows(9)
    with pytest.raises(CallError) as caught:
        fit_mixture(matrix, lo, hi, ever, distribution="lognormal", joint=False)
    assert caught.value.reason == "parts_hang_together"
    with pytest.raises(CallError, match="1, 0 or not known"):
        fit_mixture(matrix, lo, hi, ever + 1, distribution="lognormal")
    with pytest.raises(CallError, match="may never"):
        fit_mixture(matrix, lo, np.full_like(hi, 30.0), ever, distribution="lognormal")
    with pytest.raises(CallError, match="same rows"):
        fit_mixture(matrix, lo[:-1], hi, ever, distribution="lognormal")
    with pytest.raises(CallError, match="negative"):
        fit_mixture(matrix, lo, hi, ever, distribution="lognormal", weights=-np.ones(len(lo)))


def test_shares_follow_their_closed_form_where_there_is_no_column():
    matrix, lo, hi, ever, _ = mixed_rows(10, unknown=0.0)
    fit = fit_mixture(matrix, lo, hi, ever, distribution="lognormal", share_matrix=matrix[:, :1])
    assert expit(fit.share[0]) == pytest.approx(ever.mean(), abs=1e-10)
    part = np.sum(np.where(ever == 1, log_expit(fit.share[0]), log_expit(-fit.share[0])))
    assert fit.log_likelihood - fit.time.log_likelihood == pytest.approx(part, rel=1e-10)
