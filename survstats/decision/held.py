"""How much of the day-of-the-course gain do people hold, on average, between courses and with leavers?"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survstats.groundwork.errors import CallError

Floats = NDArray[np.float64]


def retained(interval: ArrayLike, fading: ArrayLike, leaving: ArrayLike = 0.0) -> Floats:
    """Mean share of the gain still held, in a staff that has settled into its rhythm.

    Everybody takes a course on joining and again every ``interval`` years; the gain fades by exp(-fading m) in the m
    years since; people leave at a constant rate and are replaced at once. The m of people who are there has density
    proportional to exp(-leaving m) below ``interval``, so that the mean is
    leaving / (leaving + fading) (1 - exp(-(leaving + fading) r)) / (1 - exp(-leaving r)).

    Parameters
    ----------
    interval : array_like
        Years between courses (r), above 0; infinity: no refresher.
    fading, leaving : array_like
        Rates a year, 0 or more. All three broadcast.

    Returns
    -------
    ndarray
        In [0, 1]; 0 only where nobody leaves, nobody is refreshed and the gain fades.

    Raises
    ------
    CallError
        ``interval_not_positive``, ``rate_negative``.

    References
    ----------
    Time since the last renewal in a stationary population; derived here, compared with people simulated one by one
    in the tests.
    """
    years, fade, leave = (np.asarray(one, dtype=float) for one in (interval, fading, leaving))
    check_interval(years)
    check_rates(fade, leave)
    endless = np.isinf(years)
    finite = np.where(endless, 1.0, years) if endless.any() else years
    lost = leave + fade
    share: Floats = mean_discount(lost * finite)
    share /= mean_discount(leave * finite)
    np.minimum(share, 1.0, out=share)  # rounding only: mean_discount falls
    if not endless.any():
        return share
    settled = np.where(lost > 0, leave / np.where(lost > 0, lost, 1.0), 1.0)
    return np.where(endless, settled, share)


def mean_discount(exponent: ArrayLike) -> Floats:
    """Mean of exp(-x u) over u in [0, 1], that is (1 - exp(-x)) / x, and 1 at x = 0."""
    x = np.asarray(exponent, dtype=float)
    nil = x == 0
    if not nil.any():
        return np.asarray(np.expm1(-x) / -x)
    safe = np.where(nil, 1.0, x)
    return np.where(nil, 1.0, np.expm1(-safe) / -safe)


def check_interval(years: Floats) -> None:
    """Raise unless all intervals are above 0."""
    if not np.all(years > 0):
        raise CallError("interval_not_positive", "Years between courses must be above 0.")


def check_rates(*rates: Floats) -> None:
    """Raise unless all rates are finite and not below 0."""
    if not all(np.all((rate >= 0) & np.isfinite(rate)) for rate in rates):
        raise CallError("rate_negative", "A rate of fading or leaving must be a number not below 0.")
