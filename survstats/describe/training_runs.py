"""What do the trainer's own records show: trained people, in a pool, expecting it?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

BY = ("posture", "cross_cabin", "light")
QUARTILES = {"time_quartile_1": 0.25, "time_median": 0.5, "time_quartile_3": 0.75}
COLUMNS = (*BY, "runs", "people", "passed", "timed", *QUARTILES)
#: No quartile is taken of fewer times.
FEWEST_TIMED = 10
_NOT_OUT = ("stopped", "failed", "assisted")


@dataclass(frozen=True)
class RunsCounted:
    """Counts of trainer runs.

    Attributes
    ----------
    people, runs : int
        Different people, and runs.
    passed, assisted, not_out : int
        Runs by their end; not out: stopped or failed. The end of the others is not known.
    timed : int
        Runs passed with a time: the person was out then.
    ended : int
        Runs stopped, failed or assisted with a time: the attempt was over then.
    """

    people: int
    runs: int
    passed: int
    assisted: int
    not_out: int
    timed: int
    ended: int


def runs_counted(runs: pd.DataFrame) -> RunsCounted:
    """Counts of the trainer's table (m runs, may be empty)."""
    result, has_time = runs["result"], runs["time_out_s"].notna()
    return RunsCounted(
        people=int(runs["person_code"].nunique()),
        runs=len(runs),
        passed=int(result.eq("passed").sum()),
        assisted=int(result.eq("assisted").sum()),
        not_out=int(result.isin(["stopped", "failed"]).sum()),
        timed=int((result.eq("passed") & has_time).sum()),
        ended=int((result.isin(_NOT_OUT) & has_time).sum()),
    )


def runs_by_exercise(runs: pd.DataFrame) -> pd.DataFrame:
    """Runs by posture, way to the exit and light, with the times by which shares of them were out, in seconds.

    Returns
    -------
    DataFrame
        One row per combination that occurs, columns `COLUMNS`; an empty cell of the record is ``not_collected``.
        ``people`` of several rows may be the same. Quartiles as in `times_out`.
    """
    keys = runs[list(BY)].astype(object).fillna("not_collected")
    rows = []
    for key, group in runs.groupby([keys[name] for name in BY], sort=True):
        passed = group["result"].eq("passed")
        times = group.loc[passed, "time_out_s"].dropna().to_numpy(float)
        quartiles = times_out(
            times, passed=int(passed.sum()), not_out=int(group["result"].isin(_NOT_OUT).sum())
        )
        people = group["person_code"].nunique()
        rows.append((*key, len(group), people, int(passed.sum()), len(times), *quartiles))
    return pd.DataFrame(rows, columns=list(COLUMNS))


def times_out(
    times: np.ndarray[tuple[int], np.dtype[np.float64]], *, passed: int, not_out: int
) -> list[float]:
    """By when a quarter, half and three quarters of all runs were out unaided, in seconds.

    A run that was stopped, failed or needed help was never out: its time says when the attempt was over, and whoever
    gives up would have been slow, so that leaving these runs out, or taking them as cut off by chance, would make all
    look faster. Passed runs without a time are taken to be like those with one.

    Parameters
    ----------
    times : array of float, shape (t,)
        Times of runs that were passed.
    passed, not_out : int
        Runs by their end, with or without a time.

    Returns
    -------
    list of float
        Infinite where fewer were ever out; NaN with fewer than `FEWEST_TIMED` times.
    """
    if len(times) < FEWEST_TIMED:
        return [math.nan] * len(QUARTILES)
    ordered, share = np.sort(times), passed / (passed + not_out)
    ranks = [math.ceil(round(quartile / share * len(times), 9)) for quartile in QUARTILES.values()]
    return [float(ordered[rank - 1]) if rank <= len(times) else math.inf for rank in ranks]
