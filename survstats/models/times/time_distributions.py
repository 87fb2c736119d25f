"""How much of a standard lognormal, log-logistic or Weibull time lies below, above and between two points?

Log times are x b + scale e; here everything is said of e: a standard normal, a standard logistic, or the logarithm of
a standard exponential (the distribution of least extremes).  Shares between two points are kept as logarithms, by
forms that neither overflow nor cancel, however far out the points lie or however close together.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, log_expit, log_ndtr, logit, ndtr, ndtri

from survstats.groundwork.errors import CallError

Floats = NDArray[np.float64]
Distribution = Literal["lognormal", "loglogistic", "weibull"]

FARTHEST = 300.0  # beyond it the square of the exponential of a point is no longer a number
LARGEST = 700.0  # beyond it the exponential itself is none
NARROW = 1e-3  # width times (1 + distance from 0) below which a normal band is taken by its middle
LOG_ROOT_TWO_PI = 0.5 * math.log(2 * math.pi)


@dataclass(frozen=True)
class Between:
    """A band from a to c = a + width of the standard distribution.

    Attributes
    ----------
    log_share : array
        Logarithm of what lies in it.
    at_start, at_end : array
        Density at a and at c over what lies in it.
    """

    log_share: Floats
    at_start: Floats
    at_end: Floats


@dataclass(frozen=True)
class Standard:
    """A standard distribution of log times, as functions of arrays of any shape.

    Attributes
    ----------
    log_density, bend : functions of z
        Log density and its derivative.
    log_below, log_above : functions of z
        Log share below and above.
    below_rate, above_rate : functions of z
        Density over the share below and above.
    between : function of a and the width of the band, > 0
    share, quantile : functions
        Share below z, and its inverse.
    """

    log_density: Callable[[Floats], Floats]
    bend: Callable[[Floats], Floats]
    log_below: Callable[[Floats], Floats]
    log_above: Callable[[Floats], Floats]
    below_rate: Callable[[Floats], Floats]
    above_rate: Callable[[Floats], Floats]
    between: Callable[[Floats, Floats], Between]
    share: Callable[[Floats], Floats]
    quantile: Callable[[Floats], Floats]


def standard(distribution: Distribution) -> Standard:
    """The standard distribution behind the name.

    Raises
    ------
    CallError
        ``distribution`` for another name.
    """
    if distribution not in STANDARD:
        raise CallError("distribution", f"'{distribution}' is not one of {', '.join(STANDARD)}.")
    return STANDARD[distribution]


def distribution_share(z: ArrayLike, distribution: Distribution) -> Floats:
    """Share of people whose time lies below, at z = (log t - x b) / scale; same shape as z.

    Raises
    ------
    CallError
        ``distribution``.
    """
    return np.asarray(standard(distribution).share(np.asarray(z, dtype=float)))


def distribution_quantile(share: ArrayLike, distribution: Distribution) -> Floats:
    """The z below which that share of people lies; times follow as exp(x b + scale z).

    Raises
    ------
    CallError
        ``distribution``; ``share`` outside [0, 1].
    """
    asked = np.asarray(share, dtype=float)
    if not np.all((asked >= 0) & (asked <= 1)):
        raise CallError("share", "A share must lie between 0 and 1.")
    with np.errstate(divide="ignore"):
        return np.asarray(standard(distribution).quantile(asked))


def _normal_log_density(z: Floats) -> Floats:
    return -0.5 * z * z - LOG_ROOT_TWO_PI


def _normal_between(a: Floats, width: Floats) -> Between:
    """Both points are mirrored to the lower side, where logarithms of shares are exact."""
    c, middle = a + width, a + 0.5 * width
    upper = middle > 0
    least, most = np.where(upper, -c, a), np.where(upper, -a, c)
    higher = log_ndtr(most)
    gap = np.minimum(log_ndtr(least) - higher, -1e-300)
    log_share = higher + np.log(-np.expm1(gap))
    narrow = width * (1 + np.abs(middle)) < NARROW
    if narrow.any():  # density in the middle times width, with the curvature of the density
        curved = np.log1p(width**2 / 24 * (middle**2 - 1)) + _normal_log_density(middle)
        log_share = np.where(narrow, curved + np.log(width), log_share)
    return Between(
        log_share,
        np.exp(_normal_log_density(a) - log_share),
        np.exp(_normal_log_density(c) - log_share),
    )


def _normal_rate(z: Floats) -> Floats:
    return np.asarray(np.exp(_normal_log_density(z) - log_ndtr(z)))


def _logistic_between(a: Floats, width: Floats) -> Between:
    """F(c) - F(a) = F(c) (1 - F(a)) (1 - exp(a - c))."""
    c, apart = a + width, -np.expm1(-width)
    return Between(
        log_expit(c) + log_expit(-a) + np.log(apart),
        expit(a) / (expit(c) * apart),
        expit(-c) / (expit(-a) * apart),
    )


def _extreme_between(a: Floats, width: Floats) -> Between:
    """The share is exp(-u) - exp(-v) with u = exp(a) and v = exp(c)."""
    u, v = _power(a), _power(a + width)
    grown = u * np.expm1(np.minimum(width, FARTHEST))
    apart = -np.expm1(-grown)
    return Between(-u + np.log(apart), u / apart, v / np.expm1(np.minimum(grown, LARGEST)))


def _power(z: Floats) -> Floats:
    return np.exp(np.clip(z, -LARGEST, FARTHEST))


def _extreme_below_rate(z: Floats) -> Floats:
    u = _power(z)
    return u / np.expm1(np.minimum(u, LARGEST))


STANDARD: dict[str, Standard] = {
    "lognormal": Standard(
        log_density=_normal_log_density,
        bend=lambda z: -z,
        log_below=log_ndtr,
        log_above=lambda z: log_ndtr(-z),
        below_rate=_normal_rate,
        above_rate=lambda z: _normal_rate(-z),
        between=_normal_between,
        share=ndtr,
        quantile=ndtri,
    ),
    "loglogistic": Standard(
        log_density=lambda z: log_expit(z) + log_expit(-z),
        bend=lambda z: -np.tanh(0.5 * z),
        log_below=log_expit,
        log_above=lambda z: log_expit(-z),
        below_rate=lambda z: expit(-z),
        above_rate=expit,
        between=_logistic_between,
        share=expit,
        quantile=logit,
    ),
    "weibull": Standard(
        log_density=lambda z: z - _power(z),
        bend=lambda z: 1 - _power(z),
        log_below=lambda z: np.where(z < -40, z, np.log(-np.expm1(-_power(z)))),
        log_above=lambda z: -_power(z),
        below_rate=_extreme_below_rate,
        above_rate=_power,
        between=_extreme_between,
        share=lambda z: -np.expm1(-_power(z)),
        quantile=lambda share: np.log(-np.log1p(-share)),
    ),
}
