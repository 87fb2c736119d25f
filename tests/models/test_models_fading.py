"""Is each rate fitted as an ordinary logistic model, and is the profile that of a direct search over all parameters?"""

from __future__ import annotations

import math

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.optimize import minimize
from scipy.special import expit, stdtrit

from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import leave_one_out
from survstats.models.decay_profile import RateScale, rate_range
from survstats.models.fading_curve import Decaying, fit_rates
from survstats.models.penalised import fit_firth

SCALE = RateScale(unit=math.log(2) / 30, fastest=math.log(2) / 4)


def rows_of(seed: int = 5, mishaps: int = 60, size: float = 2.0, half_life: float = 20.0) -> Decaying:
    rng = np.random.default_rng(seed)
    codes = np.repeat(np.arange(mishaps), 8)
    n = len(codes)
    exposed = (rng.random(n) < 0.5).astype(float)
    elapsed = np.where(exposed > 0, rng.uniform(0, 60, n), np.nan)
    crew = (rng.random(n) < 0.4).astype(float)
    held = exposed * 2.0 ** (-np.nan_to_num(elapsed) / half_life)
    risk = expit(-0.3 + 0.5 * crew + size * held + rng.normal(0, 0.5, mishaps)[codes])
    outcome = (rng.random(n) < risk).astype(float)
    return Decaying(np.column_stack([np.ones(n), exposed, crew]), outcome, elapsed, codes)


def weights(rows: Decaying) -> np.ndarray:
    g = int(rows.codes.max()) + 1
    return np.vstack([np.ones(g), leave_one_out(g)])


def fitted_by_glm(rows: Decaying, rate: float, kept: np.ndarray):
    matrix = rows.matrix.copy()
    matrix[:, 1] = np.where(matrix[:, 1] > 0, np.exp(-rate * np.nan_to_num(rows.elapsed)), 0)
    model = sm.GLM(rows.outcome[kept], matrix[kept], family=sm.families.Binomial()).fit(tol=1e-12)
    return model.params, model.llf, matrix


@pytest.mark.parametrize("rate", [0.0, 0.03, 0.15])
def test_at_a_given_rate_it_is_the_ordinary_model(rate):
    rows = rows_of()
    found = fit_rates(rows, [rate], weights(rows))
    for replicate, kept in ((0, rows.codes >= 0), (7, rows.codes != 6)):
        coefficients, likelihood, _ = fitted_by_glm(rows, rate, kept)
        assert found.coefficients[0, replicate] == pytest.approx(coefficients, abs=1e-8)
        assert found.log_likelihood[0, replicate] == pytest.approx(likelihood, abs=1e-8)
    without = sm.GLM(rows.outcome, rows.matrix[:, [0, 2]], family=sm.families.Binomial()).fit()
    assert found.without[0] == pytest.approx(without.llf, abs=1e-8)


def test_at_the_half_life_half_is_retained():
    rows = rows_of()
    at = Decaying(rows.matrix, rows.outcome, np.full(len(rows.outcome), 17.0), rows.codes)
    exposed = rows.matrix[:, 1] > 0
    assert at.retained(math.log(2) / 17)[exposed] == pytest.approx(0.5, abs=1e-15)
    assert at.retained(math.log(2) / 17)[~exposed] == pytest.approx(0.0)


def minus_likelihood(parameters, rows: Decaying) -> float:
    *coefficients, rate = parameters
    linear = rows.matrix.copy()
    linear[:, 1] *= np.exp(-rate * np.nan_to_num(rows.elapsed))
    linear = linear @ np.array(coefficients)
    return float(np.sum(np.logaddexp(0, linear) - rows.outcome * linear))


@pytest.mark.parametrize("seed", [5, 6])
def test_the_best_rate_is_that_of_a_direct_search(seed):
    rows = rows_of(seed)
    direct = minimize(minus_likelihood, [0, 1, 0, 0.03], args=(rows,), method="BFGS", options={"gtol": 1e-7})
    fits = fit_rates(rows, SCALE.grid(13), weights(rows))
    found = rate_range([fits], SCALE, df=59, level=0.95)
    assert found.rate == pytest.approx(direct.x[-1], rel=5e-3)
    fits = fits.merged(fit_rates(rows, [found.rate], weights(rows)))
    found = rate_range([fits], SCALE, df=59, level=0.95)
    assert found.rate == pytest.approx(direct.x[-1], rel=1e-3)
    assert found.size == pytest.approx(direct.x[1], rel=1e-3)
    assert fits.log_likelihood[:, 0].max() == pytest.approx(-direct.fun, abs=1e-5)


