"""Survival if all, if none had been trained: standardisation over the people who were there."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from survstats.effects.exact_table import clopper_pearson
from survstats.effects.intervals import jackknife_estimate
from survstats.effects.question import Target
from survstats.effects.risk_model import RiskModel
from survstats.groundwork.estimate import Estimate, Scale, Unit
from survstats.groundwork.resampling import leave_one_out

Floats = NDArray[np.float64]


def _first(trained: Floats, _untrained: Floats) -> Floats:
    return trained


def _second(_trained: Floats, untrained: Floats) -> Floats:
    return untrained


def _minus(trained: Floats, untrained: Floats) -> Floats:
    return trained - untrained


def _survival_ratio(trained: Floats, untrained: Floats) -> Floats:
    return trained / untrained


def _death_ratio(trained: Floats, untrained: Floats) -> Floats:
    return (1 - trained) / (1 - untrained)


def _odds_ratio(trained: Floats, untrained: Floats) -> Floats:
    return trained * (1 - untrained) / ((1 - trained) * untrained)


_CONTRASTS: dict[str, tuple[Callable[[Floats, Floats], Floats], Scale, Unit]] = {
    "if_all": (_first, "logit", "share"),
    "if_none": (_second, "logit", "share"),
    "difference": (_minus, "identity", "difference"),
    "survival_ratio": (_survival_ratio, "log", "ratio"),
    "death_ratio": (_death_ratio, "log", "ratio"),
    "odds_ratio": (_odds_ratio, "log", "odds_ratio"),
}


@dataclass(frozen=True)
class Effect:
    """What training would change, averaged over a target group.

    Attributes
    ----------
    target : {"all", "untrained", "trained"}
    if_all, if_none : Estimate
        Survival if all, if none of the target had been trained (psi1, psi0).
    difference : Estimate
        psi1 - psi0.
    survival_ratio, death_ratio, odds_ratio : Estimate
        psi1 / psi0, (1 - psi1) / (1 - psi0), and the marginal odds ratio.
    leave_one_out : ndarray of shape (g, 2)
        psi1 and psi0 with mishap j left out.
    """

    target: Target
    if_all: Estimate
    if_none: Estimate
    difference: Estimate
    survival_ratio: Estimate
    death_ratio: Estimate
    odds_ratio: Estimate
    leave_one_out: Floats


def standardise(model: RiskModel, *, target: Target = "all", level: float = 0.95) -> Effect:
    """Survival if all, if none had been trained, and how they compare, with mishap-jackknife intervals.

    Parameters
    ----------
    model : RiskModel
    target : {"all", "untrained", "trained"}
        Average over everybody (ATE), over those who never were trained (ATU), over the trained (ATT).
    level : float
        Coverage aimed at.

    Notes
    -----
    Where nobody of a group died, or nobody lived, the jackknife sees no spread in it. There the limits of that
    group's survival are at least the exact ones of its raw counts (Clopper and Pearson), and those of the
    difference at least what the two groups' limits allow together (as in Newcombe's hybrid).

    Standardisation over the covariates of the target (g-computation): Robins 1986
    (doi:10.1016/0270-0255(86)90088-6). It leaves out whatever was not measured.
    """
    point = model.risks(np.ones((1, model.mishaps)), target=target)[0]
    left_out = model.risks(leave_one_out(model.mishaps), target=target)
    occupants = model.occupants
    if target != "all":
        occupants = int(np.sum(model.exposure == (1.0 if target == "trained" else 0.0)))

    def estimate(number: str) -> Estimate:
        contrast, scale, unit = _CONTRASTS[number]
        return jackknife_estimate(
            float(contrast(*point)),
            contrast(left_out[:, 0], left_out[:, 1]),
            scale=scale,
            unit=unit,
            occupants=occupants,
            method=model.method,
            level=level,
        )

    effect = Effect(target=target, leave_one_out=left_out, **{name: estimate(name) for name in _CONTRASTS})
    return _widened(effect, model, level)


def _widened(effect: Effect, model: RiskModel, level: float) -> Effect:
    arms = []
    for found, group in ((effect.if_all, 1.0), (effect.if_none, 0.0)):
        outcomes = model.outcome[model.exposure == group]
        low, high = found.low, found.high
        if outcomes.min() == outcomes.max():
            exact = clopper_pearson(int(outcomes.sum()), len(outcomes), level=level)
            low, high = min(low, exact[0]), max(high, exact[1])
        arms.append(replace(found, low=low, high=high))
    trained, untrained = arms
    if (trained, untrained) == (effect.if_all, effect.if_none):
        return effect
    difference = effect.difference
    below = math.hypot(trained.value - trained.low, untrained.high - untrained.value)
    above = math.hypot(trained.high - trained.value, untrained.value - untrained.low)
    wider = replace(
        difference,
        low=min(difference.low, difference.value - below),
        high=max(difference.high, difference.value + above),
    )
    return replace(effect, if_all=trained, if_none=untrained, difference=wider)
