"""Which log hazard ratios go with the covariates, among those still at risk?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survstats.groundwork.errors import NotEstimable
from survstats.models.times.cox_covariance import clustered, score_residuals
from survstats.models.times.cox_risk_sets import RiskSets, Ties

__all__ = ["CoxFit", "Ties", "derivatives", "fit_cox"]

Floats = NDArray[np.float64]

TOLERANCE = 1e-8  # after a Newton step this small, times the largest covariate, nothing is left
PASSES = 60
LONGEST_STEP = 5.0  # of a coefficient times its largest covariate
RUNAWAY = 1e-9  # information below this share of that at zero: the fit runs to infinity
FLAT = 1e-10  # a direction with less than this share of a column's information carries nothing of its own


@dataclass(frozen=True)
class CoxFit:
    """A proportional hazards fit.

    Attributes
    ----------
    coefficients : (k,) array
        Log hazard ratios.
    covariance : (k, k) array
        Inverse information: right where rows are independent.
    robust : (k, k) array or None
        Sandwich over clusters; None where none were given.
    log_likelihood, log_likelihood_null : float
        Partial log-likelihood at the coefficients and at zero.
    ties : {"efron", "breslow"}
    sets : RiskSets
        What was fitted.
    """

    coefficients: Floats
    covariance: Floats
    robust: Floats | None
    log_likelihood: float
    log_likelihood_null: float
    ties: Ties
    sets: RiskSets

    @property
    def se(self) -> Floats:
        """Standard errors (k,), over clusters where these were given."""
        return np.sqrt(np.diag(self.covariance if self.robust is None else self.robust))


def fit_cox(
    matrix: ArrayLike,
    time: ArrayLike,
    event: ArrayLike,
    *,
    strata: ArrayLike | None = None,
    codes: ArrayLike | None = None,
    ties: Ties = "efron",
    entry: ArrayLike | None = None,
    weights: ArrayLike | None = None,
) -> CoxFit:
    """Log hazard ratios by the partial likelihood, with errors from the spread between clusters.

    Cox 1972, doi:10.1111/j.2517-6161.1972.tb00899.x; ties after Efron 1977, doi:10.1080/01621459.1977.10480613, or
    Breslow 1974, doi:10.2307/2529620; errors over clusters after Lin and Wei 1989,
    doi:10.1080/01621459.1989.10478874, without a factor for few clusters.  Cost is linear in the rows.

    Parameters
    ----------
    matrix : (n, k) array
        Covariates, without an intercept.
    time : (n,) array
        When each row left: at its event, or unobserved from then on.  An event comes before a censoring at the
        same time.
    event : (n,) array of 0 and 1
    strata : (n,) array, optional
        Labels: each stratum has a baseline hazard of its own.
    codes : (n,) array of int, optional
        Cluster of each row; with it the fit has ``robust``.
    ties : {"efron", "breslow"}
    entry : (n,) array, optional
        A row is at risk after this time only.
    weights : (n,) array, optional
        0 or more; a row of weight 0 is as if not there.  Under Breslow's handling of ties a whole number stands
        for so many equal rows; under Efron's, events that share a time then leave the risk set by their mean weight.

    Raises
    ------
    NotEstimable
        ``no_rows``, ``missing_value``, ``one_outcome`` without any event, ``no_free_column`` where a column carries
        nothing beyond the others among people at risk together, ``separated`` where the likelihood rises without
        end, ``not_converged``, ``one_mishap`` with a single cluster.
    CallError
        ``shape``, ``not_binary``, ``not_positive``, ``order``.
    """
    sets = RiskSets.of(matrix, time, event, strata=strata, entry=entry, weights=weights, ties=ties)
    with np.errstate(all="ignore"):  # a step too far is told by its likelihood
        beta, null = _newton(sets)
    likelihood, _, information = derivatives(sets, beta)
    covariance = np.asarray(np.linalg.inv(information), dtype=float)
    robust = None
    if codes is not None:
        robust = clustered(score_residuals(sets, beta), np.asarray(codes), covariance)
    return CoxFit(beta, covariance, robust, likelihood, null, ties, sets)


def derivatives(sets: RiskSets, beta: Floats) -> tuple[float, Floats, Floats]:
    """Partial log-likelihood, score (k,) and information (k, k) at the coefficients.

    The information is that of all rows, each by the hazard it was under, less that of the mean covariates at the
    events, so that no array of rows by pairs of columns is made.
    """
    at = sets.moments(beta)
    hazard = sets.mean_weight / at.total
    under = sets.while_at_risk(sets.at_place(hazard))
    spared = sets.at_place(sets.fraction * hazard)[sets.place]
    under[sets.events] -= spared
    x, events = sets.matrix, sets.events
    likelihood = float(sets.weights[events] @ at.linear[events] - sets.mean_weight @ np.log(at.total))
    score = sets.weights[events] @ x[events] - sets.mean_weight @ at.mean
    information = (x * (at.risk * under)[:, None]).T @ x - (at.mean * sets.mean_weight[:, None]).T @ at.mean
    return likelihood, score, (information + information.T) / 2


def _newton(sets: RiskSets) -> tuple[Floats, float]:
    """Coefficients, and the log-likelihood at zero."""
    beta = np.zeros(sets.matrix.shape[1])
    null, score, information = derivatives(sets, beta)
    likelihood, whitener = null, _whitener(information)
    scale = np.abs(sets.matrix).max(axis=0)
    for _ in range(PASSES):
        if np.linalg.eigvalsh(whitener @ information @ whitener.T)[0] < RUNAWAY:
            raise NotEstimable(
                "separated",
                "The likelihood rises without end: at every event one kind of people went first.",
                "Drop the column, or compare shares instead of rates.",
            )
        step = np.linalg.solve(information, score)
        if np.abs(step * scale).max() < TOLERANCE:
            return beta + step, null
        step = step * min(1.0, LONGEST_STEP / np.abs(step * scale).max())
        for _ in range(PASSES):
            fresh = derivatives(sets, beta + step)
            if likelihood - 1e-12 * abs(likelihood) <= fresh[0] < np.inf:
                break
            step = step / 2
        else:
            break
        beta = beta + step
        likelihood, score, information = fresh
    raise NotEstimable("not_converged", "The fit of the hazards did not converge.")


def _whitener(information: Floats) -> Floats:
    """A matrix that turns the information at zero into the identity."""
    size = np.sqrt(np.diag(information))
    if len(size) and (size > 0).all():
        values, vectors = np.linalg.eigh(information / (size[:, None] * size))
        if values[0] > FLAT:
            return np.asarray((vectors / np.sqrt(values)).T / size)
    raise NotEstimable(
        "no_free_column",
        "A column says nothing beyond the others among the people at risk together.",
        "Drop what is the same for everyone in a stratum.",
    )
