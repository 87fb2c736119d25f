"""Does the model of times out give the design's numbers, those of a slow road, and a reason where it has none?

Golden values: computed twice by independent code (R's survreg and separate NumPy) for the invented 90 occupants.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy.optimize import brentq
from scipy.special import expit, ndtr

from survstats.effects.intervals import jackknife_error
from survstats.effects.out_curves import group_curve
from survstats.effects.time_model import TimeModel, fit_times
from survstats.effects.time_out import (
    _half_way,
    difference_by_model,
    fit_distance,
    medians,
    model_curve,
    time_ratio,
)
from survstats.effects.time_rows import FEWEST_TIMED, bands, time_rows
from survstats.groundwork.errors import NotEstimable
from survstats.models.times.interval_time import distribution_share, fit_time

COVARIATES = ("seat_far",)


@pytest.fixture(scope="module")
def frame(occupants_90):
    out = (occupants_90["ev"] == 1).astype(float)
    return occupants_90.assign(
        out=out,
        egress_lo_s=occupants_90["lo"].where(out == 1),
        egress_hi_s=occupants_90["hi"].where(out == 1),
    )


def rows_of(frame, covariates=COVARIATES):
    return time_rows(frame, exposure="trained", covariates=covariates, cluster="mishap")


def model_of(frame, covariates=COVARIATES, distribution="lognormal") -> TimeModel:
    return fit_times(rows_of(frame, covariates), distribution=distribution)


@pytest.fixture(scope="module")
def model(frame):
    return model_of(frame)


def refused(call, *arguments, **settings):
    with pytest.raises(NotEstimable) as fault:
        call(*arguments, **settings)
    return fault.value.reason


@pytest.mark.parametrize(
    ("distribution", "coefficients", "scale", "log_likelihood"),
    [
        ("lognormal", (2.70582149, -0.29464810, 0.36277879), 0.41673954, -102.756496),
        ("weibull", (2.98702645, -0.36822745, 0.26949810), 0.41597746, -107.5250519),
        ("loglogistic", (2.68449112, -0.27888367, 0.38878668), 0.23938170, -103.801812),
    ],
)
def test_golden_times(frame, distribution, coefficients, scale, log_likelihood):
    found = model_of(frame, distribution=distribution)
    assert found.coefficients[0] == pytest.approx(coefficients, rel=1e-5)
    assert found.scale[0] == pytest.approx(scale, rel=1e-5)
    assert found.log_likelihood == pytest.approx(log_likelihood, rel=1e-5)
    assert time_ratio(found).value == pytest.approx(math.exp(coefficients[1]), rel=1e-5)
    assert not found.joint


def test_golden_share_that_ever_gets_out(model):
    assert model.share.coefficients[0] == pytest.approx((0.98667029, 0.30609178, -0.67258448), rel=1e-5)


def test_the_time_ratio_has_the_jackknife_of_refits_made_one_by_one(frame, model):
    out = frame[frame["out"] == 1]

    def ratio(part: pd.DataFrame) -> float:
        matrix = np.column_stack([np.ones(len(part)), part["trained"], part["seat_far"]])
        found = fit_time(matrix, part["lo"], part["hi"], distribution="lognormal")
        return math.exp(found.coefficients[1])

    without = np.array([ratio(out[out["mishap"] != mishap]) for mishap in range(1, 15)])
    found = time_ratio(model)
    assert found.se == pytest.approx(jackknife_error(ratio(out), without, scale="log"), rel=1e-6)
    assert (found.df, found.mishaps, found.occupants) == (13, 14, int(out["out"].sum()))


def by_hand(frame: pd.DataFrame, at: float) -> tuple[float, float, float]:
    """Difference by a second, and the medians if all, if none were trained, from fits made here."""
    everyone = [
        np.column_stack([np.ones(len(frame)), np.full(len(frame), arm), frame["seat_far"]]) for arm in (1, 0)
    ]
    matrix = np.column_stack([np.ones(len(frame)), frame["trained"], frame["seat_far"]])
    got_out = frame["out"].to_numpy() == 1
    ever = sm.Logit(frame["out"].to_numpy(), matrix).fit(disp=0, tol=1e-12).params
    part = frame[got_out]
    time = fit_time(matrix[got_out], part["lo"], part["hi"], distribution="lognormal")

    def gone(log_seconds: float, rows: np.ndarray) -> np.ndarray:
        return ndtr((log_seconds - rows @ time.coefficients) / time.scale)

    shares = [float(np.mean(expit(rows @ ever) * gone(math.log(at), rows))) for rows in everyone]
    half = [
        math.exp(brentq(lambda log_seconds, rows=rows: gone(log_seconds, rows[got_out]).mean() - 0.5, 0, 8))
        for rows in everyone
    ]
    return shares[0] - shares[1], half[0], half[1]


def test_difference_and_medians_are_those_of_a_slow_road_with_any_mishap_left_out(frame, model):
    sets = [frame, *(frame[frame["mishap"] != mishap] for mishap in range(1, 15))]
    slow = np.array([by_hand(one, 20.0) for one in sets])
    found = (difference_by_model(model, 20.0), *medians(model))
    for at, (one, scale) in enumerate(zip(found, ("identity", "log", "log"), strict=True)):
        assert one.value == pytest.approx(slow[0, at], abs=1e-6)
        assert one.se == pytest.approx(jackknife_error(slow[0, at], slow[1:, at], scale=scale), rel=1e-5)
    assert [one.unit for one in found] == ["difference", "seconds", "seconds"]


def test_the_models_curve_ends_at_the_share_that_got_out_and_begins_at_none(frame, model):
    for arm in (1, 0):
        curve = model_curve(model, arm, [0.0, 10.0, 20.0, 1e6])
        assert curve[0] == 0
        assert (np.diff(curve) > 0).all()
        # a logistic model with an indicator of the group gives the group's own share back
        assert curve[-1] == pytest.approx(frame.loc[frame["trained"] == arm, "out"].mean(), abs=1e-8)


def test_distance_from_the_curves_is_seen_where_the_model_is_bent(frame, model):
    rows = rows_of(frame)
    curves = {
        arm: group_curve(rows.known.of(rows.trained == arm), rows.codes[rows.trained == arm], mishaps=14)
        for arm in (1, 0)
    }
    at = (10.0, 20.0, 40.0, 60.0)
    near = fit_distance(model, curves, at=at)
    by_hand = max(
        abs(model_curve(model, arm, at)[k] - curves[arm].curve.mass[curves[arm].curve.right <= second].sum())
        for arm in (1, 0)
        for k, second in enumerate(at)
    )
    assert near <= by_hand + 1e-9
    assert near < 0.1
    bent = TimeModel(**{**vars(model), "coefficients": model.coefficients + np.array([0.5, 0, 0])})
    assert fit_distance(bent, curves, at=at) > near + 0.1


def test_rows_in_another_order_move_nothing_and_minutes_only_the_medians(frame, model):
    shuffled = model_of(frame.sample(frac=1, random_state=5))
    minutes = model_of(
        frame.assign(egress_lo_s=frame["egress_lo_s"] / 60, egress_hi_s=frame["egress_hi_s"] / 60)
    )
    for other, unit in ((shuffled, 1), (minutes, 60)):
        assert time_ratio(other).low == pytest.approx(time_ratio(model).low, abs=1e-7)
        assert difference_by_model(other, 20.0 / unit).low == pytest.approx(
            difference_by_model(model, 20.0).low, abs=1e-7
        )
        assert medians(other)[0].high * unit == pytest.approx(medians(model)[0].high, rel=1e-6)


def test_people_out_at_times_nobody_knows_count_among_who_got_out_and_give_no_time(frame, model):
    more = frame.assign(
        egress_lo_s=frame["egress_lo_s"].mask(frame["id"] % 3 == 0),
        egress_hi_s=frame["egress_hi_s"].mask(frame["id"] % 3 == 0),
    )
    untold = model_of(more)
    assert untold.share.coefficients == pytest.approx(model.share.coefficients)
    kept = frame[(frame["id"] % 3 != 0) | (frame["out"] == 0)]
    assert time_ratio(untold).value == pytest.approx(time_ratio(model_of(kept)).value, rel=1e-7)
    assert time_ratio(untold).occupants < time_ratio(model).occupants


def test_who_was_brought_out_from_inside_moves_no_model_of_the_times(frame, model):
    inside = frame.index[(frame["out"] == 0) & (frame["trained"] == 0)][:6]
    brought = frame.assign(rescued_inside="no", t_rescue_min=np.nan)
    brought.loc[inside, ["out", "t_rescue_min"]] = 1.0, 30.0
    brought.loc[inside, "rescued_inside"] = "yes"
    told = model_of(brought)
    assert told.coefficients == pytest.approx(model.coefficients, abs=1e-9)
    assert difference_by_model(told, 20.0) == difference_by_model(model, 20.0)
    quick = difference_by_model(model_of(brought.assign(rescued_inside="no")), 20.0)
    assert quick.value < difference_by_model(model, 20.0).value - 0.03


def test_who_was_last_seen_inside_ties_both_parts_together(frame, model):
    # seen inside at a hair after the start says next to nothing: the parts come back
    early = pd.concat(
        [frame, frame[:6].assign(out=np.nan, egress_lo_s=1e-3, egress_hi_s=np.nan)], ignore_index=True
    )
    joint = model_of(early)
    assert joint.joint
    assert joint.coefficients == pytest.approx(model.coefficients, abs=1e-5)
    assert joint.share.coefficients == pytest.approx(model.share.coefficients, abs=1e-5)
    assert time_ratio(joint).se == pytest.approx(time_ratio(model).se, rel=1e-4)
    # seen inside at a late second, nobody may have got out: fewer do
    late = early.assign(egress_lo_s=early["egress_lo_s"].mask(early["out"].isna(), 120.0))
    shares = [model_curve(one, 1, [1e6])[0] for one in (model_of(late), joint)]
    assert shares[0] < shares[1]


def test_nobody_known_to_be_inside_and_no_time_is_not_a_row(frame, model):
    more = pd.concat([frame, frame[:9].assign(out=np.nan, egress_lo_s=np.nan, egress_hi_s=np.nan)])
    assert time_ratio(model_of(more)).value == pytest.approx(time_ratio(model).value, rel=1e-9)


def test_written_down_at_second_zero_is_out_within_half_a_second(frame):
    zero = frame.assign(
        egress_lo_s=frame["egress_lo_s"].mask(frame["id"] == 2, 0.0),
        egress_hi_s=frame["egress_hi_s"].mask(frame["id"] == 2, 0.0),
    )
    rows = rows_of(zero)
    low, high = bands(rows.known)
    at = int(np.flatnonzero(rows.frame["id"] == 2)[0])
    assert (low[at], high[at]) == (0.0, 0.5)
    assert math.isfinite(time_ratio(fit_times(rows, distribution="lognormal")).value)


@pytest.mark.parametrize(
    ("spoil", "reason"),
    [
        (lambda f: f[f["trained"] == 1], "few_timed"),
        (lambda f: f.assign(egress_lo_s=np.nan, egress_hi_s=np.nan), "few_timed"),
        (lambda f: f.assign(mishap=f["mishap"] % 4), "few_timed"),
        (lambda f: f.assign(out=0.0), "few_timed"),
        (lambda f: f.assign(seat_far=f["id"].astype(str)), "too_many_fields"),
    ],
)
def test_where_times_are_too_few_a_reason_stands_instead(frame, spoil, reason):
    assert refused(rows_of, spoil(frame)) == reason


def test_a_group_of_nine_timed_people_is_too_few_and_one_of_ten_is_not(frame):
    trained = frame[(frame["trained"] == 1) & (frame["out"] == 1)].index
    for kept, few in ((FEWEST_TIMED - 1, True), (FEWEST_TIMED, False)):
        part = frame.assign(egress_lo_s=frame["egress_lo_s"].mask(frame.index.isin(trained[kept:])))
        part["egress_hi_s"] = part["egress_hi_s"].mask(frame.index.isin(trained[kept:]))
        if few:
            assert refused(rows_of, part) == "few_timed"
        else:
            assert rows_of(part).known.timed.sum() > kept


def test_where_nobody_stayed_inside_the_time_ratio_stands_and_shares_say_why_not(frame):
    found = model_of(frame[frame["out"] == 1])
    assert math.isfinite(time_ratio(found).high)
    assert refused(difference_by_model, found, 20.0) == "one_outcome"
    assert refused(model_curve, found, 1, [20.0]) == "one_outcome"


def test_one_person_last_seen_inside_does_not_take_the_time_ratio_away(frame):
    all_out = frame[frame["out"] == 1]
    inside = frame[:1].assign(out=np.nan, egress_lo_s=20.0, egress_hi_s=np.nan)
    found, without = model_of(pd.concat([all_out, inside], ignore_index=True)), model_of(all_out)
    assert not found.joint
    assert time_ratio(found).value == pytest.approx(time_ratio(without).value, rel=1e-9)
    assert time_ratio(found).se == pytest.approx(time_ratio(without).se, rel=1e-7)
    assert refused(difference_by_model, found, 20.0) == "one_outcome"
    # whom a field separates in or out stops the shares alone as well
    split = frame.assign(split=frame["out"])
    told = split["out"].eq(1) & frame["id"].mod(2).eq(0)
    split["split"] = split["split"].mask(told, 0.0)
    found = model_of(pd.concat([split, inside.assign(split=0.0)], ignore_index=True), covariates=("split",))
    assert (found.joint, found.share_reason) == (False, "separated")
    assert math.isfinite(time_ratio(found).value)


def test_a_fault_of_the_times_is_not_taken_for_one_of_the_share(frame, monkeypatch):
    inside = frame[:1].assign(out=np.nan, egress_lo_s=20.0, egress_hi_s=np.nan)
    all_at_ten = frame.assign(egress_lo_s=10.0, egress_hi_s=10.0)
    assert refused(model_of, pd.concat([all_at_ten, inside], ignore_index=True)) == "spread_not_bounded"

    def unsettled(*_):
        raise NotEstimable("not_converged", "")

    monkeypatch.setattr("survstats.effects.time_model._fit_together", unsettled)
    assert refused(model_of, pd.concat([frame, inside], ignore_index=True)) == "not_converged"


@pytest.mark.parametrize("distribution", ["lognormal", "loglogistic", "weibull"])
def test_a_median_of_kinds_that_lie_far_apart_is_found_from_anywhere(distribution):
    # most lie near 1 and some near 50, with next to nobody between, where the mean is: a bare Newton step flies off
    centre, scale = np.array([[1.0, 50.0], [1.0, 50.0], [3.0, 3.0]]), np.array([0.2, 0.2, 0.5])
    weights = np.array([[0.6, 0.4], [0.4, 0.6], [0.5, 0.5]])
    found = _half_way(centre, scale, weights, distribution)
    shares = distribution_share((found[:, None] - centre) / scale[:, None], distribution)
    assert (weights * shares).sum(axis=1) == pytest.approx(np.full(3, 0.5), abs=1e-12)


def test_how_many_fits_are_worked_on_together_moves_nothing(model, monkeypatch):
    whole = (*medians(model), difference_by_model(model, 20.0))
    monkeypatch.setattr("survstats.effects.time_out._BLOCK_CELLS", 1)
    for one, known in zip((*medians(model), difference_by_model(model, 20.0)), whole, strict=True):
        assert (one.value, one.se) == pytest.approx((known.value, known.se), rel=1e-10)


def test_a_kind_of_people_of_whom_nobody_has_a_time_stops_the_shares_but_not_the_ratio(frame):
    kinds = frame.assign(kind=np.where((frame["out"] == 0) & (frame["id"] % 2 == 0), "b", "a"))
    found = model_of(kinds, covariates=("kind",))
    assert math.isfinite(time_ratio(found).value)
    assert math.isfinite(medians(found)[0].value)
    assert refused(difference_by_model, found, 20.0) == "unseen_level"


def test_one_timed_mishap_holding_a_whole_group_is_refused(frame):
    where = frame["mishap"].where((frame["trained"] == 0) | (frame["out"] == 0), 1)
    assert refused(model_of, frame.assign(mishap=where)) == "arm_in_one_mishap"
