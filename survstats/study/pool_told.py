"""Can the school keep up, by id: courses a month that each policy needs, and who waits month by month."""

from __future__ import annotations

from collections.abc import Sequence

from survstats.decision.conventions import MONTHS_A_YEAR
from survstats.decision.training_pool import Pool, follow_pool, monthly_demand
from survstats.decision.world import Policy, Worlds
from survstats.study.decision_plan import DecisionPlan
from survstats.study.interval_told import today_of
from survstats.study.results import Cell
from survstats.study.results_builder import ResultsBuilder

IDS = ("pool.capacity", "pool.months", "pool.overdue_now", "pool")
_OF_POLICY = ("overdue_at_start", "overdue_after", "overdue_most", "backlog_gone_month")
#: Followed for the years of the decision, but no longer than these.
_MOST_YEARS = 10


def pool_ids(policies: Sequence[Policy]) -> tuple[str, ...]:
    """All ids of this part."""
    own = [f"policy.{at}.{name}" for at in range(len(policies)) for name in ("demand_a_month", *_OF_POLICY)]
    return (*IDS, *own)


def store_pool(
    out: ResultsBuilder,
    plan: DecisionPlan,
    worlds: Worlds,
    policies: Sequence[Policy],
    form: str,
    *,
    points: float | None = None,
    rests_on: Sequence[str] = (),
) -> None:
    """Who falls due, gets a course and waits under each policy; nothing of it hangs on mishaps or on the gain.

    Without the school's capacity only the need is told. People overdue now are none where the study file does not say
    (``pool.overdue`` not_given). Leaving is taken at the mean of its draws, what is given of the school at its value.

    Parameters
    ----------
    out, plan, worlds, policies, form, points, rests_on
        As in `survstats.study.interval_told.store_interval`; the last three are not used.
    """
    del form, points, rests_on
    leaving = worlds.leaving.mean(axis=0)
    for at, policy in enumerate(policies):
        need = monthly_demand(policy, worlds.people, leaving)
        out.figure(f"policy.{at}.demand_a_month", need, unit="courses_a_month", method="settled_year")
    if (places := plan.inputs.courses_a_month) is None:
        out.leave_out("not_given", *pool_ids(policies))
        return
    late = plan.inputs.overdue_now
    out.codes["pool.overdue"] = "not_given" if late is None else "given"
    overdue, months = 0.0 if late is None else late.value, round(MONTHS_A_YEAR * min(plan.years, _MOST_YEARS))
    out.figure("pool.capacity", places.value, unit="courses_a_month", method="study_file")
    out.count("pool.months", months)
    if late is not None:
        out.figure("pool.overdue_now", overdue, unit="people", method="study_file")
    else:
        out.leave_out("not_given", "pool.overdue_now")
    today = today_of(plan, policies)
    rows: list[tuple[Cell, ...]] = []
    for at, policy in enumerate(policies):
        pool = follow_pool(
            *(policy, today, worlds.people, leaving), capacity=places.value, overdue=overdue, months=months
        )
        _store_policy(out, f"policy.{at}", pool)
        lines = zip(pool.due, pool.trained, pool.overdue, strict=True)
        rows += [(month, at, policy.name, *map(float, line)) for month, line in enumerate(lines, start=1)]
    out.table("pool", ("month", "policy", "name", "due", "trained", "overdue"), rows)


def _store_policy(out: ResultsBuilder, name: str, pool: Pool) -> None:
    out.codes[f"{name}.pool"] = pool.verdict
    out.figure(f"{name}.overdue_at_start", pool.start, unit="people", method="month_by_month")
    out.figure(f"{name}.overdue_after", pool.overdue[-1], unit="people", method="month_by_month")
    out.figure(f"{name}.overdue_most", pool.overdue.max(), unit="people", method="month_by_month")
    if pool.gone is None:
        out.leave_out("backlog_stays", f"{name}.backlog_gone_month")
    else:
        out.count(f"{name}.backlog_gone_month", pool.gone)
