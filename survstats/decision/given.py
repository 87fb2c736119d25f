"""Which values of a given figure are plausible: the shape of what is not known of it, and draws from that."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize_scalar
from scipy.special import betainc, betaincinv, ndtr, ndtri

from survstats.decision.conventions import TAIL
from survstats.groundwork.errors import StudyFileError

Floats = NDArray[np.float64]
Shape = Literal["known", "uniform", "normal", "lognormal", "beta"]

#: How many standard deviations away from the middle each limit of a normal shape lies.
REACH = float(ndtri(1 - TAIL))
#: How far a limit of a beta may lie from the one that was given, as a share of their distance (ours, no source).
BETA_TOLERANCE = 0.1
#: The share that a beta may leave beyond a limit in place of `TAIL` (ours, no source).
_LEAST_BEYOND, _MOST_BEYOND = 0.01, 0.05
_FEWEST, _MOST = -1.0, 10.0  # log10 of the people a beta may be worth


@dataclass(frozen=True)
class Given:
    """A figure that somebody gives, and how sure it is.

    Attributes
    ----------
    name : str
        What the study file calls it.
    value : float
        Median of a normal or lognormal shape, mean of a beta; of a uniform one merely a value between the ends.
    low, high : float or None
        The ends of a uniform shape; of all others limits that hold 95 %. None where ``shape`` is ``known``.
    shape : {"known", "uniform", "normal", "lognormal", "beta"}
    """

    name: str
    value: float
    low: float | None = None
    high: float | None = None
    shape: Shape = "known"


def check(given: Given, *, least: float = -math.inf, most: float = math.inf) -> None:
    """Can this figure be drawn from, and are its value and limits possible at all?

    Parameters
    ----------
    given : Given
    least, most : float
        The smallest and the largest possible value.

    Raises
    ------
    StudyFileError
        ``not_finite``, ``limits_of_known``, ``needs_limits``, ``value_outside``, ``not_positive``, ``not_a_share``,
        ``below_floor``, ``above_ceiling``, or ``limits_unmet`` where no beta with this mean has such limits: each of
        them must be met nearly, and about as much left beyond each.
    """
    named = [part for part in (given.value, given.low, given.high) if part is not None]
    if not all(math.isfinite(part) for part in named):
        raise _refused("not_finite", given, "holds something that is not a number", "Write a number.")
    if min(named) < least:
        raise _refused(
            "below_floor", given, f"goes below {least:g}, which cannot be", f"Write {least:g} or more."
        )
    if max(named) > most:
        raise _refused(
            "above_ceiling", given, f"goes above {most:g}, which cannot be", f"Write {most:g} or less."
        )
    if given.shape == "known":
        if len(named) > 1:
            raise _refused(
                "limits_of_known",
                given,
                "is known and has limits all the same",
                "Name a shape, or take the limits away.",
            )
        return
    low, high = _limits(given)
    inside = low <= given.value <= high if given.shape == "uniform" else low < given.value < high
    if not (inside and low < high):
        raise _refused(
            "value_outside", given, "does not lie between its limits", "Write low, value and high in order."
        )
    if given.shape == "lognormal" and low <= 0:
        raise _refused(
            "not_positive",
            given,
            "is lognormal and not above 0",
            "Write limits above 0, or another shape.",
        )
    if given.shape == "beta":
        _check_beta(given, low, high)


def quantile(given: Given, shares: ArrayLike, *, least: float = -math.inf, most: float = math.inf) -> Floats:
    """Below which value does each of these shares of the plausible values lie (same shape as ``shares``)?

    A shape that runs beyond ``least`` or ``most`` ends there: the part beyond its limit is squeezed into what is left
    between the limit and the end, so that limits, value and everything between stay as given.

    Parameters
    ----------
    given : Given
        As `check` passes it.
    shares : array_like
        In [0, 1].
    least, most : float
        The smallest and the largest possible value.

    Notes
    -----
    Normal and lognormal are joined from two halves at their median, so that unequal limits are met exactly; the
    lognormal's halves lie on the log scale. A beta keeps its mean; its one free number is fitted to both limits by
    least squares.
    """
    at = np.asarray(shares, dtype=float)
    if given.shape == "known":
        return np.full(at.shape, given.value)
    low, high = _limits(given)
    if given.shape == "uniform":
        return np.asarray(low + (high - low) * at)
    if given.shape == "beta":
        one, other = beta_parameters(given.value, low, high)
        return np.asarray(betaincinv(one, other, at))
    if given.shape == "normal":
        found = _two_halves(at, (low, given.value, high), (least, most))
    else:
        ends = (math.log(least) if least > 0 else -math.inf, math.log(most) if most < math.inf else math.inf)
        found = np.exp(_two_halves(at, (math.log(low), math.log(given.value), math.log(high)), ends))
    return np.asarray(np.clip(found, least, most))  # the last digit may lie beyond the end; nothing else can


def sample(
    given: Given,
    generator: np.random.Generator,
    draws: int,
    *,
    least: float = -math.inf,
    most: float = math.inf,
) -> Floats:
    """Plausible values of the figure, shape (draws,), by its inverse distribution.

    Raises
    ------
    StudyFileError
        As `check`.
    """
    check(given, least=least, most=most)
    return quantile(given, generator.random(draws), least=least, most=most)


@lru_cache(maxsize=256)
def beta_parameters(mean: float, low: float, high: float) -> tuple[float, float]:
    """Which beta with this mean comes nearest to these limits (least squares of its 2.5 and 97.5 % points)?"""

    def miss(size: ArrayLike) -> Floats:
        people = 10.0 ** np.asarray(size, dtype=float)
        one, other = mean * people, (1 - mean) * people
        return np.asarray(
            (betaincinv(one, other, TAIL) - low) ** 2 + (betaincinv(one, other, 1 - TAIL) - high) ** 2
        )

    sizes = np.linspace(_FEWEST, _MOST, 221)
    at = int(np.argmin(miss(sizes)))
    found = minimize_scalar(
        lambda size: float(miss(size)),
        bounds=(sizes[max(at - 1, 0)], sizes[min(at + 1, len(sizes) - 1)]),
        method="bounded",
        options={"xatol": 1e-10},
    )
    people = 10.0 ** float(found.x)
    return mean * people, (1 - mean) * people


def _two_halves(at: Floats, points: tuple[float, float, float], ends: tuple[float, float]) -> Floats:
    """Quantiles of two half normals joined at their median, with 95 % between the outer points."""
    low, middle, high = points
    below, above = (middle - low) / REACH, (high - middle) / REACH
    first, last = float(ndtr((ends[0] - middle) / below)), float(ndtr((middle - ends[1]) / above))
    squeezed = np.where(at < TAIL, first + at / TAIL * (TAIL - first), at)
    squeezed = np.where(at > 1 - TAIL, 1 - last - (1 - at) / TAIL * (TAIL - last), squeezed)
    steps = ndtri(squeezed)
    return np.asarray(middle + np.where(steps < 0, below, above) * steps)


def _limits(given: Given) -> tuple[float, float]:
    if given.low is None or given.high is None:
        raise _refused(
            "needs_limits",
            given,
            f"is {given.shape} and has no limits",
            "Write low and high, or shape known.",
        )
    return given.low, given.high


def _check_beta(given: Given, low: float, high: float) -> None:
    if not (0 < given.value < 1 and low >= 0 and high <= 1):
        raise _refused(
            "not_a_share", given, "is beta and no share", "Write shares between 0 and 1, or another shape."
        )
    near = quantile(given, [TAIL, 1 - TAIL])
    off = max(abs(near[0] - low), abs(near[1] - high)) > BETA_TOLERANCE * (high - low)
    if off or not _leaves_about_as_much(given, low, high):
        raise _refused(
            "limits_unmet",
            given,
            "has limits that no beta with this mean has",
            f"The nearest are {near[0]:.3g} and {near[1]:.3g}; write these, or another shape.",
        )


def _leaves_about_as_much(given: Given, low: float, high: float) -> bool:
    """Whether the beta leaves about as much beyond each limit as it should; nothing can lie below 0 or above 1."""
    one, other = beta_parameters(given.value, low, high)
    below, above = float(betainc(one, other, low)), float(betainc(other, one, 1 - high))
    return all(
        _LEAST_BEYOND <= beyond <= _MOST_BEYOND
        for beyond, possible in ((below, low > 0), (above, high < 1))
        if possible
    )


def _refused(reason: str, given: Given, why: str, remedy: str) -> StudyFileError:
    return StudyFileError(reason, f"'{given.name}' {why}.", remedy)