def test_the_limits_lie_where_the_scaled_profile_meets_the_quantile():
    rows = rows_of()
    fits = fit_rates(rows, SCALE.grid(13), weights(rows))
    found = rate_range([fits], SCALE, df=59, level=0.9)
    best = fit_rates(rows, [found.rate], weights(rows)).log_likelihood[0, 0]
    for limit in (found.slowest, found.fastest):
        there = fit_rates(rows, [limit], weights(rows))
        fall = 2 * (best - there.log_likelihood[0, 0]) / max(there.inflation[0], 1.0)
        assert fall == pytest.approx(stdtrit(59, 0.95) ** 2, rel=0.02)
    assert found.slowest < found.rate < found.fastest


def test_the_inflation_is_that_of_scores_by_hand():
    # by a loop: GLM without mishap j, score of the rate over the rows kept, jackknife variance over information
    rows, rate = rows_of(mishaps=20), 0.03
    found = fit_rates(rows, [rate], weights(rows))
    scores = []
    for mishap in range(-1, 20):
        kept = rows.codes != mishap
        coefficients, _, matrix = fitted_by_glm(rows, rate, kept)
        slope = np.nan_to_num(rows.elapsed) * matrix[:, 1]
        risk = expit(matrix @ coefficients)
        scores.append(((rows.outcome - risk) * slope)[kept].sum())
        if mishap < 0:
            root = np.sqrt(risk * (1 - risk))
            rest = sm.OLS(slope * root, matrix * root[:, None]).fit()
            information = rest.ssr
    spread = 19 / 20 * np.sum((np.array(scores[1:]) - scores[0]) ** 2)
    assert found.inflation[0] == pytest.approx(spread / information, rel=1e-6)


def test_the_penalised_fit_is_the_firth_fit_with_its_refitted_intercept():
    import pandas as pd

    rows = rows_of(mishaps=12)
    rows = Decaying(rows.matrix, rows.outcome, rows.elapsed, rows.codes, penalised=True)
    found = fit_rates(rows, [0.03], np.ones((1, 12)))
    frame = pd.DataFrame({"held": rows.retained(0.03), "crew": rows.matrix[:, 2], "y": rows.outcome})
    slow = fit_firth(frame, "y", ["held", "crew"])
    assert found.coefficients[0, 0] == pytest.approx(slow.prediction_coefficients, abs=1e-7)


def test_two_completed_sets_that_are_the_same_say_what_one_says():
    rows = rows_of()
    fits = fit_rates(rows, SCALE.grid(13), weights(rows))
    one, two = (rate_range(sets, SCALE, df=59, level=0.95) for sets in ([fits], [fits, fits]))
    assert (two.rate, two.slowest, two.fastest) == pytest.approx((one.rate, one.slowest, one.fastest))


def test_completed_sets_that_differ_widen_the_range():
    sets = [fit_rates(rows_of(5), SCALE.grid(13), weights(rows_of(5)))]
    rows = rows_of(5)
    rng = np.random.default_rng(1)
    elapsed = np.where(rng.random(len(rows.elapsed)) < 0.3, rng.permutation(rows.elapsed), rows.elapsed)
    elapsed = np.where(np.isfinite(elapsed), elapsed, 30.0)
    other = Decaying(rows.matrix, rows.outcome, elapsed, rows.codes)
    sets.append(fit_rates(other, SCALE.grid(13), weights(rows)))
    alone = [rate_range([one], SCALE, df=59, level=0.95).falls for one in sets]
    together = rate_range(sets, SCALE, df=59, level=0.95).falls
    assert together[0] < max(fall[0] for fall in alone)
    assert together[-1] < max(fall[-1] for fall in alone)


def test_places_and_rates_are_each_others_inverse():
    rates = np.array([0.0, 0.01, 0.5])
    assert SCALE.rate(SCALE.place(rates)) == pytest.approx(rates)
    assert SCALE.grid(13)[[0, -1]] == pytest.approx([0, SCALE.fastest])


def test_an_exposure_found_in_one_mishap_only_is_refused():
    rows = rows_of(mishaps=10)
    matrix = rows.matrix.copy()
    matrix[rows.codes > 0, 1] = 0
    alone = Decaying(matrix, rows.outcome, rows.elapsed, rows.codes)
    with pytest.raises(NotEstimable) as fault:
        fit_rates(alone, [0.0], weights(rows))
    assert fault.value.reason == "arm_in_one_mishap"
