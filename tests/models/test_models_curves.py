"""Shares that met each cause by each time, from counts, from the literature and beside R."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import AalenJohansenFitter, KaplanMeierFitter
from lifelines.statistics import logrank_test

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.groundwork.resampling import LeaveOneOut, bootstrap
from survstats.models.times.curves import area_refits, cumulative_incidence, incidence_refits

GOLDEN, REFERENCE = (Path(__file__).parents[1] / name for name in ("golden", "reference"))
# Freireich et al. 1963, weeks in remission (Klein and Moeschberger table 4.1; as carried by R's MASS: gehan)
DRUG = [6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35]
DRUG_ENDED = [1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0]
CONTROL = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]
# Miller 1997 (acute myelogenous leukaemia), as carried by R's survival
MAINTAINED = [9, 13, 13, 18, 23, 28, 31, 34, 45, 48, 161]
MAINTAINED_ENDED = [1, 1, 0, 1, 1, 0, 1, 1, 0, 1, 0]
NOT_MAINTAINED = [5, 5, 8, 8, 12, 16, 23, 27, 30, 33, 43, 45]
NOT_MAINTAINED_ENDED = [1, 1, 1, 1, 1, 0, 1, 1, 1, 1, 1, 1]
# 14 observations of the tests of R's survival (finegray.R)
FOURTEEN = [1, 2, 3, 4, 4, 4, 5, 5, 6, 8, 8, 9, 10, 12]
FOURTEEN_CAUSE = [1, 2, 0, 1, 0, 0, 2, 1, 0, 0, 2, 0, 1, 0]


def by(curve, times, cause=1):
    """The share of a curve at some times, all of them at or after its first."""
    return curve.incidence[cause - 1, np.searchsorted(curve.times, times, side="right") - 1]


def derivative_error(time, cause, codes, of, at):
    """The error over clusters from the derivative of the curve by each cluster's weight."""
    g, nudge = int(np.max(codes)) + 1, 1e-4
    up, down = 1 + nudge * np.eye(g), 1 - nudge * np.eye(g)
    ends = [incidence_refits(time, cause, codes, weights, of=of, at=at) for weights in (up, down)]
    return np.sqrt((((ends[0] - ends[1]) / (2 * nudge)) ** 2).sum(axis=0))


def random_set(seed, n=60, lost=0.3, mishaps=9):
    """Whole seconds with many ties, causes 0 to 3, mishap codes."""
    rng = np.random.default_rng(seed)
    chances = [lost, (1 - lost) / 2, (1 - lost) / 3, (1 - lost) / 6]
    codes = rng.permutation(np.arange(n) % mishaps)
    return rng.integers(0, 12, n).astype(float), rng.choice(4, n, p=chances), codes


def textbook(time, cause, weights=None):
    """Aalen and Johansen's sum, written out: survival so far times events over people at risk."""
    w = np.ones(len(time)) if weights is None else np.asarray(weights, dtype=float)
    alive, sums, rows = 1.0, np.zeros(int(np.max(cause))), []
    for t in np.unique(time):
        here, risk = time == t, w[time >= t].sum()
        met = np.array([w[here & (cause == k)].sum() for k in range(1, len(sums) + 1)])
        if risk > 0:
            sums = sums + alive * met / risk
            alive *= 1 - met.sum() / risk
        rows.append(sums)
    return np.array(rows).T


# occupants_90: shares by 10, 20, 40 s and their errors over mishaps are the design's golden values (section 3.7)
@pytest.mark.parametrize(
    ("trained", "shares", "error", "jackknife", "mishaps"),
    [
        (0, [0.10256410, 0.41025641, 0.64102564], 0.09477115, 0.09674303, 13),
        (1, [0.27450980, 0.66666667, 0.74509804], 0.07367870, 0.07435549, 14),
    ],
)
def test_invented_occupants_have_the_golden_shares_and_errors(
    occupants, trained, shares, error, jackknife, mishaps
):
    arm = occupants[occupants["trained"] == trained]
    time, cause, codes = arm["tm"], arm["ev"], np.unique(arm["mishap"], return_inverse=True)[1]
    curve = cumulative_incidence(time, cause)
    assert by(curve, [10, 20, 40]) == pytest.approx(shares, abs=5e-9)
    assert codes.max() + 1 == mishaps
    # the golden errors are the derivative by each mishap's weight, times mishaps over mishaps - 1
    found = derivative_error(time, cause, codes, 1, [20.0]) * np.sqrt(mishaps / (mishaps - 1))
    assert found == pytest.approx(error, abs=2e-8)
    # the delete-one-mishap jackknife: the plain formula on counts by hand, since nobody is lost from sight
    without = incidence_refits(time, cause, codes, LeaveOneOut(mishaps), of=1, at=[20])[:, 0]
    met = ((time <= 20) & (cause == 1)).to_numpy()
    by_hand = [met[codes != one].mean() for one in range(mishaps)]
    assert without == pytest.approx(by_hand, abs=1e-15)
    spread = np.sqrt((mishaps - 1) / mishaps * ((without - met.mean()) ** 2).sum())
    assert spread == pytest.approx(jackknife, abs=5e-9)


