"""How strong an unmeasured factor would have to be."""

from __future__ import annotations

import math


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
