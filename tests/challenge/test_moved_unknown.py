"""How many of the unknown dead would have to have been trained for the result to vanish?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hidden_entries_world import CAUSES, hidden_entries
from hidden_entries_world import NAMES as WORLD

from survstats.challenge.moved_unknown import GRID, moved_unknown, tipping
from survstats.effects.imputation import ImputationPlan, impute
from survstats.effects.imputed_effect import delta_range, imputed_effect
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


def test_more_trained_among_the_unknown_dead_is_a_smaller_difference(found):
    assert [one.delta_dead for one in found.points] == list(GRID)
    people = [one.trained_died for one in found.points]
    values = [one.difference.value for one in found.points]
    assert people == sorted(people)
    assert values == sorted(values, reverse=True)
    assert found.expected == people[GRID.index(0.0)]


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


def test_the_number_lies_where_the_difference_is_none(found, imputed):
    assert found.difference_state == "crosses"
    near = [(one.trained_died, one.difference.value) for one in delta_range(
        imputed, np.linspace(-2, 2, 41), (0.0,), **NAMES
    )]  # fmt: skip
    below = min(people for people, value in near if value <= 0)
    above = max(people for people, value in near if value > 0)
    assert above - 0.5 < found.no_difference < below + 0.5
    assert found.no_difference > found.expected


def test_an_interval_that_holds_no_difference_already_needs_nobody(found):
    assert found.points[GRID.index(0.0)].difference.low < 0
    assert (found.chance_state, found.not_beyond_chance) == ("already", None)


def test_of_a_clear_benefit_chance_comes_first_and_no_difference_needs_more_people():
    strong = tipping(world(1.2, unknown_dead=0.5), **WORLD)
    assert strong.chance_state == strong.difference_state == "crosses"
    assert strong.expected < strong.not_beyond_chance < strong.no_difference < strong.unknown_dead
    at = [one.trained_died for one in strong.points]
    place = next(i for i, people in enumerate(at) if people > strong.not_beyond_chance)
    assert strong.points[place - 1].difference.low > 0 >= strong.points[place].difference.low


def test_of_a_clear_harm_fewer_people_are_needed_not_more():
    harm = tipping(world(-1.2, unknown_dead=0.5), **WORLD)
    assert harm.points[GRID.index(0.0)].difference.high < 0
    assert harm.chance_state == harm.difference_state == "crosses"
    assert harm.expected > harm.not_beyond_chance > harm.no_difference > 0
    at = [one.trained_died for one in harm.points]
    place = next(i for i, people in enumerate(at) if people > harm.no_difference)
    assert harm.points[place - 1].difference.value > 0 > harm.points[place].difference.value


def test_few_unknown_dead_cannot_undo_a_large_difference():
    few = tipping(world(2.5, mishaps=90, unknown_dead=0.04), **WORLD)
    assert few.difference_state == "never"
    assert few.no_difference is None
    assert few.points[-1].difference.value > 0
    few = tipping(world(-2.0, unknown_dead=0.1), **WORLD)
    assert few.difference_state == "never"
    assert few.points[0].difference.value < 0


def test_a_sign_other_than_the_main_result_has_vanished_already(imputed):
    other = tipping(imputed, sign=-1.0, **NAMES)
    assert (other.chance_state, other.difference_state) == ("already", "already")


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
