"""What is a rule, and what may it look at?

Values that are missing or unknown break no rule. Where a rule knows an exception (went back in, was rescued
inside), the exception has to be written down.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.records.codebook import TableName
from survstats.records.finding import Severity
from survstats.records.loading import Records
from survstats.records.population import PopulationFilter, studied_mishaps, studied_people


@dataclass(frozen=True)
class Hit:
    """One place where a rule applies; a severity of its own goes before the rule's.

    ``at`` is the position of the row in its table (None: the whole table); an empty ``field`` is no single one.
    """

    table: TableName
    at: int | None
    field: str
    seen: str
    expected: str
    severity: Severity | None = None


@dataclass(frozen=True)
class Evidence:
    """What rules look at: the tables, and each occupant's mishap beside the occupant.

    Attributes
    ----------
    records : Records
        The loaded files.
    home : DataFrame, n rows
        The mishap fields of each occupant row; all missing where the mishap is not in its table.
    today : date
        The day on which the check is made.
    cabins : mapping of str to int
        Seat rows by aircraft class, for the classes of which they are known.
    studied, studied_mishap : ndarray of bool (n occupants, g mishaps)
        Whom and what the study is about: rules about a whole study look at nobody else.
    """

    records: Records
    home: pd.DataFrame
    today: datetime.date
    cabins: Mapping[str, int]
    studied: NDArray[np.bool_]
    studied_mishap: NDArray[np.bool_]

    @property
    def mishap(self) -> pd.DataFrame:
        """The mishap table (g rows)."""
        return self.records.mishap

    @property
    def occupant(self) -> pd.DataFrame:
        """The occupant table (n rows)."""
        return self.records.occupant

    @property
    def training_run(self) -> pd.DataFrame:
        """The trainer's own records (m rows, perhaps none)."""
        return self.records.training_run

    @property
    def studied_occupant(self) -> pd.DataFrame:
        """The rows of the occupant table that the study is about."""
        return self.occupant[self.studied]

    def where(
        self,
        table: TableName,
        mask: pd.Series[bool] | NDArray[np.bool_],
        *fields: str,
        expected: str,
        severity: Severity | None = None,
    ) -> list[Hit]:
        """A hit for each row under the mask; the first field is the one to mend, the others show why."""
        hits = []
        for at in np.flatnonzero(np.asarray(mask, dtype=bool)).tolist():
            texts = [self.records.place(table, name, at)[3] or "an empty cell" for name in fields]
            seen = texts[0]
            if len(fields) > 1:
                seen = ", ".join(f"{name} = {text}" for name, text in zip(fields, texts, strict=True))
            hits.append(Hit(table, at, fields[0], seen, expected, severity))
        return hits

    def says(self, table: TableName, name: str, *tokens: str) -> NDArray[np.bool_]:
        """Whether each row's text is one of these tokens; the typed tables cannot tell them apart in numbers."""
        return self.records.raw[table][name].isin(tokens).to_numpy(bool)


@dataclass(frozen=True)
class Rule:
    """One way to find what breaks a rule of the rulebook."""

    id: str
    find: Callable[[Evidence], list[Hit]]


def gather(
    records: Records, *, today: datetime.date, cabins: Mapping[str, int], population: PopulationFilter
) -> Evidence:
    """The evidence for one run of the rules."""
    mishap = records.mishap.drop_duplicates("mishap_id").set_index("mishap_id")
    home = mishap.reindex(records.occupant["mishap_id"]).reset_index(drop=True)
    people = studied_people(records.occupant, records.mishap, population).to_numpy(bool)
    return Evidence(records, home, today, cabins, people, studied_mishaps(records.mishap, population))
