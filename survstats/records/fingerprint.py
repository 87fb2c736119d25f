"""Are these the same records, whatever file they came in?"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence

import numpy as np
import pandas as pd

from survstats.records.codebook import TABLES, Field, TableName, load_codebook
from survstats.records.loading import Records

# no cell holds these two characters: reading refuses them
_BETWEEN_CELLS, _BETWEEN_ROWS = "\x1f", "\x1e"


def cohort_hash(records: Records) -> str:
    """SHA-256 of what the records say, in hexadecimal.

    It covers every codebook field of every row, in the codebook's order and sorted by key. The order of rows and of
    columns, the file format, encoding, separator, decimal sign and form of dates do not change it, nor do columns
    that are not in the codebook, nor does a column that is not there instead of one without any text.
    """
    digest = hashlib.sha256()
    for table in TABLES:
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
    if field.kind not in ("integer", "number"):
        return [str(text) for text in texts]
    codes, distinct = pd.factorize(texts.to_numpy())
    numbers: list[str] = np.array([_number(str(text)) for text in distinct], dtype=object)[codes].tolist()
    return numbers


def _number(text: str) -> str:
    """The shortest text of the same number; what is no number stays as it stands."""
    try:
        value = float(text)
    except ValueError:
        return text
    return repr(value + 0.0) if math.isfinite(value) else text
