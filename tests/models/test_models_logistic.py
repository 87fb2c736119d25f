"""Logistic fits with cluster covariances against golden values, R, slow loops and a closed form."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import slow
from random_sets import TERMS, as_frame, usable_sets
from scipy.special import expit
from scipy.stats import chi2_contingency

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.models.cluster_covariance import cluster_covariance
from survstats.models.logistic import fit_logistic
from survstats.models.separation import find_separation

GOLDEN_SE = {"CR0": 0.41156071, "CR1": 0.42709674, "CR2": 0.4394578}


@pytest.mark.parametrize("method", ["CR0", "CR1", "CR2"])
def test_golden_values(occupants, method):
    # design golden values, computed twice by independent code (R and own NumPy)
    fit = fit_logistic(occupants, "y", TERMS, cluster="mishap", covariance=method)
    np.testing.assert_allclose(
        fit.table.estimates, [0.29167362, 0.44845567, -0.08529906, -0.31201324], rtol=1e-5
    )
    assert fit.log_likelihood == pytest.approx(-59.83611833, rel=1e-8)
    assert fit.table["trained"].se == pytest.approx(GOLDEN_SE[method], rel=1e-5)
    if method == "CR2":
        df = [row.df for row in fit.table]
        np.testing.assert_allclose(df, [8.67, 10.96, 11.99, 10.95], atol=0.005)


def linear(frame, terms, outcome):
    x = np.column_stack([np.ones(len(frame)), frame[terms].to_numpy(float)])
    y = frame[outcome].to_numpy(float)
    return x, y - x @ np.linalg.lstsq(x, y, rcond=None)[0]


def test_linear_golden_values(occupants):
    # design golden values; exact agreement with clubSandwich is known for linear models
    x, e = linear(occupants, TERMS, "y")
    spread = cluster_covariance(x, e, occupants["mishap"].to_numpy() - 1)
    np.testing.assert_allclose(spread.se, [0.13493212, 0.10525471, 0.13937137, 0.13877521], rtol=1e-6)
    np.testing.assert_allclose(spread.df, [8.7352, 10.9867, 12.0211, 10.9449], rtol=1e-5)


def test_intercept_only_identity():
    # closed form: with equal sizes CR2 is the variance of the cluster means over g, df = g - 1
    rng = np.random.default_rng(5)
    y = rng.normal(size=(7, 4)) + rng.normal(size=(7, 1))
    spread = cluster_covariance(np.ones((28, 1)), (y - y.mean()).ravel(), np.repeat(np.arange(7), 4))
    assert spread.covariance[0, 0] == pytest.approx(y.mean(axis=1).var(ddof=1) / 7, rel=1e-12)
    assert spread.df[0] == pytest.approx(6.0, rel=1e-12)


@pytest.mark.parametrize(
    ("data", "outcome", "terms", "cluster", "methods"),
    [
        ("occupants", "y", TERMS, "mishap", 4),
        ("infert", "case", ["spontaneous", "induced", "age"], "stratum", 4),
        ("titanic", "lived", ["class", "female", "adult"], "person", 2),
    ],
)
def test_agrees_with_r(request, references, data, outcome, terms, cluster, methods):
    # tests/reference/logistic.R: glm with sandwich (CR0, CR1) and clubSandwich (CR2, whose root is another one),
    # CR2 with the symmetric root written out in R; Titanic: sandwich's HC0 and HC2
    table = references["logistic"]
    table = table[table["data"].str.startswith(data) & (table["model"] == "logistic")]
    assert table["method"].nunique() == methods
    for method, rows in table.groupby("method"):
        fit = fit_logistic(
            request.getfixturevalue(data), outcome, terms, cluster=cluster, covariance=method[:3]
        )
        np.testing.assert_allclose(fit.table.estimates, rows["estimate"], rtol=1e-7)
        tolerance = {"occupants": 3e-4, "infert": 2e-3}.get(data, 1e-6) if method == "CR2" else 1e-6
        np.testing.assert_allclose([row.se for row in fit.table], rows["se"], rtol=tolerance)
        if rows["df"].notna().all():
            np.testing.assert_allclose([row.df for row in fit.table], rows["df"], rtol=10 * tolerance)


def test_titanic_cells(titanic):
    # 32-cell table of Dawson 1995; coefficients and deviance computed with R's glm from it
    fit = fit_logistic(titanic, "lived", ["class", "female", "adult"], cluster="person")
    expected = [0.685319, -1.018095, -1.777762, -0.857676, 2.420060, -1.061542]
    np.testing.assert_allclose(fit.table.estimates, expected, atol=1e-6)
    assert -2 * fit.log_likelihood == pytest.approx(2210.061, abs=1e-3)
    assert titanic["lived"].sum() == 711
    assert fit.design.columns[1] == "class[2nd]"


def test_agrees_with_plain_loops_on_fifty_sets():
    def usable(x, y, codes):
        return np.linalg.matrix_rank(x) == x.shape[1] and find_separation(x, y).kind == "none"

    for x, y, codes in usable_sets(50, usable):
        frame, terms = as_frame(x, y, codes)
        fit = fit_logistic(frame, "y", terms, cluster="mishap")
        beta = slow.logistic(x, y)
        np.testing.assert_allclose(fit.table.estimates, beta, rtol=1e-7, atol=1e-9)
        mu = expit(x @ beta)
        root = np.sqrt(mu * (1 - mu))
        covariance, df = slow.bias_reduced_covariance(x * root[:, None], (y - mu) / root, codes)
        np.testing.assert_allclose(fit.covariance, covariance, rtol=1e-5, atol=1e-9)
        np.testing.assert_allclose([row.df for row in fit.table], df, rtol=1e-5)


def test_duplicated_rows_do_not_shrink_the_errors(occupants):
    twice = pd.concat([occupants, occupants], ignore_index=True)
    for method in ("CR0", "CR1", "CR2"):
        once = fit_logistic(occupants, "y", TERMS, cluster="mishap", covariance=method)
        again = fit_logistic(twice, "y", TERMS, cluster="mishap", covariance=method)
        np.testing.assert_allclose(again.covariance, once.covariance, rtol=1e-8)


def test_labels_and_row_order_do_not_matter(occupants):
    shuffled = occupants.sample(frac=1, random_state=4)
    shuffled["mishap"] = "M" + (99 - shuffled["mishap"]).astype(str)
    once = fit_logistic(occupants, "y", TERMS, cluster="mishap")
    again = fit_logistic(shuffled, "y", TERMS, cluster="mishap")
    pd.testing.assert_frame_equal(once.table.to_frame(), again.table.to_frame(), rtol=1e-9)


def test_separated_outcomes_are_refused_with_a_remedy(endometrial):
    # Heinze & Schemper 2002: every woman with NV = 1 has HG = 1
    with pytest.raises(NotEstimable, match="NV") as refused:
        fit_logistic(endometrial.assign(id=range(79)), "HG", ["NV", "PI", "EH"], cluster="id")
    assert refused.value.reason == "separated"
    assert "Firth" in refused.value.remedy


@pytest.mark.parametrize(
    ("change", "error", "reason"),
    [
        (lambda d: d.assign(y=1), NotEstimable, "one_outcome"),
        (lambda d: d.assign(y=2 * d["y"]), CallError, "not_binary"),
        (lambda d: d.assign(y=d["y"].where(d["id"] > 3)), NotEstimable, "missing_value"),
        (lambda d: d.assign(mishap=1), NotEstimable, "one_mishap"),
        (lambda d: d.drop(columns="crew"), CallError, "missing_column"),
        (lambda d: d.iloc[:0], NotEstimable, "no_rows"),
    ],
)
def test_what_cannot_be_fitted_is_said(occupants, change, error, reason):
    with pytest.raises(error) as refused:
        fit_logistic(change(occupants), "y", TERMS, cluster="mishap")
    assert refused.value.reason == reason


def test_an_aliased_column_is_dropped_and_noticed(occupants):
    frame = occupants.assign(not_crew=1 - occupants["crew"])
    fit = fit_logistic(frame, "y", [*TERMS, "not_crew"], cluster="mishap")
    assert fit.usage.dropped == {"not_crew": "aliased"}
    assert [notice.code for notice in fit.notices] == ["aliased_column"]
    assert fit.log_likelihood == pytest.approx(-59.83611833, rel=1e-8)


def test_rows_taken_as_independent_shrink_with_every_copy_and_ours_do_not(occupants):
    # wrong on purpose: everyone a mishap of their own, so that copied rows pass for more people
    copies = pd.concat([occupants] * 4, ignore_index=True)
    widths = {}
    for name, frame in (("once", occupants), ("four times", copies)):
        for cluster in ("mishap", "row"):
            row = fit_logistic(frame.assign(row=range(len(frame))), "y", TERMS, cluster=cluster).table[
                "trained"
            ]
            widths[name, cluster] = row.high - row.low
    assert widths["four times", "row"] < 0.55 * widths["once", "row"]
    assert widths["four times", "mishap"] == pytest.approx(widths["once", "mishap"], rel=1e-6)


def test_recoded_exposure_turns_the_sign_and_keeps_error_and_likelihood(occupants):
    once = fit_logistic(occupants, "y", TERMS, cluster="mishap")
    again = fit_logistic(occupants.assign(trained=1 - occupants["trained"]), "y", TERMS, cluster="mishap")
    ours, other = once.table["trained"], again.table["trained"]
    assert (other.estimate, other.se, other.df) == pytest.approx((-ours.estimate, ours.se, ours.df), rel=1e-9)
    assert (other.low, other.high) == pytest.approx((-ours.high, -ours.low), rel=1e-9)
    assert again.log_likelihood == pytest.approx(once.log_likelihood, rel=1e-12)


ESCAPED = {1: (28, 24), 2: (38, 9), 3: (52, 2)}  # training dose: escaped and did not, six months later


def test_training_dose_and_escape_at_six_months():
    # Kozey 2006, as quoted by Coleshaw 2006 (counts and percentages); statistics computed from these counts with R
    people = pd.DataFrame(
        [
            (dose, out)
            for dose, counts in ESCAPED.items()
            for out, n in zip((1, 0), counts, strict=True)
            for _ in range(n)
        ],
        columns=["dose", "out"],
    )
    shares = people.groupby("dose")["out"].mean()
    assert [round(100 * share) for share in shares] == [54, 81, 96]
    frame = people.assign(dose=pd.Categorical(people["dose"]), person=range(len(people)))
    fit = fit_logistic(frame, "out", ["dose"], cluster="person")
    ratios = np.exp([fit.table[f"dose[{dose}]"].estimate for dose in (3, 2)])
    np.testing.assert_allclose(ratios, [22.2857, 3.6190], atol=5e-5)
    assert chi2_contingency(np.array(list(ESCAPED.values())), correction=False).statistic == pytest.approx(
        27.5913, abs=5e-5
    )
    trend = len(people) * np.corrcoef(people["dose"], people["out"])[0, 1] ** 2
    assert trend == pytest.approx(26.9748, abs=5e-5)
    # the same trend as the score of a logistic model whose slope is held at 0
    x, rest = people["dose"] - people["dose"].mean(), people["out"] - people["out"].mean()
    score = (x @ rest) ** 2 / ((x @ x) * people["out"].mean() * (1 - people["out"].mean()))
    assert score == pytest.approx(trend, rel=1e-12)
