"""How many of the unknown dead would have to have been trained for the result to vanish?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hidden_entries_world import CAUSES, hidden_entries
from hidden_entries_world import NAMES as WORLD

from survstats.challenge.moved_unknown import (
    POINTS,
    Vanishing,
    _between_turns,
    _vanishing,
    moved_unknown,
    tipping,
)
from survstats.effects.imputation import ImputationPlan, impute
from survstats.effects.imputed_effect import imputed_effect
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import stream
from survstats.records.cohort import build_cohort
from survstats.records.demo import demo_folder
from survstats.records.deriving import derive
from survstats.records.loading import read_records

COVARIATES = ("role", "operator_code", "far_seat", "sig_wave_height_m")
NAMES = {"outcome": "survived", "exposure": "trained", "covariates": COVARIATES, "cluster": "mishap_id"}
PLAN = ImputationPlan(COVARIATES, draws=6, iterations=3, currency_months=24)


@pytest.fixture(scope="module")
def primary():
    folder = demo_folder("demo_main")
    records = read_records(folder / "mishap.csv", folder / "occupant.csv")
    return build_cohort(derive(records, currency_months=24), records, population="P1").frame


@pytest.fixture(scope="module")
def imputed(primary):
    return impute(primary, plan=PLAN, rng=stream(1, "imputation"))


@pytest.fixture(scope="module")
def found(imputed):
    return tipping(imputed, **NAMES)


def world(effect, *, mishaps=60, unknown_dead=0.3):
    people = hidden_entries(3, mishaps, effect=effect, missed=0.0, unknown_dead=unknown_dead)
    plan = ImputationPlan(CAUSES, draws=5, iterations=2, cluster="mishap", always=("survived",))
    return impute(people, plan=plan, rng=stream(1, "world"))


def test_the_middle_of_three_points_is_the_imputed_difference_and_survivors_stay(imputed):
    points = moved_unknown(imputed, **NAMES)
    plain = imputed_effect(imputed, **NAMES)
    assert [(one.delta_dead, one.delta_survivors) for one in points] == [(-1, 0), (0, 0), (1, 0)]
    assert points[1].difference.low == pytest.approx(plain.difference.low, abs=1e-8)
    assert (points[1].limit_error, points[1].value_error) == pytest.approx(
        (plain.limit_error, plain.value_error), abs=1e-8
    )
    assert len({one.trained_survived for one in points}) == 1
    assert points[0].difference.value > points[1].difference.value > points[2].difference.value


def with_so_many(imputed, people, *, outcome, exposure):
    """The same sets with exactly so many unknown dead current: the odds of all raised in each draw until it is so."""
    died = imputed.frames[0][outcome].to_numpy()[imputed.unknown] == 0
    frames = []
    for frame, chances, uniforms in zip(imputed.frames, imputed.chances, imputed.uniforms, strict=True):
        own, draws = chances[died], uniforms[died]
        for delta in np.linspace(-30, 30, 60001):
            tilted = own[:, 0] * np.exp(delta) / (own[:, 0] * np.exp(delta) + 1 - own[:, 0])
            if (draws[:, 0] < tilted).sum() >= people:
                break
        current = draws[:, 0] < tilted
        assert current.sum() == people
        rest = np.cumsum(own[:, 1:], axis=1) / own[:, 1:].sum(axis=1, keepdims=True)
        never = (draws[:, 1] >= rest[:, 0]) & (
            draws[:, 1] < rest[:, 1]
        )  # after the lapsed, before the briefed
        column = frame[exposure].to_numpy(float).copy()
        column[imputed.unknown[died]] = np.where(current, 1.0, np.where(never, 0.0, np.nan))
        frames.append(frame.assign(**{exposure: column}))
    return replace(imputed, frames=tuple(frames))


def by_people(found):
    return {one.trained_died: one.difference for one in found.points}


def test_more_trained_among_the_unknown_dead_is_a_smaller_difference(found):
    people = [one.trained_died for one in found.points]
    values = [one.difference.value for one in found.points]
    assert people == sorted(set(people))
    assert len(people) >= POINTS
    assert values == sorted(values, reverse=True)
    assert 0 < found.expected < 41


def test_each_point_is_that_number_of_them_in_every_draw(found, imputed):
    # one of them with odds raised by brute force, the whole analysis made again
    for people in (0, 17, 41):
        again = imputed_effect(with_so_many(imputed, people, outcome="survived", exposure="trained"), **NAMES)
        there = by_people(found)[people]
        assert (there.value, there.low, there.high) == pytest.approx(
            (again.difference.value, again.difference.low, again.difference.high), abs=1e-8
        )


def test_the_ends_are_none_of_the_unknown_dead_and_all_of_them(found, imputed):
    assert found.unknown_dead == imputed.died == 41
    assert found.points[0].trained_died == 0
    assert found.points[-1].trained_died == 41


def test_who_cannot_have_been_current_is_in_no_number(primary):
    frame = primary.copy()
    unknown = np.flatnonzero((frame["trained_status"] == "unknown") & (frame["survived"] == 0))
    old, lately = unknown[:9], unknown[9:14]
    columns = ["training_ever", "training_type", "training_date_precision"]
    frame.loc[old, columns] = "yes", "unknown", "day"
    frame.loc[old, "training_last_date"] = frame.loc[old, "event_date"] - pd.Timedelta(days=6000)
    frame.loc[lately, columns] = "yes", "underwater_escape", "day"
    frame.loc[lately, "training_last_date"] = frame.loc[lately, "event_date"] - pd.Timedelta(days=30)
    # their status would not be unknown had it been derived again: what is known binds even so
    points = tipping(impute(frame, plan=PLAN, rng=stream(1, "old")), **NAMES).points
    assert points[0].trained_died == 5
    assert points[-1].trained_died == 41 - 9


def test_the_number_is_the_first_whole_one_at_which_no_difference_is_left(found, imputed):
    assert found.difference.state == "crosses"
    first = found.difference.people
    assert isinstance(first, int)
    assert first > found.expected
    values = {
        people: imputed_effect(
            with_so_many(imputed, people, outcome="survived", exposure="trained"), **NAMES
        ).difference.value
        for people in (first - 1, first)
    }
    assert values[first] <= 0 < values[first - 1]


def test_an_interval_that_holds_no_difference_already_needs_nobody(found, imputed):
    assert imputed_effect(imputed, **NAMES).difference.low < 0
    assert found.chance == Vanishing("already")


def test_of_a_clear_benefit_chance_comes_first_and_no_difference_needs_more_people():
    strong = tipping(world(1.2, unknown_dead=0.5), **WORLD)
    assert strong.chance.state == strong.difference.state == "crosses"
    assert strong.expected <= strong.chance.people < strong.difference.people < strong.unknown_dead
    there = by_people(strong)
    first = strong.chance.people
    assert there[first - 1].low > 0 >= there[first].low
    assert all(one.low <= 0 for people, one in there.items() if people >= first)


def test_of_a_clear_harm_fewer_people_are_needed_not_more():
    harm = tipping(world(-1.2, unknown_dead=0.5), **WORLD)
    assert harm.chance.state == harm.difference.state == "crosses"
    assert harm.expected >= harm.chance.people > harm.difference.people > 0
    there = by_people(harm)
    last = harm.difference.people
    assert there[last + 1].value < 0 <= there[last].value
    last = harm.chance.people
    assert there[last + 1].high < 0 <= there[last].high


def test_few_unknown_dead_cannot_undo_a_large_difference():
    few = tipping(world(2.5, mishaps=90, unknown_dead=0.04), **WORLD)
    assert few.difference == Vanishing("never")
    assert few.points[-1].difference.value > 0
    few = tipping(world(-2.0, unknown_dead=0.1), **WORLD)
    assert few.difference == Vanishing("never")
    assert few.points[0].difference.value < 0


def test_how_many_is_not_counted_among_what_is_unknown():
    # drawn by odds, the draws hold unlike numbers of trained dead; with the number fixed their interval is narrower
    imputed = world(1.2, unknown_dead=0.5)
    fixed = tipping(imputed, **WORLD)
    for moved in moved_unknown(imputed, **WORLD, deltas=(1.0, 2.0)):
        nearest = min(fixed.points, key=lambda one: abs(one.trained_died - moved.trained_died)).difference
        assert nearest.se < moved.difference.se


def test_the_same_uniforms_and_chances_give_the_same_number_whatever_the_order_of_the_draws(imputed, found):
    turned = replace(
        imputed,
        frames=imputed.frames[::-1],
        chances=imputed.chances[::-1],
        uniforms=imputed.uniforms[::-1],
    )
    other = tipping(turned, **NAMES)
    assert (other.chance, other.difference, other.expected) == (
        found.chance,
        found.difference,
        found.expected,
    )


@pytest.mark.parametrize(
    ("gone", "expected"),
    [
        ([False, False, False], Vanishing("never")),
        ([False, True, True], Vanishing("crosses", people=6)),
        ([True, True, True], Vanishing("crosses", people=5)),
        ([False, True, False], Vanishing("dips", between=(6, 6))),
        ([True, False, True], Vanishing("dips", between=(5, 7))),
    ],
)
def test_gone_and_there_again_is_no_crossing(gone, expected):
    there = dict(zip((5, 6, 7), gone, strict=True))
    assert _vanishing([5, 6, 7], there, lambda each: -1.0 if each else 1.0) == expected


def test_downward_the_greatest_number_is_the_answer():
    there = {7: False, 6: True, 5: True}
    assert _vanishing([7, 6, 5], there, lambda each: -1.0 if each else 1.0) == Vanishing("crosses", people=6)


def test_a_gap_is_narrowed_until_its_ends_are_neighbours():
    def height(value):
        return 137.5 - value

    there = {people: people for people in (0, 100, 200, 300)}
    tried = 0
    while asked := _between_turns(there, [height], 20, 1.0):
        assert min(asked) > 100
        assert len(asked) <= POINTS
        there |= {people: people for people in asked}
        tried += 1
    assert tried == 2
    assert {137, 138} <= set(there)
    assert not _between_turns(
        {0: 0, 300: 300}, [height], 250, -1.0
    )  # what lies the other way is not asked for


def test_a_sign_other_than_the_main_result_has_vanished_already(imputed):
    other = tipping(imputed, sign=-1.0, **NAMES)
    assert (other.chance.state, other.difference.state) == ("already", "already")


def test_nobody_unknown_among_the_dead_is_said():
    people = hidden_entries(3, 20, missed=0.0)
    people.loc[np.flatnonzero(people["survived"] == 1)[:10], ["trained", "trained_status"]] = (
        np.nan,
        "unknown",
    )
    plan = ImputationPlan(("crew",), draws=3, iterations=1, cluster="mishap", always=("survived",))
    done = impute(people, plan=plan, rng=stream(1, "nobody"))
    with pytest.raises(NotEstimable) as fault:
        tipping(done, **{**WORLD, "covariates": ("crew",)})
    assert fault.value.reason == "nobody_unknown"
