"""Which log odds ratios does a model give in which every mishap has a level of its own?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import expit, ndtri, roots_hermite

from survstats.groundwork.errors import CallError, NotEstimable, Notice
from survstats.models.design import Design, build_design
from survstats.models.fitted import Coefficient, CoefficientTable
from survstats.models.kernel import collapse, solve
from survstats.models.logistic import aliased_notices, binary_outcome, check_level
from survstats.models.quadrature import Integrated, maximise, polish
from survstats.models.separation import find_separation

Floats = NDArray[np.float64]

RISK_NODES = 101  # of the rule that averages a risk over mishaps
LARGEST_SPREAD = 50.0  # beyond this, in log odds, mishaps are all alive or all dead
NO_SPREAD = 1e-3
FLAT = 1e-7  # a likelihood no higher than this above that without spread shows none


@dataclass(frozen=True)
class RandomIntercept:
    """A logistic model with a normal level of each mishap.

    Attributes
    ----------
    table : CoefficientTable
        Log odds ratios inside a mishap, with normal limits.
    covariance : (k, k) array
        Of the coefficients, from the observed information.
    spread, spread_low, spread_high : float
        Standard deviation of the mishaps' levels, in log odds, and its profile limits.
    log_likelihood : float
    design : Design
    nodes : int
        Of the quadrature.
    mishaps : int
    notices : tuple of Notice
        ``no_spread`` where the likelihood is highest at a spread of 0.
    """

    table: CoefficientTable
    covariance: Floats
    spread: float
    spread_low: float
    spread_high: float
    log_likelihood: float
    design: Design
    nodes: int
    mishaps: int
    notices: tuple[Notice, ...]

    def marginal_risk(self, frame: pd.DataFrame, *, setting: Mapping[str, float] | None = None) -> float:
        """Mean predicted risk over the rows in mishaps of any level, in [0, 1].

        Parameters
        ----------
        frame : DataFrame
        setting : mapping of str to float, optional
            Value of a numeric term in every row (the exposure: 1, then 0).
        """
        linear = self.design.apply(frame, setting=setting) @ self.table.estimates
        values, counts = np.unique(linear, return_counts=True)
        places, weights = roots_hermite(RISK_NODES)
        risks = expit(values[:, None] + np.sqrt(2) * self.spread * places) @ weights / np.sqrt(np.pi)
        return float(risks @ counts / counts.sum())


@dataclass(frozen=True)
class Mundlak:
    """One log odds ratio, split into that inside mishaps and that of their means.

    Attributes
    ----------
    within : Coefficient
        Between people of one mishap.
    between : Coefficient
        Between mishaps, per unit of the mishap's mean.
    difference : Coefficient
        Between minus within; limits without 0 say that mishaps differ in more than the column.
    spread : float
        Standard deviation of the mishaps' levels, in log odds.
    """

    within: Coefficient
    between: Coefficient
    difference: Coefficient
    spread: float


def fit_random_intercept(
    frame: pd.DataFrame,
    outcome: str,
    terms: Sequence[str],
    *,
    cluster: str,
    nodes: int = 25,
    level: float = 0.95,
) -> RandomIntercept:
    """Log odds ratios inside a mishap, its level a normal deviation that is integrated out.

    The integral is taken by Gauss-Hermite nodes laid around each mishap's own mode (Pinheiro and Bates 1995,
    doi:10.1080/10618600.1995.10474663); standard errors come from the observed information of coefficients and
    spread together, limits of the spread from its profile.

    Parameters
    ----------
    frame : DataFrame
        n rows without gaps in the columns named.
    outcome : str
        Column of 0 and 1.
    terms : sequence of str
    cluster : str
        Column with the mishap's label.
    nodes : int
        1 is Laplace's approximation.
    level : float

    Raises
    ------
    NotEstimable
        ``no_rows``, ``one_outcome``, ``one_mishap``, ``missing_value``, ``separated``, ``not_converged``;
        ``no_discordant_mishaps`` where every mishap has one outcome only.
    CallError
        ``missing_column``, ``not_binary``, ``level``, ``nodes``.
    """
    check_level(level)
    if nodes < 1:
        raise CallError("nodes", f"A quadrature needs at least one node, not {nodes}.")
    design = build_design(frame, terms, cluster=cluster)
    y = binary_outcome(frame, outcome)
    _refuse(design, y)
    integrated = Integrated(design.matrix, y, design.mishap_codes, nodes)
    collapsed = collapse(design.matrix, y, design.mishap_codes)
    pooled = solve(collapsed, np.ones((1, collapsed.mishaps)))
    if not pooled.converged[0]:
        raise NotEstimable("not_converged", "The fit without levels of mishaps did not converge.")
    pooled_covariance = _pooled_covariance(design.matrix, pooled.coefficients[0])
    lowest, notices = float(pooled.log_likelihood[0]), aliased_notices(design)
    best, likelihood, covariance = _highest(integrated, pooled.coefficients[0], pooled_covariance)
    if abs(best[-1]) < NO_SPREAD or likelihood < lowest + FLAT:
        best, likelihood, covariance = np.append(pooled.coefficients[0], 0.0), lowest, pooled_covariance
        notices = (*notices, Notice("no_spread"))
    low, high = _spread_limits(integrated, best, covariance, likelihood, lowest, level)
    return RandomIntercept(
        table=CoefficientTable(_normal_rows(design.columns, best[:-1], covariance, level), level),
        covariance=covariance,
        spread=float(best[-1]),
        spread_low=low,
        spread_high=high,
        log_likelihood=likelihood,
        design=design,
        nodes=nodes,
        mishaps=collapsed.mishaps,
        notices=notices,
    )


def mundlak(
    frame: pd.DataFrame,
    outcome: str,
    terms: Sequence[str],
    *,
    split: str,
    cluster: str,
    nodes: int = 25,
    level: float = 0.95,
) -> Mundlak:
    """Does a log odds ratio between mishaps agree with that inside them (Mundlak 1978, doi:10.2307/1913646)?

    The mishap's mean of the column enters the random-intercept model beside the column: its coefficient is the
    difference of the two.

    Parameters
    ----------
    frame, outcome, terms, cluster, nodes, level
        As in :func:`fit_random_intercept`.
    split : str
        The numeric term to split.

    Raises
    ------
    NotEstimable
        As there; ``no_free_column`` where the term varies only inside, or only between mishaps.
    CallError
        As there; ``unknown_term``.
    """
    if split not in terms or split not in frame.columns or not pd.api.types.is_numeric_dtype(frame[split]):
        raise CallError("unknown_term", f"'{split}' is not a numeric term of the model.")
    mean = f"{split} of the mishap"
    widened = frame.assign(**{mean: frame.groupby(cluster)[split].transform("mean").astype(float)})
    order = [split, mean, *(name for name in terms if name != split)]
    fit = fit_random_intercept(widened, outcome, order, cluster=cluster, nodes=nodes, level=level)
    if mean in fit.design.dropped or split in fit.design.dropped:
        raise NotEstimable("no_free_column", f"'{split}' does not vary both inside and between mishaps.")
    at = [fit.design.columns.index(name) for name in (split, mean)]
    turn = np.array([[1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    covariance = turn @ fit.covariance[np.ix_(at, at)] @ turn.T
    names = ("within", "between", "difference")
    within, between, difference = _normal_rows(names, turn @ fit.table.estimates[at], covariance, level)
    return Mundlak(within, between, difference, fit.spread)


def _refuse(design: Design, outcome: Floats) -> None:
    """Raise where the likelihood has no finite maximum."""
    if len(design.mishap_labels) < 2:
        raise NotEstimable("one_mishap", "Only one mishap: nothing shows how mishaps differ.")
    if find_separation(design.matrix, outcome).kind != "none":
        raise NotEstimable("separated", "The outcomes are separated.", "Use the penalised (Firth) fit.")
    aboard = np.bincount(design.mishap_codes)
    lived = np.bincount(design.mishap_codes, weights=outcome)
    if not np.any((lived > 0) & (lived < aboard)):
        raise NotEstimable("no_discordant_mishaps", "In no mishap did one die and another live.")


def _pooled_covariance(matrix: Floats, beta: Floats) -> Floats:
    """Covariance (k, k) from the information without levels of mishaps."""
    risk = expit(matrix @ beta)
    return np.asarray(np.linalg.inv(matrix.T @ (matrix * (risk * (1 - risk))[:, None])), dtype=float)


def _highest(integrated: Integrated, beta: Floats, covariance: Floats) -> tuple[Floats, float, Floats]:
    """Coefficients and spread (k + 1,), the log-likelihood, and the covariance (k, k) of the coefficients."""
    k = len(beta)
    units = np.zeros((k + 1, k + 1))
    units[:k, :k], units[k, k] = 2 * covariance, 0.25
    best, likelihood = maximise(integrated, np.append(beta, 1.0), units, free=k + 1)
    best[-1] = abs(best[-1])  # a spread and its negative are one model
    if best[-1] > LARGEST_SPREAD:
        raise NotEstimable("not_converged", "The spread between mishaps has no finite estimate.")
    if best[-1] < NO_SPREAD:
        return best, likelihood, covariance
    best, likelihood, information = polish(integrated, best)
    return best, likelihood, np.asarray(np.linalg.inv(information), dtype=float)[:k, :k]


def _normal_rows(
    names: Sequence[str], estimates: Floats, covariance: Floats, level: float
) -> tuple[Coefficient, ...]:
    se = np.sqrt(np.diag(covariance))
    half = float(ndtri((1 + level) / 2)) * se
    rows = zip(
        names, estimates, se, np.full(len(se), np.inf), estimates - half, estimates + half, strict=True
    )
    return tuple(Coefficient(name, *map(float, row)) for name, *row in rows)


def _spread_limits(
    integrated: Integrated, best: Floats, covariance: Floats, likelihood: float, lowest: float, level: float
) -> tuple[float, float]:
    """Where twice the fall of the likelihood, highest at each spread, is the chi-squared quantile.

    The lower one is 0 where the fall at no spread is less, the upper one infinite where none is found.
    """
    goal, spread, near = float(ndtri((1 + level) / 2)), float(best[-1]), best.copy()

    def height(value: float) -> float:
        if value == spread:
            return -goal
        near[-1] = value
        near[:], reached = maximise(integrated, near, covariance, free=len(near) - 1)
        return float(np.sqrt(max(2 * (likelihood - reached), 0.0))) - goal

    accuracy = 1e-4 * max(spread, 0.1)
    low = 0.0
    if 2 * (likelihood - lowest) > goal**2:
        low = float(brentq(height, spread / 1000, spread, xtol=accuracy))
        near[:] = best
    outer = max(0.5, 1.5 * spread)
    while height(outer) < 0:
        outer *= 1.5
        if outer > LARGEST_SPREAD:
            return low, np.inf
    near[:] = best
    return low, float(brentq(height, spread, outer, xtol=accuracy))
