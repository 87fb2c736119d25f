"""What does each policy come to, by id: money, lives, what a life is bought for, and what would have to be true?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survstats.decision.conventions import LEVEL
from survstats.decision.outcome import against_none, outcome
from survstats.decision.world import Outcome, Policy, Worlds
from survstats.decision.worth import (
    CostPerLife,
    cost_per_life,
    discount_factor,
)
from survstats.study.budget_inputs import over_worlds
from survstats.study.results import Cell, Number
from survstats.study.results_builder import ResultsBuilder

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Told:
    """The worlds a decision is told by, and its policies.

    Attributes
    ----------
    worlds : Worlds
        As the records carry them, or with an assumed difference.
    policies : tuple of Policy
        In the order of the study file.
    today : int
        The place of today's.
    value : float or None
        What a life is worth to those who decide, where they say so.
    rests_on : tuple of str
        The counts of people that lives rest on.
    """

    worlds: Worlds
    policies: tuple[Policy, ...]
    today: int
    value: float | None
    rests_on: tuple[str, ...]

    def outcomes(self, worlds: Worlds | None = None) -> tuple[Outcome, ...]:
        """What each policy comes to against today's."""
        now = self.policies[self.today]
        return tuple(outcome(worlds or self.worlds, one, today=now) for one in self.policies)

    @property
    def others(self) -> tuple[int, ...]:
        """The places of all policies but today's."""
        return tuple(at for at in range(len(self.policies)) if at != self.today)


def store_money(
    out: ResultsBuilder, told: Told, found: Sequence[Outcome], rates: Sequence[float], years: int
) -> None:
    """Money, courses and deaths in training of each policy: nothing here rests on the records.

    Parameters
    ----------
    out : ResultsBuilder
    told : Told
    found : sequence of Outcome
    rates : sequence of float
        Discount a year, as shares.
    years : int
        How far the discounted sums reach.
    """
    for at, one in enumerate(found):
        for name, values, unit in (
            ("cost_a_year", one.cost, "money"),
            ("courses_a_year", one.first_courses + one.refreshers, "courses"),
            ("first_courses_a_year", one.first_courses, "courses"),
            ("refreshers_a_year", one.refreshers, "courses"),
            ("training_deaths_a_year", one.training_deaths, "lives"),
        ):
            out.number(f"policy.{at}.{name}", over_worlds(values, unit, method="given_figures"))
        if at == told.today:
            continue
        out.number(
            f"policy.{at}.extra_cost_a_year", over_worlds(one.extra_cost, "money", method="given_figures")
        )
        for place, rate in enumerate(rates):
            total = one.extra_cost * discount_factor(rate, years)
            out.number(
                f"policy.{at}.cost_discounted.{place}", over_worlds(total, "money", method="given_figures")
            )


def store_lives(
    out: ResultsBuilder, told: Told, found: Sequence[Outcome], rates: Sequence[float], years: int
) -> None:
    """Lives of each policy against today's, what a life is bought for, and today's policy against no training.

    Parameters as `store_money`. Lives a year from now are discounted like money.
    """
    for at in told.others:
        one, name = found[at], f"policy.{at}"
        out.number(f"{name}.lives_a_year", over_worlds(one.lives, "lives"), rests_on=told.rests_on)
        fewer = float(np.mean(one.lives < 0))
        store_figure(out, told, f"{name}.chance_lives_lost", fewer, "share")
        for place, rate in enumerate(rates):
            total = one.lives * discount_factor(rate, years)
            out.number(
                f"{name}.lives_discounted.{place}", over_worlds(total, "lives"), rests_on=told.rests_on
            )
        _store_price(out, told, name, cost_per_life(one.extra_cost, one.lives))
    now = found[told.today]
    out.number("budget.deaths_a_year", over_worlds(now.deaths, "lives"), rests_on=told.rests_on)
    whole = against_none(told.worlds, told.policies[told.today])
    out.number("budget.lives_per_year", over_worlds(whole.lives, "lives"), rests_on=told.rests_on)
    store_figure(out, told, "budget.chance_lives_lost", float(np.mean(whole.lives < 0)), "share")
    _store_price(out, told, "budget", cost_per_life(whole.extra_cost, whole.lives), bought="cost_per_life")
    if (expected := float(whole.lives.mean())) > 0:
        store_figure(out, told, "budget.years_per_life", 1 / expected, "years")
    else:
        out.leave_out("no_lives", "budget.years_per_life")


def _store_price(out: ResultsBuilder, told: Told, name: str, price: CostPerLife, *, bought: str = "") -> None:
    """Money for a life, or freed for each life given up; the code ``trade`` says which, or that there is neither."""
    out.codes[f"{name}.trade"] = price.form
    stored = {"bought": "cost_per_life", "freed": "freed_per_life"}.get(price.form)
    for one in ("cost_per_life", "freed_per_life"):
        if one == stored and price.value is not None:
            out.number(f"{name}.{one}", _price(price), rests_on=told.rests_on)
        elif one == stored or one == "cost_per_life" or not bought:
            out.leave_out("no_ratio", f"{name}.{one}")


def _price(price: CostPerLife) -> Number:
    low = -math.inf if price.low is None else price.low
    high = math.inf if price.high is None else price.high
    return Number(price.value or 0.0, "money", "ratio_of_expectations", low, high, LEVEL)


def store_would_have_to(
    out: ResultsBuilder, told: Told, assumed: Sequence[tuple[float, Worlds]], *, own: float | None = None
) -> None:
    """What each policy would come to, had the records shown so large a difference: the table ``budget_if``.

    The row of today's policy holds it against nobody trained.

    Parameters
    ----------
    out : ResultsBuilder
    told : Told
    assumed : sequence of (float, Worlds)
        The difference as a share, and the worlds with it.
    own : float, optional
        The difference among them that is the records' own estimate: ``points_from`` is ``estimate`` in its rows.
    """
    lines: list[tuple[Cell, ...]] = []
    by_points = [(points, worlds, told.outcomes(worlds)) for points, worlds in assumed]
    for at in range(len(told.policies)):
        for points, worlds, found in by_points:
            one = found[at] if at != told.today else against_none(worlds, told.policies[at])
            lives = over_worlds(one.lives, "lives")
            price = cost_per_life(one.extra_cost, one.lives)
            limits = (price.low, price.high)
            lines.append(
                (
                    *(at, told.policies[at].name, points, lives.value, lives.low, lives.high),
                    *(price.value, price.form, *limits, float(np.mean(one.lives < 0))),
                    "estimate" if points == own else "multiple",
                )
            )
    columns = ("policy", "name", "points", "lives_a_year", "lives_low", "lives_high", "cost_per_life", "form")
    more = ("cost_low", "cost_high", "chance_lives_lost", "points_from")
    out.table("budget_if", (*columns, *more), lines, rests_on=told.rests_on)


def store_figure(out: ResultsBuilder, told: Told, name: str, value: float, unit: str) -> None:
    """Store a number made of the worlds that has no interval of its own."""
    out.figure(name, value, unit=unit, method="plausible_worlds", rests_on=told.rests_on)
