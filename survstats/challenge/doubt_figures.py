"""What the gates of doubt look at: unknown training, wrong entries, other explanations, other choices."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from survstats.groundwork.estimate import Estimate


class Moved(Protocol):
    """A difference under one assumption on the unknown (`survstats.effects.imputed_effect.DeltaPoint`)."""

    @property
    def delta_dead(self) -> float:
        """Log odds added to the chance that an unknown dead person was current."""

    @property
    def difference(self) -> Estimate:
        """The difference with its 95 % interval."""

    @property
    def limit_error(self) -> float:
        """Monte Carlo standard error of the limit nearest 0."""

    @property
    def value_error(self) -> float:
        """Monte Carlo standard error of the estimate."""


class Leg(Protocol):
    """A difference with entries put right in one way (`survstats.challenge.miscoding.Leg`)."""

    @property
    def difference(self) -> Estimate:
        """The difference with its 95 % interval."""

    @property
    def narrower(self) -> Estimate:
        """The same with its 90 % interval."""

    @property
    def limit_error(self) -> float:
        """Monte Carlo standard error of the limit nearest 0."""

    @property
    def narrower_error(self) -> float:
        """The same of the narrower interval's limit."""


@dataclass(frozen=True)
class UnknownFigures:
    """What unknown training could make of the difference.

    Attributes
    ----------
    unknown : int
        People of unknown training in the primary population.
    points : sequence of Moved or None
        The difference for each assumption on the unknown dead; None where it could not be estimated.
    worst_case : (float, float) or None
        The interval of the range over every possible status; None where there is none.
    """

    unknown: int
    points: Sequence[Moved] | None
    worst_case: tuple[float, float] | None


@dataclass(frozen=True)
class MiscodingFigures:
    """What wrong entries of the dead could make of the difference.

    Attributes
    ----------
    undocumented_dead : int
        Dead whose recorded training (current or none) rests on no certificate or roster.
    found, all_unknown : Leg or None
        The difference with some of them taken to have been trained, and with all of them unknown; None where it could
        not be estimated.
    reason : str
        Why a leg could not: ``few_documented`` or ``not_estimated``; unused otherwise.
    by_fate : bool
        The records look as if training had been written down by who lived.
    compared_dead : int
        Dead who are compared at all; where there are none, no entry can be right or wrong.
    """

    undocumented_dead: int
    found: Leg | None
    all_unknown: Leg | None
    reason: str = "not_estimated"
    by_fate: bool = False
    compared_dead: int = 1


@dataclass(frozen=True)
class OtherFigures:
    """What else could have made the difference.

    Attributes
    ----------
    pooled, passengers, all_aboard : Estimate or None
        The difference in the primary population, among its passengers, and among all aboard.
    within_odds_ratio : Estimate or None
        Of people in the same mishap.
    strength_limit, strength_estimate : float or None
        How strong a hidden difference in fitness would have to be to make all of the limit nearest 0, and of the
        estimate (`survstats.challenge.unmeasured.fitness_strength`); infinite where none is strong enough.
    floor : float
        What is thought possible, from the study file.
    largest_shift : float or None
        The largest move of the difference when one measured group of causes is left out.
    limit_size : float
        Distance of the interval from 0; 0 where it covers 0.
    alarm : bool or None
        Whether the check by deaths on impact gave an alarm; None where it could not be made.
    passengers_are_all : bool
        The study is about passengers alone, so that they are the pooled population.
    """

    pooled: Estimate | None
    passengers: Estimate | None
    all_aboard: Estimate | None
    within_odds_ratio: Estimate | None
    strength_limit: float | None
    strength_estimate: float | None
    floor: float
    largest_shift: float | None
    limit_size: float
    alarm: bool | None
    passengers_are_all: bool = False


@dataclass(frozen=True)
class ChoicesFigures:
    """How many of the listed choices agree.

    Attributes
    ----------
    listed : int
    same_sign : int or None
        How many agree: have the sign of the main difference, or lie inside what is worthwhile where that is what was
        found. A choice that could not be estimated does not agree. None where there is nothing to agree with.
    least, most : int or None
        The same count with another seed.
    """

    listed: int
    same_sign: int | None
    least: int | None = None
    most: int | None = None
