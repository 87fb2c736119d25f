"""On which mishaps does a model lean, and how much do the records hold for it?

How well it foretells mishaps it has not seen is told by :mod:`~survstats.models.calibration`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.models.calibration import calibration

Floats = NDArray[np.float64]

__all__ = [
    "MishapInfluence",
    "calibration",
    "events_per_parameter",
    "influence",
    "leverage_by_mishap",
    "out_of_mishap_risk",
]


@dataclass(frozen=True)
class MishapInfluence:
    """What one mishap does to a number.

    Attributes
    ----------
    mishap : object
        Its label.
    occupants : int
    leverage : float
        Its share of the k coefficients: trace of its block of the hat matrix; all mishaps' sum to k.
    change : float
        The number without this mishap minus the number with all, in its own unit.
    """

    mishap: object
    occupants: int
    leverage: float
    change: float


def leverage_by_mishap(matrix: ArrayLike, codes: ArrayLike, coefficients: ArrayLike) -> Floats:
    """How much of the k coefficients each mishap settles: trace of its block of the hat matrix, shape (g,).

    Parameters
    ----------
    matrix : (n, k) array
        Of full column rank.
    codes : (n,) array of int
        0 to g - 1.
    coefficients : (k,) array
        Of the logistic model; they give each row its weight (Preisser and Qaqish 1996, doi:10.1093/biomet/83.3.551,
        for clusters).

    Raises
    ------
    NotEstimable
        ``separated`` where the risks are so near to 0 and 1 that no information is left.
    """
    design, mishap = np.asarray(matrix, dtype=float), np.asarray(codes, dtype=np.int64)
    linear = design @ np.asarray(coefficients, dtype=float)
    weighted = design * np.sqrt(expit(linear) * expit(-linear))[:, None]
    try:
        root = np.linalg.cholesky(weighted.T @ weighted)
    except np.linalg.LinAlgError as trouble:
        raise NotEstimable("separated", "The predicted risks leave no information.") from trouble
    whitened = np.linalg.solve(root, weighted.T)
    return np.asarray(np.bincount(mishap, weights=(whitened**2).sum(axis=0)), dtype=float)


def influence(
    point: float,
    replicates: ArrayLike,
    *,
    leverage: ArrayLike,
    codes: ArrayLike,
    labels: Sequence[object],
) -> tuple[MishapInfluence, ...]:
    """What each mishap does to a number, the largest change first (equal ones in the order of the mishaps).

    Parameters
    ----------
    point : float
        The number from all mishaps.
    replicates : (g,) array
        The number with mishap j left out: those of the jackknife.
    leverage : (g,) array
        From :func:`leverage_by_mishap`.
    codes : (n,) array of int
        0 to g - 1.
    labels : sequence of length g

    Raises
    ------
    CallError
        ``lengths`` where these do not speak of the same mishaps.
    """
    values, hold = np.asarray(replicates, dtype=float), np.asarray(leverage, dtype=float)
    occupants = np.bincount(np.asarray(codes, dtype=np.int64))
    if not len(values) == len(hold) == len(occupants) == len(labels):
        raise CallError("lengths", "The replicates, leverages, codes and labels are of different mishaps.")
    change = values - point
    order = np.lexsort((np.arange(len(change)), -np.abs(change).round(12)))
    return tuple(
        MishapInfluence(labels[j], int(occupants[j]), float(hold[j]), float(change[j])) for j in order
    )


def out_of_mishap_risk(matrix: ArrayLike, codes: ArrayLike, left_out: ArrayLike) -> Floats:
    """Each person's risk by the model that never saw their mishap, shape (n,), in [0, 1].

    Parameters
    ----------
    matrix : (n, k) array
    codes : (n,) array of int
        0 to g - 1.
    left_out : (g, k) array
        Coefficients with mishap j left out.
    """
    design, mishap = np.asarray(matrix, dtype=float), np.asarray(codes, dtype=np.int64)
    return np.asarray(expit(np.einsum("nk,nk->n", design, np.asarray(left_out, dtype=float)[mishap])))


def events_per_parameter(outcome: ArrayLike, columns: int) -> float:
    """People of the rarer outcome for each design column beside the intercept.

    Infinite without such a column.  That ten suffice is common practice; how little the number says by itself
    is told by van Smeden et al. 2016, doi:10.1186/s12874-016-0267-3.

    Parameters
    ----------
    outcome : (n,) array of 0 and 1
    columns : int
        Design columns without the intercept.
    """
    values = np.asarray(outcome, dtype=float)
    rarer = min(float(values.sum()), float(len(values) - values.sum()))
    return rarer / columns if columns else float("inf")
