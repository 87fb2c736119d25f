"""Which groups fit the courses that can be given, and add most: exact for few, with a stated gap for many."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: Up to so many candidates the choice is exact; beyond it is greedy, and its gap is stated.
MOST_EXACT = 30


@dataclass(frozen=True)
class Choice:
    """Which candidates fit the capacity and add most.

    Attributes
    ----------
    chosen : ndarray of bool, shape (n,)
    gain : float
        What they add together.
    method : {"exact", "greedy"}
    gap : float
        At most so much more could be had (0 where exact): the bound of dividing one candidate, less ``gain``.
    """

    chosen: Bools
    gain: float
    method: Literal["exact", "greedy"]
    gap: float


def choose(gain: Floats, courses: Floats, capacity: float) -> Choice:
    """Which whole candidates add most within the capacity.

    Up to `MOST_EXACT` candidates all subsets are looked at, half by half (Horowitz and Sahni 1974,
    doi:10.1145/321812.321823); beyond, those that give most per course go first, and whoever does not fit is passed.

    Parameters
    ----------
    gain, courses : ndarray of shape (n,)
    capacity : float
        Courses that can be given.
    """
    useful = np.flatnonzero((gain > 0) & (courses <= capacity))
    exact = len(useful) <= MOST_EXACT
    picked = (_best_subset if exact else _greedy)(gain[useful], courses[useful], capacity)
    chosen = np.zeros(len(gain), dtype=bool)
    chosen[useful[picked]] = True
    found = float(gain[chosen].sum())
    gap = 0.0 if exact else max(0.0, divided_bound(gain[useful], courses[useful], capacity) - found)
    return Choice(chosen, found, "exact" if exact else "greedy", gap)


def divided_bound(gain: Floats, courses: Floats, capacity: float) -> float:
    """What could be had if one candidate might be divided: no choice of whole ones adds more (Dantzig 1957)."""
    order = np.argsort(-gain / courses)
    taken = np.clip(capacity - (np.cumsum(courses[order]) - courses[order]), 0.0, courses[order])
    return float(np.sum(gain[order] * taken / courses[order]))


def _best_subset(gain: Floats, courses: Floats, capacity: float) -> Bools:
    """The best of all subsets that fit (n,): each subset of one half with the best that still fits of the other."""
    half = len(gain) // 2
    (gain_a, need_a), (gain_b, need_b) = (
        _sums(gain[part], courses[part]) for part in (slice(None, half), slice(half, None))
    )
    order = np.argsort(need_b, kind="stable")
    best_so_far = np.maximum.accumulate(gain_b[order])
    fits = np.searchsorted(need_b[order], capacity - need_a, side="right") - 1
    total = np.where(fits >= 0, gain_a + best_so_far[np.maximum(fits, 0)], -np.inf)
    first = int(np.argmax(total))
    second = int(order[np.argmax(gain_b[order][: fits[first] + 1])])
    bits = [first >> at & 1 for at in range(half)] + [second >> at & 1 for at in range(len(gain) - half)]
    return np.array(bits, dtype=bool)


def _sums(gain: Floats, courses: Floats) -> tuple[Floats, Floats]:
    """Gain and courses of every subset (2^n,); bit k of its place says whether k is in."""
    sums = np.zeros((2, 1))
    for pair in zip(gain, courses, strict=True):
        sums = np.concatenate([sums, sums + np.array(pair)[:, None]], axis=1)
    return sums[0], sums[1]


def _greedy(gain: Floats, courses: Floats, capacity: float) -> Bools:
    """Those that give most per course first, whoever still fits (n,); or the single best, where that gives more."""
    taken, left = np.zeros(len(gain), dtype=bool), capacity
    for at in np.argsort(-gain / courses, kind="stable"):
        if courses[at] <= left:
            taken[at], left = True, left - courses[at]
    alone = np.arange(len(gain)) == np.argmax(gain)
    return taken if gain[taken].sum() >= gain.max() else alone
