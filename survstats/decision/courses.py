"""How many courses a year does it take to keep one person trained?"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survstats.decision.held import check_interval, check_rates, mean_discount

Floats = NDArray[np.float64]


def first_courses(leaving: ArrayLike) -> Floats:
    """First courses a year for each person kept trained: one for everybody who replaces a leaver.

    Parameters
    ----------
    leaving : array_like
        Rate a year at which people leave and are replaced, 0 or more.

    Raises
    ------
    CallError
        ``rate_negative``.
    """
    rate = np.array(leaving, dtype=float)
    check_rates(rate)
    return rate


def refreshers(interval: ArrayLike, leaving: ArrayLike = 0.0) -> Floats:
    """Refreshers a year for each person kept trained, in a staff that has settled into its rhythm.

    Somebody who joins takes the j-th refresher j intervals later if still there, so that
    leaving exp(-leaving r) / (1 - exp(-leaving r)) fall due a year; 1 / r where nobody leaves.

    Parameters
    ----------
    interval : array_like
        Years between courses (r), above 0; infinity: none.
    leaving : array_like
        Rate a year, 0 or more; broadcasts with ``interval``.

    Raises
    ------
    CallError
        ``interval_not_positive``, ``rate_negative``.

    References
    ----------
    A geometric series; derived here, compared with people simulated one by one in the tests.
    """
    years, leave = np.asarray(interval, dtype=float), np.asarray(leaving, dtype=float)
    check_interval(years)
    check_rates(leave)
    endless = np.isinf(years)
    finite = np.where(endless, 1.0, years) if endless.any() else years
    gone = leave * finite
    due: Floats = np.exp(-gone)
    due /= finite * mean_discount(gone)
    return np.where(endless, 0.0, due) if endless.any() else due
