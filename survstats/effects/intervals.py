"""How far a compound number can be off by chance: the delete-one-mishap jackknife."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri, stdtrit

from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate, Scale, Unit, from_scale, to_scale


def t_quantile(level: float, df: float) -> float:
    """Two-sided t quantile for a coverage of ``level`` with ``df`` degrees of freedom."""
    return float(stdtrit(df, 0.5 + level / 2))


def normal_quantile(level: float) -> float:
    """Two-sided normal quantile for a coverage of ``level``."""
    return float(ndtri(0.5 + level / 2))


def jackknife_error(point: float, replicates: NDArray[np.float64], *, scale: Scale = "identity") -> float:
    """Standard error, on ``scale``, of a number recomputed with each of g mishaps left out.

    Parameters
    ----------
    point : float
        The number from all mishaps.
    replicates : ndarray of shape (g,)
        The number with mishap j left out.
    scale : {"identity", "log", "logit"}
        Where the differences are taken.

    Returns
    -------
    float
        Infinite where the number or a replicate lies on the edge of the scale.

    Notes
    -----
    V = (g - 1) / g * sum (theta_(-j) - theta)^2, centred at the full estimate (Efron and Stein 1981,
    doi:10.1214/aos/1176345462, centre at the mean; ours is never smaller).
    """
    mishaps = len(replicates)
    centre = to_scale(point, scale)
    moved = np.array([to_scale(float(value), scale) for value in replicates])
    if not (math.isfinite(centre) and np.isfinite(moved).all()):
        return math.inf
    return math.sqrt((mishaps - 1) / mishaps * float(np.sum((moved - centre) ** 2)))


def jackknife_estimate(
    point: float,
    replicates: NDArray[np.float64],
    *,
    scale: Scale,
    unit: Unit,
    occupants: int,
    method: str,
    mishaps: int | None = None,
    level: float = 0.95,
) -> Estimate:
    """A number with its jackknife interval, t with g - 1 degrees of freedom.

    Parameters
    ----------
    point, replicates, scale
        As in `jackknife_error`.
    unit : {"share", "difference", "ratio", "odds_ratio", "count"}
    occupants : int
        n of the rows behind the number.
    method : str
        Code of the method, kept with the number.
    mishaps : int, optional
        How many mishaps the number rests on, where that is fewer than the g left out in turn; it then gives the
        degrees of freedom.
    level : float
        Coverage aimed at.

    Returns
    -------
    Estimate
        With an infinite interval where a replicate lies on the edge of the scale.
    """
    mishaps = len(replicates) if mishaps is None else mishaps
    se = jackknife_error(point, replicates, scale=scale)
    reach = t_quantile(level, mishaps - 1) * se
    centre = to_scale(point, scale)
    bottom, top = edges(unit)
    if math.isfinite(reach) and math.isfinite(centre):
        low, high = from_scale(centre - reach, scale), from_scale(centre + reach, scale)
    else:
        low, high = bottom, top
    return Estimate(
        value=point,
        low=max(low, bottom),
        high=min(high, top),
        se=se,
        level=level,
        df=float(mishaps - 1),
        scale=scale,
        unit=unit,
        method=method,
        mishaps=mishaps,
        occupants=occupants,
    )


def number_needed(difference: Estimate) -> Estimate:
    """How many people would have to be trained for one more to live: 1 / RD, with both limits turned over.

    Parameters
    ----------
    difference : Estimate
        A difference in survival whose interval excludes 0. Where it is below 0 the number is too, and says for how
        many trained people one fewer lives.

    Raises
    ------
    NotEstimable
        ``difference_covers_zero``: 1 / RD would then run through infinity to the other sign (Altman 1998,
        doi:10.1136/bmj.317.7168.1309, from memory).
    """
    if not difference.excludes(0.0):
        raise NotEstimable("difference_covers_zero", "The interval of the difference holds 0.")
    return replace(
        difference,
        value=1 / difference.value,
        low=1 / difference.high,
        high=1 / difference.low,
        se=math.nan,
        unit="count",
    )


def edges(unit: Unit) -> tuple[float, float]:
    """The smallest and the largest value a number of this unit can take."""
    if unit == "difference":
        return -1.0, 1.0
    return 0.0, 1.0 if unit == "share" else math.inf
