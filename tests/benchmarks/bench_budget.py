"""Six policies at seventy intervals in 20,000 worlds: results compared with plain loops first, then the time.

    env -u OPENBLAS_CORETYPE -u OPENBLAS_L2_SIZE OPENBLAS_NUM_THREADS=1 python tests/benchmarks/bench_budget.py

Compared are `outcomes_by_interval`, a loop over intervals and policies that calls `outcome` each time, and, for a few
worlds, a plain loop over worlds and groups written here.  Printed: processor seconds, medians of several calls, the
pair in turn, and the most memory held.  Then what the budget case makes of it: acceptability and worth of certainty
over forty values of life, swings of five policies.  Exit code 1 if results differ; the last lines say which bars are
met.
"""

from __future__ import annotations

import math
import sys
import tracemalloc
from dataclasses import replace

import numpy as np
from timing import judge, timed, timed_in_turn

from survstats.decision.outcome import IntervalOutcomes, outcome, outcomes_by_interval
from survstats.decision.swings import swings
from survstats.decision.world import NEVER_TRAINED, TRAINED, Policy, Spend, Worlds
from survstats.decision.worth import acceptability, net_benefit, perfect_information

DRAWS, GROUPS, POLICIES, FEW = 20_000, 4, 6, 5
INTERVALS = np.linspace(3, 120, 70) / 12
VALUES = np.linspace(0, 2e7, 40)
SECONDS_BAR, MEGABYTES_BAR = 2.0, 500


def worlds_of(draws: int) -> Worlds:
    """Invented worlds in which everything varies."""
    rng = np.random.default_rng(0)
    untrained = rng.uniform(0.3, 0.8, (draws, GROUPS, 2))
    return Worlds(
        groups=tuple("abcd"),
        people=np.array([120.0, 400.0, 300.0, 80.0]),
        mishaps_a_year=rng.gamma(3.5, 0.1, draws),
        at_risk=rng.gamma(9, 0.3, (draws, GROUPS)),
        survival_untrained=untrained,
        gain=rng.normal(
            0.3, 0.3, (draws, GROUPS, 2)
        ),  # of either sign, and often more than there is room for
        fading=math.log(2) / rng.lognormal(0.7, 0.3, draws),
        leaving=rng.lognormal(-1.9, 0.2, (draws, GROUPS)),
        first_cost=rng.lognormal(7, 0.1, draws),
        refresher_cost=rng.lognormal(6.7, 0.1, draws),
        fixed_cost=rng.lognormal(10, 0.1, draws),
        deaths_per_course=rng.gamma(1, 1e-6, draws),
        injuries_per_course=rng.gamma(1, 1e-3, draws),
        injury_cost=rng.lognormal(8, 0.3, draws),
        false_confidence=rng.uniform(0, 0.02, draws),
        spends={
            "rafts": Spend(rng.lognormal(9, 0.2, draws), rng.uniform(0, 0.2, draws), rng.uniform(0, 1, draws))
        },
    )


def policies_of() -> list[Policy]:
    """Today's and five others, two of which buy the rival spend."""
    rng = np.random.default_rng(1)
    return [
        Policy(f"policy {k}", 2.0, rng.uniform(0, 1, GROUPS), ("rafts",) if k in (2, 5) else ())
        for k in range(POLICIES)
    ]


def by_interval(worlds: Worlds, policies: list[Policy]) -> tuple[np.ndarray, np.ndarray]:
    """The straightforward way: one policy and interval at a time, all worlds at once."""
    shape = (len(policies), worlds.draws, len(INTERVALS))
    lives, extra = np.empty(shape), np.empty(shape)
    for own, policy in enumerate(policies):
        for place, years in enumerate(INTERVALS):
            found = outcome(worlds, replace(policy, interval=float(years)), today=policies[0])
            lives[own, :, place], extra[own, :, place] = found.lives, found.extra_cost
    return lives, extra


