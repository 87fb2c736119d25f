"""What do the own data say once others' results are weighed in, and how far are those trusted after a conflict?

A robust mixture: with some weight the own effect is taken to be one more of the kind the others found, with the rest of
the weight nearly anything is held possible. Data that contradict the others lower their weight by themselves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

from survstats.groundwork.errors import CallError

#: Weight of the others before the own data are seen, and the spread of the vague part on the log scale: common
#: practice, no source; the paper also tells what half that trust gives.
WEIGHT, VAGUE_SPREAD = 0.8, 2.0


@dataclass(frozen=True)
class Normal:
    """A normal distribution: its mean, and its standard deviation > 0."""

    mean: float
    sd: float


@dataclass(frozen=True)
class Mixture:
    """What is held of the effect after the own data: two normals and the weight of the first.

    Attributes
    ----------
    weight : float
        Of the part that trusts the others, in [0, 1].
    trusting, vague : Normal
    """

    weight: float
    trusting: Normal
    vague: Normal

    @property
    def mean(self) -> float:
        """The mean of the mixture."""
        return self.weight * self.trusting.mean + (1 - self.weight) * self.vague.mean

    @property
    def sd(self) -> float:
        """The standard deviation of the mixture."""
        parts = ((self.weight, self.trusting), (1 - self.weight, self.vague))
        return math.sqrt(sum(w * (one.sd**2 + (one.mean - self.mean) ** 2) for w, one in parts))

    def below(self, value: float) -> float:
        """Probability of an effect below ``value``."""
        first, second = (ndtr((value - one.mean) / one.sd) for one in (self.trusting, self.vague))
        return float(self.weight * first + (1 - self.weight) * second)

    def quantile(self, share: float) -> float:
        """Below which value the effect lies with this probability, 0 < share < 1."""
        reach = 40 * max(self.trusting.sd, self.vague.sd)
        low = min(self.trusting.mean, self.vague.mean) - reach
        high = max(self.trusting.mean, self.vague.mean) + reach
        return float(brentq(lambda value: self.below(value) - share, low, high, xtol=1e-12))

    def limits(self, *, level: float = 0.95) -> tuple[float, float]:
        """Between which values the effect lies with probability ``level``, each tail the same."""
        return self.quantile((1 - level) / 2), self.quantile((1 + level) / 2)


def combine(
    estimate: float, se: float, *, others: Normal, weight: float = WEIGHT, vague: Normal | None = None
) -> Mixture:
    """The own estimate, with the others' weighed in.

    Parameters
    ----------
    estimate, se : float
        The own effect and its standard error > 0, on a scale on which it is near normal (the log of a ratio).
    others : Normal
        What a further study of the others' kind would find: their average, with the spread between them.
    weight : float, optional
        How far the others are trusted before the own data are seen, in [0, 1].
    vague : Normal, optional
        The other part; around 0 with spread `VAGUE_SPREAD` if not given.

    Raises
    ------
    CallError
        ``bad_weight``, ``bad_spread``.

    Notes
    -----
    Schmidli et al. 2014 (doi:10.1111/biom.12242). The estimate counts as normal, whatever its degrees of freedom: what
    comes out stands beside the own result, never in its place.
    """
    vague = Normal(0.0, VAGUE_SPREAD) if vague is None else vague
    if not 0 <= weight <= 1:
        raise CallError("bad_weight", f"A weight lies between 0 and 1, not {weight:g}.")
    if min(se, others.sd, vague.sd) <= 0:
        raise CallError("bad_spread", "A standard deviation is above 0.")
    parts = [_conjugate(estimate, se, prior) for prior in (others, vague)]
    odds = np.array([_log_density(estimate, prior, se) for prior in (others, vague)])
    if weight in (0.0, 1.0):
        return Mixture(weight, *parts)
    tilt = math.log(weight) - math.log1p(-weight) + float(odds[0] - odds[1])
    return Mixture(1 / (1 + math.exp(-tilt)) if tilt > -700 else 0.0, *parts)


def _conjugate(estimate: float, se: float, prior: Normal) -> Normal:
    precision = 1 / se**2 + 1 / prior.sd**2
    return Normal((estimate / se**2 + prior.mean / prior.sd**2) / precision, math.sqrt(1 / precision))


def _log_density(estimate: float, prior: Normal, se: float) -> float:
    """Log density of the estimate as this prior foresees it, without the constant both share."""
    spread = math.hypot(se, prior.sd)
    return -math.log(spread) - 0.5 * ((estimate - prior.mean) / spread) ** 2
