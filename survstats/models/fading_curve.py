"""How well does each rate of decay fit, where a logistic effect halves again and again with time?

The model is logit P(Y = 1) = x b + size * exposed * exp(-rate * elapsed).  For a given rate it is an ordinary
logistic model, so each rate is solved by the kernel, all replicates together, and the rate is profiled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survstats.groundwork.errors import NotEstimable
from survstats.models.kernel import Collapsed, Penalty, collapse, refit_intercept, solve

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

#: The intercept comes first, the exposure next.
EXPOSURE_COLUMN = 1


@dataclass(frozen=True)
class Decaying:
    """The rows of a model with one decaying effect.

    Attributes
    ----------
    matrix : (n, k) array
        Intercept, exposure (0 or 1), covariates.
    outcome : (n,) array of 0 and 1
    elapsed : (n,) array
        Time since the exposure; whatever stands there for the unexposed is not used.
    codes : (n,) array of int
        Mishap, 0 to g - 1.
    penalised : bool
        Firth's likelihood with the intercept refitted in place of maximum likelihood.
    """

    matrix: Floats
    outcome: Floats
    elapsed: Floats
    codes: Codes
    penalised: bool = False

    def retained(self, rate: float) -> Floats:
        """What is left of the exposure in each row, shape (n,)."""
        exposed = self.matrix[:, EXPOSURE_COLUMN]
        return np.asarray(exposed * np.exp(-rate * np.where(exposed > 0, self.elapsed, 0.0)))


@dataclass(frozen=True)
class RateFits:
    """The model fitted at each of l rates under each of b mishap weights.

    Attributes
    ----------
    rates : (l,) array
    log_likelihood : (l, b) array
        Maximised over all but the rate; penalised where the fit is.
    coefficients : (l, b, k) array
        Column 1 is the size of the effect at time 0.
    without : (l,) array
        Log-likelihood of all rows with the size held at 0.
    inflation : (l,) array
        Variance of the score of the rate, found by leaving mishaps out, over what independent rows would give.
    size_inflation : (l,) array
        The same for the size; both are NaN where only one replicate was fitted.
    """

    rates: Floats
    log_likelihood: Floats
    coefficients: Floats
    without: Floats
    inflation: Floats
    size_inflation: Floats

    def merged(self, other: RateFits) -> RateFits:
        """Both sets of rates, in order."""
        order = np.argsort(np.concatenate([self.rates, other.rates]), kind="stable")
        parts = (
            np.concatenate([getattr(self, name), getattr(other, name)])[order]
            for name in RateFits.__annotations__
        )
        return RateFits(*parts)


def fit_rates(rows: Decaying, rates: Sequence[float], weights: Floats) -> RateFits:
    """Fit the model at each rate under all mishap weights.

    Parameters
    ----------
    rows : Decaying
    rates : sequence of float
        Per unit of elapsed time, >= 0.
    weights : (b, g) array
        The first row takes all mishaps once; the others, if any, leave out one mishap, or one group of them, each.

    Raises
    ------
    NotEstimable
        ``not_converged``; ``arm_in_one_mishap`` where a replicate cannot tell the exposure.

    Notes
    -----
    Column 1 is scaled to the same sum of squares at every rate, so that Jeffreys' penalty does not favour any; the
    coefficients are given on the scale of what is retained.  The inflation takes the score of the rate with each
    mishap left out of the fit and of the sum, as the jackknife does (it so allows for leverage), over the expected
    information about the rate that is left when all others are fitted.
    """
    found: list[tuple[Floats, Floats, float, float, float]] = []
    start, without = None, np.nan
    for rate in rates:
        retained = rows.retained(float(rate))
        scale = float(np.sqrt(np.sum(retained**2) / np.sum(rows.matrix[:, EXPOSURE_COLUMN])))
        matrix = rows.matrix.copy()
        matrix[:, EXPOSURE_COLUMN] = retained / scale
        collapsed = collapse(matrix, rows.outcome, rows.codes, mishaps=weights.shape[1])
        coefficients, likelihood, start = _fitted(collapsed, weights, rows.penalised, start)
        if rows.penalised or not found:  # without a penalty it is the same at every rate
            without = _without(collapsed, rows.penalised)
        inflation = (np.nan, np.nan)
        if len(weights) > 1:
            slope = np.where(retained > 0, rows.elapsed, 0.0) * retained
            inflation = _inflation(rows, matrix, slope, coefficients, weights)
        coefficients[:, EXPOSURE_COLUMN] /= scale
        found.append((likelihood, coefficients, without, *inflation))
    parts = (np.array(part) for part in zip(*found, strict=True))
    return RateFits(np.asarray(rates, dtype=float), *parts)


def _fitted(
    collapsed: Collapsed, weights: Floats, penalised: bool, start: Floats | None
) -> tuple[Floats, Floats, Floats]:
    """Coefficients (b, k) for prediction, log-likelihoods (b,), and where the next rate may begin (k,)."""
    penalty: Penalty = "firth" if penalised else "none"
    fits = solve(collapsed, weights, penalty=penalty, start=start)
    if not bool(np.all(fits.identified[:, EXPOSURE_COLUMN])):
        raise NotEstimable("arm_in_one_mishap", "All people of one training group come from one mishap.")
    if not bool(np.all(fits.converged)):
        raise NotEstimable(
            "not_converged", "A refit has no finite solution.", "Use fewer covariates in the study file."
        )
    first = fits.coefficients[0].copy()
    if not penalised:
        return fits.coefficients.copy(), fits.log_likelihood, first
    return refit_intercept(collapsed, weights, fits.coefficients), fits.log_likelihood, first


def _without(collapsed: Collapsed, penalised: bool) -> float:
    """Log-likelihood of all mishaps with the size held at 0, its column kept in the penalty."""
    k = collapsed.patterns.shape[1]
    held = np.arange(k) == EXPOSURE_COLUMN
    penalty: Penalty = "firth" if penalised else "none"
    fit = solve(collapsed, np.ones((1, collapsed.mishaps)), penalty=penalty, start=np.zeros(k), held=held)
    if not fit.converged[0]:
        raise NotEstimable("not_converged", "The fit without the exposure has no finite solution.")
    return float(fit.log_likelihood[0])


def _inflation(
    rows: Decaying, matrix: Floats, slope: Floats, coefficients: Floats, weights: Floats
) -> tuple[float, float]:
    """Variance over mishaps relative to independent rows: of the score of the rate, and of the size."""
    risk = 1 / (1 + np.exp(-(matrix @ coefficients.T)))
    variance = risk[:, 0] * (1 - risk[:, 0])
    score = ((rows.outcome[:, None] - risk) * weights.T[rows.codes] * slope[:, None]).sum(axis=0)
    left_out = len(weights) - 1
    share = (left_out - 1) / left_out
    size = coefficients[:, EXPOSURE_COLUMN]
    weighted = matrix * variance[:, None]
    bread = np.linalg.inv(matrix.T @ weighted)
    cross = weighted.T @ slope
    information = float(slope @ (variance * slope) - cross @ bread @ cross)
    spread = share * float(np.sum((score[1:] - score[0]) ** 2))
    sized = share * float(np.sum((size[1:] - size[0]) ** 2)) / float(bread[EXPOSURE_COLUMN, EXPOSURE_COLUMN])
    return spread / max(information, 1e-300), sized
