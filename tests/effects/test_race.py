"""Does the race of way out and breath give what closed forms, simulation and the invented race say?"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from survstats.effects.getting_out import WayOut
from survstats.effects.race import (
    breath_hold,
    share_below,
    share_out,
    speed_alone,
    spread_from_moments,
    spread_from_share,
    unseen_from_breath,
    unseen_from_share,
)
from survstats.effects.race_times import mishap_times, ratio_of, seen_times, share_known_out, side_of
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import stream
from survstats.records.invented.worlds import fate, retained, simulate_mechanistic


def test_the_share_out_of_two_lognormals():
    """Medians 20 and 37 s, spreads .5 and .55: computed twice by independent code when the method was set down."""
    assert share_out(20, 0.5, 37, 0.55) == pytest.approx(0.79606203, abs=5e-9)
    assert share_out(30, 0.4, 30, 0.6) == 0.5
    assert share_out(20, 0.5, 37, 0.55) == pytest.approx(1 - share_out(37, 0.55, 20, 0.5), abs=1e-12)


def test_the_published_breath_does_not_fit_one_lognormal():
    """Cheung SS, D'Eon NJ and Brooks CJ 2001, Aviat Space Environ Med 72(10):912-918, abstract: median 37 s, 34 % below
    28 s, standard deviations of the groups about 21 s; offshore workers 40.5 and 21.1.
    """
    from_share, from_moments = spread_from_share(37, 28, 0.34), spread_from_moments(40.5, 21.1)
    assert from_share == pytest.approx(0.676, abs=5e-4)
    assert from_moments == pytest.approx(0.49, abs=5e-4)
    anchor = breath_hold()
    assert (anchor.median_s, anchor.spread_least, anchor.spread_most) == (37, from_moments, from_share)
    assert share_below(28, 37, from_share) == pytest.approx(0.34, abs=1e-12)
    assert share_below(28, 37, from_moments) < 0.29
    assert "Cheung" in anchor.source


def simulated(shift: float, *, size: int = 2_000_000):
    """Log times of those who got out in a race with lead .4, spreads .5 and .6, times moved by ``shift``."""
    rng = stream(260611, "race")
    time, breath = rng.normal(0, 0.5, size) + shift, 0.4 * math.hypot(0.5, 0.6) + rng.normal(0, 0.6, size)
    return time[time < breath]


def test_what_is_seen_of_a_simulated_race_gives_back_what_is_not_seen():
    seen, moved = simulated(0.0), simulated(-0.3)
    race = unseen_from_share(len(seen) / 2_000_000, float(seen.std()), 0.6)
    assert race.variance == pytest.approx(0.25, abs=0.002)
    assert race.lead == pytest.approx(0.4, abs=0.003)
    shift = float(moved.mean() - seen.mean())
    assert -0.27 < shift < -0.21  # everybody moved by .3
    assert race.shift_behind(shift) == pytest.approx(-0.3, abs=0.005)
    assert race.gap(math.exp(shift)) == pytest.approx((len(moved) - len(seen)) / 2_000_000, abs=0.003)
    breath = math.exp(0.4 * math.hypot(0.5, 0.6))
    same = unseen_from_breath(math.exp(float(seen.mean())), float(seen.std()), breath, 0.6)
    assert same.share == pytest.approx(len(seen) / 2_000_000, abs=0.003)


def test_no_shift_makes_no_gap_and_a_quicker_way_out_a_larger_one():
    race = unseen_from_share(0.6, 0.4, 0.55)
    assert race.gap(1.0) == pytest.approx(0, abs=1e-10)
    gaps = [race.gap(ratio) for ratio in (1.3, 1.1, 0.9, 0.7, 0.5)]
    assert all(np.diff(gaps) > 0)
    assert -0.6 < gaps[0] < 0 < gaps[-1] < 0.4


def test_the_unit_of_time_does_not_matter():
    seconds, minutes = unseen_from_breath(20, 0.4, 37, 0.6), unseen_from_breath(20 / 60, 0.4, 37 / 60, 0.6)
    assert seconds.share == pytest.approx(minutes.share, rel=1e-12)
    assert unseen_from_breath(20, 0.4, 37 * 0.6, 0.6).share < seconds.share


@pytest.mark.parametrize("share", [0.0, 1.0, math.nan])
def test_a_race_that_nobody_or_everybody_wins_has_no_answer(share):
    with pytest.raises(NotEstimable) as fault:
        unseen_from_share(share, 0.4, 0.5)
    assert fault.value.reason == "race_no_answer"
    with pytest.raises(NotEstimable):
        speed_alone((0.0, math.inf), 0.5, 0.4, (0.49, 0.68))


def test_in_the_invented_race_the_true_gap_by_speed_lies_between_least_and_most():
    """Training makes people quicker and, by a tenth, lasts their breath: only the first is speed. The time ratio is
    that of all cabins, where upright ones show every time and capsized ones those of the winners.
    """
    world = simulate_mechanistic(6000, stream(260611, "world"))
    people = world.occupant
    there = world.mishap.iloc[people["mishap"]].reset_index(drop=True)
    capsized = there["capsized"] & ~people["impact_death"] & ~people["crew"]
    untrained = ~people["trained"]
    current = people["trained"] & (people["months_since"] <= 24)
    rng = stream(260611, "held")
    slow, _, _ = fate(world, np.zeros(len(people)))
    quick, _, _ = fate(world, retained(rng.uniform(0, 24, len(people))))
    warm = 1 / (1 + np.exp(-(there["water_c"] - 13) / 3))
    breath = np.exp(np.log(18) + 0.9 * warm + people["breath"])
    compared = capsized & (untrained | current)
    truth = float((quick < breath)[compared].mean() - (slow < breath)[compared].mean())
    assert truth > 0.12
    seen = people["out"] & ~people["impact_death"] & (untrained | current)
    design = np.column_stack([np.ones(len(people)), current, people["far"], people["crew"], there["night"]])
    logs = np.log(people["time_out_s"].to_numpy())
    ratio = math.exp(np.linalg.lstsq(design[seen].astype(float), logs[seen], rcond=None)[0][1])
    share = float(people["out"][capsized & untrained].mean())
    spread = float(logs[capsized & untrained & people["out"]].std())
    anchor = breath_hold()
    least, most = speed_alone((ratio, ratio), share, spread, (anchor.spread_least, anchor.spread_most))
    assert least < truth < most
    assert 0.05 < least < most < 0.35


# ---- what the records give -----------------------------------------------------------------------


def test_exact_times_of_single_people_have_the_geometric_mean_for_a_median():
    """Closed form: mean and spread of the logs, with the plain jackknife of a mean."""
    rng = stream(260611, "exact")
    times = np.exp(rng.normal(3, 0.5, 30))
    found = seen_times(times, times, pd.Series(range(30)))
    logs = np.log(times)
    assert found.median.value == pytest.approx(math.exp(logs.mean()), rel=1e-8)
    assert found.spread == pytest.approx(logs.std(), rel=1e-6)
    assert found.median.se == pytest.approx(logs.std() / math.sqrt(29), rel=1e-6)
    with pytest.raises(NotEstimable) as fault:
        seen_times(times[:9], times[:9], pd.Series(range(9)))
    assert fault.value.reason == "few_timed"
    with pytest.raises(NotEstimable):
        seen_times(times, times, pd.Series(np.arange(30) % 4))


def test_a_ratio_of_medians_adds_the_doubt_of_both():
    rng = stream(260611, "ratio")
    a, b = (
        seen_times(times, times, pd.Series(range(len(times)))).median
        for times in (np.exp(rng.normal(3, 0.5, 30)), np.exp(rng.normal(2.5, 0.3, 12)))
    )
    ratio = ratio_of(a, b)
    assert ratio.value == a.value / b.value
    assert ratio.se == pytest.approx(math.hypot(a.se, b.se))
    assert ratio.df == 11
    assert ratio_of(b, a).low == pytest.approx(1 / ratio.high)


def test_a_share_known_out_leaves_out_mishaps_and_is_refused_where_all_fared_alike():
    mishap = pd.Series(np.repeat(range(8), 5))
    ever = np.tile([1.0, 1, 0, 1, 0], 8)
    found = share_known_out(ever, mishap)
    assert (found.value, found.se) == (0.6, 0.0)  # every mishap is like the others
    apart = share_known_out(np.sort(ever), mishap)
    assert apart.high - apart.low > 0.4
    for bad, reason in ((np.ones(40), "one_outcome"), (np.empty(0), "no_rows")):
        with pytest.raises(NotEstimable) as fault:
            share_known_out(bad, mishap[: len(bad)])
        assert fault.value.reason == reason


def test_intervals_lie_apart_or_meet():
    assert side_of(0.2, 0.3, 0.05, 0.1) == "above"
    assert side_of(0.0, 0.04, 0.05, 0.1) == "below"
    assert side_of(0.0, 0.05, 0.05, 0.1) == "alike"


def test_who_is_written_down_at_second_zero_is_out_within_half_a_second_and_not_left_out():
    time = np.where(np.arange(40) % 5 == 0, 0.0, stream(3, "zeros").lognormal(2.5, 0.4, 40).round(1))
    cluster = pd.Series(np.arange(40) % 8)
    at_once = time == 0
    found = mishap_times(WayOut(np.ones(40), time, time), cluster).median
    known = seen_times(np.where(at_once, 0.0, time), np.where(at_once, 0.5, time), cluster).median
    assert found.occupants == 40
    assert (found.value, found.se) == pytest.approx((known.value, known.se), rel=1e-9)
    left_out = seen_times(time[~at_once], time[~at_once], cluster[~at_once]).median
    assert found.value < 0.8 * left_out.value
