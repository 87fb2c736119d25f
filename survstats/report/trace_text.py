"""The way back from a number to the rows, as lines for a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from survstats.report.content import plain
from survstats.report.places import places
from survstats.report.wording import Facts, Wording, facts_of
from survstats.study.results import MASKED, Cell, Number, StudyResults

if TYPE_CHECKING:
    from survstats.study.trace import Trace

_FORMS = {
    "difference": "points_with_interval",
    "share": "percent_with_interval",
    "ratio": "ratio_with_interval",
    "odds_ratio": "ratio_with_interval",
    "count": "count",
    "draws": "count",
    "rounds": "count",
    "year": "year",
    "months": "months_with_interval",
    "seconds": "seconds_with_interval",
    "p": "chance",
    "df": "one_decimal",
    "number_needed": "whole_with_interval",
    **dict.fromkeys(("money", "money_a_year"), "money_with_interval"),
    "lives": "lives_with_interval",
    "years": "years_with_interval",
    **dict.fromkeys(
        ("hours", "people", "courses", "courses_a_month", "courses_a_year"), "figure_with_interval"
    ),
    **dict.fromkeys(("per_year", "per_hour", "rate_a_year"), "figure_with_interval"),
    "per_course": "in_million_with_interval",
}
_UNITS = {"difference": "points", "share": "percent_sign", "per_course": "in_million"}
_ESTIMATES = ("difference", "value", "survived_share", "estimate")
"""Columns whose interval stands in the same row."""
_COLUMNS = {
    **dict.fromkeys(("difference", "value", "shrunken", "change"), "difference"),
    **dict.fromkeys(("survived_share", "predicted", "from_risk", "to_risk"), "share"),
    **dict.fromkeys(("of_row_survived", "of_survivors", "of_dead"), "share"),
}
"""Units of the columns that are no counts."""
SHOWN = 20
"""Rows and mishaps that are listed unless all are asked for."""


def trace_text(results: StudyResults, found: Trace, *, width: int, all_rows: bool = False) -> list[str]:
    """The lines: the number, what it is, where it is printed, what it rests on, ledger, rows.

    Parameters
    ----------
    results : StudyResults
    found : Trace
    width : int
        Columns of the terminal.
    all_rows : bool
        Whether every row and mishap is listed.
    """
    words = _words(results, found)
    lines = [_number_line(words, found), *_kind_lines(words, found), ""]
    lines += _place_lines(results, words, found)
    counts = [f"{name.replace('/', '.')}: {_size(words, size)}" for name, size in found.rests_on]
    if found.kind != "people":  # a count of people is its own end
        lines += _list(plain(words.say("trace.rests_on")), counts, all_rows, words)
    lines += _list(plain(words.say("trace.ledger")), list(_ledger(words, found)), True, words)
    lines += _mishap_lines(words, found, all_rows)
    lines += _row_lines(words, found, all_rows)
    if found.without_row:
        lines += ["", plain(words.say("trace.without_row"))]
    if found.withheld:
        lines += ["", plain(words.say("trace.withheld"))]
    return [part for line in lines for part in _filled(line, width)]


def _filled(line: str, width: int) -> list[str]:
    """A line filled to the width; one that is indented hangs on by as much and more."""
    indent = " " * (len(line) - len(line.lstrip(" ")) + 2)
    return textwrap.wrap(
        line,
        width,
        subsequent_indent=indent,
        break_on_hyphens=False,
        drop_whitespace=True,
        replace_whitespace=False,
    ) or [""]


def _words(results: StudyResults, found: Trace) -> Wording:
    """The sentences, with what they quote of this trace."""
    facts = facts_of(results)
    counts = {"rows": len(found.rows), "without_row": found.without_row, "mishaps": len(found.mishaps)}
    counts["more"] = max(len(found.rows) - SHOWN, 0)
    numbers = {f"trace.{name}": Number(float(size), "count", "counted") for name, size in counts.items()}
    number = found.number or _cell_number(results, found)
    if number is not None:
        numbers["trace.number"] = number
    texts = {
        "trace.id": found.id,
        "trace.table": found.id.partition(".")[0],
        "trace.file": found.rows[0].file if found.rows else "",
    }
    told = Facts({**facts.numbers, **numbers}, {**facts.texts, **texts}, facts.lists)
    shown = _shown(Wording(told), found, number)
    return Wording(Facts(told.numbers, {**told.texts, "trace.shown": shown}, told.lists))


def _cell_number(results: StudyResults, found: Trace) -> Number | None:
    """The number in a cell of a known unit, with the interval of its row where the cell is the row's estimate."""
    table, _, place = found.id.partition(".")
    at, _, column = place.partition(".")
    if not isinstance(found.cell, int | float):
        return None
    stored = results.tables[table]
    row = dict(zip(stored.columns, stored.rows[int(at)], strict=True))
    unit = _unit(row, column)
    if not unit:
        return None
    low, high = (row.get(end) if column in _ESTIMATES else None for end in ("low", "high"))
    low, high = (float(end) if isinstance(end, int | float) else None for end in (low, high))
    return Number(float(found.cell), unit, "table", low, high)


