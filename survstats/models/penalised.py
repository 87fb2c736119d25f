"""Which log odds ratios does the penalised likelihood give, finite where outcomes separate?"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtri, expit

from survstats.groundwork.errors import NotEstimable
from survstats.models.design import build_design
from survstats.models.fitted import Coefficient, CoefficientTable, FittedLogistic
from survstats.models.kernel import Collapsed, collapse, refit_intercept, solve
from survstats.models.logistic import aliased_notices, binary_outcome, check_level, usage_of

Floats = NDArray[np.float64]

FARTHEST = 2.0**10  # normal half-widths from the estimate: beyond this a limit is infinite
EDGE = 1e-3  # as near, in half-widths, to where the others have no maximum: infinite too
ACCURACY = 1e-9


def fit_firth(
    frame: pd.DataFrame,
    outcome: str,
    terms: Sequence[str],
    *,
    cluster: str | None = None,
    level: float = 0.95,
) -> FittedLogistic:
    """Log odds ratios under Jeffreys' penalty, with profile limits.

    Firth 1993, doi:10.1093/biomet/80.1.27; limits by the profile of the penalised likelihood (Heinze &
    Schemper 2002, doi:10.1002/sim.1047).  The limits take rows as independent: for inference over mishaps
    refit without each mishap.  Standard errors are those of the unpenalised information at the estimate.

    Parameters
    ----------
    frame : DataFrame
        n rows without gaps in the columns named.
    outcome : str
        Column of 0 and 1.
    terms : sequence of str
    cluster : str, optional
        Column with the mishap's label; only counted here.
    level : float
        Coverage of the limits.

    Raises
    ------
    NotEstimable
        ``no_rows``, ``one_outcome``, ``not_converged``, ``missing_value``.
    CallError
        ``missing_column``, ``not_binary``.
    """
    check_level(level)
    design = build_design(frame, terms, cluster=cluster)
    y = binary_outcome(frame, outcome)
    collapsed = collapse(design.matrix, y, np.zeros(len(y), dtype=np.int64))
    once = np.ones((1, 1))
    fit = solve(collapsed, once, penalty="firth")
    if not fit.converged[0]:
        raise NotEstimable("not_converged", "The penalised fit did not converge.")
    beta, best = fit.coefficients[0], float(fit.log_likelihood[0])
    mu = expit(design.matrix @ beta)
    covariance = np.linalg.inv(design.matrix.T @ (design.matrix * (mu * (1 - mu))[:, None]))
    se = np.sqrt(np.diag(covariance))
    low, high = _profile_limits(collapsed, beta, covariance, best, float(chdtri(1, 1 - level)))
    rows = zip(design.columns, beta, se, np.full(len(beta), np.nan), low, high, strict=True)
    return FittedLogistic(
        table=CoefficientTable(tuple(Coefficient(name, *map(float, row)) for name, *row in rows), level),
        covariance=covariance,
        method="profile",
        log_likelihood=best,
        design=design,
        usage=usage_of(design),
        notices=aliased_notices(design),
        flic_intercept=float(refit_intercept(collapsed, once, beta)[0, 0]),
    )


def profile_log_likelihood(
    collapsed: Collapsed, column: int, values: ArrayLike, *, start: ArrayLike
) -> Floats:
    """Penalised log-likelihood (v,) maximised over the other columns with one held at each of ``values``.

    The penalty keeps the column held, as a test of a coefficient needs.  Minus infinity where the value is so
    far out that the others have no maximum.

    Parameters
    ----------
    collapsed : Collapsed
    column : int
        Which of the k columns is held.
    values : (v,) array
    start : (k,) array
        Where the others begin.
    """
    at = np.asarray(values, dtype=float)
    begin = np.tile(np.asarray(start, dtype=float), (len(at), 1))
    begin[:, column] = at
    return _maximised(collapsed, begin, np.arange(begin.shape[1]) == column)[0]


def _maximised(collapsed: Collapsed, start: Floats, held: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    weights = np.ones((len(start), collapsed.mishaps))
    fit = solve(collapsed, weights, penalty="firth", start=start, held=held)
    return np.where(fit.converged, fit.log_likelihood, -np.inf), fit.coefficients


def _profile_limits(
    collapsed: Collapsed, beta: Floats, covariance: Floats, best: float, threshold: float
) -> tuple[Floats, Floats]:
    """Lower and upper limits (k,) where twice the fall of the profile equals ``threshold``.

    All 2k searches go side by side, each from the estimate outward along its own profile.
    """
    k = len(beta)
    column = np.tile(np.arange(k), 2)
    held = column[:, None] == np.arange(k)
    se = np.sqrt(np.diag(covariance))
    goal = np.sqrt(threshold)

    def height(place: Floats) -> tuple[Floats, Floats]:
        likelihood, solved = _maximised(collapsed, beta + place, held)
        return np.sqrt(np.maximum(2 * (best - likelihood), 0.0)) - goal, solved - beta

    first = goal * np.vstack([-covariance / se[:, None], covariance / se[:, None]])
    limits = beta[column] + _outward_roots(height, first, column, -goal)
    return limits[:k], limits[k:]


def _outward_roots(
    height: Callable[[Floats], tuple[Floats, Floats]], first: Floats, column: NDArray[np.intp], at_zero: float
) -> Floats:
    """Where each ``height`` crosses 0, going from 0 towards ``first`` and beyond; infinite if never, shape (m,).

    Places are differences (m, k) from the estimate, of which only ``column`` is held; the others only say where
    to begin, so that each search stays on its profile.  The height is nearly straight: a secant through the last
    two places, or the middle of the bracket where that leads out of it, needs few turns.
    """
    rows = np.arange(len(first))
    inner, low = np.zeros_like(first), np.full(len(first), at_zero)
    unit = np.abs(first[rows, column])
    high, outer = height(first)
    while np.any(short := (high < 0) & (np.abs(outer[rows, column]) < FARTHEST * unit)):
        inner, low = np.where(short[:, None], outer, inner), np.where(short, high, low)
        high, outer = height(np.where(short[:, None], 2 * outer, outer))
    never, settled = high < 0, np.abs(high) < ACCURACY
    before, last = (low, inner), (high, outer)
    for turn in range(200):
        width = np.abs(outer - inner)[rows, column]
        never |= ~np.isfinite(high) & (width < EDGE * unit)
        with np.errstate(invalid="ignore", divide="ignore"):
            guess = last[1] + (last[0] / (last[0] - before[0]))[:, None] * (before[1] - last[1])
        inside = np.abs(guess - inner)[rows, column] < width
        inside &= (np.abs(guess - outer)[rows, column] < width) & (turn % 8 < 7)
        guess = np.where(inside[:, None], guess, (inner + outer) / 2)
        guess = np.where(settled[:, None], last[1], guess)
        value, place = height(np.where(never[:, None], 0.0, guess))
        settled |= (np.abs(value) < ACCURACY) | (width < ACCURACY * unit)
        if np.all(never | settled):
            return np.where(never, np.sign(first[rows, column]) * np.inf, place[rows, column])
        beyond = value > 0
        high = np.where(beyond, value, high)
        inner, outer = np.where(beyond[:, None], inner, place), np.where(beyond[:, None], place, outer)
        before, last = last, (value, place)
    raise NotEstimable("not_converged", "A profile limit could not be found.")
