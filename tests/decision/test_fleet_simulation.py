"""Does the engine say what a fleet comes to that is lived through person by person over 30 years?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from fleet_simulation import Fleet, Group, lived

from survstats.decision.outcome import outcome
from survstats.decision.world import Policy, Spend, Worlds

CREW = Group(
    posts=40,
    at_risk=2.0,
    untrained=(0.55, 0.6),
    gain=(0.2, 0.25),
    leaving=0.1,
    covered_today=0.9,
    covered=1.0,
)
PASSENGERS = Group(
    posts=60,
    at_risk=4.0,
    untrained=(0.45, 0.5),
    gain=(0.25, 0.3),
    leaving=0.25,
    covered_today=0.4,
    covered=0.7,
)
ORDINARY = Fleet(
    groups=(CREW, PASSENGERS),
    mishaps_a_year=100,
    half_life=2,
    interval_today=4,
    interval=1,
    deaths_per_course=0.02,
    false_confidence=0.01,
    injuries_per_course=0.1,
)
STAYING = replace(
    ORDINARY, groups=tuple(replace(one, leaving=0.0) for one in ORDINARY.groups), interval_today=8
)
SETTINGS = {
    "ordinary": ORDINARY,
    "nobody leaves": STAYING,
    "no refresher": replace(
        ORDINARY, groups=(CREW, replace(PASSENGERS, covered=0.2)), interval=np.inf, interval_today=1
    ),
    "a cut, with harm in training": replace(
        ORDINARY,
        groups=(replace(CREW, covered=0.2), replace(PASSENGERS, covered=0.0)),
        interval_today=1,
        interval=2,
        deaths_per_course=0.1,
    ),
    "a rival spend instead of training": replace(
        ORDINARY,
        groups=(replace(CREW, covered=0.5), replace(PASSENGERS, covered=0.2)),
        averts=0.3,
        overlap=0.6,
        spends=True,
    ),
    "a gain drawn around none": replace(ORDINARY, deaths_per_course=0.005),
    "more gain than there is room for": replace(
        ORDINARY,
        groups=tuple(
            replace(one, posts=3 * one.posts, gain=(0.7, 0.6), covered_today=0.1, covered=0.6)
            for one in ORDINARY.groups
        ),
        half_life=1e6,
        false_confidence=0.0,
    ),
    "an assumed gain": replace(
        ORDINARY,
        groups=tuple(replace(one, gain=(0.14, 0.14)) for one in ORDINARY.groups),
        false_confidence=0.0,
    ),
}
FIELDS = ("lives", "deaths", "first_courses", "refreshers", "training_deaths", "cost", "extra_cost")


def drawn(name: str, count: int, luck: np.random.Generator) -> list[Fleet]:
    """The fleets of a setting: the same each time, but for the gain where the verdict cannot tell."""
    fleet = SETTINGS[name]
    if name != "a gain drawn around none":
        return [fleet] * count
    fleets = []
    for gain in np.clip(luck.normal(0, 0.15, count), -0.35, 0.35):
        groups = tuple(replace(one, gain=(gain, gain)) for one in fleet.groups)
        fleets.append(replace(fleet, groups=groups))
    return fleets


def told(fleets: list[Fleet]) -> tuple[Worlds, Policy, Policy]:
    """The same fleets as worlds and policies of the engine."""
    first = fleets[0]
    groups = first.groups

    def every(value: float) -> np.ndarray:
        return np.full(len(fleets), value)

    worlds = Worlds(
        groups=tuple(str(k) for k in range(len(groups))),
        people=np.array([float(one.posts) for one in groups]),
        mishaps_a_year=every(first.mishaps_a_year),
        at_risk=np.array([[one.at_risk for one in fleet.groups] for fleet in fleets]),
        survival_untrained=np.array([[one.untrained for one in fleet.groups] for fleet in fleets]),
        gain=np.array([[one.gain for one in fleet.groups] for fleet in fleets]),
        fading=every(np.log(2) / first.half_life),
        leaving=np.array([[one.leaving for one in fleet.groups] for fleet in fleets]),
        first_cost=every(first.costs[0]),
        refresher_cost=every(first.costs[1]),
        fixed_cost=every(first.fixed),
        deaths_per_course=every(first.deaths_per_course),
        injuries_per_course=every(first.injuries_per_course),
        injury_cost=every(first.costs[2]),
        false_confidence=every(first.false_confidence),
        spends={"rival": Spend(every(first.spend_cost), every(first.averts), every(first.overlap))},
    )
    new = np.array([one.covered for one in groups])
    old = np.array([one.covered_today for one in groups])
    return (
        worlds,
        Policy("new", first.interval, new, ("rival",) if first.spends else ()),
        Policy("today", first.interval_today, old, ("rival",) if first.spends_today else ()),
    )


def held_together(
    name: str, count: int, *, mishaps_a_year: float = 100
) -> dict[str, tuple[float, float, float]]:
    """For each figure: simulated less told, its Monte Carlo error, and the size of what is told."""
    luck = np.random.default_rng([7, list(SETTINGS).index(name)])
    fleets = [replace(one, mishaps_a_year=mishaps_a_year) for one in drawn(name, count, luck)]
    years = [lived(fleet, luck) for fleet in fleets]
    worlds, policy, today = told(fleets)
    found = outcome(worlds, policy, today=today)
    compared = {}
    for field in FIELDS:
        own = np.broadcast_to(getattr(found, field), count)
        gap = np.array([year[field] for year in years]) - own
        compared[field] = (
            float(gap.mean()),
            float(gap.std(ddof=1) / np.sqrt(count)),
            float(np.abs(own).mean()),
        )
    return compared


@pytest.mark.parametrize("name", SETTINGS)
def test_a_few_fleets_agree_with_the_engine(name):
    for field, (gap, error, _) in held_together(name, 10, mishaps_a_year=20).items():
        assert abs(gap) <= 4.5 * error + 1e-9, field  # a t with nine degrees of freedom


@pytest.mark.slow
@pytest.mark.parametrize("name", SETTINGS)
def test_many_fleets_agree_and_would_show_an_error_of_three_in_a_hundred(name):
    compared = held_together(name, 56)
    for field, (gap, error, _) in compared.items():
        assert abs(gap) <= 3.5 * error + 1e-9, field
    for field in ("lives", "deaths", "cost"):
        _, error, size = compared[field]
        assert 3 * error < 0.03 * size, field
