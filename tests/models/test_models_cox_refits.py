"""Log hazard ratios of many reweightings beside one fit at a time."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import bootstrap, leave_one_out
from survstats.models.times import cox_refits
from survstats.models.times.cox import fit_cox
from survstats.models.times.cox_refits import refit_cox


def invented(n: int, clusters: int, seed: int, *, tied: bool = True):
    """People of clusters that share their luck."""
    rng = np.random.default_rng(seed)
    codes = np.r_[np.arange(clusters), rng.integers(0, clusters, n - clusters)]
    x = np.column_stack([rng.integers(0, 2, n), rng.normal(size=n), rng.integers(0, 4, n)]).astype(float)
    pull = x @ [0.6, -0.3, 0.1] + rng.normal(0, 0.5, clusters)[codes]
    time = rng.exponential(9 * np.exp(-pull))
    return x, np.ceil(time) if tied else time, (rng.random(n) < 0.8) * 1, codes


def one_by_one(x, time, event, codes, weights, strata=None):
    """Each replicate fitted for itself; NaN where that has no answer."""
    fits = []
    for replicate in np.asarray(weights):
        try:
            fit = fit_cox(x, time, event, weights=replicate[codes], strata=strata, ties="breslow")
            fits.append(fit.coefficients)
        except NotEstimable:
            fits.append(np.full(x.shape[1], np.nan))
    return np.array(fits)


@pytest.mark.parametrize("tied", [True, False])
@pytest.mark.parametrize("in_strata", [True, False])
def test_refits_are_the_fits_of_each_replicate_alone(tied, in_strata):
    x, time, event, codes = invented(250, 25, seed=1, tied=tied)
    strata = codes if in_strata else None
    drawn = bootstrap(25, 40, np.random.default_rng(2))
    together = refit_cox(x, time, event, codes, drawn, strata=strata)
    np.testing.assert_allclose(together, one_by_one(x, time, event, codes, drawn, strata), atol=1e-7)


def test_leaving_each_cluster_out_is_fitting_the_others():
    x, time, event, codes = invented(120, 12, seed=3)
    together = refit_cox(x, time, event, codes, leave_one_out(12))
    for out in range(12):
        left = codes != out
        alone = fit_cox(x[left], time[left], event[left], ties="breslow")
        np.testing.assert_allclose(together[out], alone.coefficients, atol=1e-7)


def test_a_cluster_drawn_twice_is_its_rows_written_twice():
    x, time, event, codes = invented(100, 10, seed=4)
    weights = np.array([[2.0, 0, 1, 1, 3, 1, 0, 1, 1, 1]])
    again = np.repeat(np.arange(100), weights[0].astype(int)[codes])
    alone = fit_cox(x[again], time[again], event[again], ties="breslow")
    np.testing.assert_allclose(refit_cox(x, time, event, codes, weights)[0], alone.coefficients, atol=1e-7)


def test_neither_the_blocks_nor_the_order_of_rows_move_a_refit(monkeypatch):
    x, time, event, codes = invented(150, 15, seed=5)
    drawn = bootstrap(15, 60, np.random.default_rng(6))
    whole = refit_cox(x, time, event, codes, drawn)
    mixed = np.random.default_rng(7).permutation(150)
    monkeypatch.setattr(cox_refits, "BLOCK_CELLS", 1)
    parts = refit_cox(x[mixed], time[mixed], event[mixed], codes[mixed], drawn)
    np.testing.assert_allclose(parts, whole, atol=1e-7)


@given(seed=st.integers(0, 10_000))
@example(seed=43)  # a step so long that a risk set weighs nothing
@settings(max_examples=10, deadline=None)
def test_replicates_without_an_answer_are_told_and_no_others(seed):
    x, time, event, codes = invented(24, 6, seed=seed)
    drawn = np.vstack([np.eye(6), bootstrap(6, 20, np.random.default_rng(seed))])
    alone = one_by_one(x, time, event, codes, np.vstack([np.ones(6), drawn]))
    if np.isnan(alone[0]).any():
        with pytest.raises(NotEstimable):
            refit_cox(x, time, event, codes, drawn)
        return
    together = refit_cox(x, time, event, codes, drawn)
    steady = np.isnan(alone[1:]).any(axis=1) | (np.abs(np.nan_to_num(alone[1:])) < 8).all(axis=1)
    np.testing.assert_array_equal(
        np.isnan(together[steady]).any(axis=1), np.isnan(alone[1:][steady]).any(axis=1)
    )
    np.testing.assert_allclose(together[steady], alone[1:][steady], atol=1e-6)


@pytest.mark.slow
def test_the_spread_of_bootstrap_refits_is_the_error_over_clusters():
    # the sandwich is the first-order form of the cluster bootstrap (Lin and Wei 1989)
    x, time, event, codes = invented(6000, 600, seed=8)
    fit = fit_cox(x, time, event, codes=codes, ties="breslow")
    refits = refit_cox(x, time, event, codes, bootstrap(600, 2000, np.random.default_rng(9)))
    assert not np.isnan(refits).any()
    np.testing.assert_allclose(refits.std(axis=0), fit.se, rtol=0.06)
