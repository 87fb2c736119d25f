"""Where in the records does each finding stand, as a workbook to mend them from?

The first sheet lists the findings, each with a way to its cell; the record tables follow as they were read, each row
at the number it has in its file, with the cells of the findings framed, shaded and noted.
"""

from __future__ import annotations

import zipfile
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from openpyxl import load_workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.cell.cell import Cell
from openpyxl.comments import Comment
from openpyxl.utils import get_column_letter
from openpyxl.utils.exceptions import InvalidFileException
from openpyxl.worksheet.hyperlink import Hyperlink

from survstats.groundwork.cells import clean_text
from survstats.groundwork.whole_file import check_place
from survstats.records.codebook import TABLES, TableName
from survstats.records.finding import Finding
from survstats.records.loading import Records
from survstats.records.rules.rulebook import RULEBOOK
from survstats.records.workbooks.writing import (
    BOLD,
    FRAME,
    LINK,
    MADE_BY,
    SHADE,
    UNDER_THICK,
    WRAPPED,
    hold_text,
    print_on,
    row_height,
    text_cell,
    whole_workbook,
)

FINDINGS = "findings"
COLUMNS = {
    "severity": 10,
    "rule": 6,
    "title": 32,
    "file": 20,
    "row": 7,
    "field": 24,
    "seen": 30,
    "expected": 28,
    "remedy": 32,
}
"""Columns of the sheet of findings and their widths."""

SHEET = "{} marked"
"""Name of the sheet of a table: not the table's own, so that the workbook is never taken for the records."""
_MARKED = ("error", "warning", "accepted")
_NOTE_LETTERS, _SEEN_LETTERS = 900, 500
Place = tuple[TableName, str, int]
"""Table, field, and position of the row in the table."""


def write_marked(path: Path, records: Records, findings: Sequence[Finding]) -> None:
    """Write the findings and the marked records to a workbook; an earlier one of this kind is replaced.

    Parameters
    ----------
    path : Path
    records : Records
        g mishaps, n occupants, m runs.
    findings : sequence of Finding
        In the order in which they are listed.

    Raises
    ------
    PublishError
        As `survstats.groundwork.whole_file.write_whole`: ``file_exists`` where another file stands there.
    """
    check_place(path, replace=is_marked(path))
    places = _places(records, findings)
    notes: defaultdict[Place, list[Finding]] = defaultdict(list)
    for finding, found in zip(findings, places, strict=True):
        if finding.severity in _MARKED:
            for place in found:
                notes[place].append(finding)
    shown = {table: _fields_shown(records, table, notes) for table in TABLES if len(records.table(table))}
    rows = {table: _sheet_rows(records, table) for table in shown}
    with whole_workbook(path, replace=True, write_only=True) as workbook:
        _put_findings(workbook.create_sheet(FINDINGS), findings, places, shown, rows)
        for table, fields in shown.items():
            _put_table(workbook.create_sheet(SHEET.format(table)), records, table, fields, rows[table], notes)


def is_marked(path: Path) -> bool:
    """Whether the file is a workbook that `write_marked` made, and not, say, the records themselves."""
    if not path.is_file():  # a pipe would never end
        return False
    try:
        with path.open("rb") as file:
            book = load_workbook(file, read_only=True)
            return bool(book.properties.creator == MADE_BY and book.sheetnames[0] == FINDINGS)
    except (OSError, KeyError, ValueError, zipfile.BadZipFile, InvalidFileException):
        return False


def _places(records: Records, findings: Sequence[Finding]) -> list[list[Place]]:
    """The cells of each finding; none where it concerns a whole file or a column that is not ours."""
    known: dict[tuple[TableName, str], dict[int, list[int]]] = {}
    places: list[list[Place]] = []
    for finding in findings:
        name = finding.field.split(" (")[0]  # a mapped column stands behind the name of our field
        places.append([])
        for table in TABLES:
            if finding.row is None or _file(records, table, name) != finding.file:
                continue
            own = name if name in records.sources[table] else ""
            if (table, own) not in known:
                known[table, own] = _positions(records, table, name)
            places[-1] += [(table, name, at) for at in known[table, own].get(finding.row, [])]
    return places


def _file(records: Records, table: TableName, name: str) -> str:
    """The file in which a field of a table stands; empty where the table has no such field."""
    if table not in records.files or name not in records.raw[table].columns:
        return ""
    source = records.sources[table].get(name)
    return source.file if source else records.files[table]


def _positions(records: Records, table: TableName, name: str) -> dict[int, list[int]]:
    """The positions of a table's rows by the row at which the field stands in its file."""
    source = records.sources[table].get(name)
    rows = source.rows if source else records.table(table)["file_row"].to_numpy()
    positions: defaultdict[int, list[int]] = defaultdict(list)
    for at, row in enumerate(rows.tolist()):
        positions[row].append(at)
    return positions


def _fields_shown(records: Records, table: TableName, notes: Mapping[Place, list[Finding]]) -> list[str]:
    """The fields in which anything stands or is missing where it must not be."""
    raw = records.raw[table]
    noted = {name for where, name, _ in notes if where == table}
    return [name for name in raw.columns if name in noted or (raw[name] != "").any()]


