"""The population-average model against golden values, its own equations in plain loops, and single occupants."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from random_sets import TERMS
from scipy.special import expit

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.models.logistic import fit_logistic
from survstats.models.population_average import GEE, fit_population_average


@pytest.fixture(scope="module")
def golden(occupants):
    return fit_population_average(occupants, "y", TERMS, cluster="mishap")


def test_golden_values(golden):
    # design golden values, computed with statsmodels (five digits are given)
    np.testing.assert_allclose(golden.table.estimates, [0.22476, 0.38144, 0.04298, -0.43820], atol=6e-6)
    np.testing.assert_allclose(
        [row.se for row in golden.table], [0.48891, 0.43273, 0.62856, 0.44698], atol=6e-6
    )
    assert golden.correlation == pytest.approx(0.38338, abs=6e-6)
    assert {row.df for row in golden.table} == {13.0}


def test_the_equations_hold_and_the_error_is_that_of_the_formula(occupants, golden):
    # Liang & Zeger 1986; Mancl & DeRouen 2001: residuals through (I - H)^-1, written out with full matrices
    beta, x, y = golden.table.estimates, golden.design.matrix, occupants["y"].to_numpy(float)
    codes = golden.design.mishap_codes
    mu = expit(x @ beta)
    parts = []
    for g in range(14):
        rows = codes == g
        root = np.sqrt(mu[rows] * (1 - mu[rows]))
        correlation = np.full((rows.sum(), rows.sum()), golden.correlation)
        np.fill_diagonal(correlation, 1.0)
        slope = x[rows] * (root**2)[:, None]
        parts.append((slope, np.linalg.inv(correlation * np.outer(root, root)), (y - mu)[rows]))
    score = sum(d.T @ v @ r for d, v, r in parts)
    np.testing.assert_allclose(score, 0, atol=1e-6)
    bread = np.linalg.inv(sum(d.T @ v @ d for d, v, r in parts))
    meat = np.zeros((4, 4))
    for d, v, r in parts:
        one = d.T @ v @ np.linalg.solve(np.eye(len(r)) - d @ bread @ d.T @ v, r)
        meat += np.outer(one, one)
    np.testing.assert_allclose(golden.covariance, bread @ meat @ bread, rtol=1e-4, atol=1e-7)


def test_mean_risk_is_the_mean_of_the_predicted_ones(occupants, golden):
    x = np.column_stack([np.ones(90), np.ones(90), occupants[["crew", "seat_far"]]])
    assert golden.mean_risk(occupants, setting={"trained": 1.0}) == pytest.approx(
        expit(x @ golden.table.estimates).mean()
    )


def test_recoded_exposure_turns_the_sign_and_keeps_the_error(occupants, golden):
    turned = fit_population_average(
        occupants.assign(trained=1 - occupants["trained"]), "y", TERMS, cluster="mishap"
    )
    ours, other = golden.table["trained"], turned.table["trained"]
    assert (-other.estimate, other.se) == pytest.approx((ours.estimate, ours.se), rel=1e-5)


def test_people_dealt_out_at_random_are_hardly_alike(occupants):
    # people dealt out to mishaps at random
    rng = np.random.default_rng(3)
    mixed = occupants.assign(mishap=rng.permutation(occupants["mishap"]))
    fit = fit_population_average(mixed, "y", TERMS, cluster="mishap")
    plain = fit_logistic(mixed, "y", TERMS, cluster="mishap")
    assert abs(fit.correlation) < 0.1
    np.testing.assert_allclose(fit.table.estimates, plain.table.estimates, atol=0.1)


@pytest.mark.parametrize(
    ("change", "error", "reason"),
    [
        (lambda d: d.assign(mishap=1), NotEstimable, "one_mishap"),
        (lambda d: d.assign(crew=d["y"]), NotEstimable, "separated"),
        (lambda d: d.assign(y=1), NotEstimable, "one_outcome"),
        (lambda d: d.drop(columns="mishap"), CallError, "missing_column"),
    ],
)
def test_what_cannot_be_fitted_is_said(occupants, change, error, reason):
    with pytest.raises(error) as refused:
        fit_population_average(change(occupants), "y", TERMS, cluster="mishap")
    assert refused.value.reason == reason


def test_a_warning_of_the_library_becomes_a_refusal(occupants, monkeypatch):
    def careful(self, **settings):
        warnings.warn("iteration limit", UserWarning, stacklevel=1)

    monkeypatch.setattr(GEE, "fit", careful)
    with pytest.raises(NotEstimable) as refused:
        fit_population_average(occupants, "y", TERMS, cluster="mishap")
    assert refused.value.reason == "not_converged"


def test_one_person_in_each_mishap_leaves_no_pair_to_learn_from(occupants):
    with pytest.raises(NotEstimable) as refused:
        fit_population_average(occupants.assign(mishap=range(90)), "y", TERMS, cluster="mishap")
    assert refused.value.reason == "few_pairs"


@pytest.mark.parametrize(("pairs", "reason"), [(1, "few_pairs"), (4, "few_pairs"), (5, None), (8, None)])
def test_no_correlation_is_learnt_from_fewer_pairs_than_coefficients(occupants, pairs, reason):
    codes = np.arange(90)
    codes[: 2 * pairs] = np.repeat(np.arange(pairs), 2)
    frame = occupants.assign(mishap=codes)
    if reason:
        with pytest.raises(NotEstimable) as refused:
            fit_population_average(frame, "y", TERMS, cluster="mishap")
        assert refused.value.reason == reason
    else:
        assert -1 < fit_population_average(frame, "y", TERMS, cluster="mishap").correlation < 1
