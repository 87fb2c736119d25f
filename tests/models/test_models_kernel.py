"""The batched solver against golden values, slow loops, and what must not move."""

from __future__ import annotations

import numpy as np
import pytest
import slow
from random_sets import TERMS, random_rows, usable_sets

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.groundwork.resampling import bootstrap, leave_one_out
from survstats.models.design import build_design
from survstats.models.kernel import collapse, mean_risk, refit_intercept, solve
from survstats.models.separation import find_separation


def difference(x, y, codes, *, penalised=False, column=1):
    """psi1, psi0, RD, jackknife SE of the standardised risks, all refits in one call."""
    collapsed = collapse(x, y, codes)
    g = collapsed.mishaps
    weights = np.vstack([np.ones(g), leave_one_out(g)])
    fit = solve(collapsed, weights, penalty="firth" if penalised else "none")
    assert fit.converged.all()
    beta = refit_intercept(collapsed, weights, fit.coefficients) if penalised else fit.coefficients
    psi = []
    for value in (1.0, 0.0):
        changed = x.copy()
        changed[:, column] = value
        psi.append(mean_risk(changed, codes, weights, beta))
    rd = psi[0] - psi[1]
    return psi[0][0], psi[1][0], rd[0], np.sqrt((g - 1) / g * ((rd[1:] - rd[0]) ** 2).sum())


@pytest.fixture
def golden(occupants):
    design = build_design(occupants, TERMS, cluster="mishap")
    return design.matrix, occupants["y"].to_numpy(float), design.mishap_codes


def separates_nowhere(x, y, codes):
    if np.linalg.matrix_rank(x) < x.shape[1]:
        return False
    for keep in [codes >= 0, *(codes != g for g in np.unique(codes))]:
        if np.linalg.matrix_rank(x[keep]) < x.shape[1] or find_separation(x[keep], y[keep]).kind != "none":
            return False
    return True


def test_standardised_difference_has_the_golden_values(golden):
    # design golden values, computed twice by independent code (R and own NumPy)
    assert difference(*golden) == pytest.approx((0.64647367, 0.53918300, 0.10729067, 0.10938327), rel=1e-5)
    assert difference(*golden, penalised=True) == pytest.approx(
        (0.64434269, 0.54199667, 0.10234602, 0.10324239), rel=1e-5
    )


def test_jackknife_difference_agrees_with_plain_loops_on_fifty_sets():
    for x, y, codes in usable_sets(50, separates_nowhere, mishaps=9):
        assert difference(x, y, codes)[2:] == pytest.approx(
            slow.jackknife_difference(x, y, codes, 1), rel=1e-6
        )


def test_firth_flic_difference_agrees_with_plain_loops_on_fifty_sets():
    def full_rank(x, y, codes):
        keeps = [codes >= 0, *(codes != g for g in np.unique(codes))]
        return all(np.linalg.matrix_rank(x[k]) == x.shape[1] and 0 < y[k].mean() < 1 for k in keeps)

    separated = 0
    for x, y, codes in usable_sets(50, full_rank, mishaps=6, strength=2.0, biggest=6):
        separated += not separates_nowhere(x, y, codes)
        expected = slow.jackknife_difference(x, y, codes, 1, penalised=True)
        assert difference(x, y, codes, penalised=True)[2:] == pytest.approx(expected, rel=1e-5, abs=1e-8)
    assert separated > 10  # the sets do exercise separation


def test_duplicated_rows_move_nothing_under_maximum_likelihood(golden):
    x, y, codes = golden
    twice = difference(np.vstack([x, x]), np.r_[y, y], np.r_[codes, codes])
    assert twice == pytest.approx(difference(x, y, codes), rel=1e-9)


def test_duplicated_rows_halve_the_penalty_under_firth(golden):
    x, y, codes = golden
    for rows, expected in (
        (slice(0, 90), 0.10267),
        (slice(0, 180), 0.10493),
    ):  # design golden values, without FLIC
        xs, ys, gs = np.vstack([x, x])[rows], np.r_[y, y][rows], np.r_[codes, codes][rows]
        beta = solve(collapse(xs, ys, gs), np.ones((1, 14)), penalty="firth").coefficients[0]
        assert slow.standardised_difference(xs, ys, beta, 1) == pytest.approx(expected, abs=5e-6)


