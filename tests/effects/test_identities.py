"""Does one pass of fits serve every question, and do the wrong readings of it differ as they must?

Golden values: computed twice by independent code (R and separate NumPy) for the invented 90 occupants.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from survstats.effects import standardise as module
from survstats.effects.crude import crude_difference
from survstats.effects.risk_model import prepare, refit
from survstats.effects.standardise import standardise
from survstats.groundwork.errors import NotEstimable
from survstats.models import one_pass

NAMES = {"outcome": "y", "exposure": "trained", "cluster": "mishap"}
COVARIATES = ("crew", "seat_far")


def model_of(frame, covariates=COVARIATES):
    return prepare(frame, covariates=covariates, **NAMES)


def expit(x):
    return 1 / (1 + np.exp(-x))


def near(expected, rel=1e-9):
    return pytest.approx(expected, rel=rel, abs=0)


# ---- one pass ---------------------------------------------------------------------------------------------------


def test_every_target_weighting_and_group_comes_from_one_pass(occupants_90, monkeypatch):
    calls = []
    solve = one_pass.solve
    monkeypatch.setattr(one_pass, "solve", lambda *a, **k: calls.append(1) or solve(*a, **k))
    model = model_of(occupants_90)
    spent = len(calls)
    refits = refit(model)
    for target in ("all", "untrained", "trained"):
        for weighting in ("people", "mishaps"):
            standardise(refits, target=target, weighting=weighting)
            standardise(model, target=target, weighting=weighting, rows=model.exposure >= 0)
    model.exposure_df()
    assert len(calls) == spent == 2
    assert refits.coefficients.shape == (15, 4)


def test_refits_are_the_fits_without_each_mishap(occupants_90):
    refits = refit(model_of(occupants_90))
    for g in (1, 7, 14):
        alone = refit(model_of(occupants_90[occupants_90["mishap"] != g])).coefficients[0]
        assert refits.coefficients[g] == near(alone, 1e-8)


def test_model_and_refits_give_the_same(occupants_90):
    model = model_of(occupants_90)
    assert standardise(model).difference == standardise(refit(model)).difference


# ---- mishap average and groups, by hand -------------------------------------------------------------------------


def by_hand(frame, coefficients, chosen):
    """Mean over mishaps of the mean effect of those chosen in each."""
    rows = np.column_stack([np.ones(len(frame)), frame["crew"], frame["seat_far"]]) @ coefficients[[0, 2, 3]]
    effect = pd.Series(expit(rows + coefficients[1]) - expit(rows), index=frame.index)[chosen]
    return effect.groupby(frame["mishap"]).mean().mean()


@pytest.mark.parametrize("target", ["all", "untrained"])
def test_average_over_mishaps_by_hand(occupants_90, target, monkeypatch):
    monkeypatch.setattr(module, "MISHAP_BLOCK", 5)
    refits = refit(model_of(occupants_90))
    found = standardise(refits, target=target, weighting="mishaps").difference
    chosen = occupants_90["trained"].eq(0) if target == "untrained" else occupants_90["trained"].ge(0)
    whole = by_hand(occupants_90, refits.coefficients[0], chosen)
    parts = []
    for g in range(1, 15):
        left = occupants_90[occupants_90["mishap"] != g]
        parts.append(by_hand(left, refits.coefficients[g], chosen[left.index]))
    assert found.value == near(whole)
    assert found.se == near(math.sqrt(13 / 14 * sum((part - whole) ** 2 for part in parts)))
    assert found.value != near(standardise(refits, target=target).difference.value, 1e-4)


def test_average_over_mishaps_is_that_over_people_where_all_are_equally_large(occupants_90):
    smallest = occupants_90["mishap"].value_counts().min()
    equal = occupants_90[occupants_90["mishap"] != 0].groupby("mishap").head(smallest)
    model = model_of(equal, ())
    one, other = standardise(model), standardise(model, weighting="mishaps")
    assert (other.difference.value, other.difference.se) == near(
        (one.difference.value, one.difference.se), 1e-10
    )


def test_a_group_and_the_rest_average_to_everybody(occupants_90):
    model = model_of(occupants_90)
    crew = occupants_90["crew"].to_numpy() == 1
    parts = [standardise(model, rows=rows).difference for rows in (crew, ~crew)]
    together = sum(part.value * part.occupants for part in parts) / 90
    assert together == near(standardise(model).difference.value, 1e-12)
    assert [part.mishaps for part in parts] == [
        occupants_90[rows]["mishap"].nunique() for rows in (crew, ~crew)
    ]
    assert parts[0].df == parts[0].mishaps - 1


def test_the_untrained_as_a_group_are_the_target_untrained(occupants_90):
    model = model_of(occupants_90)
    one, other = standardise(model, rows=model.exposure == 0), standardise(model, target="untrained")
    assert (one.difference.value, one.difference.se) == (other.difference.value, other.difference.se)


@pytest.mark.parametrize("mishaps", [[], [3]])
def test_a_group_in_no_or_one_mishap_has_no_interval_and_no_number(occupants_90, mishaps):
    model = model_of(occupants_90)
    with pytest.raises(NotEstimable) as caught:
        standardise(model, rows=occupants_90["mishap"].isin(mishaps).to_numpy())
    assert caught.value.reason == "no_rows"


def test_a_group_of_one_training_only_keeps_finite_limits(occupants_90):
    passengers = ((occupants_90["crew"] == 0) & (occupants_90["trained"] == 0)).to_numpy()
    found = standardise(model_of(occupants_90), rows=passengers).difference
    assert -1 < found.low < found.value < found.high < 1


# ---- another road to the error ----------------------------------------------------------------------------------


def test_golden_error_from_the_influence_function(occupants_90):
    # what each person moves, summed by mishap: .09894107, and times sqrt(14 / 13): .10267601
    model = model_of(occupants_90)
    beta = refit(model).coefficients[0]
    x, one, none = model.design.matrix, model.trained_rows, model.untrained_rows
    mu, mu1, mu0 = expit(x @ beta), expit(one @ beta), expit(none @ beta)
    slope = ((mu1 * (1 - mu1))[:, None] * one - (mu0 * (1 - mu0))[:, None] * none).mean(axis=0)
    bread = np.linalg.inv(x.T @ (x * (mu * (1 - mu))[:, None]))
    each = (mu1 - mu0 - (mu1 - mu0).mean()) / 90 + (model.outcome - mu) * (x @ bread @ slope)
    by_mishap = np.bincount(model.design.mishap_codes, each)
    plain = math.sqrt(np.sum(by_mishap**2))
    assert plain == near(0.09894107, 1e-5)
    assert plain * math.sqrt(14 / 13) == near(0.10267601, 1e-5)
    assert plain < standardise(model).difference.se  # the jackknife is the more careful one


# ---- wrong on purpose -------------------------------------------------------------------------------------------


def test_an_odds_ratio_read_as_a_ratio_of_risks_is_far_off(occupants_90):
    model = model_of(occupants_90)
    conditional, effect = math.exp(refit(model).coefficients[0, 1]), standardise(model)
    assert conditional == near(math.exp(0.44845567), 1e-6)
    assert conditional > effect.odds_ratio.value > effect.survival_ratio.value > 1
    assert conditional - 1 > 2 * (effect.survival_ratio.value - 1)
    as_if = effect.if_none.value * conditional  # what such a reader would promise
    assert as_if - effect.if_all.value > 0.15


def test_rows_taken_for_independent_shrink_the_interval_when_doubled_and_mishaps_do_not(occupants_90):
    twice = pd.concat([occupants_90, occupants_90], ignore_index=True)
    rows = [
        standardise(model_of(frame.assign(mishap=np.arange(len(frame))))) for frame in (occupants_90, twice)
    ]
    mishaps = [standardise(model_of(frame)) for frame in (occupants_90, twice)]
    assert rows[1].difference.se < 0.75 * rows[0].difference.se
    assert mishaps[1].difference.se == near(mishaps[0].difference.se, 1e-8)


def test_crude_difference_is_right_with_implicit_weights(occupants_90):
    found = crude_difference(occupants_90, **NAMES)
    means = occupants_90.groupby("trained")["y"].mean()
    parts = [occupants_90[occupants_90["mishap"] != g].groupby("trained")["y"].mean() for g in range(1, 15)]
    moved = [part[1] - part[0] - (means[1] - means[0]) for part in parts]
    assert found.value == near(means[1] - means[0], 1e-12)
    assert found.se == near(math.sqrt(13 / 14 * np.sum(np.square(moved))), 1e-12)
