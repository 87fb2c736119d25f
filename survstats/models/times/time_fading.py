"""How well does each rate of decay fit, where an effect on a time halves again and again as its cause lies back?

The model is log T = x b - size * exposed * exp(-rate * elapsed) + scale e.  For a given rate it is an ordinary
accelerated-failure-time model, so each rate is fitted, all replicates together, and the rate is profiled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survstats.models.fading_curve import EXPOSURE_COLUMN, RateFits
from survstats.models.times.interval_time import fit_time, refit_time
from survstats.models.times.time_distributions import Distribution
from survstats.models.times.time_likelihood import ascent, gather_times

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]


@dataclass(frozen=True)
class FadingTimes:
    """The rows of a model of times with one decaying effect.

    Attributes
    ----------
    matrix : (n, k) array
        Intercept, exposure (0 or 1), covariates.
    lo, hi : (n,) arrays
        The time lies in (lo, hi], in seconds; infinite where it is longer than ``lo``.
    elapsed : (n,) array
        Time since the exposure; whatever stands there for the unexposed is not used.
    codes : (n,) array of int
        Which weight is that of each row, 0 to g - 1: its cluster, or its cluster and kind together.
    """

    matrix: Floats
    lo: Floats
    hi: Floats
    elapsed: Floats
    codes: Codes

    def retained(self, rate: float) -> Floats:
        """What is left of the exposure in each row, shape (n,)."""
        exposed = self.matrix[:, EXPOSURE_COLUMN]
        return np.asarray(exposed * np.exp(-rate * np.where(exposed > 0, self.elapsed, 0.0)))

    def at(self, rate: float) -> Floats:
        """The matrix at a rate: what is left makes times shorter, so that a positive size is a gain."""
        matrix = self.matrix.copy()
        matrix[:, EXPOSURE_COLUMN] = -self.retained(rate)
        return matrix


def fit_time_rates(
    rows: FadingTimes,
    rates: Sequence[float],
    weights: Floats,
    *,
    distribution: Distribution = "lognormal",
) -> RateFits:
    """Fit the model at each rate under all cluster weights.

    Parameters
    ----------
    rows : FadingTimes
    rates : sequence of float
        Per unit of elapsed time, >= 0.
    weights : (1 + b, g) array
        The first row is for all clusters; each other leaves one out, or one group of them.
    distribution : {"lognormal", "loglogistic", "weibull"}

    Returns
    -------
    RateFits
        ``coefficients`` on log time, column 1 the size of the effect at time 0.

    Raises
    ------
    NotEstimable
        As `models.times.interval_time.fit_time`.

    Notes
    -----
    ``inflation`` is the variance of the score of the rate, with each cluster left out of the fit and of the sum, over
    the information about the rate that is left when all else is fitted (as in `models.fading_curve`).
    """
    other = np.delete(rows.matrix, EXPOSURE_COLUMN, axis=1)
    whole = weights[0][rows.codes]
    without = fit_time(other, rows.lo, rows.hi, distribution=distribution, weights=whole).log_likelihood
    found = [_at_rate(rows, float(rate), weights, distribution) for rate in rates]
    likelihood, coefficients, inflation, size_inflation = (
        np.array(part) for part in zip(*found, strict=True)
    )
    return RateFits(
        rates=np.asarray(rates, dtype=float),
        log_likelihood=likelihood,
        coefficients=coefficients,
        without=np.full(len(found), without),
        inflation=inflation,
        size_inflation=size_inflation,
    )


def _at_rate(
    rows: FadingTimes, rate: float, weights: Floats, distribution: Distribution
) -> tuple[Floats, Floats, float, float]:
    """Log-likelihoods (1 + b,), coefficients (1 + b, k), inflation of the rate's score and of the size."""
    matrix = rows.at(rate)
    of_all = weights[0][rows.codes]
    whole = fit_time(matrix, rows.lo, rows.hi, distribution=distribution, weights=of_all)
    fits = refit_time(
        matrix, rows.lo, rows.hi, rows.codes, weights[1:], distribution=distribution, start=whole
    )
    likelihood = np.concatenate([[whole.log_likelihood], fits.log_likelihood])
    coefficients = np.vstack([whole.coefficients, fits.coefficients])
    left_out = len(weights) - 1
    share = (left_out - 1) / left_out
    moved = coefficients[1:, EXPOSURE_COLUMN] - coefficients[0, EXPOSURE_COLUMN]
    own = float(whole.covariance[EXPOSURE_COLUMN, EXPOSURE_COLUMN])
    size_inflation = share * float(np.sum(moved**2)) / own
    scales = np.concatenate([[whole.scale], fits.scale])
    return (
        likelihood,
        coefficients,
        _inflation(rows, matrix, coefficients, scales, weights, distribution),
        size_inflation,
    )


def _inflation(
    rows: FadingTimes,
    matrix: Floats,
    coefficients: Floats,
    scales: Floats,
    weights: Floats,
    distribution: Distribution,
) -> float:
    """Variance over clusters of the score of the rate relative to independent rows."""
    slope = matrix[:, EXPOSURE_COLUMN] * np.where(rows.matrix[:, EXPOSURE_COLUMN] > 0, rows.elapsed, 0.0)
    wider = np.column_stack([matrix, slope])
    gathered = gather_times(wider, rows.lo, rows.hi, rows.codes, weights.shape[1])
    k = matrix.shape[1]
    at = np.vstack([(coefficients / scales[:, None]).T, np.zeros(len(scales)), 1 / scales])
    rising = ascent(gathered, gathered.counts @ weights.T, at, distribution)
    score, information = rising.gradient[k], rising.information[:, :, 0]
    others = np.arange(k + 2) != k
    cross = information[others, k]
    left = float(information[k, k] - cross @ np.linalg.solve(information[np.ix_(others, others)], cross))
    left_out = len(weights) - 1
    spread = (left_out - 1) / left_out * float(np.sum((score[1:] - score[0]) ** 2))
    return spread / max(left, 1e-300)
