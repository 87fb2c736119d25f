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
STEADY = 0.03  # a step so short changes the information so little that its factor is kept
TOLERANCE = 1e-10  # of the next step, were it to shrink as the last one did
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
        b = self.replicates
        result = start.T.copy()
        converged, diverged = np.zeros(b, dtype=bool), np.zeros(b, dtype=bool)
        active, at, rows, totals = np.arange(b), result.copy(), self.rows, self.totals
        step, slope, before = np.zeros_like(at), np.zeros(b), np.full(b, np.inf)
        lower, pivots = np.empty(0), np.empty(0)
        for turn in range(PASSES[self.penalty]):
            gone = np.zeros(len(active), dtype=bool)
            if self.penalty == "none" and turn > 1 and before.max() < STEADY:
                score = totals - self.data.patterns.T @ self.expected(rows, at)[0]
            else:
                if turn == 0 and sums is not None:
                    score = totals - (self.weights @ sums[0]).T
                    information = (self.weights @ sums[1]).T[self.square]
                else:
                    score, information, _, gone = self.evaluate(rows, totals, at, active)
                lower, pivots, weak = factor(information, self.skip[:, active], self.floor[:, active])
                gone |= weak
            back = (score * step).sum(axis=0) < -0.5 * slope
            fresh = substitute(lower, pivots, score)
            fresh /= np.maximum(1.0, np.abs(fresh * self.scale).max(axis=0) / LONGEST_STEP)
            slope = np.where(back, slope / 2, (score * fresh).sum(axis=0))
            step = np.where(back, step / 2, fresh)
            at += np.where(back, -step, step)
            size = np.abs(step * self.scale).max(axis=0)
            done = (size * np.minimum(1.0, size / before) < TOLERANCE) & ~gone & ~back
            if turn == 0:
                done &= size < TOLERANCE
                moved = self.lost & ~self.held & (at != 0)
                at[moved] = 0.0
                elsewhere = moved.any(axis=0)  # the step taken says nothing about where these now are
                step[:, elsewhere], slope[elsewhere], size[elsewhere] = 0.0, 0.0, 0.0
                done &= ~elsewhere
            result[:, active] = at
            converged[active[done]], diverged[active[gone]] = True, True
            before = np.maximum(size, 1e-300)
            stay = np.flatnonzero(~(done | gone))
            if not stay.size:
                break
            if stay.size < len(active):
                active, at, step, slope, before = (
                    active[stay],
                    at[:, stay],
                    step[:, stay],
                    slope[stay],
                    before[stay],
                )
                rows, totals = rows.take(stay, axis=1), totals[:, stay]
                lower, pivots = lower.take(stay, axis=2), pivots[:, stay]
        else:
            diverged[active[before > 0.1]] = True
        likelihood = self.log_likelihood(result)
        return Solutions(result.T.copy(), converged, diverged, identified(self.gram, self.lost), likelihood)

    def expected(self, rows: Floats, at: Floats) -> tuple[Floats, Floats]:
        """Expected successes of each pattern and 1 / risk, both (p, b)."""
        spread = one_plus_exp(-(self.data.patterns @ at))
        return rows / spread, spread

    def evaluate(
        self, rows: Floats, totals: Floats, at: Floats, active: NDArray[np.intp]
    ) -> tuple[Floats, Floats, Floats, Bools]:
        """Score (k, b), information (k, k, b), penalty (b,), and who has no information left, at ``at`` (k, b)."""
        patterns, pairs = self.data.patterns, self.data.pairs
        expected, spread = self.expected(rows, at)
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
