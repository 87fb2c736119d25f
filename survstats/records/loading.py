"""What was written down: the record files, typed, with nothing lost and nothing guessed.

Empty (not collected), ``unknown`` (asked, not known) and ``na`` (not applicable) are three different things
and never become ``no``. In categories and tri-states an empty cell is missing and the two tokens are
categories of their own; in numbers and dates all three are missing, and ``Records.raw`` tells which it was.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.groundwork.errors import RecordsError
from survstats.records.codebook import NOT_APPLICABLE, TABLES, Field, TableName, load_codebook
from survstats.records.finding import Finding
from survstats.records.reading.grid import shown
from survstats.records.reading.tables import Source, TextTable, read_text_tables
from survstats.records.rules.cell import nearest_word, wrong_text


@dataclass(frozen=True)
class Records:
    """The record files of one study.

    Attributes
    ----------
    mishap, occupant : DataFrame
        Every field of the codebook, typed (categories, floats, dates), plus ``file_row``; shapes (g mishaps)
        and (n occupants). A field whose column is not in the file is all missing.
    training_run : DataFrame
        The same for the trainer's own records (m runs); no rows where the study has none.
    raw : mapping of str to DataFrame
        The same rows and columns as texts, by table name.
    files, hashes : mapping of str to str
        File name and SHA-256, by table name; no entry for a table that the study has not.
    sources : mapping of str to mapping of str to Source
        By table and field: where its cells stand, for fields that do not stand in the table's file under their own
        name.
    findings : tuple of Finding
        What reading found: rules F1-F5 and F7-F14, and those of a mapping.
    outcomes_pending : bool
        Whether the people stand on a roster sheet only, so that nothing is known yet of how it ended for them.
    """

    mishap: pd.DataFrame
    occupant: pd.DataFrame
    training_run: pd.DataFrame
    raw: Mapping[str, pd.DataFrame]
    files: Mapping[str, str]
    hashes: Mapping[str, str]
    sources: Mapping[str, Mapping[str, Source]]
    findings: tuple[Finding, ...]
    outcomes_pending: bool = False

    def table(self, name: TableName) -> pd.DataFrame:
        """One of the three tables, typed."""
        return {"mishap": self.mishap, "occupant": self.occupant, "training_run": self.training_run}[name]

    def place(self, table: TableName, name: str, at: int) -> tuple[str, int, str, str]:
        """File, row, column and text of one field of the row at position ``at`` of a table."""
        source = self.sources.get(table, {}).get(name)
        if source is not None:
            return source.file, int(source.rows[at]), source.column, str(source.texts[at])
        row = int(self.table(table)["file_row"].to_numpy()[at])
        return self.files[table], row, name, str(self.raw[table][name].iat[at])


def read_records(
    mishap_path: Path | str, occupant_path: Path | str, *, training_run_path: Path | str | None = None
) -> Records:
    """The record files, typed; every wrong cell becomes an error finding, all of them at once.

    Parameters
    ----------
    mishap_path, occupant_path : Path or str
    training_run_path : Path or str, optional
        The trainer's own records, where the study has them.

    Raises
    ------
    RecordsError
        Where a file is no table (see ``reading``) or lacks a column that must be there (``missing_column``).
    """
    paths: dict[TableName, Path | str | None] = {
        "mishap": mishap_path,
        "occupant": occupant_path,
        "training_run": training_run_path,
    }
    return typed_records(read_text_tables({t: Path(path) for t, path in paths.items() if path is not None}))


def typed_records(texts: Mapping[TableName, TextTable]) -> Records:
    """Records from tables of texts: the mishap and occupant tables, and the trainer's runs where there are any.

    Raises
    ------
    RecordsError
        ``missing_column`` where a table lacks a column that must be there.
    """
    for table, text in texts.items():
        _demand_columns(table, text)
    typed: dict[str, pd.DataFrame] = {}
    raw: dict[str, pd.DataFrame] = {}
    findings: list[Finding] = []
    for table in TABLES:
        text = texts.get(table) or _no_rows(table)
        typed[table], raw[table], wrong = _typed_table(table, text)
        if table in texts:
            findings += [*text.findings, *_column_findings(table, text), *wrong]
    return Records(
        mishap=typed["mishap"],
        occupant=typed["occupant"],
        training_run=typed["training_run"],
        raw=raw,
        files={table: text.file for table, text in texts.items()},
        hashes={table: text.hash for table, text in texts.items()},
        sources={table: text.sources for table, text in texts.items()},
        findings=tuple(findings),
        outcomes_pending=any(text.outcomes_pending for text in texts.values()),
    )


def _no_rows(table: TableName) -> TextTable:
    """The table of a study that has none."""
    names = [field.name for field in load_codebook().table(table)]
    return TextTable("", "", pd.DataFrame(columns=names, dtype=object), ())


def _demand_columns(table: TableName, text: TextTable) -> None:
    present = list(text.cells.columns)
    lacking = [f.name for f in _asked(table, text) if f.column_required and f.name not in present]
    if not lacking:
        return
    near = {name: nearest_word(name, present) for name in lacking}
    hints = [f"{shown(seen)} looks like {name}" for name, seen in near.items() if seen]
    remedy = "Add the column" + (f"; {', '.join(hints)}." if hints else ".")
    columns = "the column" if len(lacking) == 1 else "the columns"
    raise RecordsError("missing_column", f"{text.file} lacks {columns} {', '.join(lacking)}.", remedy)


def _asked(table: TableName, text: TextTable) -> tuple[Field, ...]:
    """The fields that were asked when the table was written: on a roster, not how it ended."""
    fields = load_codebook().table(table)
    return tuple(f for f in fields if f.roster) if text.outcomes_pending else tuple(fields)


def _column_findings(table: TableName, text: TextTable) -> list[Finding]:
    known = [f.name for f in load_codebook().table(table)]
    present = list(text.cells.columns)
    found = []
    for name in present:
        if name not in known:
            near = nearest_word(name, [k for k in known if k not in present])
            remedy = f"rename it to {near}" if near else "it is not used; delete it or leave it"
            found.append(
                Finding(
                    "F7",
                    "warning",
                    text.file,
                    1,
                    name,
                    f"a column named {shown(name)}",
                    "a codebook field",
                    remedy,
                )
            )
    for name in (field.name for field in _asked(table, text)):
        if name not in present:
            remedy = "read as not collected"
            found.append(Finding("F8", "statement", text.file, 1, name, "no such column", "", remedy))
    return found


def _typed_table(table: TableName, text: TextTable) -> tuple[pd.DataFrame, pd.DataFrame, list[Finding]]:
    typed: dict[str, Any] = {}
    findings: list[Finding] = []
    fields = load_codebook().table(table)
    raw = text.cells.reindex(columns=[field.name for field in fields], fill_value="")
    rows = np.asarray(text.rows, dtype=np.int64)
    told = {(f.file, f.row, f.field) for f in text.findings if f.severity == "error"}
    asked = {field.name for field in _asked(table, text)} | set(text.cells.columns)
    for field in fields:
        cells = raw[field.name].to_numpy()
        codes, found = pd.factorize(cells)
        distinct = [str(value) for value in found]
        wrong = [wrong_text(field, value) if field.name in asked else None for value in distinct]
        typed[field.name] = _typed_column(field, codes, distinct, np.array([w is not None for w in wrong]))
        for at in np.flatnonzero(np.array([w is not None for w in wrong])[codes]):
            file, row, column, seen = text.place(field.name, int(at))
            rule, expected, remedy = wrong[codes[at]] or ("", "", "")
            name = field.name if column == field.name else f"{field.name} ({column})"
            if told.isdisjoint({(file, row, column), (file, row, name)}):
                findings.append(Finding(rule, "error", file, row, name, seen, expected, remedy))
    typed["file_row"] = rows
    return pd.DataFrame(typed), raw, findings


def _typed_column(field: Field, codes: NDArray[Any], distinct: list[str], wrong: NDArray[np.bool_]) -> Any:
    """A column from its distinct values; a wrong or missing one becomes missing."""
    usable = [
        not w and (v in field.values or v not in field.missing) for v, w in zip(distinct, wrong, strict=True)
    ]
    if field.kind in ("tri_state", "category"):
        categories = list(field.values)
        if NOT_APPLICABLE in distinct and NOT_APPLICABLE not in categories:
            categories.append(NOT_APPLICABLE)
        place = {value: position for position, value in enumerate(categories)}
        positions = np.array([place.get(value, -1) for value in distinct], dtype=np.int64)
        return pd.Categorical.from_codes(positions[codes], categories=pd.Index(categories))
    if field.kind in ("integer", "number"):
        numbers = [float(v) if u else np.nan for v, u in zip(distinct, usable, strict=True)]
        return np.array(numbers, dtype=float)[codes]
    if field.kind == "date":
        dates = [v if u else "NaT" for v, u in zip(distinct, usable, strict=True)]
        return np.array(dates, dtype="datetime64[ns]")[codes]
    # texts (and times of day, which nothing computes with) keep `unknown` and `na` as they stand
    texts = [None if v == "" or w else v for v, w in zip(distinct, wrong, strict=True)]
    return np.array(texts, dtype=object)[codes]
