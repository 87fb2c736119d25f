"""Does each of the twelve challenges hold, weaken or fall exactly where its rule says, either way?"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from survstats.challenge import battery, doubts
from survstats.challenge.battery import CHALLENGES, FIGURES, FINDINGS, Challenge, not_assessable
from survstats.challenge.doubt_figures import MiscodingFigures
from survstats.challenge.doubts import miscoding_gate
from survstats.challenge.hidden_bias import HiddenBias
from survstats.challenge.verdict import Gate, Interval
from survstats.groundwork.errors import SurvstatsError
from survstats.groundwork.estimate import Estimate

BENEFIT = Interval(0.05, 0.25, 0.05, 1)
HARM = Interval(-0.25, -0.05, 0.05, -1)
SMALL = Interval(-0.02, 0.03, 0.05, 1)
NOTHING = Interval(None, None, 0.05, 0)
STATES = ("holds", "weakens", "overturns", "not_assessable")


def estimate(value, low, high):
    return Estimate(value, low, high, math.nan, 0.95, 9.0, "identity", "difference", "m", 10, 50)


def mirror(limits):
    return None if limits is None else (-limits[1], -limits[0])


def told(found):
    return found.state, found.finding


def test_the_twelve_stand_in_order_with_their_figures():
    assert CHALLENGES == (
        "survivor_headline",
        "worst_case",
        "unknown_dead",
        "fitness",
        "hidden_bias",
        "wrong_entries",
        "impact_death",
        "one_mishap",
        "choices",
        "under_reporting",
        "counterparts",
        "calibration",
    )
    assert not_assessable("fitness") == Challenge(
        "fitness", "not_assessable", "not_estimated", ("fitness.strength_limit", "fitness.strength_estimate")
    )
    assert all(FIGURES.values())


@pytest.mark.parametrize(
    ("known", "state"),
    [((0.01, 0.3), "holds"), ((0.0, 0.3), "weakens"), ((-0.1, 0.3), "weakens"), ((-0.3, -0.01), "overturns")],
)
def test_survivors_alone(known, state):
    found = battery.survivor_headline(known, lived=True, about=BENEFIT)
    assert told(found) == (state, "bounded")
    assert battery.survivor_headline(mirror(known), lived=True, about=HARM) == found


def test_survivors_alone_with_nothing_known_of_the_dead():
    assert told(battery.survivor_headline(None, lived=True, about=BENEFIT)) == ("not_assessable", "alone")
    assert told(battery.survivor_headline(None, lived=False, about=BENEFIT)) == ("not_assessable", "nothing")


@pytest.mark.parametrize(
    ("limits", "state", "finding"),
    [
        ((0.01, 0.3), "holds", "excludes_zero"),
        ((0.0, 0.3), "weakens", "covers_zero"),
        ((-0.1, 0.3), "weakens", "covers_zero"),
        ((-0.3, -0.01), "overturns", "opposite"),
        (None, "not_assessable", "not_estimated"),
    ],
)
def test_worst_case(limits, state, finding):
    found = battery.worst_case(limits, unknown=4, about=BENEFIT)
    assert told(found) == (state, finding)
    assert battery.worst_case(mirror(limits), unknown=4, about=HARM) == found


def test_worst_case_where_nobody_is_unknown_or_nothing_was_found():
    assert told(battery.worst_case(None, unknown=0, about=BENEFIT)) == ("holds", "nobody_unknown")
    assert told(battery.worst_case((-0.1, 0.3), unknown=4, about=NOTHING)) == ("weakens", "covers_zero")


def test_worst_case_of_no_worthwhile_difference():
    assert battery.worst_case((-0.04, 0.04), unknown=4, about=SMALL).state == "holds"
    assert battery.worst_case((-0.04, 0.06), unknown=4, about=SMALL).state == "weakens"
    assert battery.worst_case((0.05, 0.06), unknown=4, about=SMALL).state == "overturns"


@pytest.mark.parametrize(
    ("chance", "difference", "unknown", "gate", "expected"),
    [
        ("crosses", "crosses", 0, "met", ("holds", "nobody_unknown")),
        ("never", "never", 9, "met", ("holds", "never")),
        ("crosses", "never", 9, "met", ("holds", "crosses")),
        ("crosses", "crosses", 9, "partly_met", ("weakens", "crosses")),
        ("already", "crosses", 9, "partly_met", ("weakens", "already")),
        ("already", "already", 9, "not_met", ("overturns", "already")),
        (None, None, 9, "not_met", ("not_assessable", "not_estimated")),
    ],
)
def test_unknown_dead_follow_gate_four(chance, difference, unknown, gate, expected):
    four = Gate("unknown_status", gate, "x")
    assert told(battery.unknown_dead(chance, difference, unknown=unknown, gate=four)) == expected


@pytest.mark.parametrize(
    ("limit", "value", "expected"),
    [
        (0.75, 1.2, ("holds", "above_floor")),
        (math.inf, math.inf, ("holds", "above_floor")),
        (0.749, 0.75, ("weakens", "limit_below_floor")),
        (0.0, 0.749, ("overturns", "below_floor")),
        (None, 0.9, ("not_assessable", "not_estimated")),
        (None, None, ("not_assessable", "not_estimated")),
    ],
)
def test_fitness(limit, value, expected):
    assert told(battery.fitness(limit, value, floor=0.75)) == expected


def bias(gamma, direction):
    return HiddenBias(gamma, limit=gamma, odds_ratio=2.0, p=0.01, direction=direction, informative=9)


@pytest.mark.parametrize(
    ("every", "alone", "about", "expected"),
    [
        (bias(1.01, "benefit"), None, BENEFIT, ("holds", "withstands")),
        (bias(1.01, "harm"), None, HARM, ("holds", "withstands")),
        (bias(math.inf, "benefit"), None, BENEFIT, ("holds", "withstands")),
        (bias(1.0, "benefit"), None, BENEFIT, ("weakens", "not_distinguishable")),
        (bias(1.01, "harm"), None, BENEFIT, ("overturns", "opposite")),
        (bias(1.01, "benefit"), None, HARM, ("overturns", "opposite")),
        (None, None, BENEFIT, ("not_assessable", "few_mishaps")),
        # the worse of both decides
        (bias(9.0, "benefit"), bias(1.01, "benefit"), BENEFIT, ("holds", "passengers_withstands")),
        (bias(9.0, "harm"), bias(4.0, "harm"), HARM, ("holds", "passengers_withstands")),
        (bias(9.0, "benefit"), bias(1.0, "benefit"), BENEFIT, ("weakens", "passengers_not_distinguishable")),
        (bias(9.0, "benefit"), bias(1.0, "harm"), BENEFIT, ("weakens", "passengers_not_distinguishable")),
        (bias(9.0, "benefit"), bias(1.2, "harm"), BENEFIT, ("overturns", "passengers_opposite")),
        (bias(1.0, "benefit"), bias(1.2, "harm"), BENEFIT, ("overturns", "passengers_opposite")),
        (bias(1.0, "benefit"), bias(4.0, "benefit"), BENEFIT, ("weakens", "not_distinguishable")),
        (bias(2.0, "harm"), bias(4.0, "benefit"), BENEFIT, ("overturns", "opposite")),
    ],
)
def test_hidden_bias(every, alone, about, expected):
    assert told(battery.hidden_bias(every, alone, about=about)) == expected


@pytest.mark.parametrize(
    ("state", "finding", "expected"),
    [
        ("met", "both_hold", "holds"),
        ("met", "no_undocumented", "holds"),
        ("partly_met", "weakened", "weakens"),
        ("not_met", "overturned", "overturns"),
        ("not_met", "already_open", "weakens"),
        ("not_met", "few_documented", "not_assessable"),
        ("not_met", "not_estimated", "not_assessable"),
    ],
)
def test_wrong_entries_follow_gate_five(state, finding, expected):
    assert told(battery.wrong_entries(Gate("miscoding", state, finding))) == (expected, finding)


@dataclass(frozen=True)
class ALeg:
    difference: Estimate
    narrower: Estimate
    limit_error: float = 0.0
    narrower_error: float = 0.0


@pytest.mark.parametrize(
    ("about", "value", "expected"),
    [
        (Interval(-0.04, 0.2, 0.05, 1), 0.05, ("weakens", "already_open")),
        (Interval(-0.04, 0.2, 0.05, 1), -0.01, ("overturns", "overturned")),
        (Interval(0.01, 0.2, 0.05, 1), 0.05, ("overturns", "overturned")),
        (Interval(-0.2, 0.04, 0.05, -1), -0.05, ("weakens", "already_open")),
    ],
)
def test_an_interval_that_was_open_before_is_not_said_to_fall(about, value, expected):
    leg = ALeg(estimate(value, -0.2, 0.2), estimate(value, -0.1, 0.15))
    gate = miscoding_gate(MiscodingFigures(4, leg, leg), about)
    assert (gate.state, gate.finding) == (
        "not_met",
        expected[1],
    )  # the gate asks for more than an open interval
    assert told(battery.wrong_entries(gate)) == expected


def test_where_nothing_was_found_nothing_holds_or_falls():
    for one in (
        battery.impact_death(False, beyond_margin=False),
        battery.wrong_entries(Gate("miscoding", "met", "no_undocumented")),
    ):
        assert battery.where_something_was_found(one, about=NOTHING) == replace(one, state="not_assessable")
        for about in (BENEFIT, HARM, replace(SMALL, sign=0)):
            assert battery.where_something_was_found(one, about=about) == one


def test_an_impact_death_alarm_weakens_and_never_overturns():
    assert told(battery.impact_death(False, beyond_margin=False)) == ("holds", "quiet")
    assert told(battery.impact_death(True, beyond_margin=True)) == ("weakens", "alarm")
    assert told(battery.impact_death(None, beyond_margin=False)) == ("not_assessable", "not_estimated")


def test_a_check_too_wide_to_see_a_difference_beyond_its_margin_does_not_hold():
    assert told(battery.impact_death(False, beyond_margin=True)) == ("weakens", "blind")


WHOLE = estimate(0.10, 0.02, 0.18)


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ([(0.09, 0.01, 0.17), (0.12, 0.03, 0.2)], ("holds", "keeps_interval")),
        ([(0.09, 0.00, 0.17), (0.12, 0.03, 0.2)], ("weakens", "keeps_sign")),
        ([(0.12, 0.03, 0.2), (-0.01, -0.1, 0.17)], ("overturns", "turns")),
        ([(0.0, -0.1, 0.17)], ("overturns", "turns")),
        ([], ("not_assessable", "not_estimated")),
        (None, ("not_assessable", "not_estimated")),
    ],
)
def test_one_mishap_either_way(rows, expected):
    assert told(battery.one_mishap(WHOLE, rows, about=BENEFIT)) == expected
    if rows:
        turned = [(-value, -high, -low) for value, low, high in rows]
        assert told(battery.one_mishap(estimate(-0.10, -0.18, -0.02), turned, about=HARM)) == expected


def test_one_mishap_cannot_make_an_interval_hold_that_covers_zero_itself():
    open_ = estimate(0.1, -0.01, 0.2)
    assert told(battery.one_mishap(open_, [(0.1, 0.01, 0.2)], about=BENEFIT)) == ("weakens", "keeps_sign")
    assert battery.one_mishap(None, None, about=BENEFIT).state == "not_assessable"


@pytest.mark.parametrize(
    ("state", "finding", "expected"),
    [
        ("met", "most", "holds"),
        ("partly_met", "many", "weakens"),
        ("not_met", "few", "overturns"),
        ("not_met", "not_estimated", "not_assessable"),
    ],
)
def test_choices_follow_gate_eight(state, finding, expected):
    assert told(battery.choices(Gate("choices", state, finding))) == (expected, finding)


@pytest.mark.parametrize(
    ("differences", "harmless", "expected"),
    [
        ([WHOLE, estimate(0.08, 0.01, 0.15)], 3, ("holds", "keeps_interval")),
        ([WHOLE, estimate(0.08, -0.01, 0.15)], 3, ("weakens", "keeps_sign")),
        ([WHOLE, estimate(-0.01, -0.1, 0.15)], 3, ("overturns", "turns")),
        ([WHOLE], 0, ("not_assessable", "none_harmless")),
        (None, 3, ("not_assessable", "not_estimated")),
        ([], 3, ("not_assessable", "not_estimated")),
    ],
)
def test_under_reporting(differences, harmless, expected):
    assert told(battery.under_reporting(differences, harmless=harmless, about=BENEFIT)) == expected


@pytest.mark.parametrize(
    ("state", "finding", "expected"),
    [
        ("met", "overlap", ("holds", "overlap")),
        ("partly_met", "overlap", ("weakens", "partly")),
        ("partly_met", "empty_era", ("weakens", "partly")),
        ("not_met", "overlap", ("overturns", "little")),
        ("not_met", "not_estimated", ("not_assessable", "not_estimated")),
    ],
)
def test_counterparts_follow_gate_seven(state, finding, expected):
    assert told(battery.counterparts(Gate("comparable", state, finding))) == expected


@pytest.mark.parametrize(
    ("reading", "expected"),
    [
        ("fits", ("holds", "good")),
        ("too_sure", ("weakens", "poor")),
        ("no_better", ("weakens", "poor")),
        (None, ("not_assessable", "not_estimated")),
    ],
)
def test_calibration(reading, expected):
    assert told(battery.calibration(reading)) == expected


def test_nothing_that_was_found_is_never_said_to_hold():
    for about in (NOTHING, replace(NOTHING, worthwhile=0.5)):
        assert battery.worst_case((0.1, 0.2), unknown=3, about=about).state != "holds"
        assert battery.one_mishap(WHOLE, [(0.1, 0.05, 0.2)], about=about).state != "holds"
        assert battery.under_reporting([WHOLE], harmless=2, about=about).state != "holds"


def test_a_finding_that_is_not_listed_is_refused():
    with pytest.raises(SurvstatsError) as fault:
        not_assessable("calibration", "nobody_unknown")
    assert fault.value.reason == "unlisted_finding"
    with pytest.raises(SurvstatsError):
        battery.choices(Gate("choices", "met", "another"))


def test_every_listed_finding_is_named_in_the_source():
    source = Path(battery.__file__).read_text("utf-8")
    body = source[source.index("def not_assessable") :] + Path(doubts.__file__).read_text("utf-8")
    for name, findings in FINDINGS.items():
        # those of passengers alone are made of a prefix and the finding
        bare = [finding.removeprefix("passengers_") for finding in findings]
        assert [finding for finding in bare if f'"{finding}"' not in body] == [], name
