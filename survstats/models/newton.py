"""How does a block of replicates reach its maximum?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from survstats.models.collapsed import Collapsed, one_plus_exp
from survstats.models.small_systems import factor, identified, inverse, pivots_and_lost, substitute

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Penalty = Literal["none", "firth"]

RUNAWAY = {"none": 1e-9, "firth": 1e-14}  # information below this share of the Gram pivot: off to infinity
LONGEST_STEP = 5.0  # on the scale of the linear predictor
# size of the last step: Newton's error is its square, Fisher scoring's a share of it
TOLERANCE = {"none": 1e-6, "firth": 1e-9}
PASSES = {"none": 50, "firth": 300}


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


class Block:
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
        spread = one_plus_exp(-(patterns @ at))
        expected = rows / spread
        score = totals - patterns.T @ expected
        if self.penalty == "none":
            variance = np.divide(expected, spread)
            np.subtract(expected, variance, out=variance)
            nobody = np.zeros(len(active), dtype=bool)
            return score, (pairs.T @ variance)[self.square], np.zeros(len(active)), nobody
        risk = 1 / spread
        variance = expected / one_plus_exp(
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
