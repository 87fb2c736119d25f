"""Which texts stand in the cells of one sheet of an XLSX file?

The sheet is read as a stream, since a sheet of millions of cells does not fit in memory as objects. Merged cells,
formulas and error values are seen here, because none of them is a value that somebody entered. It is read by expat
and not by openpyxl, which needs as long for the bare cells of 100,000 people as is allowed for loading and checking
them (``tests/benchmarks/bench_intake.py`` prints both).
"""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from sys import intern
from xml.parsers import expat

from openpyxl.utils.cell import column_index_from_string, range_boundaries
from openpyxl.utils.datetime import MAC_EPOCH, WINDOWS_EPOCH, from_excel, from_ISO8601

from survstats.groundwork.errors import RecordsError
from survstats.records.finding import Finding
from survstats.records.reading.grid import Grid, header_and_lines, refuse_control_characters
from survstats.records.reading.plain_texts import date_text, number_text, time_text
from survstats.records.reading.workbook import DAMAGE, Workbook, damaged, parse, plain_name, unescaped

_LAST_ROW, _LAST_COLUMN = 1_048_576, 16_384
_REMEDY = {
    "formula": "enter the value itself (copy the column and paste its values)",
    "error": "enter the value itself, or unknown",
}


@dataclass
class _Seen:
    """What has been read of a sheet."""

    lines: list[tuple[int, list[str]]] = field(default_factory=list)
    odd: list[tuple[int, int, str]] = field(default_factory=list)
    merged: list[str] = field(default_factory=list)
    dates: Counter[int] = field(default_factory=Counter)


def read_sheet(book: Workbook, sheet: str) -> Grid:
    """The cells of one sheet: dates as YYYY-MM-DD, times as HH:MM, truth values as true and false.

    Formulas and error values stay as texts and become error findings F13. Hidden rows and columns are read.

    Raises
    ------
    RecordsError
        ``bad_workbook``, ``merged_cells``, ``control_character`` and those of `header_and_lines`.
    """
    file = f"{book.file}, sheet {sheet}"
    seen = _Seen()
    try:
        for _ in _fill(book, sheet, seen):
            pass
    except DAMAGE as error:
        raise damaged(file) from error
    first = next((cells for _, cells in seen.lines if any(cells)), [])
    width = max((at for at, cell in enumerate(first, start=1) if cell), default=0)
    _refuse_merged(seen, width, file)
    header, lines, rows = header_and_lines(((row, _cut(cells, width)) for row, cells in seen.lines), file)
    columns = dict(zip(header, zip(*lines, strict=True), strict=True))
    kept = set(rows)
    findings = tuple(
        Finding(
            "F13", "error", file, row, header[at], seen_text, "an entered value",
            _REMEDY["formula" if seen_text.startswith("=") else "error"],
        )
        for row, at, seen_text in seen.odd
        if row in kept and at < width
    )  # fmt: skip
    dates = {header[at]: n for at, n in seen.dates.items() if at < width}
    return Grid(file, columns, tuple(rows), findings, real_dates=dates)


def has_rows(book: Workbook, sheet: str) -> bool:
    """Whether anything stands under the header of a sheet."""
    seen = _Seen()
    try:
        for _ in _fill(book, sheet, seen):
            if sum(any(cells) for _, cells in seen.lines) > 1:
                return True
    except DAMAGE as error:
        raise damaged(book.file) from error
    return False


def _cut(cells: list[str], width: int) -> list[str]:
    """The cells under the header: short lines filled with empty cells, empty cells beyond it left out."""
    if len(cells) > width and not any(cells[width:]):
        return cells[:width]
    return cells + [""] * (width - len(cells))


def _refuse_merged(seen: _Seen, width: int, file: str) -> None:
    last = max((row for row, cells in seen.lines if any(cells)), default=0)
    for reach in seen.merged:
        left, top, _, _ = range_boundaries(reach)
        if (left or 1) <= width and (top or 1) <= last:
            raise RecordsError(
                "merged_cells",
                f"{file}, has merged cells ({reach}).",
                "Unmerge them and write each row's own value.",
            )


