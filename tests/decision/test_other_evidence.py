"""Others' tables: put together as published sources and R do it, every mishap once, nothing from too few."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import brentq
from scipy.stats import t

from survstats.decision.other_evidence import Publication, pool, pool_used, sort_out
from survstats.decision.publication import Counts
from survstats.decision.stratified import mantel_haenszel
from survstats.groundwork.errors import NotEstimable

TESTS = Path(__file__).parents[1]
FIVE = ((41, 9, 30, 17), (73, 17, 51, 21), (64, 14, 25, 7), (18, 6, 22, 15), (28, 2, 31, 9))


@pytest.fixture(scope="module")
def by_r():
    """R's metafor (tests/reference/pooling.R), by data and model."""
    return pd.read_csv(TESTS / "reference" / "pooling.csv").set_index(["data", "model"])


@pytest.fixture(scope="module")
def bcg():
    """Thirteen trials of a vaccine, Colditz et al. 1994 (tests/golden/README.md); "died" stands for "fell ill"."""
    frame = pd.read_csv(TESTS / "golden" / "bcg.csv")
    return [
        publication(str(row.trial), (row.treated_well, row.treated_ill, row.control_well, row.control_ill))
        for row in frame.itertuples()
    ]


def publication(name, *strata, bias="low", **more):
    return Publication(name, tuple(Counts(*map(int, one)) for one in strata), bias, **more)


def logs(publications):
    ratios = [one.together.death_ratio for one in sort_out(publications)]
    return np.array([math.log(one.value) for one in ratios]), np.array([one.se**2 for one in ratios])


# ---- random effects ------------------------------------------------------------------------------


def test_the_bcg_trials_give_what_the_design_has(bcg):
    """The design's values were made with R's usual tolerance, which leaves the fourth digit of tau squared open."""
    found = pool_used(sort_out(bcg))
    assert found.log_ratio == pytest.approx(-0.714970, rel=1e-5)
    assert found.error == pytest.approx(0.180898, rel=1e-4)
    assert found.tau2 == pytest.approx(0.318094, rel=1e-4)


@pytest.mark.parametrize("data", ["bcg", "five", "three"])
def test_average_error_and_limits_are_those_of_r(bcg, by_r, data):
    """R's metafor with tight tolerances; its `adhoc` is Hartung and Knapp's interval, never narrower than the plain."""
    chosen = {"bcg": bcg, "five": [publication(str(c), c) for c in FIVE]}
    chosen["three"] = [chosen["five"][at] for at in (0, 2, 4)]
    found, theirs = pool_used(sort_out(chosen[data])), by_r.loc[data, "PM_adhoc"]
    assert found.log_ratio == pytest.approx(theirs.estimate, rel=1e-6)
    assert found.tau2 == pytest.approx(theirs.tau2, rel=1e-6, abs=1e-9)
    assert found.error == pytest.approx(theirs.se, rel=1e-6)
    limits = [math.log(found.death_ratio.low), math.log(found.death_ratio.high)]
    assert limits == pytest.approx([theirs.low, theirs.high], rel=1e-6)
    assert 100 * found.heterogeneity == pytest.approx(theirs.i2, abs=0.3)  # R's I squared goes by tau squared


def test_the_moment_estimate_of_the_same_library_is_the_published_one(bcg, by_r):
    """DerSimonian and Laird on the BCG trials: b -.7141 (-1.0644, -.3638), tau squared .3088, Q 152.2330, I squared
    92.1173; ratio .4896 (.3449, .6950), as R's metafor has them against Stata's metan (its own tests).
    """
    from statsmodels.stats.meta_analysis import combine_effects

    found = combine_effects(*logs(bcg), method_re="dl")
    centre, se = found.mean_effect_re, found.sd_eff_w_re
    assert [centre, centre - 1.959964 * se, centre + 1.959964 * se] == pytest.approx(
        [-0.7141, -1.0644, -0.3638], abs=5e-5
    )
    assert (found.tau2, found.q) == pytest.approx((0.3088, 152.2330), abs=5e-5)
    assert math.exp(centre) == pytest.approx(0.4896, abs=5e-5)
    assert found.tau2 == pytest.approx(by_r.loc["bcg", "DL_z"].tau2, rel=1e-9)
    assert 100 * pool_used(sort_out(bcg)).heterogeneity == pytest.approx(92.1173, abs=5e-5)


def test_the_variance_between_publications_solves_paule_and_mandels_equation(bcg):
    """Own slow root of the equation that the weighted squares equal k - 1 (Paule and Mandel 1982)."""
    y, v = logs(bcg)

    def left_over(tau2):
        weights = 1 / (v + tau2)
        return weights @ (y - weights @ y / weights.sum()) ** 2 - (len(y) - 1)

    assert pool_used(sort_out(bcg)).tau2 == pytest.approx(brentq(left_over, 0, 5, xtol=1e-14), rel=1e-7)


