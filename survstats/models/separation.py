"""Do the outcomes separate, so that maximum likelihood has no finite answer?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import linprog

from survstats.groundwork.errors import NotEstimable
from survstats.models.patterns import pattern_codes

Direction = Literal["finite", "plus_infinity", "minus_infinity"]


@dataclass(frozen=True)
class Separation:
    """Whether and where the likelihood has its maximum at infinity.

    Attributes
    ----------
    kind : {"none", "quasi", "complete"}
        Complete: some combination of the columns tells all outcomes apart; quasi: those of some rows.
    directions : tuple of {"finite", "plus_infinity", "minus_infinity"}
        For each of the k columns, where its coefficient runs.
    """

    kind: Literal["none", "quasi", "complete"]
    directions: tuple[Direction, ...]


def find_separation(matrix: ArrayLike, outcome: ArrayLike) -> Separation:
    """Kind of separation and direction of each coefficient, by linear programmes.

    A first programme asks whether any combination of columns is never on the wrong side (Konis 2007, thesis,
    University of Oxford), a second separates as many rows as can be separated at once, and a third finds the
    smallest combination that does so: the columns it needs are those that run to infinity.

    Parameters
    ----------
    matrix : (n, k) array
        Without aliased columns.
    outcome : (n,) array of 0 and 1

    Raises
    ------
    NotEstimable
        ``not_converged`` where a programme cannot be solved.
    """
    design = np.asarray(matrix, dtype=float)
    side = 2 * np.asarray(outcome, dtype=float) - 1
    scale = np.abs(design).max(axis=0)
    signed = design / np.where(scale > 0, scale, 1.0) * side[:, None]
    signed = signed[pattern_codes(signed)[1]]
    k = signed.shape[1]
    everyone = np.ones(len(signed), dtype=bool)
    if (signed @ _free_direction(signed, everyone)).max() < 1e-7:
        return Separation("none", ("finite",) * k)
    apart = _separable_rows(signed)
    smallest = _smallest_direction(signed, apart)
    kind: Literal["quasi", "complete"] = "complete" if apart.all() else "quasi"
    return Separation(kind, tuple(_direction(value) for value in smallest))


def _separable_rows(signed: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Rows that some combination puts strictly on the right side while it puts no row on the wrong one.

    Each turn finds a direction outside the span of those before, so there are at most k turns.
    """
    apart = np.zeros(len(signed), dtype=bool)
    while not apart.all():
        margins = signed @ _free_direction(signed, ~apart)
        fresh = ~apart & (margins > 1e-7)
        if not fresh.any():
            break
        apart |= fresh
    return apart


def _free_direction(signed: NDArray[np.float64], rows: NDArray[np.bool_]) -> NDArray[np.float64]:
    """The direction in the unit box that helps ``rows`` most and puts no row on the wrong side."""
    k = signed.shape[1]
    return _solve(-signed[rows].sum(axis=0), -signed, np.zeros(len(signed)), [(-1.0, 1.0)] * k)


def _smallest_direction(signed: NDArray[np.float64], apart: NDArray[np.bool_]) -> NDArray[np.float64]:
    """The direction of least absolute sum with margin 1 on the ``apart`` rows and none wrong."""
    k = signed.shape[1]
    both = np.hstack([-signed, signed])
    halves = _solve(np.ones(2 * k), both, -apart.astype(float), [(0.0, None)] * (2 * k))
    return halves[:k] - halves[k:]


def _direction(value: float) -> Direction:
    if abs(value) < 1e-7:
        return "finite"
    return "plus_infinity" if value > 0 else "minus_infinity"


def _solve(
    cost: NDArray[np.float64],
    upper: NDArray[np.float64],
    limit: NDArray[np.float64],
    bounds: list[tuple[float, float | None]],
) -> NDArray[np.float64]:
    answer = linprog(cost, A_ub=upper, b_ub=limit, bounds=bounds, method="highs")
    if answer.status != 0:
        raise NotEstimable("not_converged", "The search for separated outcomes did not finish.")
    return np.asarray(answer.x, dtype=float)
