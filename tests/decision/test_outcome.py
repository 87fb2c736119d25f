"""Does a policy come to what follows from who is covered, what they hold, what they die of and what it costs?"""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from some_worlds import keeps, plain_world, some_worlds

from survstats.decision.deaths import share_cut
from survstats.decision.outcome import BLOCK, against_none, outcome, outcomes_by_interval
from survstats.decision.room import difference_held, faded, gain_of_first_day
from survstats.decision.world import NEVER_TRAINED, TRAINED, Outcome, Spend, Worlds
from survstats.groundwork.errors import CallError

SHARES = st.one_of(st.just(0.0), st.just(1.0), st.floats(0, 1))
POLICIES = st.builds(
    lambda interval, covered, spends: keeps(interval, *covered, spends=tuple(spends)),
    st.one_of(st.just(np.inf), st.floats(0.25, 12)),
    st.lists(SHARES, min_size=3, max_size=3),
    st.sampled_from([(), ("rafts",), ("rafts", "suits")]),
)
WORLDS = st.builds(
    lambda seed, harm: some_worlds(seed, draws=40, harm=harm), st.integers(0, 50), st.booleans()
)
NOBODY = keeps(np.inf, 0)
FEW = settings(max_examples=15, deadline=None)


def equal(one: Outcome, other: Outcome) -> None:
    """The same but for rounding: differences are as exact as what they are differences of."""
    sizes = {
        "lives": np.abs(one.deaths).max() + np.abs(one.lives).max(),
        "extra_cost": np.abs(one.cost).max() + 1e6,
    }
    for field in fields(Outcome):
        ours, theirs = getattr(one, field.name), getattr(other, field.name)
        size = sizes.get(field.name, np.abs(ours).max())
        assert ours == pytest.approx(theirs, rel=1e-9, abs=1e-10 * size), field.name


# what is known by hand


def test_the_designs_lives_a_year():
    # the design's section 6: 3.5 / 200,000 h x 20,000 h x 8 x .86 x .5 more people trained x .17
    found = outcome(plain_world(), keeps(2, 0.5), today=NOBODY)
    assert found.lives == pytest.approx([0.204680], abs=5e-7)
    # the same where .17 is what is held on average between courses
    faded = plain_world(gain=[[[0.17 / 0.7213475204444817] * 2]], fading=[np.log(2) / 2])
    assert outcome(faded, keeps(2, 0.5), today=NOBODY).lives == pytest.approx([0.204680], abs=5e-7)


def test_courses_and_money_by_hand():
    world = plain_world(leaving=[[0.15]], injuries_per_course=[0.01], injury_cost=[3000])
    found = outcome(world, keeps(2, 0.5, spends=("rafts",)), today=keeps(np.inf, 0.2))
    first, again = 50 * 0.15, 50 * (0.5787443870265123 - 0.15)
    assert (found.first_courses[0], found.refreshers[0]) == pytest.approx((first, again))
    cost = 5000 + 700 + first * 1000 + again * 800 + (first + again) * 0.01 * 3000
    assert found.cost == pytest.approx([cost])
    assert found.extra_cost == pytest.approx([cost - (5000 + 20 * 0.15 * (1000 + 30))])


def test_nobody_covered_leaves_no_programme_to_pay_for():
    assert outcome(plain_world(), NOBODY, today=keeps(2, 1)).cost.tolist() == [0.0]
    nobody_there = plain_world(people=[0.0])
    assert outcome(nobody_there, keeps(2, 1), today=NOBODY).cost.tolist() == [0.0]


def test_new_people_have_the_gain_of_the_never_trained_and_old_ones_that_of_the_trained():
    world = plain_world(gain=[[[0.1, 0.3]]], survival_untrained=[[[0.5, 0.6]]], fading=[np.log(2) / 2])
    at_risk = 0.35 * 8 * 0.86
    often, seldom = 0.8451111863, 0.5410106403
    wider = outcome(world, keeps(1, 1.0), today=keeps(4, 0.4))
    assert wider.lives == pytest.approx([at_risk * (0.4 * 0.3 * (often - seldom) + 0.6 * 0.1 * often)])
    narrower = outcome(world, keeps(1, 0.1), today=keeps(4, 0.4))
    assert narrower.lives == pytest.approx([at_risk * (0.1 * 0.3 * (often - seldom) - 0.3 * 0.3 * seldom)])
    dead = 0.1 * (1 - 0.6 - 0.3 * often) + 0.3 * (1 - 0.6) + 0.6 * (1 - 0.5)
    assert narrower.deaths == pytest.approx([at_risk * dead])


def test_deaths_in_training_are_taken_off():
    world = plain_world(deaths_per_course=[0.01])
    found = outcome(world, keeps(2, 0.5), today=NOBODY)
    assert found.training_deaths == pytest.approx([50 / 2 * 0.01])
    assert found.lives == pytest.approx([0.20468 - 0.25])  # below 0, and shown so


