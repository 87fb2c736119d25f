"""Leverage, influence and calibration by hand, by identities, and where nothing can be said."""

from __future__ import annotations

import math

import numpy as np
import pytest
from random_sets import TERMS
from scipy import stats
from scipy.special import expit, logit

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.groundwork.resampling import leave_one_out, stream
from survstats.models.adequacy import (
    events_per_parameter,
    influence,
    leverage_by_mishap,
    out_of_mishap_risk,
)
from survstats.models.calibration import calibration, share_limits
from survstats.models.kernel import collapse, solve
from survstats.models.logistic import fit_logistic


@pytest.fixture(scope="module")
def fit(occupants):
    return fit_logistic(occupants, "y", TERMS, cluster="mishap")


@pytest.fixture(scope="module")
def left_out(occupants, fit):
    data = collapse(fit.design.matrix, occupants["y"], fit.design.mishap_codes)
    return solve(data, leave_one_out(14)).coefficients


def test_leverage_is_the_trace_of_the_hat_block_and_sums_to_the_coefficients(fit):
    x, codes, beta = fit.design.matrix, fit.design.mishap_codes, fit.table.estimates
    found = leverage_by_mishap(x, codes, beta)
    mu = expit(x @ beta)
    root = np.sqrt(mu * (1 - mu))[:, None] * x
    hat = np.diag(root @ np.linalg.inv(root.T @ root) @ root.T)
    np.testing.assert_allclose(found, [hat[codes == g].sum() for g in range(14)], rtol=1e-10)
    assert found.sum() == pytest.approx(4, rel=1e-12)


def test_leverage_without_information_is_refused():
    with pytest.raises(NotEstimable):
        leverage_by_mishap(np.ones((3, 1)), [0, 1, 2], [1e4])


def test_a_mishap_only_it_can_speak_for_has_a_leverage_of_one():
    x = np.column_stack([np.ones(9), np.r_[np.zeros(6), np.ones(3)]])
    found = leverage_by_mishap(x, np.repeat([0, 1, 2], 3), [0.2, -0.4])
    np.testing.assert_allclose(found, [0.5, 0.5, 1.0])


def test_influence_is_sorted_by_size_and_keeps_the_sign():
    found = influence(
        0.10, [0.12, 0.05, 0.08], leverage=[1.0, 0.5, 0.5], codes=[0, 0, 1, 2, 2, 2], labels=["a", "b", "c"]
    )
    assert [(row.mishap, row.occupants) for row in found] == [("b", 1), ("a", 2), ("c", 3)]
    assert [row.change for row in found] == pytest.approx([-0.05, 0.02, -0.02])
    assert [row.leverage for row in found] == [0.5, 1.0, 0.5]
    with pytest.raises(CallError):
        influence(0.1, [0.1], leverage=[1.0, 1.0], codes=[0, 1], labels=["a", "b"])


def test_out_of_mishap_risk_comes_from_a_fit_without_the_mishap(occupants, fit, left_out):
    found = out_of_mishap_risk(fit.design.matrix, fit.design.mishap_codes, left_out)
    for mishap in (1, 9):
        rest = fit_logistic(occupants[occupants["mishap"] != mishap], "y", TERMS, cluster="mishap")
        own = occupants["mishap"] == mishap
        expected = expit(rest.design.apply(occupants[own]) @ rest.table.estimates)
        np.testing.assert_allclose(found[own], expected, rtol=1e-8)


def test_people_of_the_rarer_outcome_for_each_column():
    assert events_per_parameter([1, 1, 1, 0, 0], 2) == 1.0
    assert events_per_parameter([1, 0, 0, 0], 4) == 0.25
    assert events_per_parameter([1, 0], 0) == math.inf


def test_the_fit_itself_has_slope_one_and_intercept_nought(occupants, fit):
    # identity: the score equations of maximum likelihood, whose linear predictor is the only column here
    risk = expit(fit.design.matrix @ fit.table.estimates)
    found = calibration(risk, occupants["y"], fit.design.mishap_codes)
    assert found.slope.estimate == pytest.approx(1, abs=1e-8)
    assert found.intercept.estimate == pytest.approx(0, abs=1e-8)


def test_unseen_mishaps_are_foretold_worse_than_seen_ones(occupants, fit, left_out):
    risk = out_of_mishap_risk(fit.design.matrix, fit.design.mishap_codes, left_out)
    found = calibration(risk, occupants["y"], fit.design.mishap_codes)
    assert found.slope.estimate < 0.5


