"""What do the likelihood's derivatives at one common point say of the maxima near it?

The common point is the fit of all mishaps.  Score and information are summed exactly in each mishap, so that those
of any weighting are one product; third derivatives are those of all mishaps together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survstats.models.collapsed import Collapsed, one_plus_exp
from survstats.models.packed import packing, step_products
from survstats.models.small_systems import Factored, factor

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Places = NDArray[np.intp]

HEALTHY = 1e-6  # pivots above this share of their own size: no column can be lost
LONGEST_CURVE = 0.5  # a second-order correction longer than this share of the step is not trusted
LONGEST_MORE = 0.05  # the same of one of fourth order


@dataclass(frozen=True)
class Expansion:
    """Derivatives of the log-likelihood at ``at``.

    Attributes
    ----------
    at : (k,) array
    successes, score : (g, k) arrays
        Outcome times design row, and outcome less risk times design row, of each mishap.
    information : (g, k (k + 1) / 2) array
        Of each mishap; pairs of columns, upper triangle by rows.
    third, fourth : (k, k (k + 1) / 2) and (k (k + 1) / 2, k (k + 1) / 2) arrays
        Of all mishaps, with the sign turned: the derivatives of the information.
    """

    at: Floats
    successes: Floats
    score: Floats
    information: Floats
    third: Floats
    fourth: Floats


@dataclass(frozen=True)
class Opening:
    """The first step of each of b replicates, from sums over mishaps only.

    Attributes
    ----------
    step : (k, b) array
    slope : (b,) array
        Score times step.
    known : Factored
        The information as it should be where the step leads.
    floor : (k, b) array
        Pivots below this are running away.
    totals : (k, b) array
        Sum of outcome times design row.
    healthy : (b,) bool array
        Whether the information is that of independent columns; of the others nothing here is to be used.
    """

    step: Floats
    slope: Floats
    known: Factored
    floor: Floats
    totals: Floats
    healthy: Bools

    def of(self, chosen: Bools | slice) -> Opening:
        """The same for some of the replicates."""
        return Opening(
            self.step[:, chosen],
            self.slope[chosen],
            self.known.of(chosen),
            self.floor[:, chosen],
            self.totals[:, chosen],
            self.healthy[chosen],
        )


def expand(collapsed: Collapsed, at: Floats) -> Expansion:
    """The derivatives at ``at`` (k,)."""
    risk, variance = risk_and_variance(collapsed.patterns, at)
    by_mishap = collapsed.counts.T.tocsr()
    everyone = np.asarray(collapsed.counts.sum(axis=1)).ravel()
    bent = (everyone * variance * (1 - 2 * risk))[:, None]
    bent_twice = (everyone * variance * (1 - 6 * variance))[:, None]
    return Expansion(
        at=at,
        successes=collapsed.successes,
        score=collapsed.successes - by_mishap @ (collapsed.patterns * risk[:, None]),
        information=by_mishap @ (collapsed.pairs * variance[:, None]),
        third=(collapsed.patterns * bent).T @ collapsed.pairs,
        fourth=(collapsed.pairs * bent_twice).T @ collapsed.pairs,
    )


def risk_and_variance(patterns: Floats, at: Floats) -> tuple[Floats, Floats]:
    """Risk and risk times its complement, (p,) each."""
    risk = 1 / one_plus_exp(-(patterns @ at))
    return risk, risk * (1 - risk)


def opening(expansion: Expansion, weights: Floats, runaway: float, longest: Floats) -> Opening:
    """A step of fourth order for each replicate, from its own score and information at the common point.

    The curvature of the score along the step is taken from all mishaps together: Chebyshev's correction of Newton's
    step, and one more step on the likelihood's expansion, whose information is then known where the step leads.

    Parameters
    ----------
    expansion : Expansion
    weights : (b, g) array
    runaway : float
        Share of the Gram pivot below which the information is running away.
    longest : (k,) array
        Steps longer than this in any coordinate are not taken.
    """
    k = len(expansion.at)
    sums = weights @ np.hstack([expansion.successes, expansion.score, expansion.information])
    totals, ahead, packed = sums[:, :k].T, sums[:, k : 2 * k].T, sums[:, 2 * k :]
    share = packed[:, 0] / expansion.information[:, 0].sum()
    square = packing(k).square
    information, nothing = packed.T[square], np.zeros(ahead.shape)
    here = factor(information, nothing.astype(bool), nothing)
    healthy = ~here.gone & np.all(here.pivots > HEALTHY * np.einsum("jjb->jb", information), axis=0)
    floor = 4 * runaway * here.pivots  # a variance is at most a quarter
    step = here.solve(ahead)
    bend = expansion.third * 0.5
    curve = here.solve(share * (bend @ step_products(step)))
    healthy &= np.abs(curve).max(axis=0) < LONGEST_CURVE * np.abs(step).max(axis=0)
    step -= curve
    pair = step_products(step)
    twice = share * (expansion.fourth @ pair)
    moved = packed.T + share * (expansion.third.T @ step) + twice / 2
    known = factor(moved[square], nothing.astype(bool), floor)
    cubic = share * (bend @ pair) + (twice[square] * step).sum(axis=1) / 6
    more = known.solve(ahead - (information * step).sum(axis=1) - cubic)
    step += np.where(np.abs(more).max(axis=0) < LONGEST_MORE * np.abs(step).max(axis=0), more, 0.0)
    healthy &= np.all(np.abs(step) < longest[:, None], axis=0)
    return Opening(step, (ahead * step).sum(axis=0), known, floor, totals, healthy & ~known.gone)
