"""What does a policy come to in a settled year, in every plausible world: lives, money, courses?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survstats.decision.courses import first_courses, refreshers
from survstats.decision.deaths import deaths_at, deaths_under
from survstats.decision.world import Outcome, Policy, Worlds
from survstats.groundwork.errors import CallError

Floats = NDArray[np.float64]

#: Worlds taken at a time, so that what is held in between stays small.
BLOCK = 1000


@dataclass(frozen=True)
class IntervalOutcomes:
    """What policies that differ from the named ones in their interval alone come to: s policies, b worlds, r intervals.

    Attributes
    ----------
    intervals : ndarray of shape (r,)
        Years between courses.
    lives, cost, extra_cost : ndarray of shape (s, b, r)
        As in `world.Outcome`.
    """

    intervals: Floats
    lives: Floats
    cost: Floats
    extra_cost: Floats


def outcome(worlds: Worlds, policy: Policy, *, today: Policy) -> Outcome:
    """Lives, money and courses a year under a policy, and how far lives and money differ from today's.

    Per mishap a_k people of group k are at risk. A share kept = min(c, c0) of them is trained under both policies,
    added = max(c - c0, 0) under the new one alone, dropped = max(c0 - c, 0) under today's alone. Those trained today
    have the gain of the trained, those trained for the first time the gain of the never trained. With R the mean share
    of the gain still held (`held.retained`), survival of people who hold training is untrained survival + gain R, cut
    to [0, 1], - false confidence. Rival spends avert their share of the deaths that are left, less the overlap among
    people who hold training. Lives are deaths under today's policy less deaths under this one, training deaths counted
    in.

    Parameters
    ----------
    worlds : Worlds
        b worlds, q groups.
    policy, today : Policy

    Raises
    ------
    CallError
        ``covered_shape``, ``covered_range``, ``unknown_spend``; ``interval_not_positive``, ``rate_negative``.

    Notes
    -----
    False confidence takes no more survival than there is. Training and the rival spends avert no less together than
    either alone: an overlap that says otherwise in some world is cut there. A settled year: first courses are those of
    joiners; the year in which cover is widened is left out.
    """
    for one in (policy, today):
        _check(worlds, one)
    own, before = (_at_interval(worlds, one) for one in (policy, today))
    deaths, deaths_today = (deaths_under(worlds, one, today=today) for one in (policy, today))
    in_training, in_training_today = (
        worlds.deaths_per_course * (one.first + one.again) for one in (own, before)
    )
    cost = _cost(worlds, policy, own)
    return Outcome(
        lives=(deaths_today - deaths) - (in_training - in_training_today),
        cost=cost,
        extra_cost=cost - _cost(worlds, today, before),
        deaths=deaths,
        training_deaths=in_training,
        first_courses=own.first,
        refreshers=own.again,
    )


def against_none(worlds: Worlds, policy: Policy) -> Outcome:
    """What a policy comes to against nobody being trained, rival spends the same on both sides.

    People covered by the policy are taken as the trained of the records: it is what they hold that would be missed.

    Parameters
    ----------
    worlds : Worlds
    policy : Policy

    Raises
    ------
    CallError
        As `outcome`.
    """
    nobody = Policy("", np.inf, np.zeros(len(worlds.groups)), policy.spends)
    own, without = outcome(worlds, policy, today=policy), outcome(worlds, nobody, today=policy)
    return Outcome(
        lives=-without.lives,
        cost=own.cost,
        extra_cost=-without.extra_cost,
        deaths=own.deaths,
        training_deaths=own.training_deaths,
        first_courses=own.first_courses,
        refreshers=own.refreshers,
    )


def outcomes_by_interval(
    worlds: Worlds, policies: Sequence[Policy], intervals: ArrayLike, *, today: Policy
) -> IntervalOutcomes:
    """Lives and money of policies had they other intervals, in every world: what `outcome` gives, many at a time.

    Parameters
    ----------
    worlds : Worlds
        b worlds.
    policies : sequence of s Policy
        Their own intervals are not used.
    intervals : array_like of shape (r,)
        Years between courses; infinity allowed.
    today : Policy
        With its own interval.

    Raises
    ------
    CallError
        As `outcome`.
    """
    years = np.asarray(intervals, dtype=float)
    if years.ndim != 1 or not len(years):
        raise CallError("interval_shape", "Intervals must be a list of years.")
    for one in (*policies, today):
        _check(worlds, one)
    before = _at_interval(worlds, today)
    deaths_today = deaths_under(worlds, today, today=today)
    covered = np.stack([worlds.people * one.covered for one in policies])  # (s, q)
    first = first_courses(worlds.leaving) @ covered.T  # (b, s)
    in_training_today = worlds.deaths_per_course * (before.first + before.again)
    lives0 = (deaths_today + in_training_today)[:, None] - worlds.deaths_per_course[:, None] * first
    cost0 = np.stack([_standing_cost(worlds, one) for one in policies], axis=1)
    injuries = worlds.injuries_per_course * worlds.injury_cost
    cost0 += first * (worlds.first_cost + injuries)[:, None]
    each = worlds.refresher_cost + injuries
    lives, cost = (np.empty((len(policies), worlds.draws, len(years))) for _ in range(2))
    for start in range(0, worlds.draws, BLOCK):
        part = slice(start, start + BLOCK)
        leave = worlds.leaving[part, :, None]
        again = np.matmul(covered, refreshers(years, leave))  # (b, s, r)
        gained = lives0[part, :, None] - deaths_at(worlds, policies, years, today=today, part=part)
        gained -= worlds.deaths_per_course[part, None, None] * again
        lives[:, part] = gained.transpose(1, 0, 2)
        again *= each[part, None, None]
        again += cost0[part, :, None]
        cost[:, part] = again.transpose(1, 0, 2)
    return IntervalOutcomes(years, lives, cost, cost - _cost(worlds, today, before)[:, None])


@dataclass(frozen=True)
class _Settled:
    """A policy's rhythm: first courses and refreshers a year (b,)."""

    first: Floats
    again: Floats


