"""Does each gate of doubt change its state exactly at its threshold, for benefit, for harm and for no difference?"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import pytest

from survstats.challenge.doubt_figures import (
    ChoicesFigures,
    MiscodingFigures,
    OtherFigures,
    UnknownFigures,
)
from survstats.challenge.doubts import (
    choices_gate,
    miscoding_gate,
    other_explanations_gate,
    unknown_status_gate,
)
from survstats.challenge.verdict import Gate, Interval
from survstats.groundwork.estimate import Estimate

BENEFIT = Interval(0.05, 0.25, 0.05, 1)
HARM = Interval(-0.25, -0.05, 0.05, -1)
SMALL = Interval(-0.02, 0.03, 0.05, 1)


def estimate(low, high, *, value=None, unit="difference", level=0.95):
    return Estimate(
        value=(low + high) / 2 if value is None else value,
        low=low,
        high=high,
        se=math.nan,
        level=level,
        df=9.0,
        scale="identity",
        unit=unit,
        method="m",
        mishaps=10,
        occupants=50,
    )


def turned(found):
    """The same estimate with trained and untrained changed round."""
    if found is None:
        return None
    if found.unit == "odds_ratio":
        return replace(found, value=1 / found.value, low=1 / found.high, high=1 / found.low)
    return replace(found, value=-found.value, low=-found.high, high=-found.low)


@dataclass(frozen=True)
class Point:
    delta_dead: float
    difference: Estimate
    limit_error: float = 0.0
    value_error: float = 0.0


@dataclass(frozen=True)
class ALeg:
    difference: Estimate
    narrower: Estimate
    limit_error: float = 0.0
    narrower_error: float = 0.0


# ---- unknown training -----------------------------------------------------------------------------------------------

CLEAR, OPEN, OTHER = estimate(0.01, 0.2), estimate(-0.01, 0.2), estimate(-0.2, 0.1)


def points(*found, **errors):
    return tuple(Point(delta, one, **errors) for delta, one in zip((-1.0, 0.0, 1.0), found, strict=True))


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize(
    ("found", "state", "finding"),
    [
        ((CLEAR, CLEAR, CLEAR), "met", "keeps_interval"),
        ((CLEAR, CLEAR, OPEN), "partly_met", "keeps_sign"),
        ((OPEN, CLEAR, CLEAR), "partly_met", "keeps_sign"),
        ((CLEAR, OPEN, CLEAR), "partly_met", "keeps_sign"),
        ((CLEAR, CLEAR, OTHER), "not_met", "turns"),
        ((OTHER, OPEN, CLEAR), "not_met", "turns"),
        ((estimate(0.0, 0.2), CLEAR, CLEAR), "partly_met", "keeps_sign"),
        ((estimate(-0.1, 0.1, value=0.0), CLEAR, CLEAR), "not_met", "turns"),
    ],
)
def test_unknown_training_either_way(side, found, state, finding):
    one = found if side > 0 else tuple(turned(each) for each in found)
    gate = unknown_status_gate(UnknownFigures(5, points(*one), None), BENEFIT if side > 0 else HARM)
    assert gate == Gate("unknown_status", state, finding)


def test_moves_beyond_the_agreed_ones_are_not_looked_at():
    far = (*points(CLEAR, CLEAR, CLEAR), Point(2.0, OTHER), Point(-3.0, OTHER), Point(1.01, OTHER))
    assert unknown_status_gate(UnknownFigures(5, far, None), BENEFIT).state == "met"


def test_nobody_unknown_leaves_nothing_to_doubt():
    for about in (BENEFIT, HARM, SMALL, Interval(None, None, 0.05, 0)):
        gate = unknown_status_gate(UnknownFigures(0, None, None), about)
        assert gate == Gate("unknown_status", "met", "nobody_unknown")


@pytest.mark.parametrize(
    ("worst", "about", "state", "finding"),
    [
        ((0.001, 0.6), BENEFIT, "met", "worst_case_holds"),
        ((0.0, 0.6), BENEFIT, "not_met", "not_estimated"),
        ((-0.6, -0.001), BENEFIT, "not_met", "not_estimated"),
        ((-0.6, -0.001), HARM, "met", "worst_case_holds"),
        ((0.001, 0.6), HARM, "not_met", "not_estimated"),
        ((0.001, 0.6), Interval(None, None, 0.05, 1), "met", "worst_case_holds"),
        ((0.001, 0.6), Interval(None, None, 0.05, 0), "not_met", "not_estimated"),
        ((-0.049, 0.049), SMALL, "met", "worst_case_holds"),
        ((-0.049, 0.05), SMALL, "not_met", "not_estimated"),
        ((0.001, 0.6), SMALL, "not_met", "not_estimated"),
        (None, BENEFIT, "not_met", "not_estimated"),
        (None, SMALL, "not_met", "not_estimated"),
    ],
)
def test_where_no_move_can_be_estimated_every_status_must_leave_it(worst, about, state, finding):
    for none in (None, ()):
        gate = unknown_status_gate(UnknownFigures(5, none, worst), about)
        assert gate == Gate("unknown_status", state, finding)


@pytest.mark.parametrize(
    ("found", "state"),
    [
        (estimate(-0.049, 0.049), "met"),
        (estimate(-0.05, 0.04), "partly_met"),
        (estimate(-0.2, 0.05, value=-0.049), "partly_met"),
        (estimate(-0.2, 0.05, value=-0.05), "not_met"),
        (estimate(0.002, 0.018), "met"),
        (estimate(0.06, 0.2), "not_met"),
    ],
)
def test_no_worthwhile_difference_must_stay_smaller_than_worthwhile(found, state):
    inside = estimate(-0.01, 0.01)
    for about in (SMALL, replace(SMALL, sign=-1), replace(SMALL, sign=0)):
        assert (
            unknown_status_gate(UnknownFigures(5, points(inside, inside, found), None), about).state == state
        )


@pytest.mark.parametrize(
    ("limit", "limit_error", "value", "value_error", "state", "also"),
    [
        (0.031, 0.010, 0.10, 0.010, "met", ()),
        (0.029, 0.010, 0.10, 0.010, "met", ("partly_met",)),
        (0.029, 0.010, 0.10, 0.034, "met", ("not_met", "partly_met")),
        (-0.029, 0.010, 0.10, 0.010, "partly_met", ("met",)),
        (-0.031, 0.010, 0.10, 0.010, "partly_met", ()),
        (-0.200, 0.010, 0.029, 0.010, "partly_met", ("not_met",)),
        (-0.200, 0.010, -0.029, 0.010, "not_met", ("partly_met",)),
        (-0.200, 0.010, -0.031, 0.010, "not_met", ()),
    ],
)
def test_states_within_three_monte_carlo_errors_are_told(limit, limit_error, value, value_error, state, also):
    near = Point(1.0, estimate(limit, 0.4, value=value), limit_error, value_error)
    gate = unknown_status_gate(UnknownFigures(5, (near,), None), BENEFIT)
    assert (gate.state, gate.also) == (state, also)
    mirror = replace(near, difference=turned(near.difference))
    assert unknown_status_gate(UnknownFigures(5, (mirror,), None), HARM) == gate


def test_no_worthwhile_difference_is_told_as_borderline_too():
    near = Point(1.0, estimate(-0.02, 0.049), limit_error=0.001, value_error=0.001)
    assert unknown_status_gate(UnknownFigures(5, (near,), None), SMALL).also == ("partly_met",)
    assert (
        unknown_status_gate(UnknownFigures(5, (replace(near, limit_error=0.0003),), None), SMALL).also == ()
    )


# ---- wrong entries --------------------------------------------------------------------------------------------------

WIDE_OPEN = estimate(-0.02, 0.2, level=0.9)
BOTH = MiscodingFigures(5, ALeg(CLEAR, CLEAR), ALeg(CLEAR, CLEAR))


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("which", ["found", "all_unknown"])
@pytest.mark.parametrize(
    ("wider", "narrower", "state", "finding"),
    [
        (CLEAR, CLEAR, "met", "both_hold"),
        (OPEN, CLEAR, "partly_met", "weakened"),
        (OPEN, WIDE_OPEN, "not_met", "overturned"),
        (OTHER, OTHER, "not_met", "overturned"),
    ],
)
def test_wrong_entries_need_both_legs(side, which, wider, narrower, state, finding):
    figures = replace(BOTH, **{which: ALeg(wider, narrower)})
    if side < 0:
        legs = {name: getattr(figures, name) for name in ("found", "all_unknown")}
        figures = replace(
            figures, **{n: ALeg(turned(leg.difference), turned(leg.narrower)) for n, leg in legs.items()}
        )
    gate = miscoding_gate(figures, BENEFIT if side > 0 else HARM)
    assert gate == Gate("miscoding", state, finding)


def test_wrong_entries_where_there_is_nothing_to_be_wrong_or_no_leg():
    assert miscoding_gate(MiscodingFigures(0, None, None), BENEFIT) == Gate(
        "miscoding", "met", "no_undocumented"
    )
    for reason in ("few_documented", "not_estimated"):
        for legs in ((None, None), (BOTH.found, None), (None, BOTH.all_unknown)):
            gate = miscoding_gate(MiscodingFigures(5, *legs, reason=reason), BENEFIT)
            assert gate == Gate("miscoding", "not_met", reason)


def test_wrong_entries_where_no_dead_person_is_compared():
    gate = miscoding_gate(MiscodingFigures(0, None, None, compared_dead=0), BENEFIT)
    assert gate == Gate("miscoding", "not_met", "not_estimated")


def test_training_written_down_by_who_lived_fails_whatever_the_legs_say():
    for figures in (BOTH, MiscodingFigures(0, None, None)):
        gate = miscoding_gate(replace(figures, by_fate=True), BENEFIT)
        assert gate == Gate("miscoding", "not_met", "by_fate")


def test_wrong_entries_and_no_worthwhile_difference():
    inside, outside = estimate(-0.02, 0.04), estimate(-0.02, 0.06)
    for wider, narrower, state in (
        (inside, inside, "met"),
        (outside, inside, "partly_met"),
        (outside, outside, "not_met"),
    ):
        assert (
            miscoding_gate(
                replace(BOTH, found=ALeg(wider, narrower), all_unknown=ALeg(inside, inside)), SMALL
            ).state
            == state
        )


def test_wrong_entries_close_to_a_limit_tell_the_other_state():
    near = ALeg(estimate(0.002, 0.2), estimate(0.02, 0.2), limit_error=0.001)
    assert miscoding_gate(replace(BOTH, found=near), BENEFIT).also == ("partly_met",)
    assert miscoding_gate(replace(BOTH, found=replace(near, limit_error=0.0006)), BENEFIT).also == ()
    close = ALeg(estimate(-0.1, 0.2), estimate(0.002, 0.2), limit_error=0.0001, narrower_error=0.001)
    assert miscoding_gate(replace(BOTH, found=close), BENEFIT) == Gate(
        "miscoding", "partly_met", "weakened", ("not_met",)
    )
    calm = replace(close, limit_error=0.001, narrower_error=0.0006)  # each interval has an error of its own
    assert miscoding_gate(replace(BOTH, found=calm), BENEFIT).also == ()


# ---- other explanations ---------------------------------------------------------------------------------------------

ODDS_UP = estimate(1.1, 4.0, value=2.0, unit="odds_ratio")
ODDS_DOWN = estimate(0.2, 0.9, value=0.5, unit="odds_ratio")
UP, DOWN, EITHER, FALLING = estimate(0.06, 0.2), estimate(-0.2, -0.01), OPEN, OTHER
FULL = OtherFigures(
    pooled=UP,
    passengers=UP,
    all_aboard=UP,
    within_odds_ratio=ODDS_UP,
    strength_limit=0.75,
    strength_estimate=1.2,
    floor=0.75,
    largest_shift=0.059,
    limit_size=0.06,
    alarm=False,
)
CASES = [
    ({}, "met", "met"),
    ({"strength_limit": math.inf, "strength_estimate": math.inf}, "met", "met"),
    ({"strength_limit": 0.749}, "partly_met", "strength_limit"),
    ({"strength_limit": 0.0, "strength_estimate": 0.75}, "partly_met", "strength_limit"),
    ({"strength_limit": 0.0, "strength_estimate": 0.749}, "not_met", "below_floor"),
    ({"strength_limit": None, "strength_estimate": None}, "not_met", "not_estimated"),
    ({"strength_limit": None}, "partly_met", "strength_limit"),
    ({"largest_shift": 0.06}, "partly_met", "shift"),
    ({"largest_shift": -0.06}, "partly_met", "shift"),
    ({"largest_shift": -0.059}, "met", "met"),
    ({"passengers": FALLING}, "partly_met", "signs"),
    ({"all_aboard": FALLING}, "partly_met", "signs"),
    ({"within_odds_ratio": estimate(0.2, 1.5, value=0.9, unit="odds_ratio")}, "partly_met", "signs"),
    ({"passengers": EITHER, "all_aboard": EITHER}, "met", "met"),
    ({"passengers": DOWN}, "not_met", "populations_disagree"),
    ({"all_aboard": DOWN}, "not_met", "populations_disagree"),
    ({"within_odds_ratio": ODDS_DOWN}, "not_met", "within_disagrees"),
    ({"alarm": True}, "partly_met", "alarm"),
    *(
        ({name: None}, "partly_met", "leg_missing")
        for name in ("passengers", "all_aboard", "within_odds_ratio", "largest_shift", "alarm")
    ),
    ({"passengers": None, "passengers_are_all": True}, "met", "met"),
    ({"pooled": None, "passengers": None}, "partly_met", "leg_missing"),
]


@pytest.mark.parametrize(("changed", "state", "finding"), CASES)
def test_other_explanations(changed, state, finding):
    gate = other_explanations_gate(replace(FULL, **changed), BENEFIT)
    assert gate == Gate("other_explanations", state, finding)


@pytest.mark.parametrize(("changed", "state", "finding"), CASES)
def test_other_explanations_of_harm(changed, state, finding):
    figures = replace(FULL, **changed)
    estimates = ("pooled", "passengers", "all_aboard", "within_odds_ratio")
    mirror = replace(figures, **{name: turned(getattr(figures, name)) for name in estimates})
    assert other_explanations_gate(mirror, HARM) == Gate("other_explanations", state, finding)


def test_a_lower_floor_never_makes_the_gate_worse():
    order = ("not_met", "partly_met", "met")
    for changed, _, _ in CASES:
        figures = replace(FULL, **changed)
        found = [
            order.index(other_explanations_gate(replace(figures, floor=floor), BENEFIT).state)
            for floor in (1.5, 0.75, 0.5, 0.1)
        ]
        assert found == sorted(found)


def test_an_alarm_blocks_only_that_the_gate_is_fully_met():
    weak = replace(FULL, strength_limit=0.0)
    assert other_explanations_gate(replace(weak, alarm=True), BENEFIT).state == "partly_met"


# ---- choices --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("agreeing", "state", "finding"),
    [
        (24, "met", "most"),
        (22, "met", "most"),
        (21, "partly_met", "many"),
        (18, "partly_met", "many"),
        (17, "not_met", "few"),
    ],
)
def test_choices_change_state_at_22_and_at_18_of_24(agreeing, state, finding):
    assert choices_gate(ChoicesFigures(24, agreeing, agreeing, agreeing)) == Gate("choices", state, finding)


def test_choices_tell_what_another_seed_could_have_counted():
    assert choices_gate(ChoicesFigures(24, 22, 21, 23)).also == ("partly_met",)
    assert choices_gate(ChoicesFigures(24, 18, 17, 22)).also == ("not_met", "met")
    assert choices_gate(ChoicesFigures(24, 20)).also == ()


def test_choices_with_nothing_to_agree_with():
    assert choices_gate(ChoicesFigures(24, None)) == Gate("choices", "not_met", "not_estimated")


# ---- what keeps what was found --------------------------------------------------------------------------------------


def test_nothing_keeps_a_direction_that_was_not_found():
    nothing = Interval(None, None, 0.05, 0)
    assert not nothing.keeps(0.1, 0.2)
    assert not nothing.keeps(-0.2, -0.1)
