"""Do plausible worlds hold what was given and recorded, and keep a figure its draws whatever is beside it?"""

from __future__ import annotations

import math
from dataclasses import fields, replace

import numpy as np
import pytest
from fleet_records import by_role_and_seat, demo
from hypothesis import given as drawn_from
from hypothesis import settings
from hypothesis import strategies as st
from scipy import stats

from survstats.decision.aboard import people_at_risk
from survstats.decision.draw_worlds import (
    DecisionInputs,
    Drawn,
    GroupInputs,
    SpendInputs,
    assumed_gain,
    check_inputs,
    draw_worlds,
)
from survstats.decision.exposure import MishapRate
from survstats.decision.given import Given
from survstats.decision.group_gain import group_gain
from survstats.decision.room import difference_recorded, faded, room_for, survival_holding
from survstats.groundwork.errors import CallError, StudyFileError

NAMES = ("crew", "near", "far")


def inputs(names=NAMES) -> DecisionInputs:
    """Invented figures."""
    return DecisionInputs(
        rate=MishapRate(3, 200_000),
        hours_a_year=Given("hours_a_year", 20_000, 18_000, 22_000, "normal"),
        first_course_cost=Given("first_course_cost", 1500, 1200, 1900, "lognormal"),
        refresher_cost=Given("refresher_cost", 900),
        travel_cost=Given("travel_cost", 200, 100, 400, "lognormal"),
        cover_cost=Given("cover_cost", 400, 300, 500, "uniform"),
        programme_cost_a_year=Given("programme_cost_a_year", 10_000),
        half_life_months=Given("half_life_months", 24, 12, 48, "lognormal"),
        deaths_per_course=Given("deaths_per_course", 1e-6, 1e-7, 1e-5, "lognormal"),
        injuries_per_course=Given("injuries_per_course", 0.002, 0.0008, 0.0038, "beta"),
        injury_cost=Given("injury_cost", 5_000),
        groups=tuple(
            GroupInputs(name, Given("people", 100), Given("leavers_a_year", 0.15, 0.1, 0.2, "lognormal"))
            for name in names
        ),
    )


def spend(name):
    return SpendInputs(
        name,
        Given("cost_a_year", 50_000, 40_000, 60_000, "normal"),
        Given("deaths_averted", 0.05, 0.02, 0.09, "beta"),
        Given("overlap", 0.3, 0.1, 0.5, "uniform"),
    )


@pytest.fixture(scope="module")
def worlds_of():
    records = demo("demo_main")

    def make(given: DecisionInputs, *, seed=7, draws=2_000, names=NAMES) -> Drawn:
        analysed, aboard = (by_role_and_seat(frame) for frame in (records.analysed, records.aboard))
        return draw_worlds(
            given,
            group_gain(records.refits, {name: analysed[name] for name in names}),
            people_at_risk(records.aboard, {name: aboard[name] for name in names}, mishaps=60),
            months_since=records.months_since,
            seed=seed,
            draws=draws,
        )

    return make


def same(one, other, but=()):
    """Fields of two sets of worlds that are not the same."""
    return {
        field.name
        for field in fields(one.worlds)
        if field.name not in but
        and not np.array_equal(getattr(one.worlds, field.name), getattr(other.worlds, field.name))
    }


def test_every_field_has_its_shape_and_what_it_is_made_of(worlds_of):
    drawn = worlds_of(replace(inputs(), spends=(spend("rafts"),)))
    worlds = drawn.worlds
    assert worlds.groups == NAMES
    assert worlds.draws == 2_000
    for name in ("at_risk", "leaving"):
        assert getattr(worlds, name).shape == (2_000, 3)
    for name in ("survival_untrained", "gain"):
        assert getattr(worlds, name).shape == (2_000, 3, 2)
    assert worlds.people.tolist() == [100, 100, 100]
    assert worlds.mishaps_a_year.mean() == pytest.approx(0.35, rel=0.05)
    assert np.median(worlds.fading) == pytest.approx(math.log(2) / 2, rel=0.05)
    assert worlds.fixed_cost[0] == 10_000
    assert worlds.false_confidence.tolist() == [0.0] * 2_000
    assert (worlds.spends["rafts"].overlap >= 0.1).all()
    np.testing.assert_array_equal(worlds.recorded_months, drawn.months_since)


