"""Is the likelihood decided once for all fits, and is each fit that of its own rows?"""

from __future__ import annotations

import numpy as np
import pytest

from survstats.groundwork.errors import NotEstimable
from survstats.models.kernel import collapse
from survstats.models.one_pass import Fits, fit_one_pass, fit_sets


def rows(occupants):
    matrix = np.column_stack([np.ones(90), occupants["trained"], occupants["crew"], occupants["seat_far"]])
    return matrix.astype(float), occupants["y"].to_numpy(float), occupants["mishap"].to_numpy() - 1


def test_each_fit_is_that_of_dropping_the_rows(occupants):
    matrix, outcome, codes = rows(occupants)
    found = fit_one_pass(matrix, outcome, codes)
    assert (found.coefficients.shape, found.finite, found.penalised) == ((15, 4), True, False)
    assert found.told.all()
    for mishap in (0, 6, 13):
        kept = codes != mishap
        alone = fit_one_pass(matrix[kept], outcome[kept], np.unique(codes[kept], return_inverse=True)[1])
        assert found.coefficients[1 + mishap] == pytest.approx(alone.coefficients[0], rel=1e-7)


def test_one_set_without_a_finite_fit_makes_all_of_them_penalised(occupants):
    matrix, outcome, codes = rows(occupants)
    # without mishap 3 every crew member lives
    outcome = np.where((matrix[:, 2] == 1) & (codes != 3), 1.0, outcome)
    outcome[np.flatnonzero((matrix[:, 2] == 1) & (codes == 3))[:1]] = 0.0
    data = collapse(matrix, outcome, codes)
    assert fit_sets(data, np.ones((1, 14)), penalised=False).finite
    found = fit_one_pass(matrix, outcome, codes)
    assert found.penalised
    whole = fit_sets(data, np.ones((1, 14)), penalised=True)
    assert found.coefficients[0] == pytest.approx(whole.coefficients[0], rel=1e-9)
    # the intercept is refitted: as many are expected to live as did
    assert np.sum(1 / (1 + np.exp(-matrix @ found.coefficients[0]))) == pytest.approx(outcome.sum(), abs=1e-6)


def test_a_column_that_one_mishap_holds_is_not_told(occupants):
    matrix, outcome, codes = rows(occupants)
    matrix[:, 3] = (codes == 5) & (matrix[:, 3] == 1)
    found = fit_one_pass(matrix, outcome, codes)
    assert list(found.told) == [True, True, True, False]


def test_no_finite_fit_at_all_is_said(occupants, monkeypatch):
    matrix, outcome, codes = rows(occupants)
    unfit = Fits(np.zeros((1, 4)), np.ones(4, dtype=bool), finite=False, penalised=True)
    monkeypatch.setattr("survstats.models.one_pass._one_pass", lambda *_, **__: unfit)
    with pytest.raises(NotEstimable) as refused:
        fit_one_pass(matrix, outcome, codes)
    assert refused.value.reason == "not_converged"
