"""One number with all that must never be parted from it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Scale = Literal["identity", "log", "logit"]
Unit = Literal["share", "difference", "ratio", "odds_ratio", "count", "months", "seconds"]


@dataclass(frozen=True)
class Estimate:
    """An estimate and its interval.

    Attributes
    ----------
    value, low, high : float
        Point estimate and limits, in ``unit``. Infinite limits are allowed and mean "no limit".
    se : float
        Standard error on ``scale``; NaN where the method has none (exact limits).
    level : float
        Coverage the interval aims at, in (0, 1).
    df : float
        Degrees of freedom of the t quantile; infinite for a normal one, NaN for exact limits.
    scale : {"identity", "log", "logit"}
        The scale on which the interval is symmetric.
    unit : {"share", "difference", "ratio", "odds_ratio", "count", "months", "seconds"}
        Shares and differences are in [0, 1] and [-1, 1]; percent exists only in ``report``.
    method : str
        Code of the method (``"jackknife"``, ``"exact"``).
    mishaps, occupants : int
        How many of each the number rests on.
    """

    value: float
    low: float
    high: float
    se: float
    level: float
    df: float
    scale: Scale
    unit: Unit
    method: str
    mishaps: int
    occupants: int

    def excludes(self, null: float) -> bool:
        """Whether the whole interval lies on one side of ``null``."""
        return self.low > null or self.high < null

    @property
    def nearest_to_null(self) -> float:
        """The limit nearer the null value (0, or 1 for ratios); the null itself where it is covered."""
        null = 1.0 if self.unit in ("ratio", "odds_ratio") else 0.0
        if not self.excludes(null):
            return null
        return self.low if self.low > null else self.high


def to_scale(value: float, scale: Scale) -> float:
    """Move a value to the scale of its interval."""
    if scale == "log":
        return math.log(value) if value > 0 else -math.inf
    if scale == "logit":
        if value <= 0:
            return -math.inf
        return math.inf if value >= 1 else math.log(value / (1 - value))
    return value


def from_scale(value: float, scale: Scale) -> float:
    """Move a value back from the scale of its interval."""
    if scale == "log":
        return math.exp(value) if value < 700 else math.inf
    if scale == "logit":
        return 1 / (1 + math.exp(-value)) if value > -700 else 0.0
    return value
