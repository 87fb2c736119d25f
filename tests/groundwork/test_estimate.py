"""Do estimates know their null value, and do scales come back to where they started?"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from survstats.groundwork.estimate import Estimate, from_scale, to_scale


def estimate(low, high, unit="difference"):
    return Estimate((low + high) / 2, low, high, 0.1, 0.95, 9.0, "identity", unit, "m", 10, 50)


@pytest.mark.parametrize(
    ("low", "high", "unit", "null", "excluded", "nearest"),
    [
        (0.1, 0.3, "difference", 0.0, True, 0.1),
        (-0.3, -0.1, "difference", 0.0, True, -0.1),
        (-0.1, 0.1, "difference", 0.0, False, 0.0),
        (0.0, 0.1, "difference", 0.0, False, 0.0),
        (1.2, 3.0, "ratio", 1.0, True, 1.2),
        (0.2, 0.5, "odds_ratio", 1.0, True, 0.5),
        (0.5, math.inf, "ratio", 1.0, False, 1.0),
    ],
)
def test_the_limit_nearer_the_null(low, high, unit, null, excluded, nearest):
    found = estimate(low, high, unit)
    assert found.excludes(null) is excluded
    assert found.nearest_to_null == nearest


@given(st.floats(1e-9, 1 - 1e-9), st.sampled_from(["identity", "log", "logit"]))
def test_scales_there_and_back(value, scale):
    assert from_scale(to_scale(value, scale), scale) == pytest.approx(value, rel=1e-6)


@pytest.mark.parametrize(
    ("value", "scale", "moved"),
    [(0.0, "log", -math.inf), (0.0, "logit", -math.inf), (1.0, "logit", math.inf), (-0.2, "identity", -0.2)],
)
def test_edges_are_infinite_on_their_scale_and_come_back(value, scale, moved):
    assert to_scale(value, scale) == moved
    assert from_scale(moved, scale) == pytest.approx(value)


def test_far_values_do_not_overflow():
    assert (from_scale(1e4, "log"), from_scale(-1e4, "logit"), from_scale(1e4, "logit")) == (
        math.inf,
        0.0,
        1.0,
    )
