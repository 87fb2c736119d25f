"""Who should have a course first: how many lives does a course for each group add, and how sure is the order?

A course is worth what it adds to what the person still holds: over a horizon of T years, for m years since the last
course, the gain on the day of the course times

    (1 - e^{-lam m}) (1 - e^{-(lam + tau) T}) / (lam + tau),

the second factor thinned by leaving. Whoever holds most has least to gain. What is held is cut as in `deaths`: nobody
lives who lives already (`room`). Groups only, never names.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.polynomial.legendre import leggauss
from numpy.typing import NDArray

from survstats.decision.conventions import LIMITS, MONTHS_A_YEAR
from survstats.decision.held import mean_discount
from survstats.decision.room import survival_holding
from survstats.decision.world import NEVER_TRAINED, TRAINED, Policy, Worlds

Floats = NDArray[np.float64]
Course = Literal["refresher", "first"]

#: Places at which a settled staff's time since the course is looked at.
PLACES = 24
#: Years after which whoever never leaves and is never refreshed is looked at.
FOREVER = 1e4


@dataclass(frozen=True)
class Candidates:
    """Whom a course could be given to: n candidates, each the people of one group who need one kind of course.

    Attributes
    ----------
    groups : tuple of int
        Place of the group in the worlds.
    kinds : tuple of {"refresher", "first"}
    people : ndarray of shape (n,)
        How many people, and so courses.
    months_since : tuple of float or None
        Months since the last course; None where it is what a settled year of today's policy makes it, or no course was.
    gain : ndarray of shape (b, n)
        Lives added over the horizon by giving all of them the course now; negative where the course costs more.
    cost : ndarray of shape (b, n)
        Money for these courses.
    """

    groups: tuple[int, ...]
    kinds: tuple[Course, ...]
    people: Floats
    months_since: tuple[float | None, ...]
    gain: Floats
    cost: Floats


@dataclass(frozen=True)
class Ranking:
    """How sure the order by gain per course is over the worlds, each of shape (n,); rank 1 is first."""

    rank: NDArray[np.intp]
    rank_low: Floats
    rank_high: Floats
    chance_first: Floats


def years_held(fading: Floats, leaving: Floats, horizon: float) -> Floats:
    """Years of the full effect that one course holds over the horizon, leavers gone: (1 - e^{-sT}) / s, T at s = 0."""
    return np.asarray(horizon * mean_discount((fading + leaving) * horizon))


def candidates(
    worlds: Worlds, today: Policy, *, months_since: tuple[float | None, ...], horizon: float
) -> Candidates:
    """Everybody a course could be given to, and what it would add over the horizon.

    Those whom today's policy covers need a refresher, the others of the group a first course. False confidence, no more
    than there is, and deaths in training are subtracted.

    Parameters
    ----------
    worlds : Worlds
    today : Policy
    months_since : tuple of float or None, one for each of the q groups
        Months since the last course of those covered; None: spread as a settled year under today's policy has them.
    horizon : float
        Years over which gains are counted, as if no other course came in them.
    """
    listed: list[tuple[int, Course, float, float | None]] = []
    for group in range(len(worlds.groups)):
        covered = worlds.people[group] * today.covered[group]
        for kind, people in (("refresher", covered), ("first", worlds.people[group] - covered)):
            if people > 0:
                since = months_since[group] if kind == "refresher" else None
                listed.append((group, "refresher" if kind == "refresher" else "first", float(people), since))
    gain = [_gain(worlds, today, *one, horizon) for one in listed]
    cost = [_cost(worlds, kind, people) for _, kind, people, _ in listed]
    return Candidates(
        groups=tuple(group for group, *_ in listed),
        kinds=tuple(kind for _, kind, *_ in listed),
        people=np.array([people for *_, people, _ in listed]),
        months_since=tuple(since for *_, since in listed),
        gain=np.stack(gain, axis=1) if gain else np.zeros((worlds.draws, 0)),
        cost=np.stack(cost, axis=1) if cost else np.zeros((worlds.draws, 0)),
    )


def _gain(
    worlds: Worlds,
    today: Policy,
    group: int,
    kind: Course,
    people: float,
    since: float | None,
    horizon: float,
) -> Floats:
    """Lives that a course now for these people of a group adds over the horizon (b,)."""
    leaving = worlds.leaving[:, group]
    exposed = worlds.mishaps_a_year * worlds.at_risk[:, group] / worlds.people[group] * people
    there = years_held(np.zeros_like(leaving), leaving, horizon)
    harm = worlds.deaths_per_course * people
    place = NEVER_TRAINED if kind == "first" else TRAINED
    untrained = worlds.survival_untrained[:, group, place]

    def survival(years_since: Floats) -> Floats:
        """Mean survival over the horizon, (b, k), of people k times so many years (b, k) after their course."""
        return survival_holding(
            worlds.gain[:, group, place][:, None] * np.exp(-worlds.fading[:, None] * years_since),
            untrained[:, None],
            worlds.false_confidence[:, None],
            interval=horizon,
            fading=worlds.fading[:, None],
            leaving=leaving[:, None],
        )

    if kind == "first":
        without = untrained
    elif since is None:
        years, weights = _years_since(today.interval, leaving)
        without = np.sum(survival(years) * weights, axis=1)
    else:
        without = survival(np.full((worlds.draws, 1), since / MONTHS_A_YEAR))[:, 0]
    anew = survival(np.zeros((worlds.draws, 1)))[:, 0]
    return np.asarray(exposed * (anew - without) * there - harm)


def _years_since(interval: float, leaving: Floats) -> tuple[Floats, Floats]:
    """Years since the last course in a settled staff: places (b, k) and their weights (b, k), by Gauss and Legendre.

    Density proportional to exp(-leaving m) below the interval; without refreshers cut where e^-20 of a staff is left.
    """
    most = np.full(leaving.shape, interval)
    if np.isinf(interval):
        most = np.divide(20.0, leaving, out=np.full(leaving.shape, FOREVER), where=leaving > 0)
    nodes, weights = leggauss(PLACES)
    years = most[:, None] * (nodes + 1) / 2
    density = weights * np.exp(-leaving[:, None] * years)
    return years, np.asarray(density / density.sum(axis=1, keepdims=True))


def _cost(worlds: Worlds, kind: Course, people: float) -> Floats:
    """Money for one course for each of these people, injuries included (b,)."""
    each = worlds.refresher_cost if kind == "refresher" else worlds.first_cost
    return np.asarray(people * (each + worlds.injuries_per_course * worlds.injury_cost))


def ranking(gain: Floats, courses: Floats) -> Ranking:
    """The order by gain per course, and how far it turns from world to world (2.5th to 97.5th percentile of the rank).

    Parameters
    ----------
    gain : ndarray of shape (b, n)
    courses : ndarray of shape (n,)
    """
    each = gain / courses
    places = np.argsort(np.argsort(-each, axis=1, kind="stable"), axis=1, kind="stable") + 1
    low, high = np.quantile(places, LIMITS, axis=0)
    mean = np.argsort(np.argsort(-each.mean(axis=0), kind="stable"), kind="stable") + 1
    return Ranking(mean, low, high, np.mean(places == 1, axis=0))
