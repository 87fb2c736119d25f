"""Who should have a course first, by id: by group and kind of course, how many lives it adds and how sure that is."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from survstats.decision.whom_first import Candidates, candidates, ranking
from survstats.decision.within_capacity import Choice, choose
from survstats.decision.world import Policy, Worlds
from survstats.study.decision_plan import DecisionPlan
from survstats.study.interval_told import NO_WORLDS, store_points, today_of
from survstats.study.results import Cell
from survstats.study.results_builder import ResultsBuilder

CAPACITY_IDS = ("whom.capacity", "whom.gap", "whom.chosen_courses", "whom.chosen_gain")
IDS = (*CAPACITY_IDS, "whom.horizon_months", "whom.candidates", "whom.points", "whom_first")
_MONTHS = 12
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
    """Whom a course now would add most for, until the next one under today's policy is due.

    Those whom today's policy covers would have a refresher, the others a first course. Months since the last course
    are those of the study file, at their value (``whom.basis`` given), or what a settled year of today's policy makes
    them (settled). The capacity is a year's courses, as if all of them were free to give: joiners of that year need
    some.

    Parameters
    ----------
    out, plan, worlds, policies, form, points, rests_on
        As in `survstats.study.interval_told.store_interval`.
    """
    if form in NO_WORLDS:
        out.leave_out(form, *IDS)
        return
    today = today_of(plan, policies)
    horizon = min(today.interval, plan.years)
    found = candidates(worlds, today, months_since=_months_since(plan, worlds), horizon=horizon)
    out.figure("whom.horizon_months", horizon * _MONTHS, unit="months", method="study_file")
    out.count("whom.candidates", len(found.people))
    store_points(out, "whom.points", points)
    choice = _store_choice(out, plan, found, rests_on)
    out.table("whom_first", _COLUMNS, _rows(worlds, found, choice, points), rests_on=rests_on)
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
    out: ResultsBuilder, plan: DecisionPlan, found: Candidates, rests_on: Sequence[str]
) -> Choice | None:
    """Which of them a year's courses reach, where it is given how many there are."""
    if (places := plan.inputs.courses_a_month) is None:
        out.leave_out("not_given", *CAPACITY_IDS)
        return None
    capacity = places.value * _MONTHS
    choice = choose(found.gain.mean(axis=0), found.people, capacity)
    out.codes["whom.method"] = choice.method
    out.figure("whom.capacity", capacity, unit="courses_a_year", method="study_file")
    out.figure("whom.gap", choice.gap, unit="lives", method=choice.method, rests_on=rests_on)
    out.figure(
        "whom.chosen_courses", found.people[choice.chosen].sum(), unit="courses_a_year", method=choice.method
    )
    out.figure("whom.chosen_gain", choice.gain, unit="lives", method=choice.method, rests_on=rests_on)
    return choice


def _rows(
    worlds: Worlds, found: Candidates, choice: Choice | None, points: float | None
) -> list[tuple[Cell, ...]]:
    """One row for each candidate, the first in rank first."""
    if not len(found.people):
        return []
    order, gain = ranking(found.gain, found.people), found.gain.mean(axis=0)
    low, high = np.quantile(found.gain, (0.025, 0.975), axis=0)
    cost = found.cost.mean(axis=0)
    return [
        (
            worlds.groups[found.groups[at]],
            found.kinds[at],
            float(found.people[at]),
            float(found.people[at]),
            found.months_since[at],
            *(float(part[at]) for part in (gain, low, high, 100.0 * gain / found.people)),
            float(order.chance_first[at]),
            int(order.rank[at]),
            *(float(part[at]) for part in (order.rank_low, order.rank_high, cost)),
            None if choice is None else int(choice.chosen[at]),
            points,
        )
        for at in np.argsort(order.rank)
    ]
