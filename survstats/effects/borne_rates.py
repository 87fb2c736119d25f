"""What do the rates of decay that the data can bear say: a half-life, and limits of what hangs on the rate?"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
from survstats.models.decay_profile import RateRange, RateScale

Floats = NDArray[np.float64]

#: Fewer elapsed times than these show no decay (common practice, no source).
FEWEST_DATED = 20
#: The late times must be so many times the early ones (ninth and first tenth), or there is nothing to see decay.
SPREAD = 2.0
#: Half-lives are looked for from the first tenth of the observed times upward: few rows could show shorter ones.
SHORTEST_SHARE = 0.1


def rate_scale(observed: Floats) -> RateScale:
    """The rates to look at, from the elapsed times observed.

    Parameters
    ----------
    observed : (n,) array
        One elapsed time for each that was exposed at a known time.

    Raises
    ------
    NotEstimable
        ``too_few_dated``, ``no_spread_of_months``.
    """
    if len(observed) < FEWEST_DATED:
        raise NotEstimable("too_few_dated", "Too few people have a hands-on course of known date.")
    early, middle, late = np.quantile(observed, [SHORTEST_SHARE, 0.5, 1 - SHORTEST_SHARE])
    if late < SPREAD * early or not middle > 0:
        raise NotEstimable(
            "no_spread_of_months", "All courses lie about as long back: nothing can be seen to fade."
        )
    return RateScale(unit=math.log(2) / middle, fastest=math.log(2) / max(early, middle / 20))


def no_half_life(found: RateRange) -> str | None:
    """Why the data tell no half-life, as a code; None where they tell one.

    ``no_gain_shown``: a model without any effect fits them as well; ``fading_unbounded``: they bear every rate, from
    none to the fastest looked at; ``fading_no_gain``: the fitted effect is no gain; ``fading_not_seen``: a lasting
    effect fits best; ``fading_too_fast``: the best rate is the fastest looked at.
    """
    if not found.no_effect_excluded:
        return "no_gain_shown"
    if found.size <= 0:
        return "fading_no_gain"
    if found.at_zero:
        return "fading_unbounded" if found.fastest is None else "fading_not_seen"
    if found.at_fastest:
        return "fading_unbounded" if found.slowest is None else "fading_too_fast"
    return "fading_unbounded" if found.slowest is None and found.fastest is None else None


def half_life(
    found: RateRange, *, level: float, df: float, method: str, clusters: int, rows: int
) -> Estimate:
    """The half-life at the best rate, and at the outermost rates that can be borne; in the unit of elapsed time.

    Parameters
    ----------
    found : RateRange
        Of which `no_half_life` is None.
    level, df, method
        Kept with the number.
    clusters, rows : int
        How many of each it rests on.
    """
    return Estimate(
        value=math.log(2) / found.rate,
        low=0.0 if found.fastest is None else math.log(2) / found.fastest,
        high=math.inf if found.slowest is None else math.log(2) / found.slowest,
        se=math.nan,
        level=level,
        df=df,
        scale="log",
        unit="months",
        method=method,
        mishaps=clusters,
        occupants=rows,
    )


def over_borne_rates(
    at: Floats, values: Floats, errors: Floats, quantile: Floats, scale: RateScale, found: RateRange
) -> tuple[Floats, Floats, Floats]:
    """Numbers at the best rate, and their outermost limits over all rates that can be borne.

    Were the rate known, each number would have its own limits. A rate that falls by d in the scaled profile leaves the
    square root of (quantile squared - d) of them; the limits are the outermost over all rates, as those of a profile of
    the number itself would be.

    Parameters
    ----------
    at : (l,) array
        Places of the rates that were fitted, see `RateScale`.
    values, errors : (l, q) arrays
        Each number at each rate, and its standard error were that rate known.
    quantile : (q,) array
        Of t.
    scale : RateScale
    found : RateRange

    Returns
    -------
    tuple of three (q,) arrays
        Value, lower and upper limit.
    """
    value = CubicSpline(at, values)(scale.place(found.rate))
    left = quantile**2 - found.falls[:, None]
    reach = np.sqrt(np.maximum(left, 0.0)) * CubicSpline(at, errors)(found.places)
    centre = np.where(left >= 0, CubicSpline(at, values)(found.places), np.nan)
    low, high = np.nanmin(centre - reach, axis=0), np.nanmax(centre + reach, axis=0)
    return np.asarray(value), np.minimum(low, value), np.maximum(high, value)
