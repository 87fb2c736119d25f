"""What do another file's tables say in our fields, codes and units?

A mapping file says where each field comes from; every cell it does not cover is a finding that names their file, row,
column and text. The originals stay in ``sources``, so that later findings point at their file as well.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pandas as pd

from survstats.groundwork.errors import RecordsError, StudyFileError
from survstats.groundwork.file_bytes import read_file
from survstats.groundwork.toml_faults import short
from survstats.groundwork.words import did_you_mean
from survstats.records.codebook import TableName, load_codebook
from survstats.records.finding import Finding
from survstats.records.loading import Records, typed_records
from survstats.records.mapping import columns as made
from survstats.records.mapping.columns import Column
from survstats.records.mapping.faults import parse_mapping
from survstats.records.mapping.plan import MAPPING_FILE, RecordMapping, TablePlan
from survstats.records.reading.tables import TextTable, read_text_table

_NO_SUCH_FILE = ("missing_file", "not_a_file", "not_readable")
_ORDER: tuple[TableName, ...] = ("occupant", "mishap", "training_run")  # mishaps may count their occupants


def read_mapped_records(folder: Path, *, others: Mapping[TableName, Path] | None = None) -> Records:
    """The records of a study folder whose files are brought in by its ``mapping.toml``.

    Parameters
    ----------
    folder : Path
    others : mapping of str to Path, optional
        Tables that stand in our own form; read for those that the mapping does not speak of.

    Raises
    ------
    StudyFileError
        Where the mapping cannot be followed.
    RecordsError
        Where a file is no table.
    """
    return typed_records(mapped_tables(read_mapping(folder / MAPPING_FILE), folder, others=others))


def read_mapping(path: Path) -> RecordMapping:
    """A mapping file, checked whole against the codebook.

    Raises
    ------
    StudyFileError
        ``missing_file``, ``not_readable``, ``not_a_file``, ``too_large``; ``not_checked`` while nobody has put a
        name to it, or its first fault, with the line.
    """
    return parse_mapping(read_file(path, kind=StudyFileError))


def mapped_tables(
    mapping: RecordMapping, folder: Path, *, others: Mapping[TableName, Path] | None = None
) -> dict[TableName, TextTable]:
    """Their tables in our fields, codes and units, with where each cell stands.

    Parameters
    ----------
    mapping : RecordMapping
    folder : Path
        File names in the mapping start from here.
    others : mapping of str to Path, optional
        Tables that stand in our own form.

    Raises
    ------
    StudyFileError
        ``no_column`` where a column is not in their file, ``no_table`` where a table is nowhere.
    RecordsError
        Where a file is no table.
    """
    plans = mapping.plan.tables()
    foreign = _read_foreign(mapping, folder)
    done: dict[TableName, TextTable] = {}
    for table in _ORDER:
        if table in plans:
            done[table] = _mapped(mapping, table, foreign[table], done.get("occupant"))
        elif others and table in others:
            done[table] = read_text_table(others[table], table=table)
        elif table != "training_run":
            raise mapping.fault(
                "no_table",
                (),
                f"it does not speak of the {table} table.",
                f"Add [{table}], or a file {table}.csv.",
            )
    _say_about_files(mapping, foreign, done)
    return done


def _read_foreign(mapping: RecordMapping, folder: Path) -> dict[TableName, TextTable]:
    """Their tables as they are, each file and sheet read once."""
    read: dict[tuple[str | None, ...], TextTable] = {}
    tables: dict[TableName, TextTable] = {}
    for table, plan in mapping.plan.tables().items():
        key = (plan.file, plan.sheet, plan.encoding, plan.delimiter)
        if key not in read:
            try:
                read[key] = read_text_table(
                    folder / plan.file, sheet=plan.sheet, encoding=plan.encoding, delimiter=plan.delimiter
                )
            except RecordsError as fault:
                if fault.reason not in _NO_SUCH_FILE:
                    raise
                what = (
                    f"{fault.plain[:1].lower()}{fault.plain[1:]}"
                    if fault.reason == "missing_file"
                    else fault.plain
                )
                raise mapping.fault(
                    fault.reason, (table, "file"), what, "Name a file of the study folder."
                ) from None
        tables[table] = read[key]
        for name, path in _columns(table, plan).items():
            if name not in read[key].cells.columns:
                raise _no_column(mapping, path, name, read[key])
    return tables


def _columns(table: TableName, plan: TablePlan) -> dict[str, tuple[str, ...]]:
    """Their columns that a table speaks of, each with the key that names it."""
    columns: dict[str, tuple[str, ...]] = dict.fromkeys(plan.ignore, (table, "ignore"))
    for name, field in plan.fields.items():
        if field.column is not None:
            columns[field.column] = (table, "fields", name, "column")
    local_time = getattr(plan, "local_time", None)
    if local_time is not None:
        for key in ("date_column", "time_column", "zone_column"):
            if getattr(local_time, key):
                columns[getattr(local_time, key)] = (table, "local_time", key)
    return columns


def _no_column(mapping: RecordMapping, path: tuple[str, ...], name: str, seen: TextTable) -> StudyFileError:
    columns = [short(column) for column in seen.cells.columns]
    hint = did_you_mean(name, columns, otherwise=f"It has: {', '.join(columns[:12])}.")
    return mapping.fault("no_column", path, f"{seen.file} has no column '{short(name)}'.", hint)


def _mapped(
    mapping: RecordMapping, table: TableName, foreign: TextTable, occupant: TextTable | None
) -> TextTable:
    """One table in our fields; of a sheet it shares with the occupants, the distinct mishaps."""
    plan = mapping.plan.tables()[table]
    columns = _own_columns(mapping, table, foreign)
    rows = foreign.rows
    people = mapping.plan.occupant
    shared = people is not None and (people.file, people.sheet) == (plan.file, plan.sheet)
    if table == "mishap" and shared and "mishap_id" in columns:
        columns, rows = made.one_row_each(columns, rows)
    for name, field in plan.fields.items():
        line = mapping.line(table, "fields", name)
        if field.numbered:
            columns[name] = made.numbered(columns, name, line=line)
        elif field.counted and occupant is not None:
            columns[name] = made.counted(columns["mishap_id"].texts, occupant.cells, name, line=line)
    return TextTable(
        file=foreign.file,
        hash=foreign.hash,
        cells=pd.DataFrame({name: column.texts for name, column in columns.items()}, dtype=object),
        rows=rows,
        findings=tuple(finding for column in columns.values() for finding in column.findings),
        sources={name: column.source for name, column in columns.items() if column.source is not None},
    )


def _own_columns(mapping: RecordMapping, table: TableName, foreign: TextTable) -> dict[str, Column]:
    """The fields that can be read row by row, in their rows."""
    plan, n = mapping.plan.tables()[table], len(foreign.rows)
    columns: dict[str, Column] = {}
    for name, field in plan.fields.items():
        if field.column is not None:
            columns[name] = made.translated(foreign, load_codebook().field(table, name), field)
        elif field.always is not None:
            line = mapping.line(table, "fields", name, "always")
            columns[name] = made.stated(field.always, name, n, line=line)
    if table == "mishap" and mapping.plan.mishap and mapping.plan.mishap.local_time:
        columns["event_date"], columns["event_time_utc"] = made.in_utc(
            foreign, mapping.plan.mishap.local_time
        )
    return columns | {name: made.not_collected(n) for name in plan.not_collected}


def _say_about_files(
    mapping: RecordMapping, foreign: Mapping[TableName, TextTable], done: dict[TableName, TextTable]
) -> None:
    """Put what is known of the files themselves in front of the tables' findings, each file once."""
    plans = mapping.plan.tables()
    told: list[TextTable] = []
    for table, seen in foreign.items():
        own = [_mapped_by(mapping, table, seen)]
        own += [
            Finding(
                "M7",
                "statement",
                MAPPING_FILE,
                None,
                name,
                f"not collected in the {table} table",
                "",
                "",
            )
            for name in plans[table].not_collected
        ]
        if not any(seen is other for other in told):
            told.append(seen)
            sharing = [other for other in foreign if foreign[other] is seen]
            used = {name: key for other in sharing for name, key in _columns(other, plans[other]).items()}
            own += [
                f for f in seen.findings if not f.field or (f.field in used and used[f.field][-1] != "ignore")
            ]
            own += [
                Finding(
                    "M1",
                    "warning",
                    seen.file,
                    1,
                    name,
                    f"a column named {name}",
                    f"a column that {MAPPING_FILE} uses",
                    f"map it, or name it under ignore of [{table}]",
                )
                for name in seen.cells.columns
                if name not in used
            ]
        done[table] = replace(done[table], findings=(*own, *done[table].findings))


def _mapped_by(mapping: RecordMapping, table: TableName, seen: TextTable) -> Finding:
    plan = mapping.plan
    n = len(plan.tables()[table].fields)
    what = f"{n} fields of the {table} table read through {MAPPING_FILE}, checked by {plan.checked_by}"
    return Finding("M5", "statement", seen.file, None, "", what, "", "")
