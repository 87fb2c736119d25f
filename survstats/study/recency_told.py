"""How the difference hangs on the time since training, by id."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from survstats.effects.fading import Fading, fading
from survstats.effects.recency import RecencyBand, groups_of, hands_on_status, recency
from survstats.groundwork.estimate import Estimate
from survstats.groundwork.resampling import stream
from survstats.study.estimating import CLUSTER, OUTCOME
from survstats.study.results import Number
from survstats.study.results_builder import People, ResultsBuilder, people

IDS = ("recency", "recency.unknown_date", "recency.never")
FADING_IDS = (
    *("fading.half_life", "fading.rd_0", "fading.rd_12", "fading.rd_24", "fading.rd_48"),
    *("fading.first_month", "fading.last_month", "fading.dates_imputed", "fading_curve", "fading_months"),
)
_ASKED = (0, 12, 24, 48)
_RESTS_ON = ("fading.never", "fading.dated", "fading.undated")
_STATUS, _MONTHS = "hands_on_status", "months_since"


def store_recency(out: ResultsBuilder, frame: pd.DataFrame, covariates: Sequence[str]) -> None:
    """Bands of months since the last hands-on course against the never trained.

    ``frame`` is everyone in the primary population. A band without a difference has the reason in ``absent``, under
    ``recency/<row>/difference``.
    """
    frame = frame.assign(**{_STATUS: hands_on_status(frame)})
    groups = groups_of(frame, status=_STATUS, months=_MONTHS)
    rows = frame["file_row"].to_numpy()
    found = recency(
        frame, outcome=OUTCOME, status=_STATUS, months=_MONTHS, covariates=covariates, cluster=CLUSTER
    )
    out.count_people("recency.never", people(rows[groups.never]))
    out.count_people("recency.unknown_date", people(rows[groups.undated]))
    dated, lived = frame[groups.dated], frame[OUTCOME].eq(1)[groups.dated]
    told = []
    for at, band in enumerate(found):
        inside = _inside(dated[_MONTHS].to_numpy(float), band, first=at == 0)
        group, alive = people(dated["file_row"][inside]), people(dated["file_row"][inside & lived])
        told.append(_row(at, band, group, alive))
        if band.reason is not None:
            out.absent[f"recency/{at}/difference"] = band.reason
    out.table(
        "recency",
        ("band", "from_months", "to_months", "occupants", "survived", "difference", "low", "high"),
        told,
        rests_on=("recency.never", *(f"recency/{at}/occupants" for at in range(len(found)))),
    )


def _inside(
    months: np.ndarray[tuple[int], np.dtype[np.float64]], band: RecencyBand, *, first: bool
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    above = months >= band.from_months if first else months > band.from_months
    return above if band.to_months is None else above & (months <= band.to_months)


def _row(at: int, band: RecencyBand, group: People, alive: People) -> tuple[float | int | People | None, ...]:
    found = band.difference
    limits = (None, None, None) if found is None else (found.value, found.low, found.high)
    return at + 1, band.from_months, band.to_months, group, alive, *limits


def store_fading(out: ResultsBuilder, frame: pd.DataFrame, covariates: Sequence[str], *, seed: int) -> None:
    """How fast the difference halves, and the difference by months, inside the months that were observed.

    ``frame`` is everyone in the primary population, in an order that their ids do not decide.
    """
    frame = frame.assign(**{_STATUS: hands_on_status(frame)})
    groups = groups_of(frame, status=_STATUS, months=_MONTHS)
    rows = frame["file_row"].to_numpy()
    for name in ("never", "dated", "undated"):
        out.parts[f"fading.{name}"] = people(rows[getattr(groups, name)]).rows
    with out.or_absent(*FADING_IDS):
        found = fading(
            frame,
            outcome=OUTCOME,
            status=_STATUS,
            months=_MONTHS,
            covariates=covariates,
            cluster=CLUSTER,
            rng=stream(seed, "fading"),
            asked=_ASKED,
        )
        _store_fading_numbers(out, found)
        out.count_people("fading.dates_imputed", people(rows[groups.undated]))
        dated = frame[groups.dated]
        months = dated[_MONTHS].to_numpy(float) // 6 * 6
        out.table(
            "fading_months",
            ("from_months", "occupants"),
            [(float(at), people(dated["file_row"][months == at])) for at in np.unique(months)],
        )


def _store_fading_numbers(out: ResultsBuilder, found: Fading) -> None:
    if found.half_life_months is None:
        out.leave_out(found.reason or "fading_unbounded", "fading.half_life")
    else:
        out.number("fading.half_life", _in_months(found.half_life_months), rests_on=_RESTS_ON)
    if found.at_least_months is not None:
        out.figure(
            "fading.at_least", found.at_least_months, unit="months", method="profile", rests_on=_RESTS_ON
        )
    at = dict(found.at)
    for month in _ASKED:
        if float(month) in at:
            out.estimate(f"fading.rd_{month}", at[float(month)], rests_on=_RESTS_ON)
        else:
            out.leave_out("month_not_observed", f"fading.rd_{month}")
    for name in ("first_month", "last_month"):
        value = getattr(found, name)
        out.figure(f"fading.{name}", value, unit="months", method="counted", rests_on=("fading.dated",))
    out.table(
        "fading_curve",
        ("months", "difference", "low", "high"),
        [(month, one.value, one.low, one.high) for month, one in found.curve],
        rests_on=_RESTS_ON,
    )


def _in_months(found: Estimate) -> Number:
    return Number(
        value=found.value,
        unit="months",
        method=found.method,
        low=found.low,
        high=found.high,
        level=found.level,
        df=None if np.isnan(found.df) else found.df,
        mishaps=found.mishaps,
        occupants=found.occupants,
    )
