"""What do the values of each group sum to, and what do they sum to so far?"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

WIDE = 64  # values a place from which adding them place by place costs less than one call for all


def grouped_sums(values: Floats, groups: Places, count: int) -> Floats:
    """Sums (count, ...) of the values (n, ...) of each group, 0 to count - 1."""
    return np.asarray(members(groups, count) @ values)


def members(groups: Places, count: int, *, of: NDArray[np.bool_] | None = None) -> sparse.csr_array:
    """Which values (count, n) are of each group, 0 to count - 1; only those ``of`` (n,) marks, if it is given."""
    rows = np.arange(len(groups)) if of is None else np.flatnonzero(of)
    return sparse.csr_array((np.ones(len(rows)), (groups[rows], rows)), shape=(count, len(groups)))


def running_sums(values: Floats, starts: Places) -> Floats:
    """Sums so far (j, ...) of values (j, ...), anew from each start; ``starts`` ends with j.

    Many short runs are summed side by side, by doubling, so that no run is the difference of two long ones.
    """
    if len(starts) == 2 and values[:1].size < WIDE:
        return np.asarray(np.cumsum(values, axis=0))
    if len(starts) == 2:
        sums = np.array(values, dtype=float)
        for before, here in pairwise(sums):
            here += before
        return sums
    lengths = np.diff(starts)
    within = np.arange(len(values)) - np.repeat(starts[:-1], lengths)
    sums, reach = np.array(values, dtype=float), 1
    while reach < lengths.max():
        here = np.flatnonzero(within >= reach)
        sums[here] = sums[here] + sums[here - reach]
        reach *= 2
    return sums
