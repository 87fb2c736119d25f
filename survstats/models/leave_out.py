"""Which coefficients and mean risks remain when each mishap in turn is left out, at the cost of one pass over rows?

With one mishap of many left out a fit hardly moves.  The likelihood of all mishaps is then given by its first four
derivatives at the common fit, to a bound that is checked, and only the rows of the mishap left out are looked at
one by one.  Every derivative of a risk is at most risk times its complement in size, so what the fourth leaves
unsaid is at most ``reach ** 4 / 24`` of the linear predictor.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from survstats.models.collapsed import Collapsed, one_plus_exp
from survstats.models.expansion import HEALTHY, Expansion, risk_and_variance
from survstats.models.packed import column_products, packing, step_products
from survstats.models.small_systems import factor

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Places = NDArray[np.intp]

MISHAPS = 1024  # left out side by side
REMAINDER = (
    1e-9  # of the linear predictor; refits that may be further off are made by passes over the patterns
)
RISK_REMAINDER = 1e-12  # of a mean risk
STEP = 1e-12
TURNS = 12
FARTHEST = 0.5  # of the linear predictor: nearer than this the derivatives are worth a try


@dataclass(frozen=True)
class _MishapRows:
    """The patterns each mishap shows, mishap after mishap: which, how often, and where a mishap's begin."""

    patterns: Floats
    which: Places
    times: Floats
    starts: Places

    @classmethod
    def of(cls, patterns: Floats, counts: sparse.csr_array) -> _MishapRows:
        by_mishap = counts.tocsc()
        return cls(
            patterns, by_mishap.indices.astype(np.intp), by_mishap.data, by_mishap.indptr.astype(np.intp)
        )

    def expected(self, part: slice, coefficients: Floats) -> tuple[Floats, Floats]:
        """Sums of risk (m,) and of risk times row (m, k) in some mishaps, each by its own coefficients (m, k)."""
        starts = self.starts[part.start : part.stop + 1]
        inside = slice(starts[0], starts[-1])
        rows = self.patterns[self.which[inside]]
        mishap = np.repeat(np.arange(len(coefficients)), np.diff(starts))
        risk = self.times[inside] / one_plus_exp(-np.einsum("ij,ij->i", rows, coefficients[mishap]))
        shape = (len(coefficients), len(rows))
        of_mishap = sparse.csr_array((risk, np.arange(len(rows)), starts - starts[0]), shape=shape)
        sums = np.bincount(mishap, weights=risk, minlength=len(coefficients)).astype(float)
        return sums, np.asarray(of_mishap @ rows)


def refits_without_each(collapsed: Collapsed, expansion: Expansion) -> tuple[Floats, Bools]:
    """Coefficients (g, k) with each mishap left out, and for which mishaps they are good.

    Not good are those that may move too far for the remainder, or whose columns may be lost with the mishap.

    Parameters
    ----------
    collapsed : Collapsed
    expansion : Expansion
        At the fit of all mishaps.
    """
    g, k = expansion.score.shape
    square = packing(k).square
    total = expansion.information.sum(axis=0)
    rows_of = _MishapRows.of(collapsed.patterns, collapsed.counts)
    scale = np.abs(collapsed.patterns).max(axis=0)
    level = (expansion.score - collapsed.successes).sum(axis=0)  # minus the expected successes of all mishaps
    coefficients, good = np.empty((g, k)), np.empty(g, dtype=bool)
    for part in _parts(g):
        information = (total - expansion.information[part]).T[square]
        nothing = np.zeros((k, information.shape[2]))
        known = factor(information, nothing.astype(bool), nothing)
        sound = ~known.gone & np.all(known.pivots > HEALTHY * np.einsum("jjb->jb", information), axis=0)
        left_of = collapsed.successes.sum(axis=0) - collapsed.successes[part]
        step, change = nothing.copy(), np.full_like(nothing, np.inf)
        for _ in range(TURNS):
            pair = step_products(step)
            bent = (
                expansion.third @ pair / 2
                + np.einsum("ijb,jb->ib", (expansion.fourth @ pair)[square], step) / 6
            )
            moved = total[square] @ step + bent
            own = rows_of.expected(part, expansion.at + step.T)[1]
            score = left_of.T + level[:, None] - moved + own.T
            change = np.where(sound, known.solve(score), 0.0)
            step += change
            sound &= scale @ np.abs(step) < FARTHEST
            step[:, ~sound] = 0.0
            if np.all(scale @ np.abs(change[:, sound]) < STEP):
                break
        reach = scale @ np.abs(step)
        coefficients[part] = expansion.at + step.T
        good[part] = sound & (scale @ np.abs(change) < STEP)
        good[part] &= reach**4 * np.exp(reach) / 24 < REMAINDER
    return coefficients, good


def mean_risks_without_each(
    patterns: Floats, counts: sparse.csr_array, coefficients: Floats
) -> tuple[Floats, Bools]:
    """Mean risk (g,) over the rows of all mishaps but each, predicted by coefficients (g, k) of its own.

    And for which mishaps it is good: those whose coefficients are near enough to the middle of all.

    Parameters
    ----------
    patterns : (p, k) array
    counts : (p, g) sparse array
        How many rows have the pattern in the mishap, or their weight.
    coefficients : (g, k) array
    """
    g = len(coefficients)
    at = np.median(coefficients, axis=0)
    if not np.all(np.isfinite(at)):
        return np.empty(g), np.zeros(g, dtype=bool)
    pairs = column_products(patterns)
    level, slope, second, third, fourth = _bends(patterns, counts, at)
    cubes = (patterns * third[:, None]).T @ pairs
    quartic = (pairs * fourth[:, None]).T @ pairs
    rows_of = _MishapRows.of(patterns, counts)
    scale = np.abs(patterns).max(axis=0)
    weight = np.asarray(counts.sum(axis=0)).ravel()
    risks, good = np.empty(g), np.empty(g, dtype=bool)
    for part in _parts(g):
        step = coefficients[part].T - at[:, None]
        reach = scale @ np.abs(step)
        near = reach < FARTHEST
        step[:, ~near] = 0.0
        pair = step_products(step)
        total = level.sum() + (slope @ patterns) @ step + (second @ pairs) @ pair / 2
        total += (step * (cubes @ pair)).sum(axis=0) / 6 + (pair * (quartic @ pair)).sum(axis=0) / 24
        with np.errstate(divide="ignore", invalid="ignore"):
            risks[part] = (total - rows_of.expected(part, at + step.T)[0]) / (weight.sum() - weight[part])
        good[part] = near & (reach**5 * np.exp(np.minimum(reach, 1.0)) / 120 < RISK_REMAINDER)
    return risks, good & (weight < weight.sum())


def _bends(patterns: Floats, counts: sparse.csr_array, at: Floats) -> tuple[Floats, ...]:
    """Risk and its first four derivatives (p,) by the linear predictor, each times the pattern's rows."""
    risk, variance = risk_and_variance(patterns, at)
    tilt = 1 - 2 * risk
    rows = np.asarray(counts.sum(axis=1)).ravel()
    orders = (
        risk,
        variance,
        variance * tilt,
        variance * (1 - 6 * variance),
        variance * tilt * (1 - 12 * variance),
    )
    return tuple(rows * order for order in orders)


def _parts(mishaps: int) -> Iterator[slice]:
    return (slice(first, min(first + MISHAPS, mishaps)) for first in range(0, mishaps, MISHAPS))