def one_world(worlds: Worlds, world: int, policy: Policy, today: Policy) -> tuple[float, float]:
    """Deaths, training's included, and money a year in one world, group by group, one number after the other."""
    deaths, courses, money = 0.0, 0.0, 0.0
    fading, years = worlds.fading[world], policy.interval
    left = {"trained": 1.0, "others": 1.0}
    for name in policy.spends:
        spend = worlds.spends[name]
        left["trained"] *= 1 - spend.deaths_averted[world] * (1 - spend.overlap[world])
        left["others"] *= 1 - spend.deaths_averted[world]
        money += spend.cost_a_year[world]
    for k, people in enumerate(worlds.people):
        tau = worlds.leaving[world, k]
        a_year = tau * math.exp(-tau * years) / (1 - math.exp(-tau * years))
        own, before = policy.covered[k], today.covered[k]
        at_risk = worlds.mishaps_a_year[world] * worlds.at_risk[world, k]
        for kind, share, trained in (
            (TRAINED, min(own, before), True),
            (NEVER_TRAINED, max(own - before, 0), True),
            (TRAINED, max(before - own, 0), False),
            (NEVER_TRAINED, 1 - max(own, before), False),
        ):
            lives, gain = worlds.survival_untrained[world, k, kind], worlds.gain[world, k, kind]
            dead = (1 - lives) * left["others"]
            if trained:
                lives += added(gain, lives, years, fading, tau)
                lives -= min(worlds.false_confidence[world], lives)
                # Together no less is averted than by the spends alone, nor is more averted of those training kills.
                dead = min((1 - lives) * left["trained"], max(dead, (1 - lives) * left["others"]))
            deaths += at_risk * share * dead
        courses += people * own * (tau + a_year)
        money += people * own * (tau * worlds.first_cost[world] + a_year * worlds.refresher_cost[world])
    money += worlds.fixed_cost[world] if policy.covered.any() else 0
    money += courses * worlds.injuries_per_course[world] * worlds.injury_cost[world]
    return deaths + courses * worlds.deaths_per_course[world], money


def added(gain: float, lives: float, years: float, fading: float, tau: float) -> float:
    """What training adds on average between courses: all there is room for until it fits, then fading."""
    room = 1 - lives if gain >= 0 else lives
    size, lost = abs(gain), tau + fading
    fits = min(math.log(size / room) / fading, years) if size > room else 0.0
    whole = min(size, room) * (1 - math.exp(-tau * fits)) / tau
    after = size * (math.exp(-lost * fits) - math.exp(-lost * years)) / lost
    return math.copysign((whole + after) * tau / (1 - math.exp(-tau * years)), gain)


def gaps(found: IntervalOutcomes, worlds: Worlds, policies: list[Policy]) -> tuple[float, float]:
    """Largest difference in lives and, relative, in money from a loop over a few worlds."""
    lives, money = 0.0, 0.0
    for world in range(FEW):
        deaths_today, cost_today = one_world(worlds, world, policies[0], policies[0])
        for own, policy in enumerate(policies):
            for place, years in enumerate(INTERVALS):
                deaths, cost = one_world(worlds, world, replace(policy, interval=float(years)), policies[0])
                lives = max(lives, abs(found.lives[own, world, place] - (deaths_today - deaths)))
                money = max(money, abs(found.extra_cost[own, world, place] - (cost - cost_today)) / cost)
    return lives, money


def main() -> int:
    """Compare, time, judge."""
    worlds, policies = worlds_of(DRAWS), policies_of()
    tracemalloc.start()
    found = outcomes_by_interval(worlds, policies, INTERVALS, today=policies[0])
    held = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    lives, extra = by_interval(worlds, policies)
    lives_gap, money_gap = gaps(found, worlds, policies)
    loop_gap = max(
        np.abs(found.lives - lives).max(), (np.abs(found.extra_cost - extra) / (1 + np.abs(extra))).max()
    )
    del lives, extra
    print(
        f"{FEW} worlds one by one: lives differ by {lives_gap:.1e}, money by {money_gap:.1e}; loop {loop_gap:.1e}"
    )
    spent, loop = timed_in_turn(
        lambda: outcomes_by_interval(worlds, policies, INTERVALS, today=policies[0]),
        lambda: by_interval(worlds, policies),
        times=3,
    )
    print(
        f"{DRAWS:,} worlds x {POLICIES} policies x {len(INTERVALS)} intervals, {GROUPS} groups: {spent:.2f} s"
    )
    print(
        f"one interval and policy at a time: {loop:.2f} s ({loop / spent:.1f} times); {held:.0f} MB at most"
    )
    results = [outcome(worlds, one, today=policies[0]) for one in policies]
    saved, money = (np.stack([getattr(one, name) for one in results]) for name in ("lives", "extra_cost"))
    worth = net_benefit(saved, money, value_of_life=VALUES[:, None, None])
    curves = timed(lambda: (acceptability(worth), perfect_information(worth)), times=3)
    swung = timed(lambda: [swings(worlds, one, today=policies[0]) for one in policies[1:]], times=3)
    print(
        f"curves over {len(VALUES)} values of life {curves:.2f} s; swings of {POLICIES - 1} policies {swung:.2f} s"
    )
    verdicts: list[str] = []
    judge(verdicts, f"{spent:.2f} s, bar {SECONDS_BAR:g}", spent <= SECONDS_BAR)
    judge(verdicts, f"{held:.0f} MB, bar {MEGABYTES_BAR}", held <= MEGABYTES_BAR)
    same = max(lives_gap, money_gap, loop_gap) < 1e-9
    print("\n".join(verdicts))
    print("results agree" if same else "RESULTS DIFFER")
    return int(not same)


if __name__ == "__main__":
    sys.exit(main())
