"""By when was which share out, where times are known to lie in bands and some never come out?

Bands are half open, (lo, hi]; a time known to the point has lo = hi.  The likeliest curve puts its mass into boxes, the
places where most bands meet, and on a point at infinity for those who never come out.  Within a box the data do not
say where the mass lies, so a curve has a least and a most height.  The mass of each box is unique, since ends of bands
lead from each edge of a box down to the first; only somebody of whom it is not known whether the time ever comes, last
seen after everything else, may have it late or never, which the data then cannot tell apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import overload

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.groundwork.resampling import Weights
from survstats.models.times.curves import mishap_weights
from survstats.models.times.likeliest_masses import likeliest_masses

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

EXACT, CLOSES, OPENS, NEVER = 0, 1, 2, 3  # order of the ends of bands at the same time


@dataclass(frozen=True)
class IntervalCurve:
    """Boxes that hold the mass of the times, and the mass at infinity.

    Attributes
    ----------
    left, right : ndarray of shape (j,)
        Box (left, right]; a point where they are equal; right is infinite for some finite time, not known which.
    mass : ndarray of shape (j,)
        Share of people whose time lies in the box.
    at_infinity : float
        Share that never comes out; all masses sum to 1.
    log_likelihood : float
    unique : bool
        Whether only these masses are the likeliest. If not, the last box goes on without end, and what lies in it and
        at infinity (given as halves) may lie in either.
    """

    left: Floats
    right: Floats
    mass: Floats
    at_infinity: float
    log_likelihood: float
    unique: bool


@dataclass(frozen=True)
class IntervalRefits:
    """Masses of b replicates in the boxes of the whole set: ``mass`` (b, j) and ``at_infinity`` (b,)."""

    left: Floats
    right: Floats
    mass: Floats
    at_infinity: Floats


@dataclass(frozen=True)
class _Bands:
    """Boxes, those each pattern allows for (p, j + 1), each row's pattern, and whether the last two boxes are alike."""

    left: Floats
    right: Floats
    allowed: Floats
    pattern: NDArray[np.intp]
    late_or_never: bool


def interval_curve(
    lo: ArrayLike, hi: ArrayLike, ever: ArrayLike, *, weights: ArrayLike | None = None
) -> IntervalCurve:
    """Which masses in which boxes are likeliest?

    Parameters
    ----------
    lo, hi : arrays of shape (n,)
        The time lies in (lo, hi], or at lo where both are equal; hi may be infinite. Not looked at where ``ever`` is 0;
        where it is not known, (lo, never].
    ever : array of shape (n,)
        1 the time is finite, 0 it never comes, NaN not known.
    weights : array of shape (n,), optional
        How many people a row stands for.

    Raises
    ------
    NotEstimable
        ``no_rows``, ``not_converged``.
    CallError
        ``bad_time``, ``lengths``.

    References
    ----------
    Turnbull 1976 (doi:10.1111/j.2517-6161.1976.tb01597.x); uniqueness: Gentleman and Geyer 1994
    (doi:10.1093/biomet/81.3.618). Both from memory.
    """
    low, high, out = (np.asarray(values, dtype=float) for values in (lo, hi, ever))
    each = np.ones(len(low)) if weights is None else np.asarray(weights, dtype=float)
    if not each.shape == low.shape == high.shape == out.shape:
        raise CallError("lengths", "Bands and weights are of different length.")
    if not np.all(each >= 0):
        raise CallError("negative_weight", "A weight is negative or missing.")
    there = each > 0
    bands = _bands(low[there], high[there], out[there])
    people = np.bincount(bands.pattern, weights=each[there]).astype(float)
    found = likeliest_masses(bands.allowed, people[None])
    mass = found.mass[0]
    unique = not (bands.late_or_never and mass[-1] + mass[-2] > 0)
    told = float(found.log_likelihood[0])
    return IntervalCurve(bands.left, bands.right, mass[:-1], float(mass[-1]), told, unique)


def interval_refits(
    lo: ArrayLike, hi: ArrayLike, ever: ArrayLike, codes: ArrayLike, weights: Weights
) -> IntervalRefits:
    """The masses under each set of mishap weights, all in the boxes of the whole set.

    What a replicate cannot tell apart is split as in the whole set.

    Parameters
    ----------
    lo, hi, ever : arrays of shape (n,)
        As for `interval_curve`.
    codes : array of int, shape (n,)
        Mishap of each row, 0 to g - 1.
    weights : array of shape (b, g), or LeaveOneOut

    Raises
    ------
    NotEstimable
        ``no_rows`` where a replicate holds nobody, ``not_converged``.
    """
    bands = _bands(lo, hi, ever)
    mishap, rows = mishap_weights(codes, weights, len(bands.pattern))
    table = (np.ones(len(mishap)), (mishap, bands.pattern))
    counts = sparse.csr_array(table, shape=(rows.shape[1], len(bands.allowed))).toarray()
    whole = likeliest_masses(bands.allowed, counts.sum(axis=0)[None])
    found = likeliest_masses(bands.allowed, np.asarray(rows @ counts), leaning=whole.mass[0])
    return IntervalRefits(bands.left, bands.right, found.mass[:, :-1], found.mass[:, -1])


