"""Curves of times known in bands: conditions of the maximum, what must not move them, least and most, beside R."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import isotonic_regression, linprog

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.groundwork.resampling import LeaveOneOut, bootstrap
from survstats.models.times.curves import cumulative_incidence, incidence_refits
from survstats.models.times.turnbull import (
    area_bounds,
    curve_bounds,
    interval_curve,
    interval_refits,
)

GOLDEN, REFERENCE = (Path(__file__).parents[1] / name for name in ("golden", "reference"))
KINDS = {"all": [0.7, 0.15, 0.15], "out": [1, 0, 0], "fates unknown": [0.5, 0, 0.5], "told": [0.7, 0.3, 0]}
SETS = st.tuples(st.integers(0, 10**6), st.integers(1, 40), st.sampled_from(list(KINDS)))


def random_bands(seed, n, kind):
    """Whole-second bands, points among them, ends open for some; fates known or not."""
    rng = np.random.default_rng(seed)
    lo = rng.integers(0, rng.choice([4, 12, 60]), n).astype(float)
    hi = lo + rng.integers(0, 5, n)
    hi[rng.random(n) < 0.1] = np.inf
    return lo, hi, rng.choice([1.0, 0.0, np.nan], n, p=KINDS[kind])


def may_be(curve, lo, hi, ever):
    """Whether each person (n,) may lie in each box (j,) or never come out, from the definition of the bands."""
    rows = []
    for low, high, out in zip(lo, hi, ever, strict=True):
        if out == 0:
            rows.append([False] * len(curve.left) + [True])
        elif low == high and out == 1:
            rows.append([*((curve.left == low) & (curve.right == low)), False])
        else:
            end = high if out == 1 else np.inf
            after = (curve.left > low) | ((curve.left == low) & (curve.right > low))
            rows.append([*(after & (curve.right <= end)), np.isnan(out)])
    return np.array(rows, dtype=float)


def all_masses(curve):
    return np.append(curve.mass, curve.at_infinity)


@given(SETS)
@settings(max_examples=60, deadline=None)
def test_the_conditions_of_the_maximum_hold(drawn):
    # Karush, Kuhn and Tucker: no mass could gain by moving anywhere (Gentleman and Geyer 1994)
    lo, hi, ever = random_bands(*drawn)
    curve = interval_curve(lo, hi, ever)
    masses, allowed = all_masses(curve), may_be(curve, lo, hi, ever)
    assert masses.min() >= 0
    assert masses.sum() == pytest.approx(1, abs=1e-14)
    seen = allowed @ masses
    gain = (allowed / seen[:, None]).mean(axis=0)
    assert gain.max() <= 1 + 1e-9
    assert gain[masses > 1e-9] == pytest.approx(1, abs=1e-8)
    assert curve.log_likelihood == pytest.approx(np.log(seen).sum(), abs=1e-9)


@given(SETS)
@settings(max_examples=8, deadline=None)
def test_self_consistency_run_for_long_comes_to_the_same(drawn):
    # Turnbull's own algorithm, a second road: each person spread over the boxes in proportion to their masses
    lo, hi, ever = random_bands(*drawn)
    curve = interval_curve(lo, hi, ever)
    allowed = may_be(curve, lo, hi, ever)
    masses = np.full(allowed.shape[1], 1 / allowed.shape[1])
    for _ in range(3000):
        masses = masses * (allowed / (allowed @ masses)[:, None]).mean(axis=0)
    assert curve.log_likelihood >= np.log(allowed @ masses).sum() - 1e-12
    assert allowed @ all_masses(curve) == pytest.approx(allowed @ masses, abs=2e-3)


@given(SETS)
@settings(max_examples=40, deadline=None)
def test_boxes_begin_and_end_at_ends_of_bands_and_do_not_overlap(drawn):
    lo, hi, ever = random_bands(*drawn)
    curve = interval_curve(lo, hi, ever)
    assert np.all(np.isin(curve.left, lo))
    assert np.all(np.isin(curve.right, np.append(hi, np.inf)))
    assert np.all(curve.left <= curve.right)
    assert np.all(curve.right[:-1] <= curve.left[1:])
    # each box is where some people meet whom no other box brings together
    people = [set(np.flatnonzero(column)) for column in may_be(curve, lo, hi, ever).T[:-1]]
    assert all(not one < other for one in people for other in people)


@given(SETS, st.sampled_from([np.sqrt, np.expm1, lambda t: 3 * t, lambda t: t + 0.4 * np.sin(t)]))
@settings(max_examples=40, deadline=None)
def test_times_moved_without_passing_an_end_of_a_band_move_no_mass(drawn, move):
    # only the order of the ends counts: where in its band a time lay is not looked at
    lo, hi, ever = random_bands(*drawn)
    curve, moved = (
        interval_curve(lo, hi, ever),
        interval_curve(move(lo), np.where(np.isinf(hi), hi, move(np.minimum(hi, 99))), ever),
    )
    assert np.array_equal(moved.mass, curve.mass)
    assert moved.at_infinity == curve.at_infinity
    assert np.array_equal(moved.left, move(curve.left))


def test_an_end_moved_inside_its_gap_moves_its_box_and_no_mass(occupants):
    known = occupants["ev"] == 1
    curve = interval_curve(occupants["lo"], occupants["hi"], known)
    longer = occupants["hi"].where(occupants["hi"] != 15, 15.9)  # no other end lies between
    other = interval_curve(occupants["lo"], longer, known)
    # the bands that begin at 15 now overlap those that end there, and only the boxes between change
    first = curve.right <= 10
    assert other.mass[other.right <= 10] == pytest.approx(curve.mass[first], abs=1e-12)
    both = interval_curve(occupants["lo"].where(occupants["lo"] != 15, 15.9), longer, known)
    assert np.array_equal(both.mass, curve.mass)


@given(SETS)
@settings(max_examples=30, deadline=None)
def test_shuffled_rows_move_nothing_and_weights_are_repeated_rows(drawn):
    lo, hi, ever = random_bands(*drawn)
    rng = np.random.default_rng(drawn[0])
    order = rng.permutation(len(lo))
    curve, shuffled = interval_curve(lo, hi, ever), interval_curve(lo[order], hi[order], ever[order])
    assert np.array_equal(all_masses(curve), all_masses(shuffled))
    weights = rng.integers(0, 4, len(lo))
    weights[0] += 1
    rows = np.repeat(np.arange(len(lo)), weights)
    weighted, repeated = (
        interval_curve(lo, hi, ever, weights=weights),
        interval_curve(lo[rows], hi[rows], ever[rows]),
    )
    assert np.array_equal(weighted.left, repeated.left)
    assert all_masses(weighted) == pytest.approx(all_masses(repeated), abs=1e-12)


@given(st.integers(0, 10**6), st.integers(1, 60))
@settings(max_examples=40, deadline=None)
def test_where_all_is_known_to_the_second_it_is_aalen_and_johansens_curve(seed, n):
    rng = np.random.default_rng(seed)
    time, cause = rng.integers(0, 15, n).astype(float), rng.integers(1, 3, n)
    out = cumulative_incidence(time, cause)
    curve = interval_curve(time, time, cause == 1)
    least, most = curve_bounds(curve, out.times)
    assert least == pytest.approx(out.incidence[0], abs=1e-12)
    assert np.array_equal(least, most)
    assert curve.unique
    area = area_bounds(curve, until=10)
    assert area[0] == area[1] == pytest.approx(((10 - np.minimum(time, 10)) * (cause == 1)).mean(), abs=1e-12)


def test_with_people_lost_from_sight_it_is_kaplan_and_meiers_curve():
    # Freireich et al. 1963 (as carried by R's MASS): weeks in remission, some still so when last seen
    time = np.array([6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35.0])
    ended = np.array([1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0.0])
    curve = interval_curve(time, time, np.where(ended == 1, 1, np.nan))
    product_limit = cumulative_incidence(time, ended)
    last = np.searchsorted(product_limit.times, [6, 7, 10, 13, 16, 22, 23])
    for bound in curve_bounds(curve, [6, 7, 10, 13, 16, 22, 23]):
        assert bound == pytest.approx(product_limit.incidence[0, last], abs=1e-12)
    # whether those still well after 23 weeks ever fell ill cannot be told from these data
    assert not curve.unique
    least, most = curve_bounds(curve, [36, np.inf])
    assert least == pytest.approx([0.5518, 0.5518], abs=5e-5)  # 1 - .4482
    assert most == pytest.approx([1, 1], abs=1e-12)


def test_tumours_seen_at_one_look_each_give_the_isotonic_regression():
    # Hoel and Walburg 1972; the likeliest curve is the isotonic regression (Ayer et al. 1955, from memory)
    mice = pd.read_csv(GOLDEN / "mouse_tumours.csv").query("germfree == 1")
    found = np.isfinite(mice["hi"])
    looked = mice["hi"].where(found, mice["lo"])
    curve = interval_curve(mice["lo"], mice["hi"], np.where(found, 1, np.nan))
    looks = np.unique(looked)
    counts = [int((looked == t).sum()) for t in looks]
    shares = [found[looked == t].mean() for t in looks]
    known = isotonic_regression(shares, weights=counts).x
    for bound in curve_bounds(curve, looks):
        assert bound == pytest.approx(known, abs=1e-10)


def test_a_fate_nobody_knows_leaves_a_range_that_a_linear_programme_finds_too():
    # three out within bands; one died inside; of two, last seen inside after all others were out, nothing is known
    lo, hi = np.array([0, 5, 5, 0, 20, 30.0]), np.array([10, 10, 15, 0, 0, 0.0])
    ever = np.array([1, 1, 1, 0, np.nan, np.nan])
    curve = interval_curve(lo, hi, ever)
    assert curve.unique  # somebody is known never to have come out, and that is where the two are put
    assert curve.at_infinity == pytest.approx(0.5, abs=1e-12)
    curve = interval_curve(lo[[0, 1, 2, 4, 5]], hi[[0, 1, 2, 4, 5]], ever[[0, 1, 2, 4, 5]])
    assert not curve.unique
    assert (curve.left[-1], curve.right[-1]) == (30, np.inf)
    masses = all_masses(curve)
    allowed = may_be(curve, lo[[0, 1, 2, 4, 5]], hi[[0, 1, 2, 4, 5]], ever[[0, 1, 2, 4, 5]])
    for at in (8, 12, 25, 60):
        late, early = (
            np.append(by, 0.0) for by in (curve.right <= at, (curve.left < at) | (curve.right <= at))
        )
        ends = [
            sign * linprog(sign * value, A_eq=allowed, b_eq=allowed @ masses, bounds=(0, None)).fun
            for sign, value in ((1, late), (-1, early))
        ]
        assert [bound[0] for bound in curve_bounds(curve, [at])] == pytest.approx(ends, abs=1e-9)
    assert [bound[0] for bound in curve_bounds(curve, [60])] == pytest.approx([0.6, 1.0], abs=1e-12)
    assert area_bounds(curve, until=40) == pytest.approx((0.6 * 30, 0.6 * 35 + 0.4 * 10), abs=1e-10)


@given(SETS)
@settings(max_examples=50, deadline=None)
def test_only_late_or_never_can_be_unclear(drawn):
    # the boxes each person may lie in are told apart by the people, whatever the bands: the matrix has full rank
    lo, hi, ever = random_bands(*drawn)
    curve = interval_curve(lo, hi, ever)
    columns = may_be(curve, lo, hi, ever)
    columns = columns[:, columns.any(axis=0)]
    rank = np.linalg.matrix_rank(columns)
    assert rank == columns.shape[1] - (
        columns.shape[1] > 1 and np.array_equal(columns[:, -1], columns[:, -2])
    )
    if not curve.unique:
        assert rank < columns.shape[1]


def test_a_person_out_at_an_unknown_time_moves_no_shape():
    lo, hi, ever = np.array([0, 5, 10, 10, 0.0]), np.array([10, 15, 20, 20, 0.0]), np.array([1, 1, 1, 1, 0.0])
    curve = interval_curve(lo, hi, ever)
    more = interval_curve(np.append(lo, 0), np.append(hi, np.inf), np.append(ever, 1))
    assert more.at_infinity == pytest.approx(1 / 6, abs=1e-12)
    assert more.mass / (1 - more.at_infinity) == pytest.approx(
        curve.mass / (1 - curve.at_infinity), abs=1e-12
    )


def test_least_and_most_by_hand():
    # three out in (0, 10], one in (10, 30], one inside for ever
    curve = interval_curve([0, 0, 0, 10, 0], [10, 10, 10, 30, 0], [1, 1, 1, 1, 0])
    assert (curve.left.tolist(), curve.right.tolist()) == ([0, 10], [10, 30])
    assert all_masses(curve) == pytest.approx([0.6, 0.2, 0.2], abs=1e-12)
    least, most = curve_bounds(curve, [0, 5, 10, 20, 30, np.inf])
    assert least == pytest.approx([0, 0, 0.6, 0.6, 0.8, 0.8], abs=1e-12)
    assert most == pytest.approx([0, 0.6, 0.6, 0.8, 0.8, 0.8], abs=1e-12)
    assert area_bounds(curve, until=20) == pytest.approx((0.6 * 10, 0.6 * 20 + 0.2 * 10), abs=1e-12)
    assert curve.log_likelihood == pytest.approx(3 * np.log(0.6) + 2 * np.log(0.2), abs=1e-12)


@pytest.mark.parametrize("kind", list(KINDS))
def test_refits_are_the_likeliest_masses_of_each_replicate(kind):
    lo, hi, ever = random_bands(21, 80, kind)
    lo[:2], hi[:2], ever[:2] = [1, 30], [2, 31], 1
    codes = np.arange(80) % 8
    weights = bootstrap(8, 12, np.random.default_rng(3))
    refits = interval_refits(lo, hi, ever, codes, weights)
    whole = interval_curve(lo, hi, ever)
    assert np.array_equal(refits.left, whole.left)
    assert refits.mass.sum(axis=1) + refits.at_infinity == pytest.approx(np.ones(12), abs=1e-12)
    allowed = may_be(whole, lo, hi, ever)
    for row, weight in enumerate(weights[:, codes]):
        there = weight > 0
        own = interval_curve(lo, hi, ever, weights=weight)
        seen = allowed @ np.append(refits.mass[row], refits.at_infinity[row])
        assert (weight[there] * np.log(seen[there])).sum() == pytest.approx(own.log_likelihood, abs=1e-9)
    again = interval_refits(lo, hi, ever, codes, np.ones((1, 8)))
    if whole.unique:
        assert again.mass[0] == pytest.approx(whole.mass, abs=1e-9)


def test_exact_times_make_the_refits_those_of_the_curve_without_bands(occupants):
    arm = occupants[occupants["trained"] == 1]
    codes = np.unique(arm["mishap"], return_inverse=True)[1]
    refits = interval_refits(arm["tm"], arm["tm"], arm["ev"] == 1, codes, LeaveOneOut(14))
    known = incidence_refits(arm["tm"], arm["ev"], codes, LeaveOneOut(14), of=1, at=[10, 20, 40])
    for bound in curve_bounds(refits, [10, 20, 40]):
        assert bound == pytest.approx(known, abs=1e-12)
    assert area_bounds(refits, until=60)[0].shape == (14,)


def test_many_exact_times_are_counted_out_and_agree_with_the_road_by_steps():
    rng = np.random.default_rng(3)
    time, ever, codes = rng.lognormal(3, 0.6, 80).round(1), rng.random(80) < 0.8, rng.integers(0, 12, 80)
    refits = interval_refits(time, time, ever, codes, LeaveOneOut(12))
    late = np.append(time, 500.0)  # one band over all times: nothing can be counted out any more
    stepped = interval_refits(
        np.append(time, 0), late, np.append(ever, 1), np.append(codes, 12), 1 - np.eye(13)
    )
    # the last replicate leaves that band out again
    known = interval_curve(time, time, ever)
    at = np.array([10.0, 20.0, 40.0])
    assert curve_bounds(stepped, at)[0][12] == pytest.approx(curve_bounds(known, at)[0], abs=1e-12)
    assert refits.mass.sum(axis=1) + refits.at_infinity == pytest.approx(np.ones(12), abs=1e-14)
    assert curve_bounds(known, at)[0] == pytest.approx([np.mean(ever & (time <= t)) for t in at], abs=1e-14)


@pytest.mark.parametrize("tiles", [2_000_000, 1])
def test_places_seen_by_themselves_may_be_eliminated(monkeypatch, tiles):
    # the same maximum by a smaller system: exact times to a tenth of a second, guesses and silence between them
    rng = np.random.default_rng(5)
    time, kind = rng.lognormal(3, 0.6, 160).round(1), rng.choice(3, 160, p=[0.75, 0.15, 0.1])
    lo = np.select([kind == 0, kind == 1], [time, np.floor(time / 10) * 10], 0.0)
    hi = np.select([kind == 0, kind == 1], [time, lo + 10], np.inf)
    ever, codes = rng.choice([1, 0, np.nan], 160, p=[0.8, 0.15, 0.05]), rng.integers(0, 20, 160)
    lo = np.where(np.isnan(ever), np.floor(lo / 10) * 10, lo)
    weights = np.vstack([LeaveOneOut(20)[:], bootstrap(20, 15, rng)])
    solved = []
    monkeypatch.setattr("survstats.models.times.likeliest_masses.TILE_CELLS", tiles)
    for many in (10**9, 0):
        monkeypatch.setattr("survstats.models.times.likeliest_masses.MANY_PLACES", many)
        solved.append(interval_refits(lo, hi, ever, codes, weights))
    whole, eliminated = solved
    assert len(whole.left) > 60
    assert curve_bounds(eliminated, [10, 15, 20, 40])[0] == pytest.approx(
        curve_bounds(whole, [10, 15, 20, 40])[0], abs=1e-9
    )
    assert eliminated.at_infinity == pytest.approx(whole.at_infinity, abs=1e-9)


def test_tiles_do_not_matter_and_leaving_out_is_a_weight_of_none(monkeypatch):
    lo, hi, ever = random_bands(22, 60, "all")
    codes = np.arange(60) % 6
    whole = interval_refits(lo, hi, ever, codes, LeaveOneOut(6))
    monkeypatch.setattr("survstats.models.times.likeliest_masses.TILE_CELLS", 1)
    tiled = interval_refits(lo, hi, ever, codes, 1 - np.eye(6))
    assert tiled.mass == pytest.approx(whole.mass, abs=1e-7)


def test_what_a_replicate_cannot_tell_apart_is_split_as_in_the_whole_set():
    # without the second mishap nobody tells the two boxes apart
    lo, hi = np.array([0, 0, 0, 0, 5.0]), np.array([10, 10, 5, 5, 10.0])
    codes = np.array([0, 0, 1, 1, 1])
    refits = interval_refits(lo, hi, np.ones(5), codes, LeaveOneOut(2))
    whole = interval_curve(lo, hi, np.ones(5))
    assert whole.mass == pytest.approx([2 / 3, 1 / 3], abs=1e-12)
    assert refits.mass[1] == pytest.approx(whole.mass, abs=1e-6)


def test_two_hundred_replicates_of_a_study_settle():
    rng = np.random.default_rng(8)
    time, codes = rng.lognormal(2.9, 0.6, 300), rng.integers(0, 60, 300)
    width = rng.choice([0, 5, 10], 300)
    lo = np.where(width > 0, np.floor(time / 5) * 5, np.round(time))
    ever = rng.choice([1, 0, np.nan], 300, p=[0.75, 0.2, 0.05])
    refits = interval_refits(lo, lo + width, ever, codes, bootstrap(60, 200, rng))
    shares = curve_bounds(refits, [20])[0][:, 0]
    assert 0.01 < shares.std() < 0.1
    assert shares.mean() == pytest.approx(
        curve_bounds(interval_curve(lo, lo + width, ever), [20])[0][0], abs=0.02
    )


REFERENCES = pd.read_csv(REFERENCE / "curves.csv").query("se != se")


@pytest.mark.parametrize(("data", "group"), list(REFERENCES.groupby(["data", "group"]).groups))
def test_curves_of_bands_beside_r(occupants, data, group):
    # curves.R: self-consistency written out there, and survfit, which stops early, so that it is only near
    # diabetes_bands: Borch-Johnsen et al. 1985; mouse_tumours: Hoel and Walburg 1972
    if data == "occupants_90_bands":
        rows = occupants[occupants["trained"] == group]
        ever = (rows["ev"] == 1).astype(float)
    else:
        rows = pd.read_csv(GOLDEN / f"{data}.csv").query(
            f"{'male' if 'diabetes' in data else 'germfree'} == {group}"
        )
        ever = np.where(np.isfinite(rows["hi"]), 1, np.nan)
    curve = interval_curve(rows["lo"], rows["hi"], ever)
    for method, tolerance in (("self_consistency", 2e-5), ("survfit", 8e-3)):
        known = REFERENCES[(REFERENCES[["data", "group", "method"]] == [data, group, method]).all(axis=1)]
        assert len(known) >= 4
        least, most = curve_bounds(curve, known["time"].to_numpy())
        assert np.all(known["share"] >= least - tolerance)
        assert np.all(known["share"] <= most + tolerance)
        assert np.median(most - least) < 1e-12  # so that the two bounds say something


def test_what_cannot_be_told_is_refused(monkeypatch):
    with pytest.raises(NotEstimable) as nobody:
        interval_curve([], [], [])
    assert nobody.value.reason == "no_rows"
    with pytest.raises(NotEstimable) as empty:
        interval_refits([1, 2], [2, 3], [1, 1], [0, 0], LeaveOneOut(1))
    assert empty.value.reason == "no_rows"
    monkeypatch.setattr("survstats.models.times.likeliest_masses.PASSES", 3)
    with pytest.raises(NotEstimable) as unsettled:
        interval_curve([0, 0, 5], [10, 5, 10], [1, 1, 1])
    assert unsettled.value.reason == "not_converged"


@pytest.mark.parametrize(
    ("lo", "hi", "ever", "weights", "reason"),
    [
        ([2], [1], [1], None, "bad_time"),
        ([-1], [1], [1], None, "bad_time"),
        ([np.nan], [1], [1], None, "bad_time"),
        ([1], [np.nan], [1], None, "bad_time"),
        ([np.nan], [1], [np.nan], None, "bad_time"),
        ([np.inf], [np.inf], [1], None, "bad_time"),
        ([1], [2], [0.5], None, "bad_time"),
        ([1], [2, 3], [1], None, "lengths"),
        ([1], [2], [1], [1, 1], "lengths"),
        ([1], [2], [1], [-1], "negative_weight"),
    ],
)
def test_what_was_called_wrongly_is_said(lo, hi, ever, weights, reason):
    with pytest.raises(CallError) as said:
        interval_curve(lo, hi, ever, weights=weights)
    assert said.value.reason == reason
