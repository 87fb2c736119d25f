"""What does one column of the form show, offer and let through?"""

from __future__ import annotations

from typing import Any

from openpyxl.styles import Alignment
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation

from survstats.records.codebook import NOT_COLLECTED, Field
from survstats.records.workbooks.glossary import allowed, choices, tokens
from survstats.records.workbooks.writing import BOLD, PLAIN, SHADE, TEXT_FORMAT, UNDER, UNDER_THICK

LISTS = "lists"
_LAST_ROW = 1_048_576
_NARROW, _WIDE = 11, 40
_PROMPT, _ERROR, _HEADING = 255, 225, 32  # the longest that a workbook holds
_DATE_FORMAT, _TIME_FORMAT = "yyyy-mm-dd", "hh:mm"
_SIGNS = {"s": "s", "min": "min", "m": "m", "kt": "kt", "degrees Celsius": "°C", "days": "d"}
"""Units shown beside the number in its cell; what is counted (people, seats) is in the name of the field."""

Lists = dict[tuple[str, ...], int]
"""Column of the sheet of lists, 1 for the first, by what it offers."""


def put_column(
    sheet: Any, column: int, field: Field, lists: Lists, *, heading: str = "", row: int = 1
) -> None:
    """Write the head of a column and set its width, form, drop-down list, limits and help, to the last row.

    Parameters
    ----------
    sheet : Worksheet
    column : int
        1 for the first.
    field : Field
    lists : dict
        Where the lists of choices stand.
    heading : str, optional
        What the head says; the name of the field if not given.
    row : int
        Row of the head.
    """
    letter = get_column_letter(column)
    head = sheet.cell(row, column, heading or field.name)
    head.font = BOLD if field.required or heading else PLAIN
    head.border = UNDER_THICK if field.required else UNDER
    head.fill = SHADE
    head.alignment = Alignment(wrap_text=bool(heading), vertical="center")
    dimension = sheet.column_dimensions[letter]
    dimension.width = _width(field, heading)
    dimension.number_format = cell_format(field)
    if field.kind in ("integer", "number"):
        dimension.alignment = Alignment(horizontal="right", indent=1)
    elif field.kind in ("date", "time"):
        dimension.alignment = Alignment(horizontal="left")
    rule = validation(field, f"{letter}{row + 1}", lists)
    rule.add(f"{letter}{row + 1}:{letter}{_LAST_ROW}")
    sheet.add_data_validation(rule)


def cell_format(field: Field) -> str:
    """The number format of a column: texts stay texts, days and times are shown as we write them, units are seen."""
    if field.kind == "date":
        return _DATE_FORMAT
    if field.kind == "time":
        return _TIME_FORMAT
    if field.kind in ("integer", "number"):
        return f'General" {_SIGNS[field.unit]}"' if field.unit in _SIGNS else "General"
    return TEXT_FORMAT


def validation(field: Field, first: str, lists: Lists) -> DataValidation:
    """What the cells of a column let through, and what they say when one is chosen.

    Parameters
    ----------
    field : Field
    first : str
        The first cell, to which a formula refers (``C2``).
    lists : dict
        As for `put_column`.
    """
    offered = choices(field)
    if offered:
        column = get_column_letter(lists[offered])
        kind, formula = "list", f"{LISTS}!${column}$1:${column}${len(offered)}"
    else:
        formula = _formula(field, first)
        kind = "custom" if formula else ""
    rule = DataValidation(
        type=kind or None, formula1=formula or None, allow_blank=NOT_COLLECTED in field.missing
    )
    rule.showInputMessage = rule.showErrorMessage = True
    rule.promptTitle = _cut(field.name, _HEADING)
    rule.prompt = _cut(_help(field), _PROMPT)
    rule.errorTitle = _cut(field.name, _HEADING)
    rule.error = _cut(f"Here may stand: {allowed(field)}.", _ERROR)
    return rule


def _formula(field: Field, cell: str) -> str:
    """A formula that is true where a number, day or time may stand, and for the words allowed instead of it."""
    if field.kind == "text":
        return ""
    if field.kind in ("integer", "number"):
        whole = f",{cell}=INT({cell})" if field.kind == "integer" else ""
        good = f"AND({cell}>={field.minimum:.15g},{cell}<={field.maximum:.15g}{whole})"
        written = "FALSE"
    elif field.kind == "date":
        good = f"{cell}=INT({cell})"
        written = f'AND(LEN({cell})=10,MID({cell},5,1)="-",MID({cell},8,1)="-")'
    else:
        good = f"AND({cell}>=0,{cell}<1)"
        written = f'AND(LEN({cell})>=5,MID({cell},3,1)=":")'
    words = [f'EXACT({cell},"{token}")' for token in tokens(field)]
    return f"IF(ISNUMBER({cell}),{good},OR({','.join([*words, written])}))"


def _help(field: Field) -> str:
    required = "" if NOT_COLLECTED in field.missing else "Must be filled in. "
    unit = f" In {field.unit}." if field.unit else ""
    return f"{required}{field.meaning}{unit} {_sentence_of(field)}"


def _sentence_of(field: Field) -> str:
    return "Choose from the list." if field.values else f"{allowed(field).capitalize()}."


def _width(field: Field, heading: str) -> int:
    longest = max((len(choice) for choice in choices(field)), default=0)
    head = max((len(word) for word in heading.split()), default=0) + 6 if heading else len(field.name) + 2
    return min(max(head, longest + 4, _NARROW), _WIDE)


def _cut(text: str, longest: int) -> str:
    return text if len(text) <= longest else text[: longest - 3] + "..."
