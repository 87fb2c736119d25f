"""The random-intercept model against golden values, lme4, plain integration, and a fit without any spread."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from random_sets import TERMS
from scipy.integrate import quad
from scipy.optimize import minimize
from scipy.special import expit

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.groundwork.resampling import stream
from survstats.models.design import build_design
from survstats.models.logistic import fit_logistic
from survstats.models.quadrature import Integrated
from survstats.models.random_intercept import fit_random_intercept, mundlak

GOLDEN = [0.32572292, 0.61674272, 0.08873491, -0.72820856]


@pytest.fixture(scope="module")
def golden(occupants):
    return fit_random_intercept(occupants, "y", TERMS, cluster="mishap")


def test_golden_values(golden):
    # design golden values at 25 nodes, computed twice by independent code (lme4 and own NumPy)
    np.testing.assert_allclose(golden.table.estimates, GOLDEN, rtol=1e-6)
    assert golden.spread == pytest.approx(2.03168156, rel=1e-6)
    assert golden.log_likelihood == pytest.approx(-49.77437513, rel=1e-8)


def test_one_node_is_another_approximation(occupants, golden):
    laplace = fit_random_intercept(occupants, "y", TERMS, cluster="mishap", nodes=1)
    assert abs(laplace.table["trained"].estimate - golden.table["trained"].estimate) > 1e-3
    assert abs(laplace.log_likelihood - golden.log_likelihood) > 0.1
    seven = fit_random_intercept(occupants, "y", TERMS, cluster="mishap", nodes=7)
    assert seven.log_likelihood == pytest.approx(golden.log_likelihood, abs=2e-3)


def plain_log_likelihood(x, y, codes, beta, spread):
    """Each mishap's integral by adaptive quadrature of scipy over the level."""
    total = 0.0
    for g in sorted(set(codes)):
        eta, lived = x[codes == g] @ beta, y[codes == g]

        def density(u, eta=eta, lived=lived):
            risk = expit(eta + spread * u)
            return float(np.prod(np.where(lived == 1, risk, 1 - risk))) * math.exp(-u * u / 2)

        total += math.log(
            quad(density, -10, 10, epsabs=0, epsrel=1e-12, limit=200)[0] / math.sqrt(2 * math.pi)
        )
    return total


def test_likelihood_agrees_with_plain_integration(occupants):
    design = build_design(occupants, TERMS, cluster="mishap")
    y = occupants["y"].to_numpy(float)
    integrated = Integrated(design.matrix, y, design.mishap_codes, 25)
    for spread in (0.0, 0.5, 2.0):
        beta = np.array([0.3, 0.6, 0.1, -0.7])
        value = integrated.value_and_gradient(np.append(beta, spread))[0]
        assert value == pytest.approx(
            plain_log_likelihood(design.matrix, y, design.mishap_codes, beta, spread), rel=2e-6
        )


@pytest.mark.parametrize("nodes", [1, 2, 25])
def test_gradient_is_the_slope_of_the_likelihood(occupants, nodes):
    design = build_design(occupants, TERMS, cluster="mishap")
    integrated = Integrated(design.matrix, occupants["y"].to_numpy(float), design.mishap_codes, nodes)
    at = np.array([0.3, 0.6, 0.1, -0.7, 1.7])
    gradient = integrated.value_and_gradient(at)[1]
    for j, step in enumerate(1e-4 * np.eye(5)):
        up, down = (integrated.value_and_gradient(at + way * step)[0] for way in (1, -1))
        assert gradient[j] == pytest.approx((up - down) / 2e-4, abs=2e-6)


def test_limits_of_the_spread_are_where_the_profile_has_fallen(occupants, golden):
    assert 0 < golden.spread_low < golden.spread < golden.spread_high
    design = build_design(occupants, TERMS, cluster="mishap")
    y = occupants["y"].to_numpy(float)
    start = golden.table.estimates

    def profile(spread):
        fall = lambda beta: -plain_like(design.matrix, y, design.mishap_codes, beta, spread)
        return -minimize(fall, start, method="BFGS").fun

    for limit in (golden.spread_low, golden.spread_high):
        assert 2 * (golden.log_likelihood - profile(limit)) == pytest.approx(3.8414588, abs=5e-3)


def plain_like(x, y, codes, beta, spread, points=401):
    """The same by the trapezoid rule: quick, and nothing of the package in it."""
    u = np.linspace(-8, 8, points)
    eta = (x @ beta)[:, None] + spread * u
    by_row = np.where(y[:, None] == 1, -np.logaddexp(0, -eta), -np.logaddexp(0, eta))
    by_mishap = np.zeros((codes.max() + 1, points))
    np.add.at(by_mishap, codes, by_row)
    mass = np.exp(by_mishap - u**2 / 2).sum(axis=1) * (u[1] - u[0]) / math.sqrt(2 * math.pi)
    return float(np.log(mass).sum())


def test_marginal_risk_averages_over_the_level_of_a_mishap(occupants, golden):
    u = np.linspace(-9, 9, 4001)
    mass = np.exp(-(u**2) / 2)
    for value in (0.0, 1.0):
        x = np.column_stack([np.ones(90), np.full(90, value), occupants[["crew", "seat_far"]]])
        risks = expit((x @ golden.table.estimates)[:, None] + golden.spread * u) @ mass / mass.sum()
        found = golden.marginal_risk(occupants, setting={"trained": value})
        assert found == pytest.approx(risks.mean(), rel=1e-8)
    inside = expit(golden.design.apply(occupants, setting={"trained": 1.0}) @ golden.table.estimates).mean()
    assert abs(golden.marginal_risk(occupants, setting={"trained": 1.0}) - inside) > 0.01


