"""When was a course of unknown date taken? Drawn from the courses whose date is known."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


def complete_months(
    frame: pd.DataFrame,
    *,
    months: str,
    undated: Bools,
    strata: Sequence[str],
    cluster: str,
    rng: np.random.Generator,
) -> Floats:
    """Months since the course (n,) with one draw for each person of unknown date.

    The mishaps of the dated are drawn anew with replacement, and each undated person gets the months of somebody
    dated in them who is alike in ``strata``; where nobody there is, somebody alike in the first stratum; else
    anybody dated. The outcome must come first among the strata: without it the months of the dead and of the living
    would be drawn from one pot and fading would be drawn towards none.

    Parameters
    ----------
    frame : DataFrame of n rows
    months, cluster : str
        Columns; ``months`` is known of the dated alone.
    undated : ndarray of shape (n,)
        Whose months are drawn.
    strata : sequence of str
        Columns, the outcome first.
    rng : Generator

    Notes
    -----
    Approximate Bayesian bootstrap (Rubin and Schenker 1986, doi:10.1080/01621459.1986.10478280, from memory), with
    mishaps drawn in place of people, because people of one mishap are not independent.
    """
    since = frame[months].to_numpy(float).copy()
    dated = ~undated & np.isfinite(since)
    codes, labels = pd.factorize(frame[cluster].to_numpy()[dated])
    times = np.bincount(rng.integers(len(labels), size=len(labels)), minlength=len(labels))
    pool, weight = since[dated], times[codes]
    for alike in ([*strata], [*strata[:1]], []):
        open_ = undated & ~np.isfinite(since)
        keys = _keys(frame, alike)
        for key in np.unique(keys[open_]):
            wanted = np.flatnonzero(open_ & (keys == key))
            donors = np.repeat(pool, np.where(keys[dated] == key, weight, 0))
            if donors.size:
                since[wanted] = rng.choice(donors, size=len(wanted))
    return since


def _keys(frame: pd.DataFrame, columns: Sequence[str]) -> NDArray[np.int64]:
    """Which people are alike in all columns: one number each, shape (n,)."""
    if not columns:
        return np.zeros(len(frame), dtype=np.int64)
    groups = frame.groupby(list(columns), dropna=False, observed=True, sort=True)
    return np.asarray(groups.ngroup(), dtype=np.int64)
