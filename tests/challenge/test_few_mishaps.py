"""Is the road for few mishaps exact, and does it stay quiet where mishaps differ?"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binomtest

from survstats.challenge.few_mishaps import sign_test, within_route
from survstats.challenge.gates import beyond_chance_gate
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import stream
from survstats.models.within_mishap import exact_within


def study(cells):
    """Arrays from (trained lived, trained aboard, untrained lived, untrained aboard), one tuple a mishap."""
    rows = []
    for mishap, (lived, trained, others_lived, others) in enumerate(cells):
        rows += [(at < lived, 1, mishap) for at in range(trained)]
        rows += [(at < others_lived, 0, mishap) for at in range(others)]
    return np.array(rows, dtype=float).T


#: 6 mishaps of 10 trained and 10 untrained; 58 of 60 against 12 of 60 alive (condition (d) of the method).
HUGE = [(10, 10, 2, 10)] * 4 + [(9, 10, 2, 10)] * 2


def test_a_huge_difference_in_six_mishaps_is_more_than_chance():
    route = within_route(*study(HUGE))
    assert (route.informative, route.better, route.worse, route.sign) == (6, 6, 0, 1)
    assert route.sign_p == pytest.approx(0.03125)
    assert beyond_chance_gate(None, None, None, route=route).state == "met"


def test_harm_is_the_mirror_image():
    alive, trained, mishap = study(HUGE)
    one, other = within_route(alive, trained, mishap), within_route(alive, 1 - trained, mishap)
    assert (other.better, other.worse, other.sign) == (0, 6, -1)
    assert (other.p, other.p_without_one) == pytest.approx((one.p, one.p_without_one))
    assert beyond_chance_gate(None, None, None, route=other).state == "met"


def test_five_mishaps_are_never_more_than_close():
    route = within_route(*study(HUGE[:5]))
    assert route.p < 1e-6
    assert route.sign_p == pytest.approx(0.0625)
    assert beyond_chance_gate(None, None, None, route=route).state == "partly_met"


def test_one_mishap_of_seven_that_points_the_other_way_takes_it_away():
    route = within_route(*study([*HUGE, (2, 10, 8, 10)]))
    assert route.p < 1e-6
    assert beyond_chance_gate(None, None, None, route=route).state == "not_met"


@pytest.mark.parametrize("seed", range(3))
def test_p_is_twice_the_smaller_tail_of_the_exact_comparison(seed):
    rng = np.random.default_rng(seed)
    alive, trained = (rng.random((2, 84)) < [[0.6], [0.4]]).astype(float)
    mishap = np.repeat(list("gfedcba"), 12)
    found = within_route(alive, trained, mishap)

    def two_sided(rest):
        exact = exact_within(alive[rest], trained[rest], mishap[rest])
        return min(1.0, 2 * min(exact.p_better, exact.p_worse))

    assert found.p == pytest.approx(two_sided(mishap != "none"), rel=1e-9)
    without = [two_sided(mishap != label) for label in "abcdefg"]
    assert found.p_without_one == pytest.approx(max(without), rel=1e-9)


@pytest.mark.parametrize(("better", "worse"), [(0, 0), (6, 0), (0, 7), (5, 1), (3, 3), (2, 5), (4, 3)])
def test_sign_test_is_that_of_the_binomial_law(better, worse):
    expected = binomtest(better, better + worse).pvalue if better + worse else 1.0
    assert sign_test(better, worse) == pytest.approx(expected)


def test_fewer_than_four_informative_mishaps_are_not_looked_at():
    with pytest.raises(NotEstimable) as fault:
        within_route(*study([*HUGE[:3], (10, 10, 10, 10)]))
    assert fault.value.reason == "few_mishaps"


@pytest.mark.slow
@pytest.mark.parametrize("spread", [0.5, 1.0, 2.0])
@pytest.mark.parametrize(("aboard", "share"), [(8, 0.5), (20, 0.5), (20, 0.15)])
@pytest.mark.parametrize("mishaps", [6, 7])
def test_false_alarms_are_three_in_a_hundred_or_fewer_where_mishaps_differ(mishaps, aboard, share, spread):
    """No effect on average, but in each mishap one of its own (log odds, normal with that spread), and its own risk."""
    rng = stream(41, f"few mishaps {mishaps} {aboard} {share} {spread}")
    runs, alarms = 400, 0
    for _ in range(runs):
        trained = (rng.random((mishaps, aboard)) < share).astype(float)
        risk = rng.normal(size=(mishaps, 1)) + spread * rng.normal(size=(mishaps, 1)) * trained
        alive = (rng.random((mishaps, aboard)) < 1 / (1 + np.exp(-risk))).astype(float)
        mishap = np.repeat(np.arange(mishaps), aboard)
        try:
            route = within_route(alive.ravel(), trained.ravel(), mishap)
        except NotEstimable:
            continue
        alarms += beyond_chance_gate(None, None, None, route=route).state == "met"
    assert alarms / runs <= 0.03
