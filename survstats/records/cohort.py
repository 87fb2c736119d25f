"""Who is analysed, and what became of everyone else aboard?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from survstats.groundwork.errors import SurvstatsError
from survstats.records.loading import Records

Population = Literal["P1", "P2"]


@dataclass(frozen=True)
class LedgerLine:
    """One line of the ledger.

    Attributes
    ----------
    code : str
        What the line counts (``"aboard"``, ``"dead_on_impact"``).
    occupants, mishaps : int
        People on this line, and mishaps they come from.
    survived, died : int or None
        Of these; None where people without a row are among them.
    rows, rows_survived : frozenset of int
        Who they are, by file row; people without a row have numbers below zero. ``rows_survived`` are those of
        them known to have lived.
    """

    code: str
    occupants: int
    mishaps: int
    survived: int | None
    died: int | None
    rows: frozenset[int] = frozenset()
    rows_survived: frozenset[int] = frozenset()


@dataclass(frozen=True)
class Ledger:
    """From everyone aboard to everyone analysed: what is left after each exclusion adds up."""

    lines: tuple[LedgerLine, ...]

    def line(self, code: str) -> LedgerLine:
        """The line of that code; KeyError where there is none."""
        for line in self.lines:
            if line.code == code:
                return line
        raise KeyError(code)

    def verify(self) -> None:
        """Raise SurvstatsError (``ledger_does_not_add``) unless every total is what the lines above leave."""
        left = 0
        left_survived: int | None = None
        for line in self.lines:
            fates_add = (
                line.survived is None or line.died is None or line.survived + line.died == line.occupants
            )
            if line.code == "aboard":
                left, left_survived = line.occupants, line.survived
            elif line.code in ("in_population", "analysed"):
                adds = line.occupants == left and left_survived in (None, line.survived)
                left_survived = line.survived
                fates_add = fates_add and adds
            else:
                left -= line.occupants
                if left_survived is not None and line.survived is not None:
                    left_survived -= line.survived
            if not fates_add:
                raise SurvstatsError("ledger_does_not_add", f"The ledger does not add up at {line.code}.")


@dataclass(frozen=True)
class Cohort:
    """The people of one population.

    Attributes
    ----------
    population : {"P1", "P2"}
        P1 alive at immersion in a mishap whose impact was survivable, wholly or partly (whoever lived was alive
        then, whether or not that is recorded); P2 all aboard.
    frame : DataFrame
        Everyone in the population, as derived.
    analysed : DataFrame
        Of these, the currently trained and the never trained (``trained`` is 1 or 0).
    ledger : Ledger
        From everyone aboard to ``analysed``.
    """

    population: Population
    frame: pd.DataFrame
    analysed: pd.DataFrame
    ledger: Ledger


def build_cohort(
    derived: pd.DataFrame,
    records: Records,
    *,
    population: Population,
    passengers_only: bool = False,
) -> Cohort:
    """The population, the analysed and the ledger between everyone aboard and them.

    People without a row are counted from ``n_aboard``; where a mishap has more rows than ``n_aboard``, or
    ``n_aboard`` is unknown, its rows count. A person excluded for several reasons stands under the first. Lines for
    people the study is not about (``other_year``, ``other_class``, ``other_operator``, ``other_role``) stand where a
    filter on that is in force.
    Any part may be empty.
    """
    reasons = _exclusions(derived, population, passengers_only)
    first = np.select(list(reasons.values()), list(reasons), default="")
    in_population = first == ""
    frame = derived.loc[in_population].reset_index(drop=True)
    status = frame["trained_status"].astype(object)
    analysed = frame.loc[frame["trained"].notna()].reset_index(drop=True)
    aboard, no_row = _aboard(derived, records.mishap)
    lines = [aboard, no_row]
    lines += [_line(reason, derived.loc[first == reason]) for reason in reasons]
    lines.append(_line("in_population", frame))
    lines += [
        _line("lapsed", frame.loc[status == "lapsed"]),
        _line("briefing_or_dry_only", frame.loc[status == "briefing_or_dry_only"]),
        _line("status_unknown", frame.loc[status == "unknown"]),
        _line("analysed", analysed),
    ]
    ledger = Ledger(tuple(lines))
    ledger.verify()
    return Cohort(population, frame, analysed, ledger)


def _exclusions(
    derived: pd.DataFrame, population: Population, passengers_only: bool
) -> dict[str, pd.Series[bool]]:
    """Why a row is not in the population, in the order in which reasons are counted."""
    reasons = {"second_source": derived["second_source"]}
    reasons |= {reason: derived["left_out"] == reason for reason in derived["left_out"].cat.categories}
    if population == "P1":
        impact, alive = derived["impact_survivability"], derived["alive_at_immersion"]
        reasons["impact_not_survivable"] = impact == "none"
        reasons["survivability_unknown"] = ~impact.isin(["survivable", "partially_survivable"])
        reasons["dead_on_impact"] = alive == "no"
        reasons["alive_at_immersion_unknown"] = (alive != "yes") & (derived["survived"] == 0)
    if passengers_only:
        reasons["not_passenger"] = ~derived["is_passenger"]
    return reasons


def _aboard(derived: pd.DataFrame, mishap: pd.DataFrame) -> tuple[LedgerLine, LedgerLine]:
    """The lines of everyone aboard and of those without a row."""
    mishap = mishap.drop_duplicates("mishap_id")
    have = derived.groupby("mishap_id").size()
    rows = mishap["mishap_id"].map(have).fillna(0).astype(int)
    missing = (mishap["n_aboard"].fillna(0).astype(int) - rows).clip(lower=0)
    nowhere = frozenset(range(-int(missing.sum()), 0))
    people = len(derived) + len(nowhere)
    complete = not missing.any()
    aboard = LedgerLine(
        "aboard",
        people,
        int(((rows + missing) > 0).sum()),
        int(derived["survived"].sum()) if complete else None,
        int((1 - derived["survived"]).sum()) if complete else None,
        _rows(derived) | nowhere,
        _rows(derived[derived["survived"] == 1]),
    )
    none = 0 if complete else None
    return aboard, LedgerLine("no_row", len(nowhere), int((missing > 0).sum()), none, none, nowhere)


def _line(code: str, frame: pd.DataFrame) -> LedgerLine:
    lived = frame[frame["survived"] == 1]
    return LedgerLine(
        code,
        len(frame),
        frame["mishap_id"].nunique(),
        len(lived),
        len(frame) - len(lived),
        _rows(frame),
        _rows(lived),
    )


def _rows(frame: pd.DataFrame) -> frozenset[int]:
    return frozenset(frame["file_row"].astype(int).tolist())
