"""What the records hold and what they lack, by id: gaps, times, agreement of coders, trainer runs."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pandas as pd

from survstats.describe.agreement import SEVERITY, SURVIVABILITY, coded_twice, weighted_kappa
from survstats.describe.missing import known_of, lacking, missing_by_outcome, worst_first
from survstats.describe.times import copied_mishaps, times_written
from survstats.describe.training_runs import runs_by_exercise, runs_counted
from survstats.groundwork.errors import NotEstimable
from survstats.records.loading import Records
from survstats.study.results import Cell, ResultsBuilder, Table, people

_OF_DEAD = ("cause_of_death",)
_MOST_FIELDS, _MOST_COMBINATIONS = 12, 8


def store_all(
    out: ResultsBuilder,
    records: Records,
    derived: pd.DataFrame,
    mishaps: pd.DataFrame,
    covariates: Sequence[str],
) -> None:
    """Everything that is told of the records themselves; ``mishaps`` are those the study is about."""
    _store_read(out, records, derived)
    _store_gaps(out, records, derived, covariates)
    _store_times(out, derived)
    _store_agreement(out, mishaps)
    _store_runs(out, records)


def _store_read(out: ResultsBuilder, records: Records, derived: pd.DataFrame) -> None:
    """How many rows were read, and how many of them tell again what a better source tells."""
    out.count_people("records.occupants", people(derived["file_row"]))
    out.count("records.mishaps", len(records.mishap), rests_on=("records.occupants",))
    out.count("records.runs", len(records.training_run))
    again = derived[derived["second_source"]]
    out.count_people("records.second_source_people", people(again["file_row"]))
    out.count(
        "records.second_source_mishaps",
        again["mishap_id"].nunique(),
        rests_on=("records.second_source_people",),
    )


def _store_gaps(
    out: ResultsBuilder, records: Records, derived: pd.DataFrame, covariates: Sequence[str]
) -> None:
    """What is known of the dead and of survivors, field by field and together, among those the study is about."""
    inside = derived["in_p2"].to_numpy(bool)
    known = known_of(records, derived, covariates)[inside]
    rows = derived["file_row"].to_numpy()[inside]
    lived = derived["survived"].to_numpy()[inside] == 1
    fates = {"died": ~lived, "survived": lived}
    fields = worst_first(known, lived, most=_MOST_FIELDS, asked_of_dead=_OF_DEAD)
    out.lists["gaps.fields"] = fields
    complete = known[["trained_status", *covariates]].all(axis=1).to_numpy(bool)
    for fate, group in fates.items():
        out.count_people(f"gaps.{fate}", people(rows[group]))
        out.count_people(f"gaps.complete_{fate}", people(rows[group & complete]))
        for field in fields:
            if fate == "survived" and field in _OF_DEAD:
                out.absent[f"gaps.{field}.known_{fate}"] = "dead_only"
            else:
                chosen = group & known[field].to_numpy(bool)
                out.count_people(f"gaps.{field}.known_{fate}", people(rows[chosen]))
    asked = [field for field in fields if known[field].any()]
    lacks = lacking(known[asked])
    common = pd.Series(lacks[lacks != ""]).value_counts()
    order = sorted(common.index, key=lambda combination: (-common[combination], combination))
    out.table(
        "missing_together",
        ("fields", *fates),
        [
            (combination, *(people(rows[group & (lacks == combination)]) for group in fates.values()))
            for combination in order[:_MOST_COMBINATIONS]
        ],
    )
    out.tables["missing"] = _table(missing_by_outcome(records, derived))


def _store_times(out: ResultsBuilder, derived: pd.DataFrame) -> None:
    """How the times to the way out were written down, among those the study is about."""
    frame = derived[derived["in_p2"]]
    written = times_written(frame)
    for name in written.columns:
        out.count_people(f"times.{name}", people(frame.loc[written[name], "file_row"]))
    out.count("times.copied_mishaps", len(copied_mishaps(frame)), rests_on=("times.of_survivors",))


def _store_agreement(out: ResultsBuilder, mishaps: pd.DataFrame) -> None:
    """How well two coders of the same mishaps agree."""
    for name, field, codes in (
        ("survivability", "impact_survivability", SURVIVABILITY),
        ("severity", "impact_severity", SEVERITY),
    ):
        try:
            out.estimate(f"agreement.{name}", weighted_kappa(coded_twice(mishaps, field, codes)))
        except NotEstimable as fault:
            out.absent[f"agreement.{name}"] = fault.reason


def _store_runs(out: ResultsBuilder, records: Records) -> None:
    """What the trainer's records show: trained people, in a pool, expecting it."""
    counted = runs_counted(records.training_run)
    for name in ("people", "runs", "passed", "assisted", "not_out", "timed"):
        out.count(f"runs.{name}", getattr(counted, name))
    out.tables["runs"] = _table(runs_by_exercise(records.training_run))


def _table(frame: pd.DataFrame) -> Table:
    rows = frame.astype(object).to_numpy().tolist()
    return Table(tuple(frame.columns), tuple(tuple(_cell(cell) for cell in row) for row in rows))


def _cell(cell: Cell) -> Cell:
    return None if isinstance(cell, float) and math.isnan(cell) else cell
