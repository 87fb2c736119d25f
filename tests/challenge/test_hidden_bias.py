"""Does the hidden bias mean what it says: the least factor at which the comparison inside mishaps can be chance?"""

from __future__ import annotations

import math
from itertools import combinations, product

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from survstats.challenge.hidden_bias import HiddenBias, hidden_bias
from survstats.groundwork.errors import CallError, NotEstimable

#: Trained who lived, trained who died, untrained who lived, untrained who died, a mishap a row.
CLEAR = [(3, 0, 1, 3), (2, 1, 0, 2), (4, 0, 2, 2), (2, 0, 1, 2), (3, 1, 1, 3)]


def rows_of(tables):
    """Outcome, exposure and mishap, a person a row."""
    people = [
        (outcome, exposure, mishap)
        for mishap, counts in enumerate(tables)
        for (exposure, outcome), count in zip(((1, 1), (1, 0), (0, 1), (0, 0)), counts, strict=True)
        for _ in range(count)
    ]
    return tuple(np.array(column) for column in zip(*people, strict=True))


def worst_p(tables, gamma):
    """Chance of as many trained survivors at the odds ratio gamma, by scipy's non-central law and a convolution."""
    chances = np.array([1.0])
    for a, b, c, d in tables:
        law = stats.nchypergeom_fisher(a + b + c + d, a + c, a + b, gamma)
        chances = np.convolve(chances, [law.pmf(k) for k in range(a + b + 1)])
    return chances[sum(table[0] for table in tables) :].sum()


def test_golden_on_the_invented_ninety(occupants_90):
    # the design's own value .64521839, computed twice by independent code; R's mantelhaen.test (exact, one-sided;
    # package stats 4.2.2, whose root search stops at the fifth digit) gives .645213, p .192053562, estimate 1.94070591
    found = hidden_bias(occupants_90["y"], occupants_90["trained"], occupants_90["mishap"])
    assert found.limit == pytest.approx(0.64521839, rel=1e-7)
    assert found.p == pytest.approx(0.192053562, rel=1e-8)
    assert found.odds_ratio == pytest.approx(1.94070591, rel=2e-5)
    assert (found.gamma, found.direction, found.informative) == (1.0, "benefit", 9)


def test_the_other_direction_on_the_invented_ninety(occupants_90):
    # R's mantelhaen.test (exact, "less", died instead of lived; stats 4.2.2): 1.54987569, .192053562, .515276423
    found = hidden_bias(1 - occupants_90["y"], occupants_90["trained"], occupants_90["mishap"])
    assert found.limit == pytest.approx(1.54987569, rel=2e-5)
    assert found.p == pytest.approx(0.192053562, rel=1e-8)
    assert found.odds_ratio == pytest.approx(0.515276423, rel=2e-5)
    assert (found.gamma, found.direction) == (1.0, "harm")


@pytest.mark.parametrize("level", [0.95, 0.9, 0.99])
def test_the_worst_p_reaches_its_bound_from_gamma_on_and_not_before(level):
    found = hidden_bias(*rows_of(CLEAR), level=level)
    assert found.gamma > 1
    assert worst_p(CLEAR, found.gamma) == pytest.approx(1 - level, rel=1e-8)
    assert worst_p(CLEAR, 0.999 * found.gamma) < 1 - level < worst_p(CLEAR, 1.001 * found.gamma)
    assert worst_p(CLEAR, 1.0) == pytest.approx(found.p, rel=1e-9)


def chance_of_as_many(tables, gamma, hidden):
    """Every way to spread the training inside each mishap, weighed by gamma to the power of the hidden trait."""
    chances, reached = np.array([1.0]), 0
    for (a, b, c, d), trait in zip(tables, hidden, strict=True):
        lived = [1] * (a + c) + [0] * (b + d)
        ways = np.zeros(a + b + 1)
        for trained in combinations(range(len(lived)), a + b):
            ways[sum(lived[i] for i in trained)] += gamma ** sum(trait[i] for i in trained)
        chances, reached = np.convolve(chances, ways / ways.sum()), reached + a
    return chances[reached:].sum()


