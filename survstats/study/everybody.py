"""Who stands in the records, and in each population that is compared?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.groundwork.provenance import bytes_hash
from survstats.records.cohort import Cohort, build_cohort
from survstats.records.deriving import derive
from survstats.records.loading import Records
from survstats.records.population import studied_mishaps
from survstats.study import counting
from survstats.study.plan import Study


@dataclass(frozen=True)
class Everybody:
    """Everyone in the records, as derived, and the populations that are compared.

    Attributes
    ----------
    derived : DataFrame
        One row a person (n occupants).
    primary, passengers, everyone : Cohort
        P1, its passengers, P2.
    labels : Index
        The g mishaps in order.
    perhaps : ndarray of shape (g, 3)
        The dead who perhaps died on impact (see `survstats.study.counting`).
    mishaps : DataFrame
        The mishaps that the study is about, with or without people in a population.
    """

    derived: pd.DataFrame
    primary: Cohort
    passengers: Cohort
    everyone: Cohort
    labels: pd.Index
    perhaps: NDArray[np.float64]
    mishaps: pd.DataFrame

    @cached_property
    def primary_in_order(self) -> pd.DataFrame:
        """Everyone in P1, as `in_fixed_order`: what is drawn at random is drawn in this order."""
        return in_fixed_order(self.primary.frame)


def everybody(study: Study, records: Records) -> Everybody:
    """The people of a study's records, derived, and its populations."""
    chosen = study.population
    derived = derive(records, currency_months=study.plan.question.currency_months, population=chosen)
    labels = pd.Index(sorted(derived["mishap_id"].unique()))
    return Everybody(
        derived=derived,
        primary=build_cohort(derived, records, population="P1", chosen=chosen),
        passengers=build_cohort(derived, records, population="P1", passengers_only=True, chosen=chosen),
        everyone=build_cohort(derived, records, population="P2", chosen=chosen),
        labels=labels,
        perhaps=counting.perhaps_counts(derived, labels),
        mishaps=records.mishap[studied_mishaps(records.mishap, chosen)],
    )


#: Columns that name a person, a mishap or a place in a file, and say nothing of what happened.
_NAMES = ("mishap_id", "occupant_id", "file_row", "mishap_file_row")


def in_fixed_order(frame: pd.DataFrame) -> pd.DataFrame:
    """The same people in an order that neither their ids nor their places in the files decide (n rows).

    Whatever is drawn at random is drawn row by row and mishap by mishap, and must not change when files are sorted or
    ids renamed. Rows go by what is recorded of them, mishaps by what is recorded of their people; ``mishap_id`` becomes
    the mishap's place in that order.
    """
    if frame.empty:
        return frame.reset_index(drop=True)
    told = frame[[name for name in sorted(frame.columns) if name not in _NAMES]]
    texts = told.astype(object).where(told.notna(), "").astype(str).agg("\x1f".join, axis=1)
    keyed = frame.assign(_text=texts).sort_values("_text", kind="stable")
    marks = keyed.groupby("mishap_id")["_text"].agg(lambda rows: bytes_hash("\x1e".join(rows).encode()))
    places = marks.sort_values(kind="stable").reset_index().reset_index().set_index("mishap_id")["index"]
    keyed["mishap_id"] = keyed["mishap_id"].map(places)
    ordered = keyed.sort_values(["mishap_id", "_text"], kind="stable")
    return ordered.drop(columns="_text").reset_index(drop=True)
