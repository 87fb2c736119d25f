"""Who is analysed, and what became of everyone else aboard?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from survstats.groundwork.errors import SurvstatsError
from survstats.records.loading import Records
from survstats.records.population import EVERYBODY, PopulationFilter, mishap_left_out

Population = Literal["P1", "P2"]
#: Lines of mishaps that the study is not about, with everyone aboard them.
WHOLE_MISHAPS = ("second_source", "other_year", "other_class", "other_operator")

_NOBODY: pd.Series[str] = pd.Series(dtype=object)


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
    mishap_ids : frozenset of str
        The ids of these mishaps.
    """

    code: str
    occupants: int
    mishaps: int
    survived: int | None
    died: int | None
    rows: frozenset[int] = frozenset()
    rows_survived: frozenset[int] = frozenset()
    mishap_ids: frozenset[str] = frozenset()


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
        """Raise SurvstatsError (``ledger_does_not_add``) unless every total is what the lines above leave.

        Nor may a mishap that is left out whole have people on any other line but the first.
        """
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
                raise _does_not_add(line.code)
        gone: frozenset[str] = frozenset()
        for line in self.lines:
            if line.code in WHOLE_MISHAPS:
                gone |= line.mishap_ids
        for line in self.lines:
            if line.code not in ("aboard", *WHOLE_MISHAPS) and line.mishap_ids & gone:
                raise _does_not_add(line.code)


def _does_not_add(code: str) -> SurvstatsError:
    return SurvstatsError("ledger_does_not_add", f"The ledger does not add up at {code}.")


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
    chosen: PopulationFilter = EVERYBODY,
) -> Cohort:
    """The population, the analysed and the ledger between everyone aboard and them.

    People without a row are counted from ``n_aboard``; where a mishap has more rows than ``n_aboard``, or
    ``n_aboard`` is unknown, its rows count. Those of a mishap that the study is not about (``chosen``, the filter that
    the frame was derived with) stand with its other people, those of all others under ``no_row``. A person excluded
    for several reasons stands under the first. Lines for people the study is not about (``other_year``,
    ``other_class``, ``other_operator``, ``other_role``) stand where a filter on that is in force. Any part may be
    empty.
    """
    reasons = _exclusions(derived, population, passengers_only)
    first = np.select(list(reasons.values()), list(reasons), default="")
    in_population = first == ""
    frame = derived.loc[in_population].reset_index(drop=True)
    status = frame["trained_status"].astype(object)
    analysed = frame.loc[frame["trained"].notna()].reset_index(drop=True)
    without = _without_row(derived, records.mishap, chosen)
    lines = [
        _line("aboard", derived, pd.concat([pd.Series(dtype=object), *without.values()])),
        _line("no_row", derived.iloc[:0], without.get("", _NOBODY)),
    ]
    lines += [_line(reason, derived.loc[first == reason], without.get(reason, _NOBODY)) for reason in reasons]
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


def _without_row(
    derived: pd.DataFrame, mishap: pd.DataFrame, chosen: PopulationFilter
) -> dict[str, pd.Series[str]]:
    """The mishap of everyone aboard who has no row, by why the mishap is left out (empty: it is not).

    The index is a number below zero for each.
    """
    mishap = mishap.assign(reason=mishap_left_out(mishap, chosen).fillna("")).drop_duplicates("mishap_id")
    rows = mishap["mishap_id"].map(derived.groupby("mishap_id").size()).fillna(0).astype(int)
    missing = (mishap["n_aboard"].fillna(0).astype(int) - rows).clip(lower=0)
    people = mishap.loc[mishap.index.repeat(missing), ["mishap_id", "reason"]]
    people.index = pd.RangeIndex(-len(people), 0)
    return {str(reason): group["mishap_id"] for reason, group in people.groupby("reason")}


def _line(code: str, frame: pd.DataFrame, without_row: pd.Series[str] = _NOBODY) -> LedgerLine:
    lived = frame[frame["survived"] == 1]
    mishaps = frozenset(frame["mishap_id"]) | frozenset(without_row)
    fates_known = without_row.empty
    return LedgerLine(
        code,
        len(frame) + len(without_row),
        len(mishaps),
        len(lived) if fates_known else None,
        len(frame) - len(lived) if fates_known else None,
        _rows(frame) | frozenset(without_row.index.tolist()),
        _rows(lived),
        mishaps,
    )


def _rows(frame: pd.DataFrame) -> frozenset[int]:
    return frozenset(frame["file_row"].astype(int).tolist())
