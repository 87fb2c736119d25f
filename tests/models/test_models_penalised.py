"""Firth fits and profile limits against golden values, R, a closed form and slow loops."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import slow
from random_sets import TERMS, as_frame, usable_sets
from scipy.stats import chi2

from survstats.models.kernel import collapse, solve
from survstats.models.penalised import fit_firth, profile_log_likelihood


def test_golden_values(occupants):
    # design golden values, computed twice by independent code (R and own NumPy)
    fit = fit_firth(occupants, "y", TERMS, cluster="mishap")
    np.testing.assert_allclose(
        fit.table.estimates, [0.27780914, 0.42756626, -0.07698587, -0.29707563], rtol=1e-6
    )
    assert fit.log_likelihood == pytest.approx(-56.15758382, rel=1e-9)
    trained = fit.table["trained"]
    assert (trained.low, trained.high) == pytest.approx((-0.47985708, 1.35108982), rel=1e-6)
    assert fit.flic_intercept == pytest.approx(0.29526472, rel=1e-6)
    assert fit.prediction_coefficients[0] == fit.flic_intercept
    assert fit.usage.mishaps == 14


def test_saturated_table_has_its_closed_form():
    # 9/9 v 4/10: half a person is added to each cell; limits are design golden values
    frame = pd.DataFrame({"y": [1] * 13 + [0] * 6, "a": [1] * 9 + [0] * 10})
    a = fit_firth(frame, "y", ["a"]).table["a"]
    assert a.estimate == pytest.approx(np.log(9.5 * 6.5 / (0.5 * 4.5)), rel=1e-8)
    assert (a.low, a.high) == pytest.approx((0.863541, 8.265745), rel=1e-6)


def test_endometrial_published_values(endometrial):
    # Heinze & Schemper 2002, Stat Med 21:2409 (NV 2.93, 0.61 to 7.85, as remembered); more digits computed with R
    fit = fit_firth(endometrial, "HG", ["NV", "PI", "EH"])
    nv = fit.table["NV"]
    assert (nv.estimate, nv.low, nv.high) == pytest.approx((2.92928, 0.6097, 7.8546), rel=5e-5)
    collapsed = collapse(fit.design.matrix, endometrial["HG"], np.zeros(79, dtype=int))
    fall = 2 * (
        fit.log_likelihood - profile_log_likelihood(collapsed, 1, [0.0], start=fit.table.estimates)[0]
    )
    assert chi2.sf(fall, 1) == pytest.approx(0.00912, abs=5e-6)


@pytest.mark.parametrize(
    ("data", "outcome", "terms"),
    [
        ("occupants", "y", TERMS),
        ("endometrial", "HG", ["NV", "PI", "EH"]),
        ("infert", "case", ["spontaneous", "induced", "age"]),
    ],
)
def test_agrees_with_r(request, references, data, outcome, terms):
    # tests/reference/penalised.R: brglm2 (estimates, errors) and nested optimisation in R (limits)
    table = references["penalised"]
    rows = table[table["data"].str.startswith(data)]
    fit = fit_firth(request.getfixturevalue(data), outcome, terms)
    ours = fit.table.to_frame()
    np.testing.assert_allclose(ours["estimate"], rows["estimate"], rtol=1e-6)
    np.testing.assert_allclose(ours["se"], rows["se"], rtol=1e-6)
    np.testing.assert_allclose(ours[["low", "high"]], rows[["low", "high"]], rtol=1e-5)
    assert fit.log_likelihood == pytest.approx(rows["log_likelihood"].iloc[0], rel=1e-8)


def test_agrees_with_plain_loops_on_twenty_sets():
    def usable(x, y, codes):
        full = np.linalg.matrix_rank(x) == x.shape[1] and 0 < y.mean() < 1
        return full and np.abs(slow.logistic(x, y, firth=True)).max() < 3.3  # one maximum, not several

    for x, y, codes in usable_sets(20, usable, mishaps=5, strength=1.5, biggest=6):
        frame, terms = as_frame(x, y, codes)
        fit = fit_firth(frame, "y", terms)
        np.testing.assert_allclose(fit.table.estimates, slow.logistic(x, y, firth=True), rtol=1e-6, atol=1e-8)
        limits = (fit.table["x1"].low, fit.table["x1"].high)
        assert limits == pytest.approx(slow.profile_limits(x, y, 1), rel=1e-6, abs=1e-7)


def test_a_held_column_stays_in_the_penalty(endometrial):
    # the penalised likelihood ratio keeps the whole design in the penalty; dropping the columns gives another number
    x = np.column_stack([np.ones(79), endometrial[["NV", "PI", "EH"]].to_numpy(float)])
    y, codes, once = endometrial["HG"].to_numpy(float), np.zeros(79, dtype=int), np.ones((1, 1))
    held = solve(
        collapse(x, y, codes), once, penalty="firth", start=np.zeros(4), held=[False, True, True, True]
    )
    alone = solve(collapse(x[:, :1], y, codes), once, penalty="firth")
    expected = slow.logistic(x, y, firth=True, free=[0])
    np.testing.assert_allclose(held.coefficients[0], expected, rtol=1e-7)
    assert held.log_likelihood[0] == pytest.approx(slow.likelihood(x, y, expected, True), rel=1e-9)
    assert abs(held.log_likelihood[0] - alone.log_likelihood[0]) > 1


def test_recoded_exposure_turns_the_limits(occupants):
    there = fit_firth(occupants, "y", TERMS).table["trained"]
    back = fit_firth(occupants.assign(trained=1 - occupants["trained"]), "y", TERMS).table["trained"]
    assert (back.estimate, back.low, back.high) == pytest.approx(
        (-there.estimate, -there.high, -there.low), rel=1e-7
    )
