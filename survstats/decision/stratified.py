"""What do the strata of one publication come to together? Mantel and Haenszel's ratio and difference of deaths."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri
from statsmodels.stats.contingency_tables import StratifiedTable

from survstats.decision.publication import Counts
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate, Scale, Unit, from_scale, to_scale

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Together:
    """Deaths of trained against untrained people, over the strata of one publication.

    Attributes
    ----------
    death_ratio, survival_difference, odds_ratio : Estimate
        Ratio of the risks of death, survival of the trained minus that of the untrained, ratio of the odds of death;
        their intervals count people as independent, since a published table does not say who shared a mishap.
    """

    death_ratio: Estimate
    survival_difference: Estimate
    odds_ratio: Estimate


def mantel_haenszel(strata: Sequence[Counts], *, level: float = 0.95) -> Together:
    """The ratio, the difference and the odds ratio of deaths over strata, held equal in each of them.

    Parameters
    ----------
    strata : sequence of Counts
        At least one; people of a stratum are compared with people of the same stratum alone.
    level : float, optional
        Coverage aimed at.

    Raises
    ------
    NotEstimable
        ``no_rows`` without a stratum in which both groups hold anybody, ``one_outcome`` where no trained or no
        untrained person died in them, or where everybody did.

    Notes
    -----
    Weights of Mantel and Haenszel 1959 (doi:10.1093/jnci/22.4.719). Error of the log risk ratio: Greenland and Robins
    1985 (doi:10.2307/2530643); of the difference: Sato, Greenland and Robins 1989 (Biometrics 45, 1323; from memory);
    odds ratio with Robins, Breslow and Greenland's error by statsmodels. With one stratum the ratio is the plain one.
    """
    used = [one for one in strata if one.trained and one.untrained]
    if not used:
        raise NotEstimable("no_rows", "No stratum holds both trained and untrained people.")
    dead1, n1 = (np.array([getattr(s, name) for s in used], float) for name in ("trained_died", "trained"))
    dead0, n0 = (
        np.array([getattr(s, name) for s in used], float) for name in ("untrained_died", "untrained")
    )
    if not dead1.sum() or not dead0.sum() or (dead1.sum() + dead0.sum()) == (n1 + n0).sum():
        raise NotEstimable("one_outcome", "Of one of the two groups nobody died, or everybody of both.")
    people = sum(one.people for one in used)
    total = n1 + n0
    ratio, ratio_error = _risk_ratio(dead1, n1, dead0, n0, total)
    difference, difference_error = _risk_difference(dead1, n1, dead0, n0, total)
    tables = [
        np.array([[s.trained_died, s.trained_lived], [s.untrained_died, s.untrained_lived]]) for s in used
    ]
    odds = StratifiedTable(tables)
    return Together(
        death_ratio=_estimate(ratio, ratio_error, "log", "ratio", people, level),
        survival_difference=_estimate(-difference, difference_error, "identity", "difference", people, level),
        odds_ratio=_estimate(
            float(odds.oddsratio_pooled), float(odds.logodds_pooled_se), "log", "odds_ratio", people, level
        ),
    )


def _risk_ratio(dead1: Floats, n1: Floats, dead0: Floats, n0: Floats, total: Floats) -> tuple[float, float]:
    above, below = float(np.sum(dead1 * n0 / total)), float(np.sum(dead0 * n1 / total))
    spread = np.sum((n1 * n0 * (dead1 + dead0) - dead1 * dead0 * total) / total**2)
    return above / below, math.sqrt(float(spread) / (above * below))


def _risk_difference(
    dead1: Floats, n1: Floats, dead0: Floats, n0: Floats, total: Floats
) -> tuple[float, float]:
    weight = float(np.sum(n1 * n0 / total))
    difference = float(np.sum((dead1 * n0 - dead0 * n1) / total)) / weight
    lean = np.sum((n1**2 * dead0 - n0**2 * dead1 + n1 * n0 * (n0 - n1) / 2) / total**2)
    both = np.sum((dead1 * (n0 - dead0) + dead0 * (n1 - dead1)) / (2 * total))
    return difference, math.sqrt(max(float(difference * lean + both), 0.0)) / weight


def _estimate(value: float, se: float, scale: Scale, unit: Unit, people: float, level: float) -> Estimate:
    centre, reach = to_scale(value, scale), float(ndtri(0.5 + level / 2)) * se
    return Estimate(
        value=value,
        low=from_scale(centre - reach, scale),
        high=from_scale(centre + reach, scale),
        se=se,
        level=level,
        df=math.inf,
        scale=scale,
        unit=unit,
        method="mantel_haenszel",
        mishaps=0,
        occupants=round(people),
    )
