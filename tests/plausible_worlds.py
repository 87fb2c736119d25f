"""Invented worlds, policies and plans for the tests of the budget: plain figures, or drawn ones."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from survstats.decision.world import Policy, Worlds
from survstats.study.decision_plan import DecisionPlan

GROUPS = ("crew", "front", "rear")
TODAY, RARER = "every second year", "every fourth year"


def one_world(**changed: Any) -> Worlds:
    """A single world with a single group of 100, half-life two years, nobody leaves; arrays where they are changed."""
    plain = Worlds(
        groups=("crew",),
        people=np.array([100.0]),
        mishaps_a_year=np.array([0.5]),
        at_risk=np.array([[4.0]]),
        survival_untrained=np.full((1, 1, 2), 0.6),
        gain=np.full((1, 1, 2), 0.2),
        fading=np.array([np.log(2) / 2]),
        leaving=np.zeros((1, 1)),
        first_cost=np.array([900.0]),
        refresher_cost=np.array([600.0]),
        fixed_cost=np.array([0.0]),
        deaths_per_course=np.zeros(1),
        injuries_per_course=np.zeros(1),
        injury_cost=np.zeros(1),
        false_confidence=np.zeros(1),
    )
    return replace(plain, **changed)


def many_worlds(draws: int = 2000, *, gain: float = 0.15, seed: int = 1) -> Worlds:
    """Worlds drawn at random: crew, passengers in front, passengers at the rear."""
    generator = np.random.default_rng(seed)
    untrained = np.clip(generator.normal(0.55, 0.05, (draws, 3, 2)), 0, 1)
    gained = generator.normal(gain, 0.06, (draws, 3, 2))
    return Worlds(
        groups=GROUPS,
        people=np.array([40.0, 200.0, 100.0]),
        mishaps_a_year=generator.gamma(3.5, 0.1, draws),
        at_risk=generator.gamma(20, 0.1, (draws, 3)),
        survival_untrained=untrained,
        gain=np.clip(gained, -untrained, 1 - untrained),
        fading=np.log(2) / generator.lognormal(np.log(2), 0.2, draws),
        leaving=generator.lognormal(np.log(0.15), 0.1, (draws, 3)),
        first_cost=generator.normal(900, 50, draws),
        refresher_cost=generator.normal(600, 50, draws),
        fixed_cost=np.full(draws, 20_000.0),
        deaths_per_course=np.full(draws, 1e-6),
        injuries_per_course=np.full(draws, 1e-3),
        injury_cost=np.full(draws, 2_000.0),
        false_confidence=np.zeros(draws),
    )


def two_policies(*covered: float) -> tuple[Policy, Policy]:
    """Today's policy and the one with twice the interval."""
    shares = np.array(covered or (1.0, 0.9, 0.0))
    return Policy(TODAY, 2.0, shares), Policy(RARER, 4.0, shares)


def given(value: float) -> dict[str, Any]:
    """A figure as the study file gives it."""
    return {"value": value, "source": "invented for this test", "quality": "invented"}


def a_plan(**changed: Any) -> DecisionPlan:
    """A decision with `two_policies` over the groups of `many_worlds`."""
    data: dict[str, Any] = {
        "question": "Every second year, or every fourth?",
        "today": TODAY,
        "years": 10,
        "money": "EUR",
        "discount_percent": [3.0, 7.0],
        "policy": [{"name": TODAY, "months": 24.0}, {"name": RARER, "months": 48.0}],
        "group": [{"name": name, "roles": ["passenger"]} for name in GROUPS],
        "inputs": {"value_of_life": given(5e6), "courses_a_month": given(20.0), "overdue_now": given(30.0)},
    }
    return DecisionPlan.model_validate(data | changed)
