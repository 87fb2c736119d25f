"""Do the weights of harmless mishaps act as so many more mishaps of their kind would?"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats

from survstats.challenge.under_reporting import harmless_mishaps, under_reporting
from survstats.effects.risk_model import penalise, prepare, refit
from survstats.effects.standardise import standardise
from survstats.groundwork.errors import CallError

HARMLESS = (5, 9, 10)  # of the invented ninety: everyone lived


def model_of(frame, covariates=("crew", "seat_far")):
    return prepare(frame, outcome="y", exposure="trained", covariates=covariates, cluster="mishap")


def test_harmless_mishaps_are_those_in_which_everyone_lived(occupants_90):
    model = model_of(occupants_90)
    found = [
        label for label, one in zip(model.design.mishap_labels, harmless_mishaps(model), strict=True) if one
    ]
    assert tuple(found) == HARMLESS
    assert (harmless_mishaps(refit(model)) == harmless_mishaps(model)).all()


def test_all_reported_is_the_main_estimate(occupants_90):
    refits = refit(model_of(occupants_90))
    (found,) = under_reporting(refits, (1.0,))
    main = standardise(refits).difference
    assert found.reported == 1.0
    for name in ("value", "low", "high", "se", "df", "mishaps", "occupants", "method", "level"):
        expected = getattr(main, name)
        assert getattr(found.difference, name) == (
            pytest.approx(expected, rel=1e-8) if isinstance(expected, float) else expected
        )
    # the design's golden value for these people, computed twice by independent code
    assert found.difference.value == pytest.approx(0.10729067, rel=1e-6)
    assert found.difference.se == pytest.approx(0.10938327, rel=1e-6)


def copied(frame, times):
    """The frame with every harmless mishap there so many times, each copy a mishap of its own."""
    copies = [
        frame[frame["mishap"].isin(HARMLESS)].assign(mishap=lambda rows, n=n: rows["mishap"] + 100 * n)
        for n in range(1, times)
    ]
    return pd.concat([frame, *copies], ignore_index=True)


@pytest.mark.parametrize("times", [2, 4])
@pytest.mark.parametrize("penalised", [False, True])
def test_a_weight_of_four_is_four_copies(occupants_90, times, penalised):
    one, many = model_of(occupants_90), model_of(copied(occupants_90, times))
    if penalised:
        one, many = penalise(one), penalise(many)
    (found,) = under_reporting(one, (1 / times,))
    assert found.difference.value == pytest.approx(standardise(many).difference.value, abs=1e-8)
    assert found.difference.value != pytest.approx(standardise(one).difference.value, abs=1e-3)
    # the copies are no new evidence: degrees of freedom and counts are those of what was recorded
    assert (found.difference.df, found.difference.mishaps, found.difference.occupants) == (13, 14, 90)


def slow_difference(frame, weight):
    """The weighted difference by a general minimiser and plain averages."""
    x = np.column_stack([np.ones(len(frame)), frame[["trained", "crew", "seat_far"]]])
    y, w = frame["y"].to_numpy(), frame["mishap"].map(weight).to_numpy()

    def loss(beta):
        eta = x @ beta
        return w @ (np.logaddexp(0, eta) - y * eta), x.T @ (w * (1 / (1 + np.exp(-eta)) - y))

    beta = optimize.minimize(loss, np.zeros(4), jac=True, method="BFGS", options={"gtol": 1e-9}).x
    means = [
        w
        @ (1 / (1 + np.exp(-(np.column_stack([x[:, :1], np.full(len(x), arm), x[:, 2:]]) @ beta))))
        / w.sum()
        for arm in (1, 0)
    ]
    return means[0] - means[1]


@pytest.mark.parametrize("share", [0.25, 0.4])
def test_the_slow_road_gives_the_same_value_and_limits(occupants_90, share):
    labels = sorted(occupants_90["mishap"].unique())
    weight = {label: 1 / share if label in HARMLESS else 1.0 for label in labels}
    point = slow_difference(occupants_90, weight)
    without = np.array(
        [slow_difference(occupants_90[occupants_90["mishap"] != label], weight) for label in labels]
    )
    se = math.sqrt(13 / 14 * ((without - point) ** 2).sum())
    reach = stats.t.ppf(0.975, 13) * se
    (found,) = under_reporting(model_of(occupants_90), (share,))
    assert found.difference.value == pytest.approx(point, abs=1e-6)
    assert found.difference.se == pytest.approx(se, rel=1e-5)
    assert (found.difference.low, found.difference.high) == pytest.approx(
        (point - reach, point + reach), abs=1e-5
    )


def test_where_no_mishap_was_harmless_nothing_moves(occupants_90):
    frame = occupants_90[~occupants_90["mishap"].isin(HARMLESS)]
    model = model_of(frame)
    assert not harmless_mishaps(model).any()
    values = [one.difference.value for one in under_reporting(model)]
    assert values == pytest.approx([standardise(model).difference.value] * 3, abs=1e-9)


def test_the_quarter_the_half_and_all_are_asked_for_in_that_order(occupants_90):
    assert [one.reported for one in under_reporting(model_of(occupants_90))] == [0.25, 0.5, 1.0]


def test_repeated_rows_are_no_new_evidence(occupants_90):
    # every person twice, in the same mishap: by maximum likelihood neither value nor limits move
    once, twice = (
        under_reporting(model_of(rows))
        for rows in (occupants_90, pd.concat([occupants_90] * 2, ignore_index=True))
    )
    for one, two in zip(once, twice, strict=True):
        assert two.difference.value == pytest.approx(one.difference.value, abs=1e-8)
        assert two.difference.se == pytest.approx(one.difference.se, abs=1e-8)


@pytest.mark.parametrize("seed", [1, 2])
def test_order_and_labels_do_not_matter(occupants_90, seed):
    mixed = occupants_90.sample(frac=1, random_state=seed).assign(
        mishap=lambda rows: "m" + rows["mishap"].astype(str)
    )
    for plain, other in zip(
        *(under_reporting(model_of(rows)) for rows in (occupants_90, mixed)), strict=True
    ):
        assert other.difference.value == pytest.approx(plain.difference.value, abs=1e-8)
        assert (other.difference.low, other.difference.high) == pytest.approx(
            (plain.difference.low, plain.difference.high), abs=1e-7
        )


def test_an_arm_in_which_nobody_died_keeps_exact_limits_of_its_raw_counts(occupants_90):
    frame = occupants_90.assign(y=occupants_90["y"].where(occupants_90["trained"].eq(0), 1))
    model = model_of(frame, covariates=())
    assert model.penalised
    quarter, everything = under_reporting(model, (0.25, 1.0))
    plain = standardise(model).difference
    assert everything.difference.low == pytest.approx(plain.low, abs=1e-8)
    assert quarter.difference.low < quarter.difference.value < quarter.difference.high


@pytest.mark.parametrize("share", [0.0, -0.5, 1.2, math.nan])
def test_a_share_that_is_none_is_refused(occupants_90, share):
    with pytest.raises(CallError) as caught:
        under_reporting(model_of(occupants_90), (share,))
    assert caught.value.reason == "share"


def test_a_narrower_interval_is_narrower(occupants_90):
    refits = refit(model_of(occupants_90))
    wide, narrow = (under_reporting(refits, (0.5,), level=level)[0].difference for level in (0.95, 0.9))
    assert narrow.value == wide.value
    assert wide.low < narrow.low < narrow.high < wide.high
    assert replace(narrow, low=wide.low, high=wide.high, level=0.95) == wide