@pytest.mark.parametrize("penalised", [False, True])
def test_recoded_exposure_changes_the_sign_and_nothing_else(golden, penalised):
    x, y, codes = golden
    turned = x.copy()
    turned[:, 1] = 1 - turned[:, 1]
    psi1, psi0, rd, se = difference(x, y, codes, penalised=penalised)
    assert difference(turned, y, codes, penalised=penalised) == pytest.approx((psi0, psi1, -rd, se), rel=1e-8)


def test_row_order_and_labels_do_not_matter(golden):
    x, y, codes = golden
    order = np.random.default_rng(1).permutation(len(y))
    relabelled = np.random.default_rng(2).permutation(codes.max() + 1)[codes]
    shuffled = difference(x[order], y[order], relabelled[order])
    assert shuffled == pytest.approx(difference(x, y, codes), rel=1e-9)


@pytest.mark.parametrize("penalty", ["none", "firth"])
def test_integer_weights_are_repeated_rows(golden, penalty):
    x, y, codes = golden
    weights = bootstrap(codes.max() + 1, 40, np.random.default_rng(3))
    fit = solve(collapse(x, y, codes), weights, penalty=penalty)
    for row, beta, fine in zip(weights, fit.coefficients, fit.converged, strict=True):
        rows = np.repeat(np.arange(len(y)), row[codes].astype(int))
        if fine:
            expected = slow.logistic(x[rows], y[rows], firth=penalty == "firth")
            np.testing.assert_allclose(beta, expected, rtol=1e-6, atol=1e-8)


def test_fractional_weights_scale_the_likelihood(golden):
    collapsed = collapse(*golden)
    g = collapsed.mishaps
    fit = solve(collapsed, [np.ones(g), np.full(g, 0.25)])
    np.testing.assert_allclose(fit.coefficients[0], fit.coefficients[1], rtol=1e-9)
    assert fit.log_likelihood[1] == pytest.approx(fit.log_likelihood[0] / 4)


@pytest.mark.parametrize("penalty", ["none", "firth"])
def test_a_level_of_one_mishap_is_left_out_with_it(golden, penalty):
    x, y, codes = golden
    level = ((codes == 4) & (np.arange(len(y)) % 2 == 0)).astype(float)
    wide = np.column_stack([x, level])
    weights = leave_one_out(codes.max() + 1)
    fit = solve(collapse(wide, y, codes), weights, penalty=penalty)
    keep = codes != 4
    expected = slow.logistic(x[keep], y[keep], firth=penalty == "firth")
    assert fit.coefficients[4, -1] == 0.0
    assert fit.converged[4]
    assert not fit.identified[4, -1]
    assert fit.identified[4, :-1].all()
    assert fit.identified[np.arange(len(weights)) != 4].all()
    np.testing.assert_allclose(fit.coefficients[4, :-1], expected, rtol=1e-7, atol=1e-9)
    predicted = mean_risk(wide, codes, weights, fit.coefficients)[4]
    assert predicted == pytest.approx(np.mean([slow.risk(row, expected) for row in x[keep]]), rel=1e-8)


def test_a_reference_level_that_leaves_keeps_the_predictions(golden):
    x, y, codes = golden
    level = (codes != 2).astype(float)  # all but one mishap: what is left is a second intercept
    weights = leave_one_out(codes.max() + 1)
    wide = np.column_stack([x[:, :1], level, x[:, 1:]])
    fit = solve(collapse(wide, y, codes), weights)
    keep = codes != 2
    expected = slow.logistic(x[keep], y[keep])
    assert fit.converged[2]
    assert list(fit.identified[2]) == [False, False, True, True, True]
    np.testing.assert_allclose(wide[keep] @ fit.coefficients[2], x[keep] @ expected, rtol=1e-7, atol=1e-9)


