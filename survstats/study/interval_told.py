"""How often the course should be repeated, by id: lives, money and worth at each interval, and where it is flat."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from survstats.decision.conventions import LEVEL, LIMITS, MONTHS_A_YEAR
from survstats.decision.interval_choice import IntervalChoice, choose_interval, steps
from survstats.decision.outcome import outcomes_by_interval
from survstats.decision.refresher import NEVER
from survstats.decision.world import Policy, Worlds
from survstats.study.decision_plan import DecisionPlan
from survstats.study.results import Cell, Number
from survstats.study.results_builder import ResultsBuilder

Floats = NDArray[np.float64]

WORTH_IDS = (
    *("interval.best_months", "interval.flat_from", "interval.flat_to", "interval.best_worth"),
    *("interval.today_regret", "interval.best_of_worlds", "interval.bound_by_longest"),
)
IDS = (*WORTH_IDS, "interval.points", "interval", "interval_steps")
#: Months between courses that are looked at: each up to four years, every third up to ten.
LOOKED_AT = (*range(3, 49), *range(51, 121, 3))
_STEPS = (6, 12, 18, 24, 36, 48, 60)


def store_interval(
    out: ResultsBuilder,
    plan: DecisionPlan,
    worlds: Worlds,
    policies: Sequence[Policy],
    form: str,
    *,
    points: float | None = None,
    rests_on: Sequence[str] = (),
) -> None:
    """Lives, money and worth of today's policy had it another interval, and which interval is worth most.

    ``interval.finding`` says where the best lies: ``inside``, ``at_longest`` (law or contract), ``at_shortest`` or
    ``at_end`` of those looked at, ``none`` (no refresher is worth its money); ``no_value`` where no value of a life is
    given, ``would_have_to`` where the gain is assumed (``interval.shape`` says where the best lies then).

    Parameters
    ----------
    out : ResultsBuilder
    plan : DecisionPlan
    worlds : Worlds
        Where the gain is assumed: with the assumed gain.
    policies : sequence of Policy
        In the order of the study file.
    form : str
        The form of the budget.
    points : float, optional
        The assumed difference, a share.
    rests_on : sequence of str
        Counts that lives rest on.
    """
    today = today_of(plan, policies)
    base = next((one for one in (today, *policies) if np.any(one.covered > 0)), None)
    if base is None:
        out.leave_out("nobody_covered", *IDS)
        return
    out.codes["interval.policy"] = str(list(policies).index(base))
    months = _months(plan, policies)
    found = outcomes_by_interval(worlds, [base], np.append(months, NEVER) / MONTHS_A_YEAR, today=today)
    lives, cost = found.lives[0], found.cost[0]
    allowed = np.append(months, NEVER) <= (NEVER if plan.longest_months is None else plan.longest_months)
    value = plan.inputs.value_of_life
    choice = None if value is None else choose_interval(lives, cost, value.value, allowed)
    own = {*_of_policies(policies), plan.longest_months}
    _store_table(out, months, lives, cost, allowed, choice, points, rests_on, own=own)
    _store_steps(out, _steps_between(plan, policies), months, lives, cost, points, rests_on)
    store_points(out, "interval.points", points)
    if choice is None:
        out.codes["interval.finding"] = "no_value"
        out.leave_out("no_value_of_life", *WORTH_IDS)
    else:
        place = _place(choice, months, plan)
        out.codes["interval.finding"] = "would_have_to" if form == "would_have_to" else place
        out.codes["interval.shape"] = place
        now = float(np.round(base.interval * MONTHS_A_YEAR, 6)) if base is today else None
        _store_choice(out, choice, months, now, rests_on)
        out.count("interval.bound_by_longest", int(choice.unbound > choice.best))


def today_of(plan: DecisionPlan, policies: Sequence[Policy]) -> Policy:
    """The policy of today."""
    return next(one for one in policies if one.name == plan.today)


def store_points(out: ResultsBuilder, name: str, points: float | None) -> None:
    """Store the assumed difference, or that none was."""
    if points is None:
        out.leave_out("not_assumed", name)
    else:
        out.figure(name, points, unit="difference", method="assumed")


def _months(plan: DecisionPlan, policies: Sequence[Policy]) -> Floats:
    """Months that are looked at: the grid, those of the policies, and the longest allowed."""
    return np.array(sorted({*map(float, LOOKED_AT), *_listed(plan, policies)}))


def _listed(plan: DecisionPlan, policies: Sequence[Policy]) -> list[float]:
    """Months between which steps are told, the longest first, none beyond what is allowed."""
    months = {*map(float, _STEPS), *_of_policies(policies)}
    if plan.longest_months is not None:
        months = {*(month for month in months if month <= plan.longest_months), float(plan.longest_months)}
    return sorted(months, reverse=True)


def _of_policies(policies: Sequence[Policy]) -> list[float]:
    """Months between courses under each policy that has refreshers."""
    return [float(np.round(one.interval * MONTHS_A_YEAR, 6)) for one in policies if np.isfinite(one.interval)]


def _steps_between(plan: DecisionPlan, policies: Sequence[Policy]) -> list[float]:
    """The same, and before them no refresher at all, where that is allowed."""
    none = [NEVER] if plan.longest_months is None else []
    return [*none, *_listed(plan, policies)]


def _place(choice: IntervalChoice, months: Floats, plan: DecisionPlan) -> str:
    """Where the best interval lies."""
    if choice.best == len(months):
        return "none"
    if plan.longest_months is not None and months[choice.best] >= plan.longest_months:
        return "at_longest"
    ends = {0: "at_shortest", len(months) - 1: "at_end"}
    return ends.get(choice.best, "inside")


def _store_table(
    out: ResultsBuilder,
    months: Floats,
    lives: Floats,
    cost: Floats,
    allowed: NDArray[np.bool_],
    choice: IntervalChoice | None,
    points: float | None,
    rests_on: Sequence[str],
    *,
    own: set[float | None],
) -> None:
    """One row for each interval; the study's ``own`` are the policies', the longest allowed and the best."""
    low, high = np.quantile(lives, LIMITS, axis=0)
    mean, paid = lives.mean(axis=0), cost.mean(axis=0)
    columns = ["months", "allowed", "lives_a_year", "lives_low", "lives_high", "cost_a_year"]
    rows: list[list[Cell]] = [
        [float(month), int(allowed[at]), *(float(part[at]) for part in (mean, low, high, paid))]
        for at, month in enumerate(months)
    ]
    parts = ("worth", "worth_low", "worth_high", "regret", "chance_best")
    for at, row in enumerate(rows):
        told = [None] * len(parts) if choice is None else [getattr(choice, part)[at] for part in parts]
        row += [None if one is None or np.isnan(one) else float(one) for one in told]
        best = choice is not None and choice.best == at
        row += [points, "yes" if best or months[at] in own else "no"]
    out.table("interval", (*columns, *parts, "points", "own"), rows, rests_on=rests_on)


def _store_steps(
    out: ResultsBuilder,
    listed: list[float],
    months: Floats,
    lives: Floats,
    cost: Floats,
    points: float | None,
    rests_on: Sequence[str],
) -> None:
    """What each step to a shorter interval adds (``from_months`` empty: from no refresher at all)."""
    at = np.searchsorted(months, listed)
    told = steps(lives.mean(axis=0)[at], cost.mean(axis=0)[at])
    rows = [
        (
            *(_finite(before), month, one.lives, one.cost, one.cost_per_life),
            *(one.best_from, _finite(one.best_to), points),
        )
        for (before, month), one in zip(pairwise(listed), told, strict=True)
    ]
    columns = ("from_months", "to_months", "lives_more", "cost_more", "cost_per_life", "best_from", "best_to")
    out.table("interval_steps", (*columns, "points"), rows, rests_on=rests_on)


def _finite(value: float | None) -> float | None:
    return None if value is None or np.isinf(value) else value


def _store_choice(
    out: ResultsBuilder, choice: IntervalChoice, months: Floats, now: float | None, rests_on: Sequence[str]
) -> None:
    """The best interval, how flat it is around it, and what today's loses against it; ``now`` is today's, in months."""
    pays = choice.best < len(months) and choice.worth[choice.best] > 0
    out.codes["interval.pays"] = "yes" if pays else "no"
    ends = np.append(months, NEVER)
    if choice.best < len(months):
        out.figure(
            "interval.best_months", months[choice.best], unit="months", method="worth", rests_on=rests_on
        )
    else:
        out.leave_out("no_refresher_pays", "interval.best_months")
    if pays:
        for name, at in zip(("flat_from", "flat_to"), choice.flat, strict=True):
            out.figure(f"interval.{name}", ends[at], unit="months", method="worth", rests_on=rests_on)
    else:
        out.leave_out("no_refresher_pays", "interval.flat_from", "interval.flat_to")
    money = [("best_worth", choice.worth[choice.best])]
    if now is None:
        out.leave_out("nobody_today", "interval.today_regret")
    else:
        money.append(("today_regret", choice.regret[int(np.searchsorted(ends, now))]))
    for name, amount in money:
        if np.isnan(amount):
            out.leave_out("not_allowed", f"interval.{name}")
        else:
            out.figure(f"interval.{name}", amount, unit="money_a_year", method="worth", rests_on=rests_on)
    low, middle, high = np.quantile(choice.of_worlds, (LIMITS[0], 0.5, LIMITS[1]), method="nearest")
    spread = Number(float(ends[middle]), "months", "draws", float(ends[low]), float(ends[high]), LEVEL)
    out.number("interval.best_of_worlds", spread, rests_on=rests_on)
