"""Mishap weights and random streams: every refit in the package is one row of weights."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def stream(seed: int, name: str) -> np.random.Generator:
    """A generator of its own for each named analysis, so that adding one never moves another's draws.

    Parameters
    ----------
    seed : int
        The study's seed, >= 0.
    name : str
        The name of the analysis.
    """
    digest = hashlib.sha256(name.encode()).digest()
    words = [int.from_bytes(digest[i : i + 4], "big") for i in range(0, 16, 4)]
    return np.random.default_rng(np.random.SeedSequence([seed, *words]))


@dataclass(frozen=True)
class LeaveOneOut:
    """Weights that leave each of g mishaps out once, without the (g, g) array they stand for.

    Row j is all ones but for a 0 at j.  Rows are written out when indexed, all of them by ``numpy.asarray``;
    ``weights @ sums`` is the whole sum less each mishap's own.

    Attributes
    ----------
    mishaps : int
        g.
    """

    mishaps: int

    @property
    def shape(self) -> tuple[int, int]:
        """Replicates and mishaps, (g, g)."""
        return self.mishaps, self.mishaps

    def __len__(self) -> int:
        return self.mishaps

    def __matmul__(self, sums: ArrayLike) -> Floats:
        each = np.asarray(sums, dtype=float)
        return np.asarray(each.sum(axis=0) - each)

    def __getitem__(self, rows: slice | NDArray[np.intp]) -> Floats:
        left_out = np.arange(self.mishaps)[rows]
        weights = np.ones((len(left_out), self.mishaps))
        weights[np.arange(len(left_out)), left_out] = 0.0
        return weights

    def __array__(self, dtype: Any = None, copy: bool | None = None) -> NDArray[Any]:
        return self[:] if dtype is None else self[:].astype(dtype, copy=False)


#: What a refit is told: an array (b, g) of any real kind, or each mishap left out.
Weights: TypeAlias = ArrayLike | LeaveOneOut


def leave_one_out(mishaps: int) -> LeaveOneOut:
    """Weights that leave each mishap out once, shape (mishaps, mishaps): row j has a 0 at j."""
    return LeaveOneOut(mishaps)


def leave_pairs_out(mishaps: int, first: int) -> Floats:
    """Weights that leave out ``first`` and each other mishap in turn, shape (mishaps - 1, mishaps)."""
    weights = leave_one_out(mishaps)[:]
    weights[:, first] = 0.0
    return np.delete(weights, first, axis=0)


def bootstrap(mishaps: int, replicates: int, rng: np.random.Generator) -> Floats:
    """How often each mishap is drawn in each replicate, shape (replicates, mishaps).

    A mishap's weights stand side by side in memory, as the products over mishaps read them.
    """
    counts = rng.multinomial(mishaps, np.full(mishaps, 1 / mishaps), size=replicates)
    return counts.astype(float, order="F")
