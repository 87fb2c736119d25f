"""How narrow would the interval be with more mishaps like these, and how likely to show a difference that is there?"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from scipy.special import chdtr, nctdtr, stdtrit

from survstats.decision.conventions import LEVEL
from survstats.groundwork.errors import CallError, NotEstimable

#: How often a difference that is there should be shown (common practice, no source).
CHANCE_AIMED = 0.8
#: Beyond this the answer is "more than anybody will ever record".
MOST_MISHAPS = 100_000
_FEWEST = 2
_FAR = 30.0


@dataclass(frozen=True)
class Observed:
    """What the records in hand say of chance: the error of a difference, and from how many mishaps.

    Attributes
    ----------
    se : float
        Delete-one-mishap jackknife error of the risk difference, > 0.
    mishaps : int
        g, at least 2.
    """

    se: float
    mishaps: int

    def error(self, mishaps: float) -> float:
        """The error with another number of mishaps like these: it falls with the root of their number."""
        return self.se * math.sqrt(self.mishaps / mishaps)

    @property
    def one(self) -> float:
        """The error that a single such mishap would leave, se times the root of g."""
        return self.se * math.sqrt(self.mishaps)


def half_width(observed: Observed, mishaps: int, *, level: float = LEVEL) -> float:
    """Half the interval of the difference to be expected with so many mishaps like these, t with mishaps - 1.

    Parameters
    ----------
    observed : Observed
    mishaps : int
        All together, at least 2; with those in hand it is the half-width that was printed.
    level : float, optional

    Raises
    ------
    CallError
        ``too_few`` below two mishaps.
    """
    if mishaps < _FEWEST:
        raise CallError("too_few", "An interval between mishaps needs at least two of them.")
    return float(stdtrit(mishaps - 1, 0.5 + level / 2)) * observed.error(mishaps)


def chance_shown(observed: Observed, mishaps: int, difference: float, *, level: float = LEVEL) -> float:
    """How likely the interval lies wholly on the right side of 0, if the true difference is this large.

    Parameters
    ----------
    observed : Observed
    mishaps : int
        All together, at least 2.
    difference : float
        The true difference, in [-1, 1]; its sign does not matter.

    Notes
    -----
    Non-central t with mishaps - 1 degrees of freedom. It speaks of chance alone: a word also asks that the difference
    stays with any one mishap left out, and that the records let one see it.
    """
    if mishaps < _FEWEST:
        raise CallError("too_few", "An interval between mishaps needs at least two of them.")
    away = abs(difference) / observed.error(mishaps)
    df = mishaps - 1
    bar = float(stdtrit(df, 0.5 + level / 2))
    if away > _FAR:  # the estimate hardly varies against the difference: only its error does
        return float(chdtr(df, df * (away / bar) ** 2))
    return float(1 - nctdtr(df, away, bar))


def mishaps_for_width(observed: Observed, half: float, *, level: float = LEVEL) -> int:
    """The fewest mishaps like these, all together, with which the interval reaches no further than ``half`` either way.

    Raises
    ------
    NotEstimable
        ``too_many_mishaps`` where more than `MOST_MISHAPS` would be needed.
    """
    return _fewest(lambda mishaps: half_width(observed, mishaps, level=level) <= half)


def mishaps_to_show(
    observed: Observed, difference: float, *, chance: float = CHANCE_AIMED, level: float = LEVEL
) -> int:
    """The fewest mishaps like these, all together, with which a true difference would be shown this often.

    Parameters
    ----------
    observed : Observed
    difference : float
        The true difference, not 0.
    chance : float, optional
        How often it is to be shown, in (0, 1).

    Raises
    ------
    NotEstimable
        ``too_many_mishaps``.
    """
    return _fewest(lambda mishaps: chance_shown(observed, mishaps, difference, level=level) >= chance)


def _fewest(holds: Callable[[int], bool]) -> int:
    """The smallest number of mishaps for which this holds; it must go on holding from there."""
    if not holds(MOST_MISHAPS):
        raise NotEstimable("too_many_mishaps", "No number of mishaps that could be recorded would do.")
    low, high = _FEWEST - 1, MOST_MISHAPS
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high
