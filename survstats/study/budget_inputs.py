"""What is given for the decision, by id: the question, the policies, every figure with its source, and the exposure."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from survstats.decision.conventions import LEVEL, LIMITS, MONTHS_A_YEAR
from survstats.decision.draw_worlds import DecisionInputs, GroupInputs, SpendInputs
from survstats.decision.exposure import MishapRate, chance_of_none, none_in, rate_limits, years_between
from survstats.decision.given import Given
from survstats.decision.world import Policy
from survstats.study.decision_figures import bounds_table
from survstats.study.decision_plan import NEEDED, DecisionPlan, InputPlan
from survstats.study.results import Cell, Number
from survstats.study.results_builder import ResultsBuilder

Floats = NDArray[np.float64]

_YEARS_AHEAD = 10
#: What each figure is counted in; sums of money are not named.
UNITS = {
    "mishaps": "count",
    "hours_a_year": "hours",
    "programme_cost_a_year": "money_a_year",
    "cost_a_year": "money_a_year",
    "half_life_months": "months",
    "months_since": "months",
    "deaths_per_course": "per_course",
    "injuries_per_course": "per_course",
    "leavers_a_year": "rate_a_year",
    "people": "count",
    "courses_a_month": "courses_a_month",
    "overdue_now": "count",
    "false_confidence": "share",
    "deaths_averted": "share",
    "overlap": "share",
}
EXPOSURE_IDS = (
    "exposure.mishaps_a_year",
    "exposure.years_between",
    "exposure.none_in_a_year",
    "exposure.none_in_ten_years",
)


def store_given(out: ResultsBuilder, plan: DecisionPlan) -> None:
    """Question, policies and groups in the words of the study file, and every figure with its source and quality.

    Places of policies, groups and spends are counted from 0. The table ``budget_inputs`` holds one line a figure,
    ``budget_bounds`` within which limits each may be changed.
    """
    out.texts["decision.question"], out.texts["decision.money"] = plan.question, plan.money
    out.texts["decision.today"] = plan.today
    out.figure("decision.years", plan.years, unit="years", method="study_file")
    out.figure("decision.draws", plan.draws, unit="count", method="study_file")
    for at, rate in enumerate(plan.discount_percent):
        out.figure(f"decision.rate.{at}", rate / 100, unit="share", method="study_file")
    if plan.longest_months is not None:
        out.figure("decision.longest_months", plan.longest_months, unit="months", method="study_file")
        out.texts["decision.longest_source"] = plan.longest_source or ""
    _store_policies(out, plan)
    for at, group in enumerate(plan.group):
        out.texts[f"group.{at}.name"] = group.name
        out.lists[f"group.{at}.roles"], out.lists[f"group.{at}.classes"] = list(group.roles), group.classes
        out.texts[f"group.{at}.zone"] = group.zone or ""
    for at, spend in enumerate(plan.spend):
        out.texts[f"spend.{at}.name"] = spend.name
    _store_figures(out, plan)
    out.table("budget_bounds", *bounds_table())
    out.lists["budget.missing"] = list(plan.missing)


def _store_policies(out: ResultsBuilder, plan: DecisionPlan) -> None:
    for at, policy in enumerate(plan.policy):
        out.texts[f"policy.{at}.name"], out.texts[f"policy.{at}.cuts"] = policy.name, policy.cuts
        out.lists[f"policy.{at}.spends"] = list(policy.spends)
        out.codes[f"policy.{at}.today"] = "yes" if policy.name == plan.today else "no"
        if policy.months is not None:
            out.figure(f"policy.{at}.months", policy.months, unit="months", method="study_file")
        for place, group in enumerate(plan.group):
            share = policy.trained.get(group.name, 0.0)
            out.figure(f"policy.{at}.covered.{place}", share, unit="share", method="study_file")


def _store_figures(out: ResultsBuilder, plan: DecisionPlan) -> None:
    lines: list[tuple[Cell, ...]] = []
    if (counted := plan.inputs.mishaps) is not None:
        out.figure("input.mishaps", counted.value, unit="count", method="study_file")
        out.figure("exposure.mishaps", counted.value, unit="count", method="study_file")
        out.figure("exposure.hours", counted.hours, unit="hours", method="study_file")
        _say_where(out, "mishaps", counted.source, counted.quality, "counted")
        lines.append(
            ("mishaps", counted.value, None, None, "counted", "count", counted.quality, counted.source)
        )
    for name, _, figure in plan.given():
        unit = UNITS.get(name.split(".")[0], "money")
        out.number(f"input.{name}", _number(figure, unit))
        _say_where(out, name, figure.source, figure.quality, figure.shape)
        limits = (figure.low, figure.high)
        lines.append((name, figure.value, *limits, figure.shape, unit, figure.quality, figure.source))
    out.table("budget_inputs", ("name", "value", "low", "high", "shape", "unit", "quality", "source"), lines)


def _say_where(out: ResultsBuilder, name: str, source: str, quality: str, shape: str) -> None:
    out.texts[f"input.{name}.source"] = source
    out.codes[f"input.{name}.quality"], out.codes[f"input.{name}.shape"] = quality, shape


def _number(figure: InputPlan, unit: str) -> Number:
    level = None if figure.low is None else 1.0 if figure.shape == "uniform" else LEVEL
    return Number(figure.value, unit, "study_file", figure.low, figure.high, level)


def policies(plan: DecisionPlan) -> tuple[Policy, ...]:
    """The policies as the engine has them, in the order of the study file."""
    return tuple(
        Policy(
            one.name,
            math.inf if one.months is None else one.months / MONTHS_A_YEAR,
            np.array([one.trained.get(group.name, 0.0) for group in plan.group]),
            tuple(one.spends),
        )
        for one in plan.policy
    )


def decision_inputs(plan: DecisionPlan) -> DecisionInputs:
    """Every figure that worlds are drawn from; only where none is missing."""

    def given(name: str, figure: InputPlan | None) -> Given:
        assert figure is not None  # noqa: S101  (`DecisionPlan.missing` is empty)
        return Given(name, figure.value, figure.low, figure.high, figure.shape)

    counted, sure = plan.inputs.mishaps, plan.inputs.false_confidence
    assert counted is not None  # noqa: S101
    return DecisionInputs(
        rate=MishapRate(counted.value, counted.hours),
        groups=tuple(
            GroupInputs(one.name, given("people", one.people), given("leavers_a_year", one.leavers_a_year))
            for one in plan.group
        ),
        spends=tuple(
            SpendInputs(
                one.name,
                given("cost_a_year", one.cost_a_year),
                given("deaths_averted", one.deaths_averted),
                given("overlap", one.overlap),
            )
            for one in plan.spend
        ),
        false_confidence=None if sure is None else given("false_confidence", sure),
        **{name: given(name, getattr(plan.inputs, name)) for name in NEEDED if name != "mishaps"},
    )


def store_exposure(out: ResultsBuilder, plan: DecisionPlan, mishaps_a_year: Floats) -> None:
    """How many mishaps a year are to be expected, how far apart they lie, and the chance of none in one and ten years.

    Parameters
    ----------
    out : ResultsBuilder
    plan : DecisionPlan
    mishaps_a_year : ndarray of shape (b,)
        Plausible yearly numbers, the hours of a year with their own spread.
    """
    counted = plan.inputs.mishaps
    assert counted is not None  # noqa: S101
    rate = MishapRate(counted.value, counted.hours)
    low, high = rate_limits(rate)
    out.number("exposure.rate", Number(rate.mean, "per_hour", "gamma_jeffreys", low, high, LEVEL))
    out.number("exposure.mishaps_a_year", over_worlds(mishaps_a_year, "per_year"))
    expected = float(mishaps_a_year.mean())
    out.figure("exposure.years_between", years_between(expected), unit="years", method="plausible_worlds")
    none = none_in(mishaps_a_year, _YEARS_AHEAD)
    out.figure("exposure.none_in_ten_years", none, unit="share", method="plausible_worlds")
    hours = plan.inputs.hours_a_year
    if hours is not None:
        in_a_year = chance_of_none(rate, hours.value)
        out.figure("exposure.none_in_a_year", in_a_year, unit="share", method="gamma_jeffreys")


def over_worlds(values: Floats, unit: str, *, method: str = "plausible_worlds") -> Number:
    """Mean over plausible worlds, and the limits that hold 95 % of them."""
    low, high = np.quantile(values, LIMITS)
    return Number(float(values.mean()), unit, method, float(low), float(high), LEVEL)
