"""What the records hold and what they lack, by id: gaps, times, agreement of coders, trainer runs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.describe.agreement import SEVERITY, SURVIVABILITY, coded_twice, left_open, weighted_kappa
from survstats.describe.missing import (
    NEEDED,
    Known,
    complete,
    known_of,
    lacking,
    missing_by_outcome,
    worst_first,
)
from survstats.describe.times import times_written
from survstats.describe.training_runs import runs_by_exercise, runs_counted
from survstats.effects.exact_table import exact_share
from survstats.groundwork.errors import NotEstimable
from survstats.records.copied import copied_mishaps
from survstats.records.loading import Records
from survstats.study.results import Cell, Table
from survstats.study.results_builder import People, ResultsBuilder, people

_CODED = ("agreement.mishaps",)
_MOST_FIELDS, _MOST_COMBINATIONS = 12, 8


def store_all(
    out: ResultsBuilder,
    records: Records,
    derived: pd.DataFrame,
    covariates: Sequence[str],
    *,
    studied: NDArray[np.bool_],
    no_row: People,
) -> None:
    """Everything that is told of the records themselves.

    Parameters
    ----------
    out : ResultsBuilder
    records : Records
    derived : DataFrame
        The derived frame of the same records.
    covariates : sequence of str
    studied : array of bool, shape (g,)
        Which mishaps the study is about.
    no_row : People
        Who was aboard these without a row.
    """
    _store_read(out, records, derived)
    inside = derived["in_p2"].to_numpy(bool)
    known = known_of(records, derived, covariates)
    whole = complete(known, derived, covariates)
    out.lists["gaps.needed"] = [*NEEDED, *covariates]
    out.count_people("gaps.no_row", no_row)
    _store_gaps(out, derived[inside], known.of(inside), whole[inside])
    _store_together(out, derived[inside], known.of(inside))
    out.tables["missing"] = _table(missing_by_outcome(records, derived))
    out.rests_on["missing"] = ("gaps.died", "gaps.survived")
    _store_times(out, derived)
    _store_agreement(out, records, studied)
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


def _store_gaps(out: ResultsBuilder, frame: pd.DataFrame, known: Known, whole: NDArray[np.bool_]) -> None:
    """What is known of the dead and of survivors, field by field, each counted of those it concerns."""
    rows, lived = frame["file_row"].to_numpy(), frame["survived"].to_numpy() == 1
    out.lists["gaps.fields"] = worst_first(known, lived, most=_MOST_FIELDS)
    for fate, group in (("died", ~lived), ("survived", lived)):
        out.count_people(f"gaps.{fate}", people(rows[group]))
        out.count_people(f"gaps.complete_{fate}", people(rows[group & whole]))
        for field in out.lists["gaps.fields"]:
            if fate == "survived" and field == "cause_of_death":
                out.absent |= {f"gaps.{field}.{part}_{fate}": "dead_only" for part in ("known", "of")}
                continue
            concerned = group & known.applies[field].to_numpy(bool)
            out.count_people(f"gaps.{field}.of_{fate}", people(rows[concerned]))
            answered = concerned & known.known[field].to_numpy(bool)
            out.count_people(f"gaps.{field}.known_{fate}", people(rows[answered]))


def _store_together(out: ResultsBuilder, frame: pd.DataFrame, known: Known) -> None:
    """Which gaps go together; a field that nobody was asked for is in none of them."""
    rows, lived = frame["file_row"].to_numpy(), frame["survived"].to_numpy() == 1
    asked = [field for field in out.lists["gaps.fields"] if (known.known & known.applies)[field].any()]
    lacks = lacking(known, asked)
    common = pd.Series(lacks[lacks != ""]).value_counts()
    order = sorted(common.index, key=lambda combination: (-common[combination], combination))
    out.table(
        "missing_together",
        ("fields", "died", "survived"),
        [
            (combination, *(people(rows[group & (lacks == combination)]) for group in (~lived, lived)))
            for combination in order[:_MOST_COMBINATIONS]
        ],
    )


def _store_times(out: ResultsBuilder, derived: pd.DataFrame) -> None:
    """How the times to the way out were written down, among those the study is about."""
    frame = derived[derived["in_p2"]]
    written = times_written(frame)
    for name in written.columns:
        out.count_people(f"times.{name}", people(frame.loc[written[name], "file_row"]))
    out.count("times.copied_mishaps", len(copied_mishaps(frame)), rests_on=("times.of_survivors",))


def _store_agreement(out: ResultsBuilder, records: Records, studied: NDArray[np.bool_]) -> None:
    """How far two coders of the same mishaps agree: how many codes are the same, and kappa where pairs are enough."""
    mishaps, texts = records.mishap[studied], records.raw["mishap"][studied]
    out.mishaps["agreement.mishaps"] = tuple(sorted(mishaps["mishap_id"].astype(str)))
    for name, field, codes in (
        ("survivability", "impact_survivability", SURVIVABILITY),
        ("severity", "impact_severity", SEVERITY),
    ):
        counts = coded_twice(mishaps, field, codes)
        pairs, same = int(counts.sum()), int(np.trace(counts))
        out.count(f"agreement.{name}_pairs", pairs, rests_on=_CODED)
        out.count(f"agreement.{name}_same", same, rests_on=_CODED)
        out.count(f"agreement.{name}_open", left_open(texts, field), rests_on=_CODED)
        if pairs:
            share = replace(exact_share(same, pairs, mishaps=pairs), occupants=0)
            out.estimate(f"agreement.{name}_share", share, rests_on=_CODED)
        else:
            out.absent[f"agreement.{name}_share"] = "not_double_coded"
        try:
            out.estimate(f"agreement.{name}", weighted_kappa(counts), rests_on=_CODED)
        except NotEstimable as fault:
            out.absent[f"agreement.{name}"] = fault.reason


def _store_runs(out: ResultsBuilder, records: Records) -> None:
    """What the trainer's records show: trained people, in a pool, expecting it."""
    counted = runs_counted(records.training_run)
    for name in ("people", "runs", "passed", "assisted", "not_out", "timed", "ended"):
        out.count(f"runs.{name}", getattr(counted, name))
    out.tables["runs"] = _table(runs_by_exercise(records.training_run))


def _table(frame: pd.DataFrame) -> Table:
    rows = frame.astype(object).to_numpy().tolist()
    return Table(tuple(frame.columns), tuple(tuple(_cell(cell) for cell in row) for row in rows))


def _cell(cell: Cell) -> Cell:
    if isinstance(cell, float) and not math.isfinite(cell):
        return None if math.isnan(cell) else "not_reached"
    return cell
