"""Are the E-values those of the literature?"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from survstats.challenge.unmeasured import e_value, e_value_of_limit


@pytest.mark.parametrize(
    ("ratio", "null", "published"),
    [
        # VanderWeele and Ding 2017 (doi:10.7326/M16-2607), example of Victora et al. 1987: RR 3.9 (1.8 to 8.7)
        (3.9, 1.0, 7.2630),
        # its limit 1.8: exactly 1.8 + sqrt(1.8 x .8)
        (1.8, 1.0, 3.0),
        # CRAN package EValue, vignette on unmeasured confounding: RR 10.73 (8.02 to 14.36)
        (10.73, 1.0, 20.94777),
        (8.02, 1.0, 15.52336),
        # the same vignette's question: from 2.5 to a true 1.5 (value computed from the formula)
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
