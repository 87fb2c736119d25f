"""By when has which share met each cause, where some are lost from sight before any cause met them?

The curve is the Aalen-Johansen estimate, worked out as a weighted count: each event counts as one over the share of
people still in sight just before it.  That is the same number, and where nobody is lost from sight it is the plain
count.  Whoever met another cause is never taken for lost from sight; doing so is what makes one minus a Kaplan-Meier
curve too high.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.groundwork.resampling import LeaveOneOut, Weights

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
Bools = NDArray[np.bool_]

TILE_CELLS = 250_000  # times x replicates taken at a time
ALL_BUT = 1e-12  # so small a share of people in sight is the rounding of sums


@dataclass(frozen=True)
class Incidence:
    """Shares that have met each of q causes by each of j times.

    Attributes
    ----------
    times : ndarray of shape (j,)
        Every time at which something happened, lowest first.
    incidence : ndarray of shape (q, j)
        Share in [0, 1] that met cause 1 to q by then, that time included.
    at_risk : ndarray of shape (j,)
        People (or their weight) whom nothing had met before that time.
    """

    times: Floats
    incidence: Floats
    at_risk: Floats


def cumulative_incidence(time: ArrayLike, cause: ArrayLike, *, weights: ArrayLike | None = None) -> Incidence:
    """By when has which share met each cause?

    Parameters
    ----------
    time : array of shape (n,)
        Finite and not negative. At equal times, whatever the causes, all stand at risk together.
    cause : array of shape (n,)
        0 lost from sight then, without any cause; else the cause met, 1 to q. Whoever is lost from sight at the time
        of an event was still at risk of it.
    weights : array of shape (n,), optional
        How many people a row stands for.

    Raises
    ------
    NotEstimable
        ``no_rows``.
    CallError
        ``bad_time``, ``bad_cause``, ``lengths``.

    References
    ----------
    Aalen and Johansen 1978 (Scandinavian Journal of Statistics 5:141-150). As a weighted count: Satten and Datta 2001
    (doi:10.1198/000313001317098185). Both from memory.
    """
    seconds, causes = _checked(time, cause)
    each = np.ones(len(seconds)) if weights is None else np.asarray(weights, dtype=float)
    if each.shape != seconds.shape:
        raise CallError("lengths", "Times and weights are of different length.")
    if not each.sum() > 0:
        raise NotEstimable("no_rows", "No row is left to draw a curve of.")
    times, place = np.unique(seconds, return_inverse=True)
    met = np.zeros((max(int(causes.max()), 1) + 1, len(times)))
    np.add.at(met, (causes, place), each)
    lost, events = met[0], met[1:]
    total = met.sum()
    left = _left(events.sum(axis=0)[:, None], lost[:, None], np.array([total]))[:, 0]
    sight = _in_sight(lost[:, None], left[:, None])[:-1, 0]
    steps = np.divide(events, sight, out=np.zeros_like(events), where=events > 0)
    shares = np.minimum(np.cumsum(steps, axis=1) / total, 1.0)  # a sum of many parts may round past 1
    return Incidence(times, shares, left + events.sum(axis=0))


def incidence_refits(
    time: ArrayLike, cause: ArrayLike, codes: ArrayLike, weights: Weights, *, of: int, at: ArrayLike
) -> Floats:
    """Share that met cause ``of`` by each time in ``at``, shape (b, len(at)), under b sets of mishap weights.

    Parameters
    ----------
    time, cause : arrays of shape (n,)
        As for `cumulative_incidence`.
    codes : array of int, shape (n,)
        Mishap of each row, 0 to g - 1.
    weights : array of shape (b, g), or LeaveOneOut
    of : int
        The cause asked for.
    at : array-like
        The times asked for.

    Raises
    ------
    NotEstimable
        ``no_rows`` where a replicate holds nobody; ``beyond_follow_up`` where the last people it holds were lost from
        sight before the last time asked for.
    """
    asked = np.atleast_1d(np.asarray(at, dtype=float))

    def reached(times: Floats) -> Floats:
        return (times <= asked[:, None]).astype(float)

    return _refits(time, cause, codes, weights, of, float(asked.max()), reached)


def area_refits(
    time: ArrayLike, cause: ArrayLike, codes: ArrayLike, weights: Weights, *, of: int, until: float
) -> Floats:
    """Mean time up to ``until`` spent after having met cause ``of``, shape (b,): the area under its curve.

    Also called the restricted mean time lost to that cause. Parameters and exceptions as for `incidence_refits`.

    References
    ----------
    Andersen 2013 (doi:10.1002/sim.5903), from memory.
    """

    def seconds_after(times: Floats) -> Floats:
        return np.maximum(until - times, 0.0)[None]

    return _refits(time, cause, codes, weights, of, until, seconds_after)[:, 0]


def mishap_weights(codes: ArrayLike, weights: Weights, people: int) -> tuple[Codes, Floats | LeaveOneOut]:
    """The mishap codes (n,) of so many people and the weights (b, g) as the refits need them.

    Raises
    ------
    CallError
        ``lengths``, ``weights_shape``, ``negative_weight``.
    """
    mishap = np.asarray(codes, dtype=np.int64)
    if mishap.shape != (people,):
        raise CallError("lengths", "Times and mishap codes are of different length.")
    rows = weights if isinstance(weights, LeaveOneOut) else np.atleast_2d(np.asarray(weights, dtype=float))
    if people and not 0 <= mishap.min() <= mishap.max() < rows.shape[1]:
        raise CallError(
            "weights_shape", f"Weights were given for {rows.shape[1]} mishaps and the codes name others."
        )
    if not isinstance(rows, LeaveOneOut) and rows.size and not rows.min() >= 0:
        raise CallError("negative_weight", "A mishap weight is negative or missing.")
    return mishap, rows


def _refits(
    time: ArrayLike,
    cause: ArrayLike,
    codes: ArrayLike,
    weights: Weights,
    of: int,
    limit: float,
    counted: Callable[[Floats], Floats],
) -> Floats:
    """Sums (b, m) of the steps of the curve, each times what ``counted`` gives (m, j) for the times of the steps."""
    seconds, causes = _checked(time, cause)
    mishap, rows = mishap_weights(codes, weights, len(seconds))
    g = rows.shape[1]
    people = np.bincount(mishap, minlength=g).astype(float)
    times, place = np.unique(seconds, return_inverse=True)

    def of_mishaps(chosen: Bools) -> sparse.csc_array:
        table = (np.ones(int(chosen.sum())), (place[chosen], mishap[chosen]))
        return sparse.csc_array(table, shape=(len(times), g))

    early = seconds <= limit
    met, events = of_mishaps(early & (causes == of)), of_mishaps(early & (causes > 0))
    lost = of_mishaps((seconds < limit) & (causes == 0))
    share = counted(times)
    if not lost.nnz:  # nobody was lost from sight: the plain count
        return np.asarray(rows @ np.asarray(met.T @ share.T)) / _somebody(np.asarray(rows @ people))[:, None]
    found = np.empty((len(rows), len(share)))
    for part in _parts(len(rows), len(times)):
        total = _somebody(_sums(people[None], rows, part)[0])
        gone = _sums(lost, rows, part)
        left = _left(_sums(events, rows, part), gone, total)
        sight = _in_sight(gone, left)
        if np.any(sight[-1] == 0):
            raise NotEstimable("beyond_follow_up", "Nobody was followed up to the last time asked for.")
        found[part] = (share @ (_sums(met, rows, part) / sight[:-1]) / total).T
    return np.asarray(np.minimum(found, share.max(initial=0.0, axis=1)))


def _checked(time: ArrayLike, cause: ArrayLike) -> tuple[Floats, Codes]:
    seconds, met = np.asarray(time, dtype=float), np.asarray(cause)
    if seconds.ndim != 1 or seconds.shape != met.shape:
        raise CallError("lengths", "Times and causes are of different length.")
    if not len(seconds):
        raise NotEstimable("no_rows", "No row is left to draw a curve of.")
    if not (np.all(np.isfinite(seconds)) and seconds.min() >= 0):
        raise CallError("bad_time", "A time is missing, negative or without end.")
    causes = met.astype(np.int64)
    if np.any(causes != met) or causes.min() < 0:
        raise CallError("bad_cause", "A cause is not a whole number from 0 on.")
    return seconds, causes


def _left(events: Floats, lost: Floats, total: Floats) -> Floats:
    """People (j, b) at risk at each time whom no event of that time met."""
    return np.asarray(total - np.cumsum(events, axis=0) - np.cumsum(lost, axis=0) + lost)


def _in_sight(lost: Floats, left: Floats) -> Floats:
    """Share (j + 1, b) not yet lost from sight just before each time, and after the last."""
    blind = np.divide(lost, left, out=np.zeros_like(lost), where=lost > 0)
    blind[blind > 1 - ALL_BUT] = 1.0
    sight = np.ones((len(lost) + 1, lost.shape[1]))
    np.cumprod(1 - blind, axis=0, out=sight[1:])
    return sight


def _somebody(people: Floats) -> Floats:
    if not np.all(people > 0):
        raise NotEstimable("no_rows", "A refit has no row left to draw a curve of.")
    return people


def _sums(counts: sparse.csc_array | Floats, weights: Floats | LeaveOneOut, part: slice) -> Floats:
    """Weighted counts (j, b) in some replicates, of counts by mishap (j, g)."""
    if not isinstance(weights, LeaveOneOut):
        return np.asarray(counts @ weights[part].T)
    own = counts[:, part]
    return np.asarray(counts.sum(axis=1)[:, None] - (own if isinstance(own, np.ndarray) else own.toarray()))


def _parts(replicates: int, times: int) -> Iterator[slice]:
    size = max(1, TILE_CELLS // times)
    return (slice(first, min(first + size, replicates)) for first in range(0, replicates, size))
