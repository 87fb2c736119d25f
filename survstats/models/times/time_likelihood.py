"""How likely are the bands of time that were recorded, and which way does the likelihood rise?

The model is log T = x b + scale e.  It is worked with spread = 1 / scale and slopes = b / scale: in these the
log-likelihood is concave for all three distributions, whatever mixture of exact times, bands and one-sided limits the
rows hold (Pratt 1981, doi:10.1080/01621459.1981.10477613; Burridge 1982, doi:10.1093/biomet/69.1.145; both from
memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse

from survstats.groundwork.errors import CallError
from survstats.models.collapsed import gather
from survstats.models.packed import column_products, packing
from survstats.models.times.time_distributions import Distribution, standard

Floats = NDArray[np.float64]

CLOSED = 1e-6  # width over time below which a band is taken by its middle


@dataclass(frozen=True)
class TimeRows:
    """Rows that differ, in the order exact, band, above, below; rows that say nothing are not kept.

    Attributes
    ----------
    matrix : (p, k) array
    low, high : (p,) arrays
        Logarithms of the ends; minus infinity and infinity where there is none.
    half : (p,) array
        Half of high - low, without the rounding of either; 0 where it is exact.
    constant : (p,) array
        What an exact row adds to the log density of its logarithm.
    counts : (p, g) sparse array
        How many rows of each group are like this.
    bounds : tuple of int
        Where exact times end, bands end and times known from below end; the rest are known from above.
    """

    matrix: Floats
    low: Floats
    high: Floats
    half: Floats
    constant: Floats
    counts: sparse.csr_array
    bounds: tuple[int, int, int]

    @property
    def kinds(self) -> tuple[slice, slice, slice, slice]:
        """Exact times, bands, times known to lie above, times known to lie below."""
        exact, band, above = self.bounds
        return slice(0, exact), slice(exact, band), slice(band, above), slice(above, len(self.matrix))

    @cached_property
    def pairs(self) -> Floats:
        """Products of each pair of columns (p, k (k + 1) / 2)."""
        return column_products(self.matrix)


@dataclass(frozen=True)
class Ascent:
    """The log-likelihood of b replicates and how it rises.

    Attributes
    ----------
    value : (b,) array
    gradient : (k + 1, b) array
        With respect to slopes and spread.
    information : (k + 1, k + 1, b) array
        Minus the second derivatives.
    """

    value: Floats
    gradient: Floats
    information: Floats


def gather_times(matrix: ArrayLike, lo: ArrayLike, hi: ArrayLike, codes: ArrayLike, groups: int) -> TimeRows:
    """The rows as the likelihood needs them.

    Parameters
    ----------
    matrix : (n, k) array
    lo, hi : (n,) arrays
        The time lies in (lo, hi]; it is exact where both are equal. 0 and infinity stand for no limit.  A band narrower
        than a millionth of its time is taken by the density in its middle, which is the same to twelve digits.
    codes : (n,) array of int
        Group of each row, 0 to groups - 1.

    Raises
    ------
    CallError
        ``time_band`` where a band is missing, turned round, negative or an exact 0; ``rows_differ``.
    """
    design = np.asarray(matrix, dtype=float)
    start, end = np.asarray(lo, dtype=float), np.asarray(hi, dtype=float)
    if design.ndim != 2 or not len(design) == len(start) == len(end) == len(np.asarray(codes)):
        raise CallError("rows_differ", "Matrix, ends of the bands and groups do not have the same rows.")
    good = (start >= 0) & (end >= start) & (end > 0) & (start < np.inf) & np.isfinite(design).all(axis=1)
    if not good.all():
        raise CallError(
            "time_band", f"{int((~good).sum())} rows hold no band of time (lo, hi] with 0 <= lo <= hi."
        )
    told = (start > 0) | (end < np.inf)
    both = (start > 0) & (end < np.inf)
    kind = np.select([both & (end - start <= CLOSED * start), both, start > 0], [0, 1, 2], 3)
    rows = np.column_stack([design, start, end, kind])[told]
    patterns, counts = gather(rows, np.asarray(codes, dtype=np.int64)[told], groups)
    order = np.argsort(patterns[:, -1], kind="stable")
    patterns, counts = patterns[order], counts[order]
    exact, band, above = (int(np.sum(patterns[:, -1] <= last)) for last in (0, 1, 2))
    return TimeRows(
        np.ascontiguousarray(patterns[:, :-3]), *_logarithms(patterns), counts, (exact, band, above)
    )


def _logarithms(patterns: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Both ends, half the width and the constant of each row, as :class:`TimeRows` holds them."""
    start, end, closed = patterns[:, -3], patterns[:, -2], patterns[:, -1] == 0
    both = (start > 0) & (end < np.inf)
    half = np.zeros(len(start))
    half[both] = 0.5 * np.log1p((end[both] - start[both]) / start[both])
    with np.errstate(divide="ignore"):
        low, high = np.log(start), np.log(end)
    constant = np.where(closed, -low, 0.0)
    wide = closed & (half > 0)
    constant[wide] = np.log(2 * half[wide])
    low, high = np.where(closed, low + half, low), np.where(closed, low + half, high)
    return low, high, np.where(closed, 0.0, half), constant


