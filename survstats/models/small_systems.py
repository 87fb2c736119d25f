"""What do the small linear systems of many replicates solve to, all at once?

Matrices are (k, k, b): k is at most some dozens, b replicates are the last axis, so each elimination step is
one operation on whole rows of replicates.  A column may be skipped in some replicates; the others are then
solved as if it were not there.  Where replicates are few, one matrix after the other costs less.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

FEW = 64  # replicates up to which one matrix after the other costs less
LOST = 1e-10  # a column whose pivot falls below this share of its own size adds nothing to the ones before


@dataclass(frozen=True)
class Factored:
    """Systems of b replicates, ready to be solved.

    Attributes
    ----------
    matrices : (k, k, b) array
        Their inverses if ``inverted``, else the unit lower triangles of the square-root-free Cholesky factor.
    pivots : (k, b) array
        Of that factor; infinite for a column skipped.
    gone : (b,) bool array
        Which ran away: a pivot at or below its floor.
    inverted : bool
    """

    matrices: Floats
    pivots: Floats
    gone: Bools
    inverted: bool

    def solve(self, right: Floats) -> Floats:
        """Solutions for right-hand sides (k, b); 0 in columns skipped."""
        if self.inverted:
            return np.asarray((self.matrices * right).sum(axis=1))
        return _substitute(self.matrices, self.pivots, right)

    def inverse(self) -> Floats:
        """Inverses (k, k, b); 0 in rows and columns skipped."""
        if self.inverted:
            return self.matrices
        k, _, b = self.matrices.shape
        return _substitute(self.matrices, self.pivots, np.broadcast_to(np.eye(k)[:, :, None], (k, k, b)))

    def log_determinant(self) -> Floats:
        """Log determinants (b,), columns skipped left out."""
        return np.asarray(np.log(np.where(np.isfinite(self.pivots), self.pivots, 1.0)).sum(axis=0))

    def of(self, chosen: Bools | NDArray[np.intp] | slice) -> Factored:
        """The same for some of the replicates."""
        return Factored(self.matrices[..., chosen], self.pivots[:, chosen], self.gone[chosen], self.inverted)


def pivots_and_lost(gram: Floats) -> tuple[Floats, Bools]:
    """Pivots (k, b) of the weighted Gram matrices, and which columns add nothing to the ones before."""
    k, _, b = gram.shape
    whole = _pivots(gram) if b <= FEW else None
    if whole is not None and np.all(whole > LOST * np.einsum("jjb->jb", gram)):
        return whole, np.zeros((k, b), dtype=bool)
    work, pivots, lost = gram.copy(), np.empty((k, b)), np.empty((k, b), dtype=bool)
    for j in range(k):
        lost[j] = work[j, j] <= LOST * gram[j, j]
        pivots[j] = np.where(lost[j], np.inf, work[j, j])
        work[j + 1 :, j + 1 :] -= (work[j + 1 :, j] / pivots[j])[:, None] * work[j, j + 1 :]
    return np.where(lost, 0.0, pivots), lost


def factor(information: Floats, skip: Bools, floor: Floats) -> Factored:
    """All replicates made ready; a column skipped (k, b), or with its pivot below the floor, is as if not there."""
    k, _, b = information.shape
    if b <= FEW:
        bare = information
        if skip.any():
            bare = np.where(skip[:, None] | skip, np.eye(k)[:, :, None], information)
        pivots = _pivots(bare)
        inverses = None if pivots is None or not np.all((pivots > floor) | skip) else _inverses(bare)
        if pivots is not None and inverses is not None:
            if bare is not information:
                inverses, pivots = (
                    np.where(skip[:, None] | skip, 0.0, inverses),
                    np.where(skip, np.inf, pivots),
                )
            return Factored(inverses, pivots, np.zeros(b, dtype=bool), True)
    work, pivots, gone = information.copy(), np.empty((k, b)), np.zeros(b, dtype=bool)
    for j in range(k):
        weak = ~skip[j] & ~(work[j, j] > floor[j])
        gone |= weak
        pivots[j] = np.where(skip[j] | weak, np.inf, work[j, j])
        lower = work[j + 1 :, j] / pivots[j]
        work[j + 1 :, j + 1 :] -= lower[:, None] * work[j, j + 1 :]
        work[j + 1 :, j] = lower
    return Factored(work, pivots, gone, False)


def _pivots(matrices: Floats) -> Floats | None:
    """Pivots (k, b), or nothing where any matrix is not positive definite."""
    try:
        roots = np.linalg.cholesky(matrices.T)  # symmetric: replicates come first
    except np.linalg.LinAlgError:
        return None
    return np.asarray(np.diagonal(roots, axis1=1, axis2=2).T ** 2, dtype=float)


def _inverses(matrices: Floats) -> Floats | None:
    """Inverses (k, k, b), or nothing where any matrix is singular to the last bit, though its pivots are above 0."""
    try:
        return np.asarray(np.linalg.inv(matrices.T).T, dtype=float)
    except np.linalg.LinAlgError:
        return None


def _substitute(lower: Floats, pivots: Floats, right: Floats) -> Floats:
    """Solve for right-hand sides (k, ..., b) by unit lower triangles and pivots."""
    solved = right.copy()
    k = len(solved)
    wide = solved.ndim == 3
    for j in range(k - 1):
        column = lower[j + 1 :, j, None] if wide else lower[j + 1 :, j]
        solved[j + 1 :] -= column * solved[j]
    solved /= pivots[:, None] if wide else pivots
    for j in range(k - 2, -1, -1):
        column = lower[j + 1 :, j, None] if wide else lower[j + 1 :, j]
        solved[j] -= (column * solved[j + 1 :]).sum(axis=0)
    return solved


def identified(gram: Floats, lost: Bools) -> Bools:
    """Which coefficients (b, k) have no part in any direction without information."""
    known = np.ones(lost.T.shape, dtype=bool)
    touched = np.flatnonzero(lost.any(axis=0))
    if touched.size:
        size = np.sqrt(np.einsum("jjb->jb", gram[:, :, touched]))
        size[size == 0] = 1.0
        values, vectors = np.linalg.eigh(np.moveaxis(gram[:, :, touched] / (size[:, None] * size), -1, 0))
        empty = values <= LOST * values[:, -1:]
        known[touched] = ((vectors**2) * empty[:, None, :]).sum(axis=2) < 1e-8
    return known