def test_the_library_never_falls_back_to_no_variance_where_there_is_some():
    """Its iteration ends at 0 where rounding takes the last step past the root; Q above k - 1 says there is some."""
    rng = np.random.default_rng(20261126)
    for _ in range(300):
        k = int(rng.integers(3, 12))
        y, v = rng.normal(0, 1, k), rng.uniform(0.01, 0.3, k)
        found = pool(y, v, people=100)
        q = float(np.sum((y - np.average(y, weights=1 / v)) ** 2 / v))
        assert (found.tau2 > 0) == (q > k - 1)
        assert found.heterogeneity == pytest.approx(max(0.0, 1 - (k - 1) / q))


def test_tables_that_agree_to_the_last_person_are_put_together_too():
    found = pool_used(sort_out([publication(name, FIVE[0]) for name in "abc"]))
    assert (found.tau2, found.heterogeneity) == (0.0, 0.0)
    assert found.death_ratio.value == pytest.approx((9 / 50) / (17 / 47))
    assert found.death_ratio.low < found.death_ratio.value


def test_a_further_publication_may_lie_by_t_with_k_less_two(bcg, by_r):
    """Higgins, Thompson and Spiegelhalter 2009; error and tau squared by R."""
    theirs = by_r.loc["bcg", "PM_knha"]
    reach = t.ppf(0.975, 11) * math.sqrt(theirs.tau2 + theirs.se**2)
    further = pool_used(sort_out(bcg)).further
    assert [math.log(further.low), math.log(further.high)] == pytest.approx(
        [theirs.estimate - reach, theirs.estimate + reach], rel=1e-6
    )
    assert further.df == 11


def test_trained_and_untrained_swapped_turn_the_ratio_over(bcg):
    swapped = [
        publication(one.name, (c.untrained_lived, c.untrained_died, c.trained_lived, c.trained_died))
        for one in bcg
        for c in one.strata
    ]
    ours, theirs = pool_used(sort_out(bcg)).death_ratio, pool_used(sort_out(swapped)).death_ratio
    assert [ours.value, ours.low, ours.high] == pytest.approx(
        [1 / theirs.value, 1 / theirs.high, 1 / theirs.low]
    )


def test_weights_sum_to_one_and_order_does_not_matter(bcg):
    found, other = pool_used(sort_out(bcg)), pool_used(sort_out(bcg[::-1]))
    assert found.weights.sum() == pytest.approx(1)
    assert found.weights == pytest.approx(other.weights[::-1])
    assert found.death_ratio.low == pytest.approx(other.death_ratio.low)


def test_fewer_than_three_tables_are_not_put_together():
    two = sort_out([publication(str(c), c) for c in FIVE[:2]])
    with pytest.raises(NotEstimable) as caught:
        pool_used(two)
    assert caught.value.reason == "too_few_studies"
    assert all(one.together is not None for one in two)


# ---- Mantel and Haenszel -------------------------------------------------------------------------


def test_rothmans_strata_come_together_as_published():
    """Rothman, Greenland and Lash 2008, Table 15-1 (tolbutamide): RD .0349 (90 % -.0176, .0874), RR 1.3256
    (.8658, 2.0296), OR 1.4031 (.8411, 2.3409), as R's metafor has them (its own tests). Survival is told, so the
    difference turns.
    """
    strata = (Counts(98, 8, 115, 5), Counts(76, 22, 69, 16))
    found = mantel_haenszel(strata, level=0.9)
    difference, ratio, odds = found.survival_difference, found.death_ratio, found.odds_ratio
    assert [-difference.value, -difference.high, -difference.low] == pytest.approx(
        [0.0349, -0.0176, 0.0874], abs=5e-5
    )
    assert [ratio.value, ratio.low, ratio.high] == pytest.approx([1.3256, 0.8658, 2.0296], abs=5e-5)
    assert [odds.value, odds.low, odds.high] == pytest.approx([1.4031, 0.8411, 2.3409], abs=5e-5)


@pytest.mark.parametrize(
    ("data", "sizes"), [("tolbutamide", ((98, 8, 115, 5), (76, 22, 69, 16))), ("five", FIVE)]
)
def test_strata_come_together_as_r_has_them(by_r, data, sizes):
    found = mantel_haenszel([Counts(*one) for one in sizes])
    assert math.log(found.death_ratio.value) == pytest.approx(by_r.loc[data, "MH_RR"].estimate, rel=1e-9)
    assert found.death_ratio.se == pytest.approx(by_r.loc[data, "MH_RR"].se, rel=1e-9)
    assert -found.survival_difference.value == pytest.approx(by_r.loc[data, "MH_RD"].estimate, rel=1e-9)
    assert found.survival_difference.se == pytest.approx(by_r.loc[data, "MH_RD"].se, rel=1e-9)


