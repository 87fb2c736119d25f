"""Can the school keep up: month by month, how many fall due for a course, how many get one, how many wait?

People of each group leave at their rate and are replaced by newcomers, who wait for a first course; whoever was
trained is due again after the interval. Expected numbers, so that people may be fractions; staff stays the same. First
courses go before refreshers (newcomers hold nothing), and groups share what is left in proportion to who waits.

The school starts as today's policy has left it: people spread over the months since their last course as in a settled
year. How long those overdue have waited is not known; they are spread evenly over the year past today's interval
(common practice, no source), so that a longer interval does not make all of them due in one month. Whoever is past a
policy's own interval waits from the start.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from survstats.decision.conventions import MONTHS_A_YEAR
from survstats.decision.courses import first_courses, refreshers
from survstats.decision.world import Policy

Floats = NDArray[np.float64]
Verdict = Literal["keeps_up", "catching_up", "falls_behind"]

#: Fewer people than this waiting at a month's end is no backlog.
NOBODY = 0.5
#: Those overdue now are spread over so many months past today's interval.
OVERDUE_MONTHS = 12


@dataclass(frozen=True)
class Pool:
    """What becomes of the school under one policy, month by month (t months).

    Attributes
    ----------
    start : float
        People who wait before the first month: overdue, or newly covered.
    due, trained, overdue : ndarray of shape (t,)
        People who fell due in the month, courses given in it, people who wait at its end.
    current : ndarray of shape (t,)
        People who hold a course within the interval at the month's end; with ``overdue`` all whom the policy covers.
    gone : int or None
        Month (1 is the first) from which on nobody waits any longer; 0 where nobody ever waited; None if not within t.
    verdict : {"keeps_up", "catching_up", "falls_behind"}
        ``catching_up``: some wait to the end, but fewer than capacity has to spare; ``falls_behind`` else.
    """

    start: float
    due: Floats
    trained: Floats
    overdue: Floats
    current: Floats
    gone: int | None
    verdict: Verdict


def monthly_demand(policy: Policy, people: Floats, leaving: Floats) -> float:
    """Courses a month that the policy needs in a settled year; ``people`` and ``leaving`` (a year) of shape (q,)."""
    each = first_courses(leaving) + refreshers(policy.interval, leaving)
    return float(np.sum(people * policy.covered * each)) / MONTHS_A_YEAR


def follow_pool(
    policy: Policy,
    today: Policy,
    people: Floats,
    leaving: Floats,
    *,
    capacity: float,
    overdue: float = 0.0,
    months: int = 60,
) -> Pool:
    """Month by month from today's state on.

    Parameters
    ----------
    policy, today : Policy
    people, leaving : ndarray of shape (q,)
        People of each group, and the rate a year at which they leave.
    capacity : float
        Courses a month.
    overdue : float
        People who are past today's interval now, shared among the groups as today covers them, and evenly over the
        year past it.
    months : int
        How long it is followed.
    """
    waiting, late, held = _start(policy, today, people, leaving, overdue)
    start = float(waiting.sum() + late.sum())
    stays = np.exp(-leaving / MONTHS_A_YEAR)
    lines = []
    for _ in range(months):
        due = people * policy.covered * (1.0 - stays)
        waiting, late, held = waiting * stays + due, late * stays, held * stays[:, None]
        held, expired = _grow_older(held, endless=bool(np.isinf(policy.interval)))
        late = late + expired
        first = _share(waiting, capacity)
        again = _share(late, capacity - first.sum())
        waiting, late = waiting - first, late - again
        held[:, 0] = first + again
        lines.append((due.sum() + expired.sum(), held[:, 0].sum(), waiting.sum() + late.sum(), held.sum()))
    fell_due, trained, waits, current = np.array(lines).T
    gone, verdict = _judge(policy, people, leaving, capacity, waits)
    return Pool(start, fell_due, trained, waits, current, gone, verdict)


def _start(
    policy: Policy, today: Policy, people: Floats, leaving: Floats, overdue: float
) -> tuple[Floats, Floats, Floats]:
    """Who waits for a first course and for a refresher (q,), and who is trained, by months since (q, m)."""
    held = _spread(today, leaving, _length(policy, today))
    both, before = np.minimum(policy.covered, today.covered) * people, float(today.covered @ people)
    share_late = 1.0 if overdue >= before else overdue / before
    held = held * (both * (1.0 - share_late))[:, None]
    since, cut = _whole_months(today), _whole_months(policy)
    held[:, since : since + OVERDUE_MONTHS] += (both * share_late / OVERDUE_MONTHS)[:, None]
    return (policy.covered * people - both), held[:, cut:].sum(axis=1), held[:, :cut].copy()


def _spread(today: Policy, leaving: Floats, length: int) -> Floats:
    """Share of the trained by whole months since the course in a settled year, leavers thinning it (q, length)."""
    ages = np.arange(length)
    share = np.exp(-leaving[:, None] / MONTHS_A_YEAR * ages) * (ages < _whole_months(today))
    return np.asarray(share / share.sum(axis=1, keepdims=True))


#: Where no refresher falls due people are followed for so many months after their course.
_FOLLOWED = 600


def _whole_months(policy: Policy) -> int:
    return _FOLLOWED if np.isinf(policy.interval) else max(1, round(policy.interval * MONTHS_A_YEAR))


def _length(policy: Policy, today: Policy) -> int:
    return max(_whole_months(policy), _whole_months(today) + OVERDUE_MONTHS)


def _grow_older(held: Floats, *, endless: bool) -> tuple[Floats, Floats]:
    """One month on: who is trained by months since (q, m), and who has come to the interval's end (q,)."""
    older, last = np.zeros_like(held), held[:, -1]
    older[:, 1:] = held[:, :-1]
    if endless:
        older[:, -1] += last
        last = np.zeros_like(last)
    return older, last


def _share(waiting: Floats, places: float) -> Floats:
    """Places shared out in proportion to who waits (q,), never more than wait."""
    total, left = float(waiting.sum()), max(0.0, places)
    return waiting if left >= total else waiting * (left / total)


def _judge(
    policy: Policy, people: Floats, leaving: Floats, capacity: float, overdue: Floats
) -> tuple[int | None, Verdict]:
    """When nobody waits any longer, and what that makes of the school."""
    behind = np.flatnonzero(overdue >= NOBODY)
    if len(behind) == 0:
        return 0, "keeps_up"
    if behind[-1] + 1 < len(overdue):
        return int(behind[-1]) + 2, "keeps_up"
    spare = capacity - monthly_demand(policy, people, leaving)
    return None, "catching_up" if spare > 0 and overdue[-1] < overdue.max() else "falls_behind"
