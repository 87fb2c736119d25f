"""The steps of a study that can be called alone: its records, and the findings in them."""

from __future__ import annotations

import datetime

import pandas as pd

from survstats.records import loading
from survstats.records.checking import check_records
from survstats.records.finding import findings_frame
from survstats.records.loading import Records
from survstats.study.plan import Study


def read_records(study: Study) -> Records:
    """The two tables of a study, typed; g mishaps and n occupants.

    Raises
    ------
    RecordsError
        If a file is missing, is no table, has no rows or lacks a column.
    """
    return loading.read_records(study.mishap_path, study.occupant_path)


def check(records: Records, *, today: datetime.date | None = None) -> pd.DataFrame:
    """Every finding in the records, one row each.

    Parameters
    ----------
    records : Records
    today : date, optional
        The day by which a date lies in the future; the day of the clock if not given.
    """
    return findings_frame(check_records(records, today=today or datetime.date.today()))