@given(st.integers(0, 10**6), st.integers(1, 80))
@settings(max_examples=40, deadline=None)
def test_where_nobody_is_lost_from_sight_the_curve_is_the_plain_count(seed, n):
    time, cause, _ = random_set(seed, n, lost=0.0)
    curve = cumulative_incidence(time, cause)
    for k in range(1, cause.max() + 1):
        counts = [((time <= t) & (cause == k)).sum() for t in curve.times]
        assert np.array_equal(curve.incidence[k - 1], np.array(counts) / n)  # to the last bit
    assert np.array_equal(curve.at_risk, [(time >= t).sum() for t in curve.times])


@given(st.integers(0, 10**6), st.integers(1, 80), st.sampled_from([0.1, 0.4, 0.9]))
@settings(max_examples=40, deadline=None)
def test_it_is_aalen_and_johansens_sum_under_any_ties_and_weights(seed, n, lost):
    time, cause, _ = random_set(seed, n, lost)
    weights = np.random.default_rng(seed).integers(0, 3, n)
    weights[0] += 1
    cause[0] = 3
    assert cumulative_incidence(time, cause).incidence == pytest.approx(textbook(time, cause), abs=1e-13)
    weighted = cumulative_incidence(time, cause, weights=weights)
    assert weighted.incidence == pytest.approx(textbook(time, cause, weights), abs=1e-13)


@given(st.integers(0, 10**6))
@settings(max_examples=30, deadline=None)
def test_shuffled_rows_move_nothing(seed):
    time, cause, codes = random_set(seed)
    order = np.random.default_rng(seed).permutation(len(time))
    curve, shuffled = cumulative_incidence(time, cause), cumulative_incidence(time[order], cause[order])
    assert np.array_equal(curve.incidence, shuffled.incidence)
    assert np.array_equal(curve.at_risk, shuffled.at_risk)
    refits = [
        incidence_refits(time[rows], cause[rows], codes[rows], LeaveOneOut(9), of=1, at=[2, 5])
        for rows in (slice(None), order)
    ]
    assert np.array_equal(refits[0], refits[1])


def test_a_second_cause_at_the_same_second_moves_nothing_of_the_first():
    # ten people: two meet cause 1 at 5 s; two meet cause 2 at 5 s, or a moment later
    time = np.array([3, 5, 5, 5, 5, 8, 8, 9, 9, 9.0])
    cause = np.array([1, 1, 1, 2, 2, 1, 2, 1, 1, 1])
    later = np.where((time == 5) & (cause == 2), 5.5, time)
    tied, apart = cumulative_incidence(time, cause), cumulative_incidence(later, cause)
    for cause_asked in (1, 2):
        assert np.array_equal(by(tied, [3, 8, 9], cause_asked), by(apart, [3, 8, 9], cause_asked))
    assert by(tied, 5) == by(apart, 5) == 0.3
    assert by(tied, 5, 2) == by(apart, 5.5, 2) == 0.2
    # also where people are lost from sight: cause 2 just after the second changes nothing of cause 1 by then
    lost, lost_later = np.append(time, [2, 4, 5, 6]), np.append(later, [2, 4, 5.7, 6])
    causes = np.append(cause, [0, 0, 0, 0])
    assert by(cumulative_incidence(lost, causes), 5) == by(cumulative_incidence(lost_later, causes), 5)


