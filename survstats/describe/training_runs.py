"""What do the trainer's own records show: trained people, in a pool, expecting it?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

BY = ("posture", "cross_cabin", "light")
COLUMNS = (*BY, "runs", "people", "passed", "time_quartile_1", "time_median", "time_quartile_3")


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
        Runs with a time.
    """

    people: int
    runs: int
    passed: int
    assisted: int
    not_out: int
    timed: int


def runs_counted(runs: pd.DataFrame) -> RunsCounted:
    """Counts of the trainer's table (m runs, may be empty)."""
    result = runs["result"]
    return RunsCounted(
        people=int(runs["person_code"].nunique()),
        runs=len(runs),
        passed=int(result.eq("passed").sum()),
        assisted=int(result.eq("assisted").sum()),
        not_out=int(result.isin(["stopped", "failed"]).sum()),
        timed=int(runs["time_out_s"].notna().sum()),
    )


def runs_by_exercise(runs: pd.DataFrame) -> pd.DataFrame:
    """Runs by posture, way to the exit and light, with the quartiles of the times of those passed, in seconds.

    Returns
    -------
    DataFrame
        One row per combination that occurs, columns `COLUMNS`; an empty cell of the record is ``not_collected``,
        quartiles are NaN where nobody who passed was timed. ``people`` of several rows may be the same.
    """
    keys = runs[list(BY)].astype(object).fillna("not_collected")
    rows = []
    for key, group in runs.groupby([keys[name] for name in BY], sort=True):
        passed = group[group["result"].eq("passed")]
        times = passed["time_out_s"].dropna().to_numpy(float)
        quartiles = np.quantile(times, [0.25, 0.5, 0.75]) if len(times) else [np.nan] * 3
        people = group["person_code"].nunique()
        rows.append((*key, len(group), people, len(passed), *(round(float(time), 6) for time in quartiles)))
    return pd.DataFrame(rows, columns=list(COLUMNS))
