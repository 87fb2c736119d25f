"""What do the small linear systems of many replicates solve to, all at once?

Matrices are (k, k, b): k is at most some dozens, b replicates are the last axis, so each elimination step is
one operation on whole rows of replicates.  A column may be skipped in some replicates; the others are then
solved as if it were not there.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LOST = 1e-10  # a column whose pivot falls below this share of its own size adds nothing to the ones before


def pivots_and_lost(gram: Floats) -> tuple[Floats, Bools]:
    """Pivots (k, b) of the weighted Gram matrices, and which columns add nothing to the ones before."""
    k, _, b = gram.shape
    work, pivots, lost = gram.copy(), np.empty((k, b)), np.empty((k, b), dtype=bool)
    for j in range(k):
        lost[j] = work[j, j] <= LOST * gram[j, j]
        pivots[j] = np.where(lost[j], np.inf, work[j, j])
        work[j + 1 :, j + 1 :] -= (work[j + 1 :, j] / pivots[j])[:, None] * work[j, j + 1 :]
    return np.where(lost, 0.0, pivots), lost


def factor(information: Floats, skip: Bools, floor: Floats) -> tuple[Floats, Floats, Bools]:
    """Square-root-free Cholesky of all replicates: unit lower triangle, pivots, and who ran away.

    A skipped column has an infinite pivot: the others are then solved as if it were not there.
    """
    work = information.copy()
    k, _, b = work.shape
    pivots, gone = np.empty((k, b)), np.zeros(b, dtype=bool)
    for j in range(k):
        weak = ~skip[j] & ~(work[j, j] > floor[j])
        gone |= weak
        pivots[j] = np.where(skip[j] | weak, np.inf, work[j, j])
        lower = work[j + 1 :, j] / pivots[j]
        work[j + 1 :, j + 1 :] -= lower[:, None] * work[j, j + 1 :]
        work[j + 1 :, j] = lower
    return work, pivots, gone


def substitute(lower: Floats, pivots: Floats, right: Floats) -> Floats:
    """Solve the factored systems for right-hand sides (k, ..., b)."""
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


def inverse(information: Floats, lost: Bools, floor: Floats) -> tuple[Floats, Floats, Bools]:
    """Inverses (k, k, b) and log determinants (b,), lost columns left out, and who ran away."""
    k, _, b = information.shape
    lower, pivots, gone = factor(information, lost, floor)
    unit = np.broadcast_to(np.eye(k)[:, :, None], (k, k, b))
    log_determinants = np.log(np.where(np.isfinite(pivots), pivots, 1.0)).sum(axis=0)
    return substitute(lower, pivots, unit), log_determinants, gone


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
