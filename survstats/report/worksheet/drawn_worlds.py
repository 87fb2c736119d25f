"""Which worlds does the worksheet carry? The drawn ones of the results, packed for its script."""

from __future__ import annotations

import json
from collections.abc import Mapping

from survstats.study.results import StudyResults, Table

_KINDS = ("never", "trained")
_ALL = (
    *("mishaps_a_year", "fading", "first_cost", "refresher_cost", "fixed_cost"),
    *("deaths_per_course", "injuries_per_course", "injury_cost", "false_confidence"),
)
_OF_SPEND = ("cost_a_year", "deaths_averted", "overlap")

MOST_BYTES = 1_000_000
"""What the worlds may weigh on the page; of many groups of people fewer worlds are carried."""

Column = list[float] | float


def has_worlds(results: StudyResults) -> bool:
    """Whether the results carry worlds that a worksheet can be made of."""
    return "worlds" in results.tables and bool(results.tables["worlds"].rows)


def drawn_worlds(results: StudyResults) -> dict[str, object]:
    """The worlds by column, and the months since their course of the people behind the records.

    A column that is the same in every world becomes one number. Where the recorded difference is not there, since
    the records do not carry it, the reader assumes one and none is packed.
    """
    table = results.tables["worlds"]
    packed = _packed(results, table, len(table.rows))
    size = len(json.dumps(packed))
    if size > MOST_BYTES:
        packed = _packed(results, table, len(table.rows) * MOST_BYTES // size)
    return packed


def _packed(results: StudyResults, table: Table, rows: int) -> dict[str, object]:
    columns = {name: _column([row[at] for row in table.rows[:rows]]) for at, name in enumerate(table.columns)}
    groups = _count(columns, "at_risk")
    spends = _count(columns, "spend", ending=".cost_a_year")
    return {
        "size": rows,
        **{name: columns[name] for name in _ALL},
        "groups": [_group(results, columns, at) for at in range(groups)],
        "spends": [{name: columns[f"spend.{at}.{name}"] for name in _OF_SPEND} for at in range(spends)],
        "recency": [list(row) for row in results.tables["worlds_months"].rows],
    }


def _group(results: StudyResults, columns: Mapping[str, Column], at: int) -> dict[str, object]:
    observed = {kind: columns.get(f"observed.{at}.{kind}", 0.0) for kind in _KINDS}
    return {
        "people": results.numbers[f"input.people.{at}"].value,
        "at_risk": columns[f"at_risk.{at}"],
        "leaving": columns[f"leaving.{at}"],
        "untrained": {kind: columns[f"survival_untrained.{at}.{kind}"] for kind in _KINDS},
        "observed": observed,
    }


def _column(cells: list[object]) -> Column:
    values = [float(cell) for cell in cells if isinstance(cell, int | float)]
    if len(values) != len(cells):
        raise ValueError("a drawn world has an empty cell")
    return values[0] if len(set(values)) == 1 else values


def _count(columns: Mapping[str, Column], start: str, ending: str = "") -> int:
    """How many columns are numbered so."""
    return sum(name.startswith(f"{start}.") and name.endswith(ending) for name in columns)
