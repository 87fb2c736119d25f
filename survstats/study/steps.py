"""The steps of a study that can be called alone: its records, and the findings in them."""

from __future__ import annotations

import datetime

import pandas as pd

from survstats.records import loading
from survstats.records.checking import check_records
from survstats.records.codebook import TableName
from survstats.records.finding import Finding, findings_frame
from survstats.records.loading import Records
from survstats.study.plan import Study


def read_records(study: Study) -> Records:
    """The tables of a study, typed: g mishaps, n occupants and, where the study has them, m trainer runs.

    The study file may name the files; those it does not name are looked for in the folder. Where the folder holds a
    ``mapping.toml``, the tables it speaks of are made by it.

    Raises
    ------
    RecordsError
        If a file is missing, is no table, has no rows or lacks a column.
    StudyFileError
        If the mapping cannot be used.
    """
    paths = loading.find_tables(study.folder)
    named = study.plan.records
    files: dict[TableName, str | None] = {
        "mishap": named.mishap,
        "occupant": named.occupant,
        "training_run": named.training_run,
    }
    for table, name in files.items():
        if name is not None:
            paths[table] = study.folder / name
    if study.mapping_path.exists():
        from survstats.records.mapping.bring_in import read_mapped_records

        return read_mapped_records(study.folder, others=paths)
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
        Whose cabins seats are checked against, and whose accepted rules come back with severity ``accepted``.
    today : date, optional
        The day by which a date lies in the future; the day of the clock if not given.
    """
    day = today or datetime.date.today()
    if study is None:
        return check_records(records, today=day)
    return check_records(records, today=day, cabins=study.cabins, accepted=study.accepted)


def check(
    records: Records, *, study: Study | None = None, today: datetime.date | None = None
) -> pd.DataFrame:
    """Every finding in the records, one row each; parameters as for `find`."""
    return findings_frame(find(records, study=study, today=today))
