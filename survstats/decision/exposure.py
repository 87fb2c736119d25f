"""How often does the fleet come down in water: a rate from few mishaps in many hours, and what it lets expect."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaincinv, gammaln

from survstats.groundwork.errors import StudyFileError

Floats = NDArray[np.float64]

#: What Jeffreys' prior adds to the mishaps that were counted.
ADDED = 0.5


@dataclass(frozen=True)
class MishapRate:
    """Mishaps in water, counted in so many flight hours.

    Attributes
    ----------
    mishaps : int
        How many, 0 included.
    hours : float
        Flight hours in which they were counted. Both are those of the fleet that the decision is about, or of one
        like it; the mishap records may be those of others, and give who is aboard and who lives, not how often.

    Notes
    -----
    The rate per hour is plausible as Gamma(mishaps + 1/2, hours): Jeffreys' prior for a count of rare events
    (Atwood et al. 2003, NUREG/CR-6823, section 6.2; from memory).
    """

    mishaps: int
    hours: float

    @property
    def mean(self) -> float:
        """Expected mishaps per flight hour."""
        return (self.mishaps + ADDED) / self.hours


def check_rate(rate: MishapRate) -> None:
    """Is this a count in some hours?

    Raises
    ------
    StudyFileError
        ``not_a_count``, ``no_hours``.
    """
    if not (math.isfinite(rate.mishaps) and rate.mishaps >= 0 and rate.mishaps == int(rate.mishaps)):
        raise StudyFileError(
            "not_a_count", f"{rate.mishaps:g} mishaps are no count.", "Write a whole number, 0 or more."
        )
    if not (math.isfinite(rate.hours) and rate.hours > 0):
        raise StudyFileError(
            "no_hours",
            f"Mishaps cannot be counted in {rate.hours:g} flight hours.",
            "Write the hours in which they were counted.",
        )


def rate_limits(rate: MishapRate, *, level: float = 0.95) -> tuple[float, float]:
    """Limits of the rate per hour: as much is left below the one as above the other."""
    below = (1 - level) / 2
    low, high = gammaincinv(rate.mishaps + ADDED, [below, 1 - below]) / rate.hours
    return float(low), float(high)


def chance_of_none(rate: MishapRate, hours: float) -> float:
    """Chance of no mishap at all in so many hours to come."""
    return float((rate.hours / (rate.hours + hours)) ** (rate.mishaps + ADDED))


def chance_of_mishaps(rate: MishapRate, hours: float, number: ArrayLike) -> Floats:
    """Chance of exactly so many mishaps in hours to come, same shape as ``number``.

    Notes
    -----
    Negative binomial: a Poisson count whose rate is the gamma of `MishapRate`.
    """
    count, shape = np.asarray(number, dtype=float), rate.mishaps + ADDED
    ways = gammaln(count + shape) - gammaln(shape) - gammaln(count + 1)
    share = hours / (rate.hours + hours)
    return np.asarray(np.exp(ways + shape * math.log1p(-share) + count * math.log(share)))


def draw_rate(rate: MishapRate, generator: np.random.Generator, draws: int) -> Floats:
    """Plausible rates per hour, shape (draws,)."""
    check_rate(rate)
    return generator.standard_gamma(rate.mishaps + ADDED, size=draws) / rate.hours


def none_in(mishaps_a_year: Floats, years: float) -> float:
    """Chance of no mishap in so many years, over plausible yearly numbers of shape (b,), hours a year uncertain too."""
    return float(np.exp(-years * mishaps_a_year).mean())


def years_between(mishaps_a_year: float) -> float:
    """One mishap in how many years, on average."""
    return 1 / mishaps_a_year
