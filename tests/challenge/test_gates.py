"""Does each gate change its state exactly at its threshold?"""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd
import pytest

from survstats.challenge.few_mishaps import WithinRoute
from survstats.challenge.gates import (
    EnoughFigures,
    SeenFigures,
    all_eight,
    beyond_chance_gate,
    comparable_gate,
    enough_gate,
    seen_gate,
)
from survstats.challenge.verdict import GATES, Gate
from survstats.effects.overlap import Overlap
from survstats.groundwork.errors import SurvstatsError
from survstats.groundwork.estimate import Estimate

# ---- seen -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("dead", "survivors", "worst", "state"),
    [
        (0.80, 0.90, False, "met"),
        (0.80, 0.70, False, "met"),
        (1.00, 1.00, False, "met"),
        (0.79, 0.79, False, "partly_met"),
        (0.80, 0.91, False, "partly_met"),
        (0.50, 1.00, False, "partly_met"),
        (0.49, 0.49, False, "not_met"),
        (0.49, 1.00, True, "partly_met"),
        (0.00, 0.00, False, "not_met"),
    ],
)
def test_seen(dead, survivors, worst, state):
    assert seen_gate(SeenFigures(dead, survivors, "no", worst)).state == state


def test_seen_fails_where_only_survivors_were_asked_whatever_else_holds():
    assert seen_gate(SeenFigures(1.0, 1.0, "yes", True)) == Gate("seen", "not_met", "survivor_only")


@pytest.mark.parametrize(("dead", "survivors"), [(None, 1.0), (1.0, None), (None, None)])
def test_seen_needs_both_dead_and_survivors(dead, survivors):
    assert seen_gate(SeenFigures(dead, survivors, "no", False)) == Gate("seen", "not_met", "nobody_to_see")


# ---- enough ---------------------------------------------------------------------------------------------------------

PLENTY = EnoughFigures(15, 20, 20, 20, 20, 8.0, None)
SOME = EnoughFigures(8, 10, 10, 10, 10, None, None)


@pytest.mark.parametrize(
    ("figures", "state"),
    [
        (PLENTY, "met"),
        *[
            (replace(PLENTY, **{name: getattr(PLENTY, name) - 1}), "partly_met")
            for name in ("mishaps", "dead", "survivors", "trained", "untrained", "df")
        ],
        (replace(PLENTY, df=7.99), "partly_met"),
        (replace(PLENTY, df=None), "partly_met"),
        (SOME, "partly_met"),
        *[
            (replace(SOME, **{name: getattr(SOME, name) - 1}), "not_met")
            for name in ("mishaps", "dead", "survivors", "trained", "untrained")
        ],
        (replace(SOME, mishaps=2, within_p_same_direction=0.0099), "partly_met"),
        (replace(SOME, mishaps=2, within_p_same_direction=0.01), "not_met"),
    ],
)
def test_enough(figures, state):
    assert enough_gate(figures).state == state


def test_enough_says_when_only_the_degrees_of_freedom_are_short():
    assert enough_gate(replace(PLENTY, df=7.99)).finding == "df"
    assert enough_gate(replace(PLENTY, dead=19)).finding == "counts"
    assert enough_gate(replace(PLENTY, df=None)).finding == "no_model"


def test_seen_tells_a_gap_from_too_few_papers_and_what_was_said():
    assert seen_gate(SeenFigures(0.8, 0.91, "no", False)).finding == "gap"
    assert seen_gate(SeenFigures(0.79, 0.79, "no", False)).finding == "documented"
    assert seen_gate(SeenFigures(1.0, 1.0, "said", True)) == Gate("seen", "not_met", "said_survivor_only")


def test_enough_says_when_it_leans_on_the_comparison_within_mishaps():
    assert enough_gate(replace(SOME, mishaps=2, within_p_same_direction=0.001)).finding == "within_mishap"
    assert enough_gate(replace(PLENTY, within_p_same_direction=0.001)).finding == "counts"


# ---- beyond chance --------------------------------------------------------------------------------------------------


def estimate(low, high, *, value=None, unit="difference"):
    return Estimate(
        value=(low + high) / 2 if value is None else value,
        low=low,
        high=high,
        se=math.nan,
        level=0.95,
        df=9.0,
        scale="identity",
        unit=unit,
        method="m",
        mishaps=10,
        occupants=50,
    )


