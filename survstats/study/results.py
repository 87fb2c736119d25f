"""What came out: every number by id, with the codes, tables, rows and hashes that belong to it."""

from __future__ import annotations

import dataclasses
import json
import math
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from survstats.groundwork.cells import inert_json
from survstats.groundwork.errors import CallError
from survstats.groundwork.estimate import Estimate

SCHEMA_VERSION = 2

#: The method of a count that is withheld, and the reason of a number that is absent because it rests on one.
MASKED = "masked"

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
        The occupants behind each population, for tracing a number back to the record files.
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
            "Run 'survstats brief' on the study again.",
        )


@dataclass(frozen=True)
class People:
    """A cell of a table that counts people: their file rows (people without a row have numbers below zero)."""

    rows: frozenset[int]


def people(rows: Iterable[int]) -> People:
    """The people of some rows of the occupant table."""
    return People(frozenset(int(row) for row in rows))


@dataclass
class ResultsBuilder:
    """Collects results while a study runs.

    Beside what becomes the results it remembers what `survstats.study.sharing` must know and nobody else: which people
    stand behind each count, and which counts each other number rests on.

    Attributes
    ----------
    people : dict of str to frozenset of int
        The people behind each published count, by its id; a cell of a table is named by `cell_id`.
    parts : dict of str to frozenset of int
        Groups that are not published themselves but that published numbers rest on.
    rests_on : dict of str to tuple of str
        For each number that is no count of people: the ids in ``people`` or ``parts`` that it rests on. Where nothing
        is said of a number it is not shared.
    counted : dict of str to str
        For estimates: the count that their ``occupants`` repeats.
    """

    numbers: dict[str, Number] = field(default_factory=dict)
    codes: dict[str, str] = field(default_factory=dict)
    texts: dict[str, str] = field(default_factory=dict)
    absent: dict[str, str] = field(default_factory=dict)
    lists: dict[str, list[str]] = field(default_factory=dict)
    tables: dict[str, Table] = field(default_factory=dict)
    rows: dict[str, list[tuple[str, str, int]]] = field(default_factory=dict)
    notices: list[tuple[str, dict[str, Cell]]] = field(default_factory=list)
    provenance: dict[str, str] = field(default_factory=dict)
    people: dict[str, frozenset[int]] = field(default_factory=dict)
    parts: dict[str, frozenset[int]] = field(default_factory=dict)
    rests_on: dict[str, tuple[str, ...]] = field(default_factory=dict)
    counted: dict[str, str] = field(default_factory=dict)

    def count_people(self, name: str, who: People) -> None:
        """Store a count of people, and remember who they are."""
        self.count(name, len(who.rows))
        self.people[name] = who.rows

    def count(self, name: str, value: int, *, rests_on: Sequence[str] = ()) -> None:
        """Store a count of something else (mishaps, gates), and the counts of people that it rests on."""
        self._store(name, Number(value=int(value), unit="count", method="counted"), rests_on)

    def figure(
        self, name: str, value: float, *, unit: str, method: str, rests_on: Sequence[str] = ()
    ) -> None:
        """Store a number that has no interval of its own, and the counts of people that it rests on."""
        self._store(name, Number(value=float(value), unit=unit, method=method), rests_on)

    def estimate(
        self, name: str, found: Estimate, *, rests_on: Sequence[str] = (), counted: str | None = None
    ) -> None:
        """Store an estimate with its interval, and the counts of people that it rests on."""
        number = Number(
            value=found.value,
            unit=found.unit,
            method=found.method,
            low=found.low,
            high=found.high,
            level=found.level,
            df=None if math.isnan(found.df) else found.df,
            mishaps=found.mishaps,
            occupants=found.occupants,
        )
        self._store(name, number, rests_on)
        if counted is not None:
            self.counted[name] = counted

    def table(self, name: str, columns: Sequence[str], rows: Iterable[Sequence[Cell | People]]) -> None:
        """Store a table whose cells may be groups of people; these are counted, and remembered."""
        written = []
        for at, row in enumerate(rows):
            for column, cell in zip(columns, row, strict=True):
                if isinstance(cell, People):
                    self.people[cell_id(name, at, column)] = cell.rows
            written.append(tuple(len(cell.rows) if isinstance(cell, People) else cell for cell in row))
        self.tables[name] = Table(tuple(columns), tuple(written))

    def finish(self) -> StudyResults:
        """The finished, frozen results."""
        names = [entry.name for entry in dataclasses.fields(StudyResults) if entry.name != "schema_version"]
        return StudyResults(**{name: getattr(self, name) for name in names})

    def _store(self, name: str, number: Number, rests_on: Sequence[str]) -> None:
        self.numbers[name] = number
        if rests_on:
            self.rests_on[name] = tuple(rests_on)


def cell_id(table: str, row: int, column: str) -> str:
    """The id of a cell of a table, its rows counted from 0."""
    return f"{table}/{row}/{column}"


def read_results(path: str | Path) -> StudyResults:
    """Read a ``results.json``, or the one in a folder of papers.

    Raises
    ------
    CallError
        ``no_results`` if there is none that can be read, ``not_results`` if it is something else.
    """
    path = Path(path)
    if os.path.isdir(path):
        path = path / "results.json"
    try:
        return StudyResults.from_json(path.read_text(encoding="utf-8"))
    except OSError:
        raise CallError(
            "no_results", f"There is no results.json to read at '{path}'.", "Run 'survstats brief' first."
        ) from None
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
        "lists": {
            name: [_demand(word, str) for word in _demand(entry, list)]
            for name, entry in data["lists"].items()
        },
        **{name: _each(data[name], str) for name in ("codes", "texts", "absent", "provenance")},
    }


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
