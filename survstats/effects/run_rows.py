"""What does each run in the trainer tell of its time: who, which exercise, between which seconds?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.groundwork.errors import NotEstimable

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

#: Levels of each part of an exercise, the one that others are held against first.
EXERCISES: dict[str, tuple[str, ...]] = {
    "posture": ("upright", "inverted", "partial"),
    "light": ("day", "dusk_dawn", "night"),
    "exit_type": ("open", "push_out", "jettison", "door"),
    "cross_cabin": ("no", "yes"),
    "breathing_set_used": ("no", "yes"),
}
NOT_KNOWN = "unknown"
#: Practice within a course: each doubling of the run's number.
PRACTICE = "run_doubled"
#: Which course a run belongs to: a first one, or a refresher so many months after the last.
COURSE, FIRST_COURSE, AGAIN = "since_last", "initial", "refresher"
EDGES = (0.0, 12.0, 24.0, 48.0)
FEWEST_OUT, FEWEST_PEOPLE = 10, 5
#: A level stays in the model from so many people on who were out of it, so that one of them can be left out.
FEWEST_TO_STAY = 2
#: With more people than the first they are left out in groups, as many as the second.
MOST_LEFT_OUT = (240, 60)
_ENDS = ("passed", "assisted", "stopped", "failed")


@dataclass(frozen=True)
class RunRows:
    """Trainer runs as a model of times needs them.

    Attributes
    ----------
    frame : DataFrame of m rows
        ``person``, the parts of the exercise, ``run_doubled``, ``since_last`` (``initial``, a band of months since the
        last course as in `band_months`, or ``unknown``), ``months``.
    lo, hi : (m,) arrays
        The time out lies in (lo, hi], in seconds; infinite where the person was not out unaided by then.
    codes : (m,) array of int
        Group of people and end of the run together: what one weight of ``weights`` is for.
    weights : (1 + b, g) array
        All people, then each (or each group) left out. A timed run also stands for those that ended alike without a
        time: whoever is stopped often has none, and leaving these out would make hard exercises look quicker.
    people, runs, out, stopped, left_out : int
        People and runs in the model; runs that were out unaided, and that were stopped, failed or helped; runs without
        a time, a known end, or of a kind too few people were out of.
    kinds_left_out : tuple of str
        Levels that runs are of but none of the model's, as ``part.level``: too few people were out of them.
    """

    frame: pd.DataFrame
    lo: Floats
    hi: Floats
    codes: Codes
    weights: Floats
    people: int
    runs: int
    out: int
    stopped: int
    left_out: int
    kinds_left_out: tuple[str, ...]


def run_rows(runs: pd.DataFrame) -> RunRows:
    """The trainer's table (m runs) as rows of a model.

    A run that was passed took between half a step of its clock less and half a step more than written down; where the
    step is not recorded, exactly that. One that was stopped, failed or helped would have taken longer than its time,
    less half a step. Runs of a level that only one person was out of are left out (with more than 240 people: four).

    Raises
    ------
    NotEstimable
        ``not_recorded`` where there are no runs, ``few_runs`` with fewer than ten timed ways out or five people.
    """
    if runs.empty:
        raise NotEstimable("not_recorded", "There are no trainer runs.")
    whole = _told(runs)
    kept = _enough(whole[whole["timed"]])
    alike = whole[whole["ended"] >= 0]
    gone = _gone(alike, kept)
    for name in (*EXERCISES, COURSE):
        alike = alike[alike[name].isin(kept[name].unique())]
    out = kept["ended"].eq(0)
    people = int(kept["person"].nunique())
    if out.sum() < FEWEST_OUT or kept.loc[out, "person"].nunique() < FEWEST_PEOPLE:
        raise NotEstimable("few_runs", "There are too few timed trainer runs.")
    kept = kept.sort_values(["person", "run_date", "run_no"], kind="stable").reset_index(drop=True)
    kept[COURSE] = _banded(kept)
    for name in (*EXERCISES, COURSE):
        kept[name] = kept[name].cat.remove_unused_categories()
    codes, weights = _weights(kept, alike)
    half = kept["time_out_precision_s"].fillna(0.0).to_numpy(float) / 2
    time, ended = kept["time_out_s"].to_numpy(float), kept["ended"].to_numpy()
    return RunRows(
        frame=kept,
        lo=np.maximum(time - half, 0.0),
        hi=np.where(ended == 0, time + half, np.inf),
        codes=codes,
        weights=weights,
        people=people,
        runs=len(kept),
        out=int((ended == 0).sum()),
        stopped=int((ended > 0).sum()),
        left_out=len(runs) - len(kept),
        kinds_left_out=gone,
    )


def _told(runs: pd.DataFrame) -> pd.DataFrame:
    """Every run with codes of our own; what is not recorded is a level of its own."""
    result = runs["result"].astype(object)
    ended = np.select([result.eq(end) for end in _ENDS], [0, 1, 2, 2], -1)
    number = runs["run_no"].to_numpy(float)
    told = pd.DataFrame(
        {
            "person": runs["person_code"].astype(str),
            "run_date": runs["run_date"],
            "run_no": number,
            "time_out_s": runs["time_out_s"],
            "time_out_precision_s": runs["time_out_precision_s"],
            "ended": ended,
            "timed": (ended >= 0) & runs["time_out_s"].notna().to_numpy() & np.isfinite(number),
            PRACTICE: np.log2(np.maximum(number, 1.0)),
            "months": runs["months_since_last"].astype(float),
        }
    )
    for name, levels in EXERCISES.items():
        known = runs[name].astype(object).where(runs[name].isin(levels), NOT_KNOWN)
        told[name] = pd.Categorical(known, categories=[*levels, NOT_KNOWN])
    course = runs["course"].astype(object)
    lost = course.eq(AGAIN) & told["months"].isna()
    known = course.where(course.isin([FIRST_COURSE, AGAIN]) & ~lost, NOT_KNOWN)
    told[COURSE] = pd.Categorical(known, categories=[FIRST_COURSE, AGAIN, NOT_KNOWN])
    return told


def _banded(kept: pd.DataFrame) -> pd.Series:
    """The course of each run, refreshers in bands of months; one with too few people out joins its neighbour."""
    again, out = kept[COURSE].eq(AGAIN), kept["ended"].eq(0)
    edges = list(EDGES)
    while True:
        place = _band(kept["months"].to_numpy(float), edges)
        people = [kept.loc[again & out & (place == at), "person"].nunique() for at in range(len(edges))]
        thin = next((at for at, count in enumerate(people) if count < FEWEST_PEOPLE), None)
        if thin is None or len(edges) == 1:
            break
        edges.pop(min(thin + 1, len(edges) - 1))
    codes = np.array(
        [f"{low:g}_{high}" for low, high in zip(edges, [*map("{:g}".format, edges[1:]), ""], strict=True)],
        dtype=object,
    )
    course = kept[COURSE].astype(object).mask(again, pd.Series(codes[place], index=kept.index))
    return pd.Series(pd.Categorical(course, categories=[FIRST_COURSE, *codes, NOT_KNOWN]), index=kept.index)


def band_months(code: str) -> tuple[float, float | None] | None:
    """First and last month of a band by its code (``0_12``, ``48_``); None for what is no band."""
    low, found, high = code.partition("_")
    return (float(low), float(high) if high else None) if found else None


def _band(months: Floats, edges: Sequence[float]) -> Codes:
    """The band of each number of months, the first holding its lower end."""
    place = np.searchsorted(edges, np.nan_to_num(months), side="left") - 1
    return np.asarray(np.maximum(place, 0), dtype=np.int64)


def _enough(timed: pd.DataFrame) -> pd.DataFrame:
    """Runs of levels that enough people were out of; again until none is left that is not."""
    fewest = FEWEST_TO_STAY if timed["person"].nunique() <= MOST_LEFT_OUT[0] else FEWEST_PEOPLE
    while True:
        thin = pd.Series(False, index=timed.index)
        for name in (*EXERCISES, COURSE):
            out = timed[timed["ended"].eq(0)]
            people = out.groupby(name, observed=False)["person"].nunique()
            thin |= timed[name].isin(people.index[people < fewest])
        if not thin.any():
            return timed
        timed = timed[~thin]


def _gone(ended: pd.DataFrame, kept: pd.DataFrame) -> tuple[str, ...]:
    """Levels of runs that ended in a known way of which none is kept."""
    return tuple(
        f"{name}.{level}"
        for name in (*EXERCISES, COURSE)
        for level in ended[name].cat.categories
        if ended[name].eq(level).any() and not kept[name].eq(level).any()
    )


def _weights(kept: pd.DataFrame, alike: pd.DataFrame) -> tuple[Codes, Floats]:
    """Codes (m,) of group and end, and weights (1 + b, 3 b) of each; rows in groups of people."""
    labels = {person: at for at, person in enumerate(sorted(kept["person"].unique()))}
    most, groups = MOST_LEFT_OUT
    size = len(labels) if len(labels) <= most else groups
    kept_codes = kept["person"].map(labels).to_numpy() % size * 3 + kept["ended"].to_numpy()
    of_all = alike[alike["person"].isin(labels.keys())]
    all_codes = of_all["person"].map(labels).to_numpy() % size * 3 + of_all["ended"].to_numpy()
    timed, ran = (
        np.bincount(codes, minlength=3 * size).reshape(size, 3).astype(float)
        for codes in (kept_codes, all_codes)
    )
    keep = np.vstack([np.ones(size), 1.0 - np.eye(size)])
    with np.errstate(invalid="ignore", divide="ignore"):
        stands_for = np.where(keep @ timed > 0, (keep @ ran) / (keep @ timed), 1.0)
    weights = keep[:, :, None] * np.maximum(stands_for, 1.0)[:, None, :]
    return kept_codes.astype(np.int64), weights.reshape(1 + size, 3 * size)
