"""Does the road find an effect that was built in, where a count without adjustment sees one that is not there?"""

from __future__ import annotations

import numpy as np
import pytest

from survstats.effects.crude import crude_difference
from survstats.effects.risk_model import prepare
from survstats.effects.standardise import standardise
from survstats.records.invented.worlds import simulate_logistic

#: Everything the world's survival depends on but the mishaps' shared luck.
CAUSES = ("crew", "far", "inverted", "sea_state", "cold", "aircraft_class", "operator_south")


def alive_at_immersion(seed: int, effect: float, mishaps: int = 60):
    frame = simulate_logistic(mishaps, np.random.default_rng([2026, seed]), effect=effect)
    return frame[frame["impact_death"] == 0]


def adjusted(frame):
    return standardise(
        prepare(frame, outcome="survived", exposure="trained", covariates=CAUSES, cluster="mishap")
    ).difference


def crude(frame):
    return crude_difference(frame, outcome="survived", exposure="trained", cluster="mishap")


def test_the_truth_of_this_world():
    # design value of the logistic world: RD .172 in the people alive at immersion
    frame = alive_at_immersion(0, 0.9, mishaps=20_000)
    truth = (frame["survived_if_trained"] - frame["survived_if_untrained"]).mean()
    assert truth == pytest.approx(0.172, abs=0.006)


def test_without_any_effect_the_crude_difference_still_finds_one():
    # design value under the null: crude +.063
    found = np.array([crude(alive_at_immersion(seed, 0.0)).value for seed in range(60)])
    assert found.mean() == pytest.approx(0.063, abs=0.025)
    assert found.mean() > 3 * found.std(ddof=1) / np.sqrt(60)


@pytest.mark.slow
def test_the_built_in_difference_lies_in_the_interval_as_often_as_printed():
    found = [adjusted(alive_at_immersion(seed, 0.9)) for seed in range(60)]
    assert sum(one.low <= 0.172 <= one.high for one in found) >= 52
    assert np.mean([one.value for one in found]) == pytest.approx(0.172, abs=0.03)


@pytest.mark.slow
def test_without_any_effect_the_adjusted_difference_lies_around_nothing():
    found = np.array([adjusted(alive_at_immersion(seed, 0.0)).value for seed in range(60)])
    assert abs(found.mean()) < 3.5 * found.std(ddof=1) / np.sqrt(60)
