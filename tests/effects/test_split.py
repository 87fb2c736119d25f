"""Do the two parts add up on any records, and are they those of counting by hand?"""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from survstats.effects.exact_table import clopper_pearson
from survstats.effects.intervals import jackknife_error
from survstats.effects.risk_model import prepare
from survstats.effects.split import Split, split, two_parts
from survstats.effects.standardise import standardise
from survstats.groundwork.errors import NotEstimable

COVARIATES = ("crew", "seat_far")
SHARES = st.floats(1e-9, 1.0)


@pytest.fixture(scope="module")
def frame(occupants_90):
    """Of the 90 occupants: out as recorded, alive only if out."""
    out = (occupants_90["ev"] == 1).astype(float)
    return occupants_90.assign(out=out, alive=out * occupants_90["y"])


def split_of(frame: pd.DataFrame, covariates: tuple[str, ...] = COVARIATES) -> Split:
    return split(
        frame, survived="alive", out="out", exposure="trained", covariates=covariates, cluster="mishap"
    )


def world(seed: int, people: int = 120) -> pd.DataFrame:
    rng = np.random.default_rng([2026, 6, 2, seed])
    trained, far = rng.random(people) < 0.5, rng.random(people) < 0.4
    out = rng.random(people) < 0.6 + 0.2 * trained - 0.2 * far
    alive = out & (rng.random(people) < 0.75 + 0.1 * trained)
    table = {"trained": trained, "far": far, "out": out, "alive": alive}
    return pd.DataFrame(table).astype(float).assign(mishap=rng.integers(0, 15, people))


@given(SHARES, SHARES, SHARES, SHARES)
def test_the_parts_add_up_to_the_difference_whatever_the_shares(out_one, out_two, after_one, after_two):
    out = np.array([out_one, out_two])
    alive = out * np.array([after_one, after_two])
    getting_out, afterwards = two_parts(alive, out)
    assert getting_out + afterwards == pytest.approx(alive[0] - alive[1], abs=1e-12)
    swapped = two_parts(alive[::-1], out[::-1])
    assert swapped == pytest.approx((-getting_out, -afterwards), abs=1e-12)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000))
def test_the_parts_add_up_to_the_standardised_difference_of_the_same_rows(seed):
    frame = world(seed)
    found = split_of(frame, ("far",))
    model = prepare(frame, outcome="alive", exposure="trained", covariates=("far",), cluster="mishap")
    difference = standardise(model).difference
    assert found.getting_out.value + found.afterwards.value == pytest.approx(difference.value, abs=1e-12)
    assert (found.difference.value, found.difference.se) == pytest.approx(
        (difference.value, difference.se), abs=1e-12
    )
    stages = found.out_trained.value * found.after_trained.value
    assert stages - found.out_untrained.value * found.after_untrained.value == pytest.approx(
        difference.value, abs=1e-12
    )


def counted(frame: pd.DataFrame) -> np.ndarray:
    """Both parts from plain shares."""
    shares = []
    for arm in (1, 0):
        group = frame[frame["trained"] == arm]
        shares.append((group["out"].mean(), group.loc[group["out"] == 1, "alive"].mean()))
    (out_one, after_one), (out_two, after_two) = shares
    return np.array(
        [
            (out_one - out_two) * (after_one + after_two) / 2,
            (after_one - after_two) * (out_one + out_two) / 2,
            *(out_one, out_two, after_one, after_two),
        ]
    )


def test_without_covariates_the_parts_are_those_of_the_counts_and_so_are_their_errors(frame):
    found = split_of(frame, ())
    mishaps = sorted(set(frame["mishap"]))
    whole, without = counted(frame), np.array([counted(frame[frame["mishap"] != one]) for one in mishaps])
    for at, name in enumerate(("getting_out", "afterwards", "out_trained", "out_untrained")):
        one = getattr(found, name)
        scale = "identity" if at < 2 else "logit"
        assert one.value == pytest.approx(whole[at], abs=1e-8)
        assert one.se == pytest.approx(jackknife_error(whole[at], without[:, at], scale=scale), rel=1e-6)
    assert (found.after_trained.value, found.after_untrained.value) == pytest.approx(whole[4:], abs=1e-8)


