"""A fleet lived through person by person, to hold the formulas of `decision.outcome` against.

Nothing of the package's arithmetic is used: posts are filled by people who join, take their courses, leave after an
exponential time and are replaced at once; mishaps fall as a Poisson process; whoever is aboard lives or dies by a draw.
A death does not change the staff (the post goes on as it was), and who leaves after a death in training neither.  Both
policies meet the same people, the same mishaps and the same luck.  Rates may be many times those of a real fleet.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass

import numpy as np

YEARS = 30.0
#: Years lived before anything is counted, so that the rhythm has settled.
BEFORE = 64.0


@dataclass(frozen=True)
class Group:
    """People of one kind: posts, people at risk per mishap, survival untrained and gain of (never trained, trained)."""

    posts: int
    at_risk: float
    untrained: tuple[float, float]
    gain: tuple[float, float]
    leaving: float
    covered_today: float
    covered: float


@dataclass(frozen=True)
class Fleet:
    groups: tuple[Group, ...]
    mishaps_a_year: float
    half_life: float
    interval_today: float
    interval: float
    deaths_per_course: float = 0.0
    false_confidence: float = 0.0
    averts: float = 0.0
    overlap: float = 0.0
    spends_today: bool = False
    spends: bool = False
    injuries_per_course: float = 0.0
    costs: tuple[float, float, float] = (3.0, 2.0, 7.0)  # first course, refresher, injury
    fixed: float = 40.0
    spend_cost: float = 25.0


@dataclass(frozen=True)
class Person:
    joined: float
    left: float
    rank: float  # covered by a policy whose share is above it


def posts_of(group: Group, luck: np.random.Generator) -> list[list[Person]]:
    """Everybody who ever holds each post, in turn."""
    posts = []
    for _ in range(group.posts):
        now, people = -BEFORE - 8 * luck.random(), []
        while now < YEARS:
            stays = luck.exponential(1 / group.leaving) if group.leaving else math.inf
            people.append(Person(now, now + stays, luck.random()))
            now += stays
        posts.append(people)
    return posts


def courses(person: Person, interval: float) -> tuple[int, int]:
    """First courses and refreshers a person takes within the years counted."""
    first = int(person.joined >= 0)
    if math.isinf(interval):
        return first, 0
    count, turn = (
        0,
        max(1, math.ceil(-person.joined / interval)),
    )  # the first that falls into the years counted
    while person.joined + turn * interval < min(person.left, YEARS):
        count, turn = count + 1, turn + 1
    return first, count


def dies(
    fleet: Fleet, group: Group, person: Person, when: float, new: bool, luck: tuple[float, float]
) -> bool:
    """Whether the person, at risk in a mishap, dies under the new policy or today's."""
    covered = group.covered if new else group.covered_today
    interval = fleet.interval if new else fleet.interval_today
    kind = int(person.rank < group.covered_today)  # trained people are those trained today
    lives, holds = group.untrained[kind], person.rank < covered
    if holds:
        since = when - person.joined
        since -= 0 if math.isinf(interval) else interval * math.floor(since / interval)
        lives += group.gain[kind] * 2 ** (-since / fleet.half_life) - fleet.false_confidence
    if luck[0] < lives:
        return False
    bought = fleet.spends if new else fleet.spends_today
    averted = fleet.averts * (1 - fleet.overlap * holds) if bought else 0.0
    return luck[1] >= averted


def lived(fleet: Fleet, luck: np.random.Generator) -> dict[str, float]:
    """One fleet's years: lives, deaths, courses and money a year, under both policies."""
    dead = {True: 0, False: 0}
    taken = {True: [0, 0], False: [0, 0]}
    staff = [posts_of(group, luck) for group in fleet.groups]
    for group, posts in zip(fleet.groups, staff, strict=True):
        for person in (one for people in posts for one in people):
            for new, share, interval in (
                (True, group.covered, fleet.interval),
                (False, group.covered_today, fleet.interval_today),
            ):
                if person.rank < share:
                    first, again = courses(person, interval)
                    taken[new][0] += first
                    taken[new][1] += again
    starts = [[[one.joined for one in people] for people in posts] for posts in staff]
    for when in luck.uniform(0, YEARS, luck.poisson(fleet.mishaps_a_year * YEARS)):
        for group, posts, joined in zip(fleet.groups, staff, starts, strict=True):
            count = luck.poisson(group.at_risk)
            for post, own in zip(luck.integers(0, group.posts, count), luck.random((count, 2)), strict=True):
                person = posts[post][bisect_right(joined[post], when) - 1]
                for new in (True, False):
                    dead[new] += dies(fleet, group, person, when, new, (own[0], own[1]))
    trained = {new: luck.binomial(sum(taken[new]), fleet.deaths_per_course) for new in (True, False)}
    money = {new: paid(fleet, taken[new], new, luck) for new in (True, False)}
    return {
        "lives": (dead[False] - dead[True] - trained[True] + trained[False]) / YEARS,
        "deaths": dead[True] / YEARS,
        "first_courses": taken[True][0] / YEARS,
        "refreshers": taken[True][1] / YEARS,
        "training_deaths": trained[True] / YEARS,
        "cost": money[True] / YEARS,
        "extra_cost": (money[True] - money[False]) / YEARS,
    }


def paid(fleet: Fleet, taken: list[int], new: bool, luck: np.random.Generator) -> float:
    """Money over the years counted."""
    first, again, injury = fleet.costs
    hurt = luck.binomial(sum(taken), fleet.injuries_per_course)
    shares = [one.covered if new else one.covered_today for one in fleet.groups]
    yearly = fleet.fixed * any(shares) + fleet.spend_cost * (fleet.spends if new else fleet.spends_today)
    return taken[0] * first + taken[1] * again + hurt * injury + yearly * YEARS
