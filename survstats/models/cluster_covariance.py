"""How uncertain are least-squares or logistic coefficients when rows of a mishap belong together?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survstats.groundwork.errors import NotEstimable

Correction = Literal["CR0", "CR1", "CR2"]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class ClusterCovariance:
    """Covariance (k, k) of the coefficients and the degrees of freedom (k,) of each."""

    covariance: Floats
    df: Floats

    @property
    def se(self) -> Floats:
        """Standard errors, shape (k,)."""
        return np.sqrt(np.diag(self.covariance))


def cluster_covariance(
    matrix: ArrayLike, residuals: ArrayLike, mishap_codes: ArrayLike, *, correction: Correction = "CR2"
) -> ClusterCovariance:
    """Sandwich covariance over mishaps.

    For a linear model ``matrix`` and ``residuals`` are its own; for a logistic one row i is scaled by
    sqrt(mu (1 - mu)) and its residual is (y - mu) / sqrt(mu (1 - mu)).  CR1 multiplies by g / (g - 1).  CR2
    takes each mishap's residuals through the symmetric Moore-Penrose root of (I - H)^-1 (Bell & McCaffrey
    2002; Pustejovsky & Tipton 2018, doi:10.1080/07350015.2016.1247004), with Satterthwaite degrees of
    freedom under independent rows; the others get g - 1.  No (n, n) or (g, g) array is made.

    Parameters
    ----------
    matrix : (n, k) array
        Of full column rank.
    residuals : (n,) array
    mishap_codes : (n,) array of int
        0 to g - 1.
    correction : {"CR0", "CR1", "CR2"}

    Raises
    ------
    NotEstimable
        ``one_mishap``.
    """
    x = np.asarray(matrix, dtype=float)
    e = np.asarray(residuals, dtype=float)
    codes = np.asarray(mishap_codes, dtype=np.int64)
    g, k = int(codes.max()) + 1, x.shape[1]
    if g < 2:
        raise NotEstimable("one_mishap", "Only one mishap: nothing shows how mishaps differ.")
    bread = np.linalg.inv(x.T @ x)
    if correction != "CR2":
        scores = np.zeros((g, k))
        np.add.at(scores, codes, x * e[:, None])
        factor = g / (g - 1) if correction == "CR1" else 1.0
        covariance = factor * bread @ scores.T @ scores @ bread
        return ClusterCovariance(covariance, np.full(k, float(g - 1)))
    scores, once, twice = _adjusted(x, e, codes, bread)
    return ClusterCovariance(bread @ scores.T @ scores @ bread, _satterthwaite(once, twice, bread))


def _adjusted(x: Floats, e: Floats, codes: NDArray[np.int64], bread: Floats) -> tuple[Floats, Floats, Floats]:
    """X'Ae (g, k), X'AX and X'AAX (g, k, k) of each mishap, A the root; one size at a time."""
    order = np.argsort(codes, kind="stable")
    sizes = np.bincount(codes)
    first = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    g, k = len(sizes), x.shape[1]
    scores, once, twice = np.empty((g, k)), np.empty((g, k, k)), np.empty((g, k, k))
    for size in np.unique(sizes):
        these = np.flatnonzero(sizes == size)
        rows = order[first[these][:, None] + np.arange(size)]
        block = x[rows]
        values, vectors = np.linalg.eigh(np.eye(size) - block @ bread @ block.transpose(0, 2, 1))
        usable = values > 1e-10
        root = np.where(usable, 1 / np.sqrt(np.where(usable, values, 1.0)), 0.0)
        turned = vectors.transpose(0, 2, 1) @ block
        scaled = root[:, :, None] * turned
        turned_e = (vectors.transpose(0, 2, 1) @ e[rows][:, :, None])[:, :, 0]
        scores[these] = np.einsum("gsk,gs->gk", scaled, turned_e)
        once[these] = turned.transpose(0, 2, 1) @ scaled
        twice[these] = scaled.transpose(0, 2, 1) @ scaled
    return scores, once, twice


def _satterthwaite(once: Floats, twice: Floats, bread: Floats) -> Floats:
    """tr(P'P)^2 / tr((P'P)^2) for each coefficient, where P'P = diag(q) - U B U' over mishaps."""
    df = np.empty(len(bread))
    for j, contrast in enumerate(bread):
        q = np.einsum("k,gkl,l->g", contrast, twice, contrast)
        u = once @ contrast
        quadratic = np.einsum("gk,kl,gl->g", u, bread, u)
        cross = bread @ u.T @ u
        trace = q.sum() - quadratic.sum()
        square = (q**2).sum() - 2 * (q * quadratic).sum() + (cross * cross.T).sum()
        df[j] = trace**2 / square
    return df
