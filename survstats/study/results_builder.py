"""Collects what comes out while a study runs, and remembers what each number rests on."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field

from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
from survstats.study.results import Cell, Number, StudyResults, Table, row_ranges


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

    Beside the numbers it remembers which people stand behind each count, and which counts each other number rests on:
    `survstats.study.sharing` decides by it, `survstats.study.trace` follows it back to the record files.

    Attributes
    ----------
    people : dict of str to frozenset of int
        The people behind each published count, by its id; a cell of a table is named by `cell_id`. People without a
        row have numbers below zero.
    parts : dict of str to frozenset of int
        Groups that are not published themselves but that published numbers rest on.
    rests_on : dict of str to tuple of str
        For each number that is no count of people: the ids in ``people`` or ``parts`` that it rests on. Where nothing
        is said of a number it is not shared.
    counted : dict of str to str
        For estimates: the count that their ``occupants`` repeats.
    mishaps : dict of str to tuple of str
        For counts of mishaps that rest on no count of people: which mishaps.
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
    mishaps: dict[str, tuple[str, ...]] = field(default_factory=dict)

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

    def number(self, name: str, number: Number, *, rests_on: Sequence[str] = ()) -> None:
        """Store a number of any kind, and the counts of people that it rests on."""
        self._store(name, number, rests_on)

    @contextmanager
    def or_absent(self, *names: str) -> Iterator[None]:
        """Where what is done inside cannot be estimated, note these ids as absent, with the reason."""
        try:
            yield
        except NotEstimable as fault:
            self.leave_out(fault.reason, *names)

    def leave_out(self, reason: str, *names: str) -> None:
        """Note ids as absent; those that are stored already stay."""
        for name in names:
            if name not in self.numbers and name not in self.tables:
                self.absent[name] = reason

    def estimate(
        self, name: str, found: Estimate, *, rests_on: Sequence[str] = (), counted: str | None = None
    ) -> None:
        """Store an estimate with its interval, and the counts of people that it rests on."""
        number = dataclasses.replace(number_of(found), mishaps=found.mishaps, occupants=found.occupants)
        self._store(name, number, rests_on)
        if counted is not None:
            self.counted[name] = counted

    def count_mishaps(self, name: str, which: Iterable[object]) -> None:
        """Store a count of mishaps that rests on no count of people, and remember which they are."""
        self.mishaps[name] = tuple(sorted(str(mishap) for mishap in which))
        self.count(name, len(self.mishaps[name]))

    def table(
        self,
        name: str,
        columns: Sequence[str],
        rows: Iterable[Sequence[Cell | People]],
        *,
        rests_on: Sequence[str] = (),
    ) -> None:
        """Store a table whose cells may be groups of people; these are counted, and remembered.

        ``rests_on`` are the counts that its other cells rest on.
        """
        if rests_on:
            self.rests_on[name] = tuple(rests_on)
        written = []
        for at, row in enumerate(rows):
            for column, cell in zip(columns, row, strict=True):
                if isinstance(cell, People):
                    self.people[cell_id(name, at, column)] = cell.rows
            written.append(tuple(len(cell.rows) if isinstance(cell, People) else cell for cell in row))
        self.tables[name] = Table(tuple(columns), tuple(written))

    def finish(self) -> StudyResults:
        """The finished, frozen results."""
        names = [
            entry.name
            for entry in dataclasses.fields(StudyResults)
            if entry.name not in ("schema_version", "people")
        ]
        ranges = {name: row_ranges(rows) for name, rows in (self.people | self.parts).items()}
        return StudyResults(**{name: getattr(self, name) for name in names}, people=ranges)

    def _store(self, name: str, number: Number, rests_on: Sequence[str]) -> None:
        self.numbers[name] = number
        if rests_on:
            self.rests_on[name] = tuple(rests_on)


def number_of(found: Estimate) -> Number:
    """An estimate with its interval alone: what rests on runs in a pool counts neither mishaps nor occupants."""
    return Number(
        value=found.value,
        unit=found.unit,
        method=found.method,
        low=found.low,
        high=found.high,
        level=found.level,
        df=None if math.isnan(found.df) else found.df,
    )


def cell_id(table: str, row: int, column: str) -> str:
    """The id of a cell of a table, its rows counted from 0."""
    return f"{table}/{row}/{column}"
