"""How is a sum of exposed successes over mishaps distributed, given every mishap's margins?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import gammaln, logsumexp

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Margins:
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
    def of(cls, tables: pd.DataFrame) -> Margins:
        """Gather mishap tables with columns ``rows``, ``successes``, ``exposed``."""
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
class Law:
    """Distribution of the statistic at any log odds ratio, tilted from ``centre`` where it was convolved.

    Far from the centre masses underflow, so normalisers come from the mishaps, and a tail that holds the bulk is
    one minus the other.
    """

    margins: Margins
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


def _log_choose(n: NDArray[np.int64], k: NDArray[np.int64]) -> Floats:
    return np.asarray(gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1))