def _at_interval(worlds: Worlds, policy: Policy) -> _Settled:
    covered = worlds.people * policy.covered
    return _Settled(
        first=first_courses(worlds.leaving) @ covered,
        again=refreshers(policy.interval, worlds.leaving) @ covered,
    )


def _cost(worlds: Worlds, policy: Policy, settled: _Settled) -> Floats:
    """Money a year (b,)."""
    injuries = (settled.first + settled.again) * worlds.injuries_per_course * worlds.injury_cost
    courses = settled.first * worlds.first_cost + settled.again * worlds.refresher_cost
    return np.asarray(_standing_cost(worlds, policy) + courses + injuries)


def _standing_cost(worlds: Worlds, policy: Policy) -> Floats:
    """Money a year whatever the number of courses (b,): the programme, where anybody is covered, and the spends."""
    cost = np.zeros(worlds.draws)
    if np.any(worlds.people * policy.covered > 0):
        cost = cost + worlds.fixed_cost
    for name in policy.spends:
        cost = cost + worlds.spends[name].cost_a_year
    return cost


def _check(worlds: Worlds, policy: Policy) -> None:
    covered = np.asarray(policy.covered)
    if covered.shape != (len(worlds.groups),):
        raise CallError("covered_shape", f"Policy '{policy.name}' must say a share for each group.")
    if not np.all((covered >= 0) & (covered <= 1)):
        raise CallError("covered_range", f"Policy '{policy.name}' covers a share outside 0 to 1.")
    for name in policy.spends:
        if name not in worlds.spends:
            raise CallError(
                "unknown_spend", f"Policy '{policy.name}' spends on '{name}', which is not given."
            )
