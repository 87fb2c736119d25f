"""By what factor does each covariate multiply the time, where times are known only as bands?

Accelerated failure time: log T = x b + scale e with e of a lognormal, log-logistic or Weibull time.  A row tells that T
lies in (lo, hi]; exact times, limits from one side and bands of any width stand side by side, and none is replaced by
its middle.  All replicates are solved together by Newton's method, which cannot miss: the log-likelihood is concave in
b / scale and 1 / scale (see :mod:`survstats.models.times.time_likelihood`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survstats.groundwork.errors import CallError
from survstats.groundwork.resampling import LeaveOneOut, Weights
from survstats.models.times.time_ascent import climb_times
from survstats.models.times.time_distributions import Distribution, distribution_quantile, distribution_share
from survstats.models.times.time_existence import refuse_without_maximum, why_no_maximum
from survstats.models.times.time_likelihood import TimeRows, gather_times

__all__ = [
    "Distribution",
    "TimeFit",
    "TimeRefits",
    "distribution_quantile",
    "distribution_share",
    "fit_time",
    "refit_time",
]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

BLOCK_CELLS = 400_000  # rows that differ x replicates worked on together


@dataclass(frozen=True)
class TimeFit:
    """One fit of log T = x b + scale e.

    Attributes
    ----------
    coefficients : (k,) array
        Logarithms of time ratios; of seconds for the intercept, if times are in seconds.
    scale : float
    log_likelihood : float
        On the scale of times: an exact time counts with its density per unit of time.
    covariance : (k + 1, k + 1) array
        Of the coefficients and of the logarithm of the scale, as if rows were independent (observed information).
    distribution : {"lognormal", "loglogistic", "weibull"}
    """

    coefficients: Floats
    scale: float
    log_likelihood: float
    covariance: Floats
    distribution: Distribution

    def share_by(self, matrix: ArrayLike, time: ArrayLike) -> Floats:
        """Share of such rows (m, k) whose time is at most ``time`` > 0 (broadcast against the m rows)."""
        with np.errstate(divide="ignore"):
            log_time = np.log(np.asarray(time, dtype=float))
        linear = np.asarray(matrix, dtype=float) @ self.coefficients
        return distribution_share((log_time - linear) / self.scale, self.distribution)


@dataclass(frozen=True)
class TimeRefits:
    """The fit under each of b weightings of the groups.

    Attributes
    ----------
    coefficients : (b, k) array
        0 where a column carries nothing in the replicate beyond the columns before it.
    scale : (b,) array
    log_likelihood : (b,) array
    identified : (b, k) bool array
        Whether the replicate's rows can tell the coefficient.
    """

    coefficients: Floats
    scale: Floats
    log_likelihood: Floats
    identified: Bools


def fit_time(
    matrix: ArrayLike,
    lo: ArrayLike,
    hi: ArrayLike,
    *,
    distribution: Distribution,
    weights: ArrayLike | None = None,
    start: TimeFit | None = None,
) -> TimeFit:
    """Time ratios (as logarithms) and scale by maximum likelihood.

    Parameters
    ----------
    matrix : (n, k) array
        Design matrix; column 0 is the intercept.
    lo, hi : (n,) arrays
        The time lies in (lo, hi], in any unit; exact where both are equal, no upper limit where ``hi`` is infinite, no
        lower one where ``lo`` is 0. (0, inf] says nothing and is left out.
    distribution : {"lognormal", "loglogistic", "weibull"}
    weights : (n,) array, optional
        Non-negative; 2 counts a row twice.
    start : TimeFit, optional
        Where to begin; the answer does not hang on it.

    Raises
    ------
    NotEstimable
        ``no_rows``; ``no_times`` where no time is known from above; ``times_separated`` where a coefficient runs to
        infinity; ``spread_not_bounded`` where the scale runs to 0 or to infinity; ``not_converged``.
    CallError
        ``time_band``, ``rows_differ``, ``distribution``, ``negative_weight``.

    Notes
    -----
    Compared with R's ``survreg`` (package survival) in ``tests/reference``.
    """
    design = np.asarray(matrix, dtype=float)
    row_weights = np.ones(len(design)) if weights is None else np.asarray(weights, dtype=float)
    if row_weights.shape != (len(design),) or not np.all(row_weights >= 0):
        raise CallError("negative_weight", "Each row needs one weight that is not negative.")
    levels, codes = np.unique(row_weights, return_inverse=True)
    rows = gather_times(design, lo, hi, codes, len(levels))
    weight = np.asarray(rows.counts @ levels)[:, None]
    refuse_without_maximum(rows, weight[:, 0])
    begins = (
        [rough_start(rows, weight[:, 0])]
        if start is None
        else [_place(start), rough_start(rows, weight[:, 0])]
    )
    for begin in begins:
        top, columns = climb_times(rows, weight, begin[:, None], distribution)
        if top.converged[0]:
            break
    if not top.converged[0] or columns.lost.any():
        raise why_no_maximum(rows, weight[:, 0], distribution)
    spread, slopes = float(top.at[-1, 0]), top.at[:-1, 0]
    turn = np.eye(len(slopes) + 1) / spread
    turn[:-1, -1] = -slopes / spread**2
    turn[-1, -1] = -1 / spread
    covariance = turn @ np.linalg.inv(top.information[:, :, 0]) @ turn.T
    return TimeFit(slopes / spread, 1 / spread, float(top.value[0]), covariance, distribution)


def refit_time(
    matrix: ArrayLike,
    lo: ArrayLike,
    hi: ArrayLike,
    codes: ArrayLike,
    weights: Weights,
    *,
    distribution: Distribution,
    start: TimeFit | None = None,
) -> TimeRefits:
    """The fit under each row of weights of the groups, all solved together.

    Parameters
    ----------
    matrix, lo, hi, distribution
        As in :func:`fit_time`.
    codes : (n,) array of int
        Group (mishap, person) of each row, 0 to g - 1.
    weights : (b, g) array or LeaveOneOut
        Non-negative.
    start : TimeFit, optional
        The fit of all rows; made if it is not given.

    Raises
    ------
    NotEstimable
        As :func:`fit_time`, where any replicate has no finite answer.
    CallError
        ``weights_shape``, ``negative_weight`` and those of :func:`fit_time`.
    """
    given = weights if isinstance(weights, LeaveOneOut) else np.atleast_2d(np.asarray(weights, dtype=float))
    labels = np.asarray(codes, dtype=np.int64)
    if len(labels) and labels.max() >= given.shape[1]:
        raise CallError("weights_shape", f"{given.shape[1]} weights do not serve {labels.max() + 1} groups.")
    if not isinstance(given, LeaveOneOut) and given.size and not given.min() >= 0:
        raise CallError("negative_weight", "A weight is negative or missing.")
    begin = fit_time(matrix, lo, hi, distribution=distribution) if start is None else start
    rows = gather_times(matrix, lo, hi, labels, given.shape[1])
    at, value, known = [], [], []
    size = max(1, BLOCK_CELLS // max(1, len(rows.matrix)))
    for first in range(0, len(given), size):
        weight = np.asarray(rows.counts @ np.asarray(given[first : first + size], dtype=float).T)
        place = np.repeat(_place(begin)[:, None], weight.shape[1], axis=1)
        top, columns = climb_times(rows, weight, place, distribution)
        if not top.converged.all():
            raise why_no_maximum(rows, weight[:, np.argmin(top.converged)], distribution)
        at.append(top.at)
        value.append(top.value)
        known.append(columns.identified)
    found = np.concatenate(at, axis=1)
    return TimeRefits((found[:-1] / found[-1]).T, 1 / found[-1], np.concatenate(value), np.concatenate(known))


def rough_start(rows: TimeRows, weights: Floats) -> Floats:
    """Somewhere to begin (k + 1,): least squares of a point inside each band, which leaves no trace in the answer."""
    inside = np.where(np.isfinite(rows.low), rows.low + 0.5, rows.high - 0.5)
    both = np.isfinite(rows.low) & np.isfinite(rows.high)
    inside[both] = 0.5 * (rows.low[both] + rows.high[both])
    root = np.sqrt(weights)
    slopes = np.linalg.lstsq(rows.matrix * root[:, None], inside * root, rcond=None)[0]
    spread = np.sqrt(np.sum(weights * (inside - rows.matrix @ slopes) ** 2) / np.sum(weights))
    return np.append(slopes, 1.0) / max(float(spread), 0.1)


def _place(fit: TimeFit) -> Floats:
    return np.append(fit.coefficients, 1.0) / fit.scale
