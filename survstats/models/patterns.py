"""Which rows of a matrix are the same row?"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

FEW = 2000  # rows up to which sorting costs less than hashing
MIXER = np.uint64(0x9E3779B97F4A7C15)  # odd: the golden ratio in 64 bits
HALF = np.uint64(32)


def pattern_codes(matrix: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Code of each row's pattern (n,), 0 to p - 1, and the first row that shows each pattern (p,).

    The bits of a row are mixed into one whole number and the numbers are told apart, which is far cheaper than
    sorting rows of floats.  Every row is then compared with the first of its code; should two patterns ever have
    the same number, columns are coded one after the other instead.

    Parameters
    ----------
    matrix : (n, k) array
        Without gaps.
    """
    bits = np.add(matrix, 0.0).view(np.uint64)  # minus zero becomes zero
    bits ^= bits >> HALF
    codes, first = _coded(bits @ MIXER ** np.arange(1, matrix.shape[1] + 1, dtype=np.uint64))
    if not np.array_equal(matrix[first][codes], matrix):
        codes = np.zeros(len(matrix), dtype=np.int64)
        for column in matrix.T:
            place, _ = _coded(column)
            codes, first = _coded(codes * len(matrix) + place)
    return codes, first


def _coded(values: NDArray[Any]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Code of each value (n,), and the first place of each code."""
    if len(values) <= FEW:
        _, first, codes = np.unique(values, return_index=True, return_inverse=True)
        return codes, first
    codes, seen = pd.factorize(values)
    first = np.empty(len(seen), dtype=np.int64)
    first[codes[::-1]] = np.arange(len(codes))[::-1]
    return codes.astype(np.int64, copy=False), first