def _fill(book: Workbook, sheet: str, seen: _Seen) -> Iterator[None]:
    """Read the sheet piece by piece into ``seen``."""
    with book.archive.open(book.parts[sheet]) as stream:
        yield from parse(stream, lambda parser: _listen(parser, book, seen))


def _listen(parser: expat.XMLParserType, book: Workbook, seen: _Seen) -> None:
    """Have the parser put each cell where it belongs; the handlers run once per element and are kept bare."""
    text_of = _cell_reader(book)
    dated = {str(style) for style, shown in book.times.items() if shown == "date"}
    names: dict[str, str] = {}
    letters: dict[str, int] = {}
    pieces: list[str] = []
    formula: list[str] = []
    line: list[str] = []
    kind = style = ""
    row = column = 0
    computed = aside = False

    def start(name: str, values: dict[str, str]) -> None:
        nonlocal kind, style, row, column, computed, aside, line
        local = names.get(name) or names.setdefault(name, plain_name(name))
        if local == "c":
            kind, style, computed = values.get("t", "n"), values.get("s", ""), False
            place = values.get("r")
            after = column
            if place is None:
                column += 1
            else:
                word = place.rstrip("0123456789")
                column = letters.get(word) or letters.setdefault(word, column_index_from_string(word))
                if int(place[len(word) :]) != row:
                    raise ValueError("a cell stands in the wrong row")
            if not after < column <= _LAST_COLUMN:
                raise ValueError("cells out of order")
            pieces.clear()
        elif local == "v" or (local == "t" and not aside):
            parser.CharacterDataHandler = pieces.append
        elif local == "f":
            computed = True
            formula.clear()
            parser.CharacterDataHandler = formula.append
        elif local == "row":
            after, row, column, line = row, int(values.get("r", row + 1)), 0, []
            if not after < row <= _LAST_ROW:
                raise ValueError("rows out of order")
        elif local == "rPh":
            aside = True
        elif local == "mergeCell":
            seen.merged.append(values["ref"])

    def end(name: str) -> None:
        nonlocal aside
        parser.CharacterDataHandler = None
        local = names[name]
        if local == "c":
            text = text_of(kind, style, "".join(pieces)) if pieces else ""
            if computed:
                text = "=" + ("".join(formula).strip() or "(a formula)")
            if text and (kind == "d" or (kind == "n" and style in dated)):
                seen.dates[column - 1] += 1
            if computed or kind == "e":
                seen.odd.append((row, column - 1, text))
            if text:
                line.extend([""] * (column - 1 - len(line)))
                line.append(text)
        elif local == "row":
            seen.lines.append((row, line))
        elif local == "rPh":
            aside = False

    parser.StartElementHandler, parser.EndElementHandler = start, end


def _cell_reader(book: Workbook) -> Callable[[str, str, str], str]:
    """A function that turns type, style and content of a cell into its text."""
    numbers: dict[tuple[str, str], str] = {}
    shared, times = book.texts, book.times
    epoch = MAC_EPOCH if book.from_1904 else WINDOWS_EPOCH
    refuse_control_characters(shared, book.file)

    def text_of(kind: str, style: str, content: str) -> str:
        if kind == "s":
            return shared[int(content)]
        if kind == "n":
            known = numbers.get((style, content))
            if known is None:
                shown = times.get(int(style or 0), "")
                known = numbers[style, content] = _number(float(content), shown, epoch)
            return known
        if kind == "b":
            return {"1": "true", "0": "false"}[content]
        if kind == "d":
            return _moment(from_ISO8601(content))
        text = intern(unescaped(content).strip())
        refuse_control_characters((text,), book.file)
        return text

    return text_of


def _number(value: float, shown: str, epoch: datetime.datetime) -> str:
    if not shown:
        return number_text(value)
    try:
        return _moment(from_excel(value, epoch, timedelta=shown == "duration"))
    except (OverflowError, ValueError):
        return number_text(value)


def _moment(value: object) -> str:
    if isinstance(value, datetime.datetime):
        return date_text(value)
    if isinstance(value, datetime.time):
        return time_text(value)
    return str(value)
