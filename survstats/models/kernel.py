"""Which logistic coefficients does each reweighting of the mishaps give, all solved together?

Rows are collapsed to unique covariate patterns, replicates are columns of one weight array, and every Newton
pass is two matrix products over a block of replicates that stays in cache.  Jackknife, bootstrap,
leave-one-out, profile limits and intercept refits are all calls of :func:`solve`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.models.patterns import pattern_codes
from survstats.models.small_systems import factor, identified, inverse, pivots_and_lost, substitute

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Penalty = Literal["none", "firth"]

BLOCK_CELLS = 400_000  # patterns x replicates in a block, so that it stays in cache
BLOCK_REPLICATES = (32, 160)  # fewest and most, whatever the patterns
RUNAWAY = {"none": 1e-9, "firth": 1e-14}  # information below this share of the Gram pivot: off to infinity
LONGEST_STEP = 5.0  # on the scale of the linear predictor
TOLERANCE = {
    "none": 1e-6,
    "firth": 1e-9,
}  # last step; Newton's error is its square, Fisher scoring's its share
PASSES = {"none": 50, "firth": 300}


@dataclass(frozen=True)
class Collapsed:
    """Rows gathered by covariate pattern and mishap.

    Attributes
    ----------
    patterns : (p, k) array
        The unique rows of the design matrix.
    counts : (p, g) sparse array
        How many rows have this pattern in this mishap.
    successes : (g, k) array
        Sum of outcome times design row in each mishap.
    pairs : (p, k (k + 1) / 2) array
        Products of each pair of columns, upper triangle by rows.
    """

    patterns: Floats
    counts: sparse.csr_array
    successes: Floats
    pairs: Floats

    @property
    def mishaps(self) -> int:
        """Number of mishaps g that the weights must have."""
        return int(self.successes.shape[0])


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
    log_likelihood : (b,) array
        At the coefficients; with half the log determinant of the information under the Firth penalty.
    """

    coefficients: Floats
    converged: Bools
    diverged: Bools
    identified: Bools
    log_likelihood: Floats


def collapse(
    matrix: ArrayLike, outcome: ArrayLike, mishap_codes: ArrayLike, *, mishaps: int | None = None
) -> Collapsed:
    """Unique design rows with their counts in each mishap.

    Parameters
    ----------
    matrix : (n, k) array
        Design matrix; column 0 is the intercept.
    outcome : (n,) array of 0 and 1
    mishap_codes : (n,) array of int
        0 to g - 1.
    mishaps : int, optional
        g, where the last mishaps may have no row; else the largest code plus one.

    Raises
    ------
    NotEstimable
        ``no_rows``.
    """
    design = np.asarray(matrix, dtype=float)
    codes = np.asarray(mishap_codes, dtype=np.int64)
    if not len(design):
        raise NotEstimable("no_rows", "No row is left to fit.")
    g = int(codes.max()) + 1 if mishaps is None else mishaps
    patterns, counts = _gather(design, codes, g)
    n, k = design.shape
    members = sparse.csr_array((np.asarray(outcome, dtype=float), (codes, np.arange(n))), shape=(g, n))
    left, right = np.triu_indices(k)
    return Collapsed(patterns, counts, members @ design, patterns[:, left] * patterns[:, right])


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
    sums = _mishap_sums(collapsed, begin) if begin.ndim == 1 and penalty == "none" else None
    parts = []
    for block in _blocks(b, collapsed.patterns.shape[0]):
        work = _Block(collapsed, weight[block], grams, fixed[block].T, penalty)
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
    patterns, counts = _gather(design, np.asarray(mishap_codes, dtype=np.int64), weight.shape[1])
    risks = np.empty(len(weight))
    for block in _blocks(len(weight), len(patterns)):
        rows = counts @ weight[block].T
        total = rows.sum(axis=0)
        if not np.all(total > 0):
            raise NotEstimable("no_rows", "A refit has no row left to average the predicted risk over.")
        risks[block] = (rows / _one_plus_exp(-(patterns @ beta[block].T))).sum(axis=0) / total
    return risks


