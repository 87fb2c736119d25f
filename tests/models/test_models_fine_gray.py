"""Rows and weights that keep those gone by another cause at risk, beside a table by hand and R."""

from __future__ import annotations

import numpy as np
import pytest
from test_models_cox import rows

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.models.times.cox import fit_cox
from survstats.models.times.fine_gray import fine_gray_weights

# the hand-made example of R survival's tests/finegray.R
TIME = np.array([1.0, 2, 3, 4, 4, 4, 5, 5, 6, 8, 8, 9, 10, 12])
CAUSE = np.array([1, 2, 0, 1, 0, 0, 2, 1, 0, 0, 2, 0, 1, 0])
X = np.array([[5.0], [4], [3], [1], [2], [1], [1], [2], [2], [4], [6], [1], [2], [0]])


def subdistribution(x, time, cause, **ways):
    w = fine_gray_weights(time, cause)
    return fit_cox(np.asarray(x, float)[w.rows], w.leave, w.event, entry=w.entry, weights=w.weights, **ways)


def test_the_weights_are_those_worked_out_by_hand():
    # R survival's tests/finegray.R; censoring by hand: 11/12, times 8/10, 5/6, 3/4, 2/3
    w = fine_gray_weights(TIME, CAUSE)
    assert len(w.rows) == 19
    pieces = {
        person: [
            (a, b, c) for a, b, c, r in zip(w.entry, w.leave, w.weights, w.rows, strict=True) if r == person
        ]
        for person in range(14)
    }
    by_hand = {
        1: [(-np.inf, 3, 1), (3, 4, 11 / 12), (4, 6, 11 / 15), (9, 12, 11 / 36)],
        6: [(-np.inf, 6, 1), (9, 12, 5 / 12)],
        10: [(-np.inf, 8, 1), (9, 12, 1 / 2)],
    }
    for person, own in pieces.items():
        np.testing.assert_allclose(own, by_hand.get(person, [(-np.inf, TIME[person], 1)]), rtol=1e-12)
    np.testing.assert_array_equal(w.event, (CAUSE == 1)[w.rows] * 1)


def test_events_come_before_censorings_at_the_same_time():
    # .071203: R package survival 3.5-3, finegray and coxph with Breslow's ties; programs that censor first give .067297
    fit = subdistribution(X, TIME, CAUSE, ties="breslow")
    assert fit.coefficients[0] == pytest.approx(0.07120297547, abs=1e-9)
    later = TIME + np.where(CAUSE == 0, 0.1, 0.0)
    assert subdistribution(X, later, CAUSE, ties="breslow").coefficients[0] == pytest.approx(
        fit.coefficients[0], abs=1e-12
    )
    sooner = TIME - np.where(CAUSE == 0, 0.1, 0.0)
    censored_first = subdistribution(X, sooner, CAUSE, ties="breslow").coefficients[0]
    assert abs(censored_first - fit.coefficients[0]) > 1e-4


def test_without_censoring_the_others_stay_at_risk_for_good():
    d = rows("occupants_90")
    x = d[["trained", "crew", "seat_far"]].to_numpy(float)
    w = fine_gray_weights(d["tm"], d["ev"])
    assert len(w.rows) == len(d)
    np.testing.assert_array_equal(w.weights, 1.0)
    stay = fit_cox(x, np.where(d["ev"] == 2, 1e6, d["tm"]), (d["ev"] == 1) * 1)
    np.testing.assert_allclose(
        subdistribution(x, d["tm"], d["ev"]).coefficients, stay.coefficients, atol=1e-12
    )


def test_with_one_cause_only_it_is_the_plain_fit():
    d = rows("lung")
    x = d[["age", "female"]].to_numpy(float)
    plain = fit_cox(x, d["time"], d["died"])
    np.testing.assert_allclose(
        subdistribution(x, d["time"], d["died"]).coefficients, plain.coefficients, atol=1e-12
    )


def test_gammopathy_turns_malignant_as_computed():
    # mgus2; computed by R package survival 3.5-3: age -.017302, male -.259757
    d = rows("mgus2")
    time = np.where(d["pstat"] == 1, d["ptime"], d["futime"])
    cause = np.where(d["pstat"] == 1, 1, 2 * d["death"])
    fit = subdistribution(d[["age", "male"]], time, cause)
    np.testing.assert_allclose(fit.coefficients, [-0.017302, -0.259757], atol=6e-7)


def test_the_order_of_people_moves_nothing():
    mixed = np.random.default_rng(1).permutation(14)
    again = subdistribution(X[mixed], TIME[mixed], CAUSE[mixed]).coefficients
    np.testing.assert_allclose(again, subdistribution(X, TIME, CAUSE).coefficients, atol=1e-12)


def test_weighted_at_risk_sums_give_back_the_share_gone_by_each_time():
    # the subdistribution's Nelson-Aalen product over these weights is Aalen-Johansen's share (Fine and Gray 1999);
    # shares by hand in R survival's tests/finegray.R
    w = fine_gray_weights(TIME, CAUSE)
    staying, shares = 1.0, []
    for now in (1, 4, 5, 10):
        at_risk = w.weights[(w.entry < now) & (w.leave >= now)].sum()
        staying *= 1 - ((now == TIME) & (CAUSE == 1)).sum() / at_risk
        shares.append(1 - staying)
    np.testing.assert_allclose(shares, [0.071429, 0.149351, 0.246753, 0.480519], atol=6e-7)


@pytest.mark.parametrize(
    ("time", "cause", "reason"),
    [
        ([], [], "no_rows"),
        ([1.0, 2.0], [2, 0], "one_outcome"),
        ([1.0, np.nan], [1, 0], "missing_value"),
        ([1.0, 2.0], [1], "shape"),
    ],
)
def test_what_has_no_weights_says_why(time, cause, reason):
    with pytest.raises((NotEstimable, CallError)) as told:
        fine_gray_weights(time, cause)
    assert told.value.reason == reason
