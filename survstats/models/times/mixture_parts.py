"""What do the rows of a mixture hold, and how often did the event come?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.groundwork.resampling import LeaveOneOut, Weights
from survstats.models.kernel import collapse, solve
from survstats.models.separation import find_separation

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]


@dataclass(frozen=True)
class GivenRows:
    """The rows as they were handed over, checked: n of them.

    Attributes
    ----------
    matrix, share_matrix : (n, k) and (n, j) arrays
    lo, hi : (n,) arrays
    ever : (n,) array
        1 the event came, 0 it never did, NaN not known.
    """

    matrix: Floats
    share_matrix: Floats
    lo: Floats
    hi: Floats
    ever: Floats

    @staticmethod
    def read(
        matrix: ArrayLike, share_matrix: ArrayLike | None, lo: ArrayLike, hi: ArrayLike, ever: ArrayLike
    ) -> GivenRows:
        """Check the rows; raises as :func:`~survstats.models.times.mixture_time.fit_mixture` does."""
        design = np.asarray(matrix, dtype=float)
        shared = design if share_matrix is None else np.asarray(share_matrix, dtype=float)
        ends = np.asarray(lo, dtype=float), np.asarray(hi, dtype=float)
        came = np.asarray(ever, dtype=float)
        if not len(design) == len(shared) == len(ends[0]) == len(ends[1]) == len(came):
            raise CallError("rows_differ", "Matrices, bands and outcomes do not have the same rows.")
        if not np.all(np.isnan(came) | (came == 0) | (came == 1)):
            raise CallError("not_binary", "Whether the event came must be 1, 0 or not known.")
        unknown = np.isnan(came)
        if not np.all(np.isinf(ends[1][unknown]) & (ends[0][unknown] >= 0)):
            raise CallError("time_band", "A row that may never have had the event has no end of its band.")
        return GivenRows(design, shared, *ends, came)

    @property
    def parts(self) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """In the order that :func:`gather_mixture` takes."""
        return self.matrix, self.share_matrix, self.lo, self.hi, self.ever

    def tied(self, codes: Codes, weights: Floats) -> bool:
        """Whether a row that counts still waited and it is not known what became of it."""
        waits = np.isnan(self.ever) & (self.lo > 0)
        return bool(np.any(weights[:, codes[waits]] > 0))


@dataclass(frozen=True)
class Shares:
    """The logistic part under b weightings: coefficients (b, j), log-likelihood (b,), which can be told (b, j)."""

    share: Floats
    value: Floats
    identified: NDArray[np.bool_]


def fit_shares(
    given: GivenRows, codes: Codes, weights: Weights, *, start: Floats | None = None, joint: bool = False
) -> Shares:
    """Log odds that the event ever comes, from the rows of which it is known.

    Parameters
    ----------
    given : GivenRows
    codes : (n,) array of int
        Group of each row, 0 to g - 1.
    weights : (b, g) array or LeaveOneOut
    start : (j,) array, optional
    joint : bool
        Only a place to begin is wanted: where it has no finite answer, zeros serve.

    Raises
    ------
    NotEstimable
        ``no_rows``, ``one_outcome``, ``separated``, ``not_converged``.
    """
    known = ~np.isnan(given.ever)
    counted = known
    if not isinstance(weights, LeaveOneOut):
        counted = known & (np.asarray(weights)[:, codes] > 0).any(axis=0)
    outcomes = given.ever[counted]
    if not len(outcomes):
        raise NotEstimable("no_rows", "Of no row it is known whether the event came.")
    if outcomes.min() == outcomes.max():
        raise NotEstimable("one_outcome", "The event came to all of whom it is known, or to none.")
    groups = np.shape(weights)[1]
    rows = collapse(given.share_matrix[known], given.ever[known], codes[known], mishaps=groups)
    fits = solve(rows, weights, start=start)
    if not fits.converged.all():
        if joint:
            return Shares(np.zeros((1, given.share_matrix.shape[1])), np.zeros(1), fits.identified)
        if fits.diverged.any() or find_separation(given.share_matrix[counted], outcomes).kind != "none":
            raise NotEstimable("separated", "Whether the event came is separated by the columns.")
        raise NotEstimable("not_converged", "The logistic part of the mixture did not converge.")
    return Shares(fits.coefficients, fits.log_likelihood, fits.identified)
