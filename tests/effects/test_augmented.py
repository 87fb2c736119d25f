"""Does the doubly guarded difference agree with the design's values, with a slow road, and with its own promise?

Golden values: computed twice by independent code (R and separate NumPy) for the invented 90 occupants.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from survstats.effects import augmented as module
from survstats.effects.augmented import augmented
from survstats.groundwork.errors import NotEstimable
from survstats.models.design import build_design
from survstats.models.one_pass import fit_one_pass
from survstats.records.invented.worlds import simulate_logistic

NAMES = {"outcome": "y", "exposure": "trained", "cluster": "mishap"}


def found(frame, covariates=("crew", "seat_far"), **settings):
    return augmented(frame, covariates=covariates, **NAMES, **settings)


def near(expected, rel=1e-5):
    return pytest.approx(expected, rel=rel, abs=0)


def test_golden(occupants_90):
    one = found(occupants_90)
    assert one.difference.value == near(0.07026072)
    assert one.difference.se == near(0.12140435)
    assert one.influence_se == near(0.11321752)
    assert (one.untrained.value, one.untrained.se) == near((0.12393162, 0.10561399))
    assert one.minus_standardised.value == pytest.approx(0.03703, abs=5e-6)
    assert one.minus_standardised.se == pytest.approx(0.04240, abs=5e-6)
    assert (one.difference.mishaps, one.difference.occupants, one.difference.df) == (14, 90, 13)
    assert one.untrained.occupants == int((occupants_90["trained"] == 0).sum())
    assert (one.difference.method, one.penalised) == ("augmented_ml", False)


def slow_fit(rows, outcome):
    beta = np.zeros(len(rows[0]))
    for _ in range(60):
        p = 1 / (1 + np.exp(-rows @ beta))
        information = rows.T @ (rows * (p * (1 - p))[:, None])
        beta = beta + np.linalg.solve(information, rows.T @ (outcome - p))
    return beta


def slow(frame, outcome_fit=slow_fit, propensity_fit=slow_fit):
    """The difference over all and over the untrained, person by person."""
    a, y = frame["trained"].to_numpy(float), frame["y"].to_numpy(float)
    rows = np.column_stack([np.ones(len(a)), a, frame["crew"], frame["seat_far"]]).astype(float)
    background = rows[:, [0, 2, 3]]
    beta, gamma = outcome_fit(rows, y), propensity_fit(background, a)
    everybody = others = 0.0
    for i in range(len(a)):
        risk = [1 / (1 + math.exp(-(np.r_[1.0, arm, rows[i, 2:]] @ beta))) for arm in (0.0, 1.0)]
        chance = 1 / (1 + math.exp(-(background[i] @ gamma)))
        if a[i] == 1:
            everybody += risk[1] - risk[0] + (y[i] - risk[1]) / chance
            others += (1 - chance) / chance * (y[i] - risk[1])
        else:
            everybody += risk[1] - risk[0] - (y[i] - risk[0]) / (1 - chance)
            others += risk[1] - y[i]
    return np.array([everybody / len(a), others / (a == 0).sum()])


def test_slow_road_agrees_with_each_mishap_left_out(occupants_90):
    whole = slow(occupants_90)
    parts = [slow(occupants_90[occupants_90["mishap"] != g]) for g in range(1, 15)]
    errors = np.sqrt(13 / 14 * np.sum((np.array(parts) - whole) ** 2, axis=0))
    one = found(occupants_90)
    assert (one.difference.value, one.untrained.value) == near(tuple(whole), 1e-8)
    assert (one.difference.se, one.untrained.se) == near(tuple(errors), 1e-8)


def slow_penalised(rows, outcome):
    """Firth's fit, then the intercept alone so that the mean risk is the one seen."""
    beta = np.zeros(len(rows[0]))
    for only_intercept in (False, True):
        for _ in range(300):
            p = 1 / (1 + np.exp(-rows @ beta))
            weight = p * (1 - p)
            inverse = np.linalg.inv(rows.T @ (rows * weight[:, None]))
            if only_intercept:
                beta[0] += np.sum(outcome - p) / weight.sum()
                continue
            hat = weight * np.einsum("ij,jk,ik->i", rows, inverse, rows)
            step = inverse @ rows.T @ (outcome - p + hat * (0.5 - p))
            beta = beta + step / max(1.0, np.abs(step).max())
    return beta


