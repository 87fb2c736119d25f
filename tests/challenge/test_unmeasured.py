"""Are the E-values those of the literature, and is the strength of an unmeasured fitness what its definition says?"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from survstats.challenge.unmeasured import (
    STRONGEST,
    WEAK,
    e_value,
    e_value_of_limit,
    fitness_bias,
    fitness_strength,
)
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import stream

# ---- E-values -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ratio", "null", "published"),
    [
        # VanderWeele and Ding 2017, Annals of Internal Medicine 167:268-274 (doi:10.7326/M16-2607), example of
        # Victora et al. 1987: RR 3.9 (1.8 to 8.7); read as quoted by a blog on that paper
        (3.9, 1.0, 7.2630),
        # its limit 1.8 (read in the same place); the value follows exactly: 1.8 + sqrt(1.8 x .8)
        (1.8, 1.0, 3.0),
        # read in the vignette on unmeasured confounding of the CRAN package EValue: RR 10.73 (8.02 to 14.36)
        (10.73, 1.0, 20.94777),
        (8.02, 1.0, 15.52336),
        # the same vignette's question, from 2.5 to a true 1.5; the value computed from the formula
        (2.5, 1.5, 2.720759),
        # 4.2330 for 2.4: printed by other software as well; .80 turned over
        (2.4, 1.0, 4.2330),
        (0.80, 1.0, 1.8090),
    ],
)
def test_published_values(ratio, null, published):
    assert e_value(ratio, null=null) == pytest.approx(published, rel=2e-5)


def test_golden_to_six_decimals():
    assert e_value(3.9) == pytest.approx(7.263034, abs=5e-7)


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [
        (1.8, 8.7, 3.0),
        (8.02, 14.36, 15.52336),
        (0.9, 1.4, 1.0),
        (1.0, 2.0, 1.0),
        (0.4, 0.8, 1.809017),
        (0.0, math.inf, 1.0),
        # a group in which nobody died: the death ratio may be 0, its other limit still decides
        (0.0, 0.8, 1.809017),
        (1.8, math.inf, 3.0),
    ],
)
def test_the_limit_nearer_to_one_counts_and_one_covered_explains_nothing(low, high, expected):
    assert e_value_of_limit(low, high) == pytest.approx(expected, rel=2e-5)


@given(st.floats(1.0001, 1e4))
def test_a_ratio_and_its_inverse_need_the_same_and_more_needs_more(ratio):
    assert e_value(1 / ratio) == pytest.approx(e_value(ratio), rel=1e-9)
    assert e_value(ratio) >= ratio
    # the factor so strong on both sides just gives the ratio: E^2 / (2 E - 1)
    assert e_value(ratio) ** 2 / (2 * e_value(ratio) - 1) == pytest.approx(ratio, rel=1e-9)


def test_nothing_explains_away_a_ratio_of_zero_or_infinity():
    assert e_value(0.0) == e_value(math.inf) == math.inf


# ---- fitness --------------------------------------------------------------------------------------------------------


def bias_by_simulation(strength, share_trained, share_alive, people=4_000_000):
    """People drawn one by one: fitness, then training and fate, each trained and alive as often as wanted."""
    rng = stream(5, "fitness by simulation")
    fitness = rng.standard_normal(people)

    def drawn(slope, share):
        # the most likely are taken until the share is reached: a logistic threshold on a noisy rank
        noisy = slope * fitness + rng.logistic(size=people)
        return noisy > np.quantile(noisy, 1 - share)

    trained, alive = drawn(abs(strength), share_trained), drawn(strength, share_alive)
    return alive[trained].mean() - alive[~trained].mean()


def bias_by_fine_steps(strength, share_trained, share_alive):
    """The same by a hundred thousand steps of fitness, with intercepts found by halving."""
    fitness = np.linspace(-12, 12, 100_001)
    weights = stats.norm.pdf(fitness)
    weights /= weights.sum()

    def risk(slope, share):
        low, high = -400.0, 400.0
        for _ in range(80):
            middle = (low + high) / 2
            with np.errstate(over="ignore"):
                risks = 1 / (1 + np.exp(-(middle + slope * fitness)))
            low, high = (middle, high) if weights @ risks < share else (low, middle)
        return risks

    trained, alive = risk(abs(strength), share_trained), risk(strength, share_alive)
    return weights @ (trained * alive) / share_trained - weights @ ((1 - trained) * alive) / (
        1 - share_trained
    )


@pytest.mark.parametrize(
    ("strength", "printed"),
    # the design's own table for shares of one half each, computed twice by independent code
    [
        (0.2, 0.0098),
        (0.4, 0.0371),
        (0.6, 0.0769),
        (0.75, 0.1117),
        (0.8, 0.1239),
        (1.0, 0.1735),
        (1.5, 0.2931),
        (2.0, 0.3942),
    ],
)
def test_golden_differences_that_fitness_makes_out_of_nothing(strength, printed):
    made = fitness_bias(strength, share_trained=0.5, share_alive=0.5)
    assert made == pytest.approx(printed, abs=5.01e-5)
    assert fitness_strength(made, share_trained=0.5, share_alive=0.5) == pytest.approx(strength, rel=1e-6)
    assert fitness_strength(printed, share_trained=0.5, share_alive=0.5) == pytest.approx(strength, abs=1e-3)


def test_golden_where_most_survive():
    # the design's own value, computed twice by independent code
    assert fitness_bias(0.8, share_trained=0.5, share_alive=0.93) == pytest.approx(0.0344, abs=5.01e-5)


@pytest.mark.parametrize("strength", [-3.0, -0.75, 0.3, 0.75, 1.5, WEAK, 2.5, 6.0, STRONGEST])
@pytest.mark.parametrize(("trained", "alive"), [(0.5, 0.5), (0.2, 0.9), (0.63, 0.4), (0.03, 0.985)])
def test_the_slow_road_by_fine_steps_gives_the_same(strength, trained, alive):
    found = fitness_bias(strength, share_trained=trained, share_alive=alive)
    assert found == pytest.approx(bias_by_fine_steps(strength, trained, alive), abs=1e-4)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("strength", "trained", "alive"), [(0.8, 0.5, 0.5), (-1.2, 0.3, 0.8), (3.0, 0.6, 0.7)]
)
def test_people_drawn_one_by_one_differ_as_much(strength, trained, alive):
    drawn = bias_by_simulation(strength, trained, alive)
    assert drawn == pytest.approx(
        fitness_bias(strength, share_trained=trained, share_alive=alive), abs=4 * 0.0006
    )


shares = st.floats(0.02, 0.98)


@given(trained=shares, alive=shares, strength=st.floats(0, 6), more=st.floats(0.01, 3))
@settings(max_examples=60, deadline=None)
def test_a_stronger_fitness_makes_more_and_never_more_than_the_shares_allow(trained, alive, strength, more):
    weak, strong = (
        fitness_bias(one, share_trained=trained, share_alive=alive) for one in (strength, strength + more)
    )
    most = (min(trained, alive) - trained * alive) / (trained * (1 - trained))  # all lived whom it could save
    assert -1e-12 <= weak < strong < most + 1e-12
    assert fitness_bias(0.0, share_trained=trained, share_alive=alive) == pytest.approx(0, abs=1e-12)


@given(trained=shares, alive=shares, strength=st.floats(0.05, 6))
@settings(max_examples=60, deadline=None)
def test_what_may_be_exchanged_and_what_may_not(trained, alive, strength):
    found = fitness_bias(strength, share_trained=trained, share_alive=alive)
    # both shares turned over: fitness read the other way
    turned = fitness_bias(strength, share_trained=1 - trained, share_alive=1 - alive)
    assert turned == pytest.approx(found, abs=1e-9)
    # training and survival exchanged: the same covariance, over the spread of the other
    swapped = fitness_bias(strength, share_trained=alive, share_alive=trained)
    assert swapped * alive * (1 - alive) == pytest.approx(found * trained * (1 - trained), abs=1e-9)
    # fitness that lowers survival is fitness that raises death
    harm = fitness_bias(-strength, share_trained=trained, share_alive=1 - alive)
    assert harm == pytest.approx(-found, abs=1e-9)


def test_shares_turned_over_one_by_one_are_another_world():
    # the reason why the strength looks at the sign of the difference
    up = fitness_bias(0.75, share_trained=0.3, share_alive=0.8)
    down = fitness_bias(-0.75, share_trained=0.3, share_alive=0.8)
    assert abs(down) - up > 0.005


@given(trained=shares, alive=shares, size=st.floats(-0.9, 0.9))
@settings(max_examples=60, deadline=None)
def test_the_strength_makes_just_the_difference_asked_for(trained, alive, size):
    found = fitness_strength(size, share_trained=trained, share_alive=alive)
    # calling the trained untrained turns the difference and its sign, never the strength
    recoded = fitness_strength(-size, share_trained=1 - trained, share_alive=alive)
    if math.isinf(found):
        strongest = fitness_bias(math.copysign(STRONGEST, size), share_trained=trained, share_alive=alive)
        assert abs(strongest) < abs(size)
        assert math.isinf(recoded)
        return
    assert recoded == pytest.approx(found, rel=1e-6, abs=1e-5)
    made = fitness_bias(math.copysign(found, size), share_trained=trained, share_alive=alive)
    # the two rules for the integral meet at a strength of 2 with a step of less than .0001
    assert made == pytest.approx(size, abs=1e-4 if abs(found - WEAK) < 1e-6 else 1e-8)


def test_the_rules_for_the_integral_meet_with_a_small_step_upward():
    below, above = (
        fitness_bias(strength, share_trained=0.5, share_alive=0.5) for strength in (WEAK, WEAK + 1e-9)
    )
    assert 0 < above - below < 1e-4


def test_no_difference_needs_no_fitness_and_a_whole_one_is_out_of_reach():
    assert fitness_strength(0.0, share_trained=0.4, share_alive=0.7) == 0.0
    assert fitness_strength(1.0, share_trained=0.5, share_alive=0.5) == math.inf
    assert fitness_strength(-1.0, share_trained=0.5, share_alive=0.5) == math.inf
    # nine of ten lived: the trained half can be at most two tenths better off, whatever makes them so
    assert fitness_strength(0.21, share_trained=0.5, share_alive=0.9) == math.inf
    assert fitness_strength(0.19, share_trained=0.5, share_alive=0.9) < math.inf


@pytest.mark.parametrize(
    ("trained", "alive", "reason"),
    [(0.0, 0.5, "one_arm"), (1.0, 0.5, "one_arm"), (0.5, 0.0, "one_outcome"), (0.5, 1.0, "one_outcome")],
)
def test_nothing_is_computed_where_nobody_can_be_compared(trained, alive, reason):
    for function, figure in ((fitness_bias, 0.8), (fitness_strength, 0.1), (fitness_strength, 0.0)):
        with pytest.raises(NotEstimable) as caught:
            function(figure, share_trained=trained, share_alive=alive)
        assert caught.value.reason == reason
