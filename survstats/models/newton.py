"""How does a block of replicates reach its maximum?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from survstats.models.collapsed import Collapsed, one_plus_exp
from survstats.models.expansion import Opening
from survstats.models.packed import packing
from survstats.models.small_systems import Factored, factor

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Penalty = Literal["none", "firth"]

RUNAWAY = {"none": 1e-9, "firth": 1e-14}  # information below this share of the Gram pivot: off to infinity
LONGEST_STEP = 5.0  # on the scale of the linear predictor
FIRST_STEADY = 0.15  # the same where the factor has been led along the step
STEADY = 0.03  # a step so short changes the information so little that its factor is kept
TOLERANCE = {"none": 1e-10, "firth": 1e-9}  # of the next step, were it to shrink as the last one did
LEFT_BY_ONE = 4e-9  # what one pass after an opening may leave: twice its step squared by the opening's
CROWDED = 0.75  # while more than this share is still on its way, those that arrived are carried along
TILE_CELLS = 80_000  # patterns x replicates taken at a time, so that they stay in cache
PASSES = {"none": 50, "firth": 300}


@dataclass(frozen=True)
class Arrived:
    """Where a block's replicates ended: coefficients (k, b), who converged (b,), who ran away (b,)."""

    at: Floats
    converged: Bools
    diverged: Bools


