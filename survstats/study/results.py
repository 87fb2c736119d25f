"""What came out: every number by id, with the codes, tables, rows and hashes that belong to it."""

from __future__ import annotations

import dataclasses
import json
import math
import os
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

from survstats.groundwork.cells import inert_json
from survstats.groundwork.errors import CallError, RecordsError
from survstats.groundwork.file_bytes import read_file

SCHEMA_VERSION = 3

#: The method of a count that is withheld, and the reason of a number that is absent because it rests on one.
MASKED = "masked"

_RANGES = re.compile(r"(?:[0-9]{1,9}(?:-[0-9]{1,9})?(?: (?!$)|$))*")

Cell = str | float | int | None
Audience = Literal["board", "sharing"]


@dataclass(frozen=True)
class Number:
    """One stored number: a value, its interval where it has one, and what it rests on.

    A count that is withheld has the method `MASKED` and the value NaN (null in JSON).
    """

    value: float
    unit: str
    method: str
    low: float | None = None
    high: float | None = None
    level: float | None = None
    df: float | None = None
    mishaps: int | None = None
    occupants: int | None = None


@dataclass(frozen=True)
class Table:
    """A table that leaves as CSV: column names and rows."""

    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


@dataclass(frozen=True)
class StudyResults:
    """All that the papers may print.

    Attributes
    ----------
    numbers : mapping of str to Number
        Every number by id; an id is absent where its number could not be estimated.
    codes : mapping of str to str
        Words chosen by rule (``verdict.word``, ``gate.seen.state``, ``brief.form``).
    texts : mapping of str to str
        Free text of the study file (title, place, names).
    absent : mapping of str to str
        Ids that could not be estimated, and the reason code.
    lists : mapping of str to sequence of str
        Codes in order (groups adjusted for, empty eras).
    tables : mapping of str to Table
    rows : mapping of str to sequence of (mishap id, occupant id, file row)
        The occupants behind each population, and under ``records`` everyone who has a row, for tracing a number back
        to the record files. Empty in results for sharing, as are ``people`` and ``mishaps``.
    rests_on : mapping of str to sequence of str
        For a number or a cell that is no count of people: the ids of the counts that it rests on.
    people : mapping of str to str
        For a count of people, published or not: their file rows, as "2-5 9 12-14". People without a row are not in
        it; where a count is larger than its rows, they are the rest.
    mishaps : mapping of str to sequence of str
        For a count of mishaps that no count of people leads to: which mishaps.
    notices : sequence of (code, values)
    provenance : mapping of str to str
        Hashes, versions, seed.
    """

    numbers: Mapping[str, Number]
    codes: Mapping[str, str]
    texts: Mapping[str, str]
    absent: Mapping[str, str]
    lists: Mapping[str, Sequence[str]]
    tables: Mapping[str, Table]
    rows: Mapping[str, Sequence[tuple[str, str, int]]]
    notices: Sequence[tuple[str, Mapping[str, Cell]]]
    provenance: Mapping[str, str]
    rests_on: Mapping[str, Sequence[str]] = field(default_factory=dict)
    people: Mapping[str, str] = field(default_factory=dict)
    mishaps: Mapping[str, Sequence[str]] = field(default_factory=dict)
    schema_version: int = SCHEMA_VERSION

    def to_json(self) -> str:
        """The results as JSON text; an infinite number is written as "infinite" or "-infinite"."""
        text = json.dumps(_plain(dataclasses.asdict(self)), indent=1, ensure_ascii=False, allow_nan=False)
        return inert_json(text) + "\n"

    @classmethod
    def from_json(cls, text: str) -> StudyResults:
        """The results back from JSON text.

        Raises
        ------
        CallError
            ``not_results`` if the text is not what `to_json` writes, or of another schema version.
        """
        try:
            data = json.loads(text)
            version = data["schema_version"]
            if version == SCHEMA_VERSION:
                return cls(**_parts(data))
            _demand(version, int)
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
            raise _not_results() from None
        raise CallError(
            "not_results",
            f"This results.json has schema version {version}, not {SCHEMA_VERSION}.",
            "It was written by a newer survstats: use that one, or run 'survstats brief' on the study again."
            if version > SCHEMA_VERSION
            else "Run 'survstats brief' on the study again.",
        )


