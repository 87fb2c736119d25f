"""The steps of a study that can be called alone: its records, and the findings in them."""

from __future__ import annotations

import datetime

import pandas as pd

from survstats.records import loading
from survstats.records.checking import check_records
from survstats.records.codebook import TableName
from survstats.records.finding import Finding, findings_frame
from survstats.records.loading import Records
from survstats.records.reading.study_folder import find_tables
from survstats.study import lock as locking
from survstats.study.lock import Lock, demand_lock
from survstats.study.plan import Study


def read_records(study: Study, lock: Lock | None = None) -> Records:
    """The tables of a study, typed: g mishaps, n occupants and, where the study has them, m trainer runs.

    The study file may name the files; those it does not name are looked for in the folder. Where the folder holds a
    ``mapping.toml``, the tables it speaks of are made by it.

    This is the one place where outcomes of a study are read, and none is read before the plan is sealed.

    Parameters
    ----------
    study : Study
    lock : Lock, optional
        From `survstats.study.lock.lock`; made here, before any record file is opened, if not given.

    Raises
    ------
    CallError
        ``not_locked``, ``lock_of_another_plan``: the lock given is not that of this study.
    RecordsError
        If a file is missing, is no table, has no rows or lacks a column.
    StudyFileError
        If the mapping cannot be used; ``changed_since_read`` as `survstats.study.lock.lock`.
    """
    demand_lock(study, locking.lock(study) if lock is None else lock)
    named = study.plan.records
    files: dict[TableName, str | None] = {
        "mishap": named.mishap,
        "occupant": named.occupant,
        "training_run": named.training_run,
    }
    unnamed = {table for table, name in files.items() if name is None}
    paths = {table: study.folder / name for table, name in files.items() if name is not None}
    if study.mapping is not None:
        from survstats.records.mapping.bring_in import mapped_tables
        from survstats.records.mapping.faults import parse_mapping

        mapping = parse_mapping(study.mapping)
        paths |= find_tables(study.folder, sought=unnamed - mapping.plan.tables().keys())
        return loading.typed_records(mapped_tables(mapping, study.folder, others=paths))
    paths |= find_tables(study.folder, sought=unnamed)
    return loading.read_records(
        paths.get("mishap", study.folder / "mishap.csv"),
        paths.get("occupant", study.folder / "occupant.csv"),
        training_run_path=paths.get("training_run"),
    )


def find(
    records: Records, *, study: Study | None = None, today: datetime.date | None = None
) -> tuple[Finding, ...]:
    """Every finding in the records, errors first.

    Parameters
    ----------
    records : Records
    study : Study, optional
        Whose cabins seats are checked against, whose accepted rules come back with severity ``accepted``, and about
        whose people the rules on whole studies are.
    today : date, optional
        The day by which a date lies in the future; the day of the clock if not given.
    """
    day = today or datetime.date.today()
    if study is None:
        return check_records(records, today=day)
    return check_records(
        records, today=day, cabins=study.cabins, accepted=study.accepted, population=study.population
    )


def check(
    records: Records, *, study: Study | None = None, today: datetime.date | None = None
) -> pd.DataFrame:
    """Every finding in the records, one row each; parameters as for `find`."""
    return findings_frame(find(records, study=study, today=today))
