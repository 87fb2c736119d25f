"""Are these the same records, whatever file they came in?"""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Sequence

import numpy as np
import pandas as pd

from survstats.records.codebook import TABLES, Field, TableName, load_codebook
from survstats.records.loading import Records

# no cell holds these two characters: reading refuses them
_BETWEEN_CELLS, _BETWEEN_ROWS = "\x1f", "\x1e"
_TIME = re.compile(r"([0-9]{2}:[0-9]{2})(:[0-9]{2})?Z?")


def cohort_hash(records: Records, *, tables: Sequence[TableName] = TABLES) -> str:
    """SHA-256 of what the records say, in hexadecimal.

    It covers every codebook field of every row, in the codebook's order and sorted by key. The order of rows and of
    columns, the file format, encoding, separator, decimal sign and form of dates and times do not change it, nor do
    columns that are not in the codebook, nor does a column that is not there instead of one without any text.

    Parameters
    ----------
    records : Records
    tables : collection of str, optional
        The tables it covers; all three if not given.
    """
    digest = hashlib.sha256()
    for table in tables:
        digest.update(f"{table}{_BETWEEN_ROWS}".encode())
        for row in sorted(_rows(records, table)):
            digest.update(row.encode())
            digest.update(_BETWEEN_ROWS.encode())
    return digest.hexdigest()


def _rows(records: Records, table: TableName) -> list[str]:
    """Each row as one text; the key fields stand first, so that sorting these sorts by key."""
    raw = records.raw[table]
    columns = [_canonical(field, raw[field.name]) for field in load_codebook().table(table)]
    return [_BETWEEN_CELLS.join(cells) for cells in zip(*columns, strict=True)]


def _canonical(field: Field, texts: pd.Series) -> Sequence[str]:
    way = {"integer": _number, "number": _number, "time": _time}.get(field.kind, str)
    codes, distinct = pd.factorize(texts.to_numpy())
    canonical: list[str] = np.array([way(str(text)) for text in distinct], dtype=object)[codes].tolist()
    return canonical


def _time(text: str) -> str:
    """The time of day without the Z that every time has, and with seconds; what is no time stays as it stands."""
    found = _TIME.fullmatch(text)
    return f"{found[1]}{found[2] or ':00'}" if found else text


def _number(text: str) -> str:
    """The shortest text of the same number; what is no number stays as it stands."""
    try:
        value = float(text)
    except ValueError:
        return text
    return repr(value + 0.0) if math.isfinite(value) else text
