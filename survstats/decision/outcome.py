"""What does a policy come to in a settled year, in every plausible world: lives, money, courses?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survstats.decision.courses import first_courses, refreshers
from survstats.decision.held import retained
from survstats.decision.world import NEVER_TRAINED, TRAINED, Outcome, Policy, Worlds
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
    of the gain still held (`held.retained`), survival of people who hold training is untrained survival + gain R
    - false confidence. Rival spends avert their share of the deaths that are left, less the overlap among people
    who hold training. Lives are deaths under today's policy less deaths under this one, training deaths counted in.

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
    False confidence takes no more survival than there is: at most that of the untrained, and of the trained on the
    day of the course. A settled year: first courses are those of joiners; the year in which cover is widened is left
    out.
    """
    found, base = _accounts(worlds, (policy, today), today)
    own, before = (_at_interval(worlds, one) for one in (policy, today))
    deaths, deaths_today = found.deaths(own.held), base.deaths(before.held)
    in_training, in_training_today = (
        worlds.deaths_per_course * (one.first + one.again) for one in (own, before)
    )
    cost = found.cost(worlds, own)
    return Outcome(
        lives=(deaths_today - deaths) - (in_training - in_training_today),
        cost=cost,
        extra_cost=cost - base.cost(worlds, before),
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
    base, *found = _accounts(worlds, (today, *policies), today)
    before = _at_interval(worlds, today)
    slopes = np.stack([one.by_held for one in found], axis=1)  # (b, s, q)
    covered = np.stack([worlds.people * one.covered for one in policies])  # (s, q)
    first = first_courses(worlds.leaving) @ covered.T  # (b, s)
    fixed = np.stack([one.deaths_unheld for one in found], axis=1)
    in_training_today = worlds.deaths_per_course * (before.first + before.again)
    lives0 = (base.deaths(before.held) + in_training_today)[:, None] - fixed
    lives0 -= worlds.deaths_per_course[:, None] * first
    cost0 = np.stack([one.standing_cost for one in found], axis=1)
    injuries = worlds.injuries_per_course * worlds.injury_cost
    cost0 += first * (worlds.first_cost + injuries)[:, None]
    each = worlds.refresher_cost + injuries
    lives, cost = (np.empty((len(policies), worlds.draws, len(years))) for _ in range(2))
    for start in range(0, worlds.draws, BLOCK):
        part = slice(start, start + BLOCK)
        leave = worlds.leaving[part, :, None]
        held = retained(years, worlds.fading[part, None, None], leave)  # (b, q, r)
        again = np.matmul(covered, refreshers(years, leave))  # (b, s, r)
        gained = np.matmul(slopes[part], held)
        gained += lives0[part, :, None]
        gained -= worlds.deaths_per_course[part, None, None] * again
        lives[:, part] = gained.transpose(1, 0, 2)
        again *= each[part, None, None]
        again += cost0[part, :, None]
        cost[:, part] = again.transpose(1, 0, 2)
    return IntervalOutcomes(years, lives, cost, cost - base.cost(worlds, before)[:, None])


@dataclass(frozen=True)
class _Settled:
    """A policy's rhythm: share held (b, q), first courses and refreshers a year (b,)."""

    held: Floats
    first: Floats
    again: Floats


@dataclass(frozen=True)
class _Account:
    """Deaths a year as a line in the share held, and what is paid whatever the number of courses.

    Deaths are ``deaths_unheld`` (b,) less ``by_held`` (b, q) times the share held, summed over groups.
    """

    deaths_unheld: Floats
    by_held: Floats
    standing_cost: Floats

    def deaths(self, held: Floats) -> Floats:
        """Deaths a year at shares held of shape (b, q)."""
        return np.asarray(self.deaths_unheld - np.einsum("bq,bq->b", self.by_held, held))

    def cost(self, worlds: Worlds, settled: _Settled) -> Floats:
        """Money a year."""
        injuries = (settled.first + settled.again) * worlds.injuries_per_course * worlds.injury_cost
        courses = settled.first * worlds.first_cost + settled.again * worlds.refresher_cost
        return np.asarray(self.standing_cost + courses + injuries)


def _at_interval(worlds: Worlds, policy: Policy) -> _Settled:
    covered = worlds.people * policy.covered
    return _Settled(
        held=retained(policy.interval, worlds.fading[:, None], worlds.leaving),
        first=first_courses(worlds.leaving) @ covered,
        again=refreshers(policy.interval, worlds.leaving) @ covered,
    )


def _accounts(worlds: Worlds, policies: Sequence[Policy], today: Policy) -> list[_Account]:
    """Each policy's account, all against the same policy of today."""
    for one in (*policies, today):
        _check(worlds, one)
    at_risk = worlds.mishaps_a_year[:, None] * worlds.at_risk
    dies = 1 - worlds.survival_untrained
    dies_sure = dies + confidence_lost(worlds)
    accounts = []
    for policy in policies:
        holding, without = _shares(policy.covered, today.covered)
        left_trained, left_untrained, spent = _rivals(worlds, policy)
        unheld = np.einsum("bq,bqt,qt->b", at_risk, dies_sure, holding) * left_trained
        unheld += np.einsum("bq,bqt,qt->b", at_risk, dies, without) * left_untrained
        by_held = np.einsum("bqt,qt->bq", worlds.gain, holding) * at_risk * left_trained[:, None]
        open_programme = bool(np.any(worlds.people * policy.covered > 0))
        accounts.append(_Account(unheld, by_held, spent + (worlds.fixed_cost if open_programme else 0.0)))
    return accounts


def _shares(covered: Floats, covered_today: Floats) -> tuple[Floats, Floats]:
    """Shares of each group who hold training and who do not, (q, 2): never trained and trained, as of today."""
    kept, added = np.minimum(covered, covered_today), np.maximum(covered - covered_today, 0)
    dropped = np.maximum(covered_today - covered, 0)
    holding, without = np.empty((2, len(covered), 2))
    holding[:, NEVER_TRAINED], holding[:, TRAINED] = added, kept
    without[:, NEVER_TRAINED], without[:, TRAINED] = 1 - kept - added - dropped, dropped
    return holding, without


def confidence_lost(worlds: Worlds) -> Floats:
    """Survival that false confidence takes from people who hold training, (b, q, 2), never more than there is."""
    least = worlds.survival_untrained + np.minimum(worlds.gain, 0)
    return np.asarray(np.minimum(worlds.false_confidence[:, None, None], np.maximum(least, 0)))


def _rivals(worlds: Worlds, policy: Policy) -> tuple[Floats, Floats, Floats]:
    """Shares of deaths that rival spends leave, among people who hold training and others, and their cost (b,)."""
    left_trained, left_untrained = np.ones(worlds.draws), np.ones(worlds.draws)
    spent = np.zeros(worlds.draws)
    for name in policy.spends:
        spend = worlds.spends[name]
        left_trained = left_trained * (1 - spend.deaths_averted * (1 - spend.overlap))
        left_untrained = left_untrained * (1 - spend.deaths_averted)
        spent = spent + spend.cost_a_year
    return left_trained, left_untrained, spent


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
