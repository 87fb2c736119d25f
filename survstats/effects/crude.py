"""The difference in survival as it stands, without adjustment."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.arms import Seen, arm_limits, wide_enough
from survstats.effects.intervals import jackknife_estimate
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate, Unit
from survstats.groundwork.resampling import leave_one_out


def crude_difference(
    frame: pd.DataFrame, *, outcome: str, exposure: str, cluster: str, level: float = 0.95
) -> Estimate:
    """Survival of the trained minus survival of the untrained, unadjusted, with its mishap jackknife.

    Where nobody of a group died, or nobody lived, the limits are at least as wide as that group's exact ones and the
    other's jackknife limits allow together (`arms`).

    Parameters
    ----------
    frame : DataFrame of n rows
        ``outcome`` and ``exposure`` hold 0 and 1.
    outcome, exposure, cluster : str
        Column names.
    level : float
        Coverage aimed at.

    Raises
    ------
    NotEstimable
        ``no_rows``, ``one_outcome``, ``one_arm`` (also where a single mishap holds all of one group) or ``one_mishap``.
    """
    if frame.empty:
        raise NotEstimable("no_rows", "No one is left to compare.")
    if frame[outcome].nunique() < 2:
        raise NotEstimable("one_outcome", "Everyone in the comparison had the same outcome.")
    codes, labels = pd.factorize(frame[cluster], sort=True)
    trained = frame[exposure].to_numpy(dtype=float)
    alive = frame[outcome].to_numpy(dtype=float)
    columns = (alive * trained, trained, alive * (1 - trained), 1 - trained)
    sums = np.column_stack([np.bincount(codes, column, minlength=len(labels)) for column in columns])
    if len(labels) < 2:
        raise NotEstimable("one_mishap", "All occupants come from one mishap.")
    left_out = leave_one_out(len(labels)) @ sums
    if not (left_out[:, [1, 3]] > 0).all():
        raise NotEstimable("one_arm", "One of the two groups is empty, or stands in a single mishap.")
    total = sums.sum(axis=0)
    sets = np.vstack([total, left_out])
    shares = sets[:, [0, 2]] / sets[:, [1, 3]]
    found = _estimate(shares[:, 0] - shares[:, 1], "difference", len(frame), level)
    tallies = [Seen(int(total[at]), int(total[at + 1])) for at in (0, 2)]
    if not any(tally.blind for tally in tallies):
        return found
    arms = [
        arm_limits(_estimate(shares[:, at], "share", tally.people, level), tally)
        for at, tally in enumerate(tallies)
    ]
    return wide_enough(found, "difference", *arms)


def _estimate(values: NDArray[np.float64], unit: Unit, occupants: int, level: float) -> Estimate:
    return jackknife_estimate(
        float(values[0]),
        values[1:],
        scale="identity",
        unit=unit,
        occupants=occupants,
        method="crude",
        level=level,
    )
