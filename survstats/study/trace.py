"""Where does a number come from: which counts, which ledger lines, which people, which rows of which file?"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from survstats.groundwork.errors import CallError
from survstats.groundwork.words import nearest
from survstats.study.results import MASKED, Cell, Number, StudyResults, Table, rows_in
from survstats.study.results_builder import cell_id

Kind = Literal[
    "people",
    "estimate",
    "mishaps",
    "plan",
    "threshold",
    "rule",
    "trainer_runs",
    "log",
    "finding",
    "graph",
    "published",
    "given",
    "decided",
]

#: Counts and codes of the verdict and its gates: they end in the rule, whose thresholds the paper prints.
_RULE = re.compile(r"verdict\.|change\.|(gate|challenge)\.\w+\.number$|(gates|challenges)/")
_RUNS = re.compile(
    r"runs(_model|_fading_curve|_fading_months)?[./]|records\.runs$|race\.pool_(median|people)$"
)
_LOG = re.compile(r"log\.")
_FINDINGS = ("findings", "findings_by_rule", "accepted")
#: Columns that say at which steps a table is made: the method decides them, no record does.
_STEPS = re.compile(
    r"recency/\d+/(band|from_months|to_months)$|fading_months/\d+/from_months$|fading_curve/\d+/months$"
    r"|imputation_delta/\d+/delta_\w+$|imputation_chains/\d+/(draw|iteration)$|tipping/\d+/trained_died$"
    r"|fitness/\d+/strength$|miscoding_grid/\d+/(sensitivity_\w+|specificity)$|choices/\d+/number$|budget_bounds/"
)
#: The layout of the cabins: the study file decides it.
_LAYOUT = re.compile(r"cabin_(layout|exits)/")
#: What is told of the decision, and of other studies: the study file gives what no record holds.
_DECISION = re.compile(
    r"(budget|policy|exposure|interval|whom|pool|matrix|evidence)\."
    r"|(budget_\w+|acceptability|evpi|swings|worlds|worlds_months|interval|interval_steps|whom_first|pool|matrix_policies"
    r"|evidence)/"
)
_PLANNING = re.compile(r"planning[./]")
_INPUTS = re.compile(r"budget_inputs/")
_BANDS = re.compile(r"matrix_(bands|cells)/")
_GRAPH = re.compile(r"graph\.|(graph_nodes|graph_edges|open_paths)/")


@dataclass(frozen=True)
class TracedRow:
    """One person behind a number: file, mishap, occupant and row of the file."""

    file: str
    mishap: str
    occupant: str
    row: int


@dataclass(frozen=True)
class Trace:
    """The way back from a number to the record files.

    Attributes
    ----------
    id : str
        As asked for, a cell as ``table.row.column`` with its rows counted from 0.
    kind : str
        ``people`` counted people, ``mishaps`` counted mishaps, ``estimate`` any other number made of counts, ``plan``
        from the study file, ``threshold`` of the verdict, ``rule`` of the verdict or the steps of a table,
        ``trainer_runs`` from the trainer's records, ``log`` from the run log, ``finding`` of the checks of the records,
        ``graph`` of causes as shipped, ``published`` with its source beside it, ``given`` worked out from figures of
        the study file alone, ``decided`` from records together with such figures.
    number : Number or None
        None for a cell, and for an id that is absent.
    cell : str, float, int or None
        What stands in the cell.
    absent : str or None
        The code of the reason why there is no number.
    rests_on : tuple of (str, int or None)
        The counts of people it rests on, each with how many there are; None for a withheld count.
    ledger : tuple of (str, int)
        The lines of the ledgers (their ids) on which its people stand, and how many of them.
    rows : tuple of TracedRow
        Its people, in the order of the file.
    without_row : int
        How many of its people nobody wrote a row for.
    mishaps : tuple of str
        For counts of mishaps: which.
    withheld : bool
        Whether these are results for sharing, which hold no rows, and not all tables, on purpose.
    """

    id: str
    kind: Kind
    number: Number | None
    cell: Cell
    absent: str | None
    rests_on: tuple[tuple[str, int | None], ...]
    ledger: tuple[tuple[str, int], ...]
    rows: tuple[TracedRow, ...]
    without_row: int
    mishaps: tuple[str, ...]
    withheld: bool


def trace(results: StudyResults, asked: str) -> Trace:
    """Follow a number, or a cell of a table, back to where it comes from.

    Parameters
    ----------
    results : StudyResults
    asked : str
        The id of a number (``effect.rd``), or a cell (``flow.0.current``); in place of the row's place, the text in
        its first column will do where no other row has it.

    Raises
    ------
    CallError
        ``unknown_id``, with the id that was probably meant; ``word`` where it is that of a word, which no row counts.
    """
    if asked in results.numbers or asked in results.absent:
        return _traced(results, asked, asked, cell=None)
    found = _cell(results, asked)
    table = asked.replace("/", ".").partition(".")[0]
    if found is None and table in results.absent:
        return _traced(results, asked, table, cell=None)
    if found is None and asked in results.codes:
        raise CallError("word", f"'{asked}' is a word, not a number.", _cell_of(asked))
    if found is None:
        known = [*results.numbers, *results.absent, *_cells(results)]
        raise CallError(
            "unknown_id",
            f"There is no number '{asked}' in these results.",
            _meant(asked, known),
        )
    table, at, column = found
    place = results.tables[table].columns.index(column)
    return _traced(
        results,
        f"{table}.{at}.{column}",
        cell_id(table, at, column),
        cell=results.tables[table].rows[at][place],
    )


def _cell_of(code: str) -> str:
    """Where the word of a gate or a challenge stands in a table, and where the others are."""
    kind, _, part = code.partition(".")
    if kind in ("gate", "challenge") and part.endswith((".state", ".finding")):
        return f"It stands in the table {kind}s, as '{kind}s.{part}'."
    if kind == "verdict":
        return "It follows from the states in the table gates; try 'gates.seen.state'."
    return "results.json holds all words by their ids."


def _meant(asked: str, known: Sequence[str]) -> str:
    """What was probably meant, whether written in capitals or not."""
    small = {name.lower(): name for name in known}
    near = nearest(asked.lower(), small)
    return (
        "results.json holds all numbers by their ids." if near is None else f"Did you mean '{small[near]}'?"
    )


def _traced(results: StudyResults, told: str, name: str, *, cell: Cell) -> Trace:
    counts, mishaps = ((), ()) if _STEPS.match(name) else _ends(results, name)
    people: frozenset[int] = frozenset().union(*(rows_in(results.people[one]) for one in counts))
    return Trace(
        id=told,
        kind=_kind(results, name, cell),
        number=results.numbers.get(name),
        cell=cell,
        absent=results.absent.get(name),
        rests_on=tuple((one, _size(results, one)) for one in counts if one != name)
        or tuple((one, _size(results, one)) for one in _listed(results, name) if not _STEPS.match(name)),
        ledger=_ledger(results, people),
        rows=_rows(results, people),
        without_row=_without_row(results, counts),
        mishaps=mishaps,
        withheld=_withheld(results),
    )


def _withheld(results: StudyResults) -> bool:
    return results.codes.get("paper.audience") == "sharing"


def _kind(results: StudyResults, name: str, cell: Cell) -> Kind:
    table = name.partition("/")[0]
    by_name: tuple[tuple[bool, Kind], ...] = (
        (name in results.people, "people"),
        (bool(_RULE.match(name) or _STEPS.match(name)), "rule"),
        (bool(_RUNS.match(name)), "trainer_runs"),
        (bool(_LOG.match(name)), "log"),
        (table in _FINDINGS, "finding"),
        (bool(_LAYOUT.match(name) or _INPUTS.match(name)), "plan"),
        (bool(_BANDS.match(name)), "published"),
        (bool(_PLANNING.match(name)) and not _is_set(results, name), "estimate"),
        (bool(_DECISION.match(name)) and not _is_set(results, name), _given_or_decided(results, name)),
        (bool(_GRAPH.match(name)), "graph"),
        (name in results.mishaps or name.rpartition("/")[2] == "mishaps", "mishaps"),
    )
    for holds, kind in by_name:
        if holds:
            return kind
    number = results.numbers.get(name)
    if number is None:  # in results for sharing nothing is left to tell whom a cell counts
        return "people" if _withheld(results) and (isinstance(cell, int) or cell == MASKED) else "estimate"
    by_method: dict[str, Kind] = {"study_file": "plan", "rule": "threshold", "published": "published"}
    if number.method in by_method:
        return by_method[number.method]
    if number.unit == "count" and re.search(r"mishaps$|^within\.", name):
        return "mishaps"
    return "people" if number.unit == "count" and name not in results.rests_on else "estimate"


def _is_set(results: StudyResults, name: str) -> bool:
    """Whether a number was set beforehand, in the study file or by rule."""
    number = results.numbers.get(name)
    return number is not None and number.method in ("study_file", "rule")


def _given_or_decided(results: StudyResults, name: str) -> Kind:
    """Whether something of the decision rests on people of the records besides what is given."""
    return "decided" if _ends(results, name)[0] else "given"


def _ends(results: StudyResults, name: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The counts of people in which the way back ends, in order, and the mishaps."""
    counts: dict[str, None] = {}
    mishaps: dict[str, None] = {}
    seen: set[str] = set()
    ahead = [name]
    while ahead:
        one = ahead.pop(0)
        if one in seen:
            continue
        seen.add(one)
        if one in results.people:
            counts[one] = None
            continue
        mishaps |= dict.fromkeys(results.mishaps.get(one, ()))
        ahead += _listed(results, one)
    return tuple(counts), tuple(mishaps)


