"""Are the effects of groups those of the main model, with its limits, and is fading taken out once and only once?"""

from __future__ import annotations

import json
import math

import numpy as np
import pandas as pd
import pytest
from fleet_records import by_role_and_seat, demo, everybody

from survstats.decision.draw_gain import draw_gain, mean_held
from survstats.decision.group_gain import GroupGain, group_gain
from survstats.decision.room import difference_recorded, faded, room_for, survival_holding
from survstats.decision.world import NEVER_TRAINED, TRAINED
from survstats.effects.intervals import jackknife_error, t_quantile
from survstats.effects.risk_model import prepare, refit
from survstats.effects.standardise import standardise
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import stream
from survstats.records.demo import demo_folder
from survstats.records.invented.worlds import simulate_mechanistic

DRAWS = 40_000
KINDS = {"untrained": NEVER_TRAINED, "trained": TRAINED}
FEW = ("role", "operator_code", "aircraft_class", "far_seat")  # of the study of separation
#: Fading so slow that nothing of it is left to take out.
NO_FADING = np.full(DRAWS, 1e12)


def rng():
    return stream(7, "gain")


def monte_carlo_error(draws, share):
    """Error of a drawn quantile, from the spread of the quantiles of fifty parts."""
    parts = [np.quantile(part, share) for part in np.array_split(draws, 50)]
    return np.std(parts) / math.sqrt(50)


@pytest.fixture(scope="module")
def main():
    return demo("demo_main")


@pytest.fixture(scope="module")
def drawn(main):
    gain = group_gain(main.refits, everybody(main.analysed))
    return draw_gain(gain, NO_FADING, main.months_since, rng())


@pytest.mark.parametrize("target", KINDS)
def test_one_group_of_everybody_has_the_printed_effect_and_its_limits(main, drawn, target):
    printed = standardise(main.refits, target=target)
    gain = group_gain(main.refits, everybody(main.analysed))
    kind = KINDS[target]
    assert gain.difference[0, kind] == printed.difference.value
    assert gain.survival_untrained[0, kind] == printed.if_none.value
    for found, draws in (
        (printed.difference, drawn.observed[:, 0, kind]),
        (printed.if_none, drawn.survival_untrained[:, 0, kind]),
    ):
        for limit, share in ((found.low, 0.025), (found.high, 0.975)):
            assert np.quantile(draws, share) == pytest.approx(
                limit, abs=4 * monte_carlo_error(draws, share) + 1e-4
            )


def test_groups_have_the_limits_of_their_own_people(main):
    groups = by_role_and_seat(main.analysed)
    gain = group_gain(main.refits, groups)
    draws = draw_gain(gain, NO_FADING, main.months_since, rng()).observed
    assert not gain.borrowed.any()
    for at, rows in enumerate(groups.values()):
        for target, kind in KINDS.items():
            found = standardise(main.refits, target=target, rows=rows).difference
            assert gain.difference[at, kind] == found.value
            assert gain.people[at, kind] == found.occupants
            for limit, share in ((found.low, 0.025), (found.high, 0.975)):
                one = draws[:, at, kind]
                assert np.quantile(one, share) == pytest.approx(
                    limit, abs=4 * monte_carlo_error(one, share) + 1e-4
                )


def test_draws_of_two_groups_go_together_as_their_refits_do(main):
    gain = group_gain(main.refits, by_role_and_seat(main.analysed))
    draws = draw_gain(gain, NO_FADING, main.months_since, rng()).observed
    near, far = draws[:, 1, NEVER_TRAINED], draws[:, 2, NEVER_TRAINED]
    differences = gain.risks[..., 0] - gain.risks[..., 1]
    steps = differences[1:, 1:, NEVER_TRAINED] - differences[0, 1:, NEVER_TRAINED]
    products = steps.T @ steps
    expected = products[0, 1] / math.sqrt(products[0, 0] * products[1, 1])
    assert np.corrcoef(near, far)[0, 1] == pytest.approx(expected, abs=0.02)
    assert expected > 0.8  # one odds ratio for all: they could not be apart


