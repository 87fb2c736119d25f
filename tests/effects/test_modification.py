"""Are differences within levels, and between them, what one counts by hand and what a slow road gives?"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from survstats.effects.modification import modification, shrink, spread_beyond_chance
from survstats.effects.modifier_levels import levels_of
from survstats.effects.risk_model import prepare
from survstats.effects.standardise import standardise
from survstats.groundwork.errors import CallError, NotEstimable
from survstats.records.invented.worlds import simulate_logistic

NAMES = {"outcome": "y", "exposure": "trained", "cluster": "mishap"}


def found(frame, modifier="seat_far", covariates=("crew",)):
    overall = standardise(prepare(frame, covariates=covariates, **NAMES))
    return modification(frame, covariates=covariates, modifier=modifier, overall=overall, **NAMES), overall


def near(expected, rel=1e-8):
    return pytest.approx(expected, rel=rel, abs=1e-12)


def raw(frame):
    """Difference in survival at seat_far 0, at 1, and all together, as counted."""
    parts = [frame[frame["seat_far"] == 0], frame[frame["seat_far"] == 1], frame]
    means = [part.groupby("trained")["y"].mean() for part in parts]
    return np.array([mean[1] - mean[0] for mean in means])


def test_without_covariates_levels_and_contrast_are_those_counted(occupants_90):
    one, overall = found(occupants_90, covariates=())
    whole = raw(occupants_90)
    without = np.array([raw(occupants_90[occupants_90["mishap"] != g]) for g in range(1, 15)])

    def error(point, parts):
        return math.sqrt(13 / 14 * np.sum((parts - point) ** 2))

    for at, level in enumerate(one.levels):
        assert level.difference.value == near(whole[at])
        assert level.difference.se == near(error(whole[at], without[:, at]))
        deviation = whole[at] - whole[2]
        assert level.deviation == near(deviation)
        assert level.deviation_se == near(error(deviation, without[:, at] - without[:, 2]))
        people = occupants_90[occupants_90["seat_far"] == at]
        assert (level.occupants, level.trained) == (len(people), people["trained"].sum())
        assert level.died == (people["y"] == 0).sum()
        assert level.difference.df == people["mishap"].nunique() - 1
    contrast = one.contrasts[0]
    assert (contrast.level, contrast.against) == ("1", "0")
    assert contrast.difference.value == near(whole[1] - whole[0])
    assert contrast.difference.se == near(error(whole[1] - whole[0], without[:, 1] - without[:, 0]))
    assert overall.difference.value == near(whole[2])
    assert one.left_out == ()


def slow_levels(frame):
    """Differences at seat_far 0 and 1 from one model with a product, person by person."""
    a, far, crew = (frame[name].to_numpy(float) for name in ("trained", "seat_far", "crew"))
    rows, y = np.column_stack([np.ones(len(a)), a, far, crew, a * far]), frame["y"].to_numpy(float)
    beta = np.zeros(5)
    for _ in range(40):
        p = 1 / (1 + np.exp(-rows @ beta))
        beta = beta + np.linalg.solve(rows.T @ (rows * (p * (1 - p))[:, None]), rows.T @ (y - p))
    values = []
    for level in (0.0, 1.0):
        effect = [
            1 / (1 + math.exp(-(np.array([1, 1, row[2], row[3], row[2]]) @ beta)))
            - 1 / (1 + math.exp(-(np.array([1, 0, row[2], row[3], 0]) @ beta)))
            for row in rows
            if row[2] == level
        ]
        values.append(sum(effect) / len(effect))
    return np.array(values)


def test_the_slow_road_agrees_with_each_mishap_left_out(occupants_90):
    one, _ = found(occupants_90)
    whole = slow_levels(occupants_90)
    without = np.array([slow_levels(occupants_90[occupants_90["mishap"] != g]) for g in range(1, 15)])
    errors = np.sqrt(13 / 14 * np.sum((without - whole) ** 2, axis=0))
    assert [level.difference.value for level in one.levels] == near(list(whole), 1e-7)
    assert [level.difference.se for level in one.levels] == near(list(errors), 1e-7)
    gap = whole[1] - whole[0]
    se = math.sqrt(13 / 14 * np.sum((without[:, 1] - without[:, 0] - gap) ** 2))
    assert (one.contrasts[0].difference.value, one.contrasts[0].difference.se) == near((gap, se), 1e-7)


def test_naming_the_modifier_among_the_covariates_changes_nothing(occupants_90):
    overall = standardise(prepare(occupants_90, covariates=("crew", "seat_far"), **NAMES))
    settings = {"modifier": "seat_far", "overall": overall, **NAMES}
    once = modification(occupants_90, covariates=("crew",), **settings)
    assert modification(occupants_90, covariates=("crew", "seat_far"), **settings) == once


def test_order_of_levels_turns_the_contrast_and_keeps_the_levels(occupants_90):
    words = occupants_90["seat_far"].map({0: "near", 1: "far"})
    one, _ = found(occupants_90.assign(seat_far=pd.Categorical(words, ["near", "far"])))
    other, _ = found(occupants_90.assign(seat_far=pd.Categorical(words, ["far", "near"])))
    assert [level.level for level in one.levels] == ["near", "far"]
    for level, twin in zip(one.levels, reversed(other.levels), strict=True):
        assert level.difference.value == near(twin.difference.value)
        assert level.shrunken == near(twin.shrunken)
    assert one.contrasts[0].difference.value == near(-other.contrasts[0].difference.value)
    assert one.contrasts[0].difference.low == near(-other.contrasts[0].difference.high)


def test_a_seat_that_was_taken_freely_is_told_as_moved_by_training(occupants_90):
    frame = occupants_90.assign(
        far_seat=occupants_90["seat_far"], mishap_id=occupants_90["mishap"].astype(str)
    )
    free = frame.assign(seat_choice=np.where(frame["mishap"] < 4, "free", "assigned"))
    one, _ = found(free, modifier="far_seat")
    assert one.moved_by_training
    assert one.mediator.people == int((frame["mishap"] < 4).sum())
    assert not found(free.assign(seat_choice="assigned"), modifier="far_seat")[0].moved_by_training
    assert not found(free)[0].moved_by_training  # a column of whom the graph knows nothing


# ---- shrinking --------------------------------------------------------------------------------------------------


def with_deviations(one, pairs):
    levels = tuple(
        replace(level, deviation=d, deviation_se=math.sqrt(v))
        for level, (d, v) in zip(one.levels, pairs, strict=True)
    )
    return replace(one, levels=levels)


def test_shrinking_by_hand(occupants_90):
    one, overall = found(occupants_90)
    two = with_deviations(one, [(0.3, 0.01), (-0.1, 0.02)]), with_deviations(one, [(0.0, 0.03), (0.2, 0.04)])
    # mean of .09 - .01, .01 - .02, 0 - .03, .04 - .04: .04 / 4 = .01
    shares = [0.3 * 0.01 / 0.02, -0.1 * 0.01 / 0.03, 0.0, 0.2 * 0.01 / 0.05]
    drawn = [level.shrunken for each in shrink(two, overall=overall) for level in each.levels]
    assert drawn == near([overall.difference.value + share for share in shares])
    assert spread_beyond_chance(two) == near(0.01)


def test_levels_that_differ_by_no_more_than_chance_all_equal_everybody_and_no_spread_is_told(occupants_90):
    one, overall = found(occupants_90)
    by_chance = with_deviations(one, [(0.1, 0.02), (-0.1, 0.01)])
    assert spread_beyond_chance((by_chance,)) == spread_beyond_chance(()) == 0.0
    drawn = shrink((by_chance,), overall=overall)[0]
    assert [level.shrunken for level in drawn.levels] == [overall.difference.value] * 2
    nothing = shrink((with_deviations(one, [(0.0, 0.0), (0.0, 0.0)]),), overall=overall)[0]
    assert [level.shrunken for level in nothing.levels] == [overall.difference.value] * 2
    assert shrink((), overall=overall) == ()


def test_shrunken_lies_between_the_level_and_everybody(occupants_90):
    one, overall = found(occupants_90)
    for level in one.levels:
        low, high = sorted((overall.difference.value, level.difference.value))
        assert low - 1e-12 <= level.shrunken <= high + 1e-12


# ---- levels that cannot stand on their own ----------------------------------------------------------------------


def seats(frame, where, name):
    words = frame["seat_far"].map({0: "near", 1: "far"}).astype(object)
    return frame.assign(seat=words.where(~where, name))


def test_thin_levels_are_left_out_counted_and_moving_nobody_else(occupants_90):
    d = occupants_90
    chosen = d["mishap"].isin([1, 2]) & (d["seat_far"] == 1)
    one, _ = found(seats(d, chosen, "aisle"), "seat")
    assert [level.level for level in one.levels] == ["far", "near"]
    assert [(left.level, left.occupants) for left in one.left_out] == [("aisle", int(chosen.sum()))]
    rest, _ = found(seats(d, chosen, "aisle")[~chosen], "seat")
    assert [level.difference.value for level in one.levels] == near(
        [level.difference.value for level in rest.levels]
    )
    assert sum(level.occupants for level in one.levels) + one.left_out[0].occupants == 90


@pytest.mark.parametrize(
    ("where", "reason"),
    [
        (lambda d: d["trained"].eq(1) & d["mishap"].ge(9), "one_arm"),
        (lambda d: d.index.isin(range(0, 90, 9)), "few_people"),
        (lambda d: d["mishap"].isin([1, 2, 3, 4]), "few_mishaps"),
    ],
)
def test_why_a_level_is_left_out(occupants_90, where, reason):
    frame = occupants_90.assign(mishap=occupants_90["mishap"].replace({5: 1, 6: 2, 7: 3, 8: 4}))
    one, _ = found(seats(frame, pd.Series(where(frame), index=frame.index), "other"), "seat")
    assert ("other", reason) in [(left.level, left.reason) for left in one.left_out]


@pytest.mark.parametrize("gap", [np.nan, "unknown"])
def test_people_of_unknown_level_are_no_level(occupants_90, gap):
    frame = seats(occupants_90, occupants_90.index < 20, gap)
    one, _ = found(frame, "seat")
    assert [(left.level, left.occupants, left.reason) for left in one.left_out] == [
        ("unknown", 20, "not_known")
    ]


def test_one_level_is_nothing_to_compare(occupants_90):
    with pytest.raises(NotEstimable) as caught:
        found(occupants_90.assign(seat="near"), "seat")
    assert caught.value.reason == "one_level"


def test_numbers_are_refused(occupants_90):
    with pytest.raises(CallError) as caught:
        found(occupants_90, "tm")
    assert caught.value.reason == "numeric_modifier"


def test_an_overall_effect_of_other_rows_is_refused(occupants_90):
    _, overall = found(occupants_90)
    with pytest.raises(CallError) as caught:
        modification(
            occupants_90[occupants_90["mishap"] > 1], covariates=(), modifier="crew", overall=overall, **NAMES
        )
    assert caught.value.reason == "other_rows"


@pytest.mark.parametrize(
    ("values", "names"),
    [
        ([True, False, True], ["no", "yes"]),
        ([1.0, np.nan, 0.0], ["0", "1", "unknown"]),
        (pd.Categorical(["b", "a", "unknown"], ["b", "unknown", "c", "a"]), ["b", "a", "unknown"]),
    ],
)
def test_names_of_levels(values, names):
    assert levels_of(pd.DataFrame({"x": values}), "x")[1] == names


def test_a_level_in_which_all_trained_lived_keeps_an_honest_interval(occupants_90):
    d = occupants_90
    frame = d.assign(y=np.where((d["seat_far"] == 0) & (d["trained"] == 1), 1, d["y"]))
    one, _ = found(frame, covariates=())
    level, contrast = one.levels[0], one.contrasts[0].difference
    trained = frame[(frame["seat_far"] == 0) & (frame["trained"] == 1)]
    assert trained["y"].all()
    assert level.difference.method == "standardised_firth_flic"
    # no narrower than the exact limit of so many alive of so many (Clopper and Pearson: (.025)^(1 / n))
    assert level.difference.value - level.difference.low >= 1 - 0.025 ** (1 / len(trained)) - 0.05
    assert contrast.high - contrast.low > level.difference.high - level.difference.low
    assert all(math.isfinite(limit) for limit in (contrast.low, contrast.high))


def test_a_difference_between_levels_that_was_built_in_is_found():
    people = simulate_logistic(300, np.random.default_rng([2026, 7]), effect=1.2)
    kept = people["far"] == 1  # training helps in far seats only
    people = people.assign(y=np.where(kept, people["survived"], people["survived_if_untrained"]))
    people = people[people["impact_death"] == 0]
    one, _ = found(people, "far", ("crew", "operator_south", "cold"))
    gain = (people["survived_if_trained"] - people["survived_if_untrained"])[people["far"] == 1].mean()
    contrast = one.contrasts[0].difference
    assert contrast.excludes(0.0)
    assert abs(contrast.value - gain) < 3 * contrast.se
    assert abs(one.levels[0].difference.value) < 3 * one.levels[0].difference.se
