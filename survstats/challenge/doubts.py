"""Which gates of doubt the figures pass: unknown training, wrong entries, other explanations, other choices.

Each gate asks whether what the study found survives the doubt. What that is depends on `Interval.rule`: a direction
(``sign``), or that the difference is smaller than worthwhile either way (``inside``).
"""

from __future__ import annotations

from itertools import product
from typing import Protocol

from survstats.challenge.doubt_figures import ChoicesFigures, MiscodingFigures, OtherFigures, UnknownFigures
from survstats.challenge.verdict import Gate, Interval, State, thresholds
from survstats.groundwork.estimate import Estimate

_ORDER: tuple[State, ...] = ("not_met", "partly_met", "met")


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
        if about.keeps(low, high):
            return Gate("unknown_status", "met", "worst_case_holds")
        return Gate("unknown_status", "not_met", "not_estimated")

    def reached(limit_errors: float, value_errors: float) -> State:
        found = [
            _state(
                about.keeps(
                    point.difference.low,
                    point.difference.high,
                    by=limit_errors * point.limit_error,
                ),
                about.keeps(
                    point.difference.value,
                    point.difference.value,
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

    Parameters as `unknown_status_gate`. Where the interval was open before any entry was doubted, and the estimate
    keeps what it was with either doubt, the gate is not met all the same, but no wrong entry is to blame
    (``already_open``).
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
                about.keeps(leg.difference.low, leg.difference.high, by=wider_errors * leg.limit_error),
                about.keeps(leg.narrower.low, leg.narrower.high, by=narrower_errors * leg.narrower_error),
            )
            for leg in legs
        ]
        return min(found, key=_ORDER.index)

    state = reached(0, 0)
    unmoved = not _holds(about) and all(about.keeps(*[leg.difference.value] * 2) for leg in legs)
    fallen = "already_open" if unmoved else "overturned"
    finding = {"met": "both_hold", "partly_met": "weakened"}.get(state, fallen)
    return Gate("miscoding", state, finding, _other_seeds(state, reached))


def other_explanations_gate(figures: OtherFigures, about: Interval) -> Gate:
    """Gate 6: could a hidden difference between the trained and the others have made it?

    Parameters as `unknown_status_gate`. It asks for a direction whatever was found: no word for 'no worthwhile
    difference' rests on it.

    Notes
    -----
    Where passengers, or all aboard, merely point the other way it is partly met; it fails where both intervals exclude
    no difference on opposite sides. A sign alone turns too easily where the comparison is small.
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


def _holds(about: Interval) -> bool:
    """Whether the interval as it stands, with nothing doubted, keeps what was found."""
    return about.low is not None and about.high is not None and about.keeps(about.low, about.high)


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