def test_the_peer_moves_the_times_of_two_causes_that_tie_and_ours_does_not():
    # why the curve is ours: lifelines adds a random jitter where different causes share a time, and warns
    time, cause = np.array([1, 2, 2, 3, 3, 4.0]), np.array([1, 1, 2, 1, 2, 2])
    with pytest.warns(Warning, match="Tied event times"):
        peer = AalenJohansenFitter(seed=1, calculate_variance=False).fit(time, cause, event_of_interest=1)
    assert not np.array_equal(np.unique(time), peer.cumulative_density_.index[1:])
    assert np.array_equal(cumulative_incidence(time, cause).incidence[0], np.array([1, 2, 3, 3]) / 6)


def test_without_such_ties_it_is_what_lifelines_gives():
    time, cause, _ = random_set(4, 80)
    time = time + np.random.default_rng(4).permutation(80) / 1000
    peer = AalenJohansenFitter(calculate_variance=False).fit(time, cause, event_of_interest=2)
    theirs = peer.cumulative_density_.iloc[:, 0].reindex(np.sort(time)).to_numpy()
    assert cumulative_incidence(time, cause).incidence[1] == pytest.approx(theirs, abs=1e-12)


def test_fourteen_observations_of_rs_fine_gray_test():
    # Therneau, R package survival, tests/finegray.R: the data; shares computed by hand from them in the design's facts
    curve = cumulative_incidence(FOURTEEN, FOURTEEN_CAUSE)
    at = [1, 2, 4, 5, 8, 10]
    assert by(curve, at) == pytest.approx(
        [0.071429, 0.071429, 0.149351, 0.246753, 0.246753, 0.480519], abs=5e-7
    )
    assert by(curve, at, 2) == pytest.approx([0, 0.071429, 0.071429, 0.168831, 0.285714, 0.285714], abs=5e-7)


def test_freireichs_remissions_have_kaplan_and_meiers_curve_and_greenwoods_errors():
    # Klein and Moeschberger 2003, table 4.1 (from memory, recomputed); lifelines is the package's engine for this curve
    at = [6, 7, 10, 13, 16, 22, 23]
    known = [0.8571, 0.8067, 0.7529, 0.6902, 0.6275, 0.5378, 0.4482]
    peer = KaplanMeierFitter().fit(DRUG, DRUG_ENDED)
    assert peer.survival_function_at_times(at).to_numpy() == pytest.approx(known, abs=5e-5)
    assert peer.median_survival_time_ == 23
    assert KaplanMeierFitter().fit(CONTROL).median_survival_time_ == 8
    # with one cause ours is one minus that curve, and the derivative by each person's weight is Greenwood's error
    curve = cumulative_incidence(DRUG, DRUG_ENDED)
    assert 1 - by(curve, at) == pytest.approx(peer.survival_function_at_times(at).to_numpy(), abs=1e-12)
    errors = derivative_error(DRUG, DRUG_ENDED, np.arange(21), 1, [6, 10, 23])
    assert errors == pytest.approx([0.0764, 0.0963, 0.1346], abs=5e-5)
    control = [0.9048, 0.8095, 0.7619, 0.6667, 0.5714, 0.3810, 0.2857, 0.1905, 0.1429, 0.0952, 0.0476, 0]
    assert 1 - cumulative_incidence(CONTROL, np.ones(21)).incidence[0] == pytest.approx(control, abs=5e-5)


def test_leukaemia_remissions_have_the_published_curve_and_errors():
    # Miller 1997, as printed by R's survival (tests/doaml.Rout.save)
    curve = cumulative_incidence(MAINTAINED, MAINTAINED_ENDED)
    at = [9, 13, 18, 23, 31, 34, 48]
    assert 1 - by(curve, at) == pytest.approx([0.909, 0.818, 0.716, 0.614, 0.491, 0.368, 0.184], abs=5e-4)
    errors = derivative_error(MAINTAINED, MAINTAINED_ENDED, np.arange(11), 1, at)
    assert errors == pytest.approx([0.0867, 0.1163, 0.1397, 0.1526, 0.1642, 0.1627, 0.1535], abs=5e-5)


