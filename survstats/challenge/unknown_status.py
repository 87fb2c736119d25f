"""What the people of unknown training could do to the difference: worst and best case, with an interval."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import stdtr

from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import leave_one_out

Floats = NDArray[np.float64]

#: Order of the counts in the last axis of the array of people in the population.
CELLS = (
    "trained_survived",
    "trained_died",
    "untrained_survived",
    "untrained_died",
    "unknown_survived",
    "unknown_died",
)
#: Order of the counts of the dead of whom nobody knows whether they belong to the population.
PERHAPS_CELLS = ("trained_died", "untrained_died", "unknown_died")


@dataclass(frozen=True)
class UnknownBounds:
    """The crude difference over every possible status of the unknown.

    Attributes
    ----------
    low, high : float
        Smallest and largest difference in [-1, 1] (a range, not an interval).
    interval_low, interval_high : float
        95 % interval for the true difference (Imbens-Manski, jackknife errors, t with g - 1 df); equal to the range
        and not widened where there is one mishap only.
    unknown_survived, unknown_died : int
        People of unknown training.
    perhaps : int
        Dead people who perhaps do not belong to the population.
    mishaps, occupants : int
    """

    low: float
    high: float
    interval_low: float
    interval_high: float
    unknown_survived: int
    unknown_died: int
    perhaps: int
    mishaps: int
    occupants: int

    @property
    def interval_excludes_zero(self) -> bool:
        """Whether even the worst case, with its interval, lies on one side of no difference."""
        return self.interval_low > 0 or self.interval_high < 0


def unknown_bounds(counts: Floats, perhaps: Floats | None = None, *, level: float = 0.95) -> UnknownBounds:
    """Range of the crude difference over everything that is unknown, and its interval.

    Parameters
    ----------
    counts : ndarray of shape (g, 6)
        People per mishap in the order of `CELLS`.
    perhaps : ndarray of shape (g, 3), optional
        Dead people who may or may not belong to the population, in the order of `PERHAPS_CELLS`; the range is
        taken over counting and not counting them too.
    level : float
        Coverage aimed at.

    Raises
    ------
    NotEstimable
        ``one_arm`` where one group stays empty whatever the unknown were, ``one_outcome`` where all lived or
        all died.

    References
    ----------
    Imbens and Manski 2004, doi:10.1111/j.1468-0262.2004.00555.x.
    """
    perhaps = np.zeros((len(counts), len(PERHAPS_CELLS))) if perhaps is None else perhaps
    counts = np.column_stack([counts, perhaps])
    total = counts.sum(axis=0)
    if total[[0, 2, 4]].sum() == 0 or total[[1, 3, 5, 6, 7, 8]].sum() == 0:
        raise NotEstimable("one_outcome", "Everyone had the same outcome.")
    low, high = _ends(total[None, :])
    if not (math.isfinite(low[0]) and math.isfinite(high[0])):
        raise NotEstimable("one_arm", "One of the two groups is empty whatever the unknown were.")
    g = len(counts)
    left_low, left_high = _ends(leave_one_out(g) @ counts)
    reach_low = reach_high = 0.0
    if g > 1 and np.all(np.isfinite(left_low)) and np.all(np.isfinite(left_high)):
        se_low, se_high = _error(low[0], left_low), _error(high[0], left_high)
        factor = _imbens_manski_factor(high[0] - low[0], max(se_low, se_high), g - 1, level)
        reach_low, reach_high = factor * se_low, factor * se_high
    elif g > 1:
        reach_low = reach_high = 2.0
    return UnknownBounds(
        low=float(low[0]),
        high=float(high[0]),
        interval_low=float(max(low[0] - reach_low, -1.0)),
        interval_high=float(min(high[0] + reach_high, 1.0)),
        unknown_survived=int(total[4]),
        unknown_died=int(total[5]),
        perhaps=int(total[6:].sum()),
        mishaps=g,
        occupants=int(total.sum()),
    )


def _ends(counts: Floats) -> tuple[Floats, Floats]:
    """Lowest and highest difference for counts of shape (b, 9): the corners of the unknown.

    Of the dead who perhaps belong none, one or all are counted: one where a group would be empty without.
    """
    s1, d1, s0, d0, us, ud, *perhaps = counts.T
    counted = product(*((0 * people, np.minimum(people, 1), people) for people in perhaps))
    ends = [_corners(s1, d1 + p1, s0, d0 + p0, us, ud + pu) for p1, p0, pu in counted]
    lowest, highest = zip(*ends, strict=True)
    return np.fmin.reduce(lowest), np.fmax.reduce(highest)


def _corners(s1: Floats, d1: Floats, s0: Floats, d0: Floats, us: Floats, ud: Floats) -> tuple[Floats, Floats]:
    lowest = _difference(s1, d1 + ud, s0 + us, d0)
    highest = _difference(s1 + us, d1, s0, d0 + ud)
    # a corner that empties a group is not allowed to: its last possible member stays in it
    lowest = np.where((s1 + d1 + ud == 0) & (us > 0), _difference(s1 + 1, d1, s0 + us - 1, d0), lowest)
    lowest = np.where((s0 + d0 + us == 0) & (ud > 0), _difference(s1, d1 + ud - 1, s0, d0 + 1), lowest)
    highest = np.where((s1 + d1 + us == 0) & (ud > 0), _difference(s1, d1 + 1, s0, d0 + ud - 1), highest)
    highest = np.where((s0 + d0 + ud == 0) & (us > 0), _difference(s1 + us - 1, d1, s0 + 1, d0), highest)
    return lowest, highest


def _difference(s1: Floats, d1: Floats, s0: Floats, d0: Floats) -> Floats:
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(s1 / (s1 + d1) - s0 / (s0 + d0))


def _error(point: float, replicates: Floats) -> float:
    g = len(replicates)
    return math.sqrt((g - 1) / g * float(np.sum((replicates - point) ** 2)))


def _imbens_manski_factor(width: float, largest_se: float, df: int, level: float) -> float:
    """The factor between a one-sided and a two-sided quantile, according to the width of the range."""
    if largest_se <= 0:
        return 0.0

    def shortfall(factor: float) -> float:
        return float(stdtr(df, factor + width / largest_se) - stdtr(df, -factor)) - level

    return float(brentq(shortfall, 0.0, 1e4, xtol=1e-12))
