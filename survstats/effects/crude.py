"""The difference in survival as it stands, without adjustment."""

from __future__ import annotations

import numpy as np
import pandas as pd

from survstats.effects.intervals import jackknife_estimate
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
from survstats.groundwork.resampling import leave_one_out


def crude_difference(
    frame: pd.DataFrame, *, outcome: str, exposure: str, cluster: str, level: float = 0.95
) -> Estimate:
    """Survival of the trained minus survival of the untrained, unadjusted, with its mishap jackknife.

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
    return jackknife_estimate(
        float(total[0] / total[1] - total[2] / total[3]),
        left_out[:, 0] / left_out[:, 1] - left_out[:, 2] / left_out[:, 3],
        scale="identity",
        unit="difference",
        occupants=len(frame),
        method="crude",
        level=level,
    )