@pytest.mark.parametrize("seed", range(5))
def test_the_naive_curve_is_never_below_and_somewhere_above(seed):
    # one minus a Kaplan-Meier curve in which the other causes are taken for lost from sight
    time, cause, _ = random_set(seed, 200, lost=0.2)
    right = cumulative_incidence(time, cause).incidence[0]
    naive = cumulative_incidence(time, cause == 1).incidence[0]
    engine = KaplanMeierFitter().fit(time, cause == 1)
    assert naive == pytest.approx(1 - engine.survival_function_.iloc[-len(naive) :, 0].to_numpy(), abs=1e-12)
    assert np.all(naive >= right - 1e-15)
    assert (naive - right).max() > 0.1


def test_the_naive_curve_of_the_invented_occupants_is_drawn_to_100_percent(occupants):
    late = occupants.sort_values("tm").assign(ev=lambda rows: np.where(np.arange(90) == 89, 1, rows["ev"]))
    naive = cumulative_incidence(late["tm"], late["ev"] == 1).incidence[0, -1]
    right = cumulative_incidence(late["tm"], late["ev"]).incidence[0, -1]
    assert naive == 1
    assert right == (late["ev"] == 1).mean() < 0.75


REFERENCES = pd.read_csv(REFERENCE / "curves.csv").query("method == 'survfit' and se == se")


def reference_set(data, group, occupants):
    """Time, cause and cluster of a set as curves.R makes it."""
    if data.startswith("occupants"):
        arm = occupants[occupants["trained"] == group]
        cause = arm["ev"].where(~((arm["id"] % 7 == 0) & data.endswith("lost")), 0)
        return arm["tm"].to_numpy(), cause.to_numpy(), np.unique(arm["mishap"], return_inverse=True)[1]
    rows = pd.read_csv(GOLDEN / f"{data}.csv")
    if data == "mgus2":
        progressed = rows["pstat"] == 1
        rows = rows.assign(
            time=rows["ptime"].where(progressed, rows["futime"]),
            cause=(2 * rows["death"]).where(~progressed, 1),
        )
    return rows["time"].to_numpy(), rows["cause"].to_numpy(), np.arange(1, len(rows) + 1) % 40


@pytest.mark.parametrize(("data", "group"), list(REFERENCES.groupby(["data", "group"]).groups))
def test_shares_and_errors_over_clusters_beside_r(occupants, data, group):
    # survfit of R's survival (versions.csv); mgus2: Kyle et al. 2002; transplant: Kim et al. 2006
    time, cause, codes = reference_set(data, group, occupants)
    curve = cumulative_incidence(time, cause)
    known = REFERENCES.query("data == @data and group == @group")
    assert len(known) >= 12
    for asked, rows in known.groupby("cause"):
        at = rows["time"].to_numpy()
        assert by(curve, at, asked) == pytest.approx(rows["share"].to_numpy(), abs=1e-11)
        errors = derivative_error(time, cause, codes, asked, at)
        assert errors == pytest.approx(rows["se"].to_numpy(), abs=2e-9)


def test_the_open_data_sets_are_those_described():
    # mgus2: 1,384 people, 115 progressed, 860 died without; transplant: 815 people, 66 died, 636 transplanted
    for data, counts in (("mgus2", [409, 115, 860]), ("transplant", [76, 66, 636, 37])):
        assert np.bincount(reference_set(data, 0, None)[1]).tolist() == counts


@pytest.mark.parametrize("lost", [0.0, 0.3])
def test_refits_are_the_curves_of_the_people_left(lost):
    time, cause, codes = random_set(11, 90, lost)
    time[codes == 0], cause[codes == 0] = (
        15,
        1,
    )  # people are followed up to the end in every replicate that holds them
    weights = np.vstack([bootstrap(9, 20, np.random.default_rng(1)), np.ones(9)])
    weights[:, 0] = 1
    found = incidence_refits(time, cause, codes, weights, of=2, at=[0, 4, 12])
    area = area_refits(time, cause, codes, weights, of=2, until=9.5)
    for row, replicate in enumerate(weights):
        curve = cumulative_incidence(time, cause, weights=replicate[codes])
        assert found[row] == pytest.approx(by(curve, [0, 4, 12], 2), abs=1e-13)
        inside = curve.times <= 9.5
        widths = np.diff(np.append(curve.times[inside], 9.5))
        assert area[row] == pytest.approx((curve.incidence[1, inside] * widths).sum(), abs=1e-12)


