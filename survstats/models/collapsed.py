"""Which covariate patterns do the rows show, and how often in each mishap?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse

from survstats.groundwork.errors import NotEstimable
from survstats.models.packed import column_products
from survstats.models.patterns import pattern_codes

Floats = NDArray[np.float64]

FEW = 16  # mishaps up to which their counts are written out


@dataclass(frozen=True)
class Collapsed:
    """Rows gathered by covariate pattern and mishap.

    Attributes
    ----------
    patterns : (p, k) array
        The unique rows of the design matrix.
    counts : (p, g) sparse array
        How many rows have this pattern in this mishap.
    successes : (g, k) array
        Sum of outcome times design row in each mishap.
    pairs : (p, k (k + 1) / 2) array
        Products of each pair of columns, upper triangle by rows.
    """

    patterns: Floats
    counts: sparse.csr_array
    successes: Floats
    pairs: Floats

    @property
    def mishaps(self) -> int:
        """Number of mishaps g that the weights must have."""
        return int(self.successes.shape[0])

    @cached_property
    def gram(self) -> Floats:
        """Sums of ``pairs`` over the rows of each mishap (g, k (k + 1) / 2)."""
        if self.mishaps < FEW:
            return np.asarray((self.pairs.T @ self.counts.toarray()).T)
        return np.asarray(self.counts.T @ self.pairs)


def collapse(
    matrix: ArrayLike, outcome: ArrayLike, mishap_codes: ArrayLike, *, mishaps: int | None = None
) -> Collapsed:
    """Unique design rows with their counts in each mishap.

    Parameters
    ----------
    matrix : (n, k) array
        Design matrix; column 0 is the intercept.
    outcome : (n,) array of 0 and 1
    mishap_codes : (n,) array of int
        0 to g - 1.
    mishaps : int, optional
        g, where the last mishaps may have no row; else the largest code plus one.

    Raises
    ------
    NotEstimable
        ``no_rows``.
    """
    design = np.asarray(matrix, dtype=float)
    codes = np.asarray(mishap_codes, dtype=np.int64)
    if not len(design):
        raise NotEstimable("no_rows", "No row is left to fit.")
    g = int(codes.max()) + 1 if mishaps is None else mishaps
    patterns, counts = gather(design, codes, g)
    lived = np.asarray(outcome, dtype=float)
    successes = np.array([np.bincount(codes, lived * column, g) for column in design.T], dtype=float).T
    return Collapsed(patterns, counts, successes, column_products(patterns))


def gather(design: Floats, codes: NDArray[np.int64], mishaps: int) -> tuple[Floats, sparse.csr_array]:
    """Unique rows (p, k) and their counts (p, g)."""
    labels, first = pattern_codes(design)
    counts = sparse.csr_array((np.ones(len(labels)), (labels, codes)), shape=(len(first), mishaps))
    return np.ascontiguousarray(design[first]), counts


def one_plus_exp(values: Floats) -> Floats:
    """1 + exp(values), in place; an overflow is infinity, which is the limit wanted."""
    with np.errstate(over="ignore"):
        np.exp(values, out=values)
    values += 1.0
    return values
