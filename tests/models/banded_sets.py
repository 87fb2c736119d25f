"""Random rows with times as bands, and the same likelihood written out row by row with scipy's distributions."""

from __future__ import annotations

import numpy as np
from scipy import stats
from scipy.optimize import minimize

DISTRIBUTIONS = ("lognormal", "loglogistic", "weibull")
ERRORS = {"lognormal": stats.norm, "loglogistic": stats.logistic, "weibull": stats.gumbel_l}
CUTS = np.array([0.0, 5, 10, 15, 20, 30, 45, 60, np.inf])


def banded_rows(seed, groups=12, each=6, columns=2, distribution="lognormal"):
    """Matrix, lo, hi, group codes: exact times, bands, one-sided limits and rows that say nothing."""
    rng = np.random.default_rng(seed)
    n = groups * each
    codes = rng.permutation(np.repeat(np.arange(groups), each))
    matrix = np.column_stack([np.ones(n), rng.random(n) < 0.5, rng.normal(size=(n, columns - 1))]).astype(
        float
    )
    error = ERRORS[distribution].rvs(size=n, random_state=rng)
    time = np.exp(2.8 - 0.4 * matrix[:, 1] + 0.3 * rng.normal(size=groups)[codes] + 0.4 * error)
    place = np.searchsorted(CUTS, time) - 1
    lo, hi = CUTS[place].copy(), CUTS[place + 1].copy()
    kind = rng.integers(0, 10, n)
    lo[kind < 2], hi[kind < 2] = time[kind < 2], time[kind < 2]  # exact
    precise = kind == 2  # the stopwatch's own band
    lo[precise], hi[precise] = time[precise] - 0.05, time[precise] + 0.05
    lo[kind == 3], hi[kind == 3] = time[kind == 3] * 0.7, np.inf
    lo[kind == 4], hi[kind == 4] = 0.0, time[kind == 4] * 1.5
    lo[kind == 5], hi[kind == 5] = 0.0, np.inf
    return matrix, lo, hi, codes


def row_likelihoods(matrix, lo, hi, coefficients, scale, distribution):
    """Log-likelihood of each row."""
    error = ERRORS[distribution]
    linear = matrix @ coefficients
    with np.errstate(divide="ignore"):
        start, end = (np.log(lo) - linear) / scale, (np.log(hi) - linear) / scale
    exact, open_end = lo == hi, np.isinf(hi)
    found = np.zeros(len(lo))
    found[exact] = error.logpdf(start[exact]) - np.log(scale * lo[exact])
    found[open_end] = error.logsf(start[open_end])
    band = ~exact & ~open_end
    found[band] = np.log(error.cdf(end[band]) - error.cdf(start[band]))
    return found


def searched_fit(matrix, lo, hi, distribution, weights=None):
    """Coefficients, scale and log-likelihood by a search that uses no derivatives of ours."""
    weight = np.ones(len(lo)) if weights is None else weights

    def loss(at):
        return -np.sum(weight * row_likelihoods(matrix, lo, hi, at[:-1], np.exp(at[-1]), distribution))

    start = np.append(np.zeros(matrix.shape[1]), -0.5)
    start[0] = 2.7
    with np.errstate(all="ignore"):
        for _ in range(3):
            found = minimize(loss, start, method="BFGS", options={"gtol": 1e-6})
            start = found.x
    return found.x[:-1], float(np.exp(found.x[-1])), -float(found.fun)