@pytest.mark.parametrize("lost", [0.0, 0.3])
def test_leaving_each_mishap_out_is_the_curve_of_the_others(lost):
    time, cause, codes = random_set(12, 120, lost)
    found = incidence_refits(time, cause, codes, LeaveOneOut(9), of=1, at=[3, 8])
    area = area_refits(time, cause, codes, LeaveOneOut(9), of=1, until=8)
    for one in range(9):
        others = codes != one
        curve = cumulative_incidence(time[others], cause[others])
        assert found[one] == pytest.approx(by(curve, [3, 8]), abs=1e-13)
    assert area == pytest.approx(area_refits(time, cause, codes, 1 - np.eye(9), of=1, until=8), abs=1e-12)


def test_tiles_do_not_matter(monkeypatch):
    time, cause, codes = random_set(13, 100)
    weights = bootstrap(9, 50, np.random.default_rng(2))
    whole = incidence_refits(time, cause, codes, weights, of=1, at=[6])
    monkeypatch.setattr("survstats.models.times.curves.TILE_CELLS", 30)
    tiled = incidence_refits(time, cause, codes, weights, of=1, at=[6])
    assert tiled == pytest.approx(whole, abs=1e-15)
    assert len(incidence_refits(time, cause, codes, LeaveOneOut(9), of=1, at=[6])) == 9


def test_what_cannot_be_told_is_refused():
    with pytest.raises(NotEstimable) as nobody:
        cumulative_incidence([], [])
    assert nobody.value.reason == "no_rows"
    with pytest.raises(NotEstimable) as late:
        incidence_refits([1, 2, 3], [1, 0, 0], [0, 0, 1], [[1, 1]], of=1, at=[3.5])
    assert late.value.reason == "beyond_follow_up"
    assert incidence_refits([1, 2, 3], [1, 0, 0], [0, 0, 1], [[1, 1]], of=1, at=[3])[0, 0] == 1 / 3
    with pytest.raises(NotEstimable) as without:  # the one followed up so far is left out
        area_refits([1, 2, 3], [1, 0, 0], [0, 0, 1], LeaveOneOut(2), of=1, until=3)
    assert without.value.reason == "beyond_follow_up"
    with pytest.raises(NotEstimable) as empty:
        incidence_refits([1, 2], [1, 1], [0, 0], LeaveOneOut(1), of=1, at=[2])
    assert empty.value.reason == "no_rows"


@pytest.mark.parametrize(
    ("time", "cause", "codes", "weights", "reason"),
    [
        ([1, np.nan], [1, 1], [0, 0], [[1]], "bad_time"),
        ([1, np.inf], [1, 2], [0, 0], [[1]], "bad_time"),
        ([1, -1], [1, 1], [0, 0], [[1]], "bad_time"),
        ([1, 2], [1, -1], [0, 0], [[1]], "bad_cause"),
        ([1, 2], [1, 0.5], [0, 0], [[1]], "bad_cause"),
        ([1, 2], [1], [0, 0], [[1]], "lengths"),
        ([1, 2], [1, 1], [0], [[1]], "lengths"),
        ([1, 2], [1, 1], [0, 1], [[1]], "weights_shape"),
        ([1, 2], [1, 1], [0, 0], [[-1]], "negative_weight"),
    ],
)
def test_what_was_called_wrongly_is_said(time, cause, codes, weights, reason):
    with pytest.raises(CallError) as said:
        incidence_refits(time, cause, codes, weights, of=1, at=[1])
    assert said.value.reason == reason


# the log-rank test is lifelines' where it is right: it is checked here, not written again


def test_lifelines_log_rank_test_on_two_trials():
    # Freireich: chi-square 16.79 (Klein and Moeschberger 2003, from memory)
    both = logrank_test(DRUG, CONTROL, DRUG_ENDED, np.ones(21))
    assert both.test_statistic == pytest.approx(16.79, abs=0.005)
    # Miller's leukaemia data: 3.4 (printed by R's survival, tests/doaml.Rout.save)
    aml = logrank_test(MAINTAINED, NOT_MAINTAINED, MAINTAINED_ENDED, NOT_MAINTAINED_ENDED)
    assert aml.test_statistic == pytest.approx(3.4, abs=0.05)