def test_a_course_costs_its_fee_the_travel_and_the_cover(worlds_of):
    known = {
        name: Given(name, value)
        for name, value in (("first_course_cost", 1000), ("travel_cost", 20), ("cover_cost", 3))
    }
    worlds = worlds_of(replace(inputs(), **known)).worlds
    assert set(worlds.first_cost) == {1023}
    assert set(worlds.refresher_cost) == {923}


def test_the_same_seed_gives_the_same_worlds_and_another_others(worlds_of):
    once, again, other = (worlds_of(inputs(), seed=seed) for seed in (7, 7, 8))
    assert same(once, again) == set()
    assert {"mishaps_a_year", "at_risk", "gain", "fading", "leaving"} <= same(once, other)


def test_one_figure_more_moves_no_others_draws(worlds_of):
    before = worlds_of(inputs())
    more = replace(
        inputs(),
        false_confidence=Given("false_confidence", 0.01, 0.0, 0.02, "uniform"),
        spends=(spend("rafts"),),
    )
    after = worlds_of(more)
    assert same(before, after) == {"false_confidence", "spends"}
    both = worlds_of(replace(more, spends=(spend("lights"), spend("rafts"))))
    np.testing.assert_array_equal(both.worlds.spends["rafts"].overlap, after.worlds.spends["rafts"].overlap)


def test_figures_that_have_nothing_to_do_with_each_other_do_not_move_together(worlds_of):
    # One stream for all would draw them all high or all low. Error of a correlation of 2,000 draws: .022.
    drawn = worlds_of(replace(inputs(), spends=(spend("rafts"), spend("lights"))))
    worlds = drawn.worlds
    each = np.vstack(
        [
            worlds.mishaps_a_year,
            worlds.at_risk[:, 0],
            drawn.gain.observed[:, 0, 0],
            worlds.fading,
            worlds.first_cost,
            worlds.refresher_cost - worlds.first_cost,
            worlds.deaths_per_course,
            worlds.injuries_per_course,
            *worlds.leaving.T,
            *(
                part
                for one in worlds.spends.values()
                for part in (one.cost_a_year, one.deaths_averted, one.overlap)
            ),
        ]
    )
    together = np.abs(stats.spearmanr(each, axis=1).statistic - np.eye(len(each)))
    together[4, 5] = together[5, 4] = 0.0  # both hold the fee of the first course
    assert together.max() < 0.11


def test_another_half_life_moves_fading_and_gain_alone(worlds_of):
    before = worlds_of(inputs())
    after = worlds_of(replace(inputs(), half_life_months=Given("half_life_months", 12, 6, 24, "lognormal")))
    assert same(before, after) == {"fading", "gain"}
    np.testing.assert_allclose(after.worlds.fading, 2 * before.worlds.fading)
    np.testing.assert_array_equal(before.gain.observed, after.gain.observed)


def test_the_order_of_groups_moves_no_groups_draws(worlds_of):
    turned = NAMES[::-1]
    one, other = (worlds_of(inputs(names), names=names).worlds for names in (NAMES, turned))
    for name in ("at_risk", "leaving", "survival_untrained", "gain"):
        np.testing.assert_allclose(getattr(one, name), getattr(other, name)[:, ::-1], rtol=1e-9)


