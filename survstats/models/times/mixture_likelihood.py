"""How likely is it who had the event, when, and that some still waited when they were last seen?

A share expit(s a) ever has the event, and its time follows the accelerated model.  Of a row of whom it is not known
whether the event ever came, and who still waited at c, the likelihood is 1 - share F(c): this is where the two parts
hang together.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.special import expit, log_expit

from survstats.models.collapsed import gather
from survstats.models.packed import column_products, packing
from survstats.models.times.time_distributions import Distribution, standard
from survstats.models.times.time_likelihood import Ascent, TimeRows, ascent, gather_times

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]


@dataclass(frozen=True)
class MixtureRows:
    """Rows that differ, in three parts.

    Attributes
    ----------
    share_matrix : (p, j) array
        Of rows of which it is known whether the event came.
    came : (p,) array of 0 and 1
    share_counts : (p, g) sparse array
    times : TimeRows
        Of rows that had the event.
    waiting_share, waiting_time : (w, j) and (w, k) arrays
        Both design matrices of rows of which it is not known.
    waited : (w,) array
        Logarithm of the time at which they still waited.
    waiting_counts : (w, g) sparse array
    """

    share_matrix: Floats
    came: Floats
    share_counts: sparse.csr_array
    times: TimeRows
    waiting_share: Floats
    waiting_time: Floats
    waited: Floats
    waiting_counts: sparse.csr_array

    @cached_property
    def share_pairs(self) -> Floats:
        """Products of pairs of columns of rows of which it is known."""
        return column_products(self.share_matrix)

    @cached_property
    def waiting_pairs(self) -> Floats:
        """Products of pairs of all columns, negative for the time's, of the rows that wait; the last is ``waited``."""
        return column_products(self.waiting_columns)

    @cached_property
    def waiting_columns(self) -> Floats:
        """How the share's predictor and the standardised time move with each coefficient, (w, j + k + 1)."""
        return np.column_stack([self.waiting_share, -self.waiting_time, self.waited])


@dataclass(frozen=True)
class MixtureWeights:
    """Weights of the rows of each part in b replicates: (p, b), (times' rows, b), (w, b)."""

    share: Floats
    times: Floats
    waiting: Floats

    def of(self, places: NDArray[np.intp]) -> MixtureWeights:
        """The same for some of the replicates."""
        return MixtureWeights(self.share[:, places], self.times[:, places], self.waiting[:, places])


def gather_mixture(
    matrix: Floats, share_matrix: Floats, lo: Floats, hi: Floats, ever: Floats, codes: Codes, groups: int
) -> MixtureRows:
    """The rows as the likelihood needs them; see :func:`survstats.models.times.mixture_time.fit_mixture`."""
    known, came = ~np.isnan(ever), ever == 1
    shared, share_counts = gather(np.column_stack([share_matrix, ever])[known], codes[known], groups)
    waits = ~known & (lo > 0)
    j = share_matrix.shape[1]
    waiting, waiting_counts = gather(np.column_stack([share_matrix, matrix, lo])[waits], codes[waits], groups)
    return MixtureRows(
        np.ascontiguousarray(shared[:, :-1]),
        shared[:, -1],
        share_counts,
        gather_times(matrix[came], lo[came], hi[came], codes[came], groups),
        waiting[:, :j],
        waiting[:, j:-1],
        np.log(waiting[:, -1]),
        waiting_counts,
    )


def weigh(rows: MixtureRows, weights: Floats) -> MixtureWeights:
    """Weights of the rows from those of the groups (b, g)."""
    parts = (rows.share_counts, rows.times.counts, rows.waiting_counts)
    return MixtureWeights(*(np.asarray(counts @ weights.T) for counts in parts))


def mixture_ascent(
    rows: MixtureRows, weights: MixtureWeights, at: Floats, distribution: Distribution
) -> Ascent:
    """Log-likelihood, gradient (q, b) and information (q, q, b) at share coefficients, slopes and spread (q, b)."""
    j = rows.share_matrix.shape[1]
    q, b = at.shape
    times = ascent(rows.times, weights.times, at[j:], distribution)
    gradient, information = np.zeros((q, b)), np.zeros((q, q, b))
    gradient[j:], information[j:, j:] = times.gradient, times.information
    eta = rows.share_matrix @ at[:j]
    risk = expit(eta)
    signed = np.where(rows.came[:, None] == 1, eta, -eta)
    value = times.value + (weights.share * log_expit(signed)).sum(axis=0)
    gradient[:j] += rows.share_matrix.T @ (weights.share * (rows.came[:, None] - risk))
    spread = weights.share * risk * (1 - risk)
    information[:j, :j] += (rows.share_pairs.T @ spread)[packing(j).square]
    if len(rows.waited):
        value = value + _add_waiting(rows, weights.waiting, at, distribution, gradient, information)
    return Ascent(value, gradient, information)


def _add_waiting(
    rows: MixtureRows,
    weights: Floats,
    at: Floats,
    distribution: Distribution,
    gradient: Floats,
    information: Floats,
) -> Floats:
    """Log-likelihood (b,) of rows that still waited; their slopes are added in place."""
    j = rows.share_matrix.shape[1]
    form, columns = standard(distribution), rows.waiting_columns
    eta, z = columns[:, :j] @ at[:j], columns[:, j:] @ at[j:]
    risk = expit(eta)
    value = np.logaddexp(log_expit(-eta), log_expit(eta) + form.log_above(z))
    dense = np.exp(form.log_density(z) - value)
    by_share = -risk * (1 - risk) * form.share(z) * np.exp(-value)
    by_time = -risk * dense
    share_share = by_share * (1 - 2 * risk) - by_share**2
    share_time = -risk * (1 - risk) * dense - by_share * by_time
    time_time = by_time * form.bend(z) - by_time**2
    gradient[:j] += columns[:, :j].T @ (weights * by_share)
    gradient[j:] += columns[:, j:].T @ (weights * by_time)
    of = packing(columns.shape[1])
    curves = (weights * share_share, weights * share_time, weights * time_time)
    parts = [(rows.waiting_pairs.T @ curve)[of.square] for curve in curves]
    information[:j, :j] -= parts[0][:j, :j]
    information[:j, j:] -= parts[1][:j, j:]
    information[j:, :j] -= parts[1][j:, :j]
    information[j:, j:] -= parts[2][j:, j:]
    return np.asarray((weights * value).sum(axis=0))