def test_where_nobody_of_an_arm_died_the_limits_are_the_wider_ones_that_are_printed():
    records = demo("demo_separation", FEW)
    gain = group_gain(records.refits, everybody(records.analysed))
    draws = draw_gain(gain, NO_FADING, records.months_since, rng()).observed
    narrow = []
    for target, kind in KINDS.items():
        printed = standardise(records.refits, target=target)
        found = printed.difference
        one = draws[:, 0, kind]
        for limit, share in ((found.low, 0.025), (found.high, 0.975)):
            assert np.quantile(one, share) == pytest.approx(
                limit, abs=4 * monte_carlo_error(one, share) + 1e-4
            )
        values = printed.leave_one_out[:, 0] - printed.leave_one_out[:, 1]
        reach = t_quantile(0.95, len(values) - 1) * jackknife_error(found.value, values)
        narrow.append(found.high - found.value > 1.01 * reach)
    assert any(narrow)


def test_half_life_held_and_gain_are_the_designs():
    # Design, section 6: half-life 24 months, recorded over 0 to 60 months evenly, refresher after 24.
    held = mean_held(np.arange(0.005, 60, 0.01), np.array([24.0]))
    closed = (1 - 2 ** (-60 / 24)) / (math.log(2) * 60 / 24)
    assert held == pytest.approx(closed, rel=1e-6)
    assert held == pytest.approx(0.47506, abs=5e-6)
    retained_24 = (1 - 0.5) / math.log(2)
    assert retained_24 == pytest.approx(0.721348, abs=5e-7)
    assert 0.0667 / held[0] * retained_24 == pytest.approx(0.101, abs=5e-4)


def test_the_simulated_world_agrees_with_fading_taken_out_once():
    # truth.json: simulated potential outcomes, by what is called trained. Fading of the difference is not exactly right
    # in that world, so a tenth of a point more than its Monte Carlo error is allowed.
    truth = json.loads((demo_folder("demo_main") / "truth.json").read_text())["exposure"]
    ages = np.arange(0.005, 60, 0.01)
    held, current = (mean_held(ages[ages < longest], np.array([24.0]))[0] for longest in (60, 24))
    foretold = truth["any_recency"]["risk_difference"] / held * current
    seen = truth["current_24_months"]
    assert foretold == pytest.approx(seen["risk_difference"], abs=0.001 + seen["monte_carlo_error"])


def test_nobody_with_known_months_is_said():
    with pytest.raises(NotEstimable) as caught:
        mean_held(np.array([np.nan]), np.array([24.0]))
    assert caught.value.reason == "no_rows"


def test_fading_is_taken_out_with_the_half_life_of_the_same_world(main):
    gain = group_gain(main.refits, everybody(main.analysed))
    half_life = stream(1, "half-life").uniform(12, 48, 2_000)
    found = draw_gain(gain, half_life, main.months_since, rng())
    by_person = np.array([np.mean(2.0 ** (-main.months_since / one)) for one in half_life])
    np.testing.assert_allclose(found.held, by_person, rtol=1e-12)
    still = faded(12 * np.log(2) / half_life, main.months_since)
    shown = difference_recorded(found.gain, found.survival_untrained, still)
    room = room_for(found.observed, found.survival_untrained)
    np.testing.assert_allclose(shown, np.clip(found.observed, -room, room), atol=1e-12)
    free = np.abs(found.gain) <= room
    plain = (found.observed / found.held[:, None, None])[free]
    np.testing.assert_allclose(found.gain[free], plain, rtol=1e-12)
    assert (found.survival_untrained + found.gain).max() > 1  # uncut: it is cut where it is held