def _listed(results: StudyResults, name: str) -> Sequence[str]:
    """What a number, or a cell, is said to rest on: the people of its row, what its row or its table rests on."""
    table, _, place = name.partition("/")
    row = f"{table}/{place.partition('/')[0]}" if place else ""
    found = [*results.rests_on.get(name, ())]
    if place and name != row:
        found += [one for one in results.people if one.startswith(f"{row}/")]
        found += [*results.rests_on.get(row, ()), *results.rests_on.get(table, ())]
    return found


def _size(results: StudyResults, name: str) -> int | None:
    number = results.numbers.get(name)
    if number is not None:
        return None if number.method == MASKED else round(number.value)
    table, _, place = name.partition("/")
    if place and table in results.tables:
        at, _, column = place.partition("/")
        cell = results.tables[table].rows[int(at)][results.tables[table].columns.index(column)]
        return cell if isinstance(cell, int) else None
    return len(rows_in(results.people[name])) if name in results.people else None


def _ledger(results: StudyResults, people: frozenset[int]) -> tuple[tuple[str, int], ...]:
    lines = [name for name in results.people if ".ledger." in name]
    found = ((name, len(people & rows_in(results.people[name]))) for name in lines)
    return tuple((name, size) for name, size in found if size)


def _rows(results: StudyResults, people: frozenset[int]) -> tuple[TracedRow, ...]:
    file = results.texts.get("records.occupant_file", "occupant.csv")
    keys = sorted(
        (key for key in results.rows.get("records", ()) if key[2] in people), key=lambda key: key[2]
    )
    return tuple(TracedRow(file, mishap, occupant, row) for mishap, occupant, row in keys)


