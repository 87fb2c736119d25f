"""Is what training changes the same for everybody, or does it hang on seat, role, water, capsize?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.intervals import jackknife_error, jackknife_estimate, t_quantile
from survstats.effects.mediators import Mediator, moved_by_training
from survstats.effects.modifier_levels import LeftOut, levels_of, too_thin
from survstats.effects.risk_model import Refits, prepare, refit
from survstats.effects.standardise import Effect, standardise
from survstats.groundwork.errors import CallError, NotEstimable
from survstats.groundwork.estimate import Estimate

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class LevelEffect:
    """What training changes among the people of one level.

    Attributes
    ----------
    level : str
    occupants, trained, died : int
        How many people stand at this level, and how many of them had been trained, had died.
    difference : Estimate
        Survival if all of them, minus if none of them, had been trained.
    shrunken : float
        The difference shrunken towards that of all people, by as much as chance alone spreads the levels; where no
        spread beyond chance is seen it is that of all people itself.
    deviation, deviation_se : float
        The difference minus that of all people, and its jackknife standard error.
    """

    level: str
    occupants: int
    trained: int
    died: int
    difference: Estimate
    shrunken: float
    deviation: float
    deviation_se: float


@dataclass(frozen=True)
class Contrast:
    """How far the difference at one level exceeds that at another.

    Attributes
    ----------
    level, against : str
    difference : Estimate
        A difference of two differences, in [-2, 2]; positive where training changes more at ``level``.
    """

    level: str
    against: str
    difference: Estimate


@dataclass(frozen=True)
class Modification:
    """The difference within each level of one modifier, and between the levels.

    Attributes
    ----------
    modifier : str
    levels : tuple of LevelEffect
    contrasts : tuple of Contrast
        Each level against the first.
    left_out : tuple of LeftOut
    mediator : Mediator or None
        Where training may have moved the modifier in these records (seats taken freely): for how many people. The
        levels then hold people whom training chose in part.
    """

    modifier: str
    levels: tuple[LevelEffect, ...]
    contrasts: tuple[Contrast, ...]
    left_out: tuple[LeftOut, ...]
    mediator: Mediator | None = None

    @property
    def moved_by_training(self) -> bool:
        """Whether training moved the modifier, or may have, of anybody."""
        return self.mediator is not None


def modification(
    frame: pd.DataFrame,
    *,
    outcome: str,
    exposure: str,
    covariates: Sequence[str],
    modifier: str,
    cluster: str,
    overall: Effect,
    level: float = 0.95,
) -> Modification:
    """The difference in survival within each level of a modifier and between the levels, from one jackknife pass.

    Parameters
    ----------
    frame : DataFrame of n rows
        The rows that ``overall`` rests on. ``outcome`` and ``exposure`` hold 0 and 1.
    outcome, exposure, cluster : str
        Column names; ``cluster`` is the mishap.
    covariates : sequence of str
        Columns measured before immersion; the modifier may be among them.
    modifier : str
        A categorical, yes-or-no or 0-or-1 column that training does not move; where it may have moved it in these
        records the result says so.
    overall : Effect
        The main estimate from the same rows.
    level : float
        Coverage aimed at.

    Raises
    ------
    CallError
        ``numeric_modifier``; ``other_rows`` where ``overall`` rests on other mishaps.
    NotEstimable
        ``one_level`` where fewer than two levels can stand on their own; as `prepare`.

    Notes
    -----
    One model with the product of training and each level but the first; a level's difference is standardised over the
    people at that level. A level's degrees of freedom are those of its mishaps less one, a contrast's those of the
    level with fewer. Whether levels differ is read from the contrast: that one interval holds 0 and another does not
    says nothing about it (Gelman and Stern 2006, doi:10.1198/000313006X152649).
    """
    names, order = levels_of(frame, modifier)
    labels = np.unique(frame[cluster].to_numpy())
    if len(labels) != len(overall.leave_one_out):
        raise CallError("other_rows", "The overall effect and the rows do not hold the same mishaps.")
    thin = {
        name: too_thin(frame[names == name], name, outcome=outcome, exposure=exposure, cluster=cluster)
        for name in order
    }
    kept = [name for name in order if thin[name] is None]
    left_out = [
        LeftOut(name, int((names == name).sum()), why) for name, why in thin.items() if why is not None
    ]
    if len(kept) < 2:
        raise NotEstimable("one_level", f"Fewer than two levels of '{modifier}' hold enough people.")
    inside = np.isin(names, kept)
    people, names = frame[inside].assign(**{modifier: names[inside]}), names[inside]
    model = prepare(
        people,
        outcome=outcome,
        exposure=exposure,
        covariates=[modifier, *(name for name in covariates if name != modifier)],
        cluster=cluster,
        own_effect={name: names == name for name in kept[1:]},
    )
    refits = refit(model)
    effects = [standardise(refits, rows=names == name, level=level) for name in kept]
    places = np.flatnonzero(np.isin(labels, np.asarray(model.design.mishap_labels)))
    levels = tuple(
        _level(refits, name, names == name, effect, _without_each(effect, places, len(labels)), overall)
        for name, effect in zip(kept, effects, strict=True)
    )
    contrasts = tuple(
        Contrast(name, kept[0], _between(other, effects[0]))
        for name, other in zip(kept[1:], effects[1:], strict=True)
    )
    found = Modification(modifier, levels, contrasts, tuple(left_out), moved_by_training(frame, modifier))
    return shrink((found,), overall=overall)[0]


def shrink(modifications: Sequence[Modification], *, overall: Effect) -> tuple[Modification, ...]:
    """The same with every level shrunken towards the overall difference, the spread pooled over all listed modifiers.

    Notes
    -----
    With d the deviation of a level from the overall difference and v its jackknife variance, the level's deviation is
    multiplied by tau2 / (tau2 + v), with tau2 of `spread_beyond_chance`: the empirical Bayes rule after Efron and
    Morris 1975 (doi:10.1080/01621459.1975.10479864). Levels of one modifier deviate against each other and share
    people; the rule takes no account of that, so that it orders rather than measures. With few levels tau2 is badly
    known and often 0: every level then equals the overall difference, which is no finding that they are alike.
    """
    spread = spread_beyond_chance(modifications)

    def shrunken(one: LevelEffect) -> float:
        total = spread + one.deviation_se**2
        share = spread / total if total > 0 else 0.0
        return overall.difference.value + share * one.deviation

    return tuple(
        replace(each, levels=tuple(replace(one, shrunken=shrunken(one)) for one in each.levels))
        for each in modifications
    )


def spread_beyond_chance(modifications: Sequence[Modification]) -> float:
    """Variance of the levels' deviations that chance does not explain (tau2); 0 where none is seen.

    The mean of d^2 - v over all levels of all modifiers, not below 0, with d the deviation of a level from the overall
    difference and v its jackknife variance.
    """
    excess = [one.deviation**2 - one.deviation_se**2 for each in modifications for one in each.levels]
    return max(0.0, math.fsum(excess) / len(excess)) if excess else 0.0


def _differences(effect: Effect) -> Floats:
    return np.asarray(effect.leave_one_out[:, 0] - effect.leave_one_out[:, 1])


def _without_each(effect: Effect, places: NDArray[np.intp], mishaps: int) -> Floats:
    """A level's difference without each of all g mishaps (g,): one that holds nobody of any level moves nothing."""
    moved = np.full(mishaps, effect.difference.value)
    moved[places] = _differences(effect)
    return moved


