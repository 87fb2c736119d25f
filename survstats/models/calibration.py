"""How well do predicted risks and outcomes go together?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincinv, expit, logit, stdtrit

from survstats.groundwork.errors import NotEstimable
from survstats.models.cluster_covariance import cluster_covariance
from survstats.models.fitted import Coefficient
from survstats.models.kernel import collapse, solve
from survstats.models.logistic import check_level
from survstats.models.separation import find_separation

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

BINS = 5
SLOPE, INTERCEPT = "calibration_slope", "calibration_intercept"


@dataclass(frozen=True)
class RiskBin:
    """People of much the same predicted risk.

    Attributes
    ----------
    from_risk, to_risk : float
        Smallest and largest predicted risk among them, in [0, 1].
    occupants, mishaps : int
    predicted, observed : float
        Mean predicted risk and share with outcome 1.
    low, high : float
        Limits of the share; never narrower than the exact ones of as many independent people.
    """

    from_risk: float
    to_risk: float
    occupants: int
    mishaps: int
    predicted: float
    observed: float
    low: float
    high: float


@dataclass(frozen=True)
class Calibration:
    """How predicted risks and outcomes go together.

    Attributes
    ----------
    intercept : Coefficient
        By how much, in log odds, the predicted risks must be moved to be right on average; 0 is right.
    slope : Coefficient
        By how much their log odds must be stretched; 1 is right, below 1 they are too extreme.
    bins : tuple of RiskBin
        From low to high risk, of much the same number of people.
    """

    intercept: Coefficient
    slope: Coefficient
    bins: tuple[RiskBin, ...]


def calibration(risk: ArrayLike, outcome: ArrayLike, codes: ArrayLike, *, level: float = 0.95) -> Calibration:
    """Are predicted risks right on average, and are they too extreme or too tame?

    Slope: logistic regression of the outcome on the log odds of the risk; intercept: the same with the slope
    held at 1 (Cox 1958, doi:10.1093/biomet/45.3-4.562; Van Calster et al. 2019, doi:10.1186/s12916-019-1466-7).
    Errors are CR2 over mishaps with Satterthwaite degrees of freedom; those of the predictions are not in them.

    Parameters
    ----------
    risk : (n,) array
        Predicted, in (0, 1); out of the person's mishap for an honest answer.
    outcome : (n,) array of 0 and 1
    codes : (n,) array of int
        0 to g - 1.
    level : float

    Raises
    ------
    NotEstimable
        ``one_mishap``, ``one_outcome``, ``separated``, ``not_converged``; ``no_free_column`` where all risks are
        alike; ``certain_risk`` where one is 0 or 1.
    CallError
        ``level``.
    """
    check_level(level)
    p, y = np.asarray(risk, dtype=float), np.asarray(outcome, dtype=float)
    mishap = np.asarray(codes, dtype=np.int64)
    if not np.all((p > 0) & (p < 1)):
        raise NotEstimable("certain_risk", "A predicted risk is 0 or 1, so its log odds are infinite.")
    if y.min() == y.max():
        raise NotEstimable("one_outcome", "All outcomes are alike.")
    score = logit(p)
    if np.ptp(score) < 1e-9:
        raise NotEstimable("no_free_column", "All predicted risks are alike.")
    matrix = np.column_stack([np.ones(len(p)), score])
    if find_separation(matrix, y).kind != "none":
        raise NotEstimable("separated", "The predicted risks tell the outcomes apart.")
    slope = _coefficient(SLOPE, matrix, y, mishap, np.zeros(2), np.zeros(2, dtype=bool), level)
    held = np.array([False, True])
    intercept = _coefficient(INTERCEPT, matrix, y, mishap, np.array([0.0, 1.0]), held, level)
    return Calibration(intercept, slope, _bins(p, y, mishap, level))


def _coefficient(
    name: str,
    matrix: Floats,
    outcome: Floats,
    codes: Codes,
    start: Floats,
    held: NDArray[np.bool_],
    level: float,
) -> Coefficient:
    """The last of the coefficients that are free, with its error over mishaps."""
    data = collapse(matrix, outcome, codes)
    fit = solve(data, np.ones((1, data.mishaps)), start=start, held=held)
    if not fit.converged[0]:
        raise NotEstimable("not_converged", "The calibration of the predicted risks did not converge.")
    beta, free = fit.coefficients[0], np.flatnonzero(~held)
    linear = matrix @ beta
    root = np.sqrt(expit(linear) * expit(-linear))
    spread = cluster_covariance(matrix[:, free] * root[:, None], (outcome - expit(linear)) / root, codes)
    estimate, se, df = float(beta[free[-1]]), float(spread.se[-1]), float(spread.df[-1])
    half = float(stdtrit(df, (1 + level) / 2)) * se
    return Coefficient(name, estimate, se, df, estimate - half, estimate + half)


def _bins(risk: Floats, outcome: Floats, codes: Codes, level: float) -> tuple[RiskBin, ...]:
    """Five groups of rising risk; people of one risk stay together, so there may be fewer."""
    edges = np.quantile(risk, np.arange(1, BINS) / BINS, method="inverted_cdf")
    which = np.searchsorted(np.unique(edges), risk, side="left")
    return tuple(
        _bin(risk[which == j], outcome[which == j], codes[which == j], level) for j in np.unique(which)
    )


def _bin(risk: Floats, outcome: Floats, codes: Codes, level: float) -> RiskBin:
    share, mishaps = float(outcome.mean()), len(np.unique(codes))
    low, high = share_limits(outcome, codes, level=level)
    return RiskBin(
        from_risk=float(risk.min()),
        to_risk=float(risk.max()),
        occupants=len(risk),
        mishaps=mishaps,
        predicted=float(risk.mean()),
        observed=share,
        low=low,
        high=high,
    )


def share_limits(outcome: ArrayLike, codes: ArrayLike, *, level: float = 0.95) -> tuple[float, float]:
    """Limits of a share that allow for mishaps, and at least the exact ones of independent people.

    The error is that of a ratio over mishaps times g / (g - 1), taken on the log odds with t(g - 1); in one
    mishap nothing shows how mishaps differ and the limits are 0 and 1.

    Parameters
    ----------
    outcome : (n,) array of 0 and 1
    codes : (n,) array of int
        Mishap of each row.
    level : float
    """
    y = np.asarray(outcome, dtype=float)
    labels = np.unique(np.asarray(codes), return_inverse=True)[1]
    n, lived, g = len(y), float(y.sum()), int(labels.max()) + 1
    if g < 2:
        return 0.0, 1.0
    tail = (1 - level) / 2
    low = 0.0 if lived == 0 else float(betaincinv(lived, n - lived + 1, tail))
    high = 1.0 if lived == n else float(betaincinv(lived + 1, n - lived, 1 - tail))
    if 0 < lived < n:
        share = lived / n
        off = np.bincount(labels, weights=y - share) / n
        reach = float(stdtrit(g - 1, 1 - tail) * np.sqrt(g / (g - 1) * (off**2).sum())) / (
            share * (1 - share)
        )
        low, high = (
            min(low, float(expit(logit(share) - reach))),
            max(high, float(expit(logit(share) + reach))),
        )
    return low, high