def _sheet_rows(records: Records, table: TableName) -> list[int]:
    """Row of the sheet for each row of the table: its row in the file, unless two rows of the table share one."""
    rows = records.table(table)["file_row"].to_numpy()
    fresh = len(set(rows.tolist())) == len(rows) and rows.min() > 1 and (np.diff(rows) > 0).all()
    return [int(row) for row in (rows if fresh else range(2, len(rows) + 2))]


def _put_findings(
    sheet: Any,
    findings: Sequence[Finding],
    places: Sequence[Sequence[Place]],
    shown: Mapping[TableName, list[str]],
    rows: Mapping[TableName, list[int]],
) -> None:
    for column, width in enumerate(COLUMNS.values(), start=1):
        sheet.column_dimensions[get_column_letter(column)].width = width
    sheet.freeze_panes = "A2"
    sheet.auto_filter.ref = f"A1:{get_column_letter(len(COLUMNS))}{len(findings) + 1}"
    print_on(sheet)
    sheet.append([_head(sheet, name) for name in COLUMNS])
    for at, (finding, found) in enumerate(zip(findings, places, strict=True), start=2):
        line = replace(finding, seen=_short(finding.seen), file=_short(finding.file))
        values = {**vars(line), "title": RULEBOOK[finding.rule].title}
        cells = [_line_cell(sheet, values[name]) for name in COLUMNS]
        target = next((place for place in found if place[1] in shown.get(place[0], [])), None)
        if target is not None:
            table, name, position = target
            letter = get_column_letter(shown[table].index(name) + 1)
            link = cells[list(COLUMNS).index("field")]
            link.hyperlink = Hyperlink(
                ref="", location=f"'{SHEET.format(table)}'!{letter}{rows[table][position]}"
            )
            link.font = LINK
        sheet.row_dimensions[at].height = row_height([cell.value for cell in cells], list(COLUMNS.values()))
        sheet.append(cells)


def _put_table(
    sheet: Any,
    records: Records,
    table: TableName,
    fields: list[str],
    rows: list[int],
    notes: Mapping[Place, list[Finding]],
) -> None:
    raw, typed = records.raw[table], records.table(table)
    for column, name in enumerate(fields, start=1):
        sheet.column_dimensions[get_column_letter(column)].width = max(12, min(len(name) + 2, 30))
    sheet.freeze_panes = "B2" if table == "mishap" else "C2"
    print_on(sheet, key_columns=1 if table == "mishap" else 2)
    sheet.append([_head(sheet, name) for name in fields])
    columns = [_column(sheet, raw[name], typed[name]) for name in fields]
    for (where, name, position), found in notes.items():
        if where == table:
            cells_of_field = columns[fields.index(name)]
            cells_of_field[position] = _marked(sheet, cells_of_field[position], found)
    last = 1
    for row, cells in zip(rows, zip(*columns, strict=True), strict=True):
        for _ in range(row - last - 1):  # lines of the file in which nothing stands
            sheet.append([])
        sheet.append(cells)
        last = row


def _column(sheet: Any, raw: pd.Series[str], typed: pd.Series[Any]) -> list[Any]:
    """The cells of a column: numbers as numbers, all else as the texts that stand there."""
    texts = raw.tolist()
    if typed.dtype.kind == "f":
        numbers = typed.to_numpy()
        finite = np.isfinite(numbers)
        return [
            number if usable else text_cell(sheet, text)
            for text, number, usable in zip(texts, numbers.tolist(), finite, strict=True)
        ]
    cells = {text: text_cell(sheet, text) for text in set(texts)}
    return [cells[text] or None for text in texts]


def _marked(sheet: Any, value: Any, findings: Sequence[Finding]) -> Cell:
    """The same cell, framed and shaded, with a note of what was found."""
    inner = value.value if isinstance(value, Cell) else value
    cell = WriteOnlyCell(sheet, value=None)
    if isinstance(inner, str):
        hold_text(cell, inner)
    else:
        cell.value = inner
    cell.font, cell.fill, cell.border = BOLD, SHADE, FRAME
    notes = [
        f"{finding.rule} ({finding.severity}): {RULEBOOK[finding.rule].title}.\n"
        f"Expected: {finding.expected}.\nWhat to do: {finding.remedy}."
        for finding in findings
    ]
    cell.comment = Comment(clean_text("\n\n".join(notes))[:_NOTE_LETTERS], MADE_BY, height=160, width=320)
    return cell


def _head(sheet: Any, name: str) -> Cell:
    cell = WriteOnlyCell(sheet, value=name)
    cell.font, cell.fill, cell.border = BOLD, SHADE, UNDER_THICK
    return cell


def _line_cell(sheet: Any, value: object) -> Cell:
    cell = WriteOnlyCell(sheet, value=value if isinstance(value, int) else None)
    if isinstance(value, str):
        hold_text(cell, value)
    cell.alignment = WRAPPED
    return cell


def _short(text: str) -> str:
    return text if len(text) <= _SEEN_LETTERS else f"{text[:_SEEN_LETTERS]} [cut: {len(text)} letters]"
