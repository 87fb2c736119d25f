"""Whether log hazard ratios move with time, beside R and beside the test written out with rows cut at every event."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from test_models_cox import CASES, fitted, invented

from survstats.groundwork.errors import NotEstimable
from survstats.models.times.cox import derivatives, fit_cox
from survstats.models.times.cox_risk_sets import RiskSets
from survstats.models.times.proportional import proportional_check, scaled_residuals

R = pd.read_csv(Path(__file__).parents[1] / "reference" / "cox_proportional.csv")
CHECKED = [case for case in CASES if case[1] in ("plain", "strata", "entry")]


@pytest.mark.parametrize("transform", ["km", "rank", "identity"])
@pytest.mark.parametrize(("data", "model", "ties"), CHECKED)
def test_the_check_is_that_of_r(data, model, ties, transform):
    # R survival: cox.zph with terms = FALSE; the correlation of its residuals with its transform
    table = R.query("data == @data and model == @model and ties == @ties and transform == @transform")
    own, whole = table[table["term"] != "GLOBAL"], table[table["term"] == "GLOBAL"].iloc[0]
    check = proportional_check(fitted(data, model, ties, list(own["term"])), transform=transform)
    np.testing.assert_allclose(check.chi_square, own["chi_square"], rtol=1e-6)
    np.testing.assert_allclose(check.p, own["p"], rtol=1e-6)
    assert check.global_chi_square == pytest.approx(whole["chi_square"], rel=1e-6)
    assert check.global_p == pytest.approx(whole["p"], rel=1e-6)
    assert check.transform == transform
    if model != "strata":
        np.testing.assert_allclose(check.correlation, own["correlation"], rtol=1e-6)


@pytest.mark.parametrize("ties", ["efron", "breslow"])
def test_the_check_is_the_score_test_of_covariates_times_time(ties):
    d = invented(90, seed=11)
    fit = fit_cox(d["matrix"], d["time"], d["event"], ties=ties)
    cuts = np.unique(d["time"][d["event"] == 1])
    pieces = []
    for row in range(90):
        entry = -1.0
        for cut in [*cuts[cuts < d["time"][row]], d["time"][row]]:
            pieces.append((row, entry, cut, d["event"][row] * (cut == d["time"][row])))
            entry = cut
    row, entry, leave, event = (np.array(part) for part in zip(*pieces, strict=True))
    x = d["matrix"][row]
    sets = RiskSets.of(np.column_stack([x, x * leave[:, None]]), leave, event, entry=entry, ties=ties)
    _, score, information = derivatives(sets, np.r_[fit.coefficients, np.zeros(3)])
    check = proportional_check(fit, transform="identity")
    assert check.global_chi_square == pytest.approx(score @ np.linalg.solve(information, score), rel=1e-7)
    for j in range(3):
        kept = [0, 1, 2, 3 + j]
        alone = score[kept] @ np.linalg.solve(information[np.ix_(kept, kept)], score[kept])
        assert check.chi_square[j] == pytest.approx(alone, rel=1e-7)


def test_scaled_residuals_average_to_the_coefficients():
    d = invented(200, seed=12)
    for ties in ("efron", "breslow"):
        fit = fit_cox(d["matrix"], d["time"], d["event"], strata=d["strata"], ties=ties)
        np.testing.assert_allclose(scaled_residuals(fit).mean(axis=0), fit.coefficients, atol=1e-9)


def test_a_ratio_that_turns_over_time_is_seen_and_one_that_stays_is_not():
    rng = np.random.default_rng(13)
    x = np.repeat([0.0, 1.0], 400)
    early = rng.exponential(1.0, 800) / np.where(x == 1, 3.0, 1.0)
    turned = np.where(early < 0.3, early, 0.3 + (early - 0.3) * np.where(x == 1, 9.0, 1.0))
    stays, turns = (proportional_check(fit_cox(x[:, None], time, np.ones(800))) for time in (early, turned))
    assert stays.p[0] > 0.05
    assert turns.p[0] < 1e-6
    assert turns.correlation[0] < -0.2


def test_events_at_one_time_cannot_move_with_time():
    fit = fit_cox([[0.0], [1], [1], [0], [1]], [1.0, 1, 1, 2, 2], [1, 1, 1, 0, 0])
    with pytest.raises(NotEstimable) as told:
        proportional_check(fit)
    assert told.value.reason == "one_outcome"
