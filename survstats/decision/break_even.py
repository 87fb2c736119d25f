"""Where does a policy begin to be worth it: at what value of life, at what gain, at how many mishaps a year?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from scipy.optimize import brentq

from survstats.decision.draw_worlds import assumed_gain
from survstats.decision.outcome import outcome
from survstats.decision.world import Outcome, Policy, Worlds

Form = Literal["above", "below", "always", "never", "turns_twice"]

#: Differences at which worth is looked at before its root is sought between two of them.
PLACES = 11


@dataclass(frozen=True)
class BreakEven:
    """Where expected net benefit against today's policy is 0.

    Attributes
    ----------
    value : float or None
        None where there is no such place, or more than one, among values from 0 up.
    form : {"above", "below", "always", "never", "turns_twice"}
        Whether the policy is worth it above the value, below it, wherever it lies, or nowhere; or whether it is so on
        some stretches and not on others.
    """

    value: float | None
    form: Form


def value_of_life(found: Outcome) -> BreakEven:
    """The value of a life at which a policy is worth as much as today's, in money of the study.

    Expected extra cost over expected lives, where the two have the same sign.

    Parameters
    ----------
    found : Outcome
        Against today's policy.
    """
    return _root(float(-found.extra_cost.mean()), float(found.lives.mean()))


def points(worlds: Worlds, policy: Policy, *, today: Policy, value_of_life: float) -> BreakEven:
    """How much survival training would have to add for a policy to be worth as much as today's.

    The difference d that trained people of the records show on average, the same in each group and for both kinds of
    people (`draw_worlds.assumed_gain`). Nothing of the estimate enters but how long ago people were trained.

    Parameters
    ----------
    worlds : Worlds
    policy, today : Policy
    value_of_life : float
        Money of the study.

    Returns
    -------
    BreakEven
        ``value`` is a share. Looked for from 0 to what the untrained have left to gain on average. What is held is cut
        in each world as everywhere (`room.difference_held`), so that worth is no straight line: of two policies that
        hold more and less, both keep all alive in the end, and worth may turn more than once.

    Raises
    ------
    CallError
        As `outcome.outcome`.
    """

    def worth(difference: float) -> float:
        return _worth(assumed_gain(worlds, difference), policy, today, value_of_life)

    weights = worlds.at_risk.mean(axis=0)
    untrained = worlds.survival_untrained.mean(axis=(0, 2))
    room = 1 - float(np.average(untrained, weights=weights if weights.sum() > 0 else None))
    places = np.linspace(0.0, room, PLACES)
    pays = np.array([worth(float(place)) > 0 for place in places])
    turns = np.flatnonzero(pays[1:] != pays[:-1])
    if not len(turns):
        return BreakEven(None, "always" if pays[0] else "never")
    if len(turns) > 1:
        return BreakEven(None, "turns_twice")
    low, high = places[turns[0]], places[turns[0] + 1]
    root = float(brentq(worth, low, high, xtol=1e-12, rtol=1e-14))
    return BreakEven(root, "below" if pays[0] else "above")


def mishaps(worlds: Worlds, policy: Policy, *, today: Policy, value_of_life: float) -> BreakEven:
    """How many mishaps a year there would have to be for a policy to be worth as much as today's.

    Parameters
    ----------
    worlds : Worlds
    policy, today : Policy
    value_of_life : float
        Money of the study.

    Raises
    ------
    CallError
        As `outcome.outcome`.
    """

    def at(rate: float) -> Worlds:
        return replace(worlds, mishaps_a_year=np.full(worlds.draws, rate))

    return _on_line(at, policy, today, value_of_life)


def _on_line(at: Callable[[float], Worlds], policy: Policy, today: Policy, value_of_life: float) -> BreakEven:
    """Root of expected net benefit, which is a straight line in what `at` sets."""
    worth = []
    for place in (0.0, 1.0):
        worth.append(_worth(at(place), policy, today, value_of_life))
    return _root(worth[0], worth[1] - worth[0])


def _worth(worlds: Worlds, policy: Policy, today: Policy, value_of_life: float) -> float:
    """Expected net benefit a year against today's policy, in money."""
    found = outcome(worlds, policy, today=today)
    return value_of_life * float(found.lives.mean()) - float(found.extra_cost.mean())


def _root(start: float, slope: float) -> BreakEven:
    """Where start + slope x is 0 among x >= 0, and on which side it is above 0."""
    if slope > 0:
        return BreakEven(-start / slope, "above") if start < 0 else BreakEven(None, "always")
    if slope < 0:
        return BreakEven(-start / slope, "below") if start > 0 else BreakEven(None, "never")
    return BreakEven(None, "always" if start > 0 else "never")
