"""Are comparisons of two arms wide enough where nobody of an arm died, or nobody lived?

Values worked out here by hand from the limits of each arm; Newcombe's are published.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from survstats.challenge.unmeasured import e_value, e_value_of_limit
from survstats.effects.arms import Seen, arm_limits, compare_arms, hangs_on_one_mishap, seen, wide_enough
from survstats.effects.crude import crude_difference
from survstats.effects.exact_table import clopper_pearson, wilson
from survstats.effects.one_mishap_out import one_mishap_out
from survstats.effects.risk_model import prepare
from survstats.effects.standardise import standardise
from survstats.groundwork.estimate import Estimate

NAMES = {"outcome": "y", "exposure": "trained", "cluster": "mishap"}
COMPARISONS = ("difference", "survival_ratio", "death_ratio", "odds_ratio")


def share(value: float, low: float, high: float) -> Estimate:
    return Estimate(value, low, high, 0.1, 0.95, 20.0, "logit", "share", "jackknife", 21, 100)


def plain(name: str, value: float) -> Estimate:
    """A comparison without any width of its own."""
    unit = {"difference": "difference", "odds_ratio": "odds_ratio"}.get(name, "ratio")
    return Estimate(value, value, value, 0.0, 0.95, 20.0, "log", unit, "jackknife", 21, 100)


def all_trained_lived(seed: int, mishaps: int = 12, survival: float = 0.75) -> pd.DataFrame:
    rng = np.random.default_rng([2026, seed])
    mishap = np.repeat(np.arange(mishaps), 6)
    trained, far = rng.integers(0, 2, (2, len(mishap)))
    y = np.where(trained == 1, 1, (rng.random(len(mishap)) < survival).astype(int))
    return pd.DataFrame({"mishap": mishap, "trained": trained, "far": far, "y": y})


def effect_of(frame: pd.DataFrame):
    return standardise(prepare(frame, covariates=("far",), **NAMES))


def test_joined_limits_of_a_difference_are_newcombes():
    # Newcombe 1998 (doi:10.1002/(SICI)1097-0258(19980430)17:8<873::AID-SIM779>3.0.CO;2-I), method 10: 10/10 - 0/20
    # gives .6791 to 1; 56/70 - 48/80 gives .0524 to .3339
    for lived, known in (((10, 10, 0, 20), (0.6791, 1.0)), ((56, 70, 48, 80), (0.0524, 0.3339))):
        one, other = lived[0] / lived[1], lived[2] / lived[3]
        arms = share(one, *wilson(*lived[:2])), share(other, *wilson(*lived[2:]))
        found = wide_enough(plain("difference", one - other), "difference", *arms)
        assert (found.low, found.high) == pytest.approx(known, abs=5e-5)


def test_joined_limits_of_the_ratios_by_hand():
    one, other = share(0.9, 0.7, 0.95), share(0.6, 0.5, 0.8)
    log = math.log
    lower = log(0.9 / 0.6) - math.hypot(log(0.9 / 0.7), log(0.8 / 0.6))
    upper = log(0.9 / 0.6) + math.hypot(log(0.95 / 0.9), log(0.6 / 0.5))
    found = wide_enough(plain("survival_ratio", 1.5), "survival_ratio", one, other)
    assert (log(found.low), log(found.high)) == pytest.approx((lower, upper), rel=1e-12)
    # of death: .1 (.05 to .3) against .4 (.2 to .5)
    lower = log(0.1 / 0.4) - math.hypot(log(0.1 / 0.05), log(0.5 / 0.4))
    upper = log(0.1 / 0.4) + math.hypot(log(0.3 / 0.1), log(0.4 / 0.2))
    found = wide_enough(plain("death_ratio", 0.25), "death_ratio", one, other)
    assert (log(found.low), log(found.high)) == pytest.approx((lower, upper), rel=1e-12)
    # odds 9 (7/3 to 19) against 1.5 (1 to 4)
    lower = log(6) - math.hypot(log(9 / (7 / 3)), log(4 / 1.5))
    upper = log(6) + math.hypot(log(19 / 9), log(1.5))
    found = wide_enough(plain("odds_ratio", 6.0), "odds_ratio", one, other)
    assert (log(found.low), log(found.high)) == pytest.approx((lower, upper), rel=1e-12)


@pytest.mark.parametrize(
    ("trained", "untrained", "death", "odds", "survival"),
    [
        ((0.99, 0.9, 1.0), (0.6, 0.5, 0.7), (0.0, None), (None, math.inf), (None, None)),
        ((0.6, 0.5, 0.7), (0.99, 0.9, 1.0), (None, math.inf), (0.0, None), (None, None)),
        ((0.6, 0.5, 0.7), (0.01, 0.0, 0.1), (None, None), (None, math.inf), (None, math.inf)),
        ((0.01, 0.0, 0.1), (0.6, 0.5, 0.7), (None, None), (0.0, None), (0.0, None)),
    ],
)
def test_a_ratio_runs_to_zero_or_infinity_where_an_arm_reaches_the_edge(
    trained, untrained, death, odds, survival
):
    for name, expected in (("death_ratio", death), ("odds_ratio", odds), ("survival_ratio", survival)):
        found = wide_enough(plain(name, 1.0), name, share(*trained), share(*untrained))
        for limit, edge in zip((found.low, found.high), expected, strict=True):
            assert limit == edge if edge is not None else 0 < limit < math.inf


def test_only_a_blind_arm_is_widened_and_never_narrowed():
    narrow = share(0.98, 0.97, 0.99)
    assert arm_limits(narrow, Seen(63, 64)) == narrow
    found = arm_limits(narrow, Seen(64, 64))
    assert (found.low, found.high) == (clopper_pearson(64, 64)[0], 1.0)
    wide = share(0.98, 0.2, 1.0)
    assert arm_limits(wide, Seen(64, 64)) == wide
    assert not Seen(0, 0).blind
    assert seen(np.array([1.0, 0.0, 1.0]), np.array([1.0, 0.0, 1.0])) == (Seen(2, 2), Seen(0, 1))


def test_where_neither_arm_is_blind_the_limits_are_the_jackknifes():
    rng = np.random.default_rng(4)
    risks = np.clip(rng.normal([0.7, 0.5], 0.02, (15, 2)), 0.01, 0.99)
    settings = {"occupants": 90, "mishaps": 14, "method": "m", "level": 0.95}
    seeing, blind = (compare_arms(risks, (Seen(lived, 40), Seen(25, 50)), **settings) for lived in (30, 40))
    for name in COMPARISONS:
        assert seeing[name].se == blind[name].se
        centre = math.log(seeing[name].value) if name != "difference" else seeing[name].value
        reach = 2.1603687 * seeing[name].se  # t quantile for 13 df, printed tables
        low = centre - reach
        assert seeing[name].low == pytest.approx(low if name == "difference" else math.exp(low), rel=1e-6)
        assert blind[name].low < seeing[name].low or blind[name].high > seeing[name].high


def test_death_ratio_is_no_sharper_than_the_survival_of_the_arm_in_which_nobody_died():
    effect = effect_of(all_trained_lived(1))
    worst = 1 - effect.if_all.low
    assert worst > 0.05
    assert effect.death_ratio.low == 0.0
    assert effect.death_ratio.high > worst / (1 - effect.if_none.value)
    assert effect.odds_ratio.high == math.inf
    assert effect.odds_ratio.low < effect.if_all.low / (1 - effect.if_all.low) / (
        effect.if_none.value / (1 - effect.if_none.value)
    )
    assert effect.survival_ratio.low < effect.if_all.low / effect.if_none.value


def test_e_value_of_a_limit_follows_the_widened_death_ratio():
    ratio = effect_of(all_trained_lived(1)).death_ratio
    assert e_value_of_limit(ratio.low, ratio.high) == e_value(ratio.high)
    assert e_value_of_limit(ratio.low, ratio.high) < 0.5 * e_value(ratio.value)


def test_recoded_exposure_turns_all_widened_limits():
    frame = all_trained_lived(2)
    one, other = effect_of(frame), effect_of(frame.assign(trained=1 - frame["trained"]))
    assert (other.difference.low, other.difference.high) == pytest.approx(
        (-one.difference.high, -one.difference.low), rel=1e-8
    )
    for name in ("survival_ratio", "death_ratio", "odds_ratio"):
        first, turned = getattr(one, name), getattr(other, name)
        backward = [1 / limit if limit else math.inf for limit in (first.high, first.low)]
        assert (turned.low, turned.high) == pytest.approx(backward, rel=1e-8)


def test_without_one_mishap_the_limits_are_those_of_dropping_its_rows_also_where_an_arm_is_blind():
    frame = all_trained_lived(3)
    found = one_mishap_out(prepare(frame, covariates=("far",), **NAMES)).set_index("mishap")
    for mishap in (0, 5):
        dropped = effect_of(frame[frame["mishap"] != mishap]).difference
        assert tuple(found.loc[str(mishap)]) == pytest.approx(
            (dropped.value, dropped.low, dropped.high), rel=1e-6
        )


def test_the_only_mishap_with_a_death_left_out_leaves_a_blind_arm_that_is_widened():
    frame = all_trained_lived(4)
    first = frame.index[(frame["mishap"] == 2) & (frame["trained"] == 1)][0]
    frame.loc[first, "y"] = 0
    found = one_mishap_out(prepare(frame, covariates=("far",), **NAMES)).set_index("mishap").loc["2"]
    dropped = effect_of(frame[frame["mishap"] != 2])
    assert (found["low"], found["high"]) == pytest.approx(
        (dropped.difference.low, dropped.difference.high), rel=1e-6
    )


def test_crude_difference_is_as_wide_as_a_blind_arm_allows_by_hand():
    frame = all_trained_lived(5, mishaps=6)
    found = crude_difference(frame, **NAMES)
    others = frame[frame["trained"] == 0]
    share_alive = others["y"].mean()
    parts = [others[others["mishap"] != g]["y"].mean() for g in range(6)]
    reach = 2.5705818 * math.sqrt(5 / 6 * sum((part - share_alive) ** 2 for part in parts))  # t, 5 df
    lowest = clopper_pearson(int(frame["trained"].sum()), int(frame["trained"].sum()))[0]
    down = math.hypot(1 - lowest, min(reach, 1 - share_alive))
    assert found.low == pytest.approx(1 - share_alive - down, rel=1e-6)
    assert found.high == pytest.approx(min(1.0, 1 - share_alive + min(reach, share_alive)), rel=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_left_out_widths_are_no_sharper_than_those_of_everyone_by_more_than_chance(seed):
    # without the widening the limits without one mishap were narrower than those with all
    frame = all_trained_lived(seed)
    whole = effect_of(frame).difference
    widths = one_mishap_out(prepare(frame, covariates=("far",), **NAMES)).eval("high - low")
    assert widths.median() > 0.97 * (whole.high - whole.low)


def test_a_mishap_that_holds_all_deaths_of_one_arm_is_named():
    frame = all_trained_lived(6)
    assert hangs_on_one_mishap(frame, **NAMES) == ()
    frame.loc[frame.index[(frame["mishap"] == 3) & (frame["trained"] == 1)], "y"] = 0
    (found,) = hangs_on_one_mishap(frame, **NAMES)
    people = int(((frame["mishap"] == 3) & (frame["trained"] == 1)).sum())
    assert (found.mishap, found.exposure, found.outcome, found.people) == ("3", 1, 0, people)
    turned = hangs_on_one_mishap(frame.assign(y=1 - frame["y"], trained=1 - frame["trained"]), **NAMES)
    assert turned == (replace(found, exposure=0, outcome=1),)


@pytest.mark.slow
def test_the_death_ratio_covers_where_some_arms_are_blind():
    # 200 worlds of 30 mishaps, seeds [2026, 12, 0..199]: without the widening 77 of 100 intervals held the truth
    nodes, weights = np.polynomial.hermite_e.hermegauss(41)
    spread = 0.9

    def survival(log_odds: float) -> float:
        return float(np.sum(weights / (1 + np.exp(-log_odds - spread * nodes))) / weights.sum())

    truth = (1 - survival(4.5)) / (1 - survival(1.2))
    held = blind = 0
    for seed in range(200):
        rng = np.random.default_rng([2026, 12, seed])
        mishap = np.repeat(np.arange(30), 6)
        shared = rng.normal(0, spread, 30)[mishap]
        trained, far = rng.integers(0, 2, (2, 180))
        odds = np.exp(np.where(trained == 1, 4.5, 1.2) + shared)
        y = (rng.random(180) < odds / (1 + odds)).astype(int)
        found = effect_of(
            pd.DataFrame({"mishap": mishap, "trained": trained, "far": far, "y": y})
        ).death_ratio
        held += found.low <= truth <= found.high
        blind += y[trained == 1].min()
    assert blind >= 20
    assert held >= 185