def _without_row(results: StudyResults, counts: Sequence[str]) -> int:
    """People of these counts whom nobody wrote a row for; the same ones may stand in several counts."""
    missing = [(_size(results, one) or 0) - len(rows_in(results.people[one])) for one in counts]
    return max(missing, default=0)


def _cell(results: StudyResults, asked: str) -> tuple[str, int, str] | None:
    """Table, row and column of a cell asked for as ``table.row.column``."""
    table, _, rest = asked.replace("/", ".").partition(".")
    found = results.tables.get(table)
    parts = rest.split(".")
    splits = ((".".join(parts[:at]), ".".join(parts[at:])) for at in range(len(parts) - 1, 0, -1))
    label, column = next(((row, cell) for row, cell in splits if found and cell in found.columns), ("", ""))
    if found is None or not column:
        return None
    if re.fullmatch(r"[0-9]{1,6}", label) and int(label) < len(found.rows):
        return table, int(label), column
    places = [at for at, row in enumerate(found.rows) if str(row[0]).replace("/", ".") == label]
    return (table, places[0], column) if len(places) == 1 else None


def _cells(results: StudyResults) -> list[str]:
    """Cells that may have been meant, by the text of their row."""
    return [
        f"{name}.{row[0]}.{column}"
        for name, table in results.tables.items()
        if _short(table)
        for row in table.rows
        for column in table.columns[1:]
    ]


def _short(table: Table) -> bool:
    return len(table.rows) <= 40  # a long table is asked for by number