def test_false_confidence_is_lost_by_whoever_holds_training_and_never_more_than_there_is():
    world = plain_world(false_confidence=[0.05])
    assert outcome(world, keeps(2, 0.5), today=NOBODY).lives == pytest.approx(
        [0.35 * 6.88 * 0.5 * (0.17 - 0.05)]
    )
    few = plain_world(false_confidence=[0.05], survival_untrained=[[[0.02, 0.04]]], gain=[[[0.1, -0.03]]])
    at_risk = 0.35 * 6.88
    assert against_none(few, keeps(2, 1)).deaths == pytest.approx([at_risk])  # .04 - .03 is less than .05
    assert outcome(few, keeps(2, 1), today=NOBODY).deaths == pytest.approx([at_risk * (1 - 0.07)])


def test_the_gain_is_cut_after_it_has_faded_and_not_before():
    # .4 die untrained; .8 on the first day fits after a half-life of two years: .4 for two, then fading for two
    world = plain_world(gain=[[[0.8, 0.8]]], fading=[np.log(2) / 2])
    for years, held in ((2, 0.4), (4, (0.4 + 0.4 * 0.7213475204444817) / 2)):
        found = outcome(world, keeps(years, 1), today=NOBODY)
        assert found.lives == pytest.approx([0.35 * 6.88 * held])
    assert share_cut(world, [NOBODY, keeps(2, 1)], today=NOBODY) == 1.0
    assert share_cut(world, [keeps(2, 0)], today=NOBODY) == 0.0  # nobody holds any
    assert share_cut(plain_world(gain=[[[0.4, 0.4]]]), [keeps(2, 1)], today=NOBODY) == 0.0  # it fits at once


def test_a_rival_spend_averts_a_share_of_what_is_left():
    at_risk = 0.35 * 6.88
    both = outcome(plain_world(), keeps(2, 1.0, spends=("rafts",)), today=NOBODY)
    assert both.deaths == pytest.approx([at_risk * (1 - 0.77) * (1 - 0.2 * 0.75)])
    alone = outcome(plain_world(), keeps(2, 0.0, spends=("rafts",)), today=NOBODY)
    assert alone.lives == pytest.approx([at_risk * 0.4 * 0.2])  # nobody holds training, so nothing overlaps
    swapped = outcome(plain_world(), keeps(2, 0.0, spends=("rafts",)), today=keeps(2, 1.0))
    assert swapped.lives == pytest.approx([at_risk * (0.4 * 0.2 - 0.17)])


def test_an_overlap_is_no_greater_than_what_training_averts():
    # training averts e of the deaths, the rival .5; both count .9 of the rival's as averted by training already
    rival = {"rafts": Spend(np.zeros(1), np.array([0.5]), np.array([0.9]))}
    for gain, left in ((0.0, 0.5), (-0.1, 0.5 * 0.5 / 0.4), (0.04, 0.5), (0.3, 0.25 * (1 - 0.05))):
        world = replace(plain_world(gain=[[[gain, gain]]]), spends=rival)
        found = outcome(world, keeps(2, 1, spends=("rafts",)), today=NOBODY)
        assert found.deaths == pytest.approx([0.35 * 6.88 * 0.4 * left])
    # so that dropping a training that does nothing gains nobody by itself
    useless = replace(plain_world(gain=[[[0.0, 0.0]]]), spends=rival)
    dropped = outcome(useless, keeps(2, 0, spends=("rafts",)), today=keeps(2, 1, spends=("rafts",)))
    assert dropped.lives == pytest.approx([0.0])


def test_against_none_is_what_would_be_missed_if_training_stopped():
    worlds = some_worlds(3)
    policy = keeps(2, 0.9, 0.5, 0.0, spends=("suits",))
    found, stopped = (
        against_none(worlds, policy),
        outcome(worlds, keeps(9, 0, 0, 0, spends=("suits",)), today=policy),
    )
    assert found.lives == pytest.approx(-stopped.lives)
    assert found.extra_cost == pytest.approx(-stopped.extra_cost)
    assert found.cost == pytest.approx(outcome(worlds, policy, today=policy).cost)
    plain = against_none(plain_world(gain=[[[0.1, 0.3]]]), keeps(2, 0.5))
    assert plain.lives == pytest.approx([0.35 * 6.88 * 0.5 * 0.3])  # of the trained


# what must always hold


@FEW
@given(WORLDS, POLICIES)
def test_today_against_itself_is_nothing_at_all(worlds, policy):
    found = outcome(worlds, policy, today=replace(policy, name="another name"))
    assert not found.lives.any()
    assert not found.extra_cost.any()


