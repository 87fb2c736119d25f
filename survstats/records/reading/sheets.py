"""Which sheet of a workbook holds the table, and which sheets belong together?

The collection form asks one half of the occupant table on a roster sheet and the other half, later, on the occupant
sheet; both are joined here by their keys.
"""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from survstats.groundwork.errors import RecordsError
from survstats.groundwork.file_bytes import read_file
from survstats.records.codebook import TABLES, TableName
from survstats.records.finding import Finding
from survstats.records.reading.grid import shown
from survstats.records.reading.tables import Source, TextTable, in_our_forms
from survstats.records.reading.workbook import Workbook, open_workbook
from survstats.records.reading.xlsx_file import has_rows, read_sheet

ROSTER = "roster"
_KEYS = ["mishap_id", "occupant_id"]
_SEPARATOR = "\x1f"


def read_workbook_table(
    book: Workbook, hash_: str, *, table: TableName | None, sheet: str | None = None
) -> TextTable:
    """The texts of one table of a workbook; an occupant table is joined with the roster sheet, if there is one.

    People on one of the two sheets only are error findings (F12). Where nothing stands on the occupant sheet yet, the
    roster alone is the table, and the statement F14 says so.

    Raises
    ------
    RecordsError
        As `survstats.records.reading.tables.read_text_table`; ``repeated_column`` where both sheets hold one.
    """
    roster = _named(book, ROSTER) if table == "occupant" and sheet is None else None
    if roster is None or not has_rows(book, roster):
        return in_our_forms(read_sheet(book, _chosen(book, table, sheet)), table, hash_)
    listed = in_our_forms(read_sheet(book, roster), table, hash_)
    chosen = _named(book, "occupant")
    if chosen is None or not has_rows(book, chosen):
        return _pending(listed)
    return _joined(in_our_forms(read_sheet(book, chosen), table, hash_), listed)


def tables_in_workbook(path: Path) -> dict[TableName, bool]:
    """The tables that have a sheet of their name in a workbook, and whether rows stand there.

    People may stand on the roster sheet instead.

    Raises
    ------
    RecordsError
        ``bad_workbook`` and those of `read_file`.
    """
    book = open_workbook(read_file(path), path.name)
    sheets = {table: [_named(book, table)] for table in TABLES}
    sheets["occupant"].append(_named(book, ROSTER))
    return {
        table: any(has_rows(book, name) for name in names if name)
        for table, names in sheets.items()
        if any(names)
    }


def _named(book: Workbook, name: str) -> str | None:
    return next((sheet for sheet in book.parts if sheet.strip().lower() == name), None)


def _chosen(book: Workbook, table: TableName | None, sheet: str | None) -> str:
    if sheet is not None:
        chosen = next((name for name in book.parts if name.strip().lower() == sheet.strip().lower()), None)
    else:
        chosen = _named(book, table) if table else None
        if chosen is None and len(book.parts) == 1:
            chosen = next(iter(book.parts))
    if chosen is not None:
        return chosen
    wanted = sheet or table
    what = f"has no sheet {wanted}" if wanted else "has several sheets"
    raise RecordsError(
        "no_sheet", f"{book.file} {what}; its sheets: {shown(', '.join(book.parts))}.", "Name the sheet."
    )


def _pending(roster: TextTable) -> TextTable:
    """The people of a roster sheet as the whole table of people."""
    keys = _keys(roster)
    twice = _people(roster, keys.duplicated(), "a person who stands there twice", "delete one of the rows")
    seen = f"{len(keys)} people on the roster sheet and nobody on the occupant sheet"
    said = Finding("F14", "statement", roster.file, None, "", seen, "", "no outcomes yet")
    return dataclasses.replace(roster, findings=(said, *roster.findings, *twice), outcomes_pending=True)


def _joined(occupant: TextTable, roster: TextTable) -> TextTable:
    """The occupant rows with the roster's columns beside them."""
    keys, listed = _keys(occupant), _keys(roster)
    both = [name for name in roster.cells if name in occupant.cells and name not in _KEYS]
    if both:
        raise RecordsError(
            "repeated_column",
            f"{roster.file}: the column {shown(str(both[0]))} stands on the occupant sheet as well.",
            "Delete one of them.",
        )
    first = listed[~listed.duplicated()]
    positions = np.append(first.index.to_numpy(), -1)[pd.Index(first).get_indexer(pd.Index(keys))]
    twice, unlisted, absent = listed.duplicated(), positions < 0, ~listed.isin(keys)
    findings = [
        *_people(roster, twice, "a person who stands there twice", "delete one of the rows"),
        *_people(
            occupant, unlisted, "a person who is not on the roster sheet", "enter the person there, too"
        ),
        *_people(roster, absent, "a person who is not on the occupant sheet", "enter the person there, too"),
    ]
    cells, sources = occupant.cells.copy(), dict(occupant.sources)
    rows = np.append(np.asarray(roster.rows, dtype=np.int64), 1)
    for name in map(str, roster.cells):
        if name in _KEYS:
            continue
        source = roster.sources.get(name)
        as_written = roster.cells[name].to_numpy() if source is None else source.texts
        cells[name] = _or_blank(roster.cells[name].to_numpy(), positions)
        sources[name] = Source(roster.file, name, rows[positions], _or_blank(as_written, positions))
    return dataclasses.replace(
        occupant,
        cells=cells,
        findings=(*occupant.findings, *roster.findings, *findings),
        sources=sources,
    )


def _keys(text: TextTable) -> pd.Series[str]:
    """The key of each row as one text."""
    lacking = [name for name in _KEYS if name not in text.cells]
    if lacking:
        raise RecordsError("missing_column", f"{text.file} lacks the column {lacking[0]}.", "Add the column.")
    return text.cells[_KEYS[0]].str.cat(text.cells[_KEYS[1]], sep=_SEPARATOR)


def _or_blank(texts: NDArray[np.object_], positions: NDArray[np.intp]) -> NDArray[np.object_]:
    """The text at each position, an empty one at -1."""
    return np.append(texts, np.array([""], dtype=object))[positions]


def _people(text: TextTable, mask: ArrayLike, seen: str, remedy: str) -> list[Finding]:
    expected = "the same people on both sheets, once each"
    return [
        Finding("F12", "error", text.file, text.rows[at], "occupant_id", seen, expected, remedy)
        for at in np.flatnonzero(mask)
    ]