def test_errors_are_those_of_a_logistic_model_with_mishaps(occupants, fit):
    risk = np.clip(expit(0.3 + 1.4 * fit.design.matrix @ fit.table.estimates), 0.01, 0.99)
    found = calibration(risk, occupants["y"], fit.design.mishap_codes, level=0.9)
    frame = occupants.assign(score=logit(risk))
    slope = fit_logistic(frame, "y", ["score"], cluster="mishap", level=0.9).table["score"]
    got = (found.slope.estimate, found.slope.se, found.slope.df, found.slope.low, found.slope.high)
    assert got == pytest.approx((slope.estimate, slope.se, slope.df, slope.low, slope.high), rel=1e-7)


def test_too_extreme_and_too_high_risks_are_told():
    rng = stream(4, "calibration")
    codes = np.repeat(np.arange(300), 10)
    true = expit(rng.normal(0, 1.0, 3000))
    lived = (rng.random(3000) < true).astype(float)
    doubled = calibration(expit(2 * logit(true)), lived, codes)
    assert doubled.slope.low < 0.5 < doubled.slope.high
    moved = calibration(expit(logit(true) + 0.7), lived, codes)
    assert moved.intercept.low < -0.7 < moved.intercept.high
    assert moved.slope.low < 1 < moved.slope.high


def test_bins_hold_everyone_once_and_equal_risks_together(occupants, fit):
    risk = np.repeat([0.2, 0.4, 0.6], 30)
    found = calibration(risk, occupants["y"], fit.design.mishap_codes)
    assert [bin_.occupants for bin_ in found.bins] == [30, 30, 30]
    spread = calibration(np.linspace(0.1, 0.9, 90), occupants["y"], fit.design.mishap_codes)
    assert [bin_.occupants for bin_ in spread.bins] == [18] * 5
    for bin_, rows in zip(spread.bins, np.split(np.arange(90), 5), strict=True):
        assert bin_.observed == pytest.approx(occupants["y"].iloc[rows].mean())
        assert bin_.from_risk <= bin_.predicted <= bin_.to_risk
        assert bin_.low < bin_.observed < bin_.high
        assert bin_.mishaps == occupants["mishap"].iloc[rows].nunique()


def test_limits_of_a_share_allow_for_mishaps():
    # 6 mishaps of 5, in three everyone lived and in three nobody: limits of 6 things, not of 30
    y, codes = np.repeat([1, 1, 1, 0, 0, 0], 5), np.repeat(np.arange(6), 5)
    low, high = share_limits(y, codes)
    error = math.sqrt(6 / 5 * 6 * (2.5 / 30) ** 2) / 0.25
    assert (low, high) == pytest.approx([expit(way * stats.t.ppf(0.975, 5) * error) for way in (-1, 1)])
    spread = share_limits(y, np.tile(np.arange(6), 5))
    exact = stats.beta.ppf([0.025, 0.975], [15, 16], [16, 15])  # Clopper & Pearson 1934
    assert spread == pytest.approx(tuple(exact))
    assert share_limits(y, np.zeros(30)) == (0.0, 1.0)
    everyone = share_limits(np.ones(30), codes)
    assert everyone == pytest.approx((0.025 ** (1 / 30), 1.0))


def test_labels_and_order_of_rows_do_not_matter(occupants, fit):
    risk, codes = np.linspace(0.1, 0.9, 90), fit.design.mishap_codes
    order = np.random.default_rng(1).permutation(90)
    y = occupants["y"].to_numpy(float)
    once, again = calibration(risk, y, codes), calibration(risk[order], y[order], 13 - codes[order])
    assert once.slope.se == pytest.approx(again.slope.se, rel=1e-9)
    assert [b.high for b in once.bins] == pytest.approx([b.high for b in again.bins])


def test_duplicated_rows_do_not_make_the_calibration_surer(occupants, fit):
    risk, codes = np.linspace(0.1, 0.9, 90), fit.design.mishap_codes
    once = calibration(risk, occupants["y"], codes)
    twice = calibration(np.tile(risk, 2), np.tile(occupants["y"], 2), np.tile(codes, 2))
    assert twice.slope.se == pytest.approx(once.slope.se, rel=1e-6)


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"risk": np.full(90, 0.4)}, "no_free_column"),
        ({"risk": np.r_[1.0, np.full(89, 0.4)]}, "certain_risk"),
        ({"outcome": np.ones(90)}, "one_outcome"),
        ({"codes": np.zeros(90, dtype=int)}, "one_mishap"),
        ({"outcome": np.r_[np.zeros(45), np.ones(45)]}, "separated"),
    ],
)
def test_what_cannot_be_calibrated_is_said(occupants, fit, change, reason):
    given = {"risk": np.linspace(0.1, 0.9, 90), "outcome": occupants["y"].to_numpy(float)}
    given |= {"codes": fit.design.mishap_codes} | change
    with pytest.raises(NotEstimable) as refused:
        calibration(**given)
    assert refused.value.reason == reason


def test_a_level_outside_is_refused():
    with pytest.raises(CallError):
        calibration([0.5, 0.6], [0, 1], [0, 1], level=95)
