"""What difference does training so many months ago make, at each rate of fading and over all that can be borne?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.borne_rates import over_borne_rates
from survstats.effects.intervals import t_quantile
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
from survstats.models.collapsed import gather, one_plus_exp
from survstats.models.decay_profile import RateRange, RateScale, rate_range
from survstats.models.design import Design, build_design, fill_gaps
from survstats.models.fading_curve import EXPOSURE_COLUMN, Decaying, RateFits, fit_rates
from survstats.models.pooling import pool
from survstats.models.separation import find_separation

Floats = NDArray[np.float64]

GRID = 13
#: In how many of the completed sets mishaps are left out; the others take the mean of these variances.
LEFT_OUT_IN = 5
#: With more mishaps than the first they are left out in groups, as many as the second.
MOST_LEFT_OUT = (240, 60)


@dataclass(frozen=True)
class Comparison:
    """What all completed sets share.

    Attributes
    ----------
    design : Design
        n rows, the exposure in column 1.
    untrained : (n, k) array
        The design with nobody exposed.
    outcome : (n,) array
    weights : (1 + b, g) array
        All mishaps, then each (or each group) left out.
    penalised : bool
    level : float
        Coverage aimed at.
    """

    design: Design
    untrained: Floats
    outcome: Floats
    weights: Floats
    penalised: bool
    level: float

    @property
    def method(self) -> str:
        """Code of the method behind every number."""
        return "fading_firth_flic" if self.penalised else "fading_ml"

    @property
    def df(self) -> float:
        """Degrees of freedom: left out in turn, less one."""
        return len(self.weights) - 2.0


def compare(
    rows: pd.DataFrame, *, outcome: str, exposure: str, covariates: Sequence[str], cluster: str, level: float
) -> Comparison:
    """Set up the comparison.

    Raises
    ------
    NotEstimable
        ``too_many_fields`` where fewer died, or fewer lived, than numbers are to be fitted.
    """
    filled, terms, _ = fill_gaps(rows, covariates)
    design = build_design(filled, [exposure, *terms], cluster=cluster)
    lived = filled[outcome].to_numpy(float)
    if min(lived.sum(), len(lived) - lived.sum()) < len(design.columns) + 1:
        raise NotEstimable(
            "too_many_fields",
            "There are fewer deaths, or fewer survivors, than numbers to be fitted.",
            "Adjust for fewer fields.",
        )
    return Comparison(
        design=design,
        untrained=design.apply(filled, setting={exposure: 0.0}),
        outcome=lived,
        weights=_weights(len(design.mishap_labels)),
        penalised=find_separation(design.matrix, lived).kind != "none",
        level=level,
    )


def _weights(mishaps: int) -> Floats:
    """All mishaps, then each left out; in groups where there are many. Shape (1 + groups, g)."""
    most, groups = MOST_LEFT_OUT
    group = np.arange(mishaps) % (groups if mishaps > most else mishaps)
    left_out = (group != np.arange(group.max() + 1)[:, None]).astype(float)
    return np.vstack([np.ones(mishaps), left_out])


def profiled(
    whole: Comparison, since: Sequence[Floats], scale: RateScale
) -> tuple[list[RateFits], Comparison]:
    """The fits of every completed set over the grid, and again where the best rate and its limits lie."""
    try:
        sets = _fit_sets(whole, since, scale.grid(GRID))
    except NotEstimable as fault:
        if whole.penalised or fault.reason != "not_converged":
            raise
        whole = replace(whole, penalised=True)
        sets = _fit_sets(whole, since, scale.grid(GRID))
    first = rate_range(sets, scale, df=whole.df, level=whole.level)
    near = [rate for rate in (first.slowest, first.rate, first.fastest) if rate is not None]
    extra = [rate for rate in near if np.abs(scale.place(sets[0].rates) - scale.place(rate)).min() > 1e-3]
    if not extra:
        return sets, whole
    return [one.merged(more) for one, more in zip(sets, _fit_sets(whole, since, extra), strict=True)], whole


def _fit_sets(whole: Comparison, since: Sequence[Floats], rates: Sequence[float] | Floats) -> list[RateFits]:
    rows = [
        Decaying(whole.design.matrix, whole.outcome, months, whole.design.mishap_codes, whole.penalised)
        for months in since
    ]
    return [
        fit_rates(one, list(rates), whole.weights if index < LEFT_OUT_IN else whole.weights[:1])
        for index, one in enumerate(rows)
    ]


def differences(
    whole: Comparison, sets: Sequence[RateFits], scale: RateScale, found: RateRange, months: Sequence[float]
) -> list[Estimate]:
    """The difference at each month: at the best rate, with limits over all rates that can be borne.

    Were the rate known, it would have jackknife limits; `effects.borne_rates` says what is left of them.
    """
    at = scale.place(sets[0].rates)
    values, errors, df = _at_each_rate(whole, sets, months)
    quantile = np.array([t_quantile(whole.level, one) for one in df])
    value, low, high = over_borne_rates(at, values, errors, quantile, scale, found)
    return [
        Estimate(
            value=float(value[place]),
            low=max(-1.0, float(low[place])),
            high=min(1.0, float(high[place])),
            se=math.nan,
            level=whole.level,
            df=float(df[place]),
            scale="identity",
            unit="difference",
            method=whole.method,
            mishaps=len(whole.design.mishap_labels),
            occupants=len(whole.outcome),
        )
        for place in range(len(months))
    ]


def _at_each_rate(
    whole: Comparison, sets: Sequence[RateFits], months: Sequence[float]
) -> tuple[Floats, Floats, Floats]:
    """Difference and its standard error were the rate known, (l, q) for l rates and q months; df (q,)."""
    moved = [_moved(whole, fits, months) for fits in sets]
    values = np.array([one[:, 0] for one in moved])
    left_out = [one for one in moved if one.shape[1] > 1]
    count = left_out[0].shape[1] - 1
    within = np.mean(
        [(count - 1) / count * np.sum((one[:, 1:] - one[:, :1]) ** 2, axis=1) for one in left_out], axis=0
    )
    if len(sets) == 1:
        return values[0], np.sqrt(within), np.full(len(months), whole.df)
    errors, df = np.empty_like(within), np.empty_like(within)
    for rate, month in np.ndindex(within.shape):
        own = np.full(len(sets), within[rate, month])
        pooled = pool(values[:, rate, month], own, complete_df=whole.df)
        errors[rate, month], df[rate, month] = pooled.se, pooled.df
    return values.mean(axis=0), errors, df.min(axis=0)


def _moved(whole: Comparison, fits: RateFits, months: Sequence[float]) -> Floats:
    """The difference at each of l rates under each of b weights, at each of q months: shape (l, b, q)."""
    weights = whole.weights[: fits.log_likelihood.shape[1]]
    patterns, counts = gather(whole.untrained, whole.design.mishap_codes, weights.shape[1])
    people = counts @ weights.T
    people /= people.sum(axis=0)
    found = np.empty((*fits.log_likelihood.shape, len(months)))
    for index, (rate, coefficients) in enumerate(zip(fits.rates, fits.coefficients, strict=True)):
        background = patterns @ coefficients.T
        never = _mean_risk(people, background)
        for place, month in enumerate(months):
            held = coefficients[:, EXPOSURE_COLUMN] * math.exp(-rate * month)
            found[index, :, place] = _mean_risk(people, background + held) - never
    return found


def _mean_risk(people: Floats, linear: Floats) -> Floats:
    return np.asarray((people / one_plus_exp(-linear)).sum(axis=0))