class _Block:
    """Newton's method on a block of replicates; replicates are the last axis throughout."""

    def __init__(
        self, collapsed: Collapsed, weights: Floats, grams: Floats, held: Bools, penalty: Penalty
    ) -> None:
        self.data, self.weights, self.penalty = collapsed, weights, penalty
        self.replicates, k = weights.shape[0], collapsed.patterns.shape[1]
        left, right = np.triu_indices(k)
        self.square = np.empty((k, k), dtype=np.intp)
        self.square[left, right] = self.square[right, left] = np.arange(len(left))
        self.doubled = np.where(left == right, 1.0, 2.0)
        self.upper = (left, right)
        self.rows = collapsed.counts @ weights.T
        self.totals = (weights @ collapsed.successes).T
        self.scale = np.abs(collapsed.patterns).max(axis=0)[:, None]
        self.gram = (weights @ grams).T[self.square]
        pivots, self.lost = pivots_and_lost(self.gram)
        self.floor = RUNAWAY[penalty] * pivots
        self.skip = self.lost | held
        self.held = held

    def run(self, start: Floats, sums: tuple[Floats, Floats] | None) -> Solutions:
        """Iterate to convergence, dropping replicates from the work as they arrive."""
        b, k = self.replicates, self.data.patterns.shape[1]
        result = start.T.copy()
        converged, diverged = np.zeros(b, dtype=bool), np.zeros(b, dtype=bool)
        active, at = np.arange(b), result.copy()
        step, slope = np.zeros((k, b)), np.zeros(b)
        rows, totals = self.rows, self.totals
        for turn in range(PASSES[self.penalty]):
            lost, skip, floor = self.lost[:, active], self.skip[:, active], self.floor[:, active]
            if turn == 0 and sums is not None:
                score = totals - (self.weights @ sums[0]).T
                information = (self.weights @ sums[1]).T[self.square]
                gone = np.zeros(b, dtype=bool)
            else:
                score, information, _, gone = self.evaluate(rows, totals, at, active)
            back = (score * step).sum(axis=0) < -0.5 * slope
            lower, pivots, weak = factor(information, skip, floor)
            gone |= weak
            fresh = substitute(lower, pivots, score)
            fresh /= np.maximum(1.0, np.abs(fresh * self.scale).max(axis=0) / LONGEST_STEP)
            slope = np.where(back, slope / 2, (score * fresh).sum(axis=0))
            step = np.where(back, step / 2, fresh)
            at += np.where(back, -step, step)
            if turn == 0:
                at[lost & ~self.held] = 0.0
            size = np.abs(step * self.scale).max(axis=0)
            done = (size < TOLERANCE[self.penalty]) & ~gone & ~back & ~((turn == 0) & lost.any(axis=0))
            result[:, active] = at
            converged[active[done]], diverged[active[gone]] = True, True
            stay = ~(done | gone)
            if not stay.any():
                break
            if not stay.all():
                kept = np.flatnonzero(stay)
                active, at, step, slope = active[kept], at[:, kept], step[:, kept], slope[kept]
                rows, totals = rows.take(kept, axis=1), totals[:, kept]
        else:
            diverged[active[np.abs(step * self.scale).max(axis=0) > 0.1]] = True
        likelihood = self.log_likelihood(result)
        return Solutions(result.T.copy(), converged, diverged, identified(self.gram, self.lost), likelihood)

    def evaluate(
        self, rows: Floats, totals: Floats, at: Floats, active: NDArray[np.intp]
    ) -> tuple[Floats, Floats, Floats, Bools]:
        """Score (k, b), information (k, k, b), penalty (b,), and who has no information left, at ``at`` (k, b)."""
        patterns, pairs = self.data.patterns, self.data.pairs
        spread = _one_plus_exp(-(patterns @ at))
        expected = rows / spread
        score = totals - patterns.T @ expected
        if self.penalty == "none":
            variance = np.divide(expected, spread)
            np.subtract(expected, variance, out=variance)
            nobody = np.zeros(len(active), dtype=bool)
            return score, (pairs.T @ variance)[self.square], np.zeros(len(active)), nobody
        risk = 1 / spread
        variance = expected / _one_plus_exp(
            patterns @ at
        )  # no difference taken: exact where risks are nearly 1
        information = (pairs.T @ variance)[self.square]
        covariance, log_determinant, gone = inverse(information, self.lost[:, active], self.floor[:, active])
        leverage = (pairs @ (covariance[self.upper] * self.doubled[:, None])) * variance
        score += patterns.T @ (leverage * (0.5 - risk))
        return score, information, 0.5 * log_determinant, gone

    def log_likelihood(self, at: Floats) -> Floats:
        """Log-likelihood (b,) at the coefficients, penalised where the fit is."""
        linear = self.data.patterns @ at
        positive = np.maximum(linear, 0.0)
        np.abs(linear, out=linear)
        positive += np.log1p(np.exp(np.negative(linear, out=linear), out=linear), out=linear)
        likelihood = (self.totals * at).sum(axis=0) - np.einsum("pb,pb->b", self.rows, positive)
        if self.penalty == "firth":
            likelihood += self.evaluate(self.rows, self.totals, at, np.arange(self.replicates))[2]
        return np.asarray(likelihood)


def _full_fit(collapsed: Collapsed, penalty: Penalty) -> Floats:
    """Coefficients with all weights one, or zeros where that fit does not exist."""
    fit = solve(collapsed, np.ones((1, collapsed.mishaps)), penalty=penalty)
    return fit.coefficients[0] if fit.converged[0] else np.zeros(collapsed.patterns.shape[1])


def _mishap_sums(collapsed: Collapsed, start: Floats) -> tuple[Floats, Floats]:
    """Expected score (g, k) and information (g, pairs) of each mishap at one common start."""
    risk = 1 / _one_plus_exp(-(collapsed.patterns @ start))[:, None]
    by_mishap = collapsed.counts.T.tocsr()
    return by_mishap @ (collapsed.patterns * risk), by_mishap @ (collapsed.pairs * (risk * (1 - risk)))


def _gather(design: Floats, codes: NDArray[np.int64], mishaps: int) -> tuple[Floats, sparse.csr_array]:
    """Unique rows (p, k) and their counts (p, g)."""
    labels, first = pattern_codes(design)
    ones = np.ones(len(labels))
    return design[first], sparse.csr_array((ones, (labels, codes)), shape=(len(first), mishaps))


def _check_weights(weights: Floats, mishaps: int) -> None:
    if weights.shape[1] != mishaps:
        raise CallError("weights_shape", f"{weights.shape[1]} weights were given for {mishaps} mishaps.")
    if not np.all(weights >= 0):
        raise CallError("negative_weight", "A mishap weight is negative or missing.")


def _blocks(replicates: int, patterns: int) -> Iterator[slice]:
    fewest, most = BLOCK_REPLICATES
    size = min(most, max(fewest, BLOCK_CELLS // patterns))
    return (slice(first, min(first + size, replicates)) for first in range(0, replicates, size))


def _one_plus_exp(values: Floats) -> Floats:
    """1 + exp(values), in place; an overflow is infinity, which is the limit wanted."""
    with np.errstate(over="ignore"):
        np.exp(values, out=values)
    values += 1.0
    return values
