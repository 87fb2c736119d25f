"""Comparing people in the same mishap only: by what odds ratio, and in how many mishaps?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import gammaln, logsumexp

from survstats.groundwork.errors import CallError, NotEstimable

Floats = NDArray[np.float64]

FEWEST = 3  # informative mishaps


@dataclass(frozen=True)
class WithinTally:
    """Raw counts of informative mishaps: those with both outcomes and both exposures aboard.

    Attributes
    ----------
    informative, better, worse, tied : int
        ``better``: the exposed had the larger share of outcome 1; better + worse + tied = informative.
    rows : int
        Rows in informative mishaps.
    mishaps : int
        All mishaps given.
    """

    informative: int
    better: int
    worse: int
    tied: int
    rows: int
    mishaps: int


@dataclass(frozen=True)
class WithinMishap:
    """The exact within-mishap comparison; odds ratios are on the log scale.

    Attributes
    ----------
    log_odds_ratio : float
        Conditional maximum likelihood; infinite where the exposed did as well, or as badly, as could be.
    exact_low, exact_high : float
        Exact limits (each tail (1 - level) / 2); infinite ones mean "no limit".
    mid_p_low, mid_p_high : float
        Limits that count half the probability of what was seen.
    p_better, p_worse : float
        Exact one-sided p: chance of as many or more (as many or fewer) exposed successes without association.
    exposed_successes : int
        The statistic t, over informative mishaps.
    level : float
    tally : WithinTally
    """

    log_odds_ratio: float
    exact_low: float
    exact_high: float
    mid_p_low: float
    mid_p_high: float
    p_better: float
    p_worse: float
    exposed_successes: int
    level: float
    tally: WithinTally


def within_tally(outcome: ArrayLike, exposure: ArrayLike, cluster: ArrayLike) -> WithinTally:
    """In how many informative mishaps the exposed did better, worse, or the same.

    Parameters
    ----------
    outcome, exposure : (n,) arrays of 0 and 1
    cluster : (n,) array
        Mishap labels.

    Raises
    ------
    CallError
        ``not_binary``.
    """
    tables = _tables(outcome, exposure, cluster)
    known = tables[_informative(tables)]
    rest = known["rows"] - known["exposed"]
    # shares compared in whole numbers: a / exposed against (successes - a) / rest
    gap = (known["both"] * rest - (known["successes"] - known["both"]) * known["exposed"]).to_numpy()
    return WithinTally(
        informative=len(known),
        better=int((gap > 0).sum()),
        worse=int((gap < 0).sum()),
        tied=int((gap == 0).sum()),
        rows=int(known["rows"].sum()),
        mishaps=len(tables),
    )


def exact_within(
    outcome: ArrayLike, exposure: ArrayLike, cluster: ArrayLike, *, level: float = 0.95
) -> WithinMishap:
    """Log odds ratio of a binary exposure among people of the same mishap, with exact limits.

    Given a mishap's margins the exposed successes follow a non-central hypergeometric distribution; their
    sum over mishaps follows the convolution (Breslow & Day 1980, IARC Scientific Publications 32, chapter 7,
    cited from memory).  Mishaps without both outcomes and both exposures carry nothing and are left out.

    Parameters
    ----------
    outcome, exposure : (n,) arrays of 0 and 1
    cluster : (n,) array
        Mishap labels.
    level : float

    Raises
    ------
    NotEstimable
        ``few_mishaps`` with fewer than 3 informative mishaps; the tally can still be had.
    CallError
        ``not_binary``, ``level``.
    """
    if not 0 < level < 1:
        raise CallError("level", f"A level must lie between 0 and 1, not {level}.")
    tally = within_tally(outcome, exposure, cluster)
    if tally.informative < FEWEST:
        raise NotEstimable(
            "few_mishaps",
            f"Only {tally.informative} mishaps have both outcomes and both exposures aboard, not {FEWEST}.",
        )
    tables = _tables(outcome, exposure, cluster)
    tables = tables[_informative(tables)]
    margins = _Margins.of(tables)
    t = int(tables["both"].sum())
    centre = margins.theta_of_mean(min(max(t, margins.lowest + 0.5), margins.highest - 0.5))
    law = _Law(margins, np.arange(margins.lowest, margins.highest + 1), margins.log_mass(centre), centre)
    tail = (1 - level) / 2
    estimate = -np.inf if t == margins.lowest else np.inf if t == margins.highest else centre
    return WithinMishap(
        log_odds_ratio=float(estimate),
        exact_low=law.limit(t, tail, upper_tail=True, share=1.0),
        exact_high=law.limit(t, tail, upper_tail=False, share=1.0),
        mid_p_low=law.limit(t, tail, upper_tail=True, share=0.5),
        mid_p_high=law.limit(t, tail, upper_tail=False, share=0.5),
        p_better=law.tail(t, 0.0, upper_tail=True, share=1.0),
        p_worse=law.tail(t, 0.0, upper_tail=False, share=1.0),
        exposed_successes=t,
        level=level,
        tally=tally,
    )


@dataclass(frozen=True)
class _Margins:
    """The distinct mishap tables: log numbers of arrangements, padded to one array with minus infinity.

    Attributes
    ----------
    log_counts : (u, w) array
        Column s belongs to ``first + s`` exposed successes.
    first : (u,) array of int
        Least exposed successes possible.
    times : (u,) array of int
        How many mishaps have this table.
    lowest, highest : int
        Ends of the support of the sum.
    """

    log_counts: Floats
    first: NDArray[np.int64]
    times: NDArray[np.int64]
    lowest: int
    highest: int

    @classmethod
    def of(cls, tables: pd.DataFrame) -> _Margins:
        margins, times = np.unique(
            tables[["rows", "successes", "exposed"]].to_numpy(), axis=0, return_counts=True
        )
        rows, successes, exposed = margins.T[:, :, None]
        first = np.maximum(0, successes + exposed - rows)
        last = np.minimum(successes, exposed)
        s = first + np.arange(int((last - first).max()) + 1)
        inside = np.minimum(s, last)
        ways = _log_choose(exposed, inside) + _log_choose(rows - exposed, successes - inside)
        log_counts = np.where(s <= last, ways, -np.inf)
        return cls(log_counts, first[:, 0], times, int(times @ first[:, 0]), int(times @ last[:, 0]))

    def masses(self, theta: float) -> tuple[Floats, Floats]:
        """Probabilities (u, w) at a log odds ratio, and logs of their normalisers (u,)."""
        tilted = self.log_counts + theta * (self.first[:, None] + np.arange(self.log_counts.shape[1]))
        whole = logsumexp(tilted, axis=1)
        return np.exp(tilted - whole[:, None]), whole

    def log_normaliser(self, theta: float) -> float:
        """Log normaliser of the sum over mishaps."""
        return float(self.times @ self.masses(theta)[1])

    def mean(self, theta: float) -> float:
        """Expected sum at a log odds ratio."""
        mass, _ = self.masses(theta)
        return float(self.times @ (self.first + mass @ np.arange(mass.shape[1])))

    def theta_of_mean(self, target: float) -> float:
        """The log odds ratio at which the expected sum is ``target``."""
        low, high = -1.0, 1.0
        while self.mean(low) > target:
            low *= 2
        while self.mean(high) < target:
            high *= 2
        return float(brentq(lambda theta: self.mean(theta) - target, low, high, xtol=1e-13, rtol=1e-14))

    def log_mass(self, theta: float) -> Floats:
        """Log probabilities of the sum; pairs of neighbours are convolved until one is left."""
        mass, _ = self.masses(theta)
        parts = [row[: np.isfinite(log).sum()] for row, log in zip(mass, self.log_counts, strict=True)]
        parts = [part for part, times in zip(parts, self.times, strict=True) for _ in range(times)]
        while len(parts) > 1:
            last = [parts[-1]] if len(parts) % 2 else []
            parts = [np.convolve(a, b) for a, b in zip(parts[::2], parts[1::2], strict=False)] + last
        with np.errstate(divide="ignore"):
            return np.asarray(np.log(parts[0]))


@dataclass(frozen=True)
class _Law:
    """Distribution of the statistic at any log odds ratio, tilted from ``centre`` where it was convolved.

    Far from the centre masses underflow, so normalisers come from the mishaps, and a tail that holds the bulk is
    one minus the other.
    """

    margins: _Margins
    support: NDArray[np.int64]
    log_mass: Floats
    centre: float

    def tail(self, t: int, theta: float, *, upper_tail: bool, share: float) -> float:
        """Probability beyond t plus ``share`` of that of t itself."""
        if upper_tail == (self.margins.mean(theta) > t):
            return 1.0 - self._small_tail(t, theta, not upper_tail, 1.0 - share)
        return self._small_tail(t, theta, upper_tail, share)

    def _small_tail(self, t: int, theta: float, upper_tail: bool, share: float) -> float:
        beyond = self.support > t if upper_tail else self.support < t
        weight = np.where(beyond, 1.0, np.where(self.support == t, share, 0.0))
        if not weight.any():
            return 0.0
        change = self.margins.log_normaliser(theta) - self.margins.log_normaliser(self.centre)
        tilted = self.log_mass + (theta - self.centre) * self.support
        return float(min(1.0, np.exp(logsumexp(tilted, b=weight) - change)))

    def limit(self, t: int, tail: float, *, upper_tail: bool, share: float) -> float:
        """The log odds ratio at which the tail is ``tail``; infinite at the end of the support."""
        end = self.support[0] if upper_tail else self.support[-1]
        outward = -1.0 if upper_tail else 1.0
        if t == end:
            return outward * np.inf

        def excess(theta: float) -> float:
            return self.tail(t, theta, upper_tail=upper_tail, share=share) - tail

        inner, outer, width = self.centre, self.centre + outward, 1.0
        while excess(inner) < 0:
            inner -= outward * width
            width *= 2
        width = 1.0
        while excess(outer) > 0:
            outer += outward * width
            width *= 2
        return float(brentq(excess, inner, outer, xtol=1e-12, rtol=1e-14))


def _tables(outcome: ArrayLike, exposure: ArrayLike, cluster: ArrayLike) -> pd.DataFrame:
    """Rows, successes, exposed and exposed successes of each mishap."""
    columns = {"successes": np.asarray(outcome, dtype=float), "exposed": np.asarray(exposure, dtype=float)}
    for name, values in columns.items():
        if not np.isin(values, (0.0, 1.0)).all():
            raise CallError("not_binary", f"The {name} column has values other than 0 and 1.")
    frame = pd.DataFrame(columns).astype(np.int64)
    frame["both"] = frame["successes"] * frame["exposed"]
    frame["rows"] = 1
    return frame.groupby(np.asarray(cluster)).sum()


def _informative(tables: pd.DataFrame) -> pd.Series:
    inside = [tables[name].between(1, tables["rows"] - 1) for name in ("successes", "exposed")]
    return inside[0] & inside[1]


def _log_choose(n: NDArray[np.int64], k: NDArray[np.int64]) -> Floats:
    return np.asarray(gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1))
