"""How fast does what a course gave fade, as the trainer's own runs tell it: trained people, in a pool, expecting it?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from survstats.effects.borne_rates import half_life, no_half_life, over_borne_rates, rate_scale
from survstats.effects.intervals import t_quantile
from survstats.effects.run_rows import COURSE, FEWEST_PEOPLE, FIRST_COURSE, NOT_KNOWN, RunRows
from survstats.effects.trainer_runs import exercises_design, ratio_estimate, time_ratios
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
from survstats.models.decay_profile import RateRange, RateScale, rate_range
from survstats.models.fading_curve import EXPOSURE_COLUMN, RateFits
from survstats.models.times.time_fading import FadingTimes, fit_time_rates

Floats = NDArray[np.float64]

GRID = 9
CURVE_POINTS = 25
ASKED = (12.0, 24.0, 48.0)
#: Months are written down no finer than whole ones, so a month asked for counts as observed so near an end.
WITHIN_MONTHS = 1.0
FLAT = 1e-3  # what is held differs by less between those who return: it cannot be told from returning as such
_HELD = "held"
_UNKNOWN = "course_unknown"


@dataclass(frozen=True)
class RunsFading:
    """Times of people on a refresher by months since their last course, against people on their first.

    Attributes
    ----------
    half_life_months : Estimate or None
        Months in which the gain on log time halves.
    reason : str or None
        Why there is none, see `effects.borne_rates.no_half_life`.
    at_least_months : float or None
        Where a lasting gain fits best: half-lives below this do not fit.
    curve : tuple of (float, Estimate)
        Time ratio to a beginner, from the first to the last month observed.
    lost : tuple of (float, Estimate)
        Time so many months after the last course, as a ratio to that at the first month observed; for the months asked
        for that lie inside the observed ones.
    to_restore : Estimate or None
        Share of what the last course gave that is gone at ``middle_month``, for a refresher to restore; in [0, 1], None
        without a half-life.
    apart : Estimate
        Time ratio between people who come back and beginners beyond what is held, at the best rate: 1 where somebody
        who has forgotten everything is like a beginner, as the model takes it.
    first_month, middle_month, last_month : float
        Of those observed, each person counted once for each course.
    returned : int
        Courses behind these.
    """

    half_life_months: Estimate | None
    reason: str | None
    at_least_months: float | None
    curve: tuple[tuple[float, Estimate], ...]
    lost: tuple[tuple[float, Estimate], ...]
    to_restore: Estimate | None
    apart: Estimate | None
    first_month: float
    middle_month: float
    last_month: float
    returned: int


def runs_fading(rows: RunRows, *, asked: Sequence[float] = ASKED, level: float = 0.95) -> RunsFading:
    """Half-life of what a course gave, and time ratios by months since the last course.

    The model is log time = exercise + practice - size * exp(-rate * months) for people on a refresher, and without the
    last term on a first course, lognormal. The rate is profiled over a grid; limits allow for the runs of a person
    belonging together. People on a refresher of whom the months are not known have a level of their own: they help with
    the exercises and say nothing of fading, and none is dropped. Nothing is given outside the months observed.

    Parameters
    ----------
    rows : RunRows
    asked : sequence of float
        Months at which ``lost`` is given.
    level : float
        Coverage aimed at.

    Raises
    ------
    NotEstimable
        ``one_arm`` where hardly anybody was on a first course, ``too_few_dated``, ``no_spread_of_months``,
        ``few_runs``, and those of `models.times.interval_time.fit_time`. A half-life that cannot be told does not
        raise.
    """
    frame = rows.frame
    first = frame[COURSE].eq(FIRST_COURSE)
    dated = (~frame[COURSE].isin([FIRST_COURSE, NOT_KNOWN])).to_numpy()
    if frame.loc[first, "person"].nunique() < FEWEST_PEOPLE:
        raise NotEstimable("one_arm", "Hardly anybody was on a first course.")
    courses = frame.loc[dated, ["person", "months"]].drop_duplicates()
    observed = np.sort(courses["months"].to_numpy(float))
    scale = rate_scale(observed)
    times = _times(rows, dated)
    df = float(len(rows.weights) - 2)
    fits, found = _profiled(times, rows.weights, scale, df=df, level=level)
    ends = float(observed[0]), float(np.median(observed)), float(observed[-1])
    wanted = [month for month in asked if ends[0] + WITHIN_MONTHS < month <= ends[2] + WITHIN_MONTHS]
    places = np.linspace(ends[0], ends[2], CURVE_POINTS)
    ratios = _ratios(rows, fits, found, scale, np.array([*places, *wanted]), ends[0], df=df, level=level)
    reason = no_half_life(found)
    known = (
        half_life(
            found,
            level=level,
            df=df,
            method="person_scaled_profile",
            clusters=rows.people,
            rows=rows.runs,
        )
        if reason is None
        else None
    )
    return RunsFading(
        half_life_months=known,
        reason=reason,
        at_least_months=math.log(2) / found.fastest
        if reason == "fading_not_seen" and found.fastest
        else None,
        curve=tuple(zip(map(float, places), ratios[:CURVE_POINTS], strict=True)),
        lost=tuple(zip(wanted, ratios[CURVE_POINTS:], strict=True)),
        to_restore=None if known is None else _to_restore(known, ends[1]),
        apart=_apart(times, rows, found.rate, level),
        first_month=ends[0],
        middle_month=ends[1],
        last_month=ends[2],
        returned=len(observed),
    )


def _times(rows: RunRows, dated: NDArray[np.bool_]) -> FadingTimes:
    """The rows with what is held in column 1, and unknown months or courses as a level of their own."""
    frame = rows.frame
    unknown = frame[COURSE].eq(NOT_KNOWN)
    marks = {_UNKNOWN: unknown.astype(float)} if unknown.any() else {}
    with_marks = replace(rows, frame=frame.assign(**{_HELD: dated.astype(float)}, **marks))
    design = exercises_design(with_marks, (_HELD, *marks))
    if design.columns.index(_HELD) != EXPOSURE_COLUMN:
        raise AssertionError("what is held stands in column 1")
    months = np.where(dated, frame["months"].to_numpy(float), 0.0)
    return FadingTimes(design.matrix, rows.lo, rows.hi, months, rows.codes)


def _profiled(
    times: FadingTimes, weights: Floats, scale: RateScale, *, df: float, level: float
) -> tuple[RateFits, RateRange]:
    """The fits over the grid, and again where the best rate and its limits lie; and what they can bear."""
    fits = fit_time_rates(times, list(scale.grid(GRID)), weights)
    first = rate_range([fits], scale, df=df, level=level)
    near = [rate for rate in (first.slowest, first.rate, first.fastest) if rate is not None]
    extra = [rate for rate in near if np.abs(scale.place(fits.rates) - scale.place(rate)).min() > 1e-3]
    if extra:
        fits = fits.merged(fit_time_rates(times, extra, weights))
    return fits, rate_range([fits], scale, df=df, level=level)


def _ratios(
    rows: RunRows,
    fits: RateFits,
    found: RateRange,
    scale: RateScale,
    months: Floats,
    first: float,
    *,
    df: float,
    level: float,
) -> list[Estimate]:
    """Time ratios to a beginner at the first months, and to the first month observed at those asked for."""
    share = np.exp(-np.outer(fits.rates, months))
    share[:, CURVE_POINTS:] -= np.exp(-fits.rates * first)[:, None]
    sizes = fits.coefficients[:, :, EXPOSURE_COLUMN]
    left_out = sizes.shape[1] - 1
    errors = np.sqrt((left_out - 1) / left_out * np.sum((sizes[:, 1:] - sizes[:, :1]) ** 2, axis=1))
    quantile = np.full(len(months), t_quantile(level, df))
    value, low, high = over_borne_rates(
        scale.place(fits.rates),
        -sizes[:, :1] * share,
        errors[:, None] * np.abs(share),
        quantile,
        scale,
        found,
    )
    return [
        Estimate(
            value=math.exp(value[at]),
            low=math.exp(low[at]),
            high=math.exp(high[at]),
            se=math.nan,
            level=level,
            df=df,
            scale="log",
            unit="ratio",
            method="person_scaled_profile",
            mishaps=rows.people,
            occupants=rows.runs,
        )
        for at in range(len(months))
    ]


def _to_restore(known: Estimate, month: float) -> Estimate:
    """Share gone after so many months: it rises with the rate, so its limits are those of the half-life."""
    gone = [1 - 2 ** (-month / half) if half > 0 else 1.0 for half in (known.value, known.high, known.low)]
    return replace(known, value=gone[0], low=gone[1], high=gone[2], scale="identity", unit="share")


def _apart(times: FadingTimes, rows: RunRows, rate: float, level: float) -> Estimate | None:
    """People who come back against beginners, beyond what is held; None where the two cannot be told apart."""
    matrix = times.at(rate)
    again = times.matrix[:, EXPOSURE_COLUMN]
    if np.ptp(matrix[again > 0, EXPOSURE_COLUMN]) < FLAT:
        return None
    logs = time_ratios(rows, np.column_stack([matrix, again]))
    return ratio_estimate(logs[:, -1], rows, level=level)
