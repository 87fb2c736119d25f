"""How do the two arms compare, and how wide at least where the jackknife is blind in one of them?"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.exact_table import clopper_pearson
from survstats.effects.intervals import edges, jackknife_estimate
from survstats.groundwork.estimate import Estimate, Scale, Unit, from_scale, to_scale

Floats = NDArray[np.float64]
Comparison = Literal["difference", "survival_ratio", "death_ratio", "odds_ratio"]

#: Each comparison is a difference of the two arms on its own scale: that of survival, or (last) of death.
_COMPARISONS: dict[Comparison, tuple[Scale, Unit, bool]] = {
    "difference": ("identity", "difference", False),
    "survival_ratio": ("log", "ratio", False),
    "death_ratio": ("log", "ratio", True),
    "odds_ratio": ("logit", "odds_ratio", False),
}


@dataclass(frozen=True)
class Seen:
    """What was seen of one arm: how many lived, of how many people."""

    lived: int
    people: int

    @property
    def blind(self) -> bool:
        """Whether nobody died, or nobody lived, so that leaving mishaps out shows no spread."""
        return self.people > 0 and self.lived in (0, self.people)


@dataclass(frozen=True)
class Hanging:
    """All deaths, or all survivors, of one arm come from one mishap.

    Attributes
    ----------
    mishap : str
    exposure, outcome : int
        Which arm (1 trained), and which fate (0 died).
    people : int
        How many they are.
    """

    mishap: str
    exposure: int
    outcome: int
    people: int


def seen(outcome: Floats, exposure: Floats) -> tuple[Seen, Seen]:
    """Tallies of the trained and of the untrained, from columns of 0 and 1 of shape (n,)."""
    trained, untrained = (
        Seen(int(outcome[exposure == arm].sum()), int((exposure == arm).sum())) for arm in (1, 0)
    )
    return trained, untrained


def compare_arms(
    risks: Floats,
    tallies: tuple[Seen, Seen],
    *,
    occupants: int,
    mishaps: int,
    method: str,
    level: float,
) -> dict[str, Estimate]:
    """Survival of both arms and all that compares them, with mishap-jackknife limits that no blind arm narrows.

    Parameters
    ----------
    risks : ndarray of shape (1 + b, 2)
        Survival if trained, if untrained: from all mishaps, then with each left out.
    tallies : (Seen, Seen)
        What was seen of the trained and of the untrained.
    occupants, mishaps, method, level
        As `jackknife_estimate`.

    Returns
    -------
    dict of str to Estimate
        ``if_all``, ``if_none`` and the comparisons ``difference``, ``survival_ratio``, ``death_ratio``, ``odds_ratio``.
    """

    def estimate(values: Floats, scale: Scale, unit: Unit) -> Estimate:
        return jackknife_estimate(
            float(values[0]),
            values[1:],
            scale=scale,
            unit=unit,
            occupants=occupants,
            method=method,
            mishaps=mishaps,
            level=level,
        )

    trained, untrained = risks[:, 0], risks[:, 1]
    with np.errstate(divide="ignore", invalid="ignore"):  # a share on the edge has infinite limits
        plain: dict[Comparison, Floats] = {
            "difference": trained - untrained,
            "survival_ratio": trained / untrained,
            "death_ratio": (1 - trained) / (1 - untrained),
            "odds_ratio": trained * (1 - untrained) / ((1 - trained) * untrained),
        }
    arms = [arm_limits(estimate(risks[:, arm], "logit", "share"), tallies[arm]) for arm in (0, 1)]
    found = {"if_all": arms[0], "if_none": arms[1]}
    for name, values in plain.items():
        scale, unit, _ = _COMPARISONS[name]
        one = estimate(values, "log" if scale == "logit" else scale, unit)
        found[name] = wide_enough(one, name, *arms) if any(arm.blind for arm in tallies) else one
    return found


def arm_limits(found: Estimate, tally: Seen) -> Estimate:
    """The survival of one arm; where nobody of it died, or lived, with limits no narrower than the exact ones.

    Notes
    -----
    The limits of its raw counts after Clopper and Pearson: they take people as independent, so they are a least width.
    """
    if not tally.blind:
        return found
    low, high = clopper_pearson(tally.lived, tally.people, level=found.level)
    return replace(found, low=min(found.low, low), high=max(found.high, high))


def wide_enough(found: Estimate, name: Comparison, trained: Estimate, untrained: Estimate) -> Estimate:
    """A comparison with limits at least as wide as the limits of both arms allow together.

    Parameters
    ----------
    found : Estimate
        The comparison, with limits of its own.
    name : {"difference", "survival_ratio", "death_ratio", "odds_ratio"}
    trained, untrained : Estimate
        Survival of the arms, with the limits to be joined.

    Notes
    -----
    On the scale of the comparison the distances of each arm to its limits are joined as the sides of a right angle, as
    in Newcombe's hybrid for a difference; for ratios after Zou and Donner 2008 (doi:10.1002/sim.3095, from memory).
    Where an arm's limit lies on the edge of the scale, the comparison's is 0 or infinity.
    """
    scale, unit, of_death = _COMPARISONS[name]
    one, other = _on_scale(trained, scale, of_death), _on_scale(untrained, scale, of_death)
    bottom, top = edges(unit)
    if not (math.isfinite(one[1]) and math.isfinite(other[1])):
        return replace(found, low=bottom, high=top)
    centre = one[1] - other[1]
    below, above = (
        math.hypot(one[1] - one[0], other[2] - other[1]),
        math.hypot(one[2] - one[1], other[1] - other[0]),
    )

    def back(place: float) -> float:
        return place if scale == "identity" else from_scale(place, "log")

    return replace(
        found,
        low=max(bottom, min(found.low, back(centre - below))),
        high=min(top, max(found.high, back(centre + above))),
    )


def _on_scale(arm: Estimate, scale: Scale, of_death: bool) -> tuple[float, float, float]:
    """Lower limit, value and upper limit of an arm, of its survival or its death, on a scale."""
    places = (arm.low, arm.value, arm.high)
    low, value, high = (
        to_scale(place, scale) for place in ((1 - one for one in reversed(places)) if of_death else places)
    )
    return low, value, high


def hangs_on_one_mishap(
    frame: pd.DataFrame, *, outcome: str, exposure: str, cluster: str
) -> tuple[Hanging, ...]:
    """Where one mishap holds all deaths, or all survivors, of one arm: without it that arm would show no spread.

    The jackknife then rests on a single step for this arm, and limits that it gives for a comparison cannot be trusted.

    Parameters
    ----------
    frame : DataFrame of n rows
        ``outcome`` and ``exposure`` hold 0 and 1.
    outcome, exposure, cluster : str
        Column names.

    Returns
    -------
    tuple of Hanging
        Empty where there is none; an arm in which nobody died, or nobody lived, is blind and not listed for that fate.
    """
    found = []
    for arm in (1, 0):
        for fate in (0, 1):
            mishaps = frame.loc[frame[exposure].eq(arm) & frame[outcome].eq(fate), cluster]
            if mishaps.nunique() == 1:
                found.append(Hanging(str(mishaps.iloc[0]), arm, fate, len(mishaps)))
    return tuple(found)