def test_survival_without_training_and_with_any_of_the_gain_held_is_a_share_in_every_world(main):
    for name, covariates in (("demo_main", None), ("demo_separation", FEW)):
        records = main if covariates is None else demo(name, covariates)
        gain = group_gain(records.refits, by_role_and_seat(records.analysed))
        found = draw_gain(gain, np.full(5_000, 6.0), records.months_since, rng())
        held = (
            survival_holding(found.gain, found.survival_untrained, interval=years, fading=1.4)
            for years in (0.01, 1.0, 9.0)
        )
        for shares in (found.survival_untrained, *held):
            assert shares.min() >= 0
            assert shares.max() <= 1


def test_a_share_on_the_edge_is_drawn_plainly():
    risks = np.full((9, 1, 2, 2), 0.9)
    risks[..., 1] = 1.0
    risks[3, ..., 1] = 0.97
    ones = np.ones((1, 2, 2))
    gain = GroupGain(("all",), risks, np.full((1, 2), 20), np.zeros((1, 2), bool), ones, ones)
    found = draw_gain(gain, np.full(1_000, 24.0), np.array([3.0]), rng())
    assert found.survival_untrained.max() == 1.0
    assert found.survival_untrained.min() < 1.0


def test_the_order_of_groups_moves_no_draw(main):
    groups = by_role_and_seat(main.analysed)
    months, half_life = main.months_since, np.full(200, 24.0)
    one = draw_gain(group_gain(main.refits, groups), half_life, months, rng())
    turned = group_gain(main.refits, dict(reversed(groups.items())))
    other = draw_gain(turned, half_life, months, rng())
    np.testing.assert_allclose(one.gain, other.gain[:, ::-1], rtol=1e-10)
    np.testing.assert_allclose(one.survival_untrained, other.survival_untrained[:, ::-1], rtol=1e-10)


@pytest.mark.slow
def test_what_is_read_from_faded_records_foretells_trained_people_within_currency():
    """Recorded any time after their course, people of a simulated world; foretold, those at most 24 months after it.

    The truth is simulated with the world's own potential outcomes (truth.json). The world is a race with the breath, so
    that neither the logistic model nor the fading of the difference is exactly right in it.
    """
    world = simulate_mechanistic(6_000, stream(11, "fleet"))
    people, there = world.occupant, world.mishap.iloc[world.occupant["mishap"]].reset_index(drop=True)
    frame = pd.concat([people, there], axis=1)[~people["impact_death"]]
    frame = frame.assign(
        survived=frame["survived"].astype(float),
        trained=frame["trained"].astype(float),
        crew=frame["crew"].astype(float),
        far=frame["far"].astype(float),
        suit=frame["suit"].astype(float),
        capsized=frame["capsized"].astype(float),
    ).reset_index(drop=True)
    model = prepare(
        frame,
        outcome="survived",
        exposure="trained",
        covariates=["crew", "far", "suit", "capsized", "wave_m", "operator_code", "aircraft_class"],
        cluster="mishap",
    )
    gain = group_gain(refit(model), everybody(frame))
    months = frame.loc[frame["trained"] == 1, "months_since"].to_numpy()
    drawn = draw_gain(gain, np.full(20_000, 24.0), months, rng())
    retained_24 = 0.5 / math.log(2)
    truth = json.loads((demo_folder("demo_main") / "truth.json").read_text())["exposure"]
    for kind in (NEVER_TRAINED, TRAINED):
        foretold = drawn.gain[:, 0, kind].mean() * retained_24
        error = drawn.gain[:, 0, kind].std() * retained_24
        assert foretold == pytest.approx(truth["current_24_months"]["risk_difference"], abs=2.5 * error)
        assert error < 0.015
    # The same with the fading left in, and then put on again: it must fall short.
    counted_twice = draw_gain(gain, np.full(20_000, 1e12), months, rng()).gain[:, 0].mean() * retained_24
    assert counted_twice < truth["current_24_months"]["risk_difference"] - 0.03
