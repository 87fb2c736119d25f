"""Does the road find an effect that was built in, where a count without adjustment sees one that is not there?

Announced seeds: ``default_rng([2026, s])`` for s = 0 to 199, chosen before any was looked at. The world and its truths
(RD .172 with the effect, crude +.063 without) are the design's logistic world, computed there by simulation.
"""

from __future__ import annotations

import numpy as np
import pytest

from survstats.effects.augmented import augmented
from survstats.effects.crude import crude_difference
from survstats.effects.risk_model import prepare
from survstats.effects.standardise import standardise
from survstats.records.invented.worlds import simulate_logistic

SEEDS = range(200)
TRUTH = 0.172
NAMES = {"outcome": "survived", "exposure": "trained", "cluster": "mishap"}
#: Everything the world's survival depends on but the mishaps' shared luck.
CAUSES = ("crew", "far", "inverted", "sea_state", "cold", "aircraft_class", "operator_south")


def alive_at_immersion(seed: int, effect: float, mishaps: int = 60):
    frame = simulate_logistic(mishaps, np.random.default_rng([2026, seed]), effect=effect)
    return frame[frame["impact_death"] == 0]


def adjusted(frame):
    return standardise(prepare(frame, covariates=CAUSES, **NAMES)).difference


def crude(frame):
    return crude_difference(frame, **NAMES)


def holds(found, truth):
    return sum(one.low <= truth <= one.high for one in found)


def mean_and_error(found):
    values = np.array([one.value for one in found])
    return values.mean(), values.std(ddof=1) / np.sqrt(len(values))


def test_the_truth_of_this_world():
    frame = alive_at_immersion(0, 0.9, mishaps=20_000)
    truth = (frame["survived_if_trained"] - frame["survived_if_untrained"]).mean()
    assert truth == pytest.approx(TRUTH, abs=0.006)


def test_without_any_effect_the_crude_difference_still_finds_one():
    mean, error = mean_and_error([crude(alive_at_immersion(seed, 0.0)) for seed in range(60)])
    assert mean == pytest.approx(0.063, abs=0.025)
    assert mean > 3 * error


def test_in_a_large_world_all_roads_but_the_crude_one_lead_to_the_truth():
    frame = alive_at_immersion(0, 0.9, mishaps=400)
    roads = adjusted(frame), augmented(frame, covariates=CAUSES, **NAMES).difference
    truth = (frame["survived_if_trained"] - frame["survived_if_untrained"]).mean()
    assert all(abs(road.value - truth) < 3 * road.se for road in roads)
    assert crude(frame).value - truth > 3 * crude(frame).se


@pytest.mark.slow
def test_the_built_in_difference_lies_in_the_interval_as_often_as_printed():
    # 200 intervals of 95 %: fewer than 179 has a chance of about .0002
    found = [adjusted(alive_at_immersion(seed, 0.9)) for seed in SEEDS]
    assert holds(found, TRUTH) >= 179
    assert np.mean([one.value for one in found]) == pytest.approx(TRUTH, abs=0.012)


@pytest.mark.slow
def test_without_any_effect_only_the_crude_difference_cries_out():
    rows = [alive_at_immersion(seed, 0.0) for seed in SEEDS]
    plain, fair = [crude(frame) for frame in rows], [adjusted(frame) for frame in rows]
    mean, error = mean_and_error(plain)
    assert mean > 0.04
    assert mean > 10 * error
    assert (
        holds(plain, 0.0) < 180
    )  # false alarms above one in ten, where one in twenty is announced; seen: 37
    mean, error = mean_and_error(fair)
    assert abs(mean) < 3 * error
    assert holds(fair, 0.0) >= 179
