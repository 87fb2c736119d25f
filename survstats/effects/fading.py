"""How fast does the difference that training makes fade, as far as the records can show it?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.borne_rates import half_life, no_half_life, rate_scale
from survstats.effects.fading_differences import Comparison, compare, differences, profiled
from survstats.effects.recency import EDGES, Groups, groups_of
from survstats.effects.risk_model import refuse_thin
from survstats.effects.undated import complete_months
from survstats.groundwork.estimate import Estimate
from survstats.models.decay_profile import RateRange, rate_range

Floats = NDArray[np.float64]

DRAWS = 20
CURVE_POINTS = 25
#: A date is no better than to the month, so a month asked for counts as observed so near the first or last one.
WITHIN_MONTHS = 1.0
_EXPOSED = "hands_on"


@dataclass(frozen=True)
class Fading:
    """The difference by months since training, and how fast it halves.

    Attributes
    ----------
    half_life_months : Estimate or None
        Months in which the effect on the log odds halves; a limit of 0 or infinity means that there is none.
    reason : str or None
        Why there is no half-life: ``no_gain_shown`` (the records do not show an effect that could fade),
        ``fading_unbounded`` (every rate fits, from none to the fastest looked at),
        ``fading_no_gain`` (the fitted effect is no gain), ``fading_not_seen`` (a lasting effect fits best),
        ``fading_too_fast`` (the best fit lies below the shortest half-life these months can show).
    at_least_months : float or None
        Where a lasting effect fits best: half-lives below this do not fit.
    at : tuple of (float, Estimate)
        Difference in survival had all been trained so many months before, minus had none been, at the months asked
        for that lie inside the observed ones.
    curve : tuple of (float, Estimate)
        The same from the first to the last month observed.
    first_month, last_month : float
        Of the courses whose date is known.
    never, dated, dates_imputed : int
        People never trained, trained at a known date, and trained at a date that was drawn.
    draws : int
        Completed sets; 1 where no date was missing.
    """

    half_life_months: Estimate | None
    reason: str | None
    at_least_months: float | None
    at: tuple[tuple[float, Estimate], ...]
    curve: tuple[tuple[float, Estimate], ...]
    first_month: float
    last_month: float
    never: int
    dated: int
    dates_imputed: int
    draws: int


def fading(
    frame: pd.DataFrame,
    *,
    outcome: str,
    status: str,
    months: str,
    covariates: Sequence[str],
    cluster: str,
    rng: np.random.Generator,
    asked: Sequence[float] = EDGES,
    alike: Sequence[str] = ("role",),
    draws: int = DRAWS,
    level: float = 0.95,
) -> Fading:
    """Half-life of the training effect, and the difference in survival by months since training.

    The model is logit P(survived) = covariates + size * trained * exp(-rate * months). The rate is profiled over a
    grid; differences are standardised over everybody in the comparison (the never trained and all hands-on trained).
    Their limits join the mishap jackknife at each rate with the rates that can be borne, because the jackknife of the
    best rate alone comes out too narrow late in time (81 of 100 intervals held the truth at 48 months in simulated
    worlds of 60 mishaps).

    Parameters
    ----------
    frame : DataFrame of n rows
    outcome, status, months, cluster : str
        Columns; for ``status`` and ``months`` see `recency.groups_of`.
    covariates : sequence of str
        Columns measured before immersion; gaps are coded as such.
    rng : Generator
        For the dates that are drawn; unused where none is missing.
    asked : sequence of float
        Months at which the difference is given, where they were observed.
    alike : sequence of str
        Columns in which the giver of a date must be like the taker, beside the outcome; those the frame has.
    draws : int
        Completed sets where dates are missing, at least 2.
    level : float
        Coverage aimed at.

    Raises
    ------
    NotEstimable
        ``too_few_dated``, ``no_spread_of_months``; ``no_rows``, ``one_arm``, ``one_outcome``, ``one_mishap``,
        ``too_many_fields``, ``arm_in_one_mishap``, ``not_converged`` as for the main model. A half-life that cannot be
        told does not raise: it is None with a reason.

    Notes
    -----
    The half-life's limits allow for mishaps by the variance of the rate's score with each mishap left out (see
    `models.decay_profile`). No number is given outside the months observed. With more than 240 mishaps they are left
    out in 60 groups (delete-a-group jackknife, common practice, no source).
    """
    groups = groups_of(frame, status=status, months=months)
    kept = groups.never | groups.dated | groups.undated
    rows = frame.loc[kept].reset_index(drop=True)
    inside = Groups(groups.never[kept], groups.dated[kept], groups.undated[kept])
    rows = rows.assign(**{_EXPOSED: (~inside.never).astype(float)})
    refuse_thin(rows, outcome, _EXPOSED, cluster)
    observed = np.sort(rows[months].to_numpy(float)[inside.dated])
    scale = rate_scale(observed)
    strata = [outcome, *(name for name in alike if name in rows.columns)]
    since = [
        complete_months(rows, months=months, undated=inside.undated, strata=strata, cluster=cluster, rng=rng)
        for _ in range(draws if inside.undated.any() else 1)
    ]
    whole = compare(
        rows, outcome=outcome, exposure=_EXPOSED, covariates=covariates, cluster=cluster, level=level
    )
    sets, whole = profiled(whole, since, scale)
    found = rate_range(sets, scale, df=whole.df, level=level)
    reason = no_half_life(found)
    wanted = [
        month for month in asked if observed[0] - WITHIN_MONTHS <= month <= observed[-1] + WITHIN_MONTHS
    ]
    places = [*wanted, *np.linspace(observed[0], observed[-1], CURVE_POINTS)]
    found_at = list(zip(map(float, places), differences(whole, sets, scale, found, places), strict=True))
    return Fading(
        half_life_months=_half_life(found, whole) if reason is None else None,
        reason=reason,
        at_least_months=math.log(2) / found.fastest
        if reason == "fading_not_seen" and found.fastest
        else None,
        at=tuple(found_at[: len(wanted)]),
        curve=tuple(found_at[len(wanted) :]),
        first_month=float(observed[0]),
        last_month=float(observed[-1]),
        never=int(inside.never.sum()),
        dated=int(inside.dated.sum()),
        dates_imputed=int(inside.undated.sum()),
        draws=len(since),
    )


def _half_life(found: RateRange, whole: Comparison) -> Estimate:
    return half_life(
        found,
        level=whole.level,
        df=whole.df,
        method=f"{whole.method}_scaled_profile",
        clusters=len(whole.design.mishap_labels),
        rows=len(whole.outcome),
    )