def row_ranges(rows: Iterable[int]) -> str:
    """File rows in order, runs of them shortened: "2-5 9 12-14"; people without a row are left out."""
    ranges: list[list[int]] = []
    for row in sorted(row for row in rows if row >= 0):
        if ranges and row == ranges[-1][1] + 1:
            ranges[-1][1] = row
        else:
            ranges.append([row, row])
    return " ".join(str(first) if first == last else f"{first}-{last}" for first, last in ranges)


@lru_cache(maxsize=4096)
def rows_in(ranges: str) -> frozenset[int]:
    """The file rows back from `row_ranges`.

    Raises
    ------
    ValueError
        If it is no such text.
    """
    ends = [part.split("-") for part in _ranges(ranges).split()]
    return frozenset(row for part in ends for row in range(int(part[0]), int(part[-1]) + 1))


def read_results(path: str | Path) -> StudyResults:
    """Read a ``results.json``, or the one in a folder of papers.

    Raises
    ------
    CallError
        ``no_results`` if there is none that can be read (a pipe or a device is not opened), ``not_results`` if it is
        something else.
    """
    path = Path(path)
    if os.path.isdir(path):
        path = path / "results.json"
    try:
        return StudyResults.from_json(read_file(path).decode("utf-8"))
    except RecordsError as fault:
        told = (
            fault.plain if fault.reason == "not_a_file" else f"There is no results.json to read at '{path}'."
        )
        raise CallError("no_results", told, "Run 'survstats brief' first.") from None
    except UnicodeDecodeError:
        raise _not_results() from None


def _not_results() -> CallError:
    return CallError("not_results", "This is not a results.json of survstats.")


def _parts(data: Any) -> dict[str, Any]:
    """The parts of the results in parsed JSON, each of the type it must have."""
    return {
        "numbers": {name: _number(entry) for name, entry in data["numbers"].items()},
        "tables": {name: _table(entry) for name, entry in data["tables"].items()},
        "rows": {name: [_row(*row) for row in _demand(entry, list)] for name, entry in data["rows"].items()},
        "notices": [(_demand(code, str), _each(values, *_CELL)) for code, values in data["notices"]],
        "people": {name: _ranges(entry) for name, entry in data["people"].items()},
        **{name: _words(data[name]) for name in ("lists", "rests_on", "mishaps")},
        **{name: _each(data[name], str) for name in ("codes", "texts", "absent", "provenance")},
    }


def _ranges(entry: Any) -> str:
    if not _RANGES.fullmatch(_demand(entry, str)):
        raise ValueError(entry)
    return str(entry)


def _words(entries: Any) -> dict[str, list[str]]:
    return {name: [_demand(word, str) for word in _demand(entry, list)] for name, entry in entries.items()}


_CELL = (str, int, float, type(None))
_AMOUNT = (int, float, type(None))


def _demand(value: Any, *types: type) -> Any:
    if not isinstance(value, types):
        raise TypeError
    return value


def _each(entries: Any, *types: type) -> dict[str, Any]:
    return {name: _demand(value, *types) for name, value in entries.items()}


def _number(entry: Any) -> Number:
    number = Number(**{key: _unbounded(value) for key, value in entry.items()})
    if number.value is None and number.method == MASKED:
        number = dataclasses.replace(number, value=math.nan)
    for part in dataclasses.fields(Number):
        _demand(getattr(number, part.name), *((str,) if part.name in ("unit", "method") else _AMOUNT))
    return number


def _table(entry: Any) -> Table:
    columns = tuple(_demand(name, str) for name in _demand(entry["columns"], list))
    rows = tuple(
        tuple(_demand(cell, *_CELL) for cell in _demand(row, list)) for row in _demand(entry["rows"], list)
    )
    if any(len(row) != len(columns) for row in rows):
        raise ValueError
    return Table(columns, rows)


def _row(mishap_id: Any, occupant_id: Any, file_row: Any) -> tuple[str, str, int]:
    return _demand(mishap_id, str), _demand(occupant_id, str), _demand(file_row, int)


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(entry) for entry in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None if math.isnan(value) else ("infinite" if value > 0 else "-infinite")
    return value


def _unbounded(value: Any) -> Any:
    return (
        {"infinite": math.inf, "-infinite": -math.inf}.get(value, value) if isinstance(value, str) else value
    )
