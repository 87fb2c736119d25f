"""Would the time ratio alone make the difference in who gets out: a race between the way out and the breath?

A calculation, never in place of records.  Somebody under water gets out if the time needed is shorter than the time
without breath; both are taken as lognormal and independent.  A time is seen only of those who won, so what is seen is
quicker and less spread than what everybody would have needed: `Unseen` undoes that.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from scipy.optimize import brentq
from scipy.special import log_ndtr, ndtr, ndtri

from survstats.groundwork.errors import NotEstimable

ANCHOR_FILE = Path(__file__).with_name("breath_hold.toml")
_FAR = 12.0
_ROOT_TWO_PI = math.sqrt(2 * math.pi)


@dataclass(frozen=True)
class BreathHold:
    """The published anchor, in seconds.

    Attributes
    ----------
    people : int
        Whose breath was timed.
    median_s : float
    below_s, share_below : float
        So large a share held it for less.
    spread_least, spread_most : float
        Standard deviation of log seconds. What the source gives is no single lognormal: mean and standard deviation ask
        for the first, its median with the share below a given second for the other.
    source : str
    """

    people: int
    median_s: float
    below_s: float
    share_below: float
    spread_least: float
    spread_most: float
    source: str


@cache
def breath_hold() -> BreathHold:
    """The anchor of ``breath_hold.toml``, with both spreads that follow from it."""
    told = tomllib.loads(ANCHOR_FILE.read_text(encoding="utf-8"))
    median, below, share = (float(told[name]) for name in ("median_s", "below_s", "share_below"))
    spreads = (
        spread_from_moments(float(told["mean_s"]), float(told["sd_s"])),
        spread_from_share(median, below, share),
    )
    return BreathHold(
        int(told["people"]), median, below, share, min(spreads), max(spreads), str(told["source"])
    )


def spread_from_share(median: float, below: float, share: float) -> float:
    """Spread of the lognormal with this median that has so large a share, under a half, below a time."""
    return math.log(below / median) / float(ndtri(share))


def spread_from_moments(mean: float, sd: float) -> float:
    """Spread of the lognormal with this mean and standard deviation."""
    return math.sqrt(math.log1p((sd / mean) ** 2))


def share_below(seconds: float, median: float, spread: float) -> float:
    """Share of a lognormal below a time."""
    return float(ndtr(math.log(seconds / median) / spread))


def share_out(time_median: float, time_spread: float, breath_median: float, breath_spread: float) -> float:
    """P(T < B): share whose way out is shorter than their breath; medians in one unit, spreads of the logarithms."""
    apart = math.log(breath_median / time_median) / math.hypot(time_spread, breath_spread)
    return float(ndtr(apart))


def _mills(a: float) -> float:
    """Density over share below, at a."""
    return math.exp(-0.5 * a * a - float(log_ndtr(a))) / _ROOT_TWO_PI


@dataclass(frozen=True)
class Unseen:
    """The times that everybody would have needed, from those of the people who got out.

    Attributes
    ----------
    lead : float
        By how many standard deviations of (log breath - log time) the breath is ahead: P(out) = Phi(lead).
    variance : float
        Of log time.
    spread : float
        Standard deviation of (log breath - log time).
    """

    lead: float
    variance: float
    spread: float

    @property
    def share(self) -> float:
        """P(out)."""
        return float(ndtr(self.lead))

    def seen_shift(self, shift: float) -> float:
        """How far the seen log times move where everybody's move by ``shift``: less, since the slow stay unseen."""
        moved = _mills(self.lead - shift / self.spread) - _mills(self.lead)
        return shift - self.variance / self.spread * moved

    def shift_behind(self, seen: float) -> float:
        """How far everybody's log times moved, from how far the seen ones did.

        Raises
        ------
        NotEstimable
            ``race_no_answer``.
        """
        return _root(lambda shift: self.seen_shift(shift) - seen, -_FAR, _FAR)

    def gap(self, ratio: float) -> float:
        """Change in the share out where the seen times of one group are ``ratio`` times those of the other."""
        return float(ndtr(self.lead - self.shift_behind(math.log(ratio)) / self.spread)) - self.share


