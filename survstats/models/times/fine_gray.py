"""Which rows and weights keep those at risk for one cause who have already gone by another?

With them a proportional hazards fit is one of the subdistribution hazard, which says which way a covariate moves the
share gone by that cause by each time, and not how fast those still there go.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survstats.groundwork.errors import CallError, NotEstimable

Floats = NDArray[np.float64]
Places = NDArray[np.intp]


@dataclass(frozen=True)
class FineGrayRows:
    """Rows for a proportional hazards fit; a person gone by another cause has one row for each weight.

    Attributes
    ----------
    rows : (m,) array of int
        Which person each row is of; people in the order given, pieces of a person in order of time.
    entry, leave : (m,) arrays
        The row is at risk after ``entry`` (minus infinity: from the start) until ``leave``.
    event : (m,) array of 0 and 1
    weights : (m,) array
        1, or the share of those not censored when the person went who are not censored yet.
    """

    rows: Places
    entry: Floats
    leave: Floats
    event: Floats
    weights: Floats


def fine_gray_weights(time: ArrayLike, cause: ArrayLike, *, of: int = 1) -> FineGrayRows:
    """Rows and weights for the subdistribution hazard of one cause.

    Fine and Gray 1999, doi:10.1080/01621459.1999.10474144.  Someone gone by another cause stays at risk, with the
    chance of not having been censored since then.  That chance is a Kaplan-Meier estimate over everyone in which
    events come before censorings at the same time; programs that order them the other way get other weights where
    the two tie.  Without censoring every weight is 1.  Errors must be taken over people or wider clusters, since a
    person has several rows.

    Parameters
    ----------
    time : (n,) array
        When each person went, or was last seen.
    cause : (n,) array of int
        0 where not seen to go, else by which cause.
    of : int
        The cause whose share is asked for.

    Raises
    ------
    NotEstimable
        ``no_rows``, ``missing_value``, ``one_outcome`` where nobody went by that cause.
    CallError
        ``shape``.
    """
    t, gone = np.asarray(time, dtype=float), np.asarray(cause, dtype=float)
    if t.ndim != 1 or t.shape != gone.shape:
        raise CallError("shape", "Every person needs one time and one cause.")
    if not len(t):
        raise NotEstimable("no_rows", "There are no rows.")
    if not (np.isfinite(t).all() and np.isfinite(gone).all()):
        raise NotEstimable("missing_value", "A time or a cause is missing.")
    if not (gone == of).any():
        raise NotEstimable("one_outcome", "Nobody went by that cause.")
    censored, left = _not_censored(t, gone)
    ends = np.append(censored, t.max())
    met = np.unique(
        np.searchsorted(censored, t[gone == of], side="left")
    )  # censoring times before the events
    before = np.searchsorted(censored, t, side="left")
    other = (gone != of) & (gone != 0)
    later = np.where(other, len(met) - np.searchsorted(met, before, side="right"), 0)
    rows = np.repeat(np.arange(len(t)), later + 1)
    piece = np.arange(len(rows)) - np.repeat(np.cumsum(later + 1) - later - 1, later + 1)
    stage = met[np.minimum(len(met) - later[rows] + piece - 1, len(met) - 1)]
    stage = np.where(piece > 0, stage, before[rows])
    leave = np.where(other[rows], np.maximum(ends[stage], t[rows]), t[rows])
    return FineGrayRows(
        rows=rows,
        entry=np.where(piece > 0, ends[stage - 1], -np.inf),
        leave=leave,
        event=(gone[rows] == of).astype(float),
        weights=left[stage] / left[before[rows]],
    )


def _not_censored(time: Floats, gone: Floats) -> tuple[Floats, Floats]:
    """Times of censoring (c,), and the share (c + 1,) not censored before the first, after it, after the second ..."""
    censored, count = np.unique(time[gone == 0], return_counts=True)
    events = np.sort(time[gone != 0])
    beyond = len(events) - np.searchsorted(events, censored, side="right")
    at_risk = beyond + np.cumsum(count[::-1])[::-1]
    return censored, np.concatenate([[1.0], np.cumprod(1 - count / at_risk)])
