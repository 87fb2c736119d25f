"""Which logistic coefficients does each reweighting of the mishaps give, all solved together?

Rows are collapsed to unique covariate patterns, replicates are columns of one weight array, and every Newton
pass is two matrix products over a block of replicates that stays in cache.  Jackknife, bootstrap,
leave-one-out, profile limits and intercept refits are all calls of :func:`solve`.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.models.collapsed import Collapsed, collapse, gather, mishap_sums, one_plus_exp
from survstats.models.newton import Block, Penalty, Solutions

__all__ = ["Collapsed", "Penalty", "Solutions", "collapse", "mean_risk", "refit_intercept", "solve"]

Floats = NDArray[np.float64]

BLOCK_CELLS = 400_000  # patterns x replicates in a block, so that it stays in cache
BLOCK_REPLICATES = (32, 160)  # fewest and most, whatever the patterns


def solve(
    collapsed: Collapsed,
    weights: ArrayLike,
    *,
    penalty: Penalty = "none",
    start: ArrayLike | None = None,
    held: ArrayLike | None = None,
) -> Solutions:
    """Logistic coefficients under each row of mishap weights.

    Maximum likelihood by Newton, or the likelihood with Jeffreys' penalty by scoring on the modified score
    (Firth 1993, doi:10.1093/biomet/80.1.27).  A step is halved while the slope along it turns by more than
    half.  A column without information in a replicate is left out of the solve and its coefficient is 0, as
    if the column had been dropped.

    Parameters
    ----------
    collapsed : Collapsed
        p patterns, k columns, g mishaps.
    weights : (b, g) array
        Non-negative; 0 leaves a mishap out, 2 takes it twice, fractions are allowed.
    penalty : {"none", "firth"}
    start : (k,) or (b, k) array, optional
        Where to begin; else the fit with all weights one.
    held : (k,) or (b, k) array of bool, optional
        Coefficients that stay at ``start``; their columns stay in Jeffreys' penalty.

    Raises
    ------
    CallError
        ``weights_shape`` where the weights do not fit the mishaps, ``negative_weight``.
    """
    weight = np.atleast_2d(np.asarray(weights, dtype=float))
    _check_weights(weight, collapsed.mishaps)
    b, k = weight.shape[0], collapsed.patterns.shape[1]
    fixed = np.broadcast_to(np.zeros(k, dtype=bool) if held is None else np.asarray(held, dtype=bool), (b, k))
    if start is None:
        begin = _full_fit(collapsed, penalty) if b > 1 else np.zeros(k)
    else:
        begin = np.asarray(start, dtype=float)
    grams = collapsed.counts.T @ collapsed.pairs
    sums = mishap_sums(collapsed, begin) if begin.ndim == 1 and penalty == "none" else None
    parts = []
    for block in _blocks(b, collapsed.patterns.shape[0]):
        work = Block(collapsed, weight[block], grams, fixed[block].T, penalty)
        first = begin if begin.ndim == 1 else begin[block]
        parts.append(work.run(np.broadcast_to(first, (work.replicates, k)), sums))
    joined = [np.concatenate([getattr(part, name) for part in parts]) for name in Solutions.__annotations__]
    return Solutions(*joined)


def refit_intercept(collapsed: Collapsed, weights: ArrayLike, coefficients: ArrayLike) -> Floats:
    """Coefficients with the intercept refitted by maximum likelihood, the others held, shape (b, k).

    Firth's slopes with this intercept predict risks whose mean is the observed one (FLIC; Puhr et al. 2017,
    doi:10.1002/sim.7273).  Where a replicate's outcomes are all alike the intercept is infinite and every
    predicted risk is 0 or 1, which is the maximum.

    Raises
    ------
    NotEstimable
        ``not_converged``.
    """
    weight = np.atleast_2d(np.asarray(weights, dtype=float))
    given = np.broadcast_to(np.asarray(coefficients, dtype=float), (len(weight), collapsed.patterns.shape[1]))
    fitted = solve(collapsed, weight, start=given, held=np.arange(given.shape[1]) > 0)
    lived = weight @ collapsed.successes[:, 0]
    aboard = weight @ collapsed.counts.sum(axis=0)
    none, all_ = lived <= 0, lived >= aboard
    if not np.all(fitted.converged | none | all_):
        raise NotEstimable("not_converged", "The intercept of the penalised fit could not be refitted.")
    refitted = fitted.coefficients.copy()
    refitted[none, 0] = -np.inf
    refitted[all_, 0] = np.inf
    return refitted


def mean_risk(
    matrix: ArrayLike, mishap_codes: ArrayLike, weights: ArrayLike, coefficients: ArrayLike
) -> Floats:
    """Weighted mean of the predicted risk over the rows, one per replicate, shape (b,).

    Parameters
    ----------
    matrix : (n, k) array
        The rows to average over; for standardisation, with the exposure set.
    mishap_codes : (n,) array of int
        0 to g - 1.
    weights : (b, g) array
    coefficients : (k,) or (b, k) array

    Raises
    ------
    NotEstimable
        ``no_rows`` where a replicate gives every row the weight 0.
    """
    weight = np.atleast_2d(np.asarray(weights, dtype=float))
    design = np.asarray(matrix, dtype=float)
    beta = np.broadcast_to(np.asarray(coefficients, dtype=float), (len(weight), design.shape[1]))
    patterns, counts = gather(design, np.asarray(mishap_codes, dtype=np.int64), weight.shape[1])
    risks = np.empty(len(weight))
    for block in _blocks(len(weight), len(patterns)):
        rows = counts @ weight[block].T
        total = rows.sum(axis=0)
        if not np.all(total > 0):
            raise NotEstimable("no_rows", "A refit has no row left to average the predicted risk over.")
        risks[block] = (rows / one_plus_exp(-(patterns @ beta[block].T))).sum(axis=0) / total
    return risks


def _full_fit(collapsed: Collapsed, penalty: Penalty) -> Floats:
    """Coefficients with all weights one, or zeros where that fit does not exist."""
    fit = solve(collapsed, np.ones((1, collapsed.mishaps)), penalty=penalty)
    return fit.coefficients[0] if fit.converged[0] else np.zeros(collapsed.patterns.shape[1])


def _check_weights(weights: Floats, mishaps: int) -> None:
    if weights.shape[1] != mishaps:
        raise CallError("weights_shape", f"{weights.shape[1]} weights were given for {mishaps} mishaps.")
    if not np.all(weights >= 0):
        raise CallError("negative_weight", "A mishap weight is negative or missing.")


def _blocks(replicates: int, patterns: int) -> Iterator[slice]:
    fewest, most = BLOCK_REPLICATES
    size = min(most, max(fewest, BLOCK_CELLS // patterns))
    return (slice(first, min(first + size, replicates)) for first in range(0, replicates, size))
