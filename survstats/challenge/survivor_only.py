"""What a count of trained people among the survivors can and cannot carry. Standard library only: it starts fast."""

from __future__ import annotations

import math
from dataclasses import dataclass

from survstats.groundwork.errors import CallError

Range = tuple[float, float]


@dataclass(frozen=True)
class Headline:
    """A survivor headline, as told: how many were aboard and died, and what share of the survivors was trained.

    Attributes
    ----------
    aboard, died : int
        Counts; 0 < died < aboard.
    trained_of_survivors : (float, float)
        The share, in [0, 1], as a range; both ends equal for a single figure.
    """

    aboard: int
    died: int
    trained_of_survivors: Range

    @property
    def survivors(self) -> int:
        """How many lived."""
        return self.aboard - self.died


@dataclass(frozen=True)
class Comparison:
    """Trained against untrained, at one share of trained people among the dead.

    Attributes
    ----------
    difference : float
        Survival of the trained minus survival of the untrained, in [-1, 1].
    survival_ratio, odds_ratio : float
        The same as ratios; infinite where a denominator is 0.
    """

    difference: float
    survival_ratio: float
    odds_ratio: float


@dataclass(frozen=True)
class Assumed:
    """A range of the difference that is narrower only because something was assumed.

    Attributes
    ----------
    low, high : float
        In [-1, 1].
    assumption : str
        Code of what was assumed: ``"not_negative"``. The range is never printed without it and never weighed.
    """

    low: float
    high: float
    assumption: str


def compare(survivors: float, died: float, *, of_survivors: float, of_dead: float) -> Comparison:
    """What a share ``of_survivors`` of trained among the living and ``of_dead`` among the dead amount to.

    Parameters
    ----------
    survivors, died : float
        Counts, > 0.
    of_survivors, of_dead : float
        Shares trained, in [0, 1].

    Raises
    ------
    CallError
        ``empty_group`` where nobody at all was trained, or nobody untrained.
    """
    trained_lived, untrained_lived = of_survivors * survivors, (1 - of_survivors) * survivors
    trained_died, untrained_died = of_dead * died, (1 - of_dead) * died
    trained, untrained = trained_lived + trained_died, untrained_lived + untrained_died
    if trained <= 0 or untrained <= 0:
        raise CallError(
            "empty_group", "With these shares one of the two groups is empty, so there is no comparison."
        )
    with_training, without = trained_lived / trained, untrained_lived / untrained
    return Comparison(
        difference=with_training - without,
        survival_ratio=with_training / without if without else math.inf,
        odds_ratio=(
            trained_lived * untrained_died / (trained_died * untrained_lived)
            if trained_died * untrained_lived
            else math.inf
        ),
    )


def difference_range(
    survivors: float, died: float, *, of_survivors: Range, of_dead: Range = (0.0, 1.0)
) -> Range:
    """The lowest and highest difference that the shares allow.

    Parameters
    ----------
    survivors, died : float
        Counts, >= 0, not both 0.
    of_survivors, of_dead : (float, float)
        Ranges of the shares trained; ``(0, 1)`` for the dead where nothing is known of them.

    Returns
    -------
    (float, float)
        In [-1, 1]. The difference falls as the share of the dead rises and rises with the share of the survivors,
        so that the ends lie in the corners. With nothing known of the dead:
        [-D / (q S + D), D / ((1 - q) S + D)].
    """
    low = _corner(survivors, died, of_survivors[0], of_dead[1])
    high = _corner(survivors, died, of_survivors[1], of_dead[0])
    return low, high


def _corner(survivors: float, died: float, of_survivors: float, of_dead: float) -> float:
    """A corner; an empty group counts as the limit in which its last members were among the dead."""
    trained = of_survivors * survivors + of_dead * died
    untrained = (1 - of_survivors) * survivors + (1 - of_dead) * died
    with_training = of_survivors * survivors / trained if trained > 0 else 0.0
    without = (1 - of_survivors) * survivors / untrained if untrained > 0 else 0.0
    return with_training - without


def if_not_negative(differences: Range) -> Assumed:
    """The range of the difference if training is taken never to have cost lives: its part from 0 on.

    An assumption about the very thing in question: it raises no word of a verdict.

    Raises
    ------
    CallError
        ``contradiction`` where the whole range lies below 0.
    """
    low, high = differences
    if high < 0:
        raise CallError(
            "contradiction",
            "These figures contradict the assumption: with them fewer of the trained lived.",
            "Leave the assumption out.",
        )
    return Assumed(max(low, 0.0), high, "not_negative")


def share_of_dead(headline: Headline, trained_aboard: Range) -> Range:
    """The share of the dead who had been trained, from the share trained of everyone aboard.

    Raises
    ------
    CallError
        ``contradiction`` where no share of the dead in [0, 1] agrees with the figures.

    Notes
    -----
    r = (p N - q S) / D. Its slope in p is N / D: an error in the share aboard is multiplied by that.
    """
    aboard, died, survivors = headline.aboard, headline.died, headline.survivors
    low_q, high_q = headline.trained_of_survivors
    low = (trained_aboard[0] * aboard - high_q * survivors) / died
    high = (trained_aboard[1] * aboard - low_q * survivors) / died
    if high < -1e-12 or low > 1 + 1e-12:
        raise CallError(
            "contradiction",
            "These figures contradict each other: no share of the dead between none and all agrees with them.",
            "Ask where both figures come from.",
        )
    return max(low, 0.0), min(high, 1.0)


def shares_aboard_possible(headline: Headline) -> Range:
    """The shares trained of everyone aboard that agree with the headline: [q S / N, (q S + D) / N]."""
    low_q, high_q = headline.trained_of_survivors
    survivors = headline.survivors
    return low_q * survivors / headline.aboard, (high_q * survivors + headline.died) / headline.aboard


def rounded_range(share: float, decimals_of_percent: int) -> Range:
    """What a share may have been before it was rounded to so many decimals of a per cent."""
    half = 0.5 * 10.0 ** (-2 - decimals_of_percent)
    return max(share - half, 0.0), min(share + half, 1.0)


def whole_number_behind(share: float, total: int) -> tuple[int, bool]:
    """The nearest whole number of people to a share of ``total``, and whether it is that share exactly."""
    nearest = math.floor(share * total + 0.5)
    return nearest, math.isclose(nearest, share * total, rel_tol=0, abs_tol=1e-9)
