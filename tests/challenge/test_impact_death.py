"""Does the check of death on impact see what it should, and does the two-populations example come out?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from survstats.challenge.impact_death import impact_death_check
from survstats.effects.risk_model import prepare
from survstats.effects.standardise import standardise
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import stream

QUARTET = {"exposure": "trained", "covariates": (), "cluster": "mishap"}

#: Training does nothing for escape; bracing halves death on impact; who is saved by it then lives less often.
IMPACT = {1: 0.10, 0: 0.20}
SAVED, OTHERS = 0.30, 0.60


def people_of_the_example(mishaps=10, an_arm=100):
    """Counts in exactly the expected proportions: ``an_arm`` trained and untrained people in each mishap."""
    rows = []
    for trained in (1, 0):
        saved = round(an_arm * (IMPACT[0] - IMPACT[trained]))
        others = round(an_arm * (1 - IMPACT[0]))
        lived = round(SAVED * saved + OTHERS * others)
        rows += [(trained, 1, 0)] * round(an_arm * IMPACT[trained])
        rows += [(trained, 0, 1)] * lived + [(trained, 0, 0)] * (saved + others - lived)
    one = pd.DataFrame(rows, columns=["trained", "on_impact", "lived"])
    return pd.concat([one.assign(mishap=number) for number in range(mishaps)], ignore_index=True)


def test_the_example_by_expectation():
    # survival of those alive at immersion, and of all aboard, by hand from the shares above
    alive = {arm: 1 - IMPACT[arm] for arm in (1, 0)}
    lived = {arm: OTHERS * (1 - IMPACT[0]) + SAVED * (IMPACT[0] - IMPACT[arm]) for arm in (1, 0)}
    assert lived[1] / alive[1] - lived[0] / alive[0] == pytest.approx(-0.033, abs=5e-4)
    assert lived[1] - lived[0] == pytest.approx(0.030, abs=1e-12)


def test_the_example_through_the_estimator():
    # the two populations differ in sign though training does nothing after the impact, and the check says why
    everyone = people_of_the_example()
    alive = everyone[everyone["on_impact"] == 0]
    found = {
        name: standardise(prepare(rows, outcome="lived", **QUARTET)).difference.value
        for name, rows in (("P1", alive), ("P2", everyone))
    }
    assert found["P1"] == pytest.approx(-1 / 30, abs=1e-9)
    assert found["P2"] == pytest.approx(0.030, abs=1e-9)
    check = impact_death_check(everyone, outcome="on_impact", margin=0.03, **QUARTET)
    assert check.difference.value == pytest.approx(-0.10, abs=1e-9)
    assert check.alarm


def some_mishaps(mishaps=24, effect=0.0, seed=2):
    rng = stream(seed, "impact death")
    mishap = np.repeat(np.arange(mishaps), 8)
    trained = rng.integers(0, 2, len(mishap))
    crew = rng.integers(0, 2, len(mishap))
    chance = 0.2 + 0.1 * crew - effect * trained + 0.1 * rng.standard_normal(mishaps)[mishap]
    return pd.DataFrame(
        {"mishap": mishap, "trained": trained, "crew": crew, "on_impact": rng.random(len(mishap)) < chance}
    )


def check_of(frame, margin=0.03):
    return impact_death_check(
        frame, outcome="on_impact", exposure="trained", covariates=("crew",), cluster="mishap", margin=margin
    )


def test_it_is_the_adjusted_difference_in_death_on_impact():
    frame = some_mishaps()
    found = check_of(frame)
    main = standardise(
        prepare(frame, outcome="on_impact", exposure="trained", covariates=("crew",), cluster="mishap")
    )
    assert found.difference == main.difference
    assert (found.margin, found.difference.mishaps, found.difference.occupants) == (0.03, 24, 192)
    # half the width of the interval that the alarm asks, by t: a true difference of that size is seen every second time
    half = stats.t.ppf(0.975, main.difference.df) * main.difference.se
    assert found.noticeable == pytest.approx(half)
    assert found.noticeable > 1.02 * stats.norm.ppf(0.975) * main.difference.se
    assert 0.05 < found.noticeable < 0.3


def test_the_alarm_needs_both_size_and_an_interval_that_excludes_zero():
    quiet, loud = check_of(some_mishaps()), check_of(some_mishaps(effect=0.25))
    assert not quiet.difference.excludes(0.0)
    assert abs(quiet.difference.value) > 0.001
    assert not check_of(some_mishaps(), margin=0.001).alarm
    assert not quiet.alarm
    assert loud.difference.excludes(0.0)
    assert loud.difference.value < -0.03
    assert loud.alarm
    size = abs(loud.difference.value)
    assert check_of(some_mishaps(effect=0.25), margin=size - 1e-9).alarm
    assert not check_of(some_mishaps(effect=0.25), margin=size + 1e-9).alarm


def test_the_alarm_rings_either_way():
    frame = some_mishaps(effect=0.25)
    turned = frame.assign(trained=1 - frame["trained"])
    assert check_of(turned).alarm
    assert check_of(turned).difference.value == pytest.approx(-check_of(frame).difference.value)
    assert check_of(turned).noticeable == pytest.approx(check_of(frame).noticeable)


def test_a_true_difference_of_the_noticeable_size_alarms_about_every_second_time():
    # the rule of the alarm, with the margin out of the way, where the estimate falls around such a difference
    found = check_of(some_mishaps(), margin=0.0)
    falls = found.noticeable + found.difference.se * stats.norm.ppf((np.arange(1000) + 0.5) / 1000)
    assert (falls > found.noticeable).mean() == pytest.approx(0.5, abs=0.01)
    larger = 1.43 * found.noticeable + found.difference.se * stats.norm.ppf((np.arange(1000) + 0.5) / 1000)
    assert (larger > found.noticeable).mean() == pytest.approx(0.8, abs=0.03)


@pytest.mark.parametrize(
    ("change", "reason"),
    [({"on_impact": False}, "one_outcome"), ({"trained": 1}, "one_arm"), ({"mishap": 1}, "one_mishap")],
)
def test_what_cannot_be_compared_is_said(change, reason):
    with pytest.raises(NotEstimable) as caught:
        check_of(some_mishaps().assign(**change))
    assert caught.value.reason == reason


def test_one_death_on_impact_is_too_few_for_three_columns():
    frame = some_mishaps()
    frame["on_impact"] = np.arange(len(frame)) == 5
    with pytest.raises(NotEstimable) as caught:
        check_of(frame)
    assert caught.value.reason == "too_many_fields"
