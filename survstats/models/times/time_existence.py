"""Do the bands of time have a finite best fit at all?

The log-likelihood is concave in b / scale and 1 / scale, so it has a finite top unless it never falls along some
direction; a linear programme finds such a direction.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

from survstats.groundwork.errors import NotEstimable
from survstats.models.times.time_distributions import Distribution
from survstats.models.times.time_likelihood import TimeRows

Floats = NDArray[np.float64]

TOLERANCE = 1e-7


def refuse_without_maximum(rows: TimeRows, weights: Floats) -> None:
    """Raise ``NotEstimable`` where there is no row, or no row that limits the time from above.

    Raises
    ------
    NotEstimable
        ``no_rows``, ``no_times``.
    """
    if not np.any(weights > 0):
        raise NotEstimable("no_rows", "No row says anything about the time.")
    if not np.any(weights[np.isfinite(rows.high)] > 0):
        raise NotEstimable("no_times", "No time is known from above.")


def rising_direction(rows: TimeRows, weights: Floats) -> Floats | None:
    """A direction (k + 1,) of slopes and spread along which no row grows less likely, or None.

    Parameters
    ----------
    rows : TimeRows
    weights : (p,) array
        Rows of weight 0 do not count.
    """
    scale = np.maximum(np.abs(rows.matrix).max(axis=0), 1e-300)
    exact = rows.kinds[0]
    held = np.zeros(len(weights), dtype=bool)
    held[exact] = True
    low_known = np.isfinite(rows.low) & ~held & (weights > 0)
    high_known = np.isfinite(rows.high) & ~held & (weights > 0)
    held &= weights > 0
    shape = rows.matrix / scale
    falling = np.column_stack([-shape, rows.low])[low_known]  # how z at the lower end moves: must not rise
    rising = np.column_stack([-shape, rows.high])[high_known]  # and at the upper end: must not fall
    pinned = np.column_stack([-shape, rows.low])[held]
    gain = -falling.sum(axis=0) + rising.sum(axis=0)
    if held.any():
        gain[-1] += 1.0
    answer = linprog(
        -gain,
        A_ub=np.vstack([falling, -rising]),
        b_ub=np.zeros(len(falling) + len(rising)),
        A_eq=pinned if len(pinned) else None,
        b_eq=np.zeros(len(pinned)) if len(pinned) else None,
        bounds=[(-1.0, 1.0)] * len(scale) + [(0.0, 1.0)],
        method="highs",
    )
    if answer.status != 0:
        raise NotEstimable("not_converged", "The search for a finite best fit did not finish.")
    found = np.asarray(answer.x, dtype=float)
    return found / np.append(scale, 1.0) if float(gain @ found) >= TOLERANCE else None


def why_no_maximum(rows: TimeRows, weights: Floats, distribution: Distribution) -> NotEstimable:
    """What to raise where Newton's method did not arrive."""
    try:
        refuse_without_maximum(rows, weights)
        direction = rising_direction(rows, weights)
    except NotEstimable as reason:
        return reason
    rank = np.linalg.matrix_rank(rows.matrix[weights > 0])
    if direction is not None and direction[-1] > TOLERANCE:
        return NotEstimable(
            "spread_not_bounded", "Every time is predicted exactly, so that no spread is left to estimate."
        )
    if direction is not None:
        return NotEstimable(
            "times_separated",
            "Some kinds of rows are all known from the same side only, so that their time ratio has no limit.",
            "Use fewer covariates.",
        )
    if rank < rows.matrix.shape[1]:
        return NotEstimable(
            "no_free_column", "A column says nothing beyond the others.", "Leave that column out."
        )
    exact, band, *_ = rows.kinds
    if not np.any(weights[exact.start : band.stop] > 0):
        return NotEstimable(
            "spread_not_bounded", "Limits from one side alone do not say how far the times spread."
        )
    return NotEstimable("not_converged", f"The {distribution} fit did not converge.")
