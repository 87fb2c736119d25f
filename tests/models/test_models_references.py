"""Every member of the logistic family beside R on two more open data sets: estimates, errors, degrees of freedom.

``bacteria`` (Venables and Ripley 2002, as carried by R's MASS) and ``cbpp`` (Lesnoff et al. 2004, as carried by R's
lme4); the values stand in ``tests/reference`` beside the scripts that made them and the versions they were made with.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from random_sets import TERMS

from survstats.models.cluster_covariance import cluster_covariance
from survstats.models.conditional import fit_within
from survstats.models.logistic import fit_logistic
from survstats.models.penalised import fit_firth
from survstats.models.random_intercept import fit_random_intercept

GOLDEN, REFERENCE = (Path(__file__).parents[1] / name for name in ("golden", "reference"))
PERIODS = ["period2", "period3", "period4"]
SETS = {
    "bacteria": ("y", ["drug", "drug_plus", "late"], "id"),
    "cbpp": ("ill", PERIODS, "herd"),
    "infert": ("case", ["spontaneous", "induced", "age"], "stratum"),
    "occupants_90": ("y", TERMS, "mishap"),
}
WITHIN = {"bacteria": ["week", "late"], "cbpp": PERIODS}


def rows(name: str) -> pd.DataFrame:
    """A golden data set, one row per animal or person."""
    data = pd.read_csv(GOLDEN / f"{name}.csv")
    if name != "cbpp":
        return data
    ill = data.loc[data.index.repeat(data["incidence"])].assign(ill=1)
    well = data.loc[data.index.repeat(data["size"] - data["incidence"])].assign(ill=0)
    animals = pd.concat([ill, well], ignore_index=True)
    return animals.assign(**{f"period{p}": (animals["period"] == p).astype(int) for p in (2, 3, 4)})


def reference(name: str, data: str, **where: object) -> pd.DataFrame:
    """R's values for a data set."""
    table = pd.read_csv(REFERENCE / f"{name}.csv").query("data == @data")
    for column, value in where.items():
        table = table[table[column] == value]
    assert len(table)
    return table


def test_the_data_sets_are_those_described():
    # MASS: 220 tests of 50 children; lme4: 56 herds and periods of 15 herds, 842 animals, 99 of them ill
    bacteria, cbpp = rows("bacteria"), rows("cbpp")
    assert (len(bacteria), bacteria["id"].nunique(), bacteria["y"].sum()) == (220, 50, 177)
    assert (len(cbpp), cbpp["herd"].nunique(), cbpp["ill"].sum()) == (842, 15, 99)


@pytest.mark.parametrize("data", ["bacteria", "cbpp"])
@pytest.mark.parametrize(
    ("method", "tolerance"), [("CR0", 1e-7), ("CR1", 1e-7), ("CR2", 1e-3), ("CR2_symmetric", 1e-7)]
)
def test_cluster_errors_agree_with_sandwich_and_clubsandwich(data, method, tolerance):
    # R sandwich (CR0, CR1), clubSandwich (CR2, another root of the same matrix), our root written out in R
    outcome, terms, cluster = SETS[data]
    table = reference("logistic", data, model="logistic", method=method)
    fit = fit_logistic(rows(data), outcome, terms, cluster=cluster, covariance=method[:3])
    np.testing.assert_allclose(fit.table.estimates, table["estimate"], rtol=1e-8)
    np.testing.assert_allclose([row.se for row in fit.table], table["se"], rtol=tolerance)
    if method.startswith("CR2"):
        np.testing.assert_allclose([row.df for row in fit.table], table["df"], rtol=tolerance)


@pytest.mark.parametrize("data", SETS)
def test_linear_errors_agree_with_clubsandwich(data):
    # R clubSandwich: CR2 and Satterthwaite df of lm, where the root is the same
    outcome, terms, cluster = SETS[data]
    frame, table = rows(data), reference("logistic", data, model="linear", method="CR2")
    x = np.column_stack([np.ones(len(frame)), frame[terms]])
    beta = np.linalg.lstsq(x, frame[outcome], rcond=None)[0]
    spread = cluster_covariance(x, frame[outcome] - x @ beta, pd.factorize(frame[cluster])[0])
    np.testing.assert_allclose(beta, table["estimate"], rtol=1e-8)
    np.testing.assert_allclose(spread.se, table["se"], rtol=1e-7)
    np.testing.assert_allclose(spread.df, table["df"], rtol=1e-7)


@pytest.mark.parametrize("data", ["bacteria", "cbpp"])
def test_penalised_fits_agree_with_brglm2(data):
    # R brglm2 (AS_mean): estimates and errors; profile limits by nested optimisation in R
    outcome, terms, _ = SETS[data]
    table, fit = reference("penalised", data), fit_firth(rows(data), outcome, terms)
    np.testing.assert_allclose(fit.table.estimates, table["estimate"], rtol=1e-7)
    np.testing.assert_allclose([row.se for row in fit.table], table["se"], rtol=1e-7)
    for end in ("low", "high"):
        np.testing.assert_allclose([getattr(row, end) for row in fit.table], table[end], rtol=1e-5)
    assert fit.log_likelihood == pytest.approx(table["log_likelihood"].iloc[0], rel=1e-9)


@pytest.mark.parametrize("data", WITHIN)
def test_conditional_fits_agree_with_clogit(data):
    # R survival: clogit, exact
    outcome, _, cluster = SETS[data]
    table = reference("conditional", data)
    fit = fit_within(rows(data), outcome, WITHIN[data], cluster=cluster)
    np.testing.assert_allclose(fit.table.estimates, table["estimate"], rtol=1e-7)
    np.testing.assert_allclose([row.se for row in fit.table], table["se"], rtol=1e-7)
    assert fit.log_likelihood == pytest.approx(table["log_likelihood"].iloc[0], rel=1e-9)


@pytest.mark.parametrize("data", ["occupants_90", "bacteria", "cbpp"])
@pytest.mark.parametrize("nodes", [1, 25])
def test_random_intercepts_agree_with_lme4(data, nodes):
    # R lme4: glmer, whose own search stops near 1e-6 of the estimates; log-likelihood by R's integrate there
    outcome, terms, cluster = SETS[data]
    table = reference("intercepts", data, nodes=nodes)
    fit = fit_random_intercept(rows(data), outcome, terms, cluster=cluster, nodes=nodes)
    np.testing.assert_allclose(fit.table.estimates, table["estimate"], rtol=1e-4)
    np.testing.assert_allclose([row.se for row in fit.table], table["se"], rtol=1e-4)
    assert fit.spread == pytest.approx(table["spread"].iloc[0], rel=1e-4)
    if nodes == 25:
        assert fit.log_likelihood == pytest.approx(table["log_likelihood"].iloc[0], rel=1e-6)