def test_no_hidden_trait_does_worse_than_living_itself():
    # all patterns of a hidden trait in three small mishaps: the worst is the one that goes with who lived
    tables = [(2, 0, 1, 1), (1, 0, 0, 2), (1, 1, 0, 2)]
    gamma = 2.5
    sizes = [sum(counts) for counts in tables]
    every = [
        chance_of_as_many(tables, gamma, hidden)
        for hidden in product(*(tuple(product((0, 1), repeat=size)) for size in sizes))
    ]
    fate = [[1] * (a + c) + [0] * (b + d) for a, b, c, d in tables]
    assert max(every) == pytest.approx(chance_of_as_many(tables, gamma, fate), rel=1e-12)
    assert max(every) == pytest.approx(worst_p(tables, gamma), rel=1e-9)


mishaps = st.lists(st.tuples(*[st.integers(0, 4)] * 4), min_size=3, max_size=7)


@given(mishaps)
@settings(max_examples=12, deadline=None)
def test_who_died_for_who_lived_turns_the_direction_and_keeps_the_bias(tables):
    outcome, exposure, mishap = rows_of(tables) if any(map(any, tables)) else ([], [], [])
    try:
        found = hidden_bias(outcome, exposure, mishap)
    except NotEstimable:
        return
    assert found.gamma >= 1
    for turned in (
        hidden_bias(1 - outcome, exposure, mishap),
        hidden_bias(outcome, 1 - exposure, mishap),
    ):
        assert turned.gamma == pytest.approx(found.gamma, rel=1e-7)
        assert turned.limit == pytest.approx(1 / found.limit if found.limit else math.inf, rel=1e-7)
        if abs(math.log(found.odds_ratio) if found.odds_ratio else math.inf) > 1e-6:
            assert turned.direction != found.direction
            assert turned.p == pytest.approx(found.p, rel=1e-7)
    if found.direction == "benefit" and found.p < 0.05:
        assert worst_p(tables, found.gamma) == pytest.approx(0.05, rel=1e-6)


def test_distinguishable_from_chance_is_a_bias_above_one():
    clear = hidden_bias(*rows_of(CLEAR))
    assert clear.p < 0.05
    assert clear.gamma == clear.limit > 1
    # with two of the five mishaps gone and one turned it is no longer
    unclear = hidden_bias(*rows_of([CLEAR[0], (0, 2, 2, 1), CLEAR[3]]))
    assert unclear.p > 0.05
    assert unclear.gamma == 1 > unclear.limit


def test_the_trained_did_as_well_as_could_be():
    found = hidden_bias(*rows_of([(2, 0, 0, 2)] * 4))
    assert found.odds_ratio == math.inf
    # all eight trained lived: by hand (gamma^2 / (1 + 4 gamma + gamma^2))^4 = .05
    share = 0.05**0.25
    root = (4 * share + math.sqrt((4 * share) ** 2 + 4 * share * (1 - share))) / (2 * (1 - share))
    assert found.gamma == pytest.approx(root, rel=1e-8)
    assert found.p == pytest.approx(6**-4)


def test_no_difference_at_all_is_not_distinguishable():
    found = hidden_bias(*rows_of([(1, 1, 1, 1)] * 4))
    assert found.odds_ratio == pytest.approx(1)
    assert isinstance(found, HiddenBias)
    assert (found.gamma, found.direction) == (1.0, "benefit")


def test_fewer_than_three_telling_mishaps_are_not_estimated():
    with pytest.raises(NotEstimable) as caught:
        hidden_bias(*rows_of([*CLEAR[:2], (3, 0, 2, 0), (0, 0, 2, 2)]))
    assert caught.value.reason == "few_mishaps"


def test_a_level_of_one_half_leaves_no_limit():
    with pytest.raises(CallError):
        hidden_bias(*rows_of(CLEAR), level=0.5)


def test_order_and_labels_do_not_matter():
    frame = pd.DataFrame(dict(zip(("outcome", "exposure", "mishap"), rows_of(CLEAR), strict=True)))
    mixed = frame.sample(frac=1, random_state=4).assign(mishap=lambda rows: "m" + rows["mishap"].astype(str))
    assert hidden_bias(*(mixed[name] for name in frame)).gamma == pytest.approx(
        hidden_bias(*rows_of(CLEAR)).gamma
    )
