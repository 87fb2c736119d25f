"""Do these lines of cells form a table with one header row?

Strict on purpose: a lenient reader fills short rows, renames repeated columns and drops what it cannot read.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from survstats.groundwork.errors import RecordsError
from survstats.records.finding import Finding

_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
SAVE_AGAIN = "Save the table as CSV (comma separated, UTF-8) and try again."


@dataclass(frozen=True)
class Grid:
    """A table as a file holds it, before anything is known of its fields.

    Attributes
    ----------
    file : str
        Name of the file, and of the sheet where it has sheets.
    columns : mapping of str to sequence of str
        Texts by column, blanks at their ends removed; every column has n cells.
    rows : tuple of int, length n
        Row of each line as a spreadsheet counts it (the header is row 1).
    findings : tuple of Finding
        What had to be decided to read it, and cells that hold no value of their own.
    comma_separated : bool
        Whether commas stand between the cells, so that none can be a decimal sign.
    real_dates : mapping of str to int
        How many cells of a column the file itself holds as dates, not as texts; no entry for none.
    """

    file: str
    columns: Mapping[str, Sequence[str]]
    rows: tuple[int, ...]
    findings: tuple[Finding, ...] = ()
    comma_separated: bool = False
    real_dates: Mapping[str, int] = field(default_factory=dict)


def header_and_lines(
    lines: Iterable[tuple[int, list[str]]], file: str, said: list[str] | None = None
) -> tuple[list[str], list[list[str]], list[int]]:
    """The header, the lines under it and their rows; lines without any text are left out.

    Columns at the end without name and without any text are left out as well, if every line has them; ``said`` takes
    that up.

    Raises
    ------
    RecordsError
        ``no_column_name``, ``repeated_column``, ``short_row``, ``long_row``, ``no_rows``.
    """
    header: list[str] = []
    kept: list[list[str]] = []
    rows: list[int] = []
    header_row = 1
    for row, cells in lines:
        if not any(cells):
            continue
        if not header:
            header, header_row = cells, row
        elif len(cells) != len(header):
            raise _wrong_length(len(cells), len(header), file, row)
        else:
            kept.append(cells)
            rows.append(row)
    nameless = len(header) - len("".join("x" if cell else " " for cell in header).rstrip())
    if nameless and not any(any(cells[-nameless:]) for cells in kept):
        header, kept = header[:-nameless], [cells[:-nameless] for cells in kept]
        if said is not None:
            said.append(
                f"{nameless} separators at the end of each line"
                if nameless > 1
                else "a separator at the end of each line"
            )
    if header:
        checked_header(header, file, header_row)
    if not kept:
        raise RecordsError("no_rows", f"{file} has no rows under its header.", "Enter at least one row.")
    return header, kept, rows


def checked_header(cells: list[str], file: str, row: int) -> list[str]:
    """The names of the columns.

    Raises
    ------
    RecordsError
        ``no_column_name``, ``repeated_column``.
    """
    if "" in cells:
        raise RecordsError(
            "no_column_name",
            f"{file}, row {row}: column {cells.index('') + 1} has no name.",
            "Name the column, or delete it; the names stand in one row, the first.",
        )
    seen: set[str] = set()
    for name in cells:
        if name in seen:
            raise RecordsError(
                "repeated_column",
                f"{file}, row {row}: the column {shown(name)} stands there twice.",
                "Delete one of them.",
            )
        seen.add(name)
    return cells


def shown(text: str) -> str:
    """A text of a file as it may stand in a sentence: on one line, and not longer than 60 characters."""
    line = " ".join(text.split())
    return line if len(line) <= 60 else f"{line[:57]}..."


def refuse_control_characters(cells: Iterable[str], file: str) -> None:
    """Stop where a text holds a character that no table should.

    Raises
    ------
    RecordsError
        ``control_character``; the sentence shows the text with the character made visible.
    """
    for cell in cells:
        if _CONTROL.search(cell):
            raise RecordsError(
                "control_character",
                f"{file} holds a control character: {shown(cell)!a}.",
                "Delete it; only line breaks and tabs may stand in a cell.",
            )


def _wrong_length(seen: int, expected: int, file: str, row: int) -> RecordsError:
    reason, word = ("short_row", "few") if seen < expected else ("long_row", "many")
    return RecordsError(
        reason,
        f"{file}, row {row}, has too {word} cells: {seen}, the header has {expected}.",
        "Look for a separator too few or too many, or for one inside a text without quotation marks.",
    )
