"""Which rows of a matrix are the same row?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def pattern_codes(matrix: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Code of each row's pattern (n,), 0 to p - 1, and the first row that shows each pattern (p,).

    Columns are coded one after the other and the codes combined as integers, which is far cheaper than
    sorting rows of floats.

    Parameters
    ----------
    matrix : (n, k) array
    """
    codes = np.zeros(len(matrix), dtype=np.int64)
    levels = 1
    for column in matrix.T:
        values, inverse = np.unique(column, return_inverse=True)
        if len(values) == 1:
            continue
        codes = codes * len(values) + inverse
        levels *= len(values)
        if levels > 2**31:
            seen, codes = np.unique(codes, return_inverse=True)
            levels = len(seen)
    _, first, codes = np.unique(codes, return_index=True, return_inverse=True)
    return codes.astype(np.int64), first.astype(np.int64)
