"""Who is still at risk at each time of an event, and what do their values sum to?

Every row is at risk at a run of event times that stand side by side, so sums over the rows at risk are running sums
over event times, and sums over the times a row was at risk are differences of running sums: both cost as much as there
are rows, however the strata are cut.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.models.times.cox_sums import grouped_sums, members, running_sums

Ties = Literal["efron", "breslow"]
Floats = NDArray[np.float64]
Places = NDArray[np.intp]

ROUNDED = 1e-12  # of a column's largest value: what is left of it within a stratum is rounding


@dataclass(frozen=True)
class Moments:
    """Rows and risk sets under some coefficients.

    Attributes
    ----------
    linear : (n,) array
        Linear predictor less the largest of the row's stratum.
    risk : (n,) array
        Weight times its exponential.
    total : (e,) array
        Sum of these over the risk set of each event.
    mean : (e, k) array
        Mean covariates of that risk set.
    """

    linear: Floats
    risk: Floats
    total: Floats
    mean: Floats


@dataclass(frozen=True)
class RiskSets:
    """Rows of a proportional hazards model, and the event times at which each was at risk.

    Attributes
    ----------
    matrix : (n, k) array
        Covariates less their mean in the row's stratum, which moves no coefficient.
    time, entry : (n,) arrays
        When each row left, and when it came; minus infinity where nobody came late.
    weights : (n,) array
    stratum : (n,) array of int
        0 to s - 1.
    events : (e,) array of int
        Which rows had the event, in order of their event times.
    place : (e,) array of int
        The event time of each of them, 0 to j - 1; strata stand one after the other.
    times : (j,) array
    starts : (s + 1,) array of int
        Where the event times of each stratum begin.
    first, last : (n,) arrays of int
        A row is at risk at the event times from ``first`` up to, and without, ``last``.
    fraction : (e,) array
        How much of those that share its time an event leaves out of its risk set: 0 under Breslow's handling of
        ties; 0, 1/m, 2/m ... of m under Efron's (Efron 1977, doi:10.1080/01621459.1977.10480613).
    mean_weight : (e,) array
        Of the events that share its time.
    """

    matrix: Floats
    time: Floats
    entry: Floats
    weights: Floats
    stratum: Places
    events: Places
    place: Places
    times: Floats
    starts: Places
    first: Places
    last: Places
    fraction: Floats
    mean_weight: Floats

    @classmethod
    def of(
        cls,
        matrix: ArrayLike,
        time: ArrayLike,
        event: ArrayLike,
        *,
        strata: ArrayLike | None = None,
        entry: ArrayLike | None = None,
        weights: ArrayLike | None = None,
        ties: Ties = "efron",
    ) -> RiskSets:
        """Order the rows; see :func:`survstats.models.times.cox.fit_cox` for what each argument means.

        Raises
        ------
        NotEstimable
            ``no_rows``, ``missing_value``, ``one_outcome`` without any event.
        CallError
            ``shape``, ``not_binary``, ``not_positive``, ``order`` where a row would leave before it came.
        """
        x, t, had = _checked(matrix, time, event)
        w = np.ones(len(t)) if weights is None else np.asarray(weights, dtype=float)
        stratum = np.zeros(len(t), dtype=np.intp)
        if strata is not None:
            stratum = np.unique(np.asarray(strata), return_inverse=True)[1].astype(np.intp)
        came = None if entry is None else np.asarray(entry, dtype=float)
        _check_rows(t, w, stratum, came)
        had = had & (w > 0)
        if not had.any():
            raise NotEstimable("one_outcome", "Nobody had the event.")
        events = np.flatnonzero(had)
        events = events[np.lexsort((t[events], stratum[events]))]
        fresh = np.r_[True, (np.diff(t[events]) != 0) | (np.diff(stratum[events]) != 0)]
        place = np.cumsum(fresh) - 1
        heads = events[fresh]
        starts = np.searchsorted(stratum[heads], np.arange(stratum.max() + 2))
        passed = _Passed(t[heads], stratum[heads])
        last = passed.by(t, stratum)
        first = starts[stratum] if came is None else passed.by(came, stratum)
        size = np.bincount(place)
        turn = np.arange(len(place)) - np.flatnonzero(fresh)[place]
        sums = np.bincount(place, weights=w[events])
        return cls(
            matrix=_centred(x, w, stratum),
            time=t,
            entry=np.full(len(t), -np.inf) if came is None else came,
            weights=w,
            stratum=stratum,
            events=events,
            place=place,
            times=t[heads],
            starts=starts,
            first=first,
            last=last,
            fraction=turn / size[place] if ties == "efron" else np.zeros(len(place)),
            mean_weight=sums[place] / size[place],
        )

    def moments(self, beta: Floats) -> Moments:
        """Linear predictors, and totals and means of each event's risk set, at the coefficients (k,)."""
        linear = self.matrix @ beta
        largest = np.full(len(self.starts) - 1, -np.inf)
        there = self.weights > 0
        np.maximum.at(largest, self.stratum[there], linear[there])
        linear = np.minimum(linear - largest[self.stratum], 0.0)  # above it only rows of no weight
        risk = self.weights * np.exp(linear)
        both = np.column_stack([risk, risk[:, None] * self.matrix])
        sums = self.at_risk(both)[self.place]
        if self.fraction.any():
            sums -= self.fraction[:, None] * self.at_place(both[self.events])[self.place]
        return Moments(linear, risk, sums[:, 0], sums[:, 1:] / sums[:, :1])

    def at_risk(self, values: Floats) -> Floats:
        """Sums (j, ...) of the values (n, ...) of the rows at risk at each event time."""
        gone, come = self._ends
        backwards = len(self.times) - self.starts[::-1]
        sums = running_sums((gone @ values)[::-1], backwards)[::-1]
        return sums - running_sums((come @ values)[::-1], backwards)[::-1] if come.nnz else sums

    def while_at_risk(self, values: Floats) -> Floats:
        """Sums (n, ...) of the values (j, ...) over the event times at which each row was at risk."""
        running = running_sums(values, self.starts)
        edge = np.concatenate([np.zeros((1, *running.shape[1:])), running])
        begin = self.starts[self.stratum]
        sums = edge[np.where(self.last > begin, self.last, 0)]
        return np.asarray(sums - edge[np.where(self.first > begin, self.first, 0)])

    def at_place(self, values: Floats) -> Floats:
        """Sums (j, ...) of values (e, ...) of the events that share a time."""
        return np.asarray(self._sharing @ values)

    @cached_property
    def _ends(self) -> tuple[sparse.csr_array, sparse.csr_array]:
        """Which rows (j, n) were at risk at an event time and not at the next, and which the other way round."""
        begin, count, there = self.starts[self.stratum], len(self.times), self.last > self.first
        gone = members(self.last - 1, count, of=there & (self.last > begin))
        return gone, members(self.first - 1, count, of=there & (self.first > begin))

    @cached_property
    def _sharing(self) -> sparse.csr_array:
        return members(self.place, len(self.times))