@FEW
@given(WORLDS, POLICIES, POLICIES)
def test_deaths_stay_within_people_and_lives_within_the_deaths_of_the_year(worlds, policy, today):
    found, base = outcome(worlds, policy, today=today), outcome(worlds, today, today=today)
    people = worlds.mishaps_a_year * worlds.at_risk.sum(axis=1)
    for one in (found, base):
        assert np.all(one.deaths >= -1e-12)
        assert np.all(one.deaths <= people + 1e-12)
    assert np.all(found.lives <= base.deaths + base.training_deaths + 1e-12)
    ledger = (base.deaths + base.training_deaths) - (found.deaths + found.training_deaths)
    assert found.lives == pytest.approx(ledger, abs=1e-12)


@FEW
@given(st.integers(0, 50), st.booleans(), st.floats(0.25, 12), st.floats(0.05, 3))
def test_who_has_been_trained_as_long_ago_as_the_people_of_the_records_has_the_difference_they_showed(
    seed, harm, interval, half_life
):
    # the people of the records stand where a staff without leavers has its people: evenly over the interval
    rng = np.random.default_rng(seed)
    worlds = some_worlds(seed, draws=40, harm=harm)
    observed = rng.uniform(-worlds.survival_untrained, 1 - worlds.survival_untrained)
    fading = np.full(40, np.log(2) / half_life)
    months = 12 * interval * (np.arange(4000) + 0.5) / 4000
    gain = gain_of_first_day(observed, worlds.survival_untrained, faded(fading, months))
    worlds = replace(
        worlds,
        fading=fading,
        leaving=np.zeros((40, 3)),
        recorded_months=months,
        gain=gain,  # many times more than there is room for, where little is held
        false_confidence=np.zeros(40),
        deaths_per_course=np.zeros(40),
    )
    everybody, nobody = keeps(interval, 1, 1, 1), keeps(np.inf, 0, 0, 0)
    at_risk = worlds.mishaps_a_year[:, None] * worlds.at_risk
    for found, kind in (
        (outcome(worlds, everybody, today=nobody), NEVER_TRAINED),
        (against_none(worlds, everybody), TRAINED),
    ):
        expected = (at_risk * observed[..., kind]).sum(axis=1)
        assert found.lives == pytest.approx(expected, abs=2e-3 * float(at_risk.sum(axis=1).max()))


@FEW
@given(WORLDS, POLICIES, POLICIES)
def test_there_and_back_is_nothing_where_both_kinds_of_people_are_alike(worlds, one, other):
    first_kind = [NEVER_TRAINED, NEVER_TRAINED]
    alike = replace(
        worlds,
        gain=worlds.gain[..., first_kind],
        survival_untrained=worlds.survival_untrained[..., first_kind],
    )
    there, back = outcome(alike, one, today=other), outcome(alike, other, today=one)
    assert there.lives == pytest.approx(-back.lives, abs=1e-12)
    assert there.extra_cost == pytest.approx(-back.extra_cost)


@FEW
@given(WORLDS, POLICIES, st.integers(0, 2))
def test_training_and_a_rival_together_avert_no_less_than_either_and_no_more_than_both(worlds, policy, group):
    worlds = replace(worlds, gain=np.abs(worlds.gain), false_confidence=np.zeros(worlds.draws))
    nobody = replace(policy, covered=np.zeros(3), spends=())
    rafts = worlds.spends["rafts"]
    none = outcome(worlds, nobody, today=nobody).deaths

    def averted(one):
        return 1 - outcome(worlds, one, today=nobody).deaths / none

    trained = averted(replace(policy, spends=()))
    joint = averted(replace(policy, spends=("rafts",)))
    assert np.all(joint >= np.maximum(trained, rafts.deaths_averted) - 1e-12)
    assert np.all(joint <= np.minimum(1, trained + rafts.deaths_averted) + 1e-12)


@FEW
@given(WORLDS, POLICIES, POLICIES, st.permutations([0, 1, 2]))
def test_the_order_of_groups_is_nothing(worlds, policy, today, order):
    equal(
        outcome(worlds, policy, today=today),
        outcome(regrouped(worlds, order), chosen(policy, order), today=chosen(today, order)),
    )


@FEW
@given(WORLDS, POLICIES, POLICIES)
def test_a_group_split_in_two_halves_is_the_same_group(worlds, policy, today):
    order = [0, 0, 1, 2]
    split = regrouped(worlds, order)
    half = np.array([0.5, 0.5, 1, 1])
    split = replace(split, people=split.people * half, at_risk=split.at_risk * half)
    equal(
        outcome(worlds, policy, today=today),
        outcome(split, chosen(policy, order), today=chosen(today, order)),
    )


