"""Which texts stand for the cells of a Parquet file?"""

from __future__ import annotations

import datetime
import io
import math
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from survstats.groundwork.errors import RecordsError
from survstats.records.reading.grid import Grid, checked_header, refuse_control_characters, shown
from survstats.records.reading.plain_texts import date_text, number_text, time_text

_DAMAGED = "Write the file again from the program it comes from."


def read_parquet(data: bytes, file: str) -> Grid:
    """The cells of a Parquet file: text, numbers, dates, times and truth values; no value is an empty cell.

    Raises
    ------
    RecordsError
        ``bad_parquet`` where the file is damaged, ``nested_column`` where a cell holds more than one value, and
        those of the header.
    """
    try:
        table = pq.read_table(io.BytesIO(data), use_threads=False)
        table.validate(full=True)
        columns = {name: table.column(at) for at, name in enumerate(table.column_names)}
        header = checked_header([name.strip() for name in table.column_names], file, 1)
        if table.num_rows == 0 or not header:
            raise RecordsError("no_rows", f"{file} has no rows.", "Put at least one row in it.")
        cells = dict(
            zip(header, (_texts(column, name, file) for name, column in columns.items()), strict=True)
        )
    except (pa.ArrowException, OSError, ValueError, MemoryError, OverflowError) as error:
        raise RecordsError("bad_parquet", f"{file} is no sound Parquet file.", _DAMAGED) from error
    return _without_blank_rows(Grid(file, cells, tuple(range(2, table.num_rows + 2))))


def _without_blank_rows(grid: Grid) -> Grid:
    filled = np.zeros(len(grid.rows), dtype=bool)
    for texts in grid.columns.values():
        filled |= np.asarray(texts, dtype=object) != ""
    if filled.all():
        return grid
    if not filled.any():
        raise RecordsError("no_rows", f"{grid.file} has no rows.", "Put at least one row in it.")
    columns: dict[str, Sequence[str]] = {
        name: np.asarray(texts, dtype=object)[filled].tolist() for name, texts in grid.columns.items()
    }
    return Grid(grid.file, columns, tuple(np.asarray(grid.rows)[filled].tolist()))


def _texts(column: pa.ChunkedArray, name: str, file: str) -> Sequence[str]:
    """A column as texts, each distinct value turned into text once."""
    kind = column.type.value_type if pa.types.is_dictionary(column.type) else column.type
    as_text = _way(kind)
    if as_text is None:
        raise RecordsError(
            "nested_column",
            f"{file}: the column {shown(name)} holds {shown(str(kind))}, which is no plain text, number, date or time.",
            "Write it as text.",
        )
    if pa.types.is_null(kind):
        return [""] * len(column)
    if pa.types.is_dictionary(column.type):
        column = column.cast(kind)
    encoded = column.combine_chunks().dictionary_encode()
    distinct = [as_text(value) for value in encoded.dictionary.to_pylist()]
    refuse_control_characters(distinct, file)
    lookup = np.array([*distinct, ""], dtype=object)
    positions = encoded.indices.fill_null(len(distinct)).to_numpy(zero_copy_only=False)
    texts: list[str] = lookup[positions].tolist()
    return texts


def _way(kind: pa.DataType) -> Callable[[Any], str] | None:
    """How one value of an Arrow type becomes text; None where it cannot."""
    types = pa.types
    precision: Any = {"float": np.float32, "halffloat": np.float16}.get(str(kind), np.float64)
    ways: tuple[tuple[bool, Callable[[Any], str]], ...] = (
        (types.is_null(kind), str),
        (types.is_string(kind) or types.is_large_string(kind) or types.is_string_view(kind), str.strip),
        (types.is_boolean(kind), lambda value: "true" if value else "false"),
        (types.is_integer(kind), str),
        (
            types.is_floating(kind),
            lambda value: "" if math.isnan(value) else number_text(precision(float(value))),
        ),
        (types.is_decimal(kind), lambda value: format(value, "f")),
        (types.is_date(kind), datetime.date.isoformat),
        (types.is_timestamp(kind), date_text),
        (types.is_time(kind), time_text),
    )
    return next((way for applies, way in ways if applies), None)