def test_penalised_propensities_by_hand():
    # crew: 7 of 8 trained, passengers: 3 of 12. The propensity model is saturated, so Firth's fit is that of counts
    # with a half added to each (Firth 1993, doi:10.1093/biomet/80.1.27): odds 7.5 to 1.5 and 3.5 to 9.5; then one
    # factor t on all odds until 10 of 20 are trained, a quadratic
    odds = (7.5 / 1.5, 3.5 / 9.5)
    a, b = odds
    half = a * (8 - 10) + b * (12 - 10)
    t = (-half + math.sqrt(half**2 + 400 * a * b)) / (20 * a * b)
    chances = [a * t / (1 + a * t), b * t / (1 + b * t)]
    assert 8 * chances[0] + 12 * chances[1] == pytest.approx(10, abs=1e-12)
    crew = np.r_[np.ones(8), np.zeros(12)]
    trained = np.r_[np.ones(7), [0.0], np.ones(3), np.zeros(9)]
    background = np.column_stack([np.ones(20), crew])
    fitted = 1 / (1 + np.exp(-background @ slow_penalised(background, trained)))
    assert fitted == pytest.approx(np.r_[np.full(8, chances[0]), np.full(12, chances[1])], abs=1e-9)
    design = build_design(
        pd.DataFrame({"crew": crew, "mishap": np.r_[np.zeros(7), 1, np.arange(12) % 4]}),
        ["crew"],
        cluster="mishap",
    )
    fits = fit_one_pass(
        design.matrix, trained, design.mishap_codes
    )  # mishap 1 holds the only untrained of the crew
    assert fits.penalised
    assert 1 / (1 + np.exp(-background @ fits.coefficients[0])) == pytest.approx(fitted, abs=1e-9)


def test_penalised_differences_agree_with_a_slow_road_with_each_mishap_left_out(occupants_90):
    # the only untrained of the crew stand in mishap 1, so that both models of everyone are finite and one replicate of
    # the propensity is not; all fits are then penalised
    frame = occupants_90.copy()
    frame.loc[frame["crew"] == 1, "trained"] = 1
    frame.loc[frame[(frame["crew"] == 1) & (frame["mishap"] == 1)].index[:1], "trained"] = 0
    separated = frame.assign(seat_far=np.where(frame["y"] == 1, 0, frame["seat_far"]))
    for data, outcome_fit in ((frame, slow_fit), (separated, slow_penalised)):
        whole = slow(data, outcome_fit, slow_penalised)
        parts = [slow(data[data["mishap"] != g], outcome_fit, slow_penalised) for g in range(1, 15)]
        errors = np.sqrt(13 / 14 * np.sum((np.array(parts) - whole) ** 2, axis=0))
        one = found(data)
        assert one.penalised
        assert one.difference.method == (
            "augmented_ml" if outcome_fit is slow_fit else "augmented_firth_flic"
        )
        assert (one.difference.value, one.untrained.value) == near(tuple(whole), 1e-6)
        assert (one.difference.se, one.untrained.se) == near(tuple(errors), 1e-6)


@pytest.mark.parametrize("cells", [1, 200])
def test_the_size_of_a_block_of_fits_changes_nothing(occupants_90, monkeypatch, cells):
    whole = found(occupants_90)
    monkeypatch.setattr(module, "BLOCK_CELLS", cells)
    assert found(occupants_90).difference.se == near(whole.difference.se, 1e-12)


def test_without_covariates_it_is_the_crude_difference(occupants_90):
    by = occupants_90.groupby("trained")["y"].mean()
    one = found(occupants_90, ())
    assert one.difference.value == near(by[1] - by[0], 1e-9)
    assert one.minus_standardised.value == pytest.approx(0, abs=1e-9)