def unseen_from_share(share: float, seen_spread: float, breath_spread: float) -> Unseen:
    """The race in which such a share gets out and the times of those who do have this spread.

    How long the breath lasts is not needed: it is whatever makes that share, so neither cold water nor an anchor from
    a pool moves the answer, and only the spread of the breath is borrowed.

    Parameters
    ----------
    share : float
        In (0, 1).
    seen_spread, breath_spread : float
        Of log seconds.

    Raises
    ------
    NotEstimable
        ``race_no_answer`` where nobody or everybody got out.

    Notes
    -----
    With v the variance of log time, w that of log breath, a the lead and k = m (m + a), m the density over the share
    at a (Mills' ratio turned over), the variance of the seen log times is v - k v^2 / (v + w), a quadratic in v.
    """
    if not 0 < share < 1:
        raise NotEstimable("race_no_answer", "Nobody, or everybody, got out.")
    return _unseen(float(ndtri(share)), seen_spread, breath_spread)


def _unseen(lead: float, seen_spread: float, breath_spread: float) -> Unseen:
    """The same, from the lead."""
    mills = _mills(lead)
    left = 1 - mills * (mills + lead)
    seen, breath = seen_spread**2, breath_spread**2
    apart = seen - breath
    variance = (apart + math.sqrt(apart**2 + 4 * left * seen * breath)) / (2 * left)
    return Unseen(lead, variance, math.sqrt(variance + breath))


def unseen_from_breath(
    seen_median: float, seen_spread: float, breath_median: float, breath_spread: float
) -> Unseen:
    """The race that shows such times, median and spread, against a breath that is taken as known.

    Raises
    ------
    NotEstimable
        ``race_no_answer`` where no share gives such times.
    """

    def wanted(lead: float) -> float:
        """Where the breath would have to lie above the middle of the seen times, less where it lies."""
        race = _unseen(lead, seen_spread, breath_spread)
        above = lead * race.spread + race.variance / race.spread * _mills(lead)
        return above - math.log(breath_median / seen_median)

    return _unseen(_root(wanted, -_FAR, _FAR), seen_spread, breath_spread)


def speed_alone(
    ratio: tuple[float, float], share: float, seen_spread: float, breath_spreads: tuple[float, float]
) -> tuple[float, float]:
    """The least and the most that a time ratio by itself would change the share out.

    Parameters
    ----------
    ratio : tuple of float
        Limits of the seen times of the trained over those of the untrained.
    share : float
        Of the untrained who got out, in (0, 1).
    seen_spread : float
        Of log seconds, of the untrained who got out.
    breath_spreads : tuple of float
        Between which the spread of the breath lies.

    Notes
    -----
    The ratio comes from those who got out. Where everybody's way out is a race it understates how much quicker the
    trained are, and is undone; where nobody's is, it is right as seen. In a cabin at sea both kinds are mixed, so the
    least and the most are taken over both. In the invented race of `records.invented.worlds` the true change by speed
    lies between them (see the tests).

    Raises
    ------
    NotEstimable
        ``race_no_answer``.
    """
    if not (ratio[0] > 0 and math.isfinite(ratio[1])):
        raise NotEstimable("race_no_answer", "The time ratio has no limits.")
    gaps = []
    for spread in breath_spreads:
        race = unseen_from_share(share, seen_spread, spread)
        for one in ratio:
            gaps += [race.gap(one), float(ndtr(race.lead - math.log(one) / race.spread)) - race.share]
    return min(gaps), max(gaps)


def _root(of: Callable[[float], float], low: float, high: float) -> float:
    if not of(low) * of(high) < 0:
        raise NotEstimable("race_no_answer", "No race between way out and breath gives these times.")
    return float(brentq(of, low, high, xtol=1e-12))
