"""Is this file a table, and which texts stand in its cells?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.groundwork.errors import RecordsError
from survstats.groundwork.file_bytes import read_file
from survstats.groundwork.provenance import bytes_hash
from survstats.records.codebook import TableName, load_codebook
from survstats.records.finding import Finding
from survstats.records.reading.csv_file import read_csv
from survstats.records.reading.grid import Grid
from survstats.records.reading.written_forms import original, settle

if TYPE_CHECKING:
    from survstats.records.reading.workbook import Workbook

_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0"


@dataclass(frozen=True)
class Source:
    """Where the cells of one field stand, and what stands there.

    Attributes
    ----------
    file : str
        As in `Finding`.
    column : str
        Name of the column there.
    rows : array of int, shape (n,)
        Row of each cell as a spreadsheet counts it.
    texts : array of object, shape (n,)
        The texts as they stand there.
    rounding : array of float, shape (n,), or None
        Where numbers were converted from another unit: how far off each may be, in our unit, because it was written
        to its last place there.
    """

    file: str
    column: str
    rows: NDArray[np.int64]
    texts: NDArray[np.object_]
    rounding: NDArray[np.float64] | None = None


@dataclass(frozen=True)
class TextTable:
    """A table as it was written.

    Attributes
    ----------
    file : str
        Name of the file, without its folder.
    hash : str
        SHA-256 of its bytes.
    cells : DataFrame
        Texts, one column per column of the file, blanks at the ends of a cell removed.
    rows : tuple of int
        Row of each line as a spreadsheet counts it (the header is row 1).
    findings : tuple of Finding
        What had to be decided to read it (encoding, delimiter, forms of dates), and what went wrong.
    sources : mapping of str to Source
        Where a column's cells come from, for columns that stand elsewhere, under another name or in another form
        (a mapping, a roster sheet); every other column stands in ``file`` under its own name, at ``rows``.
    outcomes_pending : bool
        Whether these are the people of a roster sheet, of whom nobody has yet written how it ended.
    """

    file: str
    hash: str
    cells: pd.DataFrame
    rows: tuple[int, ...]
    findings: tuple[Finding, ...] = ()
    sources: Mapping[str, Source] = field(default_factory=dict)
    outcomes_pending: bool = False

    def place(self, name: str, at: int) -> tuple[str, int, str, str]:
        """File, row, column and text of one column of the row at position ``at``, as they stand in the file."""
        source = self.sources.get(name)
        if source is None:
            return self.file, self.rows[at], name, str(self.cells[name].iat[at])
        return source.file, int(source.rows[at]), source.column, str(source.texts[at])


def read_text_tables(paths: Mapping[TableName, Path]) -> dict[TableName, TextTable]:
    """The texts of several tables of ours; a workbook that holds more than one is opened once.

    Raises
    ------
    RecordsError
        As `read_text_table`; a file that is not there is named as the study file names it.
    """
    opened: dict[Path, bytes] = {}
    books: dict[Path, Workbook] = {}
    tables: dict[TableName, TextTable] = {}
    for table, path in paths.items():
        if path not in opened:
            opened[path] = read_file(path, remedy="Check its name in the study file.")
            if _is_workbook(opened[path]):
                from survstats.records.reading.workbook import open_workbook

                books[path] = open_workbook(opened[path], path.name)
        if path in books:
            from survstats.records.reading.sheets import read_workbook_table

            tables[table] = read_workbook_table(books[path], bytes_hash(opened[path]), table=table)
        else:
            tables[table] = _text_table(opened[path], path.name, table=table)
    return tables


def read_text_table(
    path: Path,
    *,
    table: TableName | None = None,
    sheet: str | None = None,
    encoding: str | None = None,
    delimiter: str | None = None,
) -> TextTable:
    """The texts of a CSV, XLSX or Parquet file; which of them it is, its first bytes tell.

    Blanks around a cell's text and lines without any text are left out: they carry no meaning. Where the table is
    known, numbers are given a decimal point and dates the form YYYY-MM-DD, if the file leaves no doubt; ``sources``
    keeps what stands in the file, and findings say what was decided (F9 encoding and separator, F10, F11).

    Parameters
    ----------
    path : Path
    table : {"mishap", "occupant", "training_run"}, optional
        Which table of ours it holds; it tells the sheet, the separator and the fields with numbers and dates.
    sheet : str, optional
        Sheet of a workbook; else the one named after the table, else the only one.
    encoding, delimiter : str, optional
        Of a CSV file, where they are known; else they are found out.

    Raises
    ------
    RecordsError
        ``missing_file``, ``not_readable``, ``not_a_file``, ``too_large``, ``empty_file``, ``binary_file``,
        ``old_workbook``, ``not_csv``, ``long_cell``, ``undecodable``, ``unknown_encoding``, ``bad_workbook``,
        ``no_sheet``, ``merged_cells``, ``bad_parquet``, ``nested_column``, ``control_character``,
        ``no_column_name``, ``repeated_column``, ``two_headers``, ``short_row``, ``long_row``, ``no_rows``; the
        sentence names file and row.
    """
    data = read_file(path)
    if _is_workbook(data):
        from survstats.records.reading.sheets import read_workbook_table
        from survstats.records.reading.workbook import open_workbook

        book = open_workbook(data, path.name)
        return read_workbook_table(book, bytes_hash(data), table=table, sheet=sheet)
    return _text_table(data, path.name, table=table, sheet=sheet, encoding=encoding, delimiter=delimiter)


def _is_workbook(data: bytes) -> bool:
    return data.startswith(b"PK\x03\x04")


def _text_table(
    data: bytes,
    file: str,
    *,
    table: TableName | None = None,
    sheet: str | None = None,
    encoding: str | None = None,
    delimiter: str | None = None,
) -> TextTable:
    """The texts of what is no workbook."""
    if not data.strip():
        raise RecordsError("empty_file", f"{file} is empty.", "Put a header row and at least one row in it.")
    if data.startswith(_OLD_WORKBOOK):
        raise RecordsError(
            "old_workbook", f"{file} is an old or a locked workbook.", "Save it as XLSX, without a password."
        )
    if sheet is not None:
        raise RecordsError("no_sheet", f"{file} has no sheets.", f"Leave the sheet {sheet} out.")
    if data.startswith(b"PAR1"):
        from survstats.records.reading.parquet_file import read_parquet

        return in_our_forms(read_parquet(data, file), table, bytes_hash(data))
    names = {f.name for f in load_codebook().table(table)} if table else set()
    grid = read_csv(data, file, names=names, encoding=encoding, delimiter=delimiter)
    return in_our_forms(grid, table, bytes_hash(data))


def in_our_forms(grid: Grid, table: TableName | None, hash_: str) -> TextTable:
    """A grid as a table of texts, its numbers and dates in our forms where the table is known.

    Findings about columns that are no fields of that table are left out: nothing is read from them.
    """
    fields = load_codebook().table(table) if table else ()
    _refuse_two_headers(grid, {f.name for f in fields})
    settled = settle(grid, fields)
    names = {f.name for f in fields}
    return TextTable(
        file=grid.file,
        hash=hash_,
        cells=pd.DataFrame(dict(settled.columns), dtype=object),
        rows=grid.rows,
        findings=(
            *(f for f in grid.findings if not f.field or table is None or f.field in names),
            *settled.findings,
        ),
        sources={
            name: Source(grid.file, name, np.asarray(grid.rows, dtype=np.int64), original(grid, name))
            for name in sorted(settled.changed)
        },
    )


def _refuse_two_headers(grid: Grid, names: set[str]) -> None:
    """Stop where the first line under the header names more of our fields than the header does."""
    first = [texts[0] for texts in grid.columns.values()]
    if sum(text in names for text in first) > sum(name in names for name in grid.columns):
        raise RecordsError(
            "two_headers",
            f"{grid.file}, row {grid.rows[0]}, names columns, and so does a row above it.",
            "Leave one row with the names of the columns, the first.",
        )
