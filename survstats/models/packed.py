"""Where does each cell of a symmetric matrix stand once only its upper triangle is kept, row by row?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Places = NDArray[np.intp]


@dataclass(frozen=True)
class Packing:
    """The k (k + 1) / 2 pairs of k columns.

    Attributes
    ----------
    left, right : (pairs,) arrays
        The columns of each pair.
    square : (k, k) array
        Which pair stands in each cell of the whole matrix.
    doubled : (pairs, 1) array
        How often a quadratic form takes each pair.
    """

    left: Places
    right: Places
    square: Places
    doubled: Floats


@cache
def packing(k: int) -> Packing:
    """The packing of k columns."""
    left, right = np.triu_indices(k)
    square = np.empty((k, k), dtype=np.intp)
    square[left, right] = square[right, left] = np.arange(len(left))
    return Packing(left, right, square, np.where(left == right, 1.0, 2.0)[:, None])


def column_products(patterns: Floats) -> Floats:
    """Products of each pair of columns of (p, k), shape (p, pairs); those of a pair lie side by side."""
    columns = np.ascontiguousarray(patterns.T)
    of = packing(len(columns))
    pairs = np.empty((len(of.left), len(patterns)))
    for pair, i, j in zip(pairs, of.left, of.right, strict=True):
        np.multiply(columns[i], columns[j], out=pair)
    return pairs.T


def step_products(step: Floats) -> Floats:
    """Products of each pair of coordinates of steps (k, b), off-diagonal ones twice: (pairs, b)."""
    of = packing(len(step))
    return np.asarray(step[of.left] * step[of.right] * of.doubled)