def test_a_sum_of_other_columns_is_left_out_despite_rounding(golden):
    x, y, codes = golden
    age = np.random.default_rng(8).normal(40.3, 11.7, len(y))
    mixed = np.where(codes == 3, 1.0, 0.1 * age + 0.3 * x[:, 1] - 0.7 * x[:, 2])
    fit = solve(collapse(np.column_stack([x, age, mixed]), y, codes), leave_one_out(codes.max() + 1))
    keep = codes != 3
    expected = slow.logistic(np.column_stack([x, age])[keep], y[keep])
    assert fit.converged[3]
    assert fit.coefficients[3, -1] == 0.0
    assert list(fit.identified[3]) == [True, False, False, True, False, False]
    np.testing.assert_allclose(fit.coefficients[3, :-1], expected, rtol=1e-6, atol=1e-8)


def independent(x):
    """The columns that add to the rank of those before them."""
    ranks = [0, *(np.linalg.matrix_rank(x[:, : j + 1]) for j in range(x.shape[1]))]
    return x[:, np.diff(ranks) > 0]


def test_replicates_that_separate_are_flagged_and_no_others():
    flagged = 0
    for seed in range(60):
        x, y, codes = random_rows(seed, mishaps=6, strength=2.5, biggest=4)
        collapsed = collapse(x, y, codes)
        fit = solve(collapsed, leave_one_out(collapsed.mishaps))
        for g in range(collapsed.mishaps):
            keep = codes != g
            separated = find_separation(independent(x[keep]), y[keep]).kind != "none"
            assert fit.converged[g] == (not separated)
            assert fit.diverged[g] == separated
            flagged += separated
    assert flagged > 30


def test_one_outcome_gives_an_infinite_intercept_and_risks_of_one(golden):
    x, y, codes = golden
    collapsed = collapse(x, np.ones_like(y), codes)
    weights = np.ones((1, collapsed.mishaps))
    assert solve(collapsed, weights).diverged.all()
    firth = solve(collapsed, weights, penalty="firth")
    assert firth.converged.all()
    beta = refit_intercept(collapsed, weights, firth.coefficients)
    assert beta[0, 0] == np.inf
    assert mean_risk(x, codes, weights, beta)[0] == 1.0


def test_wrong_weights_are_refused(golden):
    x, y, codes = golden
    collapsed = collapse(x, y, codes)
    with pytest.raises(CallError, match="3 weights"):
        solve(collapsed, np.ones((1, 3)))
    with pytest.raises(CallError, match="negative"):
        solve(collapsed, np.full((1, collapsed.mishaps), -1.0))
    with pytest.raises(NotEstimable, match="no row left"):
        mean_risk(x, codes, np.zeros((1, collapsed.mishaps)), np.zeros(4))
    with pytest.raises(NotEstimable) as none_left:
        collapse(x[:0], y[:0], codes[:0])
    assert none_left.value.reason == "no_rows"


def test_collapsing_keeps_every_count(golden):
    x, y, codes = golden
    collapsed = collapse(x, y, codes, mishaps=20)
    assert len(collapsed.patterns) == len(np.unique(x, axis=0))
    assert collapsed.counts.sum() == len(y)
    np.testing.assert_allclose(collapsed.successes.sum(axis=0), x.T @ y)
    assert collapsed.mishaps == 20


@pytest.mark.parametrize("mishaps", [1_000, 8_000])
def test_one_pass_after_an_opening_leaves_less_than_a_hundred_millionth(mishaps):
    x, y, codes = random_rows(9, mishaps=mishaps, extra=3)
    collapsed = collapse(x, y, codes)
    weights = bootstrap(mishaps, 40, np.random.default_rng(3))
    passes = solve(collapsed, weights, start=np.zeros((40, x.shape[1]))).coefficients
    opened = solve(collapsed, weights)
    assert opened.converged.all()
    np.testing.assert_allclose(opened.coefficients, passes, rtol=0, atol=5e-9)
