"""Is the agreement of two coders the published number, and told as not estimable where it is none?"""

import itertools

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from survstats.describe.agreement import SURVIVABILITY, coded_twice, weighted_kappa
from survstats.groundwork.errors import NotEstimable

# Agresti 1990, Categorical Data Analysis (Hout and others 1987): 91 couples, four ordered answers of both.
COUPLES = np.array([[7, 7, 2, 3], [2, 8, 3, 7], [1, 5, 4, 9], [2, 8, 9, 14]])


def slow_kappa(counts):
    """1 - seen / expected distance, pair by pair."""
    k, n = len(counts), counts.sum()
    seen = expected = 0.0
    for i, j in itertools.product(range(k), repeat=2):
        seen += counts[i, j] / n * abs(i - j)
        expected += counts[i].sum() / n * counts[:, j].sum() / n * abs(i - j)
    return 1 - seen / expected


def test_a_published_table():
    """Kappa with equal steps .2374, error .0783: as R's vcd gives them for this table (values from memory)."""
    found = weighted_kappa(COUPLES)
    assert found.value == pytest.approx(0.2374, abs=5e-5)
    assert found.se == pytest.approx(0.07832, abs=5e-6)
    assert (found.low, found.high) == pytest.approx(
        (0.2374 - 1.96 * 0.07832, 0.2374 + 1.96 * 0.07832), abs=1e-4
    )
    assert (found.mishaps, found.method) == (91, "weighted_kappa")


@settings(max_examples=100, deadline=None, derandomize=True, database=None)
@given(st.lists(st.integers(0, 9), min_size=9, max_size=9))
def test_any_table_the_slow_way(cells):
    counts = np.array(cells).reshape(3, 3)
    assume(counts.sum() >= 10)
    assume(((counts.sum(axis=0) > 0) | (counts.sum(axis=1) > 0)).sum() > 1)
    found = weighted_kappa(counts)
    assert found.value == pytest.approx(slow_kappa(counts), abs=1e-12)
    assert weighted_kappa(counts.T).value == pytest.approx(found.value, abs=1e-12)
    assert weighted_kappa(counts[::-1, ::-1]).value == pytest.approx(found.value, abs=1e-12)
    assert -1 <= found.low <= found.value <= found.high <= 1


def test_full_agreement_still_has_a_lower_limit():
    few, many = (weighted_kappa(np.diag([n, n, 0])) for n in (6, 60))
    assert few.value == few.high == many.value == 1
    assert few.low < many.low < 1
    # 12 pairs, none differing: the exact upper limit of the share that differ is 1 - .025^(1/12) = .26465 (by hand);
    # half the pairs would differ by one of two steps by chance: 1 - .26465 / .25
    assert few.low == pytest.approx(1 - 0.26465 / 0.25, abs=1e-4)


@pytest.mark.parametrize(
    ("counts", "reason"),
    [
        (np.zeros((3, 3), int), "not_double_coded"),
        (np.diag([5, 4, 0]), "few_pairs"),
        (np.diag([0, 30, 0]), "one_code_only"),
    ],
)
def test_what_cannot_be_told_says_why(counts, reason):
    with pytest.raises(NotEstimable) as caught:
        weighted_kappa(counts)
    assert caught.value.reason == reason


def test_only_mishaps_that_two_people_coded_are_paired():
    rows = [
        ("survivable", "survivable", "k1", "k2"),
        ("survivable", "none", "k1", "k2"),
        ("none", "partially_survivable", None, None),
        ("none", "none", "k1", "k1"),  # the same person twice
        ("unknown", "none", "k1", "k2"),
        ("none", None, "k1", "k2"),
    ]
    columns = ["impact_survivability", "impact_survivability_second", "coder_id", "second_coder_id"]
    frame = pd.DataFrame(rows, columns=columns)
    for name in columns[:2]:
        frame[name] = pd.Categorical(frame[name], categories=[*SURVIVABILITY, "unknown"])
    counts = coded_twice(frame, "impact_survivability", SURVIVABILITY)
    assert counts.tolist() == [[1, 0, 1], [0, 0, 0], [0, 1, 0]]