def test_rows_in_another_order_names_and_twice_the_rows_move_nothing(frame):
    plain = split_of(frame)
    shuffled = frame.sample(frac=1, random_state=2).assign(mishap=lambda f: "m" + f["mishap"].astype(str))
    for other in (shuffled, pd.concat([frame, frame])):
        moved = split_of(other)
        for name in (one.name for one in fields(Split)):
            one, two = getattr(plain, name), getattr(moved, name)
            assert (two.value, two.low, two.high) == pytest.approx((one.value, one.low, one.high), abs=1e-7)


def test_calling_the_trained_untrained_turns_every_part_round(frame):
    plain, turned = split_of(frame), split_of(frame.assign(trained=1 - frame["trained"]))
    for name in ("difference", "getting_out", "afterwards"):
        assert getattr(turned, name).value == pytest.approx(-getattr(plain, name).value, abs=1e-9)
    assert turned.out_trained.value == pytest.approx(plain.out_untrained.value, abs=1e-9)


def test_where_all_who_got_out_lived_the_difference_is_getting_out_alone(frame):
    found = split_of(frame.assign(alive=frame["out"]))
    assert found.getting_out.value == pytest.approx(found.difference.value, abs=1e-12)
    assert found.afterwards.value == pytest.approx(0, abs=1e-12)
    group = frame[(frame["trained"] == 1) & (frame["out"] == 1)]
    assert found.after_trained.value == pytest.approx(1)
    assert found.after_trained.low == pytest.approx(clopper_pearson(len(group), len(group))[0])
    assert found.after_trained.high == 1


def test_two_models_that_give_more_alive_than_out_are_refused():
    # all of the trained got out, so that model is penalised and shrinks; of 51 people out two died afterwards
    rng = np.random.default_rng(393)
    trained, far = (rng.random(60) < 0.4) * 1.0, (rng.random(60) < 0.4) * 1.0
    out = ((rng.random(60) < 0.75) | (trained == 1)) * 1.0
    alive = out * (rng.random(60) < 0.98)
    table = {"trained": trained, "far": far, "x": rng.normal(size=60), "out": out, "alive": alive}
    with pytest.raises(NotEstimable) as refused:
        split_of(pd.DataFrame(table).assign(mishap=rng.integers(0, 12, 60)), ("far", "x"))
    assert refused.value.reason == "more_alive_than_out"


def test_a_mishap_left_out_that_gives_more_alive_than_out_widens_shares_and_parts_alike(frame, monkeypatch):
    gone = np.tile([0.8, 0.6], (15, 1))
    alive = np.tile([0.79, 0.5], (15, 1))
    alive[3, 0], gone[3, 0] = 0.84, 0.80
    given_out = iter((alive, gone))
    monkeypatch.setattr("survstats.effects.split.standardised_risks", lambda *_: next(given_out))
    found = split_of(frame)
    after = alive / gone
    assert after[3, 0] > 1
    assert found.after_trained.se == pytest.approx(jackknife_error(after[0, 0], after[1:, 0]), rel=1e-12)
    parts = two_parts(alive, gone)
    assert found.afterwards.se == pytest.approx(jackknife_error(parts[1][0], parts[1][1:]), rel=1e-12)
    assert found.after_trained.high == 1.0


@pytest.mark.parametrize(
    ("spoil", "reason"),
    [
        (lambda f: f.assign(out=1.0), "one_outcome"),
        (lambda f: f.assign(alive=0.0), "one_outcome"),
        (lambda f: f[f["trained"] == 1], "one_arm"),
        (lambda f: f.assign(mishap=1), "one_mishap"),
        (lambda f: f.iloc[:0], "no_rows"),
    ],
)
def test_where_there_is_nothing_to_split_a_reason_stands_instead(frame, spoil, reason):
    with pytest.raises(NotEstimable) as refused:
        split_of(spoil(frame))
    assert refused.value.reason == reason
