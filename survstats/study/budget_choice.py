"""From where on is each policy worth it, which is best at what value of a life, and which figure moves it most?"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from survstats.decision import break_even
from survstats.decision.swings import swings
from survstats.decision.world import Outcome
from survstats.decision.worth import acceptability, net_benefit, perfect_information
from survstats.study.budget_policies import Told, store_figure
from survstats.study.results import Cell
from survstats.study.results_builder import ResultsBuilder

Floats = NDArray[np.float64]

#: Values of a life at which policies are held against each other: from 0, in so many steps.
STEPS = 40
#: How far the grid reaches beyond the value that is given, or beyond the largest at which a policy breaks even.
_REACH = 2.0
#: Why there is no break-even, by what is said of the policy then.
_NOWHERE = {"always": "pays_always", "never": "pays_never", "turns_twice": "turns_twice"}


def store_break_evens(out: ResultsBuilder, told: Told, found: Sequence[Outcome]) -> None:
    """Where each policy begins to be worth it: by the value of a life, by the difference, by mishaps a year.

    The codes ``policy.K.break_even_value_form`` and so on say on which side it is worth it (above, below), or that it
    is so always or never, or on some stretches only (turns_twice). The last two need a value of a life.
    """
    now = told.policies[told.today]
    for at in told.others:
        name = f"policy.{at}.break_even"
        _store_break_even(out, told, f"{name}_value", break_even.value_of_life(found[at]), "money")
        if told.value is None:
            out.leave_out("no_value_of_life", f"{name}_points", f"{name}_mishaps")
            continue
        one, value = told.policies[at], told.value
        points = break_even.points(told.worlds, one, today=now, value_of_life=value)
        _store_break_even(out, told, f"{name}_points", points, "difference")
        mishaps = break_even.mishaps(told.worlds, one, today=now, value_of_life=value)
        _store_break_even(out, told, f"{name}_mishaps", mishaps, "per_year")


def _store_break_even(
    out: ResultsBuilder, told: Told, name: str, found: break_even.BreakEven, unit: str
) -> None:
    out.codes[f"{name}_form"] = found.form
    if found.value is None:
        out.leave_out(_NOWHERE[found.form], name)
    else:
        store_figure(out, told, name, found.value, unit)


def store_choice(out: ResultsBuilder, told: Told, found: Sequence[Outcome]) -> None:
    """Which policy is best at which value of a life, how surely, and what it would be worth to know.

    The tables ``acceptability`` and ``evpi`` go by values from 0; `budget.evpi`, `policy.best` and the chance of each
    policy to be best need a value that is given.
    """
    lives, money = (np.stack([getattr(one, part) for one in found]) for part in ("lives", "extra_cost"))
    values = _values(out, told)
    if values is None:
        out.leave_out("no_break_even", "acceptability", "evpi")
    else:
        chances, worth_knowing = _by_value(values, lives, money)
        lines = [
            (float(value), at, told.policies[at].name, float(chance))
            for value, line in zip(values, chances, strict=True)
            for at, chance in enumerate(line)
        ]
        out.table(
            "acceptability", ("value_of_life", "policy", "name", "chance"), lines, rests_on=told.rests_on
        )
        told_worth = [(float(value), float(one)) for value, one in zip(values, worth_knowing, strict=True)]
        out.table("evpi", ("value_of_life", "evpi"), told_worth, rests_on=told.rests_on)
    chance_ids = [f"policy.{at}.chance_best" for at in range(len(found))]
    if told.value is None:
        out.leave_out("no_value_of_life", "budget.evpi", *chance_ids)
        return
    worth = net_benefit(lives, money, value_of_life=told.value)
    out.codes["policy.best"] = str(int(worth.mean(axis=1).argmax()))
    for name, chance in zip(chance_ids, acceptability(worth), strict=True):
        store_figure(out, told, name, float(chance), "share")
    store_figure(out, told, "budget.evpi", float(perfect_information(worth)), "money")


def _by_value(values: Floats, lives: Floats, money: Floats) -> tuple[Floats, Floats]:
    """Chance of each policy to be best, and the worth of knowing, value by value, so that little is held at once."""
    worth = [net_benefit(lives, money, value_of_life=value) for value in values]
    return np.array([acceptability(one) for one in worth]), np.array(
        [perfect_information(one) for one in worth]
    )


def _values(out: ResultsBuilder, told: Told) -> Floats | None:
    """Values of a life from 0 on; None where nothing says how far to go."""
    evens = [f"policy.{at}.break_even_value" for at in told.others]
    known = [out.numbers[name].value for name in evens if name in out.numbers]
    known += [] if told.value is None else [told.value]
    if not known or max(known) <= 0:
        return None
    return np.linspace(0.0, _round_up(_REACH * max(known)), STEPS + 1)


def _round_up(value: float) -> float:
    """The next of 1, 2, 4, 5, 8, 10 times a power of ten, so that steps are round."""
    power = 10.0 ** math.floor(math.log10(value))
    return next(step * power for step in (1, 2, 4, 5, 8, 10) if step * power >= value * (1 - 1e-12))


def store_swings(out: ResultsBuilder, told: Told, *, assumed: bool) -> None:
    """How far lives and money move, policy by policy, with one figure at the ends of its middle eight tenths.

    A difference that is assumed is held where it is: it has no spread of its own.
    """
    now = told.policies[told.today]
    columns = ("low_at", "high_at", "lives_low", "lives_high", "cost_low", "cost_high")
    lines: list[tuple[Cell, ...]] = []
    for at in told.others:
        for one in swings(told.worlds, told.policies[at], today=now):
            if not (assumed and one.input == "gain"):
                figures = (float(getattr(one, column)) for column in columns)
                lines.append((at, told.policies[at].name, one.input, *figures))
    out.table("swings", ("policy", "name", "input", *columns), lines, rests_on=told.rests_on)
