"""What do completed sets say together, and how far would other draws have moved it?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survstats.effects.arms import arm_limits, wide_enough
from survstats.effects.completed_sets import CompletedSet
from survstats.effects.intervals import edges, jackknife_error, t_quantile
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate, Scale, Unit, from_scale, to_scale
from survstats.models.pooling import Pooled, pool

Floats = NDArray[np.float64]

METHOD = "imputed_jackknife"

#: Scale and unit of each pooled number, and what it is of survival if all and if none had been trained.
_NUMBERS: dict[str, tuple[Scale, Unit, tuple[float, float]]] = {
    "if_all": ("logit", "share", (1.0, 0.0)),
    "if_none": ("logit", "share", (0.0, 1.0)),
    "difference": ("identity", "difference", (1.0, -1.0)),
}


@dataclass(frozen=True)
class PooledDifference:
    """The difference in survival that m completed sets give together.

    Attributes
    ----------
    estimate : Estimate
        ``occupants`` and ``mishaps`` are the fewest of any set.
    fraction_missing : float
        Share of the information about the difference that the gaps took.
    limit_error, value_error : float
        Monte Carlo standard errors, in [0, 1]: how far the limit that lies nearest 0, and the difference itself, would
        move from one set of m draws to another. Infinite where there are two draws only.
    """

    estimate: Estimate
    fraction_missing: float
    limit_error: float
    value_error: float


def pooled_difference(sets: Sequence[CompletedSet], *, level: float = 0.95) -> PooledDifference:
    """The difference by Rubin's rules, its interval, and how much of both is the luck of the draws.

    Parameters
    ----------
    sets : sequence of m CompletedSet
    level : float
        Coverage aimed at.

    Raises
    ------
    NotEstimable
        ``not_converged`` where a set puts survival on the edge.

    Notes
    -----
    Where in any set nobody of a group died, or nobody lived, the limits are at least what the exact limits of both
    groups allow together, as in `standardise`.

    The Monte Carlo errors are a jackknife over the draws: limit and value pooled again without draw j, the whole of
    Rubin's rules each time, se = sqrt((m - 1) / m sum (v_j - mean)^2). The draws are independent of one another, which
    is all it needs (Efron and Stein 1981, doi:10.1214/aos/1176345462; for imputed sets after Royston, Carlin and White
    2009, doi:10.1177/1536867X0900900205, from memory).
    """
    blind = any(arm.blind for one in sets for arm in one.tallies)
    by_set = {number: _of_each_set(sets, number) for number in (_NUMBERS if blind else ("difference",))}
    everyone = np.arange(len(sets))
    estimate, pooled = _at(sets, by_set, everyone, level)
    if len(sets) < 3:
        return PooledDifference(estimate, pooled.fraction_missing, math.inf, math.inf)
    lower = abs(estimate.low) <= abs(estimate.high)
    without = [_at(sets, by_set, np.delete(everyone, draw), level)[0] for draw in everyone]
    return PooledDifference(
        estimate,
        pooled.fraction_missing,
        limit_error=_over_draws([one.low if lower else one.high for one in without]),
        value_error=_over_draws([one.value for one in without]),
    )


def pooled_arms(sets: Sequence[CompletedSet], *, level: float = 0.95) -> tuple[Estimate, Estimate]:
    """Survival if all, if none had been trained, by Rubin's rules on the logit scale.

    Raises
    ------
    NotEstimable
        As `pooled_difference`.
    """
    by_set = {number: _of_each_set(sets, number) for number in ("if_all", "if_none")}
    return _arms(sets, by_set, np.arange(len(sets)), level)


@dataclass(frozen=True)
class _BySet:
    """A number on its scale, its error there, and the mishaps behind it, in each of m sets."""

    centres: Floats
    errors: Floats
    mishaps: NDArray[np.int64]


def _of_each_set(sets: Sequence[CompletedSet], number: str) -> _BySet:
    scale, _, contrast = _NUMBERS[number]
    values = [one.risks @ np.array(contrast) for one in sets]
    return _BySet(
        np.array([to_scale(float(v[0]), scale) for v in values]),
        np.array([jackknife_error(float(v[0]), v[1:], scale=scale) for v in values]),
        np.array([len(v) - 1 for v in values]),
    )


def _at(
    sets: Sequence[CompletedSet], by_set: dict[str, _BySet], taken: NDArray[np.intp], level: float
) -> tuple[Estimate, Pooled]:
    """The difference pooled over the sets taken."""
    found, pooled = _rubin(sets, by_set["difference"], "difference", taken, level)
    if any(arm.blind for at in taken for arm in sets[at].tallies):
        found = wide_enough(found, "difference", *_arms(sets, by_set, taken, level))
    return found, pooled


def _arms(
    sets: Sequence[CompletedSet], by_set: dict[str, _BySet], taken: NDArray[np.intp], level: float
) -> tuple[Estimate, Estimate]:
    """Survival of both arms pooled over the sets taken."""
    trained, untrained = (
        _rubin(sets, by_set[number], number, taken, level)[0] for number in ("if_all", "if_none")
    )
    for of_trained in {sets[at].tallies[0] for at in taken}:
        trained = arm_limits(trained, of_trained)
    for of_untrained in {sets[at].tallies[1] for at in taken}:
        untrained = arm_limits(untrained, of_untrained)
    return trained, untrained


def _rubin(
    sets: Sequence[CompletedSet], by_set: _BySet, number: str, taken: NDArray[np.intp], level: float
) -> tuple[Estimate, Pooled]:
    """One number by Rubin's rules over the sets taken."""
    scale, unit, _ = _NUMBERS[number]
    bottom, top = edges(unit)
    centres, errors, mishaps = by_set.centres[taken], by_set.errors[taken], int(by_set.mishaps[taken].min())
    if not (np.isfinite(centres).all() and np.isfinite(errors).all()):
        raise NotEstimable(
            "not_converged", "A completed set puts survival on the edge, where no error is known."
        )
    pooled = pool(centres, np.square(errors), complete_df=mishaps - 1)
    reach = t_quantile(level, pooled.df) * pooled.se
    found = Estimate(
        value=from_scale(pooled.value, scale),
        low=max(from_scale(pooled.value - reach, scale), bottom),
        high=min(from_scale(pooled.value + reach, scale), top),
        se=pooled.se,
        level=level,
        df=pooled.df,
        scale=scale,
        unit=unit,
        method=METHOD,
        mishaps=mishaps,
        occupants=min(sets[at].occupants for at in taken),
    )
    return found, pooled


def _over_draws(values: Sequence[float]) -> float:
    """Jackknife standard error of a number pooled again without each of m draws."""
    m, each = len(values), np.array(values)
    return math.sqrt((m - 1) / m * float(np.sum((each - each.mean()) ** 2)))
