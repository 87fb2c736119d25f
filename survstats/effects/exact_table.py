"""What two by two counts say by themselves, as if people were independent: for records too few for a model."""

from __future__ import annotations

import math

from scipy.special import betaincinv

from survstats.effects.intervals import normal_quantile
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate


def clopper_pearson(successes: int, total: int, *, level: float = 0.95) -> tuple[float, float]:
    """Exact limits of a share, each tail (1 - level) / 2.

    Parameters
    ----------
    successes, total : int
        0 <= successes <= total, total > 0.
    level : float

    References
    ----------
    Clopper and Pearson 1934, doi:10.1093/biomet/26.4.404.
    """
    tail = (1 - level) / 2
    low = 0.0 if successes == 0 else float(betaincinv(successes, total - successes + 1, tail))
    high = 1.0 if successes == total else float(betaincinv(successes + 1, total - successes, 1 - tail))
    return low, high


def wilson(successes: int, total: int, *, level: float = 0.95) -> tuple[float, float]:
    """Score limits of a share, without continuity correction (Wilson 1927, doi:10.1080/01621459.1927.10502953)."""
    z = normal_quantile(level)
    share = successes / total
    centre = (share + z * z / (2 * total)) / (1 + z * z / total)
    reach = z * math.sqrt(share * (1 - share) / total + z * z / (4 * total * total)) / (1 + z * z / total)
    return max(centre - reach, 0.0), min(centre + reach, 1.0)


def exact_share(successes: int, total: int, *, mishaps: int, level: float = 0.95) -> Estimate:
    """A share with Clopper-Pearson limits, as if people were independent.

    Raises
    ------
    NotEstimable
        ``no_rows`` where ``total`` is 0.
    """
    if total == 0:
        raise NotEstimable("no_rows", "Nobody is in this group.")
    low, high = clopper_pearson(successes, total, level=level)
    return Estimate(
        value=successes / total,
        low=low,
        high=high,
        se=math.nan,
        level=level,
        df=math.nan,
        scale="identity",
        unit="share",
        method="clopper_pearson",
        mishaps=mishaps,
        occupants=total,
    )


def newcombe_difference(
    trained: tuple[int, int], untrained: tuple[int, int], *, mishaps: int, level: float = 0.95
) -> Estimate:
    """The difference of two shares with hybrid score limits, as if people were independent.

    Parameters
    ----------
    trained, untrained : (int, int)
        Survivors and people of each group.
    mishaps : int
        How many mishaps they come from; it does not enter the limits.
    level : float

    Raises
    ------
    NotEstimable
        ``one_arm`` where a group is empty.

    References
    ----------
    Newcombe 1998, doi:10.1002/(SICI)1097-0258(19980430)17:8<873::AID-SIM779>3.0.CO;2-I, method 10.
    """
    if not trained[1] or not untrained[1]:
        raise NotEstimable("one_arm", "One of the two groups is empty.")
    p1, p0 = trained[0] / trained[1], untrained[0] / untrained[1]
    low1, high1 = wilson(*trained, level=level)
    low0, high0 = wilson(*untrained, level=level)
    return Estimate(
        value=p1 - p0,
        low=p1 - p0 - math.hypot(p1 - low1, high0 - p0),
        high=p1 - p0 + math.hypot(high1 - p1, p0 - low0),
        se=math.nan,
        level=level,
        df=math.nan,
        scale="identity",
        unit="difference",
        method="newcombe",
        mishaps=mishaps,
        occupants=trained[1] + untrained[1],
    )
