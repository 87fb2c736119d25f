"""The robust mixture: the design's values, its two ends, and trust that a conflict takes away."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from survstats.decision.mixture_prior import Normal, combine
from survstats.groundwork.errors import CallError

OTHERS = Normal(0.8, 0.4)


@pytest.mark.parametrize(
    ("estimate", "weight", "mean", "sd"),
    [(0.5, 0.92533, 0.65327, 0.31566), (-1.5, 0.01192, -1.41327, 0.45698)],
)
def test_the_designs_two_cases(estimate, weight, mean, sd):
    """The design, section 7: se .45, prior N(.8, .4), weight .8, vague N(0, 2 squared).

    Its first standard deviation is off by 9e-6: integration (below) gives .3156512.
    """
    found = combine(estimate, 0.45, others=OTHERS)
    assert (found.weight, found.mean) == pytest.approx((weight, mean), abs=5e-6)
    assert found.sd == pytest.approx(sd, abs=1e-5)


@pytest.mark.parametrize("estimate", [-3.0, -1.5, 0.0, 0.5, 2.0])
def test_it_is_what_integration_of_the_product_gives(estimate):
    """Own slow check: prior density times likelihood, integrated numerically."""
    se, weight = 0.45, 0.8

    def product(effect):
        prior = weight * norm.pdf(effect, 0.8, 0.4) + (1 - weight) * norm.pdf(effect, 0, 2)
        return prior * norm.pdf(estimate, effect, se)

    whole = quad(product, -8, 8, points=[estimate, 0.8], epsabs=1e-13)[0]
    mean = quad(lambda x: x * product(x), -8, 8, points=[estimate, 0.8], epsabs=1e-13)[0] / whole
    square = quad(lambda x: x * x * product(x), -8, 8, points=[estimate, 0.8], epsabs=1e-13)[0] / whole
    below = quad(product, -8, 0.3, points=[min(estimate, 0.29)], epsabs=1e-13)[0] / whole
    found = combine(estimate, se, others=OTHERS, weight=weight)
    assert found.mean == pytest.approx(mean, rel=1e-7, abs=1e-9)
    assert found.sd == pytest.approx(math.sqrt(square - mean**2), rel=1e-6)
    assert found.below(0.3) == pytest.approx(below, rel=1e-7)


def test_full_trust_is_the_plain_normal_rule_and_no_trust_the_vague_part_alone():
    precision = 1 / 0.45**2 + 1 / 0.4**2
    full = combine(0.5, 0.45, others=OTHERS, weight=1.0)
    assert full.mean == pytest.approx((0.5 / 0.45**2 + 0.8 / 0.4**2) / precision)
    assert full.sd == pytest.approx(precision**-0.5)
    none = combine(0.5, 0.45, others=OTHERS, weight=0.0)
    precision = 1 / 0.45**2 + 1 / 2**2
    assert (none.mean, none.sd) == pytest.approx((0.5 / 0.45**2 / precision, precision**-0.5))
    assert (full.weight, none.weight) == (1.0, 0.0)


def test_the_further_the_own_data_lie_from_the_others_the_less_these_are_trusted():
    weights = [combine(0.8 + away, 0.45, others=OTHERS).weight for away in np.linspace(0, 6, 25)]
    assert all(later < earlier for earlier, later in pairwise(weights))
    assert weights[0] > 0.9
    assert weights[-1] < 1e-6


def test_a_conflict_gives_the_own_data_back():
    found = combine(-6.0, 0.3, others=OTHERS)
    own = combine(-6.0, 0.3, others=OTHERS, weight=0.0)
    assert found.mean == pytest.approx(own.mean, abs=1e-6)


def test_limits_hold_their_probability_and_lie_around_the_median():
    found = combine(0.5, 0.45, others=OTHERS)
    low, high = found.limits()
    assert found.below(high) - found.below(low) == pytest.approx(0.95)
    assert low < found.quantile(0.5) < high
    draws = np.random.default_rng(1).normal(0, 1, 400_000)
    part = np.random.default_rng(2).random(400_000) < found.weight
    drawn = np.where(
        part, found.trusting.mean + found.trusting.sd * draws, found.vague.mean + found.vague.sd * draws
    )
    assert np.quantile(drawn, [0.025, 0.975]) == pytest.approx([low, high], abs=0.01)


def test_nothing_overflows_where_the_parts_are_worlds_apart():
    found = combine(50.0, 0.01, others=OTHERS)
    assert found.weight == 0.0
    assert math.isfinite(found.mean)


@pytest.mark.parametrize(
    ("more", "reason"), [({"weight": 1.2}, "bad_weight"), ({"vague": Normal(0, 0)}, "bad_spread")]
)
def test_what_makes_no_sense_is_refused(more, reason):
    with pytest.raises(CallError) as caught:
        combine(0.5, 0.45, others=OTHERS, **more)
    assert caught.value.reason == reason
