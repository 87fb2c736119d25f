"""How long do trained people take in a pool, expecting it, and which exercises take longer?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survstats.effects.intervals import jackknife_estimate
from survstats.effects.run_rows import (
    COURSE,
    EXERCISES,
    FEWEST_PEOPLE,
    PRACTICE,
    RunRows,
    band_months,
    run_rows,
)
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
from survstats.models.design import Design, build_design
from survstats.models.times.interval_time import Distribution, fit_time, refit_time

__all__ = [
    "LevelTime",
    "RunRows",
    "RunsModel",
    "band_months",
    "exercises_design",
    "ratio_estimate",
    "run_rows",
    "runs_model",
    "time_ratios",
]

Floats = NDArray[np.float64]

DISTRIBUTION: Distribution = "lognormal"


@dataclass(frozen=True)
class LevelTime:
    """How many times as long the runs of one level took as those of the reference, all else alike.

    Attributes
    ----------
    term, level, reference : str
    runs, people : int
    ratio : Estimate or None
        None where too few people did such runs, or the level cannot be told from the others.
    """

    term: str
    level: str
    reference: str
    runs: int
    people: int
    ratio: Estimate | None


@dataclass(frozen=True)
class RunsModel:
    """The accelerated-failure-time model of the time out.

    Attributes
    ----------
    rows : RunRows
        What was fitted, with its counts.
    levels : tuple of LevelTime
        Of the exercises, and of practice.
    bands : tuple of LevelTime
        People on a refresher, by months since their last course, against people on their first.
    """

    rows: RunRows
    levels: tuple[LevelTime, ...]
    bands: tuple[LevelTime, ...]


def exercises_design(rows: RunRows, before: Sequence[str] = ()) -> Design:
    """Columns of the exercise, of practice, and of the terms that come before them.

    Raises
    ------
    NotEstimable
        ``few_runs`` with fewer ways out than twice the columns.
    """
    terms = [*before, *(name for name in EXERCISES if rows.frame[name].nunique() > 1), PRACTICE]
    design = build_design(rows.frame, terms)
    if rows.out < 2 * len(design.columns):
        raise NotEstimable("few_runs", "There are fewer timed runs than the model needs.")
    return design


def runs_model(rows: RunRows, *, level: float = 0.95) -> RunsModel:
    """Time ratios of exercises, of practice and of months since the last course, from one lognormal model.

    Parameters
    ----------
    rows : RunRows
    level : float
        Coverage aimed at.

    Raises
    ------
    NotEstimable
        ``few_runs``, and those of `models.times.interval_time.fit_time`.

    Notes
    -----
    Intervals leave out one person at a time, or one of 60 groups of people where there are more than 240, with t of as
    many degrees of freedom less one.
    """
    course = (COURSE,) if rows.frame[COURSE].nunique() > 1 else ()
    design = exercises_design(rows, course)
    logs = time_ratios(rows, design.matrix)
    found = dict(zip(design.columns, logs.T, strict=True))
    return RunsModel(
        rows=rows,
        levels=tuple(
            told for name in (*EXERCISES, PRACTICE) for told in _levels(rows, found, name, level=level)
        ),
        bands=tuple(_levels(rows, found, COURSE, level=level)) if course else (),
    )


def time_ratios(rows: RunRows, matrix: Floats) -> Floats:
    """Coefficients on log time from everybody, then with each person (or group) left out, shape (1 + b, k)."""
    whole = fit_time(matrix, rows.lo, rows.hi, distribution=DISTRIBUTION, weights=rows.weights[0][rows.codes])
    refits = refit_time(
        matrix, rows.lo, rows.hi, rows.codes, rows.weights[1:], distribution=DISTRIBUTION, start=whole
    )
    return np.vstack([whole.coefficients, refits.coefficients])


def _levels(rows: RunRows, found: dict[str, Floats], name: str, *, level: float) -> list[LevelTime]:
    """Each level of a term against its reference, or practice for each doubling."""
    if name == PRACTICE:
        return [
            LevelTime(name, "doubled", "once", rows.runs, rows.people, _ratio(found.get(name), rows, level))
        ]
    values = rows.frame[name]
    reference, *others = values.cat.categories
    told = []
    for one in others:
        inside = rows.frame[values == one]
        people = int(inside["person"].nunique())
        ratio = _ratio(found.get(f"{name}[{one}]"), rows, level) if people >= FEWEST_PEOPLE else None
        told.append(LevelTime(name, str(one), str(reference), len(inside), people, ratio))
    return told


def _ratio(logs: Floats | None, rows: RunRows, level: float) -> Estimate | None:
    return None if logs is None else ratio_estimate(logs, rows, level=level)


def ratio_estimate(logs: Floats, rows: RunRows, *, level: float = 0.95) -> Estimate:
    """A ratio from its logarithm with everybody and with each left out (1 + b,); ``mishaps`` counts people."""
    return jackknife_estimate(
        float(np.exp(logs[0])),
        np.exp(logs[1:]),
        scale="log",
        unit="ratio",
        occupants=rows.runs,
        method="person_jackknife",
        level=level,
    )
