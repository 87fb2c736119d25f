"""Is this file a table, and which texts stand in its cells?

Strict on purpose: a lenient reader fills short rows, renames repeated columns and drops what it cannot read.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from sys import intern

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.groundwork.errors import RecordsError
from survstats.groundwork.provenance import bytes_hash
from survstats.records.finding import Finding

_CONTROL = bytes(set(range(32)) - set(b"\t\n\r"))
_SAVE_AGAIN = "Save the table as CSV (comma separated, UTF-8) and try again."


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
    """

    file: str
    column: str
    rows: NDArray[np.int64]
    texts: NDArray[np.object_]


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
    """

    file: str
    hash: str
    cells: pd.DataFrame
    rows: tuple[int, ...]
    findings: tuple[Finding, ...] = ()
    sources: Mapping[str, Source] = field(default_factory=dict)


def read_text_table(path: Path) -> TextTable:
    """The texts of a CSV file (UTF-8, comma separated, one header row).

    Blanks around a cell's text and lines without any text are left out: they carry no meaning. Nothing else
    is changed.

    Raises
    ------
    RecordsError
        ``missing_file``, ``empty_file``, ``binary_file``, ``not_utf8``, ``not_csv``, ``no_column_name``,
        ``repeated_column``, ``short_row``, ``long_row``, ``no_rows``; the sentence names file and row.
    """
    file = path.name
    data = _read_bytes(path)
    if not data.strip():
        raise RecordsError("empty_file", f"{file} is empty.", "Put a header row and at least one row in it.")
    if data.startswith(b"PK\x03\x04") or len(data.translate(None, _CONTROL)) != len(data):
        raise RecordsError("binary_file", f"{file} is not a text file.", _SAVE_AGAIN)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = data[: error.start].count(b"\n") + 1
        raise RecordsError(
            "not_utf8", f"{file}, row {row}, holds a character that is not UTF-8.", _SAVE_AGAIN
        ) from error
    header, lines, rows = _split(text, file)
    columns = list(zip(*lines, strict=True))
    cells = pd.DataFrame(dict(zip(header, columns, strict=True)), dtype=object)
    return TextTable(file, bytes_hash(data), cells, tuple(rows))


def _read_bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except FileNotFoundError as error:
        raise RecordsError(
            "missing_file", f"There is no file {path.name}.", "Check its name in the study file."
        ) from error
    except OSError as error:
        raise RecordsError(
            "missing_file", f"{path.name} cannot be read.", "Check that it is a file you may open."
        ) from error


def _split(text: str, file: str) -> tuple[list[str], list[list[str]], list[int]]:
    header: list[str] = []
    lines: list[list[str]] = []
    rows: list[int] = []
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    row = 0
    try:
        for row, line in enumerate(reader, start=1):
            cells = [intern(cell.strip()) for cell in line]
            if not any(cells):
                continue
            if not header:
                header = _header(cells, file, row)
            elif len(cells) != len(header):
                raise _wrong_length(len(cells), len(header), file, row)
            else:
                lines.append(cells)
                rows.append(row)
    except csv.Error as error:
        raise RecordsError(
            "not_csv", f"{file}, row {row + 1}, is not proper CSV ({error}).", _SAVE_AGAIN
        ) from error
    if not lines:
        raise RecordsError("no_rows", f"{file} has no rows under its header.", "Enter at least one row.")
    return header, lines, rows


def _header(cells: list[str], file: str, row: int) -> list[str]:
    if "" in cells:
        raise RecordsError(
            "no_column_name",
            f"{file}, row {row}: column {cells.index('') + 1} has no name.",
            "Name the column, or delete it.",
        )
    for name in cells:
        if cells.count(name) > 1:
            raise RecordsError(
                "repeated_column",
                f"{file}, row {row}: the column {name} stands there twice.",
                "Delete one of them.",
            )
    return cells


def _wrong_length(seen: int, expected: int, file: str, row: int) -> RecordsError:
    reason, word = ("short_row", "few") if seen < expected else ("long_row", "many")
    return RecordsError(
        reason,
        f"{file}, row {row}, has too {word} cells: {seen}, the header has {expected}.",
        "Look for a comma too few or too many, or for a comma inside a text without quotation marks.",
    )