def _error(difference: Estimate) -> float:
    """The standard error that the interval shows: the jackknife's, or more where the interval was widened."""
    shown = (difference.high - difference.low) / 2 / t_quantile(difference.level, difference.df)
    return shown if _widened(difference) else difference.se


def _widened(difference: Estimate) -> bool:
    reach = t_quantile(difference.level, difference.df) * difference.se * (1 + 1e-9)
    return difference.low < difference.value - reach or difference.high > difference.value + reach


def _level(
    refits: Refits, name: str, rows: NDArray[np.bool_], effect: Effect, without: Floats, overall: Effect
) -> LevelEffect:
    model, difference = refits.model, effect.difference
    deviation = difference.value - overall.difference.value
    error = jackknife_error(deviation, without - _differences(overall))
    return LevelEffect(
        level=name,
        occupants=int(rows.sum()),
        trained=int(model.exposure[rows].sum()),
        died=int((model.outcome[rows] == 0).sum()),
        difference=difference,
        shrunken=math.nan,
        deviation=deviation,
        deviation_se=max(error, _error(difference)) if _widened(difference) else error,
    )


def _between(other: Effect, first: Effect) -> Estimate:
    """One level's difference minus that of the first level, in [-2, 2]."""
    one, base = other.difference, first.difference
    found = jackknife_estimate(
        one.value - base.value,
        _differences(other) - _differences(first),
        scale="identity",
        unit="difference",
        occupants=one.occupants + base.occupants,
        method=one.method,
        mishaps=min(one.mishaps, base.mishaps),
        level=one.level,
    )
    below = above = t_quantile(found.level, found.df) * found.se
    if _widened(one) or _widened(
        base
    ):  # the jackknife is blind to one of them: what both limits allow together
        below = max(below, math.hypot(one.value - one.low, base.high - base.value))
        above = max(above, math.hypot(one.high - one.value, base.value - base.low))
    return replace(found, low=max(found.value - below, -2.0), high=min(found.value + above, 2.0))