def test_records_without_spread_say_so_and_give_the_plain_fit():
    # every mishap has half of each group alive: less alike than chance
    half = pd.DataFrame(
        {"trained": [0, 0, 1, 1] * 12, "y": [0, 1, 1, 1, 0, 1, 0, 1] * 6, "m": np.repeat(range(12), 4)}
    )
    fit = fit_random_intercept(half, "y", ["trained"], cluster="m")
    plain = fit_logistic(half, "y", ["trained"], cluster="m")
    assert [notice.code for notice in fit.notices] == ["no_spread"]
    assert (fit.spread, fit.spread_low) == (0.0, 0.0)
    assert 0 < fit.spread_high < 2
    np.testing.assert_allclose(fit.table.estimates, plain.table.estimates, atol=1e-8)
    assert fit.log_likelihood == pytest.approx(plain.log_likelihood, abs=1e-9)
    assert fit.marginal_risk(half) == pytest.approx(half["y"].mean(), abs=1e-8)


@pytest.mark.parametrize(
    ("change", "error", "reason"),
    [
        (lambda d: d.assign(mishap=1), NotEstimable, "one_mishap"),
        (lambda d: d.assign(crew=d["y"]), NotEstimable, "separated"),
        (lambda d: d.assign(y=(d["mishap"] % 2)), NotEstimable, "no_discordant_mishaps"),
        (lambda d: d.assign(y=1), NotEstimable, "one_outcome"),
        (lambda d: d.drop(columns="crew"), CallError, "missing_column"),
    ],
)
def test_what_cannot_be_fitted_is_said(occupants, change, error, reason):
    with pytest.raises(error) as refused:
        fit_random_intercept(change(occupants), "y", TERMS, cluster="mishap")
    assert refused.value.reason == reason


def test_no_node_is_refused(occupants):
    with pytest.raises(CallError, match="node"):
        fit_random_intercept(occupants, "y", TERMS, cluster="mishap", nodes=0)


def test_units_labels_and_order_do_not_matter(occupants, golden):
    changed = occupants.sample(frac=1, random_state=2).assign(crew=lambda d: 1000.0 * d["crew"])
    changed["mishap"] = "M" + (99 - changed["mishap"]).astype(str)
    fit = fit_random_intercept(changed, "y", TERMS, cluster="mishap")
    np.testing.assert_allclose(fit.table.estimates * [1, 1, 1000, 1], golden.table.estimates, rtol=1e-6)
    np.testing.assert_allclose(fit.table["trained"].se, golden.table["trained"].se, rtol=1e-5)


def test_the_model_takes_people_as_independent_once_their_mishap_is_known(occupants, golden):
    twice = fit_random_intercept(pd.concat([occupants, occupants]), "y", TERMS, cluster="mishap")
    assert twice.table["trained"].se < golden.table["trained"].se
    assert twice.mishaps == golden.mishaps == 14


def confounded(seed, mishaps=150):
    """Mishaps that go well hold more of the trained; inside a mishap training does nothing."""
    rng = stream(seed, "confounded mishaps")
    codes = np.repeat(np.arange(mishaps), 8)
    level = rng.normal(0, 1.5, mishaps)[codes]
    trained = (rng.random(len(codes)) < expit(level)).astype(int)
    lived = (rng.random(len(codes)) < expit(level)).astype(int)
    return pd.DataFrame({"lived": lived, "trained": trained, "mishap": codes})


def test_difference_between_mishaps_is_told_from_that_inside():
    split = mundlak(confounded(1), "lived", ["trained"], split="trained", cluster="mishap")
    assert split.within.low < 0 < split.within.high
    assert split.between.low > 1
    assert split.difference.low > 0
    assert split.difference.estimate == pytest.approx(
        split.between.estimate - split.within.estimate, abs=1e-9
    )


def test_splitting_is_centring_inside_mishaps(occupants):
    # the same model written with the deviation from the mishap's mean beside the mean
    split = mundlak(occupants, "y", TERMS, split="trained", cluster="mishap")
    mean = occupants.groupby("mishap")["trained"].transform("mean")
    centred = occupants.assign(inside=occupants["trained"] - mean, mean=mean)
    fit = fit_random_intercept(centred, "y", ["inside", "mean", "crew", "seat_far"], cluster="mishap")
    for ours, other in ((split.within, fit.table["inside"]), (split.between, fit.table["mean"])):
        assert (ours.estimate, ours.se) == pytest.approx((other.estimate, other.se), rel=1e-5)
    assert split.spread == pytest.approx(fit.spread, rel=1e-6)


def test_what_does_not_vary_inside_or_between_is_not_split(occupants):
    for change in (lambda d: d.assign(trained=(d["mishap"] % 2)), lambda d: d.assign(trained=1)):
        with pytest.raises(NotEstimable) as refused:
            mundlak(change(occupants), "y", TERMS, split="trained", cluster="mishap")
        assert refused.value.reason == "no_free_column"
    with pytest.raises(CallError, match="not a numeric term"):
        mundlak(occupants, "y", ["crew"], split="trained", cluster="mishap")
