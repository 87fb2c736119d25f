"""Are the people at risk in a mishap those of the records, with the spread that mishaps have?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from fleet_records import bare, by_role_and_seat, demo
from scipy import stats

from survstats.decision.aboard import AtRisk, draw_at_risk, independent_people, people_at_risk
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import stream

DRAWS = 20_000


def rng(name="aboard"):
    return stream(7, name)


def masks(frame):
    return {name: frame["group"].eq(name).to_numpy() for name in ("crew", "passengers")}


@pytest.fixture
def by_hand():
    return bare(
        [
            *[(1, "crew", "alive")] * 2,
            *[(1, "passengers", "alive")] * 3,
            (1, "passengers", "gone"),
            *[(2, "crew", "alive")] * 2,
            *[(2, "passengers", "gone")] * 2,
            (3, "crew", "alive"),
            (3, "passengers", "unknown"),
            (3, "passengers", "alive"),
        ]
    )


def test_people_and_shares_counted_by_hand(by_hand):
    found = people_at_risk(by_hand, masks(by_hand), mishaps=4)
    assert found.groups == ("crew", "passengers")
    assert found.people_aboard.tolist() == [5 / 4, 8 / 4]
    assert found.share.tolist() == [1.0, 4 / 7]
    assert found.unknown.tolist() == [0, 1]
    assert found.point == pytest.approx([5 / 4, 8 / 4 * 4 / 7])
    assert found.blind.tolist() == [True, False]


def test_an_impact_that_nobody_could_survive_leaves_nobody_at_risk(by_hand):
    frame = by_hand.assign(
        in_p1=by_hand["in_p1"] & by_hand["mishap_id"].ne(1),
        impact_survivability=np.where(by_hand["mishap_id"].eq(1), "none", "survivable"),
    )
    assert people_at_risk(frame, masks(frame), mishaps=3).share.tolist() == [3 / 5, 1 / 7]


def test_the_mean_of_the_draws_is_what_was_counted():
    records = demo("demo_main")
    found = people_at_risk(records.aboard, by_role_and_seat(records.aboard), mishaps=records.mishaps)
    draws = draw_at_risk(found, rng(), DRAWS)
    error = draws.std(axis=0) / np.sqrt(DRAWS)
    np.testing.assert_allclose(draws.mean(axis=0), found.point, atol=4 * error.max() + 0.01)


def test_people_aboard_vary_by_the_ordinary_error_of_a_mean():
    # Nobody died on impact: both groups vary by their share's luck, and the first by its numbers as well.
    sizes = stream(3, "sizes").integers(1, 15, 40)
    aboard = np.column_stack([sizes, np.full(40, 3)])
    found = AtRisk(("all", "other"), aboard, aboard, aboard)
    weights = draw_at_risk(found, rng(), DRAWS) / found.people_aboard
    spread = sizes.std(ddof=1) / np.sqrt(40) / sizes.mean()
    luck = stats.beta(40 * 1 + 0.5, 0.5).std()
    assert weights[:, 0].std() == pytest.approx(np.hypot(spread, luck), rel=0.015)
    assert weights[:, 1].std() == pytest.approx(luck, rel=0.03)


def shared_fates(seed, mishaps=80, people=6):
    """People whose chance to be alive at immersion is that of their mishap, beta(4, 1)."""
    chance = stream(seed, "fates").beta(4, 1, mishaps)
    alive = stream(seed, "alive").binomial(people, chance)[:, None]
    aboard = np.full((mishaps, 1), people)
    return AtRisk(("all",), aboard, aboard, alive)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_shares_agree_with_a_beta_of_as_many_people_as_are_independent(seed):
    # The other road: a beta worth known people / design effect, the design's own proposal.
    found = shared_fates(seed)
    share = draw_at_risk(found, rng(), DRAWS)[:, 0] / 6
    size = independent_people(found)[0]
    beta = stats.beta(found.share[0] * size, (1 - found.share[0]) * size)
    assert size < 0.8 * found.known.sum()
    assert share.mean() == pytest.approx(beta.mean(), abs=0.002)
    assert share.std() == pytest.approx(beta.std(), rel=0.04)
    assert np.quantile(share, [0.025, 0.975]) == pytest.approx(beta.ppf([0.025, 0.975]), abs=0.01)


def test_more_people_of_the_same_fate_make_nothing_surer():
    few = shared_fates(1)
    many = AtRisk(few.groups, few.aboard * 3, few.known * 3, few.alive * 3)
    assert independent_people(many) == pytest.approx(independent_people(few))
    once, thrice = (draw_at_risk(one, rng(), 5_000)[:, 0] for one in (few, many))
    np.testing.assert_allclose(thrice, 3 * once)


def test_a_group_that_always_lived_through_the_impact_is_not_sure_to():
    alive = shared_fates(1)
    aboard = np.column_stack([alive.aboard[:, 0], np.full(80, 2)])
    found = AtRisk(("mixed", "crew"), aboard, aboard, np.column_stack([alive.alive[:, 0], np.full(80, 2)]))
    assert found.blind.tolist() == [False, True]
    share = draw_at_risk(found, rng(), DRAWS)[:, 1] / 2
    size = independent_people(found)[1]
    assert 80 <= size <= 160
    assert share.mean() == pytest.approx(stats.beta(size + 0.5, 0.5).mean(), abs=0.0005)
    assert share.max() <= 1


def test_a_group_in_two_mishaps_gets_the_beta_too():
    aboard = np.array([[2, 4], [2, 4], [0, 4], [0, 4]])
    found = AtRisk(("few", "all"), aboard, aboard, np.array([[1, 3], [2, 4], [0, 2], [0, 3]]))
    assert found.blind.tolist() == [True, False]
    share = draw_at_risk(found, rng(), 2_000)
    assert np.isfinite(share).all()


def test_where_nobody_died_on_impact_a_mishap_counts_as_one():
    aboard = np.full((10, 1), 5)
    assert independent_people(AtRisk(("all",), aboard, aboard, aboard)).tolist() == [10]


def test_the_order_of_groups_moves_no_draw():
    records = demo("demo_main")
    groups = by_role_and_seat(records.aboard)
    turned = dict(reversed(groups.items()))
    one, other = (
        draw_at_risk(people_at_risk(records.aboard, each, mishaps=records.mishaps), rng(), 100)
        for each in (groups, turned)
    )
    np.testing.assert_allclose(one, other[:, ::-1], rtol=1e-12)


def test_groups_of_the_same_mishaps_move_together():
    # Bigger mishaps have more of everybody: joint draws keep that.
    sizes = stream(3, "sizes").integers(1, 15, 40)
    aboard = np.column_stack([sizes, 2 * sizes])
    alive = aboard - (np.arange(40) % 4 == 0)[:, None]
    draws = draw_at_risk(AtRisk(("a", "b"), aboard, aboard, alive), rng(), 5_000)
    assert np.corrcoef(draws.T)[0, 1] > 0.95


def test_a_mishap_with_nobody_recorded_counts_as_a_mishap(by_hand):
    three, six = (people_at_risk(by_hand, masks(by_hand), mishaps=count) for count in (3, 6))
    np.testing.assert_allclose(six.people_aboard, three.people_aboard / 2)
    np.testing.assert_allclose(six.share, three.share)


def test_too_little_is_said(by_hand):
    with pytest.raises(NotEstimable) as few:
        people_at_risk(by_hand, masks(by_hand), mishaps=2)
    assert few.value.reason == "few_mishaps"
    with pytest.raises(NotEstimable, match="winch") as nobody:
        people_at_risk(by_hand, {"winch": np.zeros(len(by_hand), bool)}, mishaps=3)
    assert nobody.value.reason == "group_not_in_records"
    unknown = pd.DataFrame(by_hand[by_hand["fate"] == "unknown"])
    with pytest.raises(NotEstimable):
        people_at_risk(unknown, {"passengers": np.ones(1, bool)}, mishaps=3)
