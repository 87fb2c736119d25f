"""Which files of a study folder hold its tables?"""

from __future__ import annotations

import os
from collections.abc import Collection
from pathlib import Path

from survstats.groundwork.errors import RecordsError
from survstats.records.codebook import TABLES, TableName


def find_tables(folder: Path | str, *, sought: Collection[TableName] = TABLES) -> dict[TableName, Path]:
    """The files of a study folder that hold its tables, by table; no entry where none is found.

    In this order: ``mishap.csv``, ``mishap.parquet``, ``mishap.xlsx``; else the one workbook of the folder with rows
    on a sheet ``mishap``, or without rows if none has any; likewise the others. A workbook that cannot be read is
    passed over: it may be anybody's.

    Parameters
    ----------
    folder : Path or str
    sought : collection of str, optional
        The tables to look for; all three if not given.

    Raises
    ------
    RecordsError
        ``several_workbooks`` where more than one workbook has the sheet; ``bad_workbook`` where none has a table that
        must be there, and one cannot be read.
    """
    folder = Path(folder)
    found: dict[TableName, Path] = {}
    for table in sought:
        named = (folder / f"{table}{suffix}" for suffix in (".csv", ".parquet", ".xlsx"))
        if path := next((path for path in named if os.path.lexists(path)), None):
            found[table] = path
    lacking = {table for table in sought if table not in found}
    if not lacking & {"mishap", "occupant"}:
        return found
    from survstats.records.reading.sheets import tables_in_workbook

    refused: RecordsError | None = None
    empty: dict[TableName, Path] = {}
    for path in sorted(folder.glob("*.xlsx")):
        if path.name.startswith(("~", ".")) or not path.is_file():
            continue
        try:
            tables = tables_in_workbook(path)
        except RecordsError as error:
            refused = refused or error
            continue
        for table in sorted(lacking & set(tables)):
            if not tables[table]:
                empty.setdefault(table, path)
            elif table in found:
                names = f"{found[table].name} and {path.name}"
                raise RecordsError(
                    "several_workbooks",
                    f"There are rows on a sheet {table} in {names}.",
                    "Name one of them in the study file.",
                )
            else:
                found[table] = path
    if refused and lacking & {"mishap", "occupant"} - found.keys():
        raise refused
    empty.pop("training_run", None)
    return empty | found
