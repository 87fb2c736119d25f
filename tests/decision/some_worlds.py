"""Worlds and policies for the tests of the engine: plausible ones drawn, and one whose numbers are set by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from survstats.decision.world import Policy, Spend, Worlds


def some_worlds(seed: int = 0, *, draws: int = 200, groups: int = 3, harm: bool = False) -> Worlds:
    """Worlds in which all inputs vary; ``harm``: gains of either sign, and much harm in training.

    What was observed fits in; the gain on the day of the course need not.
    """
    rng = np.random.default_rng(seed)
    untrained = rng.uniform(0.1, 0.9, (draws, groups, 2))
    gain = rng.normal(0 if harm else 0.15, 0.15, (draws, groups, 2))
    fading = np.log(2) / rng.lognormal(0.7, 0.4, draws)
    return Worlds(
        groups=tuple(f"group {k}" for k in range(groups)),
        people=rng.integers(10, 200, groups).astype(float),
        mishaps_a_year=rng.gamma(3.5, 0.1, draws),
        at_risk=rng.gamma(9, 0.3, (draws, groups)),
        survival_untrained=untrained,
        gain=np.clip(gain, -untrained, 1 - untrained) / np.exp(-fading)[:, None, None],
        fading=fading,
        leaving=rng.lognormal(-2, 0.3, (draws, groups)),
        first_cost=rng.lognormal(7, 0.1, draws),
        refresher_cost=rng.lognormal(6.7, 0.1, draws),
        fixed_cost=rng.lognormal(9, 0.1, draws),
        deaths_per_course=rng.gamma(1, 1e-3 if harm else 1e-6, draws),
        injuries_per_course=rng.gamma(1, 1e-3, draws),
        injury_cost=rng.lognormal(8, 0.3, draws),
        false_confidence=rng.uniform(0, 0.1, draws),
        spends={
            name: Spend(rng.lognormal(8, 0.2, draws), rng.uniform(0, 0.5, draws), rng.uniform(0, 1, draws))
            for name in ("rafts", "suits")
        },
        recorded_months=np.array([12.0]),
    )


def plain_world(**changes) -> Worlds:
    """One world, one group of 100: .35 mishaps a year, 8 aboard of whom .86 can live, a lasting gain of .17."""
    world = Worlds(
        groups=("everybody",),
        people=np.array([100.0]),
        mishaps_a_year=np.array([3.5 / 2e5 * 2e4]),
        at_risk=np.array([[8 * 0.86]]),
        survival_untrained=np.array([[[0.6, 0.6]]]),
        gain=np.array([[[0.17, 0.17]]]),
        fading=np.zeros(1),
        leaving=np.zeros((1, 1)),
        first_cost=np.array([1000.0]),
        refresher_cost=np.array([800.0]),
        fixed_cost=np.array([5000.0]),
        deaths_per_course=np.zeros(1),
        injuries_per_course=np.zeros(1),
        injury_cost=np.zeros(1),
        false_confidence=np.zeros(1),
        spends={"rafts": Spend(np.array([700.0]), np.array([0.2]), np.array([0.25]))},
    )
    return replace(world, **{name: np.asarray(value, dtype=float) for name, value in changes.items()})


def keeps(interval: float, *covered: float, spends: tuple[str, ...] = (), name: str = "one") -> Policy:
    return Policy(name, interval, np.array(covered, dtype=float), spends)
