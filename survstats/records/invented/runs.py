"""What would the school that trained the invented people have written down about their runs?

The times come from the same kind of race as the mishaps do, without anybody's life at stake. All coefficients
are invented.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.records.codebook import load_codebook
from survstats.records.invented.worlds import LONGEST_SINCE_MONTHS, retained

FIRST_DAY, LAST_DAY = np.datetime64("2016-01-04"), np.datetime64("2025-12-19")
FEWEST_RUNS, MOST_RUNS = 3, 8
REFRESHER = 0.6
MONTHS_UNKNOWN = 0.08  # of the refreshers
BY_WATCH = 0.7  # of the courses; the others have a timer
GIVES_UP_S = 30.0  # median time after which a run is stopped
TIME_MISSING = {"out": 0.04, "stopped": 0.5}

Array = NDArray[np.float64]


@dataclass(frozen=True)
class _Runs:
    """One entry per run: whose it is (row of the person), its number, and how it was set up."""

    person: NDArray[np.int64]
    number: NDArray[np.int64]
    inverted: NDArray[np.bool_]
    dark: NDArray[np.bool_]
    across: NDArray[np.bool_]
    exit_type: NDArray[np.object_]


def simulate_runs(people: int, rng: np.random.Generator) -> pd.DataFrame:
    """The trainer's records of so many people, each on one course, as texts with the codebook's columns.

    Parameters
    ----------
    people : int
        How many people, >= 1.
    rng : Generator
        Source of all draws.
    """
    refresher = rng.random(people) < REFRESHER
    months = np.round(rng.uniform(6, LONGEST_SINCE_MONTHS, people), 0)
    not_known = rng.random(people) < MONTHS_UNKNOWN
    day = FIRST_DAY + np.sort(rng.integers(0, int((LAST_DAY - FIRST_DAY).astype(int)) + 1, people))
    watch = rng.random(people) < BY_WATCH
    taught = rng.random(people) < 0.5
    suit = rng.random(people) < 0.6
    water = np.round(rng.normal(24, 2, people), 1)
    runs = _set_up(people, rng)
    i = runs.person
    held = np.where(refresher, retained(months), 0.0)
    seconds = _time_out(runs, held, rng.normal(0, 0.35, people), rng)
    patience = GIVES_UP_S * np.exp(rng.normal(0, 0.35, len(i)))
    result = np.where(
        seconds > patience,
        np.where(rng.random(len(i)) < 0.6, "stopped", "failed"),
        np.where(rng.random(len(i)) < 0.05, "assisted", "passed"),
    )
    step = np.where(watch, 1.0, 0.1)[i]
    ended = np.maximum(np.round(np.minimum(seconds, patience) / step) * step, step)
    over = np.isin(result, ["stopped", "failed"])
    no_time = rng.random(len(i)) < np.where(over, TIME_MISSING["stopped"], TIME_MISSING["out"])
    used = taught[i] & (runs.number > 2) & (rng.random(len(i)) < 0.5)
    since = np.where(refresher, np.where(not_known, "unknown", _texts(months, 0)), "na")
    columns = {
        "person_code": np.array([f"T-{k + 1:03d}" for k in range(people)], dtype=object)[i],
        "run_date": day.astype(str).astype(object)[i],
        "run_no": runs.number.astype(str).astype(object),
        "course": np.where(refresher, "refresher", "initial")[i],
        "months_since_last": since[i],
        "posture": np.where(runs.inverted, "inverted", "upright"),
        "light": np.where(runs.dark, "night", "day"),
        "exit_type": runs.exit_type,
        "cross_cabin": _yes(runs.across),
        "breathing_set_taught": _yes(taught)[i],
        "breathing_set_used": _yes(used),
        "suit_worn": _yes(suit)[i],
        "water_temp_c": _texts(water, 1)[i],
        "time_out_s": np.where(no_time, np.where(over, "", "unknown"), _texts(ended, 1)),
        "time_out_precision_s": np.where(watch, "1", "0.1")[i],
        "result": result,
    }
    names = [field.name for field in load_codebook().training_run]
    return pd.DataFrame({name: columns[name] for name in names}, dtype=object)


def _set_up(people: int, rng: np.random.Generator) -> _Runs:
    """Runs get harder: the first is upright, later ones are inverted, then dark, then across the cabin."""
    count = rng.integers(FEWEST_RUNS, MOST_RUNS + 1, people)
    person = np.repeat(np.arange(people), count)
    number = np.arange(len(person)) - np.repeat(np.cumsum(count) - count, count) + 1
    luck = rng.random((3, len(person)))
    return _Runs(
        person=person,
        number=number,
        inverted=(number > 1) & (luck[0] < 0.85),
        dark=(number > 2) & (luck[1] < 0.3),
        across=(number > 3) & (luck[2] < 0.5),
        exit_type=rng.choice(
            np.array(["open", "push_out", "jettison", "door"], dtype=object),
            len(person),
            p=[0.3, 0.5, 0.1, 0.1],
        ),
    )


def _time_out(runs: _Runs, held: Array, slowness: Array, rng: np.random.Generator) -> Array:
    """Time out in s: longer inverted, in the dark and across; shorter with practice and recent training."""
    work = np.where(runs.exit_type == "open", 0.0, 0.2)
    log_time = (
        np.log(12)
        + 0.35 * runs.inverted
        + 0.2 * runs.dark
        + 0.3 * runs.across
        + work
        - 0.15 * np.log(runs.number)
    )
    log_time = log_time - 0.3 * held[runs.person] + slowness[runs.person]
    return np.asarray(np.exp(log_time + rng.normal(0, 0.25, len(runs.person))), dtype=float)


def _texts(numbers: Array, decimals: int) -> NDArray[np.object_]:
    return np.array([f"{number:.{decimals}f}".removesuffix(".0") for number in numbers], dtype=object)


def _yes(flag: NDArray[np.bool_]) -> NDArray[np.object_]:
    return np.where(flag, "yes", "no").astype(object)
