"""Which typed values stay outside what the codebook allows?

The text of a cell is judged when it is read; here the typed tables are held against a schema made from the
codebook: types, limits, categories and values that every row must have.
"""

from __future__ import annotations

from functools import cache
from threading import Lock
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from survstats.records.codebook import NOT_APPLICABLE, TABLES, Field, TableName, load_codebook
from survstats.records.loading import Records
from survstats.records.rules.rule import Hit

#: Imported late since it is slow, and by one thread at a time: its parts import each other.
_ONE_AT_A_TIME = Lock()

if TYPE_CHECKING:
    from pandera.pandas import Check, DataFrameSchema


@cache
def field_schema(table: TableName) -> DataFrameSchema:
    """The schema of one typed table, made from the codebook; columns without any value may be left out."""
    import pandera.pandas as pa

    columns = {
        field.name: pa.Column(
            _type(field), _checks(field), nullable=not field.required, required=field.required
        )
        for field in load_codebook().table(table)
    }
    return pa.DataFrameSchema(columns, name=table)


def outside(records: Records) -> list[tuple[str, Hit]]:
    """Every cell that its field's schema does not allow, as rule id and place.

    R6, R8, R10, T2 or F6 for a number outside its limits (as the codebook says), F4 for a value that must be
    there, F1 for another category; a cell that reading has already found wrong is not told twice.
    """
    with _ONE_AT_A_TIME:
        import pandera.pandas  # noqa: F401
        from pandera.errors import SchemaErrors

    told = {(f.file, f.row, f.field.partition(" ")[0]) for f in records.findings}
    found = []
    for table in TABLES:
        if table not in records.files:
            continue
        typed = records.table(table).reset_index(drop=True)
        pending = table == "occupant" and records.outcomes_pending
        kept = [
            f.name
            for f in load_codebook().table(table)
            if (f.required and (f.roster or not pending)) or typed[f.name].notna().any()
        ]
        try:
            field_schema(table).select_columns(kept).validate(typed[kept], lazy=True)
        except SchemaErrors as failed:
            for name, at in _cells(failed.failure_cases):
                file, row, _, text = records.place(table, name, at)
                if (file, row, name) not in told:
                    found.append(_hit(load_codebook().field(table, name), at, text))
    return found


def _cells(cases: pd.DataFrame) -> list[tuple[str, int]]:
    """Field and row of each failure, in the order of the columns; a failure of no row is a fault of ours."""
    cases = cases[["column", "index"]].drop_duplicates()
    return [(str(name), int(at)) for name, at in zip(cases["column"], cases["index"], strict=True)]


def _hit(field: Field, at: int, text: str) -> tuple[str, Hit]:
    if not text:
        return "F4", Hit(field.table, at, field.name, "an empty cell", "a value in every row")
    if field.kind not in ("integer", "number"):
        return "F1", Hit(field.table, at, field.name, text, ", ".join(field.values))
    expected = f"{field.minimum:.10g} to {field.maximum:.10g}"
    expected += f" {field.unit}" if field.unit else ""
    expected += ", or inf" if field.open_ended else ""
    return field.limit_rule, Hit(field.table, at, field.name, text, expected)


def _type(field: Field) -> Any:
    if field.kind in ("tri_state", "category"):
        return None
    return {"integer": float, "number": float, "date": "datetime64[ns]"}.get(field.kind, object)


def _checks(field: Field) -> list[Check]:
    import pandera.pandas as pa

    if field.kind in ("tri_state", "category"):
        return [pa.Check.isin([*field.values, NOT_APPLICABLE])]
    if field.kind not in ("integer", "number"):
        return []
    low = -np.inf if field.minimum is None else field.minimum
    high = np.inf if field.maximum is None else field.maximum
    if field.open_ended:
        return [pa.Check(lambda s: (s >= low) & ((s <= high) | np.isposinf(s)), name="within limits or inf")]
    return [pa.Check.in_range(low, high)]
