"""Schools of trainer runs for the tests: the invented ones of the package, typed as the loader types them."""

from __future__ import annotations

import numpy as np
import pandas as pd

from survstats.groundwork.resampling import stream
from survstats.records.invented.runs import simulate_runs

_NUMBERS = ("run_no", "months_since_last", "water_temp_c", "time_out_s", "time_out_precision_s")


def school(people: int, name: str, *, seed: int = 260611) -> pd.DataFrame:
    """The runs of so many invented people: half-life 24 months, gain .3 and spread between people .35 on log time."""
    return typed(simulate_runs(people, stream(seed, f"school/{name}")))


def typed(raw: pd.DataFrame) -> pd.DataFrame:
    """Texts as the loader reads them: empty and ``na`` are gaps, ``unknown`` is one where a number stands."""
    table = raw.replace({"": np.nan, "na": np.nan})
    for name in _NUMBERS:
        table[name] = pd.to_numeric(table[name].replace("unknown", np.nan)).astype(float)
    return table.assign(run_date=pd.to_datetime(table["run_date"]))


def one_run_each(people: int, name: str) -> pd.DataFrame:
    """Everybody's second run alone, all passed, times known exactly."""
    runs = school(people, name)
    runs = runs[runs["run_no"] == 2].reset_index(drop=True)
    rng = stream(260611, f"times/{name}")
    inverted = runs["posture"].eq("inverted").to_numpy()
    times = np.exp(2.5 + 0.4 * inverted + rng.normal(0, 0.3, len(runs)))
    return runs.assign(time_out_s=times, time_out_precision_s=np.nan, result="passed")