class Block:
    """Newton's method on a block of replicates; replicates are the last axis throughout.

    Parameters
    ----------
    collapsed : Collapsed
    weights : (b, g) array
    lost, held : (k, b) arrays of bool
        Columns that say nothing beyond those before them; coefficients that stay where they start.
    floor : (k, b) array
        Information pivots below this are running away.
    penalty : {"none", "firth"}
    """

    def __init__(
        self,
        collapsed: Collapsed,
        weights: Floats,
        lost: Bools,
        held: Bools,
        floor: Floats,
        penalty: Penalty,
        totals: Floats | None = None,
    ) -> None:
        self.data, self.penalty, self.replicates = collapsed, penalty, weights.shape[0]
        self.packing = packing(collapsed.patterns.shape[1])
        self.rows = collapsed.counts @ weights.T
        self.totals = (weights @ collapsed.successes).T if totals is None else totals
        self.scale = np.abs(collapsed.patterns).max(axis=0)[:, None]
        self.lost, self.held, self.floor = lost, held, floor
        self.skip, self.some_held = lost | held, bool(held.any())

    def run(self, start: Floats, opening: Opening | None = None) -> Arrived:
        """Iterate to convergence from ``start`` (k, b), dropping replicates from the work as they arrive."""
        b = self.replicates
        result = start.copy()
        converged, diverged = np.zeros(b, dtype=bool), np.zeros(b, dtype=bool)
        active, at, rows, totals = np.arange(b), result.copy(), self.rows, self.totals
        step, slope, before = np.zeros_like(at), np.zeros(b), np.full(b, np.inf)
        known: Factored | None = None
        if opening is not None:
            step, slope, known = opening.step, opening.slope, opening.known
            at += step
            before = np.abs(step * self.scale).max(axis=0)
        for turn in range(PASSES[self.penalty]):
            steady = FIRST_STEADY if opening is not None and turn == 0 else STEADY
            if self.penalty == "none" and known is not None and before.max() < steady:
                score, gone = self.score(rows, totals, at), np.zeros(len(active), dtype=bool)
            else:
                score, information, known = self.evaluate(rows, totals, at, active)
                gone = known.gone if known is not None else np.zeros(len(active), dtype=bool)
                if known is None or self.some_held:
                    known = factor(information, self.skip[:, active], self.floor[:, active])
                    gone = gone | known.gone
            back = _dots(score, step) < -0.5 * slope
            fresh = known.solve(score)
            length = np.abs(fresh * self.scale).max(axis=0)
            fresh /= np.maximum(1.0, length / LONGEST_STEP)
            size, ahead = np.minimum(length, LONGEST_STEP), _dots(score, fresh)
            if back.any():
                at += np.where(back, -step / 2, fresh)
                step, slope = np.where(back, step / 2, fresh), np.where(back, slope / 2, ahead)
                size = np.where(back, before / 2, size)
            else:
                at += fresh
                step, slope = fresh, ahead
            done = size * np.minimum(1.0, size / before) < TOLERANCE[self.penalty]
            if turn == 0 and opening is not None:
                done |= 2 * size**2 < LEFT_BY_ONE * np.minimum(before, 1.0)
            done &= ~gone & ~back
            if turn == 0 and opening is None:
                done &= size < TOLERANCE[self.penalty]
                moved = self.lost & ~self.held & (at != 0)
                at[moved] = 0.0
                elsewhere = moved.any(axis=0)  # the step taken says nothing about where these now are
                step[:, elsewhere], slope[elsewhere], size[elsewhere] = 0.0, 0.0, 0.0
                done &= ~elsewhere
            before = np.maximum(size, 1e-300)
            if not (done | gone).any():
                continue
            result[:, active] = at
            converged[active[done]], diverged[active[gone]] = True, True
            stay = np.flatnonzero(~(converged | diverged)[active])
            if not stay.size:
                break
            if stay.size < CROWDED * len(active) or gone.any():
                active, at, step, slope, before = (
                    active[stay],
                    at[:, stay],
                    step[:, stay],
                    slope[stay],
                    before[stay],
                )
                rows, totals = rows.take(stay, axis=1), totals[:, stay]
                known = known.of(stay)
        else:
            result[:, active] = at
            diverged[active[before > 0.1]] = True
        return Arrived(result, converged, diverged)

    def score(self, rows: Floats, totals: Floats, at: Floats) -> Floats:
        """Score (k, b) at ``at`` (k, b), without the penalty."""
        score = totals.copy()
        for tile in self.tiles(rows):
            score -= self.data.patterns[tile].T @ self.expected(rows, at, tile)[0]
        return score

    def evaluate(
        self, rows: Floats, totals: Floats, at: Floats, active: NDArray[np.intp]
    ) -> tuple[Floats, Floats, Factored | None]:
        """Score (k, b), information (k, k, b), and the factor of the latter where it was needed, at ``at`` (k, b)."""
        if self.penalty == "firth":
            return self.evaluate_penalised(rows, totals, at, active)
        score, packed = totals.copy(), np.zeros((self.data.pairs.shape[1], len(active)))
        for tile in self.tiles(rows):
            expected, spread = self.expected(rows, at, tile)
            score -= self.data.patterns[tile].T @ expected
            variance = np.divide(expected, spread, out=spread)
            packed += self.data.pairs[tile].T @ np.subtract(expected, variance, out=variance)
        return score, packed[self.packing.square], None

    def evaluate_penalised(
        self, rows: Floats, totals: Floats, at: Floats, active: NDArray[np.intp]
    ) -> tuple[Floats, Floats, Factored]:
        """The same with Jeffreys' penalty, whose part of the score needs the information first."""
        risk, expected, variance = self.moments(rows, at)
        information = (self.data.pairs.T @ variance)[self.packing.square]
        whole = factor(information, self.lost[:, active], self.floor[:, active])
        of = self.packing
        leverage = self.data.pairs @ (whole.inverse()[of.left, of.right] * of.doubled)
        leverage *= variance
        leverage *= np.subtract(0.5, risk, out=risk)
        return (
            totals - self.data.patterns.T @ np.subtract(expected, leverage, out=expected),
            information,
            whole,
        )

    def moments(self, rows: Floats, at: Floats) -> tuple[Floats, Floats, Floats]:
        """Risk of each pattern, its expected successes and their variance, all (p, b).

        No difference is taken, so that the variance is exact where risks are nearly 1.
        """
        linear = self.data.patterns @ at
        risk = one_plus_exp(-linear)
        np.divide(1.0, risk, out=risk)
        expected, growth = rows * risk, one_plus_exp(linear)
        return risk, expected, np.divide(expected, growth, out=growth)

    def expected(self, rows: Floats, at: Floats, tile: slice) -> tuple[Floats, Floats]:
        """Expected successes of some patterns and 1 / risk, both (tile, b)."""
        spread = one_plus_exp(self.data.patterns[tile] @ -at)
        return rows[tile] / spread, spread

    def tiles(self, rows: Floats) -> Iterator[slice]:
        """Slices of patterns."""
        patterns, replicates = rows.shape
        size = max(16, TILE_CELLS // replicates)
        return (slice(first, first + size) for first in range(0, patterns, size))

    def log_likelihood(self, at: Floats) -> Floats:
        """Log-likelihood (b,) at the coefficients (k, b), penalised where the fit is."""
        likelihood = (self.totals * at).sum(axis=0)
        for tile in self.tiles(self.rows):
            linear = self.data.patterns[tile] @ at
            positive = np.maximum(linear, 0.0)
            np.abs(linear, out=linear)
            positive += np.log1p(np.exp(np.negative(linear, out=linear), out=linear), out=linear)
            likelihood -= np.einsum("pb,pb->b", self.rows[tile], positive)
        if self.penalty == "firth":
            information = (self.data.pairs.T @ self.moments(self.rows, at)[2])[self.packing.square]
            likelihood += 0.5 * factor(information, self.lost, self.floor).log_determinant()
        return np.asarray(likelihood)


def _dots(left: Floats, right: Floats) -> Floats:
    """Products (b,) of vectors (k, b)."""
    return np.asarray(np.einsum("kb,kb->b", left, right))
