"""Are counts corrected for wrong entries as the arithmetic demands, and refused where nothing can have led to them?"""

from __future__ import annotations

import numpy as np
import pytest

from survstats.challenge.miscoding_grid import miscoding_grid
from survstats.groundwork.errors import CallError


def at(points, dead, survivors, specificity):
    found = [
        one.difference
        for one in points
        if (one.sensitivity_dead, one.sensitivity_survivors, one.specificity)
        == (dead, survivors, specificity)
    ]
    assert len(found) == 1
    return found[0]


def test_the_whole_grid_is_walked_with_the_dead_slowest():
    points = miscoding_grid(60, 100, 16, 50)
    assert len(points) == 5 * 3 * 3
    assert (points[0].sensitivity_dead, points[0].sensitivity_survivors, points[0].specificity) == (
        0.6,
        0.8,
        0.9,
    )
    assert (points[1].specificity, points[3].sensitivity_survivors, points[9].sensitivity_dead) == (
        0.95,
        0.9,
        0.7,
    )


def test_by_hand():
    # worked on paper: 100 survivors of whom 60 are recorded trained, 50 dead of whom 16 are
    points = miscoding_grid(60, 100, 16, 50)
    assert at(points, 1, 1, 1) == pytest.approx(60 / 76 - 40 / 74)
    assert at(points, 0.8, 1, 1) == pytest.approx(60 / 80 - 40 / 70)  # 16 / .8 = 20 dead were trained
    assert at(points, 0.8, 0.8, 1) == pytest.approx(75 / 95 - 25 / 55)
    # specificity .9: survivors (60 - 10) / .7 = 500/7, dead (16 - 5) / .7 = 110/7
    assert at(points, 0.8, 0.8, 0.9) == pytest.approx(500 / 610 - (700 - 500) / (1050 - 610))


def test_counts_that_cannot_have_come_about_have_no_difference():
    assert at(miscoding_grid(60, 100, 3, 50), 0.8, 0.9, 0.9) is None  # 3 - 5 trained dead
    assert at(miscoding_grid(60, 100, 3, 50), 0.8, 0.9, 1) is not None
    assert at(miscoding_grid(60, 100, 40, 50), 0.6, 0.9, 1) is None  # 40 / .6 of 50
    assert at(miscoding_grid(60, 100, 40, 50), 0.8, 0.9, 1) is not None  # 40 / .8: all of them
    assert (
        at(miscoding_grid(80, 100, 40, 50), 0.8, 0.8, 1) is None
    )  # and so of the survivors: nobody is untrained


def test_entries_no_better_than_a_coin_tell_nothing():
    points = miscoding_grid(
        60, 100, 16, 50, sensitivities_dead=(0.5,), sensitivities_survivors=(0.9,), specificities=(0.5,)
    )
    assert [one.difference for one in points] == [None]


def test_the_truth_comes_back_from_what_these_rates_would_record():
    rng = np.random.default_rng(4)
    for _ in range(50):
        survivors, dead = rng.integers(20, 200, 2)
        trained_survived, trained_died = rng.integers(1, survivors), rng.integers(1, dead)
        of_dead, of_survivors, right = rng.uniform(0.6, 1, 3)
        recorded = [
            trained * rate + (people - trained) * (1 - right)
            for trained, people, rate in (
                (trained_survived, survivors, of_survivors),
                (trained_died, dead, of_dead),
            )
        ]
        found = miscoding_grid(
            recorded[0],
            survivors,
            recorded[1],
            dead,
            sensitivities_dead=(of_dead,),
            sensitivities_survivors=(of_survivors,),
            specificities=(right,),
        )[0].difference
        trained = trained_survived + trained_died
        truth = trained_survived / trained - (survivors - trained_survived) / (survivors + dead - trained)
        assert found == pytest.approx(truth, abs=1e-9)


@pytest.mark.parametrize(
    ("counts", "rates", "reason"),
    [
        ((60, 50, 1, 5), {}, "bad_counts"),
        ((6, 50, 9, 5), {}, "bad_counts"),
        ((-1, 50, 1, 5), {}, "bad_counts"),
        ((6, 50, 1, 5), {"specificities": (1.2,)}, "bad_rate"),
        ((6, 50, 1, 5), {"sensitivities_dead": (0.0,)}, "bad_rate"),
    ],
)
def test_what_is_no_count_and_no_rate_is_refused(counts, rates, reason):
    with pytest.raises(CallError) as fault:
        miscoding_grid(*counts, **rates)
    assert fault.value.reason == reason
