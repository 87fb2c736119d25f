"""What does each of our fields hold, row by row of another file, and where did it stand there?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.records.codebook import NOT_COLLECTED, UNKNOWN, Field
from survstats.records.finding import Finding
from survstats.records.mapping.cells import Unread, cell_reader, rounding_of
from survstats.records.mapping.local_time import utc_of
from survstats.records.mapping.plan import (
    MAPPING_FILE,
    NOT_COLLECTED_WORD,
    NUMBERED,
    FieldPlan,
    LocalTimePlan,
)
from survstats.records.mapping.units import unit_of
from survstats.records.reading.tables import Source, TextTable

_CREW, _PASSENGER = ("flight_crew", "technical_crew"), "passenger"


@dataclass(frozen=True)
class Column:
    """One of our fields in their rows.

    Attributes
    ----------
    texts : array of object, shape (n,)
        In our words; blank where the mapping does not cover what stands there.
    source : Source or None
        Where it stands; None where it was not collected.
    findings : tuple of Finding
        Cells that the mapping does not cover.
    """

    texts: NDArray[np.object_]
    source: Source | None
    findings: tuple[Finding, ...] = ()


def translated(foreign: TextTable, field: Field, plan: FieldPlan) -> Column:
    """A column of theirs, cell by cell in our words."""
    source = _source(foreign, plan.column or "")
    read = cell_reader(field, plan)
    codes, distinct = pd.factorize(source.texts)
    said = [read(str(text)) for text in distinct]
    unread = {code: what for code, what in enumerate(said) if isinstance(what, Unread)}
    ours = np.array([NOT_COLLECTED if isinstance(what, Unread) else what for what in said], dtype=object)
    bad = np.flatnonzero(np.isin(codes, list(unread)))
    if plan.unit and plan.unit != unit_of(field.unit) and not (plan.bands or plan.interval):
        off = np.array([rounding_of(str(text), field, plan) for text in distinct], dtype=float)
        source = replace(source, rounding=off[codes])
    return Column(
        ours[codes], source, tuple(_finding(source, field.name, int(at), unread[codes[at]]) for at in bad)
    )


def stated(text: str, name: str, n: int, *, line: int) -> Column:
    """The same value in n rows; it stands in the mapping file, at that line."""
    said = NOT_COLLECTED if text == NOT_COLLECTED_WORD else text
    return from_mapping_file(np.full(n, said, dtype=object), name, line=line)


def from_mapping_file(texts: NDArray[np.object_], name: str, *, line: int) -> Column:
    """Values that follow from what the mapping file says at a line."""
    return Column(texts, Source(MAPPING_FILE, name, np.full(len(texts), line, dtype=np.int64), texts))


def not_collected(n: int) -> Column:
    """A column that nobody asked."""
    return Column(np.full(n, NOT_COLLECTED, dtype=object), None)


def in_utc(foreign: TextTable, plan: LocalTimePlan) -> tuple[Column, Column]:
    """event_date and event_time_utc from day and time by the clock of a place."""
    days, times = _source(foreign, plan.date_column), _source(foreign, plan.time_column)
    zones = _source(foreign, plan.zone_column) if plan.zone_column else None
    names = zones.texts if zones else [plan.zone or ""] * len(days.texts)
    rows = [(str(d), str(t), str(z)) for d, t, z in zip(days.texts, times.texts, names, strict=True)]
    said = {row: utc_of(*row, plan) for row in set(rows)}
    told = [said[row] for row in rows]
    by_column = {source.column: source for source in (days, times, zones) if source is not None}
    wrong = []
    for at, (*_, blame) in enumerate(told):
        if blame is not None:
            name = "event_date" if blame[0] == plan.date_column else "event_time_utc"
            wrong.append(_finding(by_column[blame[0]], name, at, blame[1]))
    untimed = sum(bool(day) and time in (NOT_COLLECTED, UNKNOWN) and not blame for day, time, blame in told)
    if untimed:
        seen = f"{untimed} of {len(told)} rows without a time"
        remedy = "their local day stands as the day in UTC"
        wrong.append(Finding("M6", "statement", foreign.file, None, plan.time_column, seen, "", remedy))
    return (
        Column(np.array([day for day, *_ in told], dtype=object), days, tuple(wrong)),
        Column(np.array([time for _, time, _ in told], dtype=object), times),
    )


def numbered(columns: Mapping[str, Column], name: str, *, line: int) -> Column:
    """1, 2, ... in the order of the rows, within rows whose other keys agree (n rows)."""
    keys = pd.DataFrame({key: columns[key].texts for key in NUMBERED[name]})
    numbers = keys.groupby(list(keys.columns), sort=False).cumcount() + 1
    return from_mapping_file(numbers.astype(str).to_numpy(dtype=object), name, line=line)


def counted(mishap_ids: NDArray[np.object_], occupant: pd.DataFrame, name: str, *, line: int) -> Column:
    """People of the occupant rows by mishap; where a role is unknown, so are the counts of crew and of passengers.

    Parameters
    ----------
    mishap_ids : array of object, shape (n,)
    occupant : DataFrame
        Texts in our words, with ``mishap_id`` and ``role``.
    name : {"n_aboard", "n_crew", "n_pax"}
    line : int
        Line of the mapping file that asks for it.
    """
    people = occupant.reindex(columns=["mishap_id", "role"], fill_value=NOT_COLLECTED)
    ids, role = people["mishap_id"], people["role"]
    asked = {"n_aboard": role.notna(), "n_crew": role.isin(_CREW), "n_pax": role == _PASSENGER}[name]
    count = asked.groupby(ids).sum().astype(int)
    texts = pd.Series(mishap_ids, dtype=object).map(count).fillna(0).astype(int).astype(str).astype(object)
    if name != "n_aboard":
        unclear = ids[~role.isin((*_CREW, _PASSENGER))].unique()
        texts[np.isin(mishap_ids.astype(str), unclear.astype(str))] = UNKNOWN
    return from_mapping_file(texts.to_numpy(dtype=object), name, line=line)


def one_row_each(
    columns: Mapping[str, Column], rows: Sequence[int]
) -> tuple[dict[str, Column], tuple[int, ...]]:
    """Of a sheet with a row per person, one row per mishap: the first text there is of each field.

    Two texts for one field of a mishap are an error (M3) that names both rows.
    """
    codes, _ = pd.factorize(columns["mishap_id"].texts)
    first = np.unique(codes, return_index=True)[1]
    kept = {name: _one_text_each(name, column, codes, first) for name, column in columns.items()}
    return kept, tuple(int(rows[at]) for at in first)


def _one_text_each(name: str, column: Column, codes: NDArray[np.int64], first: NDArray[np.int64]) -> Column:
    texts, source = column.texts, column.source
    filled = np.flatnonzero(texts != NOT_COLLECTED)
    mishaps, place = np.unique(codes[filled], return_index=True)
    at = first.copy()
    at[mishaps] = filled[place]
    if source is None:
        return replace(column, texts=texts[at])
    other = filled[texts[filled] != texts[at][codes[filled]]]
    other = other[np.unique(codes[other], return_index=True)[1]]
    contradictions = []
    for position in other:
        kept = at[codes[position]]
        expected = f"{source.texts[kept]}, as row {source.rows[kept]} says of the same mishap"
        contradictions.append(
            _finding(source, name, int(position), Unread("M3", expected, "correct one of the two rows"))
        )
    off = None if source.rounding is None else source.rounding[at]
    moved = replace(source, rows=source.rows[at], texts=source.texts[at], rounding=off)
    return Column(texts[at], moved, (*column.findings, *contradictions))


def _source(foreign: TextTable, column: str) -> Source:
    rows = np.asarray(foreign.rows, dtype=np.int64)
    return Source(foreign.file, column, rows, foreign.cells[column].to_numpy(dtype=object))


def _finding(source: Source, name: str, at: int, unread: Unread) -> Finding:
    return Finding(
        rule=unread.rule,
        severity="error",
        file=source.file,
        row=int(source.rows[at]),
        field=name if source.column == name else f"{name} ({source.column})",
        seen=str(source.texts[at]),
        expected=unread.expected,
        remedy=unread.remedy,
    )
