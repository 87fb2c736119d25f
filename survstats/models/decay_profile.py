"""Which rates of decay can the data bear, from the likelihood at a grid of rates?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.special import fdtri, stdtrit

from survstats.models.fading_curve import EXPOSURE_COLUMN, RateFits

Floats = NDArray[np.float64]

FINE = 801  # places between the grid's ends at which the interpolated profile is looked at


@dataclass(frozen=True)
class RateScale:
    """Rates as places in [0, 1): rate / (rate + unit), so that a grid is even where the curve bends.

    Attributes
    ----------
    unit : float
        The rate in the middle.
    fastest : float
        The highest rate looked at.
    """

    unit: float
    fastest: float

    def place(self, rate: Floats | float) -> Floats:
        """Where the rates stand."""
        return np.asarray(rate / (np.asarray(rate) + self.unit))

    def rate(self, place: Floats | float) -> Floats:
        """The rates that stand there."""
        return np.asarray(self.unit * np.asarray(place) / (1 - np.asarray(place)))

    def grid(self, points: int) -> Floats:
        """Rates from 0 to the fastest, evenly spaced in place, shape (points,)."""
        return self.rate(np.linspace(0, float(self.place(self.fastest)), points))


@dataclass(frozen=True)
class RateRange:
    """The rate that fits best and those that the data can bear.

    Attributes
    ----------
    rate : float
        Where the profile is highest.
    slowest, fastest : float or None
        Limits; None where the profile does not fall far enough before rate 0, before the highest rate looked at.
    at_zero, at_fastest : bool
        Whether the best rate lies at that end of the grid.
    size : float
        The effect at time 0 at the best rate, on the scale of the linear predictor.
    no_effect_excluded : bool
        Whether a model without any effect fits too badly to be believed.
    places : (f,) array
        Closely spaced places of rates, see `RateScale`.
    falls : (f,) array
        Twice the fall of the profile there, scaled; a rate can be borne where it is at most a squared t quantile.
    """

    rate: float
    slowest: float | None
    fastest: float | None
    at_zero: bool
    at_fastest: bool
    size: float
    no_effect_excluded: bool
    places: Floats
    falls: Floats


def rate_range(sets: Sequence[RateFits], scale: RateScale, *, df: float, level: float) -> RateRange:
    """Best rate and limits from the profiles of m completed sets of rows (one where nothing was completed).

    Twice the fall of the mean profile is divided by the inflation that mishaps cause (never less than 1) and by
    one plus the share that the completed values add, and held against the square of a t quantile; for no effect,
    where size and rate both go, against twice an F quantile with two degrees of freedom.

    Parameters
    ----------
    sets : sequence of RateFits
        All at the same rates; the inflation is the mean of those that have one.
    scale : RateScale
    df : float
        Of the quantiles: mishaps less one.
    level : float
        Coverage aimed at.

    Notes
    -----
    Likelihood scaled to the variance of its score: Rotnitzky and Jewell 1990 (doi:10.1093/biomet/77.3.485); over
    completed sets: Meng and Rubin 1992 (doi:10.1093/biomet/79.1.103), with the mean of the profiles in place of a
    common one. Both from memory. Coverage was found by simulation, see the tests.
    """
    at = scale.place(sets[0].rates)
    fine = np.linspace(0.0, float(at[-1]), FINE)
    heights = np.array([CubicSpline(at, fits.log_likelihood[:, 0])(fine) for fits in sets])
    mean = heights.mean(axis=0)
    best = int(mean.argmax())
    apart = 2 * (heights.max(axis=1, keepdims=True) - heights).mean(axis=0)
    fall = 2 * (mean[best] - mean)
    scaled = fall / (_inflation(sets, "inflation", at, fine) * (1 + _added(apart - fall, len(sets))))
    goal = float(stdtrit(df, 0.5 + level / 2)) ** 2
    beyond = scaled > goal
    below, above = np.flatnonzero(beyond[:best]), best + np.flatnonzero(beyond[best:])
    without = np.mean([np.interp(fine[best], at, fits.without) for fits in sets])
    shifted = 2 * (heights.max(axis=1).mean() - mean[best])
    extra = float(_added(shifted / 2, len(sets)))  # two parameters
    gain = 2 * (mean[best] - without) / (_inflation(sets, "size_inflation", at, fine)[best] * (1 + extra))
    vertex = _vertex(fine, mean, best)
    sizes = [CubicSpline(at, fits.coefficients[:, 0, EXPOSURE_COLUMN])(vertex) for fits in sets]
    return RateRange(
        rate=float(scale.rate(vertex)),
        slowest=float(scale.rate(_crossing(fine, scaled, below[-1], below[-1] + 1, goal)))
        if below.size
        else None,
        fastest=float(scale.rate(_crossing(fine, scaled, above[0], above[0] - 1, goal)))
        if above.size
        else None,
        at_zero=best == 0,
        at_fastest=best == FINE - 1,
        size=float(np.mean(sizes)),
        no_effect_excluded=bool(gain > 2 * fdtri(2, df, level)),
        places=fine,
        falls=scaled,
    )


def _vertex(fine: Floats, heights: Floats, best: int) -> float:
    """Top of the parabola through the highest place and its neighbours."""
    if best in (0, len(fine) - 1):
        return float(fine[best])
    left, middle, right = heights[best - 1 : best + 2]
    bend = left - 2 * middle + right
    shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return float(fine[best] + np.clip(shift, -1, 1) * (fine[1] - fine[0]))


def _crossing(fine: Floats, scaled: Floats, outside: int, inside: int, goal: float) -> float:
    """Where the scaled fall reaches the goal, between a place outside and its neighbour inside."""
    share = (goal - scaled[inside]) / (scaled[outside] - scaled[inside])
    return float(fine[inside] + share * (fine[outside] - fine[inside]))


def _inflation(sets: Sequence[RateFits], name: str, at: Floats, fine: Floats) -> Floats:
    known = [getattr(fits, name) for fits in sets if np.isfinite(getattr(fits, name)).all()]
    return np.maximum(np.interp(fine, at, np.mean(known, axis=0)), 1.0)


def _added(apart: Floats | float, sets: int) -> Floats | float:
    """Share of variance that the completed values add (Meng and Rubin's r for one parameter)."""
    return np.maximum(apart, 0.0) * (sets + 1) / (sets - 1) if sets > 1 else np.zeros_like(apart)
