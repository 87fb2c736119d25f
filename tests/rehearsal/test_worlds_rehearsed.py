"""Are the rehearsal's worlds the design's, and do their records say of them what the scenario says?

Truths (.172 and .286 with training, crude +.063 without) are the design's, computed there by simulation with two
independent programs; that a fitness of .8 and .8 makes a difference of about .10 out of nothing is its simulation too.
"""

from __future__ import annotations

import datetime

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from survstats.groundwork.errors import CallError
from survstats.groundwork.resampling import stream
from survstats.records.checking import check_records
from survstats.records.cohort import build_cohort
from survstats.records.deriving import derive
from survstats.records.invented.worlds import simulate_logistic
from survstats.rehearsal.scenarios import CELLS, EFFECT_17, EFFECT_29, SCENARIOS, cells_named
from survstats.rehearsal.worlds import simulate_people, simulate_records

#: People, trained, survivors, and the sums of both by place, of 40 mishaps; written down before worlds had fitness.
GOLDEN = (268, 140, 140, 18_986, 20_078)
BY_NAME = {scenario.name: scenario for scenario in SCENARIOS}


def alive_at_immersion(mishaps, seed=1, **world):
    people = simulate_logistic(mishaps, np.random.default_rng(seed), **world)
    return people[people["impact_death"] == 0]


def adjusted(people):
    """A plain maximum likelihood fit, standardised; independent of the package's own road."""
    causes = people[["trained", "crew", "far", "sea_state", "cold", "operator_south"]].astype(float)
    causes = sm.add_constant(
        causes.join(pd.get_dummies(people["aircraft_class"], drop_first=True, dtype=float))
    )
    fit = sm.Logit(people["survived"].astype(float), causes).fit(disp=False)
    return float((fit.predict(causes.assign(trained=1.0)) - fit.predict(causes.assign(trained=0.0))).mean())


def test_the_true_differences():
    for effect, truth in ((EFFECT_17, 0.172), (EFFECT_29, 0.286), (0.0, 0.0)):
        people = alive_at_immersion(40_000, effect=effect)
        gain = (people["survived_if_trained"] - people["survived_if_untrained"]).mean()
        assert gain == pytest.approx(truth, abs=0.003 if effect else 0)


def test_without_effect_the_crude_difference_is_there_and_the_adjusted_one_is_not():
    people = alive_at_immersion(20_000, effect=0.0)
    crude = people.groupby("trained")["survived"].mean()
    assert crude[1] - crude[0] == pytest.approx(0.063, abs=0.01)
    assert adjusted(people) == pytest.approx(0.0, abs=0.01)


def test_hidden_fitness_makes_ten_points_out_of_nothing():
    people = alive_at_immersion(20_000, effect=0.0, fitness=0.8)
    assert (people["survived_if_trained"] == people["survived_if_untrained"]).all()
    assert adjusted(people) == pytest.approx(0.10, abs=0.015)


def test_without_fitness_the_world_of_a_seed_is_the_one_it_was_before_fitness_was_thought_of():
    people = simulate_logistic(40, np.random.default_rng(3))
    place = np.arange(len(people))
    assert (len(people), people["trained"].sum(), people["survived"].sum()) == GOLDEN[:3]
    assert ((people["trained"] * place).sum(), (people["survived"] * place).sum()) == GOLDEN[3:]


def test_fitness_moves_training_and_fate_and_nothing_else():
    without, fit = (simulate_logistic(60, np.random.default_rng(8), fitness=size) for size in (0.0, 0.8))
    moved = ["trained", "survived", "survived_if_trained", "survived_if_untrained"]
    pd.testing.assert_frame_equal(without.drop(columns=moved), fit.drop(columns=moved))
    assert (without["trained"] != fit["trained"]).any()


@pytest.mark.parametrize("name", BY_NAME)
def test_the_records_say_what_the_scenario_says(name):
    scenario = BY_NAME[name]
    people = simulate_people(scenario, 3_000, stream(1, name))
    dead, trained = ~people["alive"], people["trained"] == 1
    inferred = people["evidence"] == "inferred"
    unknown = people["recorded"] == "unknown"
    assert unknown[dead].mean() == pytest.approx(scenario.unknown_dead, abs=0.02)
    assert unknown[~dead].mean() == pytest.approx(scenario.unknown_survivors, abs=0.01)
    assert inferred[dead].mean() == pytest.approx(scenario.inferred_dead, abs=0.02)
    assert not inferred[~dead].any()
    wrong = (people["recorded"] == "none") & trained
    assert not (wrong & ~(dead & inferred)).any()
    assert wrong.sum() == pytest.approx(scenario.miscoded * (dead & inferred & trained).sum(), rel=0.1)
    assert not ((people["recorded"] == "current") & ~trained).any()


def test_the_records_carry_every_person_of_the_world_and_break_no_rule():
    scenario = BY_NAME["unknown_17"]
    people = simulate_people(scenario, 60, stream(1, "one"))
    records = simulate_records(scenario, 60, stream(1, "one"))
    frame = derive(records, currency_months=24)
    assert (frame["survived"] == people["alive"].astype(int)).all()
    assert (frame["trained_status"].astype(str) == people["recorded"]).all()
    assert (frame["documented"] == people["evidence"].isin(["certificate", "roster"])).all()
    assert (frame["far_seat"].eq("yes") == (people["far"] == 1)).all()
    assert frame["sig_wave_height_m"].to_numpy() == pytest.approx(people["sea_state"].to_numpy(), abs=1e-6)
    assert (frame["cold"].eq("yes") == (people["cold"] == 1)).all()
    cohort = build_cohort(frame, records, population="P1")
    assert len(cohort.frame) == (people["impact_death"] == 0).sum()
    found = check_records(records, today=datetime.date(2026, 11, 24))
    assert [finding for finding in found if finding.severity in ("error", "banner")] == []


def test_cells_are_asked_for_by_name():
    assert [cell.name for cell in cells_named(("null/30", "clean_29"))] == [
        "clean_29/30",
        "clean_29/60",
        "clean_29/120",
        "null/30",
    ]
    assert len({cell.name for cell in CELLS}) == len(CELLS)
    with pytest.raises(CallError, match="nul/30"):
        cells_named(("nul/30",))