def _unit(row: dict[str, Cell], column: str) -> str:
    """What a cell is counted in: as its own row says, or as its column does everywhere; empty where neither does."""
    if "unit" in row and column in ("value", "low", "high"):
        return str(row["unit"])
    return _COLUMNS.get(column, "log_odds" if column == "estimate" else "")


def _shown(words: Wording, found: Trace, number: Number | None) -> str:
    """The number in the form of its unit, as the papers print it."""
    if number is None:
        if found.cell is None:
            return words.template("trace.empty")
        return f"{found.cell:g}" if isinstance(found.cell, float) else str(found.cell)
    if number.method == MASKED:
        return words.template("masked.count")
    shown = words.slot("trace.number", _FORMS.get(number.unit, "decimal_with_interval")).text
    if number.unit.startswith("money") and words.is_word("decision.money"):
        return f"{words.slot('decision.money', 'text').text} {shown}"
    unit = _UNITS.get(number.unit, "")
    return f"{shown} {words.template(f'trace.unit.{unit}')}" if unit else shown


def _number_line(words: Wording, found: Trace) -> str:
    if found.absent is not None:
        reason = f"reason.{found.absent}"
        why = words.say(reason if words.has(reason) else "reason.other")
        return f"{plain(words.say('trace.absent'))} {plain(why)}"
    line = plain(words.say("trace.number"))
    with_level = found.number is not None and found.number.level is not None and found.number.low is not None
    return f"{line} {plain(words.say('trace.level'))}" if with_level else line


def _kind_lines(words: Wording, found: Trace) -> list[str]:
    return [] if found.absent is not None else [plain(words.say(f"trace.kind.{found.kind}"))]


def _place_lines(results: StudyResults, words: Wording, found: Trace) -> list[str]:
    printed = places(results, found.id)
    if not printed:
        key = "as_table" if found.number is None and found.absent is None else "not_printed"
        return [plain(words.say(f"trace.{key}"))]
    lines = [plain(words.say("trace.places"))]
    for place in printed:
        where = f"{place.paper}, {place.part}" if place.part else place.paper
        lines.append(f"  {where}: {'; '.join(place.shown)}")
    return lines


def _list(head: str, entries: Sequence[str], whole: bool, words: Wording) -> list[str]:
    """A headed list; the first entries and how many more, unless all are asked for."""
    if not entries:
        return []
    kept = entries if whole else entries[:SHOWN]
    lines = ["", head, *(f"  {entry}" for entry in kept)]
    return [*lines, f"  {_more(words, len(entries) - len(kept))}"] if len(kept) < len(entries) else lines


def _mishap_lines(words: Wording, found: Trace, all_rows: bool) -> list[str]:
    """Which mishaps are counted, one after the other."""
    if not found.mishaps:
        return []
    kept = found.mishaps if all_rows else found.mishaps[:SHOWN]
    lines = ["", plain(words.say("trace.mishaps")), f"  {', '.join(kept)}"]
    return (
        [*lines, f"  {_more(words, len(found.mishaps) - len(kept))}"]
        if len(kept) < len(found.mishaps)
        else lines
    )


def _more(words: Wording, more: int) -> str:
    """How many more there are, and how to see them."""
    return words.template("trace.more").replace("{trace.more|count}", str(more))


def _ledger(words: Wording, found: Trace) -> Iterator[str]:
    """The ledger lines, in words, and how many of the people stand on each."""
    for name, size in found.ledger:
        population, _, line = name.partition(".ledger.")
        told = plain(words.say(f"ledger_step.{line}")) if words.has(f"ledger_step.{line}") else line
        yield f"{words.template(f'trace.population.{population}')}: {told}: {size}"


def _row_lines(words: Wording, found: Trace, all_rows: bool) -> list[str]:
    if not found.rows:
        return []
    kept = found.rows if all_rows else found.rows[:SHOWN]
    table = [tuple(words.template(f"trace.{head}") for head in ("mishap", "occupant", "row"))]
    table += [(row.mishap, row.occupant, str(row.row)) for row in kept]
    wide = [max(len(cells[at]) for cells in table) for at in range(2)]
    key = "one_row" if len(found.rows) == 1 else "rows"
    lines = ["", plain(words.say(f"trace.{key}"))]
    lines += [f"  {one.ljust(wide[0])}  {other.ljust(wide[1])}  {row.rjust(6)}" for one, other, row in table]
    return (
        [*lines, f"  {_more(words, len(found.rows) - len(kept))}"] if len(kept) < len(found.rows) else lines
    )


def _size(words: Wording, size: int | None) -> str:
    return words.template("masked.count") if size is None else str(size)
