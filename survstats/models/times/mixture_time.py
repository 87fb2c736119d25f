"""What share ever has the event, and how soon do those have it who do?

A mixture: a logistic model of whether the event ever comes, and an accelerated failure time for those to whom it does.
Where it is known of every row whether the event came, the likelihood falls into these two parts and each is fitted by
itself; rows of which it is not known tie them together and both are fitted at once.  Nobody to whom the event cannot
come is treated as if it had only not come yet (Farewell 1982, doi:10.2307/2529885).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.groundwork.resampling import LeaveOneOut, Weights
from survstats.models.separation import find_separation
from survstats.models.times.interval_time import TimeFit, TimeRefits, fit_time, refit_time
from survstats.models.times.mixture_likelihood import (
    MixtureRows,
    MixtureWeights,
    gather_mixture,
    mixture_ascent,
    weigh,
)
from survstats.models.times.mixture_parts import GivenRows, fit_shares
from survstats.models.times.time_ascent import Columns, Top, climb, columns_of
from survstats.models.times.time_distributions import Distribution
from survstats.models.times.time_existence import why_no_maximum
from survstats.models.times.time_likelihood import Ascent

__all__ = ["MixtureFit", "MixtureRefits", "fit_mixture", "refit_mixture"]

Floats = NDArray[np.float64]
Places = NDArray[np.intp]


@dataclass(frozen=True)
class MixtureFit:
    """Both parts of one fit.

    Attributes
    ----------
    share : (j,) array
        Log odds that the event ever comes.
    time : TimeFit
        Of those to whom it does; its log-likelihood is NaN where the parts were fitted at once.
    log_likelihood : float
        Of both parts.
    joint : bool
        Whether both were fitted at once.
    """

    share: Floats
    time: TimeFit
    log_likelihood: float
    joint: bool


@dataclass(frozen=True)
class MixtureRefits:
    """The fit under each of b weightings of the groups.

    Attributes
    ----------
    share : (b, j) array
    share_identified : (b, j) bool array
        Whether the replicate's rows can tell the coefficient; it is 0 where the column holds nothing.
    time : TimeRefits
    log_likelihood : (b,) array
    joint : bool
    """

    share: Floats
    share_identified: NDArray[np.bool_]
    time: TimeRefits
    log_likelihood: Floats
    joint: bool


def fit_mixture(
    matrix: ArrayLike,
    lo: ArrayLike,
    hi: ArrayLike,
    ever: ArrayLike,
    *,
    distribution: Distribution,
    share_matrix: ArrayLike | None = None,
    weights: ArrayLike | None = None,
    joint: bool | None = None,
) -> MixtureFit:
    """Log odds of ever having the event and time ratios (as logarithms) of those who have it.

    Parameters
    ----------
    matrix : (n, k) array
        Design matrix of the time; column 0 is the intercept.
    lo, hi : (n,) arrays
        Where the event came: its time lies in (lo, hi]; (0, inf] where nothing is recorded.  Where it is not known
        whether it came: the row still waited at ``lo`` (0 if never seen), ``hi`` is infinite.  Where it never came they
        are not used.
    ever : (n,) array
        1 the event came, 0 it never did, NaN not known.
    distribution : {"lognormal", "loglogistic", "weibull"}
    share_matrix : (n, j) array, optional
        Design matrix of the share; else ``matrix``.
    weights : (n,) array, optional
        Non-negative.
    joint : bool, optional
        True fits both parts at once whatever the rows; else only where they hang together.

    Raises
    ------
    NotEstimable
        ``no_rows``, ``one_outcome`` where everybody or nobody is known to have had the event, ``separated``,
        ``not_converged``, ``no_free_column``, and those of :func:`~survstats.models.times.interval_time.fit_time`.
    CallError
        ``time_band``, ``rows_differ``, ``not_binary``, ``negative_weight``; ``parts_hang_together`` where ``joint`` is
        False and rows wait of which it is not known.
    """
    given = GivenRows.read(matrix, share_matrix, lo, hi, ever)
    row_weights = np.ones(len(given.ever)) if weights is None else np.asarray(weights, dtype=float)
    if row_weights.shape != given.ever.shape or not np.all(row_weights >= 0):
        raise CallError("negative_weight", "Each row needs one weight that is not negative.")
    levels, codes = np.unique(row_weights, return_inverse=True)
    at_once = given.tied(codes, levels[None]) if joint is None else joint
    if not at_once and given.tied(codes, levels[None]):
        raise CallError("parts_hang_together", "Of some rows it is not known whether the event came.")
    share = fit_shares(given, codes, levels[None], joint=at_once)
    if not share.identified.all():
        raise NotEstimable("no_free_column", "A column says nothing of the share beyond the others.")
    came = given.ever == 1
    time = fit_time(
        given.matrix[came],
        given.lo[came],
        given.hi[came],
        distribution=distribution,
        weights=row_weights[came],
    )
    if not at_once:
        return MixtureFit(share.share[0], time, float(share.value[0]) + time.log_likelihood, False)
    start = np.concatenate([share.share[0], time.coefficients / time.scale, [1 / time.scale]])
    rows = gather_mixture(*given.parts, codes, len(levels))
    top, _ = _climb_both(rows, weigh(rows, levels[None]), start, distribution)
    return _unpacked(top, given.share_matrix.shape[1], distribution)


def refit_mixture(
    matrix: ArrayLike,
    lo: ArrayLike,
    hi: ArrayLike,
    ever: ArrayLike,
    codes: ArrayLike,
    weights: Weights,
    *,
    distribution: Distribution,
    share_matrix: ArrayLike | None = None,
    start: MixtureFit | None = None,
) -> MixtureRefits:
    """The mixture under each row of weights of the groups, all replicates together.

    Parameters
    ----------
    matrix, lo, hi, ever, distribution, share_matrix
        As in :func:`fit_mixture`.
    codes : (n,) array of int
        Group of each row, 0 to g - 1.
    weights : (b, g) array or LeaveOneOut
    start : MixtureFit, optional
        The fit of all rows; made if it is not given. Parts are fitted at once if they were there.

    Raises
    ------
    NotEstimable, CallError
        As :func:`fit_mixture`, where any replicate has no finite answer.
    """
    begin = start
    if begin is None:
        begin = fit_mixture(matrix, lo, hi, ever, distribution=distribution, share_matrix=share_matrix)
    given, labels = GivenRows.read(matrix, share_matrix, lo, hi, ever), np.asarray(codes, dtype=np.int64)
    if not begin.joint:
        share = fit_shares(given, labels, weights, start=begin.share)
        came = given.ever == 1
        time = refit_time(
            given.matrix[came],
            given.lo[came],
            given.hi[came],
            labels[came],
            weights,
            distribution=distribution,
            start=begin.time,
        )
        return MixtureRefits(share.share, share.identified, time, share.value + time.log_likelihood, False)
    dense = np.atleast_2d(
        weights[:] if isinstance(weights, LeaveOneOut) else np.asarray(weights, dtype=float)
    )
    rows = gather_mixture(*given.parts, labels, dense.shape[1])
    scale = begin.time.scale
    place = np.concatenate([begin.share, begin.time.coefficients / scale, [1 / scale]])
    top, columns = _climb_both(rows, weigh(rows, dense), place, distribution)
    j = len(begin.share)
    known = columns.identified
    time = TimeRefits(
        (top.at[j:-1] / top.at[-1]).T, 1 / top.at[-1], np.full(len(top.value), np.nan), known[:, j:]
    )
    return MixtureRefits(top.at[:j].T, known[:, :j], time, top.value, True)


def _climb_both(
    rows: MixtureRows, weights: MixtureWeights, start: Floats, distribution: Distribution
) -> tuple[Top, Columns]:
    """Both parts at once; every replicate begins at ``start`` (q,)."""
    j, k = rows.share_matrix.shape[1], rows.times.matrix.shape[1]
    share = columns_of(rows.share_pairs, weights.share, j)
    time = columns_of(rows.times.pairs, weights.times, k)
    both = Columns(
        np.vstack([share.pivots, time.pivots]),
        np.vstack([share.lost, time.lost]),
        np.hstack([share.identified, time.identified]),
    )

    def evaluate(places: Places, at: Floats) -> Ascent:
        return mixture_ascent(rows, weights.of(places), at, distribution)

    begin = np.repeat(start[:, None], weights.share.shape[1], axis=1)
    top = climb(evaluate, begin, both.pivots, both.lost, weights.times.sum(axis=0))
    if not top.converged.all():
        place = int(np.argmin(top.converged))
        reason = why_no_maximum(rows.times, weights.times[:, place], distribution)
        if reason.reason != "not_converged":
            raise reason
        counted = weights.share[:, place] > 0
        if find_separation(rows.share_matrix[counted], rows.came[counted]).kind != "none":
            raise NotEstimable("separated", "Whether the event came is separated by the columns.")
        raise NotEstimable("not_converged", "Share and time could not be fitted at once.")
    return top, both


def _unpacked(top: Top, j: int, distribution: Distribution) -> MixtureFit:
    spread, slopes = float(top.at[-1, 0]), top.at[j:-1, 0]
    turn = np.eye(len(slopes) + 1) / spread
    turn[:-1, -1] = -slopes / spread**2
    turn[-1, -1] = -1 / spread
    inverse = np.linalg.inv(top.information[:, :, 0])[j:, j:]
    time = TimeFit(slopes / spread, 1 / spread, float("nan"), turn @ inverse @ turn.T, distribution)
    return MixtureFit(top.at[:j, 0], time, float(top.value[0]), True)