@dataclass(frozen=True)
class _Passed:
    """Event times (j,), stratum after stratum."""

    times: Floats
    stratum: Places

    def by(self, time: Floats, stratum: Places) -> Places:
        """How many event times lie before each row's stratum or, within it, no later than its time."""
        known = np.unique(self.times)
        wide = len(known) + 1
        mine = self.stratum * wide + np.searchsorted(known, self.times, side="right")
        rows = stratum * wide + np.searchsorted(known, time, side="right")
        return np.searchsorted(mine, rows, side="right")


def _centred(x: Floats, w: Floats, stratum: Places) -> Floats:
    """Covariates (n, k) less the mean of their stratum; exactly 0 where they do not vary in it."""
    sums = grouped_sums(np.column_stack([x, np.ones(len(x))]) * w[:, None], stratum, int(stratum.max()) + 1)
    means = sums[:, :-1] / np.where(sums[:, -1:] > 0, sums[:, -1:], 1.0)
    centred = x - means[stratum]
    return np.where(np.abs(centred) > ROUNDED * np.abs(x).max(axis=0), centred, 0.0)


def _checked(
    matrix: ArrayLike, time: ArrayLike, event: ArrayLike
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    x, t, had = (np.asarray(values, dtype=float) for values in (matrix, time, event))
    if x.ndim != 2 or t.shape != (len(x),) or had.shape != t.shape:
        raise CallError("shape", "A matrix needs one row, one time and one event for each person.")
    if not len(t):
        raise NotEstimable("no_rows", "There are no rows.")
    if not (np.isfinite(x).all() and np.isfinite(t).all() and np.isfinite(had).all()):
        raise NotEstimable("missing_value", "A covariate, a time or an event is missing.")
    if not np.isin(had, (0.0, 1.0)).all():
        raise CallError("not_binary", "Events are 0 and 1.")
    return x, t, had == 1


def _check_rows(time: Floats, weights: Floats, stratum: Places, entry: Floats | None) -> None:
    if weights.shape != time.shape or stratum.shape != time.shape:
        raise CallError("shape", "Weights and strata need one value for each row.")
    if not np.isfinite(weights).all() or (weights < 0).any():
        raise CallError("not_positive", "Weights are numbers of 0 or more.")
    if entry is not None and (entry.shape != time.shape or not (entry < time).all()):
        raise CallError("order", "Every row enters before it leaves.")
