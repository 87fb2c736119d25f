"""Does each swing hold one input at its ends and leave all others as they are?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from some_worlds import keeps, plain_world, some_worlds

from survstats.decision.draw_worlds import assumed_gain
from survstats.decision.held import mean_discount
from survstats.decision.outcome import outcome
from survstats.decision.swings import swings
from survstats.decision.world import Worlds
from survstats.groundwork.errors import CallError

POLICY, TODAY = keeps(1, 1, 0.6, 0.3, spends=("rafts",)), keeps(3, 0.5, 0.5, 0.5)


def by_name(worlds, policy=POLICY, today=TODAY, **shares):
    return {one.input: one for one in swings(worlds, policy, today=today, **shares)}


def repeated(draws: int, **changes) -> Worlds:
    """The plain world many times over, with some inputs that vary."""
    plain = plain_world()
    fields = {}
    for name in ("at_risk", "survival_untrained", "gain", "leaving"):
        fields[name] = np.repeat(getattr(plain, name), draws, axis=0)
    for name in (
        "mishaps_a_year",
        "fading",
        "first_cost",
        "refresher_cost",
        "fixed_cost",
        "deaths_per_course",
    ):
        fields[name] = np.repeat(getattr(plain, name), draws)
    for name in ("injuries_per_course", "injury_cost", "false_confidence"):
        fields[name] = np.repeat(getattr(plain, name), draws)
    return replace(plain, spends={}, **{**fields, **changes})


def test_an_input_that_varies_alone_swings_to_its_percentiles():
    rate = np.linspace(0, 1, 101)
    found = swings(repeated(101, mishaps_a_year=rate), keeps(2, 0.5), today=keeps(2, 0))
    assert len(found) == 1
    one = found[0]
    assert (one.input, one.low_at, one.high_at) == ("mishaps_a_year", pytest.approx(0.1), pytest.approx(0.9))
    assert (one.lives_low, one.lives_high) == pytest.approx(
        (0.1 * 6.88 * 0.5 * 0.17, 0.9 * 6.88 * 0.5 * 0.17)
    )
    assert one.cost_low == one.cost_high


def test_money_swings_without_moving_lives():
    found = by_name(some_worlds(1))["refresher_cost"]
    assert found.lives_low == found.lives_high
    assert found.cost_low < found.cost_high


def test_each_end_is_the_mean_over_worlds_with_that_input_replaced():
    worlds = some_worlds(2)
    found = by_name(worlds)["deaths_per_course"]
    value = float(np.quantile(worlds.deaths_per_course, 0.9))
    other = outcome(replace(worlds, deaths_per_course=np.full(worlds.draws, value)), POLICY, today=TODAY)
    assert (found.high_at, found.lives_high) == pytest.approx((value, other.lives.mean()))


def test_people_at_risk_of_all_groups_move_by_one_factor():
    worlds = some_worlds(3)
    found = by_name(worlds)["at_risk"]
    total = worlds.at_risk.sum(axis=1)
    assert (found.low_at, found.high_at) == pytest.approx(tuple(np.quantile(total, [0.1, 0.9])))
    moved = replace(worlds, at_risk=worlds.at_risk * (found.high_at / total)[:, None])
    assert found.lives_high == pytest.approx(outcome(moved, POLICY, today=TODAY).lives.mean())


def test_gain_and_leaving_move_in_every_group():
    found = by_name(some_worlds(4))
    assert found["gain"].low_at < found["gain"].high_at
    assert found["gain"].lives_low < found["gain"].lives_high
    assert found["leaving"].cost_low != found["leaving"].cost_high


def test_a_gain_swings_no_further_than_all_who_die():
    gain = np.repeat(np.linspace(0.1, 0.9, 101)[:, None, None], 2, axis=2)
    worlds = repeated(101, gain=gain)  # .4 of the untrained die
    found = by_name(worlds, keeps(2, 0.5), keeps(2, 0))["gain"]
    assert (found.low_at, found.high_at) == pytest.approx((0.18, 0.4))  # what is applied
    assert (found.lives_low, found.lives_high) == pytest.approx(
        (0.35 * 6.88 * 0.5 * 0.18, 0.35 * 6.88 * 0.5 * 0.4)
    )


def test_a_gain_moves_with_the_room_that_each_world_has_for_it():
    # .5 of the deaths averted at one end of what is plausible and .9 at the other, whatever share dies untrained
    rng = np.random.default_rng(8)
    dies, averted = rng.uniform(0.2, 0.6, 400), np.linspace(0.45, 0.95, 400)
    worlds = repeated(
        400,
        survival_untrained=np.repeat(1 - dies[:, None, None], 2, axis=2),
        gain=np.repeat((averted * dies)[:, None, None], 2, axis=2),
    )
    found = by_name(worlds, keeps(2, 1), keeps(2, 0))["gain"]
    assert (found.low_at, found.high_at) == pytest.approx((0.5 * dies.mean(), 0.9 * dies.mean()))
    for end, lives in ((0.5, found.lives_low), (0.9, found.lives_high)):
        assert lives == pytest.approx(0.35 * 6.88 * end * dies.mean(), rel=1e-6)


def test_fading_swings_from_the_gain_before_any_cut():
    # the same difference recorded in all worlds by people one to five years after their course
    fading, months = np.linspace(0.1, 0.9, 201), np.array([12.0, 24, 36, 48, 60])
    worlds = repeated(201, fading=fading, recorded_months=months)
    worlds = assumed_gain(
        worlds, 0.35
    )  # .4 die untrained: a fast fading leaves no room for it on the first day
    assert worlds.gain.max() > 0.6
    found = by_name(worlds, keeps(4, 0.5), keeps(2, 0))["fading"]
    for rate, lives in ((0.18, found.lives_low), (0.82, found.lives_high)):
        alone = assumed_gain(repeated(1, fading=np.array([rate]), recorded_months=months), 0.35)
        assert lives == pytest.approx(outcome(alone, keeps(4, 0.5), today=keeps(2, 0)).lives.mean(), rel=1e-6)


def test_a_rival_spend_swings_by_its_own_name():
    worlds = some_worlds(5)
    found = by_name(worlds)
    assert {"cost_a_year.rafts", "deaths_averted.rafts", "overlap.rafts"} <= set(found)
    assert not any(name.endswith(".suits") for name in found)  # bought by neither policy
    assert found["deaths_averted.rafts"].lives_low < found["deaths_averted.rafts"].lives_high
    assert found["overlap.rafts"].lives_low > found["overlap.rafts"].lives_high


def test_fading_swings_with_the_observed_difference_held():
    # one difference recorded in people trained four years ago; the faster it fades, the greater it was at first
    worlds = repeated(201, fading=np.linspace(0.1, 0.9, 201), recorded_months=np.array([48.0]))
    worlds = assumed_gain(worlds, 0.005)
    found = by_name(worlds, keeps(2, 0.5), keeps(2, 0))["fading"]
    for rate, lives in ((0.18, found.lives_low), (0.82, found.lives_high)):
        held = mean_discount(rate * 2) * np.exp(rate * 4)
        assert lives == pytest.approx(0.35 * 6.88 * 0.5 * 0.005 * held, rel=1e-6)
    assert found.lives_high > found.lives_low  # with the first gain held it would fall
    same_gain = [
        outcome(replace(worlds, fading=np.full(201, rate)), keeps(2, 0.5), today=keeps(2, 0)).lives.mean()
        for rate in (0.18, 0.82)
    ]
    assert same_gain[1] < same_gain[0]


def test_inputs_that_do_not_vary_are_left_out_and_the_widest_comes_first():
    worlds = some_worlds(6)
    worlds = replace(worlds, first_cost=np.full(worlds.draws, 1000.0))
    found = swings(worlds, POLICY, today=TODAY)
    names = [one.input for one in found]
    assert "first_cost" not in names
    widths = [abs(one.lives_high - one.lives_low) for one in found]
    assert widths == sorted(widths, reverse=True)
    assert swings(repeated(3), keeps(2, 0.5), today=keeps(2, 0)) == ()


def test_other_percentiles_and_what_is_none():
    wide = by_name(some_worlds(7), low=0.0, high=1.0)["mishaps_a_year"]
    rates = some_worlds(7).mishaps_a_year
    assert (wide.low_at, wide.high_at) == pytest.approx((rates.min(), rates.max()))
    with pytest.raises(CallError) as caught:
        swings(some_worlds(7), POLICY, today=TODAY, low=0.9, high=0.1)
    assert caught.value.reason == "swing_shares"
