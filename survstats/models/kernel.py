"""Which logistic coefficients does each reweighting of the mishaps give, all solved together?

Rows are collapsed to unique covariate patterns and replicates are columns of one weight array.  The first step of
every replicate needs sums over mishaps only; after it a Newton pass is two matrix products over tiles that stay in
cache.  Jackknife, bootstrap, leave-one-out, profile limits and intercept refits are all calls of :func:`solve`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.groundwork.resampling import LeaveOneOut, Weights
from survstats.models.collapsed import Collapsed, collapse, gather, one_plus_exp
from survstats.models.expansion import Opening, expand, opening
from survstats.models.leave_out import mean_risks_without_each, refits_without_each
from survstats.models.newton import LONGEST_STEP, RUNAWAY, Arrived, Block, Penalty
from survstats.models.packed import packing
from survstats.models.small_systems import identified, pivots_and_lost

__all__ = ["Collapsed", "Penalty", "Solutions", "collapse", "mean_risk", "refit_intercept", "solve"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Places = NDArray[np.intp]

GROUP = 1024  # replicates whose weights are written out and whose first steps are made together
BLOCK_CELLS = 2_000_000  # patterns x replicates in a block
FEWEST = 64  # replicates in a block, whatever the patterns


@dataclass(frozen=True)
class Solutions:
    """One fit per replicate.

    Attributes
    ----------
    coefficients : (b, k) array
        Zero where a column carries nothing in the replicate beyond the columns before it.
    converged : (b,) bool array
        Whether the maximum was reached; coefficients of the others mean nothing.
    diverged : (b,) bool array
        Whether the fit was running to infinity when it was stopped: separated outcomes.
    identified : (b, k) bool array
        Whether the replicate's rows determine the coefficient.
    collapsed, weights, penalty
        What was fitted.
    """

    coefficients: Floats
    converged: Bools
    diverged: Bools
    identified: Bools
    collapsed: Collapsed
    weights: Weights
    penalty: Penalty

    @cached_property
    def log_likelihood(self) -> Floats:
        """Log-likelihood (b,) at the coefficients; with half the log determinant of the information under Firth.

        Worked out when it is asked for: it costs as much as a pass of the fits.
        """
        weights, parts = _rows(self.weights), []
        for group in _slices(len(weights), GROUP):
            lost, floor, _ = _support(self.collapsed, dense := _floats(weights[group]), self.penalty)
            held = np.zeros_like(lost)
            for block in _slices(len(dense), _block_size(self.collapsed)):
                work = Block(
                    self.collapsed,
                    dense[block],
                    lost[:, block],
                    held[:, block],
                    floor[:, block],
                    self.penalty,
                )
                parts.append(work.log_likelihood(self.coefficients[group][block].T))
        return np.concatenate(parts)


def solve(
    collapsed: Collapsed,
    weights: Weights,
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
    weights : (b, g) array of any real kind, or LeaveOneOut
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
    rows = _rows(weights)
    _check_weights(rows, collapsed.mishaps)
    b, k = len(rows), collapsed.patterns.shape[1]
    fixed = np.broadcast_to(np.zeros(k, dtype=bool) if held is None else np.asarray(held, dtype=bool), (b, k))
    if start is None:
        begin = _full_fit(collapsed, penalty) if b > 1 else np.zeros(k)
    else:
        begin = np.asarray(start, dtype=float)
    common = b > 1 and begin.ndim == 1 and penalty == "none" and held is None
    expansion = expand(collapsed, begin) if common else None
    begin = np.broadcast_to(begin, (b, k))
    result = Solutions(
        np.empty((b, k)),
        np.zeros(b, bool),
        np.zeros(b, bool),
        np.ones((b, k), bool),
        collapsed,
        rows,
        penalty,
    )
    left = np.arange(b)
    if expansion is not None and isinstance(rows, LeaveOneOut):
        result.coefficients[:], near = refits_without_each(collapsed, expansion)
        result.converged[near], left = True, left[~near]
    for group in _slices(len(left), GROUP):
        places = left[group]
        dense = _floats(rows[places] if isinstance(rows, LeaveOneOut) else rows[group])
        if expansion is not None:
            longest = LONGEST_STEP / np.maximum(np.abs(collapsed.patterns).max(axis=0), 1e-300)
            first = opening(expansion, dense, RUNAWAY[penalty], longest)
            good = slice(None) if first.healthy.all() else first.healthy
            _opened(result, places[good], dense[good], first.of(good), begin[0])
            places, dense = places[~first.healthy], dense[~first.healthy]
        if len(places):
            _plain(result, places, dense, begin[places], fixed[places])
    return result


def _opened(result: Solutions, places: Places, dense: Floats, first: Opening, begin: Floats) -> None:
    """Fits that go on from a first step made from sums over mishaps."""
    nothing = np.zeros((len(begin), len(places)), dtype=bool)
    for part in _slices(len(places), _block_size(result.collapsed)):
        made, none = first.of(part), nothing[:, part]
        work = Block(result.collapsed, dense[part], none, none, made.floor, "none", made.totals)
        _note(result, places[part], work.run(np.broadcast_to(begin[:, None], made.step.shape), made))


def _plain(result: Solutions, places: Places, dense: Floats, begin: Floats, held: Bools) -> None:
    """Fits from wherever they begin, whatever their columns hold."""
    lost, floor, known = _support(result.collapsed, dense, result.penalty)
    result.identified[places] = known
    for part in _slices(len(places), _block_size(result.collapsed)):
        work = Block(
            result.collapsed, dense[part], lost[:, part], held[part].T, floor[:, part], result.penalty
        )
        _note(result, places[part], work.run(begin[part].T))


def _note(result: Solutions, places: Places, arrived: Arrived) -> None:
    result.coefficients[places] = arrived.at.T
    result.converged[places], result.diverged[places] = arrived.converged, arrived.diverged


def _support(collapsed: Collapsed, dense: Floats, penalty: Penalty) -> tuple[Bools, Floats, Bools]:
    """Which columns (k, b) say nothing beyond those before, least pivots (k, b), which are identified (b, k)."""
    if len(dense) < collapsed.mishaps:
        sums = collapsed.pairs.T @ (collapsed.counts @ dense.T)
    else:
        sums = collapsed.gram.T @ dense.T
    gram = sums[packing(collapsed.patterns.shape[1]).square]
    pivots, lost = pivots_and_lost(gram)
    return lost, RUNAWAY[penalty] * pivots, identified(gram, lost)


def refit_intercept(collapsed: Collapsed, weights: Weights, coefficients: ArrayLike) -> Floats:
    """Coefficients with the intercept refitted by maximum likelihood, the others held, shape (b, k).

    Firth's slopes with this intercept predict risks whose mean is the observed one (FLIC; Puhr et al. 2017,
    doi:10.1002/sim.7273).  Where a replicate's outcomes are all alike the intercept is infinite and every
    predicted risk is 0 or 1, which is the maximum.

    Raises
    ------
    NotEstimable
        ``not_converged``.
    """
    weight = _rows(weights)
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
    matrix: ArrayLike, mishap_codes: ArrayLike, weights: Weights, coefficients: ArrayLike
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
    weight = _rows(weights)
    design = np.asarray(matrix, dtype=float)
    beta = np.broadcast_to(np.asarray(coefficients, dtype=float), (len(weight), design.shape[1]))
    patterns, counts = gather(design, np.asarray(mishap_codes, dtype=np.int64), weight.shape[1])
    risks, left = np.empty(len(weight)), np.arange(len(weight))
    if isinstance(weight, LeaveOneOut):
        risks, near = mean_risks_without_each(patterns, counts, beta)
        left = left[~near]
    for block in _slices(len(left), max(FEWEST, BLOCK_CELLS // len(patterns))):
        places = left[block]
        rows = counts @ _floats(weight[places]).T
        total = rows.sum(axis=0)
        if not np.all(total > 0):
            raise NotEstimable("no_rows", "A refit has no row left to average the predicted risk over.")
        risks[places] = (rows / one_plus_exp(-(patterns @ beta[places].T))).sum(axis=0) / total
    return risks


def _full_fit(collapsed: Collapsed, penalty: Penalty) -> Floats:
    """Coefficients with all weights one, or zeros where that fit does not exist."""
    fit = solve(collapsed, np.ones((1, collapsed.mishaps)), penalty=penalty)
    return fit.coefficients[0] if fit.converged[0] else np.zeros(collapsed.patterns.shape[1])


def _rows(weights: Weights) -> NDArray[Any] | LeaveOneOut:
    return weights if isinstance(weights, LeaveOneOut) else np.atleast_2d(np.asarray(weights))


def _floats(weights: NDArray[Any]) -> Floats:
    return np.asarray(weights, dtype=float)


def _check_weights(weights: NDArray[Any] | LeaveOneOut, mishaps: int) -> None:
    if weights.shape[1] != mishaps:
        raise CallError("weights_shape", f"{weights.shape[1]} weights were given for {mishaps} mishaps.")
    if not isinstance(weights, LeaveOneOut) and weights.size and not weights.min() >= 0:
        raise CallError("negative_weight", "A mishap weight is negative or missing.")


def _block_size(collapsed: Collapsed) -> int:
    return max(FEWEST, BLOCK_CELLS // len(collapsed.patterns))


def _slices(replicates: int, size: int) -> Iterator[slice]:
    return (slice(first, min(first + size, replicates)) for first in range(0, replicates, size))
