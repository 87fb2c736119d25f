"""What could a mapping of this file look like, for a person to finish?

Columns are found by their names, codes only where they are our own word; whatever is a guess stands in a comment, and
the text cannot be used before someone has put a name to it.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from survstats.groundwork.errors import RecordsError
from survstats.groundwork.file_bytes import read_file
from survstats.records.codebook import TABLES, Field, TableName, load_codebook
from survstats.records.mapping.draft_comments import form_comments, one_line, toml_text
from survstats.records.mapping.names import fields_named, is_local_time, same_word, unit_named
from survstats.records.mapping.plan import COUNTED, NOT_COLLECTED_WORD, NUMBERED
from survstats.records.mapping.units import UNITS, unit_of
from survstats.records.reading.tables import TextTable, read_text_table

MOST_CODES = 60
#: Fields that tell what a table is about; one of them, or three others, make it that table.
_TELLING = {
    "mishap": ("event_date", "aircraft_class", "n_aboard"),
    "occupant": ("occupant_id", "outcome", "role", "age_band", "sex", "training_ever"),
    "training_run": ("person_code", "posture", "time_out_precision_s"),
}
_HEAD = """\
# How the columns, codes and units of {file} become ours: a first draft, made from names alone.
# Correct and complete it; 'always', 'counted' and 'numbered' can stand in place of 'column'. Then write your name or
# code after checked_by and save it as mapping.toml in the study folder, beside the file.
checked_by = ""
"""


@dataclass(frozen=True)
class _Sheet:
    """A sheet of the file (empty name: there is no other), and which columns may hold our fields."""

    name: str
    text: TextTable
    found: dict[TableName, dict[str, str]]


def propose_mapping(path: Path) -> str:
    """A first mapping of a CSV, XLSX or Parquet file, as TOML text with ``checked_by`` left empty.

    Raises
    ------
    RecordsError
        Where the file is no table, or no sheet of it is.
    """
    sheets, refused = _sheets(path)
    parts = [_HEAD.format(file=toml_text(path.name))]
    chosen = _tables(sheets)
    for table, sheet in chosen.items():
        sharing = [other for other in chosen if chosen[other] is sheet]
        parts.append("\n".join(_table(path.name, sheet, table, sharing)))
    parts += [
        f"# No column tells of the {table} table: add [{table}], or put {table}.csv in our own form beside the file."
        for table in ("mishap", "occupant")
        if table not in chosen
    ]
    parts += [f"# {one_line(f'The sheet {toml_text(name)} was left out: {why}')}" for name, why in refused]
    for sheet in sheets:
        if all(sheet is not taken for taken in chosen.values()):
            parts.append(f"# Nothing was recognised in the sheet {toml_text(sheet.name)}.")
    return "\n".join(parts) + "\n"


def names_columns(proposal: str) -> bool:
    """Whether any column was recognised in a proposal."""
    content = tomllib.loads(proposal)
    return any(content.get(table, {}).get("fields") for table in TABLES)


def _sheets(path: Path) -> tuple[list[_Sheet], list[tuple[str, str]]]:
    """The sheets that are tables, and the others with what is wrong with them."""
    try:
        return [_recognised("", read_text_table(path))], []
    except RecordsError as fault:
        if fault.reason != "no_sheet":
            raise
    from survstats.records.reading.workbook import open_workbook

    sheets, refused = [], []
    for name in open_workbook(read_file(path), path.name).parts:
        try:
            sheets.append(_recognised(name, read_text_table(path, sheet=name)))
        except RecordsError as fault:
            refused.append((name, fault.plain))
            last = fault
    if not sheets:
        raise last
    return sheets, refused


def _recognised(name: str, text: TextTable) -> _Sheet:
    found: dict[TableName, dict[str, str]] = {}
    for table in TABLES:
        found[table] = {}
        for column in text.cells.columns:
            for field in fields_named(column, table):
                found[table].setdefault(field, column)
    return _Sheet(name, text, found)


def _tables(sheets: list[_Sheet]) -> dict[TableName, _Sheet]:
    """Which sheet holds which table; the occupants where nothing tells."""
    chosen: dict[TableName, _Sheet] = {}
    for table in TABLES:
        best = max(sheets, key=lambda sheet: len(sheet.found[table]))
        of_runs = set(_TELLING["training_run"]) & set(best.found["training_run"])
        telling = set(_TELLING[table]) & set(best.found[table])
        if telling and (table == "training_run" or not of_runs):
            chosen[table] = best
    return chosen or {"occupant": sheets[0]}


def _table(file: str, sheet: _Sheet, table: TableName, sharing: list[TableName]) -> Iterator[str]:
    found = sheet.found[table]
    yield f"\n[{table}]\nfile = {toml_text(file)}"
    if sheet.name:
        yield f"sheet = {toml_text(sheet.name)}"
    if table == sharing[0]:
        used = {column for other in sharing for column in sheet.found[other].values()}
        yield "ignore = [  # their columns that are left out on purpose"
        yield from (
            f"    # {toml_text(column)}," for column in sheet.text.cells.columns if column not in used
        )
        yield "]"
    lacking = [f for f in load_codebook().table(table) if f.column_required and f.name not in found]
    yield f"{NOT_COLLECTED_WORD} = [  # our fields that nobody asked"
    yield from (f'    # "{field.name}",' for field in lacking if not field.required)
    yield "]"
    for field in lacking:
        yield from _not_found(table, field)
    if table == "mishap":
        yield from _local_time(sheet)
    forms = form_comments(table, found, sheet.text)
    for field in load_codebook().table(table):
        if field.name in found:
            yield from _field(table, field, found[field.name], sheet.text)
            yield from forms.get(field.name, [])


def _local_time(sheet: _Sheet) -> Iterator[str]:
    """What to write where the time of day may be that of a place."""
    times = [column for column in sheet.text.cells.columns if is_local_time(column)]
    found = sheet.found["mishap"]
    if not times or "event_date" not in found or "event_time_utc" in found:
        return
    yield f"\n# [mishap.local_time]  # in place of event_date, if {toml_text(times[0])} is by the clock of a place"
    yield f"# date_column = {toml_text(found['event_date'])}\n# time_column = {toml_text(times[0])}"
    yield '# zone = "Europe/Oslo"'


def _not_found(table: TableName, field: Field) -> Iterator[str]:
    yield f"\n# [{table}.fields.{field.name}]  # {'must be mapped' if field.required else 'or not collected'}"
    if field.name in COUNTED:
        yield "# counted = true  # from the rows of the occupant table"
    elif field.name in NUMBERED:
        yield "# numbered = true"
    else:
        yield '# column = ""'


def _field(table: TableName, field: Field, column: str, text: TextTable) -> Iterator[str]:
    yield f"\n[{table}.fields.{field.name}]  # {field.meaning}"
    yield f"column = {toml_text(column)}"
    cells = [str(cell) for cell in text.cells[column].unique() if cell]
    ages = field.name == "age_band" and any(cell.strip("0123456789.,") == "" for cell in cells)
    if ages:
        yield "bands = true  # the column holds ages"
    elif _holds_times_in_words(field, cells):
        yield "interval = true  # the column holds times in words"
    elif field.values:
        yield from _codes(table, field, cells)
    unit, ours = unit_named(column), "years" if ages else unit_of(field.unit)
    if unit and ours and unit != ours and UNITS[unit].quantity == UNITS[ours].quantity:
        yield f"# unit = {toml_text(unit)}  # so the column's name says; ours is {ours}"


def _holds_times_in_words(field: Field, cells: list[str]) -> bool:
    """Whether a column for the low or high end of a time holds texts that are no plain numbers."""
    return field.name.endswith(("_lo_s", "_hi_s", "_s_lo", "_s_hi")) and any(
        not cell.replace(".", "", 1).isdigit() for cell in cells
    )


def _codes(table: TableName, field: Field, cells: list[str]) -> Iterator[str]:
    allowed = tuple(value for value in dict.fromkeys((*field.values, *field.missing)) if value)
    said = {cell: same_word(cell, allowed) for cell in cells[:MOST_CODES]}
    if len(cells) <= MOST_CODES and all(cell == value for cell, value in said.items()):
        return
    words = allowed if field.required else (*allowed, NOT_COLLECTED_WORD)
    yield f"\n[{table}.fields.{field.name}.codes]  # write one of: {', '.join(words)}"
    yield from (f"{toml_text(cell)} = {toml_text(value)}" for cell, value in said.items())
    if len(cells) > MOST_CODES:
        yield f"# ... and {len(cells) - MOST_CODES} codes more: is this the column?"
