"""What does the workbook look like in which records are collected?

Made wholly from the codebook, so that a filled-in form is read without a mapping: the first row of each table's sheet
holds the names of its fields. What is known before anybody looks at outcomes, training above all, stands on a sheet of
its own (`roster`), to be filled in first.
"""

from __future__ import annotations

import tomllib
from importlib import resources
from pathlib import Path
from typing import Any

from openpyxl import Workbook

from survstats.records.codebook import TABLES, Field, TableName, load_codebook
from survstats.records.loading import Records
from survstats.records.workbooks.form_columns import LISTS, Lists, put_column
from survstats.records.workbooks.glossary import allowed, choices, empty
from survstats.records.workbooks.request_sheet import put_request
from survstats.records.workbooks.writing import (
    BOLD,
    SHADE,
    TITLE,
    UNDER_THICK,
    fit_rows,
    print_on,
    whole_workbook,
)

ROSTER = "roster"
KEYS = {"mishap": 1, ROSTER: 2, "occupant": 2, "training_run": 3}
"""Sheets of the form and how many of their first columns are the key of a row."""

_PROSE = 100
_GLOSSARY = {
    "sheet": 13,
    "field": 34,
    "meaning": 52,
    "unit": 14,
    "allowed": 46,
    "an empty cell means": 18,
    "in every row": 12,
}


def write_form(path: Path, *, records: Records | None = None) -> None:
    """Write the collection form to a new workbook.

    Parameters
    ----------
    path : Path
        Must not exist yet.
    records : Records, optional
        A study's records: its people without papers on training are listed on the request sheet.

    Raises
    ------
    PublishError
        As `survstats.groundwork.whole_file.write_whole`; nothing is left behind then.
    """
    text = (
        resources.files("survstats.records.workbooks").joinpath("form_texts.toml").read_text(encoding="utf-8")
    )
    words = tomllib.loads(text)
    lists = _lists()
    with whole_workbook(path) as workbook:
        _put_how_to(workbook.create_sheet("how to"), words)
        for name in KEYS:
            _put_table(workbook.create_sheet(name), form_fields(name), lists, keys=KEYS[name])
        put_request(
            workbook.create_sheet("request"), words["request"], words["titles"]["request"], lists, records
        )
        _put_glossary(workbook.create_sheet("fields"))
        _put_lists(workbook, lists)


def form_fields(sheet: str) -> tuple[Field, ...]:
    """The fields that a sheet of the form asks; the keys of a person stand on both of the person's sheets."""
    book = load_codebook()
    keys = [field.name for field in book.occupant[: KEYS["occupant"]]]
    if sheet == ROSTER:
        return tuple(field for field in book.occupant if field.roster)
    if sheet == "occupant":
        return tuple(field for field in book.occupant if not field.roster or field.name in keys)
    table: TableName = "mishap" if sheet == "mishap" else "training_run"
    return book.table(table)


def _put_table(sheet: Any, fields: tuple[Field, ...], lists: Lists, *, keys: int) -> None:
    for column, field in enumerate(fields, start=1):
        put_column(sheet, column, field, lists)
    sheet.row_dimensions[1].height = 24
    sheet.freeze_panes = sheet.cell(2, keys + 1)
    print_on(sheet, key_columns=keys)


def _put_how_to(sheet: Any, words: dict[str, Any]) -> None:
    sheet.column_dimensions["A"].width = _PROSE
    sheet.append([words["titles"]["how_to"]])
    sheet["A1"].font = TITLE
    for part in words["how_to"]:
        sheet.append([])
        sheet.append([part["heading"]])
        sheet.cell(sheet.max_row, 1).font = BOLD
        for line in part["lines"]:
            sheet.append([line])
    fit_rows(sheet, [_PROSE], first=2)
    sheet.sheet_view.showGridLines = False
    print_on(sheet)
    sheet.print_title_rows = None
    sheet.print_options.gridLines = False
    sheet.page_setup.orientation = "portrait"


def _put_glossary(sheet: Any) -> None:
    sheet.append(list(_GLOSSARY))
    for column, width in enumerate(_GLOSSARY.values(), start=1):
        head = sheet.cell(1, column)
        head.font, head.fill, head.border = BOLD, SHADE, UNDER_THICK
        sheet.column_dimensions[head.column_letter].width = width
    for table in TABLES:
        for field in load_codebook().table(table):
            place = ROSTER if field.roster else table
            required = "yes" if field.required else "no"
            sheet.append(
                [place, field.name, field.meaning, field.unit, allowed(field), empty(field), required]
            )
    fit_rows(sheet, list(_GLOSSARY.values()), first=2)
    sheet.freeze_panes = "C2"
    print_on(sheet)


def _lists() -> Lists:
    """Each different list of choices once, in the order in which the codebook needs them."""
    offered = [choices(field) for table in TABLES for field in load_codebook().table(table) if field.values]
    return {words: column for column, words in enumerate(dict.fromkeys(offered), start=1)}


def _put_lists(workbook: Workbook, lists: Lists) -> None:
    sheet = workbook.create_sheet(LISTS)
    for words, column in lists.items():
        for row, word in enumerate(words, start=1):
            sheet.cell(row, column, word)
    sheet.sheet_state = "hidden"
