"""Each mishap left out by derivatives and its own rows: as good as refits, and given up where it is not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import slow
from random_sets import random_rows

from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import LeaveOneOut, leave_one_out
from survstats.models import leave_out
from survstats.models.expansion import expand
from survstats.models.kernel import collapse, mean_risk, solve


def refits_near(x, y, codes, **changes):
    collapsed = collapse(x, y, codes)
    full = solve(collapsed, np.ones((1, collapsed.mishaps))).coefficients[0]
    return leave_out.refits_without_each(collapsed, replace(expand(collapsed, full), **changes))


def spread(values):
    return np.sqrt((len(values) - 1) / len(values) * ((values - values.mean()) ** 2).sum())


@pytest.fixture(scope="module")
def many():
    return random_rows(11, mishaps=600, extra=3)


@pytest.fixture(scope="module")
def written_out(many):
    x, y, codes = many
    weights = np.asarray(leave_one_out(600))
    return weights, solve(collapse(x, y, codes), weights)


def test_refits_agree_with_passes_over_the_patterns(many, written_out):
    fit = solve(collapse(*many), leave_one_out(600))
    assert fit.converged.all()
    assert fit.identified.all()
    np.testing.assert_allclose(fit.coefficients, written_out[1].coefficients, rtol=0, atol=1e-9)
    np.testing.assert_allclose(fit.log_likelihood, written_out[1].log_likelihood, rtol=1e-12)


def test_where_no_pass_was_made_the_refits_are_right(many, written_out):
    coefficients, near = refits_near(*many)
    assert near.mean() > 0.2
    np.testing.assert_allclose(coefficients[near], written_out[1].coefficients[near], rtol=0, atol=1e-9)


def test_a_refit_agrees_with_a_plain_loop(many):
    x, y, codes = many
    fit = solve(collapse(x, y, codes), leave_one_out(600))
    for mishap in (0, 299, 599):
        keep = codes != mishap
        np.testing.assert_allclose(fit.coefficients[mishap], slow.logistic(x[keep], y[keep]), atol=1e-8)


def test_difference_and_its_jackknife_error_agree_to_a_ten_millionth(many, written_out):
    x, y, codes = many
    weights, exact = written_out
    fit = solve(collapse(x, y, codes), leave_one_out(600))
    differences = []
    for rows, beta in ((leave_one_out(600), fit.coefficients), (weights, exact.coefficients)):
        psi = []
        for value in (1.0, 0.0):
            changed = x.copy()
            changed[:, 1] = value
            psi.append(mean_risk(changed, codes, rows, beta))
        differences.append(psi[0] - psi[1])
    np.testing.assert_allclose(differences[0], differences[1], rtol=1e-7)
    assert spread(differences[0]) == pytest.approx(spread(differences[1]), rel=1e-7)


def test_the_fourth_order_is_needed_for_that(many, written_out):
    coefficients, near = refits_near(*many, fourth=np.zeros((15, 15)))
    assert np.abs(coefficients[near] - written_out[1].coefficients[near]).max() > 1e-8


def test_few_mishaps_are_left_to_passes():
    assert not refits_near(*random_rows(3, mishaps=12))[1].any()


def test_a_column_that_leaves_with_its_mishap_is_left_to_passes(many):
    x, y, codes = many
    wide = np.column_stack([x, ((codes == 40) & (np.arange(len(y)) % 2 == 0)).astype(float)])
    y = np.where(codes == 40, np.arange(len(y)) % 4 < 2, y).astype(float)
    fit = solve(collapse(wide, y, codes), leave_one_out(600))
    assert not fit.identified[40, -1]
    assert fit.coefficients[40, -1] == 0.0
    assert fit.identified[np.arange(600) != 40].all()


def test_mean_risks_refuse_where_only_one_mishap_has_rows(many):
    x, _, codes = many
    only = codes == 7
    with pytest.raises(NotEstimable, match="no row left"):
        mean_risk(x[only], codes[only], leave_one_out(600), np.zeros((600, x.shape[1])))


def test_weights_not_written_out_are_those_written_out():
    weights = LeaveOneOut(5)
    sums = np.random.default_rng(1).normal(size=(5, 3))
    np.testing.assert_array_equal(np.asarray(weights), 1 - np.eye(5))
    np.testing.assert_allclose(weights @ sums, np.asarray(weights) @ sums)
    np.testing.assert_array_equal(weights[np.array([3])], [[1, 1, 1, 0, 1]])
    assert (len(weights), weights.shape) == (5, (5, 5))


def test_small_whole_numbers_weigh_as_floats_do(many):
    collapsed = collapse(*many)
    weights = np.random.default_rng(2).integers(0, 3, (4, 600))
    small = solve(collapsed, weights.astype(np.uint8))
    np.testing.assert_array_equal(small.coefficients, solve(collapsed, weights.astype(float)).coefficients)


@pytest.mark.slow
def test_at_six_thousand_mishaps_a_sample_agrees_with_exact_refits():
    x, y, codes = random_rows(5, mishaps=6_000, extra=3)
    collapsed = collapse(x, y, codes)
    fit = solve(collapsed, leave_one_out(6_000))
    assert refits_near(x, y, codes)[1].mean() > 0.95  # nearly all go by the derivatives
    chosen = np.sort(np.random.default_rng(6).choice(6_000, 50, replace=False))
    start = np.zeros((50, x.shape[1]))  # one start for each: no opening, passes over the patterns only
    exact = solve(collapsed, leave_one_out(6_000)[chosen], start=start).coefficients
    np.testing.assert_allclose(fit.coefficients[chosen], exact, rtol=0, atol=1e-9)
    for mishap in chosen[:3]:
        rows = codes != mishap
        np.testing.assert_allclose(
            fit.coefficients[mishap], slow.logistic(x[rows], y[rows]), rtol=0, atol=1e-8
        )
    exposed, unexposed = x.copy(), x.copy()
    exposed[:, 1], unexposed[:, 1] = 1.0, 0.0
    for rows in (exposed, unexposed):
        short = mean_risk(rows, codes, leave_one_out(6_000), fit.coefficients)[chosen]
        long = mean_risk(rows, codes, leave_one_out(6_000)[chosen], exact)
        np.testing.assert_allclose(short, long, rtol=1e-9)
