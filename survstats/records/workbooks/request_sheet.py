"""For whom does a paper on training have to be asked of the operator?

The request shows neither who lived nor any field that tells it, and people stand in the order of their codes, so that
the answer cannot depend on the outcome.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from openpyxl.styles import Alignment

from survstats.records.codebook import load_codebook
from survstats.records.deriving import HANDS_ON
from survstats.records.loading import Records
from survstats.records.workbooks.form_columns import Lists, put_column
from survstats.records.workbooks.writing import (
    BOLD,
    BOX,
    SHADE,
    TITLE,
    UNDER,
    hold_text,
    print_on,
)

DOCUMENTED = ("certificate", "roster")
KNOWN = ("mishap_id", "occupant_id", "event_date", "operator_code", "role")
ANSWERS = (
    "training_ever",
    "training_type",
    "training_last_date",
    "training_date_precision",
    "training_evidence",
)
REMARKS = ("held_by", "answered_on", "remark")
_WIDTHS = {"asked": 42, "held_by": 24, "answered_on": 14, "remark": 30}
_EMPTY_ROWS = 25
_PROSE = 3  # right of the codes, which are printed again on every page
_LEFT = Alignment(horizontal="left")


def missing_papers(records: Records) -> pd.DataFrame:
    """Whose training is unknown or without a paper: one row each, in the order operator, day, mishap, person.

    Parameters
    ----------
    records : Records
        n occupants.

    Returns
    -------
    DataFrame
        The columns `KNOWN` (texts; ``event_date`` a date) and ``asked``: ``status`` (whether ever trained),
        ``kind`` (trained, but in what), ``date`` (hands-on, but when), ``evidence`` (told, but not shown by
        certificate or roster); the first of these that applies.
    """
    people = records.occupant
    mishaps = records.mishap.drop_duplicates("mishap_id").set_index("mishap_id")
    home = mishaps.reindex(people["mishap_id"]).reset_index(drop=True)
    ever, kind = people["training_ever"].astype(object), people["training_type"].astype(object)
    gaps = {
        "status": ~ever.isin(["yes", "no"]),
        "kind": (ever == "yes")
        & ~kind.isin([value for value in _kinds() if value not in ("unknown", "none")]),
        "date": kind.isin(HANDS_ON) & people["training_last_date"].isna(),
        "evidence": ~people["training_evidence"].astype(object).isin(DOCUMENTED),
    }
    frame = pd.DataFrame(
        {
            "mishap_id": people["mishap_id"],
            "occupant_id": people["occupant_id"],
            "event_date": home["event_date"],
            "operator_code": home["operator_code"],
            "role": people["role"].astype(object),
            "asked": np.select(list(gaps.values()), list(gaps), default=""),
        }
    )
    order = ["operator_code", "event_date", "mishap_id", "occupant_id"]
    return frame[frame["asked"] != ""].sort_values(order, kind="stable").reset_index(drop=True)


def put_request(
    sheet: Any, words: Mapping[str, Any], title: str, lists: Lists, records: Records | None
) -> None:
    """Write the request: for the people of ``records`` whose papers are missing, or with rows to fill in by hand."""
    for row, line in enumerate((title, *words["lines"]), start=1):
        sheet.cell(row, _PROSE, line)
    sheet.cell(1, _PROSE).font = TITLE
    sheet.row_dimensions[1].height = 24
    top = sheet.max_row + 2
    _put_heads(sheet, words, lists, top=top)
    people: list[dict[Any, Any]] = [{}] * _EMPTY_ROWS
    if records is not None:
        people = missing_papers(records).to_dict("records")
    columns = [*KNOWN, "asked", *ANSWERS, *REMARKS]
    for at, person in enumerate(people, start=top + 1):
        for column, name in enumerate(columns, start=1):
            cell = sheet.cell(at, column)
            cell.border = BOX
            cell.alignment = _LEFT
            if column <= len(KNOWN) + 1:
                cell.fill = SHADE
            _put_known(cell, person.get(name), words["asked"] if name == "asked" else {})
    sheet.freeze_panes = f"C{top + 1}"
    last = sheet.cell(max(sheet.max_row, top), len(columns)).coordinate
    sheet.auto_filter.ref = f"A{top}:{last}"
    print_on(sheet, header_row=top, key_columns=2)
    sheet.print_options.gridLines = False


def _put_heads(sheet: Any, words: Mapping[str, Any], lists: Lists, *, top: int) -> None:
    book = load_codebook()
    fields = {field.name: field for field in (*book.mishap, *book.occupant)}
    for column, name in enumerate((*KNOWN, "asked", *ANSWERS, *REMARKS), start=1):
        heading = words["columns"][name]
        if name in fields:
            put_column(sheet, column, fields[name], lists, heading=heading, row=top)
        head = sheet.cell(top, column, heading)
        head.font, head.fill, head.border = BOLD, SHADE, UNDER
        head.alignment = Alignment(wrap_text=True, vertical="center")
        if name in _WIDTHS:
            sheet.column_dimensions[head.column_letter].width = _WIDTHS[name]
    for column, key in ((_PROSE, "known"), (len(KNOWN) + 2, "answers")):
        group = sheet.cell(top - 1, column, words[key])
        group.font = BOLD
    sheet.row_dimensions[top].height = 42


def _put_known(cell: Any, value: object, asked: Mapping[str, str]) -> None:
    if isinstance(value, datetime.datetime) and not pd.isna(value):
        cell.value = value.date()
        cell.number_format = "yyyy-mm-dd"
    elif isinstance(value, str):
        cell.number_format = "@"
        hold_text(cell, asked.get(value, value))


def _kinds() -> tuple[str, ...]:
    return load_codebook().field("occupant", "training_type").values
