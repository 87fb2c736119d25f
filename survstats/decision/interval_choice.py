"""Over all plausible worlds: which interval is worth most, which are as good, and what a wrong one costs?

Worth is money a year against a first course and no refresher, with a life at the user's value; where no value is given
the steps from one interval to the next say what a life costs there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survstats.decision.conventions import LIMITS
from survstats.decision.refresher import FLAT_SHARE

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class IntervalChoice:
    """What each interval is worth, at one value of a life; r intervals, the last of them none at all.

    Attributes
    ----------
    worth, worth_low, worth_high : ndarray of shape (r,)
        Mean and 2.5th and 97.5th percentile over the worlds of what refreshing is worth a year.
    regret : ndarray of shape (r,)
        Mean of what is lost a year against the interval that is best in each world; NaN where not allowed.
    chance_best : ndarray of shape (r,)
        Share of worlds in which the interval is the best of those allowed.
    best : int
        Place of the allowed interval that is worth most on average.
    unbound : int
        The same, were every interval allowed.
    flat : tuple of int, int
        First and last place of the stretch around the best that is as good (`FLAT_SHARE`); both the best where
        refreshing is worth nothing.
    of_worlds : ndarray of shape (b,)
        Place of the best interval in each world.
    """

    worth: Floats
    worth_low: Floats
    worth_high: Floats
    regret: Floats
    chance_best: Floats
    best: int
    unbound: int
    flat: tuple[int, int]
    of_worlds: NDArray[np.intp]


@dataclass(frozen=True)
class Step:
    """From one interval to the next shorter: what it adds, and at which values of a life the shorter is the best.

    ``best_from`` and ``best_to`` are None where no value of a life makes it the best of those compared; infinite where
    there is no end.
    """

    lives: float
    cost: float
    cost_per_life: float | None
    best_from: float | None
    best_to: float | None


def choose_interval(lives: Floats, cost: Floats, value_of_life: float, allowed: Bools) -> IntervalChoice:
    """Which interval is worth most over the worlds.

    Parameters
    ----------
    lives, cost : ndarray of shape (b, r)
        Lives and money a year at each interval, the last column without any refresher.
    value_of_life : float
        Money, the user's own.
    allowed : ndarray of bool, shape (r,)
        What law or contract allows.
    """
    worth = value_of_life * (lives - lives[:, -1:]) - (cost - cost[:, -1:])
    within = np.where(allowed, worth, -np.inf)
    of_worlds = np.argmax(within, axis=1)
    mean = worth.mean(axis=0)
    best = int(np.argmax(np.where(allowed, mean, -np.inf)))
    low, high = np.quantile(worth, LIMITS, axis=0)
    return IntervalChoice(
        worth=mean,
        worth_low=low,
        worth_high=high,
        regret=regret(worth, allowed),
        chance_best=np.bincount(of_worlds, minlength=len(mean)) / len(worth),
        best=best,
        unbound=int(np.argmax(mean)),
        flat=flat_zone(mean, best, allowed),
        of_worlds=of_worlds,
    )


def regret(worth: Floats, allowed: Bools) -> Floats:
    """What each interval loses on average against the best allowed one of each world (r,); NaN where not allowed."""
    lost = np.where(allowed, worth, -np.inf).max(axis=1).mean() - worth.mean(axis=0)
    return np.where(allowed, lost, np.nan)


def flat_zone(worth: Floats, best: int, allowed: Bools) -> tuple[int, int]:
    """The stretch of allowed places around the best whose worth is within `FLAT_SHARE` of it, first and last."""
    good = allowed & (worth >= (1.0 - FLAT_SHARE) * worth[best]) & (worth[best] > 0)
    first = last = best
    while first > 0 and good[first - 1]:
        first -= 1
    while last + 1 < len(worth) and good[last + 1]:
        last += 1
    return first, last


def steps(lives: Floats, cost: Floats) -> tuple[Step, ...]:
    """What each step to a shorter interval adds; one for each interval but the first (r - 1,).

    Parameters
    ----------
    lives, cost : ndarray of shape (r,)
        Expected lives and money a year, from the longest interval to the shortest.
    """
    ends = [values_of_life(lives, cost, at) for at in range(len(lives))]
    more, dearer = np.diff(lives), np.diff(cost)
    return tuple(
        Step(
            lives=float(more[at]),
            cost=float(dearer[at]),
            cost_per_life=float(dearer[at] / more[at]) if more[at] > 0 else None,
            best_from=ends[at + 1][0],
            best_to=ends[at + 1][1],
        )
        for at in range(len(more))
    )


def values_of_life(lives: Floats, cost: Floats, at: int) -> tuple[float | None, float | None]:
    """Between which values of a life (>= 0) an option is the best of all; None, None where at none.

    Option i beats j where v (lives_i - lives_j) >= cost_i - cost_j.
    """
    more, dearer = lives[at] - np.delete(lives, at), cost[at] - np.delete(cost, at)
    if np.any((more == 0) & (dearer > 0)):
        return None, None
    least = max([0.0, *(dearer[more > 0] / more[more > 0])])
    most = min([np.inf, *(dearer[more < 0] / more[more < 0])])
    return (float(least), float(most)) if least <= most else (None, None)