def test_one_stratum_gives_the_plain_ratio_and_its_error():
    """1/a - 1/n for both groups (Katz et al. 1978, Biometrics 34, 469; from memory)."""
    found = mantel_haenszel([Counts(41, 9, 30, 17)]).death_ratio
    assert found.value == pytest.approx((9 / 50) / (17 / 47))
    assert found.se == pytest.approx(math.sqrt(1 / 9 - 1 / 50 + 1 / 17 - 1 / 47))


def test_strata_with_one_group_alone_change_nothing():
    whole = [Counts(41, 9, 30, 17), Counts(20, 4, 11, 6)]
    assert mantel_haenszel([*whole, Counts(5, 3, 0, 0)]).death_ratio == mantel_haenszel(whole).death_ratio


def test_a_sum_over_strata_would_have_said_the_opposite():
    """In each stratum fewer of the trained died; in the sum more, since they were in the worse one (Simpson 1951)."""
    strata = [Counts(90, 1, 850, 30), Counts(300, 200, 20, 30)]
    assert mantel_haenszel(strata).death_ratio.high < 1
    cells = ("trained_lived", "trained_died", "untrained_lived", "untrained_died")
    total = [sum(getattr(one, cell) for one in strata) for cell in cells]
    assert mantel_haenszel([Counts(*total)]).death_ratio.low > 1


@pytest.mark.parametrize(
    ("counts", "reason"),
    [
        ((10, 0, 8, 2), "one_outcome"),
        ((10, 2, 8, 0), "one_outcome"),
        ((0, 5, 0, 4), "one_outcome"),
        ((9, 1, 0, 0), "no_rows"),
    ],
)
def test_a_ratio_that_is_not_there_is_refused(counts, reason):
    with pytest.raises(NotEstimable) as caught:
        mantel_haenszel([Counts(*counts)])
    assert caught.value.reason == reason


# ---- what is used ---------------------------------------------------------------------------------


def test_of_reports_of_the_same_mishaps_the_largest_counts_whatever_it_found():
    reports = [
        publication("small and striking", (20, 0, 5, 15), overlap="one"),
        publication("large", (30, 10, 20, 20), overlap="one"),
        publication("apart", (18, 6, 22, 15)),
    ]
    for order in (reports, reports[::-1]):
        uses = {one.publication.name: one.use for one in sort_out(order)}
        assert uses == {"small and striking": "other_report", "large": "pooled", "apart": "pooled"}


def test_a_tie_goes_by_name_so_that_order_does_not_matter():
    pair = [publication(name, (18, 6, 22, 15), overlap="one") for name in ("b", "a")]
    assert {one.publication.name: one.use for one in sort_out(pair)} == {"a": "pooled", "b": "other_report"}


def test_mishaps_of_the_own_records_are_left_out_and_make_no_room_for_another_report():
    used = sort_out(
        [
            publication("ours", (200, 10, 100, 50), overlap="one", same_mishaps=True),
            publication("theirs", (18, 6, 22, 15), overlap="one"),
        ]
    )
    assert [one.use for one in used] == ["same_mishaps", "pooled"]


def test_survivor_only_publications_are_bounds_and_never_pooled():
    used = sort_out(
        [publication("asked", overlap="one"), publication("whole", (18, 6, 22, 15), overlap="one")]
    )
    assert [one.use for one in used] == ["survivor_only", "pooled"]


def test_a_group_without_dead_gets_halves_and_is_marked_and_a_table_without_any_dead_is_listed():
    used = sort_out(
        [publication("none of the trained", (30, 0, 20, 10)), publication("nobody", (30, 0, 20, 0))]
    )
    assert [(one.use, one.corrected) for one in used] == [("pooled", True), ("nobody_died", False)]
    ratio = used[0].together.death_ratio
    assert ratio.value == pytest.approx((0.5 / 31) / (10.5 / 31))
    assert 0 < ratio.low < ratio.value
    assert sort_out([publication("all", (0, 4, 0, 5))])[0].use == "everybody_died"


def test_the_same_table_entered_twice_narrows_the_interval_unless_it_is_said_to_overlap():
    """What the rule on overlap is for."""
    some = [publication(str(c), c) for c in FIVE[:4]]
    again = publication("again", FIVE[0], overlap="one")
    named = [publication("first", FIVE[0], overlap="one"), *some[1:]]

    def width(publications):
        ratio = pool_used(sort_out(publications)).death_ratio
        return math.log(ratio.high / ratio.low)

    assert width([*some, publication("again", FIVE[0])]) < width(some)
    assert width([*named, again]) == pytest.approx(width(some))
