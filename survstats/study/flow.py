"""From everyone aboard to those compared, by training status, and who lived of each status, by id."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from survstats.records.cohort import WHOLE_MISHAPS, Cohort
from survstats.study.results_builder import People, ResultsBuilder, people

#: Training status in the records by its name in these tables.
STATUS_NAMES = {
    "current": "current",
    "none": "never",
    "lapsed": "lapsed",
    "briefing_or_dry_only": "briefing",
    "unknown": "unknown",
}
_LEFT_OUT_FIRST = (*WHOLE_MISHAPS, "other_role")


def store_flow(out: ResultsBuilder, derived: pd.DataFrame, cohort: Cohort, everyone: Cohort) -> None:
    """The ledger of the primary population by training status, with all aboard the study is about between.

    People without a row stand under ``unknown``: nobody recorded their training.
    """
    status = {name: people(rows).rows for name, rows in _rows_by_status(derived).items()}
    lines = [(line.code, line.rows) for line in cohort.ledger.lines]
    at = 1 + max(place for place, (code, _) in enumerate(lines) if code in ("no_row", *_LEFT_OUT_FIRST))
    lines.insert(at, ("all_aboard", everyone.ledger.line("in_population").rows))
    out.table("flow", ("step", *status, "all"), [(code, *_split(rows, status)) for code, rows in lines])


def store_crude_shares(out: ResultsBuilder, frame: pd.DataFrame) -> None:
    """Who of each training status lived and died, in the primary population, with shares both ways."""
    lived = frame["survived"] == 1
    fates = {"survived": people(frame["file_row"][lived]), "died": people(frame["file_row"][~lived])}
    rows = []
    for name, chosen in (*_rows_by_status(frame).items(), ("all", frame["file_row"])):
        group = people(chosen).rows
        survived, died = (People(group & fate.rows) for fate in fates.values())
        rows.append(
            (
                name,
                survived,
                died,
                People(group),
                _share(survived, len(group)),
                _share(survived, len(fates["survived"].rows)),
                _share(died, len(fates["died"].rows)),
            )
        )
    out.table(
        "crude_shares",
        ("status", "survived", "died", "all", "of_row_survived", "of_survivors", "of_dead"),
        rows,
        rests_on=("seen.survived", "seen.died"),
    )


def _rows_by_status(frame: pd.DataFrame) -> dict[str, pd.Series[int]]:
    return {name: frame["file_row"][frame["trained_status"] == code] for code, name in STATUS_NAMES.items()}


def _split(rows: frozenset[int], status: Mapping[str, frozenset[int]]) -> list[People]:
    """The people of some rows by status, and all of them."""
    known = [People(rows & group) for name, group in status.items() if name != "unknown"]
    rest = rows.difference(*(group.rows for group in known))
    return [*known, People(rest), People(rows)]


def _share(part: People, whole: int) -> float | None:
    return len(part.rows) / whole if whole else None