def left_out(*rows):
    return pd.DataFrame(rows, columns=["difference", "low", "high"])


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(
    ("low", "narrower_low", "smallest", "smallest_low", "state", "finding"),
    [
        (0.01, 0.02, 0.05, 0.001, "met", "any_one_out"),
        (0.01, 0.02, 0.05, 0.0, "partly_met", "one_mishap_matters"),
        (0.01, 0.02, 0.05, -0.01, "partly_met", "one_mishap_matters"),
        (0.01, 0.02, 0.00, -0.10, "not_met", "one_mishap_turns"),
        (0.01, 0.02, -0.01, -0.10, "not_met", "one_mishap_turns"),
        (0.0, 0.02, 0.05, -0.01, "partly_met", "close"),
        (-0.01, 0.02, 0.05, -0.02, "partly_met", "close"),
        (-0.01, 0.02, -0.01, -0.2, "not_met", "covers_zero"),
        (-0.05, 0.0, 0.05, -0.1, "not_met", "covers_zero"),
    ],
)
def test_beyond_chance_either_way(sign, low, narrower_low, smallest, smallest_low, state, finding):
    def turned(bottom, top):
        return estimate(*sorted((sign * bottom, sign * top)))

    rows = [
        (sign * d, *sorted((sign * d_low, sign * 0.4)))
        for d, d_low in ((0.1, 0.05), (smallest, smallest_low))
    ]
    found = beyond_chance_gate(turned(low, 0.3), turned(narrower_low, 0.25), left_out(*rows))
    assert (found.state, found.finding) == (state, finding)


def test_beyond_chance_needs_an_estimate():
    assert beyond_chance_gate(None, None, None) == Gate("beyond_chance", "not_met", "not_estimated")


ROUTE = WithinRoute(6, 6, 0, p=0.0099, p_without_one=0.049, sign_p=0.049)


@pytest.mark.parametrize(
    ("route", "state", "finding"),
    [
        (ROUTE, "met", "within_route"),
        (replace(ROUTE, better=0, worse=6), "met", "within_route"),
        (replace(ROUTE, p=0.01), "partly_met", "within_route_close"),
        (replace(ROUTE, p_without_one=0.05), "partly_met", "within_route_close"),
        (replace(ROUTE, sign_p=0.05), "partly_met", "within_route_close"),
        (replace(ROUTE, p=0.049, p_without_one=0.9, sign_p=0.099), "partly_met", "within_route_close"),
        (replace(ROUTE, p=0.05), "not_met", "within_route_not_shown"),
        (replace(ROUTE, sign_p=0.10), "not_met", "within_route_not_shown"),
    ],
)
def test_beyond_chance_with_too_few_mishaps_for_a_model(route, state, finding):
    assert beyond_chance_gate(None, None, None, route=route) == Gate("beyond_chance", state, finding)


def test_the_road_for_few_mishaps_is_not_looked_at_where_there_is_a_model():
    wide, rows = estimate(-0.1, 0.3), left_out((0.1, -0.1, 0.3))
    assert beyond_chance_gate(wide, wide, rows, route=ROUTE).finding == "covers_zero"


# ---- comparable -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("inside", "effective", "eras", "state", "finding"),
    [
        (0.80, 0.50, (), "met", "overlap"),
        (0.79, 1.00, (), "partly_met", "overlap"),
        (0.80, 0.49, (), "partly_met", "effective"),
        (1.00, 1.00, ("2010s",), "partly_met", "empty_era"),
        (0.80, 0.49, ("2010s",), "partly_met", "empty_era"),
        (0.60, 0.10, ("2010s",), "partly_met", "overlap"),
        (0.59, 1.00, (), "not_met", "overlap"),
    ],
)
def test_comparable_in_either_group(inside, effective, eras, state, finding):
    for found in (Overlap(inside, 1.0, 1.0, effective, eras), Overlap(1.0, inside, effective, 1.0, eras)):
        gate = comparable_gate(found)
        assert (gate.state, gate.finding) == (state, finding)


def test_comparable_needs_two_groups():
    assert comparable_gate(None) == Gate("comparable", "not_met", "not_estimated")


def test_the_word_takes_all_eight_gates_in_order_and_no_others():
    whole = tuple(Gate(name, "met", "x") for name in GATES)
    assert all_eight(whole) == whole
    for wrong in (whole[:7], (*whole, whole[7]), whole[::-1], (*whole[:7], Gate("other", "met", "x"))):
        with pytest.raises(SurvstatsError) as fault:
            all_eight(wrong)
        assert fault.value.reason == "other_gates"