def ascent(rows: TimeRows, weights: Floats, at: Floats, distribution: Distribution) -> Ascent:
    """Log-likelihood, gradient and information of each replicate.

    Parameters
    ----------
    rows : TimeRows
    weights : (p, b) array
        Of each row that differs in each replicate.
    at : (k + 1, b) array
        Slopes, then spread (> 0).
    """
    k = len(at) - 1
    linear, spread = rows.matrix @ at[:k], at[k]
    parts = np.empty((6, *weights.shape))
    exact, band, above, below = rows.kinds
    low, high = rows.low[:, None], rows.high[:, None]
    if exact.stop > exact.start:
        _exact(low[exact], rows.constant[exact, None], linear[exact], spread, distribution, parts[:, exact])
    if band.stop > band.start:
        half = rows.half[band, None]
        _band(low[band], half, linear[band], spread, distribution, parts[:, band])
    if above.stop > above.start:
        _above(low[above], linear[above], spread, distribution, parts[:, above])
    if below.stop > below.start:
        _below(high[below], linear[below], spread, distribution, parts[:, below])
    parts *= weights
    value, by_place, by_spread, places, mixed, spreads = parts
    information = np.empty((k + 1, k + 1, weights.shape[1]))
    information[:k, :k] = -(rows.pairs.T @ places)[packing(k).square]
    information[:k, k] = information[k, :k] = rows.matrix.T @ mixed
    information[k, k] = -spreads.sum(axis=0)
    gradient = np.vstack([-(rows.matrix.T @ by_place), by_spread.sum(axis=0)[None]])
    return Ascent(value.sum(axis=0), gradient, information)


def _exact(
    low: Floats, constant: Floats, linear: Floats, spread: Floats, distribution: Distribution, into: Floats
) -> None:
    """Log density of a time known exactly, on the scale of times."""
    form = standard(distribution)
    z = low * spread - linear
    bend = form.bend(z)
    into[0] = form.log_density(z) + np.log(spread) + constant
    into[1], into[2] = bend, bend * low + 1 / spread
    _curve(_bend_slope(z, distribution), low, into)
    into[5] -= 1 / spread**2


def _band(
    low: Floats, half: Floats, linear: Floats, spread: Floats, distribution: Distribution, into: Floats
) -> None:
    """Log share of a band, worked by its middle and half its width so that narrow bands lose no digits."""
    form = standard(distribution)
    a, width, middle = low * spread - linear, 2 * half * spread, low + half
    found = form.between(a, width)
    bent_start, bent_end = found.at_start * form.bend(a), found.at_end * form.bend(a + width)
    shift, widen = found.at_end - found.at_start, found.at_end + found.at_start
    shift_shift = bent_end - bent_start - shift**2
    shift_widen = bent_end + bent_start - shift * widen
    widen_widen = bent_end - bent_start - widen**2
    into[0], into[1], into[2] = found.log_share, shift, shift * middle + widen * half
    into[3], into[4] = shift_shift, shift_shift * middle + shift_widen * half
    into[5] = shift_shift * middle**2 + 2 * shift_widen * middle * half + widen_widen * half**2


def _above(low: Floats, linear: Floats, spread: Floats, distribution: Distribution, into: Floats) -> None:
    """Log share above a limit."""
    form = standard(distribution)
    z = low * spread - linear
    rate = form.above_rate(z)
    into[0], into[1], into[2] = form.log_above(z), -rate, -rate * low
    _curve(-rate * (form.bend(z) + rate), low, into)


def _below(high: Floats, linear: Floats, spread: Floats, distribution: Distribution, into: Floats) -> None:
    """Log share below a limit."""
    form = standard(distribution)
    z = high * spread - linear
    rate = form.below_rate(z)
    into[0], into[1], into[2] = form.log_below(z), rate, rate * high
    _curve(rate * (form.bend(z) - rate), high, into)


def _curve(second: Floats, log_time: Floats, into: Floats) -> None:
    into[3], into[4], into[5] = second, second * log_time, second * log_time**2


def _bend_slope(z: Floats, distribution: Distribution) -> Floats:
    """Second derivative of the log density."""
    if distribution == "lognormal":
        return -np.ones_like(z)
    bend = standard(distribution).bend(z)
    return bend - 1 if distribution == "weibull" else -0.5 * (1 - bend**2)
