"""Do completed sets pool to one difference, and is it known how much of its limits is the luck of the draws?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from survstats.effects.arms import Seen
from survstats.effects.completed_sets import CompletedSet
from survstats.effects.exact_table import clopper_pearson
from survstats.effects.imputation import ImputationPlan, impute
from survstats.effects.imputed_effect import imputed_effect
from survstats.effects.pooled_sets import pooled_arms, pooled_difference
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import stream
from survstats.records.cohort import build_cohort
from survstats.records.demo import demo_folder
from survstats.records.deriving import derive
from survstats.records.loading import read_records

COVARIATES = ("role", "operator_code", "aircraft_class", "far_seat")
NAMES = {"outcome": "survived", "exposure": "trained", "covariates": COVARIATES, "cluster": "mishap_id"}


MIXED = Seen(30, 40)


def some_sets(m, *, gain=0.15, g=12, seed=1):
    rng = np.random.default_rng([5, seed])
    sets = []
    for _ in range(m):
        whole = np.array([0.6 + gain, 0.6]) + rng.normal(0, 0.03, 2)
        sets.append(CompletedSet(np.vstack([whole, whole + rng.normal(0, 0.012, (g, 2))]), (MIXED, MIXED)))
    return sets


def by_hand(sets, level=0.95):
    """Rubin 1987 with the degrees of freedom of Barnard and Rubin 1999 (doi:10.1093/biomet/86.4.948), written out."""
    differences = [one.risks[:, 0] - one.risks[:, 1] for one in sets]
    m, g = len(sets), len(differences[0]) - 1
    values = np.array([d[0] for d in differences])
    within = np.mean([(g - 1) / g * np.sum((d[1:] - d[0]) ** 2) for d in differences])
    between = (1 + 1 / m) * values.var(ddof=1)
    share = between / (within + between)
    observed = g / (g + 2) * (g - 1) * (1 - share)
    df = 1 / (share**2 / (m - 1) + 1 / observed)
    reach = stats.t.ppf(0.5 + level / 2, df) * np.sqrt(within + between)
    return values.mean(), values.mean() - reach, values.mean() + reach


def test_the_pooled_difference_is_that_of_the_rules_written_out():
    sets = some_sets(9)
    found = pooled_difference(sets).estimate
    assert (found.value, found.low, found.high) == pytest.approx(by_hand(sets), abs=1e-12)
    narrower = pooled_difference(sets, level=0.9).estimate
    assert (narrower.value, narrower.low, narrower.high) == pytest.approx(by_hand(sets, 0.9), abs=1e-12)


def test_the_error_of_the_value_is_the_spread_of_the_draws_over_the_root_of_their_number():
    sets = some_sets(15)
    values = [one.risks[0, 0] - one.risks[0, 1] for one in sets]
    assert pooled_difference(sets).value_error == pytest.approx(
        np.std(values, ddof=1) / np.sqrt(15), rel=1e-10
    )


@pytest.mark.parametrize(("gain", "limit"), [(0.15, 1), (-0.15, 2)])
def test_the_error_of_the_limit_is_that_of_the_limit_nearest_no_difference(gain, limit):
    sets = some_sets(11, gain=gain)
    without = np.array([by_hand(sets[:j] + sets[j + 1 :])[limit] for j in range(11)])
    expected = np.sqrt(10 / 11 * np.sum((without - without.mean()) ** 2))
    assert pooled_difference(sets).limit_error == pytest.approx(expected, rel=1e-9)
    other = np.array([by_hand(sets[:j] + sets[j + 1 :])[3 - limit] for j in range(11)])
    assert expected != pytest.approx(np.sqrt(10 / 11 * np.sum((other - other.mean()) ** 2)), rel=1e-3)


def test_turning_the_groups_round_turns_the_difference_and_leaves_the_errors():
    sets = some_sets(8)
    turned = [replace(one, risks=one.risks[:, ::-1]) for one in sets]
    first, second = pooled_difference(sets), pooled_difference(turned)
    assert second.estimate.low == pytest.approx(-first.estimate.high, abs=1e-12)
    assert (second.limit_error, second.value_error) == pytest.approx((first.limit_error, first.value_error))


def test_draws_that_agree_have_no_error_and_two_draws_tell_none():
    alike = [some_sets(1)[0]] * 6
    found = pooled_difference(alike)
    assert (found.limit_error, found.value_error, found.fraction_missing) == (0, 0, 0)
    assert pooled_difference(some_sets(2)).limit_error == np.inf
    assert pooled_difference(some_sets(2)).value_error == np.inf


def test_a_group_without_deaths_in_one_draw_widens_the_limits_wherever_that_draw_is_in():
    sets = some_sets(6, gain=0.3)
    sets[2] = replace(sets[2], tallies=(Seen(12, 12), Seen(30, 40)))
    found, plain = pooled_difference(sets), pooled_difference(some_sets(6, gain=0.3))
    assert found.estimate.low < plain.estimate.low
    # the limits of 12 of 12: Clopper and Pearson 1934, doi:10.1093/biomet/26.4.404
    assert pooled_arms(sets)[0].low <= clopper_pearson(12, 12, level=0.95)[0]
    without = [pooled_difference(sets[:j] + sets[j + 1 :]).estimate.low for j in range(6)]
    assert without[2] == max(without)
    expected = np.sqrt(5 / 6 * np.sum((np.array(without) - np.mean(without)) ** 2))
    assert found.limit_error == pytest.approx(expected, rel=1e-9)
    assert found.limit_error > plain.limit_error


def test_survival_on_the_edge_in_a_draw_is_refused_only_where_its_limits_are_needed():
    sets = some_sets(5)
    sets[1] = replace(sets[1], risks=np.column_stack([np.ones(13), sets[1].risks[:, 1]]))
    assert np.isfinite(pooled_difference(sets).estimate.low)
    with pytest.raises(NotEstimable) as fault:
        pooled_arms(sets)
    assert fault.value.reason == "not_converged"


@pytest.mark.slow
def test_over_seeds_the_limit_moves_about_as_much_as_its_error_says():
    folder = demo_folder("demo_main")
    records = read_records(folder / "mishap.csv", folder / "occupant.csv")
    people = build_cohort(derive(records, currency_months=24), records, population="P1").frame
    plan = ImputationPlan(COVARIATES, draws=20, iterations=5)
    found = [
        imputed_effect(impute(people, plan=plan, rng=stream(s, "imputation")), **NAMES) for s in range(20)
    ]
    lows, values = [one.difference.low for one in found], [one.difference.value for one in found]
    assert 0.5 < np.std(lows, ddof=1) / np.mean([one.limit_error for one in found]) < 2
    assert 0.5 < np.std(values, ddof=1) / np.mean([one.value_error for one in found]) < 2
