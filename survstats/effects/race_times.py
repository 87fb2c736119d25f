"""What do the records give to the race: times of those who got out, in mishaps and in the pool, and the shares out?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.getting_out import WayOut
from survstats.effects.intervals import jackknife_estimate, t_quantile
from survstats.effects.run_rows import RunRows
from survstats.effects.time_rows import FEWEST_TIMED, bands
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
from survstats.groundwork.resampling import leave_one_out
from survstats.models.times.interval_time import fit_time, refit_time

Floats = NDArray[np.float64]

#: With fewer timed ways out, or fewer mishaps (people in the pool) with any, no median is given.
FEWEST_CLUSTERS = 5


@dataclass(frozen=True)
class SeenTimes:
    """Times of those who got out, as one lognormal.

    Attributes
    ----------
    median : Estimate
        In seconds; ``mishaps`` counts clusters.
    spread : float
        Of log seconds.
    """

    median: Estimate
    spread: float


def seen_times(lo: Floats, hi: Floats, cluster: pd.Series, *, level: float = 0.95) -> SeenTimes:
    """By when half of those who got out were out, with an interval that leaves out clusters.

    Parameters
    ----------
    lo, hi : (n,) arrays
        The time lies in (lo, hi], in seconds; exact where both are equal.
    cluster : Series of n labels
        Mishap, or person in the pool.
    level : float
        Coverage aimed at.

    Raises
    ------
    NotEstimable
        ``few_timed`` with fewer than ten times or five clusters, and those of `models.times.interval_time.fit_time`.
    """
    codes, labels = pd.factorize(cluster, sort=True)
    if len(lo) < FEWEST_TIMED or len(labels) < FEWEST_CLUSTERS:
        raise NotEstimable("few_timed", "Too few times are known.")
    matrix = np.ones((len(lo), 1))
    whole = fit_time(matrix, lo, hi, distribution="lognormal")
    refits = refit_time(
        *(matrix, lo, hi, codes.astype(np.int64), leave_one_out(len(labels))),
        distribution="lognormal",
        start=whole,
    )
    median = jackknife_estimate(
        math.exp(whole.coefficients[0]),
        np.exp(refits.coefficients[:, 0]),
        scale="log",
        unit="seconds",
        occupants=len(lo),
        method="lognormal",
        level=level,
    )
    return SeenTimes(median, whole.scale)


def mishap_times(known: WayOut, cluster: pd.Series) -> SeenTimes:
    """The same of people in mishaps who got out at a time of which anything is known; ``cluster`` has a label for each.

    Raises
    ------
    NotEstimable
        As `seen_times`.
    """
    (low, high), timed = bands(known), known.timed
    return seen_times(low[timed], high[timed], cluster[timed])


def pool_times(rows: RunRows, posture: str) -> SeenTimes:
    """The same of trainer runs of one posture that were out unaided.

    Raises
    ------
    NotEstimable
        As `seen_times`.
    """
    out = rows.frame["posture"].eq(posture).to_numpy() & np.isfinite(rows.hi)
    return seen_times(rows.lo[out], rows.hi[out], rows.frame.loc[out, "person"])


def ratio_of(one: Estimate, other: Estimate) -> Estimate:
    """The ratio of two medians from different people, with the smaller of both degrees of freedom."""
    df = min(one.df, other.df)
    se = math.hypot(one.se, other.se)
    middle, reach = math.log(one.value / other.value), t_quantile(one.level, df) * se
    return Estimate(
        value=math.exp(middle),
        low=math.exp(middle - reach),
        high=math.exp(middle + reach),
        se=se,
        level=one.level,
        df=df,
        scale="log",
        unit="ratio",
        method="lognormal",
        mishaps=one.mishaps,
        occupants=one.occupants,
    )


def share_known_out(ever: Floats, cluster: pd.Series, *, level: float = 0.95) -> Estimate:
    """Share who got out of those of whom it is known, with a mishap jackknife on the logit; ``ever`` is 1 or 0.

    Raises
    ------
    NotEstimable
        ``no_rows``; ``one_outcome`` where all or none of them got out, as where only survivors were asked;
        ``few_mishaps`` with fewer than five.
    """
    if len(ever) == 0 or ever.min() == ever.max():
        raise NotEstimable("one_outcome" if len(ever) else "no_rows", "All such people fared alike.")
    codes, labels = pd.factorize(cluster, sort=True)
    if len(labels) < FEWEST_CLUSTERS:
        raise NotEstimable("few_mishaps", "Too few mishaps hold such people.")
    out, there = (
        np.bincount(codes, weights=one, minlength=len(labels)) for one in (ever, np.ones(len(ever)))
    )
    without = (out.sum() - out) / (there.sum() - there)
    return jackknife_estimate(
        float(out.sum() / there.sum()),
        without,
        scale="logit",
        unit="share",
        occupants=len(ever),
        method="counted_jackknife",
        level=level,
    )


def side_of(low: float, high: float, other_low: float, other_high: float) -> str:
    """Whether one interval lies wholly ``above`` another, ``below`` it, or they meet (``alike``)."""
    return "above" if low > other_high else "below" if high < other_low else "alike"
