"""Where does a log-likelihood of times reach its top, for many weightings of the rows at once?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survstats.models.packed import packing
from survstats.models.small_systems import Factored, factor, identified, pivots_and_lost
from survstats.models.times.time_distributions import Distribution
from survstats.models.times.time_likelihood import Ascent, TimeRows, ascent

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Places = NDArray[np.intp]

RUNAWAY = 1e-9  # information below this share of what the columns hold: off to infinity
ARRIVED = 1e-7  # last step, in standard errors; what it leaves is of the order of its square
ENOUGH = 1e-4  # share of the promised rise that a step must bring
ROUNDING = 1e-12  # of the log-likelihood, which a step may lose to rounding
PASSES = 100
SHORTEST = 1e-10  # share of a step below which nothing is gained
LEAST_SPREAD = 0.2  # a step never takes the spread below this share of where it was


@dataclass(frozen=True)
class Columns:
    """What the columns hold in each of b replicates.

    Attributes
    ----------
    pivots : (k, b) array
        Of the weighted Gram matrices.
    lost : (k, b) bool array
        Columns that hold nothing beyond those before them; their coefficient stays 0.
    identified : (b, k) bool array
        Whether the rows can tell the coefficient.
    """

    pivots: Floats
    lost: Bools
    identified: Bools


@dataclass(frozen=True)
class Top:
    """Where b replicates ended.

    Attributes
    ----------
    at : (q, b) array
        The last one is the spread, 1 / scale.
    value : (b,) array
        Log-likelihood.
    information : (q, q, b) array
        One step, shorter than 1e-7 standard errors, before the end.
    converged : (b,) bool array
    """

    at: Floats
    value: Floats
    information: Floats
    converged: Bools


def columns_of(pairs: Floats, weights: Floats, k: int) -> Columns:
    """What k columns hold, from the products of their pairs (p, k (k + 1) / 2) and the weights (p, b)."""
    gram = (pairs.T @ weights)[packing(k).square]
    pivots, lost = pivots_and_lost(gram)
    return Columns(pivots, lost, identified(gram, lost))


def climb_times(
    rows: TimeRows, weights: Floats, start: Floats, distribution: Distribution
) -> tuple[Top, Columns]:
    """The top of the likelihood of the times, from ``start`` (k + 1, b), under row weights (p, b)."""
    columns = columns_of(rows.pairs, weights, len(start) - 1)

    def evaluate(places: Places, at: Floats) -> Ascent:
        return ascent(rows, weights[:, places], at, distribution)

    return climb(evaluate, start, columns.pivots, columns.lost, weights.sum(axis=0)), columns


def climb(
    evaluate: Callable[[Places, Floats], Ascent],
    start: Floats,
    pivots: Floats,
    lost: Bools,
    total: Floats,
) -> Top:
    """Newton's method with halved steps, replicates side by side.

    Where the likelihood does not curve downward enough (far from the top, or towards a top at infinity), the step goes
    by the size of the curvature, and a replicate that rises no further there has not arrived.

    Parameters
    ----------
    evaluate : function of places and positions (q, .)
        Log-likelihood, gradient and information of some replicates.
    start : (q, b) array
    pivots, lost : (q - 1, b) arrays
        Of all coefficients but the spread, as in :class:`Columns`.
    total : (b,) array
        Weight of the rows with a time.
    """
    q, b = start.shape
    skip = np.vstack([lost, np.zeros((1, b), dtype=bool)])
    at = np.where(skip, 0.0, start)
    value, held = np.full(b, -np.inf), np.zeros((q, q, b))
    step, rise, share = np.zeros_like(at), np.zeros(b), np.ones(b)
    converged, active = np.zeros(b, dtype=bool), np.flatnonzero(total > 0)
    for _ in range(PASSES):
        if not active.size:
            break
        trial = at[:, active] + share[active] * step[:, active]
        with np.errstate(all="ignore"):
            here = evaluate(active, trial)
            wanted = value[active] + ENOUGH * share[active] * rise[active] - ROUNDING * np.abs(here.value)
            better = (here.value >= wanted) & np.isfinite(here.information).all(axis=(0, 1))
        share[active[~better]] /= 2
        moved = active[better]
        at[:, moved], value[moved] = trial[:, better], here.value[better]
        held[:, :, moved] = here.information[:, :, better]
        floor = RUNAWAY * np.vstack([pivots[:, moved], total[moved] / at[-1:, moved] ** 2])
        gradient = np.where(skip[:, moved], 0.0, here.gradient[:, better])
        ready = factor(held[:, :, moved], skip[:, moved], floor) if moved.size else None
        if ready is not None:
            step[:, moved] = _steps(ready, held[:, :, moved], skip[:, moved], floor, gradient)
            rise[moved] = np.einsum("ib,ib->b", step[:, moved], gradient)
            share[moved] = _room(at[-1, moved], step[-1, moved])
            ended = rise[moved] < ARRIVED**2
            done = moved[ended & ~ready.gone]
            at[:, done] += step[:, done]
            value[done] += rise[done] / 2
            converged[done] = True
            active = np.setdiff1d(active, moved[ended])
        active = active[share[active] > SHORTEST]
    return Top(at, value, held, converged)


def _steps(ready: Factored, information: Floats, skip: Bools, floor: Floats, gradient: Floats) -> Floats:
    """Newton's steps (q, b); where the likelihood hardly curves downward, by the size of its curvature."""
    step = ready.solve(gradient)
    for place in np.flatnonzero(ready.gone):
        kept = ~skip[:, place]
        size = np.sqrt(np.maximum(floor[kept, place] / RUNAWAY, 1e-300))
        values, vectors = np.linalg.eigh(information[:, :, place][np.ix_(kept, kept)] / np.outer(size, size))
        curved = np.maximum(np.abs(values), 1e-3)
        step[:, place] = 0.0
        step[kept, place] = vectors @ ((vectors.T @ (gradient[kept, place] / size)) / curved) / size
    return step


def _room(spread: Floats, step: Floats) -> Floats:
    """Share of each step that keeps the spread above its least."""
    with np.errstate(divide="ignore", invalid="ignore"):
        room = (1 - LEAST_SPREAD) * spread / -step
    return np.where(step < 0, np.minimum(1.0, room), 1.0)
