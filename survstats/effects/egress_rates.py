"""At what rate do the trained get out, among those not yet out, as a multiple of the untrained's rate?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.intervals import t_quantile
from survstats.effects.time_model import TimeModel
from survstats.effects.time_rows import FEWEST_MISHAPS, TimeRows, bands
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
from survstats.models.design import build_design
from survstats.models.pooling import pool
from survstats.models.times.cox import CoxFit, fit_cox
from survstats.models.times.interval_time import distribution_quantile, distribution_share
from survstats.models.times.proportional import proportional_check

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Proportional = Literal["kept", "doubtful", "not_checked"]

#: How often the times inside the bands are drawn.
DRAWS = 20
#: Below this p-value a constant ratio of rates is doubted.
_DOUBT = 0.05
#: Where a column is the same for all of a mishap, less its mean it is no more than this share of its size.
_NOISE = 1e-9


@dataclass(frozen=True)
class DrawnTimes:
    """When each of n people left the count of those still inside, m times drawn.

    Attributes
    ----------
    time : ndarray of shape (m, n)
        Seconds; of who never got out, later than anybody's.
    out : ndarray of shape (n,)
        1 got out at that time, 0 did not.
    """

    time: Floats
    out: Floats


@dataclass(frozen=True)
class Rates:
    """The ratio of the rates of getting out, one way of comparing.

    Attributes
    ----------
    ratio : Estimate
    proportional : {"kept", "doubtful", "not_checked"}
        Whether one ratio for all seconds can stand.
    """

    ratio: Estimate
    proportional: Proportional


def draw_times(model: TimeModel, rng: np.random.Generator, *, draws: int = DRAWS) -> DrawnTimes:
    """Times out drawn inside their bands from the model of times, parameters drawn anew as mishaps let them vary.

    Parameters
    ----------
    model : TimeModel
        Whose people are in an order that neither their ids nor their places in the files decide.
    rng : Generator
    draws : int
        m.

    Raises
    ------
    NotEstimable
        ``unseen_level`` where somebody got out who is of a kind of which nobody has a time.

    Notes
    -----
    Only who got out is given a time, inside the band that is recorded. The dead inside stay among those not yet out
    for good: no time of theirs is known, and none is needed, since they never leave the count (Fine and Gray 1999,
    doi:10.1080/01621459.1999.10474144). Who was last seen inside leaves the count at that second.
    """
    rows = model.rows
    low, high = bands(rows.known)
    out = rows.known.ever == 1
    matrix = rows.design.apply(rows.filled.loc[out])
    pulls = model.pulls
    centre = np.append(model.coefficients[0], math.log(model.scale[0]))
    time = np.empty((draws, len(out)))
    for draw in range(draws):
        at = centre + rng.standard_normal(len(pulls)) @ pulls
        time[draw, out] = _inside(model, matrix @ at[:-1], math.exp(at[-1]), low[out], high[out], rng)
    time[:, ~out] = low[~out]
    last = float(time.max()) + 1.0
    time[:, rows.known.ever == 0] = last
    return DrawnTimes(time, out.astype(float))


def _inside(
    model: TimeModel, centre: Floats, scale: float, low: Floats, high: Floats, rng: np.random.Generator
) -> Floats:
    """One time inside each band; of an exact one, that."""
    with np.errstate(divide="ignore"):
        ends = [distribution_share((np.log(end) - centre) / scale, model.distribution) for end in (low, high)]
    share = ends[0] + rng.random(len(low)) * (ends[1] - ends[0])
    share = np.clip(share, 1e-12, 1 - 1e-12)
    drawn = np.exp(centre + scale * distribution_quantile(share, model.distribution))
    return np.asarray(np.clip(drawn, np.maximum(low, np.finfo(float).tiny), high))


def rates(
    rows: TimeRows, drawn: DrawnTimes, *, within: bool, check: bool = True, level: float = 0.95
) -> Rates:
    """The rate of getting out among those not yet out, trained over untrained, adjusted for the covariates.

    Parameters
    ----------
    rows : TimeRows
    drawn : DrawnTimes
        Of the same people.
    within : bool
        Compare people of the same mishap only; what is the same for all of a mishap is then not adjusted for.
    check : bool
        Whether to ask if one ratio for all seconds can stand.
    level : float

    Raises
    ------
    NotEstimable
        ``one_outcome`` where nobody compared stayed inside, as when only survivors were asked; ``few_mishaps`` where
        fewer than five mishaps compare anybody; as `fit_cox`.

    Notes
    -----
    Cox regression with errors from the spread between mishaps, times g / (g - 1), in each set of drawn times; the sets
    are pooled by Rubin's rules with mishaps - 1 complete degrees of freedom. It is no statement on survival.
    """
    if drawn.out.all():
        raise NotEstimable("one_outcome", "Nobody compared is known to have stayed inside.")
    matrix, use, mishaps = _columns(rows, within=within)
    codes = rows.codes[use]
    strata = codes if within else None
    fits = [fit_cox(matrix, time[use], drawn.out[use], strata=strata, codes=codes) for time in drawn.time]
    factor = mishaps / (mishaps - 1)
    pooled = pool(
        [fit.coefficients[0] for fit in fits],
        [factor * fit.se[0] ** 2 for fit in fits],
        complete_df=mishaps - 1,
    )
    reach = t_quantile(level, pooled.df) * pooled.se
    ratio = Estimate(
        value=math.exp(pooled.value),
        low=math.exp(pooled.value - reach),
        high=math.exp(pooled.value + reach),
        se=pooled.se,
        level=level,
        df=pooled.df,
        scale="log",
        unit="ratio",
        method="cox_within" if within else "cox",
        mishaps=mishaps,
        occupants=int(use.sum()),
    )
    return Rates(ratio, _proportional(fits) if check else "not_checked")


def _columns(rows: TimeRows, *, within: bool) -> tuple[Floats, Bools, int]:
    """Covariates of the people used, who they are, and how many mishaps compare anybody.

    Within mishaps only those count in which somebody got out, and a column that does not vary inside any of them, or
    says no more there than those before it, is left out.
    """
    names = [rows.exposure, *rows.terms]
    whole = build_design(rows.filled, names).matrix[:, 1:]
    use = np.ones(len(whole), dtype=bool)
    if within:
        any_out = np.bincount(rows.codes, rows.known.ever == 1, minlength=rows.mishaps) > 0
        use = any_out[rows.codes]
        codes, matrix = rows.codes[use], whole[use]
        size = np.maximum(np.bincount(codes, minlength=rows.mishaps), 1)[:, None]
        sums = np.column_stack([np.bincount(codes, column, minlength=rows.mishaps) for column in matrix.T])
        centred = matrix - (sums / size)[codes]
        centred[np.abs(centred) <= _NOISE * np.abs(matrix).max(axis=0)] = 0.0
        frame = pd.DataFrame(centred, columns=[str(column) for column in range(centred.shape[1])])
        kept = [int(name) for name in build_design(frame, list(frame.columns)).columns[1:]]
        compare = np.unique(codes[centred[:, 0] != 0])
        if 0 not in kept:
            raise NotEstimable("few_mishaps", "No mishap holds people of both groups.")
        whole = whole[:, kept]
    else:
        compare = np.unique(rows.codes)
    if len(compare) < FEWEST_MISHAPS:
        raise NotEstimable("few_mishaps", f"{len(compare)} mishaps compare anybody.")
    return whole[use], use, len(compare)


def _proportional(fits: list[CoxFit]) -> Proportional:
    """Whether the ratio of the trained's rate stays the same, by the middle p-value over the drawn sets."""
    values = [float(proportional_check(fit).p[0]) for fit in fits]
    return "doubtful" if float(np.median(values)) < _DOUBT else "kept"
