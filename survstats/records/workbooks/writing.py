"""How does a workbook of ours look, and how does it reach its file whole?"""

from __future__ import annotations

import io
import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.cell.cell import Cell
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.page import PageMargins
from openpyxl.worksheet.properties import PageSetupProperties

from survstats.groundwork.cells import acts_as_formula, clean_text
from survstats.groundwork.whole_file import check_place, told, write_whole

MADE_BY = "survstats"
TEXT_FORMAT = "@"
_A4 = 9
_LINE_POINTS, _HIGHEST_ROW, _LETTERS_A_PAGE = 13, 400, 190

_INK, _SEA, _HAZE, _LINE = "231F1A", "12505E", "EFE4CF", "84796A"
_THIN, _THICK = Side("thin", color=_LINE), Side("thick", color=_SEA)

_FACE = "Arial"
TITLE = Font(name=_FACE, size=16, bold=True, color=_SEA)
BOLD = Font(name=_FACE, size=10, bold=True, color=_INK)
PLAIN = Font(name=_FACE, size=10, color=_INK)
LINK = Font(name=_FACE, size=10, color=_SEA, underline="single")
SHADE = PatternFill("solid", fgColor=_HAZE)
UNDER = Border(bottom=_THIN)
UNDER_THICK = Border(bottom=_THICK)
BOX = Border(left=_THIN, right=_THIN, top=_THIN, bottom=_THIN)
FRAME = Border(left=_THICK, right=_THICK, top=_THICK, bottom=_THICK)
WRAPPED = Alignment(wrap_text=True, vertical="top")


def new_workbook(*, write_only: bool = False) -> Workbook:
    """A workbook without sheets; ``write_only`` for tables of many rows, which are then written row by row."""
    workbook = Workbook(write_only=write_only)
    for sheet in workbook.worksheets:
        workbook.remove(sheet)
    workbook.properties.creator = MADE_BY
    workbook._named_styles["Normal"].font = PLAIN  # the only way to the font of cells without a style
    workbook._fonts[0] = PLAIN
    return workbook


def text_cell(sheet: Any, text: str, *, always: bool = False) -> str | Cell:
    """A text that stays a text: as it is where it cannot be taken for anything else, else in a cell that says so.

    The text itself is not changed but for what `clean_text` makes visible: a code such as ``=1`` must stay the code
    it is. ``always`` asks for a cell in any case, to be styled.
    """
    clean = clean_text(text)
    acts = acts_as_formula(clean) or clean.startswith("#")
    if not (acts or always):
        return clean
    cell = WriteOnlyCell(sheet, value=None)
    hold_text(cell, clean)
    return cell


def hold_text(cell: Cell, text: str) -> None:
    """Put a text in a cell as a text, whatever it looks like."""
    cell.value = clean_text(text)
    cell.data_type = "s"
    if acts_as_formula(text):
        cell.quotePrefix = 1  # a spreadsheet keeps it a text when the cell is edited


def row_height(values: Sequence[object], widths: Sequence[int]) -> float:
    """Points that a row needs for its wrapped texts; not every program finds out itself when it opens a file."""
    lines = 1
    for value, width in zip(values, widths, strict=True):
        if isinstance(value, str):
            parts = value.split("\n")
            lines = max(lines, sum(math.ceil(max(len(part), 1) * 0.9 / width) for part in parts))
    return min(_LINE_POINTS * lines + 2, _HIGHEST_ROW)


def fit_rows(sheet: Any, widths: Sequence[int], *, first: int = 1) -> None:
    """Wrap the texts of a sheet and make its rows as high as they need."""
    for row in sheet.iter_rows(min_row=first, max_col=len(widths)):
        for cell in row:
            cell.alignment = WRAPPED
        sheet.row_dimensions[row[0].row].height = row_height([cell.value for cell in row], widths)


def print_on(sheet: Any, *, header_row: int = 1, key_columns: int = 0) -> None:
    """Print a sheet on landscape pages, its header and its key columns on every one of them."""
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.paperSize = _A4
    sheet.page_margins = PageMargins(left=0.4, right=0.4, top=0.5, bottom=0.6)
    sheet.print_options.gridLines = True
    sheet.print_title_rows = f"{header_row}:{header_row}"
    if key_columns:
        sheet.print_title_cols = f"A:{get_column_letter(key_columns)}"
    sheet.oddFooter.left.text = "&A"
    sheet.oddFooter.right.text = "&P / &N"
    letters = sum(dimension.width for dimension in sheet.column_dimensions.values())
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    sheet.page_setup.fitToWidth = math.ceil(letters / _LETTERS_A_PAGE)
    sheet.page_setup.fitToHeight = 0  # as many as there are


@contextmanager
def whole_workbook(path: Path, *, replace: bool = False, write_only: bool = False) -> Iterator[Workbook]:
    """A workbook to put sheets into, which stands in its file when the block is left without a fault.

    Parameters
    ----------
    path : Path
        Checked before anything is built.
    replace : bool
        Whether a file that stands there is replaced.
    write_only : bool
        As for `new_workbook`: its rows wait in files of the folder of temporary files.

    Raises
    ------
    PublishError
        As `survstats.groundwork.whole_file.write_whole`, also where temporary files cannot be written; nothing is
        left behind then.
    """
    check_place(path, replace=replace)
    workbook = new_workbook(write_only=write_only)
    whole = io.BytesIO()
    with told(path):
        try:
            yield workbook
            workbook.save(whole)
        except BaseException:
            _let_go(workbook)
            raise
    write_whole(path, whole.getvalue(), replace=replace)


def _let_go(workbook: Workbook) -> None:
    """Close sheets that are written row by row: left open, they would complain later where nobody listens."""
    for sheet in workbook.worksheets if workbook.write_only else []:
        with suppress(Exception):  # the fault that counts is on its way
            sheet.close()
