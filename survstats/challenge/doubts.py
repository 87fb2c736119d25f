"""Which gates of doubt the figures pass: unknown training, wrong entries, other explanations, other choices.

Each gate asks whether what the study found survives the doubt. What that is depends on `Interval.rule`: a direction
(``sign``), or that the difference is smaller than worthwhile either way (``inside``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Protocol

from survstats.challenge.verdict import Gate, Interval, State, thresholds
from survstats.groundwork.estimate import Estimate

_ORDER: tuple[State, ...] = ("not_met", "partly_met", "met")


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


def unknown_status_gate(figures: UnknownFigures, about: Interval) -> Gate:
    """Gate 4: does the finding stand if the unknown dead had been trained more, or less, often than all else tells?

    Parameters
    ----------
    figures : UnknownFigures
    about : Interval
        What was found, with the sign of the main difference.
    """
    if figures.unknown == 0:
        return Gate("unknown_status", "met", "nobody_unknown")
    most = thresholds()["unknown_status"]["largest_delta"]
    points = [point for point in figures.points or () if abs(point.delta_dead) <= most + 1e-9]
    if not points:
        # every possible status is more than any of the moves, so that it stands for them
        low, high = figures.worst_case or (-1.0, 1.0)
        if keeps(low, high, about):
            return Gate("unknown_status", "met", "worst_case_holds")
        return Gate("unknown_status", "not_met", "not_estimated")

    def reached(limit_errors: float, value_errors: float) -> State:
        found = [
            _state(
                keeps(
                    point.difference.low,
                    point.difference.high,
                    about,
                    by=limit_errors * point.limit_error,
                ),
                keeps(
                    point.difference.value,
                    point.difference.value,
                    about,
                    by=value_errors * point.value_error,
                ),
            )
            for point in points
        ]
        return min(found, key=_ORDER.index)

    state = reached(0, 0)
    finding = {"met": "keeps_interval", "partly_met": "keeps_sign"}.get(state, "turns")
    return Gate("unknown_status", state, finding, _other_seeds(state, reached))


def miscoding_gate(figures: MiscodingFigures, about: Interval) -> Gate:
    """Gate 5: does the finding stand if trained people who died were written down as untrained?

    Parameters as `unknown_status_gate`.
    """
    if figures.by_fate:
        return Gate("miscoding", "not_met", "by_fate")
    if figures.compared_dead == 0:
        return Gate("miscoding", "not_met", "not_estimated")
    if figures.undocumented_dead == 0:
        return Gate("miscoding", "met", "no_undocumented")
    if figures.found is None or figures.all_unknown is None:
        return Gate("miscoding", "not_met", figures.reason)
    legs = (figures.found, figures.all_unknown)

    def reached(wider_errors: float, narrower_errors: float) -> State:
        found = [
            _state(
                keeps(leg.difference.low, leg.difference.high, about, by=wider_errors * leg.limit_error),
                keeps(leg.narrower.low, leg.narrower.high, about, by=narrower_errors * leg.limit_error),
            )
            for leg in legs
        ]
        return min(found, key=_ORDER.index)

    state = reached(0, 0)
    finding = {"met": "both_hold", "partly_met": "weakened"}.get(state, "overturned")
    return Gate("miscoding", state, finding, _other_seeds(state, reached))


def other_explanations_gate(figures: OtherFigures, about: Interval) -> Gate:
    """Gate 6: could a hidden difference between the trained and the others have made it?

    Parameters as `unknown_status_gate`. It asks for a direction whatever was found: no word for 'no worthwhile
    difference' rests on it.
    """
    against = _contradiction(figures)
    if against is not None:
        return Gate("other_explanations", "not_met", against)
    if figures.strength_estimate is None:
        return Gate("other_explanations", "not_met", "not_estimated")
    if figures.strength_estimate < figures.floor:
        return Gate("other_explanations", "not_met", "below_floor")
    held_back = _held_back(figures, about.sign)
    if held_back is not None:
        return Gate("other_explanations", "partly_met", held_back)
    return Gate("other_explanations", "met", "met")


def choices_gate(figures: ChoicesFigures) -> Gate:
    """Gate 8: do the listed ways of doing the analysis agree?"""
    if figures.same_sign is None:
        return Gate("choices", "not_met", "not_estimated")
    rule = thresholds()["choices"]

    def reached(agreeing: int) -> State:
        share = agreeing / figures.listed + 1e-9
        return _state(share >= rule["met_share"], share >= rule["partly_share"])

    state = reached(figures.same_sign)
    finding = {"met": "most", "partly_met": "many"}.get(state, "few")
    ends = (figures.least, figures.most)
    others = {reached(count) for count in ends if count is not None} - {state}
    return Gate("choices", state, finding, tuple(sorted(others, key=_ORDER.index)))


def keeps(low: float, high: float, about: Interval, *, by: float = 0.0) -> bool:
    """Whether limits (or an estimate, given twice) keep what was found, if they lay ``by`` better than they do."""
    if about.rule == "inside":
        return -about.worthwhile < low + by and high - by < about.worthwhile
    near = low if about.sign > 0 else -high
    return about.sign != 0 and near + by > 0


def _state(fully: bool, partly: bool) -> State:
    return "met" if fully else "partly_met" if partly else "not_met"


def _other_seeds(state: State, reached: _Reached) -> tuple[State, ...]:
    """The other states within some Monte Carlo errors of what decided."""
    errors = thresholds()["borderline"]["monte_carlo_errors"]
    found = {reached(one, other) for one, other in product((-errors, 0.0, errors), repeat=2)} - {state}
    return tuple(sorted(found, key=_ORDER.index))


class _Reached(Protocol):
    def __call__(self, first_errors: float, second_errors: float, /) -> State: ...


def _contradiction(figures: OtherFigures) -> str | None:
    """Which comparison contradicts the main one, both intervals excluding no difference."""
    pooled = figures.pooled
    if pooled is None:
        return None
    for other in (figures.passengers, figures.all_aboard):
        if other is not None and _opposite(pooled, 0.0, other, 0.0):
            return "populations_disagree"
    within = figures.within_odds_ratio
    return "within_disagrees" if within is not None and _opposite(pooled, 0.0, within, 1.0) else None


def _held_back(figures: OtherFigures, sign: int) -> str | None:
    """What keeps the gate from being fully met; None where nothing does."""
    if figures.strength_limit is None or figures.strength_limit < figures.floor:
        return "strength_limit"
    if figures.largest_shift is not None and figures.limit_size <= abs(figures.largest_shift):
        return "shift"
    passengers = figures.pooled if figures.passengers_are_all else figures.passengers
    differences = (figures.pooled, passengers, figures.all_aboard)
    signs = [estimate.value * sign for estimate in differences if estimate is not None]
    within = figures.within_odds_ratio
    signs += [] if within is None else [(within.value - 1) * sign]
    if any(value <= 0 for value in signs):
        return "signs"
    if figures.alarm:
        return "alarm"
    legs = (*differences, within, figures.largest_shift, figures.alarm)
    return "leg_missing" if any(leg is None for leg in legs) else None


def _opposite(first: Estimate, first_null: float, second: Estimate, second_null: float) -> bool:
    both = first.excludes(first_null) and second.excludes(second_null)
    return both and (first.value > first_null) != (second.value > second_null)
