"""Is the agreement of two coders the published number, and told as not estimable where it is none?"""

import itertools
import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats

from survstats.describe.agreement import SURVIVABILITY, coded_twice, left_open, weighted_kappa
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
    # near the middle of the scale and with many pairs the limits are those of the plain error, moved a little
    assert (found.low, found.high) == pytest.approx(
        (0.2374 - 1.96 * 0.07832, 0.2374 + 1.96 * 0.07832), abs=0.02
    )
    assert (found.mishaps, found.method) == (91, "weighted_kappa")


def slow_error(shares, pairs):
    """Error of kappa by the delta method, cell by cell, numerically."""
    slopes = np.zeros_like(shares)
    for cell in np.ndindex(*shares.shape):
        step = np.zeros_like(shares)
        step[cell] = 1e-6
        slopes[cell] = (slow_kappa(shares + step) - slow_kappa(shares - step)) / 2e-6
    return math.sqrt(max((shares * slopes**2).sum() - (shares * slopes).sum() ** 2, 0) / pairs)


def slow_reach(kappa, counts):
    """How far from a true kappa the one found may be: t quantile times the error in the table expected there."""
    n, k = counts.sum(), len(counts)
    margins = [(counts[i].sum() + counts[:, i].sum()) / (2 * n) for i in range(k)]
    chance = sum(abs(i - j) * margins[i] * margins[j] for i in range(k) for j in range(k))
    shares = np.zeros((k, k))
    for i, j in itertools.permutations(range(k), 2):
        shares[i, j] = (counts[i, j] + counts[j, i]) / 2 + margins[i] * margins[j]
    shares *= (1 - kappa) * chance / sum(abs(i - j) * shares[i, j] for i in range(k) for j in range(k))
    for i in range(k):
        shares[i, i] = max(margins[i] - shares[i].sum(), 0)
    return stats.t.ppf(0.975, n - 1) * slow_error(shares / shares.sum(), n)


@settings(max_examples=40, deadline=None, derandomize=True, database=None)
@given(st.lists(st.integers(0, 12), min_size=9, max_size=9))
def test_any_table_the_slow_way(cells):
    counts = np.array(cells).reshape(3, 3)
    assume(counts.sum() >= 30)
    assume((counts.sum(axis=0) > 0).sum() > 1)
    assume((counts.sum(axis=1) > 0).sum() > 1)
    found = weighted_kappa(counts)
    assert found.value == pytest.approx(slow_kappa(counts), abs=1e-12)
    assert weighted_kappa(counts.T).value == pytest.approx(found.value, abs=1e-12)
    assert weighted_kappa(counts[::-1, ::-1]).value == pytest.approx(found.value, abs=1e-12)
    assert -1 <= found.low <= found.value <= found.high <= 1
    assert found.low < found.high
    if found.low > -1:
        assert found.value - found.low == pytest.approx(slow_reach(found.low, counts), abs=1e-4)
    if found.value < 1:
        assert found.high - found.value == pytest.approx(slow_reach(found.high, counts), abs=1e-4)


def test_full_agreement_is_the_end_of_a_way_and_no_jump():
    """Each pair that differs lowers the lower limit a little; at full agreement no other method sets in."""
    found = [weighted_kappa(np.array([[20, n, 0], [0, 20 - n, 0], [0, 0, 0]])) for n in range(5)]
    assert found[0].value == found[0].high == 1
    lows = [one.low for one in found]
    steps = -np.diff(lows)
    assert (steps > 0).all()
    assert steps.max() < 0.1
    assert weighted_kappa(np.diag([60, 60, 0])).low > found[0].low


#: Coverage of limits symmetric about kappa with its large-sample error was .88 to .90 here.
@pytest.mark.parametrize(("kappa", "pairs"), [(0.6, 30), (0.8, 30)])
def test_the_interval_holds_what_it_says(kappa, pairs):
    margins = np.array([0.6, 0.25, 0.15])
    shares = (1 - kappa) * np.outer(margins, margins) + kappa * np.diag(margins)
    draws = np.random.default_rng(20261125).multinomial(pairs, shares.ravel(), size=200).reshape(-1, 3, 3)
    held = [found.low <= kappa <= found.high for found in map(weighted_kappa, draws)]
    assert 0.925 <= np.mean(held) <= 0.98


@pytest.mark.parametrize(
    "counts",
    [
        [[0, 20], [20, 0]],  # never the same code
        [[29, 0], [0, 1]],
        [[28, 1], [1, 0]],
        [[100_000, 0], [0, 1]],
        [[0, 0, 15], [0, 0, 0], [15, 0, 0]],
    ],
)
def test_no_interval_is_a_point(counts):
    found = weighted_kappa(np.array(counts))
    assert -1 <= found.low <= found.value <= found.high <= 1
    assert found.high - found.low > 1e-3


@pytest.mark.parametrize(
    ("counts", "reason"),
    [
        (np.zeros((3, 3), int), "not_double_coded"),
        (np.diag([15, 14, 0]), "few_pairs"),
        (np.diag([0, 30, 0]), "one_code_only"),
        (np.array([[20, 10, 5], [0, 0, 0], [0, 0, 0]]), "one_code_only"),  # the first coder gave one code
        (np.array([[0, 20, 0], [0, 10, 0], [0, 5, 0]]), "one_code_only"),  # the second did
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


def test_a_pair_that_a_coder_left_open_is_counted():
    rows = [
        ("3", "unknown", "k1", "k2"),
        ("unknown", "unknown", "k1", "k2"),
        ("unknown", "2", "k1", "k1"),  # the same person twice
        ("unknown", "", "k1", ""),  # nobody else coded it
        ("unknown", "na", "k1", "k2"),
        ("3", "3", "k1", "k2"),
        ("unknown", "4", "unknown", "unknown"),  # who coded is not known, so not known to be one person
    ]
    columns = ["impact_severity", "impact_severity_second", "coder_id", "second_coder_id"]
    assert left_open(pd.DataFrame(rows, columns=columns), "impact_severity") == 3
