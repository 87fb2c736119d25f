"""Which single input moves lives and money most, from one end of what is plausible to the other?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from survstats.decision.outcome import outcome
from survstats.decision.room import difference_recorded, faded, gain_of_first_day, room_for
from survstats.decision.world import TRAINED, Policy, Worlds
from survstats.groundwork.errors import CallError

Floats = NDArray[np.float64]
Moved = Callable[[Worlds, float], tuple[Worlds, float]]

#: Inputs with one number in each world.
PLAIN = (
    "mishaps_a_year",
    "first_cost",
    "refresher_cost",
    "fixed_cost",
    "deaths_per_course",
    "injuries_per_course",
    "injury_cost",
    "false_confidence",
)
OF_SPENDS = ("cost_a_year", "deaths_averted", "overlap")


@dataclass(frozen=True)
class Swing:
    """Expected lives and extra money a year with one input held at a low and at a high value.

    Attributes
    ----------
    input : str
        Field of `world.Worlds`; of a rival spend ``field.name``.
    low_at, high_at : float
        The values it is held at: people at risk in all groups; mean difference of the trained over those at risk, as
        recorded and cut to the room there is; mean rate of leaving over people.
    lives_low, lives_high, cost_low, cost_high : float
        Means over all worlds with the input at ``low_at`` and ``high_at``; they may fall as the input rises.
    """

    input: str
    low_at: float
    high_at: float
    lives_low: float
    lives_high: float
    cost_low: float
    cost_high: float


def swings(
    worlds: Worlds, policy: Policy, *, today: Policy, low: float = 0.1, high: float = 0.9
) -> tuple[Swing, ...]:
    """Lives and extra money of a policy with each uncertain input in turn at its 10th and 90th percentile.

    All other inputs stay as drawn. Inputs of groups move together: people at risk by one factor for all groups, gain
    and leaving each group at its own percentile. The gain moves as the difference that was recorded, as a share of the
    room it has in each world: where more of the untrained live it cannot be as great. It is cut only where it is held.
    Fading moves with the recorded difference held, since a faster fading then means a greater gain on the day of the
    course.

    Parameters
    ----------
    worlds : Worlds
    policy, today : Policy
    low, high : float
        Percentiles as shares.

    Returns
    -------
    tuple of Swing
        Inputs that do not vary, or move neither lives nor money, are left out; widest in lives first, then in money.

    Raises
    ------
    CallError
        ``swing_shares`` unless 0 <= low < high <= 1; those of `outcome.outcome`.
    """
    if not 0 <= low < high <= 1:
        raise CallError("swing_shares", f"Percentiles must rise within 0 to 1, not {low} and {high}.")
    found = []
    bought = {*policy.spends, *today.spends}
    for name, moved in _levers(worlds, bought):
        ends = [moved(worlds, share) for share in (low, high)]
        results = [outcome(world, policy, today=today) for world, _ in ends]
        lives = [float(one.lives.mean()) for one in results]
        cost = [float(one.extra_cost.mean()) for one in results]
        if lives[0] != lives[1] or cost[0] != cost[1]:
            found.append(Swing(name, ends[0][1], ends[1][1], lives[0], lives[1], cost[0], cost[1]))
    return tuple(sorted(found, key=_width, reverse=True))


def _width(swing: Swing) -> tuple[float, float]:
    return abs(swing.lives_high - swing.lives_low), abs(swing.cost_high - swing.cost_low)


def _levers(worlds: Worlds, bought: set[str]) -> Iterator[tuple[str, Moved]]:
    """Name of each input that varies, and what gives the worlds with it at a percentile and the value it then has."""
    for name in PLAIN:
        if np.ptp(getattr(worlds, name)) > 0:
            yield name, partial(_plain, name=name)
    for name, moved in (("at_risk", _at_risk), ("gain", _gain), ("fading", _fading), ("leaving", _leaving)):
        if np.ptp(getattr(worlds, name), axis=0).any():
            yield name, moved
    for name in sorted(bought & worlds.spends.keys()):
        for part in OF_SPENDS:
            if np.ptp(getattr(worlds.spends[name], part)) > 0:
                yield f"{part}.{name}", partial(_spend, name=name, part=part)


def _plain(worlds: Worlds, share: float, *, name: str) -> tuple[Worlds, float]:
    value = float(np.quantile(getattr(worlds, name), share))
    return replace(worlds, **_every(name, worlds, value)), value


def _at_risk(worlds: Worlds, share: float) -> tuple[Worlds, float]:
    total = worlds.at_risk.sum(axis=1)
    value = float(np.quantile(total, share))
    factor = np.divide(value, total, out=np.zeros(len(total)), where=total > 0)
    return replace(worlds, at_risk=worlds.at_risk * factor[:, None]), value


def _gain(worlds: Worlds, share: float) -> tuple[Worlds, float]:
    """The recorded difference at a percentile, as a share of the room it has: of those who die, or live, untrained."""
    recorded, untrained = _recorded(worlds), worlds.survival_untrained
    room = room_for(recorded, untrained)
    ends = np.quantile(np.divide(recorded, room, out=np.zeros_like(room), where=room > 0), share, axis=0)
    moved = ends * room_for(np.broadcast_to(ends, room.shape), untrained)
    gain = gain_of_first_day(moved, untrained, faded(worlds.fading, worlds.recorded_months))
    return replace(worlds, gain=gain), _over_people_at_risk(worlds, moved.mean(axis=0)[:, TRAINED])


def _fading(worlds: Worlds, share: float) -> tuple[Worlds, float]:
    value = float(np.quantile(worlds.fading, share))
    fading = np.full(worlds.draws, value)
    still = faded(fading, worlds.recorded_months)
    gain = gain_of_first_day(_recorded(worlds), worlds.survival_untrained, still)
    return replace(worlds, fading=fading, gain=gain), value


def _recorded(worlds: Worlds) -> Floats:
    """The difference that the records show in each world, (b, q, 2)."""
    still = faded(worlds.fading, worlds.recorded_months)
    return difference_recorded(worlds.gain, worlds.survival_untrained, still)


def _leaving(worlds: Worlds, share: float) -> tuple[Worlds, float]:
    ends = np.quantile(worlds.leaving, share, axis=0)
    leaving = np.broadcast_to(ends, worlds.leaving.shape)
    weights = worlds.people if worlds.people.sum() > 0 else None
    return replace(worlds, leaving=leaving), float(np.average(ends, weights=weights))


def _spend(worlds: Worlds, share: float, *, name: str, part: str) -> tuple[Worlds, float]:
    spend = worlds.spends[name]
    value = float(np.quantile(getattr(spend, part), share))
    moved = replace(spend, **_every(part, worlds, value))
    return replace(worlds, spends={**worlds.spends, name: moved}), value


def _every(name: str, worlds: Worlds, value: float) -> dict[str, Any]:
    return {name: np.full(worlds.draws, value)}


def _over_people_at_risk(worlds: Worlds, each: Floats) -> float:
    weights = worlds.at_risk.mean(axis=0)
    return float(np.average(each, weights=weights if weights.sum() > 0 else None))
