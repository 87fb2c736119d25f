"""Who should have a course first, by id: by group and kind of course, how many lives it adds and how sure that is."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from survstats.decision.conventions import LIMITS, MONTHS_A_YEAR
from survstats.decision.courses import first_courses
from survstats.decision.whom_first import Candidates, candidates, ranking
from survstats.decision.within_capacity import Choice, choose
from survstats.decision.world import Policy, Worlds
from survstats.study.decision_plan import DecisionPlan
from survstats.study.interval_told import store_points, today_of
from survstats.study.results import Cell
from survstats.study.results_builder import ResultsBuilder

CAPACITY_IDS = ("whom.joiners", "whom.capacity", "whom.gap", "whom.chosen_gain")
IDS = (*CAPACITY_IDS, "whom.horizon_months", "whom.points", "whom_first")
_COLUMNS = (
    *(
        "group",
        "course",
        "people",
        "courses",
        "months_since",
        "gain_lives",
        "low",
        "high",
        "gain_per_hundred",
    ),
    *("chance_first", "rank", "rank_low", "rank_high", "cost", "chosen", "points"),
)


def store_whom(
    out: ResultsBuilder,
    plan: DecisionPlan,
    worlds: Worlds,
    policies: Sequence[Policy],
    form: str,
    *,
    points: float | None = None,
    rests_on: Sequence[str] = (),
) -> None:
    """Whom a course now would add most for, over as long as today's policy has between two courses.

    Those whom today's policy covers would have a refresher, the others a first course; gains are against no other
    course in that time. Months since the last course are those of the study file, at their value (``whom.basis``
    given), or what a settled year of today's policy makes them (settled). The capacity is a year's courses without the
    first courses of joiners (``whom.joiners``, at the mean of the drawn rates). Where the effect is assumed all worlds
    share it, so that neither a chance of being first nor a plan is stored.

    Parameters
    ----------
    out, plan, worlds, policies, form, points, rests_on
        As in `survstats.study.interval_told.store_interval`.
    """
    today = today_of(plan, policies)
    horizon = min(today.interval, plan.years)
    found = candidates(worlds, today, months_since=_months_since(plan, worlds), horizon=horizon)
    out.figure("whom.horizon_months", horizon * MONTHS_A_YEAR, unit="months", method="study_file")
    store_points(out, "whom.points", points)
    choice, assumed = None, form == "would_have_to"
    if assumed:
        out.leave_out("cannot_tell", *CAPACITY_IDS)
    else:
        choice = _store_choice(out, plan, worlds, today, found, rests_on)
    rows = _rows(worlds, found, choice, points, is_assumed=assumed)
    out.table("whom_first", _COLUMNS, rows, rests_on=rests_on)
    held = {
        since is not None
        for since, kind in zip(found.months_since, found.kinds, strict=True)
        if kind != "first"
    }
    out.codes["whom.basis"] = "both" if len(held) == 2 else "given" if True in held else "settled"


def _months_since(plan: DecisionPlan, worlds: Worlds) -> tuple[float | None, ...]:
    """Months since the last course that the study file gives, in the order of the worlds' groups."""
    given = {group.name: group.months_since for group in plan.group}
    return tuple(None if (since := given[name]) is None else since.value for name in worlds.groups)


def _store_choice(
    out: ResultsBuilder,
    plan: DecisionPlan,
    worlds: Worlds,
    today: Policy,
    found: Candidates,
    rests_on: Sequence[str],
) -> Choice | None:
    """Which of them the courses reach that a year's joiners leave, where it is given how many there are."""
    if (places := plan.inputs.courses_a_month) is None:
        out.leave_out("not_given", *CAPACITY_IDS)
        return None
    held = places.value * MONTHS_A_YEAR
    joiners = min(held, float(worlds.people * today.covered @ first_courses(worlds.leaving.mean(axis=0))))
    capacity = held - joiners
    choice = choose(found.gain.mean(axis=0), found.people, capacity)
    out.codes["whom.method"] = choice.method
    out.figure("whom.joiners", joiners, unit="courses_a_year", method="settled_year")
    out.figure("whom.capacity", capacity, unit="courses_a_year", method="settled_year")
    out.figure("whom.gap", choice.gap, unit="lives", method=choice.method, rests_on=rests_on)
    out.figure("whom.chosen_gain", choice.gain, unit="lives", method=choice.method, rests_on=rests_on)
    return choice


def _rows(
    worlds: Worlds, found: Candidates, choice: Choice | None, points: float | None, *, is_assumed: bool
) -> list[tuple[Cell, ...]]:
    """One row for each candidate, the first in rank first; how sure its place is only where the effect is drawn."""
    if not len(found.people):
        return []
    order, gain = ranking(found.gain, found.people), found.gain.mean(axis=0)
    low, high = np.quantile(found.gain, LIMITS, axis=0)
    cost = found.cost.mean(axis=0)
    return [
        (
            worlds.groups[found.groups[at]],
            found.kinds[at],
            float(found.people[at]),
            float(found.people[at]),
            found.months_since[at],
            *(float(part[at]) for part in (gain, low, high, 100.0 * gain / found.people)),
            None if is_assumed else float(order.chance_first[at]),
            int(order.rank[at]),
            *(None if is_assumed else float(part[at]) for part in (order.rank_low, order.rank_high)),
            float(cost[at]),
            None if choice is None else int(choice.chosen[at]),
            points,
        )
        for at in np.argsort(order.rank)
    ]
