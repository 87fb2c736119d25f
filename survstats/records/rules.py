"""What a consistency rule is, and what it may look at."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.records.codebook import TableName
from survstats.records.finding import Severity
from survstats.records.loading import Records


@dataclass(frozen=True)
class Hit:
    """One place where a rule applies; a severity of its own goes before the rule's."""

    table: TableName
    row: int | None
    field: str
    seen: str
    expected: str
    severity: Severity | None = None


@dataclass(frozen=True)
class Evidence:
    """What rules look at: both tables, and each occupant's mishap beside the occupant.

    Attributes
    ----------
    records : Records
        The loaded files.
    home : DataFrame, n rows
        The mishap fields of each occupant row; all missing where the mishap is not in its table.
    today : date
        The day on which the check is made.
    """

    records: Records
    home: pd.DataFrame
    today: datetime.date

    @property
    def mishap(self) -> pd.DataFrame:
        """The mishap table (g rows)."""
        return self.records.mishap

    @property
    def occupant(self) -> pd.DataFrame:
        """The occupant table (n rows)."""
        return self.records.occupant

    def where(
        self,
        table: TableName,
        mask: pd.Series[bool] | NDArray[np.bool_],
        *fields: str,
        expected: str,
        severity: Severity | None = None,
    ) -> list[Hit]:
        """A hit for each row under the mask; the first field is the one to mend, the others show why."""
        raw = self.records.raw[table]
        rows = (self.mishap if table == "mishap" else self.occupant)["file_row"].to_numpy()
        hits = []
        for at in np.flatnonzero(np.asarray(mask, dtype=bool)).tolist():
            texts = [str(raw[name].iat[at]) or "an empty cell" for name in fields]
            seen = texts[0]
            if len(fields) > 1:
                seen = ", ".join(f"{name} = {text}" for name, text in zip(fields, texts, strict=True))
            hits.append(Hit(table, int(rows[at]), fields[0], seen, expected, severity))
        return hits


@dataclass(frozen=True)
class Rule:
    """One consistency rule: its id, how much it weighs, what to do, and how it is found."""

    id: str
    severity: Severity
    remedy: str
    find: Callable[[Evidence], list[Hit]]


def gather(records: Records, *, today: datetime.date) -> Evidence:
    """The evidence for one run of the rules."""
    mishap = records.mishap.drop_duplicates("mishap_id").set_index("mishap_id")
    home = mishap.reindex(records.occupant["mishap_id"]).reset_index(drop=True)
    return Evidence(records, home, today)
