"""What the trainer's own runs say of time and of fading, by id: trained people, in a pool, expecting it."""

from __future__ import annotations

import numpy as np

from survstats.effects.run_rows import COURSE, RunRows, band_months, run_rows
from survstats.effects.runs_fading import ASKED, RunsFading, runs_fading
from survstats.effects.trainer_runs import LevelTime, RunsModel, runs_model
from survstats.records.loading import Records
from survstats.study.everybody import Everybody
from survstats.study.plan import Study
from survstats.study.race_told import RACE_IDS, store_race, store_race_records
from survstats.study.results import Cell
from survstats.study.results_builder import ResultsBuilder, number_of

__all__ = ["IDS", "RACE_IDS", "store_race", "store_runs_model"]

_COUNTS = ("people", "runs", "out", "stopped", "left_out")
_ENDS = ("first_month", "middle_month", "last_month")
MODEL_IDS = ("runs_model", *(f"runs_model.{name}" for name in _COUNTS))
FADING_IDS = (
    *("runs_model.half_life", "runs_model.gain", "runs_model.refresher_restores", "runs_model.apart"),
    *(f"runs_model.lost_{month:g}" for month in ASKED),
    *(f"runs_model.{name}" for name in _ENDS),
    *("runs_model.returned", "runs_fading_curve", "runs_fading_months"),
)
IDS = (*MODEL_IDS, *FADING_IDS)
#: With fewer people the paper says that they are few (common practice, no source).
FEW_PEOPLE = 60
_STEP = 6


def store_runs_model(out: ResultsBuilder, study: Study, records: Records, people: Everybody) -> None:
    """Time ratios of exercises and by months since the last course, and what the records give to the race.

    Parameters
    ----------
    out : ResultsBuilder
    study : Study
    records : Records
        Of which the trainer runs are read.
    people : Everybody
        For the times of mishaps.
    """
    rows = None
    with out.or_absent(*IDS):
        rows = run_rows(records.training_run)
        _store_model(out, runs_model(rows))
        _store_fading(out, rows)
    store_race_records(out, study, people, rows)


def _store_model(out: ResultsBuilder, model: RunsModel) -> None:
    for name in _COUNTS:
        out.count(f"runs_model.{name}", getattr(model.rows, name))
    out.lists["runs_model.kinds_left_out"] = list(model.rows.kinds_left_out)
    out.codes["runs_model.size"] = "few" if model.rows.people < FEW_PEOPLE else "some"
    out.table(
        "runs_model",
        (
            *("term", "level", "reference", "runs", "people", "ratio", "low", "high"),
            *("from_months", "to_months"),
        ),
        [_line(one) for one in (*model.levels, *model.bands)],
    )


def _line(one: LevelTime) -> tuple[Cell, ...]:
    limits = (None, None, None) if one.ratio is None else (one.ratio.value, one.ratio.low, one.ratio.high)
    months = (band_months(one.level) if one.term == COURSE else None) or (None, None)
    return (one.term, one.level, one.reference, one.runs, one.people, *limits, *months)


def _store_fading(out: ResultsBuilder, rows: RunRows) -> None:
    with out.or_absent(*FADING_IDS):
        found = runs_fading(rows)
        _store_half_life(out, found)
        _store_ratios(out, found)
        for name in _ENDS:
            out.figure(f"runs_model.{name}", getattr(found, name), unit="months", method="counted")
        out.count("runs_model.returned", found.returned)
        frame = rows.frame[rows.frame[COURSE].map(band_months).notna()]
        courses = frame[["person", "months"]].drop_duplicates()["months"].to_numpy(float) // _STEP * _STEP
        out.table(
            "runs_fading_months",
            ("from_months", "courses"),
            [(float(at), int(np.sum(courses == at))) for at in np.unique(courses)],
        )


def _store_half_life(out: ResultsBuilder, found: RunsFading) -> None:
    reason = found.reason or "fading_unbounded"
    for name, estimate in (
        ("half_life", found.half_life_months),
        ("refresher_restores", found.to_restore),
    ):
        if estimate is None:
            out.leave_out(reason, f"runs_model.{name}")
        else:
            out.number(f"runs_model.{name}", number_of(estimate))
    if found.at_least_months is not None:
        out.figure("runs_model.at_least", found.at_least_months, unit="months", method="profile")


def _store_ratios(out: ResultsBuilder, found: RunsFading) -> None:
    lost = dict(found.lost)
    for month in ASKED:
        if month in lost:
            out.number(f"runs_model.lost_{month:g}", number_of(lost[month]))
        else:
            out.leave_out("month_not_observed", f"runs_model.lost_{month:g}")
    out.number("runs_model.gain", number_of(found.curve[0][1]))
    if found.apart is None:
        out.leave_out("no_free_column", "runs_model.apart")
    else:
        out.number("runs_model.apart", number_of(found.apart))
        out.codes["runs_model.returners"] = "apart" if found.apart.excludes(1.0) else "alike"
    out.table(
        "runs_fading_curve",
        ("months", "ratio", "low", "high"),
        [(month, one.value, one.low, one.high) for month, one in found.curve],
    )