def curve_bounds(curve: IntervalCurve | IntervalRefits, at: ArrayLike) -> tuple[Floats, Floats]:
    """Least and most share out by each of some times, shape (len(at),) or (b, len(at)).

    The mass of a box lies at its end for the least, at its beginning for the most. Of a curve that is not unique it is
    the least and the most over all likeliest masses; of replicates the masses given are looked at.
    """
    asked = np.atleast_1d(np.asarray(at, dtype=float))[:, None]
    late = curve.right <= asked
    early = late | (curve.left < asked)
    fewest, most = _masses(curve)
    return np.asarray(fewest @ late.T), np.asarray(most @ early.T)


@overload
def area_bounds(curve: IntervalCurve, *, until: float) -> tuple[float, float]: ...
@overload
def area_bounds(curve: IntervalRefits, *, until: float) -> tuple[Floats, Floats]: ...
def area_bounds(
    curve: IntervalCurve | IntervalRefits, *, until: float
) -> tuple[float, float] | tuple[Floats, Floats]:
    """Least and most mean time out within the first ``until``: of a curve, or of b replicates, shape (b,)."""
    fewest, most = _masses(curve)
    late, early = (np.maximum(until - end, 0.0) for end in (curve.right, curve.left))
    if isinstance(curve, IntervalCurve):
        return float(fewest @ late), float(most @ early)
    return np.asarray(fewest @ late), np.asarray(most @ early)


def _masses(curve: IntervalCurve | IntervalRefits) -> tuple[Floats, Floats]:
    """The likeliest masses in boxes with fewest people out, and with most."""
    if isinstance(curve, IntervalRefits) or curve.unique:
        return curve.mass, curve.mass
    fewest, most = curve.mass.copy(), curve.mass.copy()
    fewest[-1] = 0.0
    most[-1] += curve.at_infinity
    return fewest, most


def _bands(lo: ArrayLike, hi: ArrayLike, ever: ArrayLike) -> _Bands:
    """The patterns of the rows and the boxes where they meet."""
    low, high, out = (np.asarray(values, dtype=float) for values in (lo, hi, ever))
    if not low.shape == high.shape == out.shape or low.ndim != 1:
        raise CallError("lengths", "The ends of the bands are of different length.")
    if not len(low):
        raise NotEstimable("no_rows", "No row is left to draw a curve of.")
    never, unknown = out == 0, np.isnan(out)
    low, high = np.where(never, np.inf, low), np.where(never | unknown, np.inf, high)
    bad = ~(never | unknown | (out == 1)) | ~(low <= high) | (low < 0) | (np.isinf(low) & ~never)
    if np.any(bad):
        raise CallError("bad_time", "A band is missing, negative or ends before it begins.")
    rows = np.column_stack([low, high, np.where(never, 2.0, unknown)])
    seen, pattern = np.unique(rows, axis=0, return_inverse=True)
    low, high, kind = seen.T
    begins = np.where(low == high, EXACT, OPENS)
    ends = np.where(kind > 0, NEVER, CLOSES)
    begins[kind == 2] = OPENS
    left, opening, right, closing = _boxes(low, begins, high, ends)
    after = (left > low[:, None]) | ((left == low[:, None]) & (opening >= begins[:, None]))
    before = (right < high[:, None]) | ((right == high[:, None]) & (closing <= ends[:, None]))
    allowed = (after & before).astype(float)
    alike = bool(len(left) > 1 and np.array_equal(allowed[:, -1], allowed[:, -2]))
    return _Bands(left[:-1], right[:-1], allowed, pattern.ravel(), alike)


def _boxes(
    low: Floats, begins: NDArray[np.int64], high: Floats, ends: NDArray[np.int64]
) -> tuple[Floats, NDArray[np.int64], Floats, NDArray[np.int64]]:
    """Where the next end after a beginning is an end: left and right ends and their kinds; never comes last."""
    value, kind = np.concatenate([low, high]), np.concatenate([begins, ends])
    is_end = np.arange(len(value)) >= len(low)
    order = np.lexsort((is_end, kind, value))
    value, kind, is_end = value[order], kind[order], is_end[order]
    first = np.flatnonzero(~is_end[:-1] & is_end[1:])
    left, opening, right, closing = value[first], kind[first], value[first + 1], kind[first + 1]
    if np.isinf(left[-1]):  # people who never come out are among the rows
        return left, opening, right, closing
    # else never is a place of its own, so that a box (left, never] is split: some time, or never
    left, right = np.append(left, np.inf), np.append(right, np.inf)
    return left, np.append(opening, OPENS), right, np.append(closing, NEVER)