@FEW
@given(WORLDS, POLICIES)
def test_twice_the_mishaps_are_twice_the_lives_and_no_more_money(worlds, policy):
    today = keeps(2, 0.5, 0.5, 0.5)
    safe = replace(worlds, deaths_per_course=np.zeros(worlds.draws))
    once = outcome(safe, policy, today=today)
    twice = outcome(replace(safe, mishaps_a_year=2 * safe.mishaps_a_year), policy, today=today)
    assert twice.lives == pytest.approx(2 * once.lives, abs=1e-12)
    assert twice.cost.tolist() == once.cost.tolist()


def test_more_often_is_never_fewer_lives_where_training_gains_and_harms_nobody():
    worlds = some_worlds(4)
    worlds = replace(worlds, gain=np.abs(worlds.gain) * 0.1, deaths_per_course=np.zeros(worlds.draws))
    found = outcomes_by_interval(
        worlds, [keeps(1, 1, 0.5, 0.2)], [0.5, 1, 2, 4, np.inf], today=keeps(2, 1, 1, 1)
    )
    assert np.all(np.diff(found.lives[0], axis=1) < 0)
    assert np.all(np.diff(found.cost[0], axis=1) < 0)


# many intervals at a time


@FEW
@given(WORLDS, st.lists(POLICIES, min_size=1, max_size=3), POLICIES)
def test_many_intervals_at_a_time_are_each_interval_alone(worlds, policies, today):
    intervals = [0.5, 2.0, 7.0, np.inf]
    found = outcomes_by_interval(worlds, policies, intervals, today=today)
    assert found.lives.shape == (len(policies), worlds.draws, 4)
    for own, policy in enumerate(policies):
        for place, interval in enumerate(intervals):
            alone = outcome(worlds, replace(policy, interval=interval), today=today)
            assert found.lives[own, :, place] == pytest.approx(alone.lives, abs=1e-10)
            assert found.cost[own, :, place] == pytest.approx(alone.cost, rel=1e-10)
            assert found.extra_cost[own, :, place] == pytest.approx(alone.extra_cost, rel=1e-9, abs=1e-6)


def test_worlds_beyond_the_first_block_are_reached():
    worlds = some_worlds(5, draws=2 * BLOCK + 1)
    policy, today = keeps(1, 1, 0.5, 0.2), keeps(2, 1, 1, 1)
    found = outcomes_by_interval(worlds, [policy], [1.0], today=today)
    assert found.lives[0, :, 0] == pytest.approx(outcome(worlds, policy, today=today).lives, abs=1e-10)


# what is refused


@pytest.mark.parametrize(
    ("policy", "reason"),
    [
        (keeps(2, 0.5, 0.5), "covered_shape"),
        (keeps(2, 1.01), "covered_range"),
        (keeps(2, np.nan), "covered_range"),
        (keeps(2, 0.5, spends=("boats",)), "unknown_spend"),
        (keeps(0, 0.5), "interval_not_positive"),
    ],
)
def test_a_policy_that_does_not_fit_the_worlds_is_refused(policy, reason):
    for call in (
        lambda: outcome(plain_world(), policy, today=NOBODY),
        lambda: outcome(plain_world(), NOBODY, today=policy),
    ):
        with pytest.raises(CallError) as caught:
            call()
        assert caught.value.reason == reason


def test_no_interval_is_refused():
    with pytest.raises(CallError) as caught:
        outcomes_by_interval(plain_world(), [NOBODY], [], today=NOBODY)
    assert caught.value.reason == "interval_shape"


def regrouped(worlds: Worlds, order: list[int]) -> Worlds:
    return replace(
        worlds,
        groups=tuple(worlds.groups[k] for k in order),
        people=worlds.people[order],
        at_risk=worlds.at_risk[:, order],
        survival_untrained=worlds.survival_untrained[:, order],
        gain=worlds.gain[:, order],
        leaving=worlds.leaving[:, order],
    )


def chosen(policy, order):
    return replace(policy, covered=policy.covered[order])


def test_the_gain_of_the_trained_is_the_second():
    assert (NEVER_TRAINED, TRAINED) == (0, 1)
    worlds = some_worlds(6)
    policy = keeps(3, 1, 1, 1)
    untrained = worlds.survival_untrained[..., TRAINED]
    gain, fading, leaving = worlds.gain[..., TRAINED], worlds.fading[:, None], worlds.leaving
    held = difference_held(gain, untrained, interval=3, fading=fading, leaving=leaving)
    survival = untrained + held
    survival = np.maximum(survival - worlds.false_confidence[:, None], 0)
    courses = outcome(worlds, policy, today=policy).training_deaths
    lives = (worlds.mishaps_a_year[:, None] * worlds.at_risk * (survival - untrained)).sum(axis=1)
    assert against_none(worlds, policy).lives == pytest.approx(lives - courses, abs=1e-12)
