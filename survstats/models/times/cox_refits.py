"""Which log hazard ratios does each reweighting of the clusters give, all fitted together?

Replicates are columns.  The score of all is the covariates times the hazard each row was under, the information the
products of covariates times the same, less that of the means at the event times: a pass is a handful of products over
blocks of replicates that stay in cache.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse

from survstats.groundwork.resampling import LeaveOneOut, Weights
from survstats.models.packed import column_products, packing
from survstats.models.small_systems import factor
from survstats.models.times.cox import derivatives, fit_cox
from survstats.models.times.cox_covariance import score_residuals
from survstats.models.times.cox_risk_sets import RiskSets
from survstats.models.times.cox_sums import grouped_sums, running_sums

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

BLOCK_CELLS = 1_000_000  # cells of the largest arrays of a block: they stay in cache
FEWEST, MOST = 16, 128  # replicates in a block
TOLERANCE = 1e-4  # after a Newton step this small the next would be its square: some 1e-8
PASSES = 40
RUNAWAY = 1e-9  # a pivot below this share of the full set's information: nothing holds the coefficient
LONGEST_STEP = 2.0  # of a coefficient times its largest covariate


def refit_cox(
    matrix: ArrayLike,
    time: ArrayLike,
    event: ArrayLike,
    codes: ArrayLike,
    weights: Weights,
    *,
    strata: ArrayLike | None = None,
) -> Floats:
    """Log hazard ratios (b, k) of each replicate, with Breslow's handling of ties.

    Each replicate starts one step from the full fit, taken with the clusters' score residuals, and is brought to its
    own maximum by Newton steps.  Breslow's handling makes a cluster drawn twice the same as its rows written twice.

    Parameters
    ----------
    matrix, time, event, strata
        As in :func:`survstats.models.times.cox.fit_cox`.
    codes : (n,) array of int
        Cluster of each row, 0 to g - 1.
    weights : (b, g) array or LeaveOneOut
        0 or more.

    Returns
    -------
    (b, k) array
        NaN in a replicate without a finite maximum.

    Raises
    ------
    NotEstimable, CallError
        As :func:`survstats.models.times.cox.fit_cox` where the full set cannot be fitted.
    """
    full = fit_cox(matrix, time, event, strata=strata, ties="breslow")
    rows = _Rows.of(full.sets, np.asarray(codes, dtype=np.intp))
    pulls = grouped_sums(score_residuals(full.sets, full.coefficients), rows.codes_given, rows.clusters)
    information = derivatives(full.sets, full.coefficients)[2]
    drawn = weights if isinstance(weights, LeaveOneOut) else np.asarray(weights, dtype=float)
    start = full.coefficients + (drawn @ pulls) @ full.covariance
    fitted = np.empty_like(start)
    with np.errstate(all="ignore"):  # a replicate that runs away is told by its information
        for block in _blocks(len(fitted), rows.block):
            dense = np.ascontiguousarray(drawn[block].T)
            fitted[block] = _newton(rows, dense, start[block].T, full.coefficients, np.diag(information)).T
    return fitted


@dataclass(frozen=True)
class _Rows:
    """Rows at risk, in order of the last event time they were at risk at.

    Attributes
    ----------
    x, products : (n, k), (pairs, n) arrays
    last : (n,) array of int
        That event time.
    clusters : int
    codes, codes_given : (n,) arrays of int
        Cluster of each row, in this order and as given, rows never at risk included.
    sums : (j k + j, n) sparse array
        Takes values of rows to their sum, and to the sum of them times each covariate, at each last event time.
    deaths : (j, g) sparse array
        Events of each cluster at each time.
    event_sums : (g, k) array
        Covariates of each cluster's events.
    starts : (s + 1,) array of int
    scale : (k,) array
        Largest covariate.
    """

    x: Floats
    products: Floats
    last: Places
    clusters: int
    codes: Places
    codes_given: Places
    sums: sparse.csr_array
    deaths: sparse.csr_array
    event_sums: Floats
    starts: Places
    scale: Floats

    @classmethod
    def of(cls, sets: RiskSets, codes: Places) -> _Rows:
        """Order the rows of a fit."""
        order = np.argsort(sets.last, kind="stable")
        order = order[sets.last[order] > sets.first[order]]
        x, last = np.ascontiguousarray(sets.matrix[order]), sets.last[order] - 1
        (n, k), j, clusters = x.shape, len(sets.times), int(codes.max()) + 1
        places = [last * (k + 1) + column for column in range(k + 1)]
        cells = (np.concatenate(places), np.tile(np.arange(n), k + 1))
        values = np.column_stack([np.ones(n), x]).T.ravel()
        own, count = (sets.place, codes[sets.events]), np.ones(len(sets.events))
        return cls(
            x=x,
            products=np.ascontiguousarray(column_products(x).T),
            last=last,
            clusters=clusters,
            codes=codes[order],
            codes_given=codes,
            sums=sparse.csr_array((values, cells), shape=(j * (k + 1), n)),
            deaths=sparse.csr_array((count, own), shape=(j, clusters)),
            event_sums=grouped_sums(sets.matrix[sets.events], codes[sets.events], clusters),
            starts=sets.starts,
            scale=np.abs(x).max(axis=0),
        )

    @property
    def block(self) -> int:
        """Replicates in a block."""
        cells = 2 * len(self.x) + self.sums.shape[0]
        return int(np.clip(BLOCK_CELLS // cells, FEWEST, MOST))

    def derivatives(self, weights: Floats, dense: Floats, beta: Floats) -> tuple[Floats, Floats]:
        """Score (k, b) and information (k, k, b) of replicates with row weights (n, b) and cluster weights (g, b)."""
        (k, b), j = beta.shape, self.deaths.shape[0]
        risk = self.x @ beta
        np.exp(risk, out=risk)
        risk *= weights
        ends = np.asarray(self.sums @ risk).reshape(j, k + 1, b)
        sums = running_sums(ends[::-1], j - self.starts[::-1])[::-1]
        deaths = np.asarray(self.deaths @ dense)
        total = np.where(deaths > 0, sums[:, 0], 1.0)
        risk *= running_sums(deaths / total, self.starts)[self.last]
        score = self.event_sums.T @ dense - self.x.T @ risk
        means = np.empty((b, k, j))
        np.multiply(sums[:, 1:].transpose(2, 1, 0), (np.sqrt(deaths) / total).T[:, None], out=means)
        spread = (means @ means.transpose(0, 2, 1)).transpose(1, 2, 0)
        return score, (self.products @ risk)[packing(k).square] - spread


def _newton(rows: _Rows, dense: Floats, start: Floats, about: Floats, size: Floats) -> Floats:
    """Coefficients (k, b) of replicates with cluster weights (g, b), NaN where there is no maximum."""
    fitted = np.full(start.shape, np.nan)
    beta = about[:, None] + _held(start - about[:, None], rows.scale)
    active = np.arange(start.shape[1])
    weights = dense[rows.codes]
    for _ in range(PASSES):
        score, information = rows.derivatives(weights, dense, beta)
        floor = np.broadcast_to(RUNAWAY * size[:, None], beta.shape)
        solved = factor(information, np.zeros(beta.shape, dtype=bool), floor)
        step = solved.solve(score)
        reach = np.abs(step * rows.scale[:, None]).max(axis=0)
        beta = beta + _held(step, rows.scale)
        done = ~solved.gone & (reach < TOLERANCE)
        fitted[:, active[done]] = beta[:, done]
        left = ~solved.gone & ~done & np.isfinite(reach)
        if not left.any():
            break
        if not left.all():
            active, beta, dense, weights = active[left], beta[:, left], dense[:, left], weights[:, left]
    return fitted


def _held(step: Floats, scale: Floats) -> Floats:
    """Steps (k, b), shortened to the longest allowed."""
    reach = np.abs(step * scale[:, None]).max(axis=0)
    return np.asarray(step * np.minimum(1.0, LONGEST_STEP / np.maximum(reach, LONGEST_STEP)))


def _blocks(count: int, size: int) -> Iterator[slice]:
    for begin in range(0, count, size):
        yield slice(begin, min(begin + size, count))
