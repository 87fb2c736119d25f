"""How strong an unmeasured factor would have to be: as a risk ratio, or as a difference in fitness."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import expit, roots_hermite

from survstats.groundwork.errors import NotEstimable

Floats = NDArray[np.float64]

NODES = 21  # of the Gauss-Hermite rule
WEAK = 2.0  # strength up to which that rule is good to four decimals; above it steps of equal width are taken
STEP, REACH = 0.05, 9.0  # of the equal steps, in standard deviations of fitness
STRONGEST = 20.0  # logits per standard deviation; what is not reached by then counts as never reached


def e_value(ratio: float, *, null: float = 1.0) -> float:
    """The E-value of a risk ratio: the least association with both training and survival that explains it away.

    Parameters
    ----------
    ratio : float
        A risk ratio (never an odds ratio of a common outcome); nothing explains away 0 or infinity.
    null : float
        The true ratio it is to be moved to.

    Returns
    -------
    float
        RR + sqrt(RR (RR - 1)), with RR = ratio / null turned to lie above 1; 1 where nothing is to be explained.

    References
    ----------
    VanderWeele and Ding 2017, doi:10.7326/M16-2607.
    """
    moved = ratio / null
    if moved < 1:
        moved = 1 / moved if moved > 0 else math.inf
    return moved + math.sqrt(moved * (moved - 1))


def e_value_of_limit(low: float, high: float) -> float:
    """The E-value of the limit nearer 1; 1 where the interval covers 1."""
    if low <= 1 <= high:
        return 1.0
    return e_value(low if low > 1 else high)


def fitness_bias(strength: float, *, share_trained: float, share_alive: float) -> float:
    """The difference in survival that an unmeasured fitness alone would make, where training does nothing.

    Parameters
    ----------
    strength : float
        By how many logits one standard deviation of fitness raises both the odds of having been trained and those of
        living, at most 20 in size; where negative, fitness raises the odds of training and lowers those of living.
    share_trained, share_alive : float
        Shares of the people compared, strictly between 0 and 1; the world that is computed has the same.

    Returns
    -------
    float
        P(lived | trained) - P(lived | untrained), in (-1, 1), of the sign of ``strength``.

    Raises
    ------
    NotEstimable
        ``one_arm``, ``one_outcome`` for a share of 0 or 1.

    Notes
    -----
    Fitness is standard normal, training and survival are logistic in it and independent given it. Integrals by 21
    Gauss-Hermite nodes up to a strength of 2 (there within .0001 of the truth); above, where that rule falls behind
    (.54 for .54 at 3, but .73 for .84 at 10), by equal steps. A calculation, no estimate: nothing in the records tells
    how strong fitness is.
    """
    _refuse_edges(share_trained, share_alive)
    places, weights = _rule(abs(strength) <= WEAK)
    trained = _risk_at(places, weights, slope=abs(strength), share=share_trained)
    alive = _risk_at(places, weights, slope=strength, share=share_alive)
    both = float(weights @ (trained * alive))
    return (both - share_trained * share_alive) / (share_trained * (1 - share_trained))


def fitness_strength(size: float, *, share_trained: float, share_alive: float) -> float:
    """How strong an unmeasured fitness would have to be to make a difference of this size out of nothing.

    Parameters
    ----------
    size : float
        A difference in survival (an estimate, or its limit nearest 0), in [-1, 1]. For one below 0 the fitness meant
        goes with more training and fewer survivors, so that calling the trained untrained changes nothing.
    share_trained, share_alive : float
        As `fitness_bias`.

    Returns
    -------
    float
        Logits per standard deviation, >= 0; 0 for a size of 0, infinite where no strength up to 20 makes so large a
        difference.

    Raises
    ------
    NotEstimable
        ``one_arm``, ``one_outcome``.
    """

    def lacking(strength: float) -> float:
        made = fitness_bias(
            math.copysign(strength, size), share_trained=share_trained, share_alive=share_alive
        )
        return abs(size) - abs(made)

    if lacking(0.0) <= 0:
        return 0.0
    return math.inf if lacking(STRONGEST) > 0 else float(brentq(lacking, 0.0, STRONGEST, xtol=1e-10))


@lru_cache(maxsize=2)
def _rule(weak: bool) -> tuple[Floats, Floats]:
    """Places of fitness and their weights, which add up to 1."""
    if weak:
        places, weights = roots_hermite(NODES)
        return math.sqrt(2) * places, weights / math.sqrt(math.pi)
    places = np.arange(-REACH, REACH + STEP / 2, STEP)
    density = np.exp(-(places**2) / 2)
    return places, density / density.sum()


def _risk_at(places: Floats, weights: Floats, *, slope: float, share: float) -> Floats:
    """The logistic risk at each place, with the intercept at which it has this mean."""

    def excess(intercept: float) -> float:
        return float(weights @ expit(intercept + slope * places)) - share

    centre = math.log(share / (1 - share))
    reach = abs(slope) * REACH + abs(centre) + 1
    return np.asarray(expit(float(brentq(excess, -reach, reach, xtol=1e-13)) + slope * places))


def _refuse_edges(share_trained: float, share_alive: float) -> None:
    if not 0 < share_trained < 1:
        raise NotEstimable("one_arm", "Everyone in the comparison stands in the same training group.")
    if not 0 < share_alive < 1:
        raise NotEstimable("one_outcome", "Everyone in the comparison had the same outcome.")