def test_rows_doubled_relabelled_or_reordered_change_nothing(occupants_90):
    one = found(occupants_90)
    twice = found(pd.concat([occupants_90, occupants_90], ignore_index=True))
    mixed = found(
        occupants_90.sample(frac=1, random_state=1).assign(mishap=lambda d: "m" + d["mishap"].astype(str))
    )
    for other in (twice, mixed):
        assert (other.difference.value, other.difference.se) == near(
            (one.difference.value, one.difference.se), 1e-8
        )
    assert twice.influence_se == near(one.influence_se, 1e-8)


def test_exposure_recoded_turns_the_sign_and_keeps_the_error(occupants_90):
    one, other = found(occupants_90), found(occupants_90.assign(trained=1 - occupants_90["trained"]))
    assert (other.difference.value, other.difference.se) == near(
        (-one.difference.value, one.difference.se), 1e-8
    )


def test_a_wrong_model_of_survival_is_mended_by_the_right_model_of_training():
    # whole-number proportions, no draws: survival rises once and stays there, which a straight line cannot follow;
    # training goes with depth as its model says, and does nothing
    rows = []
    for depth, alive in zip((-2, -1, 0, 1, 2), (0.05, 0.9, 0.9, 0.9, 0.9), strict=True):
        trained = round(1000 / (1 + math.exp(-depth)))
        for arm, many in ((1, trained), (0, 1000 - trained)):
            lived = round(many * alive)
            rows += [(depth, arm, 1)] * lived + [(depth, arm, 0)] * (many - lived)
    frame = pd.DataFrame(rows, columns=["depth", "trained", "y"]).assign(mishap=np.arange(5000) % 60)
    one = found(frame, ("depth",))
    assert abs(one.difference.value) < 0.002
    assert one.difference.value + one.minus_standardised.value < -0.015


def test_people_without_a_counterpart_are_told_not_weighted_by_millions(occupants_90):
    # training goes by the badge number, two people apart, and one number is far off
    badge = np.where(occupants_90["trained"] == 1, 3.0, -3.0) + np.arange(90) % 3
    badge[occupants_90.index[occupants_90["trained"] == 1][[0, 20]]] = -3.0
    badge[occupants_90.index[occupants_90["trained"] == 0][[0, 20]]] = 4.0
    badge[occupants_90.index[occupants_90["trained"] == 1][5]] = 90.0
    with pytest.raises(NotEstimable) as caught:
        found(occupants_90.assign(badge=badge), ("badge",))
    assert caught.value.reason == "no_overlap"


def test_separation_in_one_replicate_of_the_propensity_is_penalised_and_said(occupants_90):
    # crew are never untrained but for one person in mishap 1
    frame = occupants_90.copy()
    frame.loc[frame["crew"] == 1, "trained"] = 1
    frame.loc[frame[(frame["crew"] == 1) & (frame["mishap"] == 1)].index[:1], "trained"] = 0
    one = found(frame)
    assert one.penalised
    assert math.isfinite(one.difference.value)
    assert 0 < one.difference.se < 1


def test_a_group_in_which_all_lived_is_not_given_a_blind_interval(occupants_90):
    frame = occupants_90.assign(y=np.where(occupants_90["trained"] == 1, 1, occupants_90["y"]))
    with pytest.raises(NotEstimable) as caught:
        found(frame)
    assert caught.value.reason == "arm_one_outcome"


def test_penalised_outcome_model_is_named(occupants_90):
    frame = occupants_90.assign(seat_far=np.where(occupants_90["y"] == 1, 0, occupants_90["seat_far"]))
    assert found(frame).difference.method == "augmented_firth_flic"


def test_level_widens(occupants_90):
    narrow, wide = found(occupants_90, level=0.9).difference, found(occupants_90, level=0.99).difference
    assert wide.low < narrow.low < narrow.high < wide.high


def test_near_the_standardised_one_in_a_world_where_both_models_hold():
    people = simulate_logistic(120, np.random.default_rng([2026, 1]))
    one = augmented(
        people[people["impact_death"] == 0],
        outcome="survived",
        exposure="trained",
        covariates=("crew", "far", "operator_south"),
        cluster="mishap",
    )
    assert abs(one.minus_standardised.value) < 3 * one.minus_standardised.se
    assert one.minus_standardised.se < 0.4 * one.difference.se
