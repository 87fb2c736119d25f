"""Is what is known of each way out read as it was written, and are the curves those of counting?

Golden values: computed twice by independent code (R packages and separate NumPy) for the invented 90 occupants.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import expit, logit, ndtr, stdtrit

import survstats
from survstats.effects.exact_table import clopper_pearson
from survstats.effects.getting_out import WayOut, rescued_untimed, way_out
from survstats.effects.intervals import jackknife_error
from survstats.effects.out_curves import (
    GroupCurve,
    curve_limits,
    difference_by,
    group_curve,
    seconds_within,
)
from survstats.groundwork.errors import NotEstimable
from survstats.models.times.turnbull import area_bounds
from survstats.records.cohort import build_cohort
from survstats.records.deriving import derive

NOBODY = np.nan


def people(*rows: tuple[float, float, float]) -> pd.DataFrame:
    """Whether they got out, and the ends of their band as recorded."""
    return pd.DataFrame(rows, columns=["out", "egress_lo_s", "egress_hi_s"], dtype=float)


def golden(occupants_90: pd.DataFrame, *, banded: bool = False) -> pd.DataFrame:
    """The 90 occupants as a derived frame would have them."""
    low, high = ("lo", "hi") if banded else ("tm", "tm")
    return occupants_90.assign(
        out=(occupants_90["ev"] == 1).astype(float),
        egress_lo_s=occupants_90[low].astype(float),
        egress_hi_s=occupants_90[high].astype(float),
    )


def both(frame: pd.DataFrame) -> tuple[GroupCurve, GroupCurve]:
    """The curves of the trained and of the untrained."""
    codes, labels = pd.factorize(frame["mishap"], sort=True)
    known, trained = way_out(frame), frame["trained"].to_numpy()
    found = [
        group_curve(known.of(trained == arm), codes[trained == arm], mishaps=len(labels)) for arm in (1, 0)
    ]
    return found[0], found[1]


def ends(found) -> np.ndarray:
    return np.array([[one.value, one.low, one.high] for one in (found.least, found.most)])


def placed(group: GroupCurve, at: float) -> np.ndarray:
    """Share out by then, from all its mishaps and with each of its own left out."""
    masses = np.vstack([group.curve.mass, group.masses[group.holds]])
    return masses[:, group.curve.right <= at].sum(axis=1)


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ((1, 10, 20), (1, 10, 20)),
        ((1, 15, 15), (1, 15, 15)),
        ((1, NOBODY, NOBODY), (1, 0, np.inf)),
        ((1, NOBODY, 20), (1, 0, 20)),
        ((1, 20, NOBODY), (1, 20, np.inf)),
        ((1, 20, np.inf), (1, 20, np.inf)),
        ((0, NOBODY, NOBODY), (0, 0, np.inf)),
        ((0, 10, 20), (0, 0, np.inf)),  # whoever never got out has no time out, whatever stands there
        ((NOBODY, 10, 20), (NOBODY, 10, np.inf)),  # seen inside until then; what came after nobody knows
        ((NOBODY, NOBODY, NOBODY), (NOBODY, 0, np.inf)),
    ],
)
def test_a_row_is_read_as_it_was_written(row, expected):
    known = way_out(people(row))
    assert (known.ever[0], known.low[0], known.high[0]) == pytest.approx(expected, nan_ok=True)


@pytest.mark.parametrize(
    ("row", "saved", "picked_up", "expected"),
    [
        ((1, NOBODY, NOBODY), "yes", NOBODY, (60, np.inf)),
        ((1, NOBODY, NOBODY), "yes", 0.5, (60, np.inf)),
        ((1, NOBODY, NOBODY), "yes", 12.0, (720, np.inf)),
        ((1, NOBODY, NOBODY), "no", 12.0, (0, np.inf)),
        ((1, NOBODY, NOBODY), "unknown", 12.0, (0, np.inf)),
        ((1, 10, 20), "yes", 12.0, (10, 20)),  # a recorded band stays
        ((1, 20, NOBODY), "yes", 12.0, (20, np.inf)),
        ((0, NOBODY, NOBODY), "yes", NOBODY, (0, np.inf)),
    ],
)
def test_who_was_brought_out_from_inside_at_no_recorded_second_waited_a_minute(
    row, saved, picked_up, expected
):
    frame = people(row).assign(rescued_inside=saved, t_rescue_min=picked_up)
    known = way_out(frame)
    assert (known.low[0], known.high[0]) == expected
    assert rescued_untimed(frame)[0] == (saved == "yes" and row == (1, NOBODY, NOBODY))


def test_twenty_of_twenty_eight_brought_out_from_inside_do_not_count_as_quick():
    # 6 mishaps: 42 out within a span, 28 dead inside, of whom 20 are then brought out alive from inside instead
    timed = [(1, 10 * (k % 4), 10 * (k % 4) + 10) for k in range(42)]
    inside = [(0, NOBODY, NOBODY)] * 28
    frame = people(*timed, *inside).assign(
        mishap=np.arange(70) % 6, rescued_inside="no", t_rescue_min=NOBODY, trained=0
    )
    saved = (frame["out"] == 0) & (frame.groupby("out").cumcount() < 20)
    brought = frame.assign(
        out=frame["out"].mask(saved, 1.0), rescued_inside=frame["rescued_inside"].mask(saved, "yes")
    )
    assert saved.sum() == rescued_untimed(brought).sum() == 20
    before, after, as_if_timed = (
        group_curve(way_out(one), one["mishap"].to_numpy(), mishaps=6)
        for one in (frame, brought, brought.assign(rescued_inside="no"))
    )
    at = [20.0, 40.0, 60.0]
    for end in ("least", "most"):
        told = getattr(curve_limits(after, at), end)
        assert told == pytest.approx(getattr(curve_limits(before, at), end), abs=1e-7)
    assert after.curve.mass.sum() == pytest.approx(62 / 70, abs=1e-7)
    assert curve_limits(as_if_timed, at).least[-1] > curve_limits(after, at).least[-1] + 0.2


def test_at_any_second_everybody_is_known_out_known_inside_or_neither():
    known = way_out(
        people((1, 10, 20), (1, 20, 20), (1, 20, 30), (1, NOBODY, NOBODY), (0, 5, 6), (NOBODY, 25, NOBODY))
    )
    assert list(known.known_out(20)) == [True, True, False, False, False, False]
    assert list(known.known_inside(20)) == [False, False, True, False, True, True]
    for at in (0, 10, 19.9, 20, 25, 25.1, 1000):
        assert not (known.known_out(at) & known.known_inside(at)).any()
    assert list(known.known_inside(0)) == [True] * 6
    assert list(known.timed) == [True, True, True, False, False, False]
    assert list(known.points) == [False, True, False, False, False, False]


def test_golden_shares_out_and_their_mishap_errors(occupants_90):
    trained, untrained = both(golden(occupants_90))
    found = [curve_limits(group, [10, 20, 40]) for group in (trained, untrained)]
    assert list(found[0].least) == pytest.approx([0.27450980, 0.66666667, 0.74509804], rel=1e-5)
    assert list(found[1].least) == pytest.approx([0.10256410, 0.41025641, 0.64102564], rel=1e-5)
    for one in found:
        assert list(one.least) == pytest.approx(list(one.most), abs=1e-12)
    # the design's .07367870 and .09477115 are linearised (residual sums of mishaps, variance times g / (g - 1));
    # leaving a mishap out whole also moves the number of people, and is a little wider
    for group, error, linear in (
        (trained, 0.07435549, 0.07367870),
        (untrained, 0.09674303, 0.09477115),
    ):
        values = placed(group, 20)
        assert jackknife_error(values[0], values[1:]) == pytest.approx(error, rel=1e-5)
        assert linear < error < 1.03 * linear
    assert (int(trained.holds.sum()), int(untrained.holds.sum())) == (14, 13)


def test_limits_of_a_curve_are_its_error_carried_to_the_logit(occupants_90):
    for group, error, df in zip(both(golden(occupants_90)), (0.07435549, 0.09674303), (13, 12), strict=True):
        found = curve_limits(group, [20.0])
        share = float(found.least[0])
        reach = stdtrit(df, 0.975) * error / (share * (1 - share))
        assert (found.low[0], found.high[0]) == pytest.approx(
            expit(logit(share) + np.array([-reach, reach])), rel=1e-5
        )


def test_golden_difference_is_that_of_the_shares_with_both_groups_leaving_together(occupants_90):
    frame = golden(occupants_90)
    found = difference_by(*both(frame), 20.0)
    gone = (frame["out"] == 1) & (frame["tm"] <= 20)

    def difference(kept: pd.Series) -> float:
        shares = [gone[kept & (frame["trained"] == arm)].mean() for arm in (1, 0)]
        return float(shares[0] - shares[1])

    without = np.array([difference(frame["mishap"] != mishap) for mishap in sorted(set(frame["mishap"]))])
    whole = difference(frame["mishap"] > 0)
    assert found.form == "point"
    assert found.least.value == pytest.approx(0.66666667 - 0.41025641, rel=1e-5)
    assert found.least.value == pytest.approx(whole, abs=1e-12)
    assert found.least.se == pytest.approx(jackknife_error(whole, without), abs=1e-12)
    assert (found.least.df, found.least.mishaps, found.least.occupants) == (13, 14, 90)


def test_mean_seconds_outside_are_counted_by_hand(occupants_90):
    frame = golden(occupants_90)
    found = seconds_within(*both(frame), until=60.0)
    outside = np.where(frame["out"] == 1, np.maximum(60 - frame["tm"], 0), 0.0)
    by_hand = [outside[frame["trained"] == arm].mean() for arm in (1, 0)]
    assert found.form == "point"
    assert found.least.value == pytest.approx(by_hand[0] - by_hand[1], abs=1e-9)
    assert found.least.low < 0 < found.least.high
    assert found.least.unit == "seconds"


def test_rows_in_another_order_and_times_that_stand_at_the_dead_move_nothing(occupants_90):
    frame = golden(occupants_90, banded=True)
    plain = both(frame)
    tied = frame.assign(
        egress_lo_s=frame["egress_lo_s"].mask(frame["out"] == 0, 15.0),
        egress_hi_s=frame["egress_hi_s"].mask(frame["out"] == 0, 15.0),
    )
    for other in (frame.sample(frac=1, random_state=3), tied):
        moved = both(other)
        for at in (20.0, 60.0):
            assert ends(difference_by(*moved, at)) == pytest.approx(ends(difference_by(*plain, at)), abs=1e-8)
        assert ends(seconds_within(*moved, until=60.0)) == pytest.approx(
            ends(seconds_within(*plain, until=60.0)), abs=1e-6
        )


@settings(max_examples=20, deadline=None)
@given(st.floats(0.2, 5.0), st.floats(-9.0, 9.0))
def test_a_clock_that_keeps_the_order_of_all_ends_moves_no_share_out(power, shift):
    rows = [(1, 5, 10), (1, 10, 20), (1, 15, 40), (1, 20, 30), (1, 30, 60), (0, NOBODY, NOBODY)] * 5
    frame = people(*rows).assign(mishap=np.arange(30) % 6, trained=1)
    known, codes = way_out(frame), frame["mishap"].to_numpy()
    plain = group_curve(known, codes, mishaps=6)

    def clock(seconds):
        return np.where(np.isfinite(seconds), np.abs(seconds) ** power * np.exp(shift), seconds)

    other = WayOut(known.ever, clock(known.low), clock(known.high))
    moved = group_curve(other, codes, mishaps=6)
    at = np.array([10.0, 20.0, 30.0, 60.0])
    for name in ("least", "most", "low", "high"):
        one, two = curve_limits(plain, at), curve_limits(moved, clock(at))
        assert getattr(two, name) == pytest.approx(getattr(one, name), abs=1e-6)


def test_taking_every_row_twice_in_its_mishap_narrows_no_limit(occupants_90):
    frame = golden(occupants_90, banded=True)
    once, twice = both(frame), both(pd.concat([frame, frame]))
    for one, two in ((difference_by(*pair, 20.0) for pair in (once, twice)),):
        assert ends(two) == pytest.approx(ends(one), abs=1e-7)
    one, two = (curve_limits(pair[0], [20.0]) for pair in (once, twice))
    assert (two.low[0], two.high[0]) == pytest.approx((one.low[0], one.high[0]), abs=1e-7)


def test_people_out_at_times_nobody_knows_leave_the_whole_range_open():
    rows = [(1, NOBODY, NOBODY)] * 3 + [(0, NOBODY, NOBODY)]
    frame = people(*(rows * 12)).assign(mishap=np.repeat(np.arange(6), 8), trained=np.arange(48) // 4 % 2)
    found = difference_by(*both(frame), 20.0)
    assert found.form == "range"
    assert (found.least.value, found.most.value) == pytest.approx((-0.75, 0.75))
    seconds = seconds_within(*both(frame), until=60.0)
    assert (seconds.least.value, seconds.most.value) == pytest.approx((-45.0, 45.0))


def test_where_nobody_is_out_yet_the_limits_are_the_exact_ones_of_the_counts(occupants_90):
    trained, _ = both(golden(occupants_90))
    found = curve_limits(trained, [0.0, 1.0])
    assert (found.low[0], found.high[0]) == (0.0, 0.0)
    assert (found.low[1], found.high[1]) == pytest.approx(clopper_pearson(0, len(trained.known)))


def test_a_group_from_a_handful_of_mishaps_has_no_curve():
    frame = people(*[(1, 10, 20), (0, NOBODY, NOBODY)] * 10).assign(mishap=np.arange(20) % 4)
    with pytest.raises(NotEstimable) as refused:
        group_curve(way_out(frame), frame["mishap"].to_numpy(), mishaps=4)
    assert refused.value.reason == "few_mishaps"
    nothing = people(*[(NOBODY, NOBODY, NOBODY)] * 10)
    with pytest.raises(NotEstimable) as refused:
        group_curve(way_out(nothing), np.arange(10), mishaps=10)
    assert refused.value.reason == "none_known"


def censored(known: WayOut, at: float | np.ndarray) -> WayOut:
    """The commonest error: the dead are taken to be still on their way out, last seen at some second."""
    dead = known.ever == 0
    return WayOut(np.where(dead, np.nan, known.ever), np.where(dead, at, known.low), known.high)


def test_a_curve_with_the_dead_censored_lies_above_the_counted_one_at_every_second(occupants_90):
    frame = golden(occupants_90)
    known, codes = way_out(frame), pd.factorize(frame["mishap"])[0]
    naive = censored(known, frame["tm"].to_numpy(float))
    at = np.arange(0.0, 61.0)
    curves = [curve_limits(group_curve(one, codes, mishaps=14), at).least for one in (naive, known)]
    assert (curves[0] >= curves[1] - 1e-9).all()
    assert curves[0][60] > curves[1][60] + 0.05


@pytest.mark.parametrize("demo", ["demo_small", "demo_main", "demo_null", "demo_harm"])
def test_in_the_demo_studies_a_curve_with_the_dead_censored_is_too_high(demo):
    study = survstats.read_study(survstats.demo_folder(demo))
    records = survstats.read_records(study)
    frame = build_cohort(derive(records, currency_months=24), records, population="P1").frame
    known = way_out(frame)
    codes, labels = pd.factorize(frame["mishap_id"], sort=True)
    at = [60.0, 90.0, 120.0]
    share = np.nanmean(known.ever)
    honest = group_curve(known, codes, mishaps=len(labels))
    assert curve_limits(honest, at).most[-1] <= share + 1e-9
    for last_seen in (5.0, 20.0, 40.0):
        naive = group_curve(censored(known, last_seen), codes, mishaps=len(labels))
        assert (curve_limits(naive, at).least > share + 0.05).all()
        assert area_bounds(naive.curve, until=120.0)[0] > area_bounds(honest.curve, until=120.0)[1]
    living = known.ever == 1
    survivors = group_curve(known.of(living), codes[living], mishaps=len(labels))
    assert curve_limits(survivors, [1000.0]).least[0] > 0.99  # who looks at the living alone draws it to all


@pytest.mark.slow
def test_limits_of_a_difference_by_twenty_seconds_cover_in_worlds_of_shared_luck():
    # 300 worlds of 30 mishaps, seeds [2026, 6, 1, 0..299]; each mishap has luck of its own in both parts
    normal = np.random.default_rng([2026, 6, 0]).standard_normal(800_000)

    def truth(arm: int) -> float:
        u, v = normal[:400_000], normal[400_000:]
        ever = expit(1.2 + 0.5 * arm + 0.5 * v)
        return float(np.mean(ever * ndtr((np.log(20) - 3.0 + 0.4 * arm - 0.25 * u) / 0.45)))

    target = truth(1) - truth(0)
    held = 0
    for seed in range(300):
        rng = np.random.default_rng([2026, 6, 1, seed])
        mishap = np.repeat(np.arange(30), 8)
        u, v = rng.normal(0, 0.25, 30)[mishap], rng.normal(0, 0.5, 30)[mishap]
        trained = (rng.random(240) < 0.4).astype(float)
        out = rng.random(240) < expit(1.2 + 0.5 * trained + v)
        seconds = np.exp(3.0 - 0.4 * trained + u + rng.normal(0, 0.45, 240))
        low = np.floor(seconds / 10) * 10
        untold = rng.random(240) < 0.2
        frame = pd.DataFrame(
            {
                "out": out.astype(float),
                "egress_lo_s": np.where(untold, np.nan, low),
                "egress_hi_s": np.where(untold, np.nan, low + 10),
                "mishap": mishap,
                "trained": trained,
            }
        )
        found = difference_by(*both(frame), 20.0)
        assert found.form == "point"
        held += found.least.low <= target <= found.least.high
    assert 0.93 <= held / 300 <= 0.98