def test_the_gain_is_what_was_observed_over_what_was_held_wherever_there_is_room_for_it(worlds_of):
    drawn = worlds_of(replace(inputs(), half_life_months=Given("half_life_months", 24.0)), draws=20_000)
    records = demo("demo_main")
    groups = by_role_and_seat(records.analysed)
    expected = group_gain(records.refits, {name: groups[name] for name in NAMES}).difference
    observed = drawn.gain.observed
    error = observed.std(axis=0) / math.sqrt(20_000)
    assert (np.abs(observed.mean(axis=0) - expected) < 4 * error).all()
    gain = drawn.worlds.gain
    free = np.abs(gain) <= room_for(gain, drawn.worlds.survival_untrained)
    assert free.mean() > 0.9
    plain = observed / drawn.mean_held[:, None, None]
    np.testing.assert_allclose(gain[free], plain[free], rtol=1e-9)
    assert (np.abs(gain) >= np.abs(plain) - 1e-12)[~free].mean() > 0.9


@pytest.mark.parametrize("points", [0.0, 0.05, 0.15, -0.1])
def test_an_assumed_difference_is_the_same_for_everybody_and_fits_in_where_it_is_held(worlds_of, points):
    drawn = worlds_of(inputs())
    worlds = assumed_gain(drawn.worlds, points)
    still = faded(worlds.fading, worlds.recorded_months)
    shown = difference_recorded(worlds.gain, worlds.survival_untrained, still)
    room = room_for(np.full(shown.shape, points), worlds.survival_untrained)
    np.testing.assert_allclose(shown, np.clip(points, -room, room), atol=1e-12)
    assert (abs(points) <= room).mean() > 0.5
    changed = {
        field.name
        for field in fields(worlds)
        if getattr(worlds, field.name) is not getattr(drawn.worlds, field.name)
    }
    assert changed == {"gain"}


@settings(deadline=None, max_examples=10)
@drawn_from(
    seed=st.integers(0, 10_000), half_life=st.floats(1, 200), points=st.floats(-1, 1), x=st.integers(0, 20)
)
def test_probabilities_are_probabilities_in_every_world(worlds_of, seed, half_life, points, x):
    given = replace(inputs(), half_life_months=Given("half_life_months", half_life), rate=MishapRate(x, 1e5))
    drawn = worlds_of(given, seed=seed, draws=200)
    for worlds in (drawn.worlds, assumed_gain(drawn.worlds, points)):
        held = survival_holding(
            worlds.gain, worlds.survival_untrained, interval=2.0, fading=worlds.fading[:, None, None]
        )
        for share in (worlds.survival_untrained, held):
            assert ((share >= 0) & (share <= 1)).all()
    assert ((drawn.mean_held > 0) & (drawn.mean_held <= 1)).all()
    assert (drawn.worlds.at_risk >= 0).all()
    assert (drawn.worlds.mishaps_a_year > 0).all()


@pytest.mark.parametrize(
    ("reason", "change"),
    [
        ("below_floor", {"travel_cost": Given("travel_cost", 100, -10, 210, "normal")}),
        ("below_floor", {"half_life_months": Given("half_life_months", 0.0)}),
        ("above_ceiling", {"deaths_per_course": Given("deaths_per_course", 1.5)}),
        ("above_ceiling", {"false_confidence": Given("false_confidence", 20.0)}),
        ("not_a_count", {"rate": MishapRate(-2, 100)}),
        (
            "must_be_known",
            {
                "groups": (
                    GroupInputs(
                        "crew", Given("people", 100, 90, 110, "uniform"), Given("leavers_a_year", 0.1)
                    ),
                )
            },
        ),
    ],
)
def test_what_cannot_be_is_refused(reason, change):
    with pytest.raises(StudyFileError) as caught:
        check_inputs(replace(inputs(), **change))
    assert caught.value.reason == reason
    assert caught.value.remedy


def test_figures_of_other_groups_are_refused(worlds_of):
    with pytest.raises(CallError) as caught:
        worlds_of(inputs(("crew", "far", "near")))
    assert caught.value.reason == "groups_differ"
