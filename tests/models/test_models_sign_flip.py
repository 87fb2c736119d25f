"""The sign-flip test against golden values, plain enumeration, and what few mishaps can never show."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pandas as pd
import pytest
import slow
from random_sets import TERMS, as_frame, usable_sets

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.groundwork.resampling import stream
from survstats.models.separation import find_separation
from survstats.models.sign_flip import DRAWS, sign_flip_test, smallest_p

NAMES = {"tested": "trained", "cluster": "mishap"}


def test_golden_values(occupants):
    # design golden values (14 mishaps), computed twice by independent code; the limits are cut to four digits there
    found = sign_flip_test(occupants, "y", TERMS, **NAMES)
    assert (found.mishaps, found.enumerated, found.draws) == (14, True, 2**14)
    assert found.p == pytest.approx(0.2911377, rel=1e-6)
    assert (found.low, found.high) == pytest.approx((-0.4186, 1.5524), abs=1e-4)
    assert found.estimate == pytest.approx(0.44845567, rel=1e-6)


def slow_p(x, y, codes, column, value):
    """Every sign vector, one after the other; the restricted fit by plain scoring with the value as its start."""
    k = x.shape[1]
    others = [j for j in range(k) if j != column]
    start = np.zeros(k)
    start[column] = value
    beta = slow.logistic(x, y, free=others, beta=start)
    mu = np.array([slow.risk(row, beta) for row in x])
    weight = np.diag(mu * (1 - mu))
    rest = x[:, others]
    residual = x[:, column] - rest @ np.linalg.solve(rest.T @ weight @ rest, rest.T @ weight @ x[:, column])
    scores = [float((residual * (y - mu))[codes == g].sum()) for g in sorted(set(codes))]
    seen = abs(sum(scores)) - 1e-9
    sums = [
        abs(sum(s * v for s, v in zip(scores, signs, strict=True)))
        for signs in itertools.product((1, -1), repeat=len(scores))
    ]
    return sum(total >= seen for total in sums) / len(sums)


def test_p_and_limits_agree_with_plain_enumeration():
    def usable(x, y, codes):
        return np.linalg.matrix_rank(x) == x.shape[1] and find_separation(x, y).kind == "none"

    for x, y, codes in usable_sets(4, usable, mishaps=7):
        frame, terms = as_frame(x, y, codes)
        found = sign_flip_test(frame, "y", terms, tested="x1", cluster="mishap", level=0.9)
        assert found.p == pytest.approx(slow_p(x, y, codes, 1, 0.0), abs=1e-12)
        for limit, way in ((found.low, -1), (found.high, 1)):
            if math.isfinite(limit):
                assert slow_p(x, y, codes, 1, limit - way * 1e-4) > 0.1
                assert slow_p(x, y, codes, 1, limit + way * 1e-4) <= 0.1


@pytest.mark.parametrize(("mishaps", "least"), [(2, 0.5), (5, 0.0625), (6, 0.03125), (15, 2.0**-14)])
def test_smallest_p_is_two_sign_vectors_of_all(mishaps, least):
    assert smallest_p(mishaps) == least
    assert smallest_p(16) == 1 / (DRAWS + 1)


def test_five_mishaps_reject_nothing_at_all(occupants):
    five = occupants[occupants["mishap"] <= 5]
    found = sign_flip_test(five, "y", ["trained"], **NAMES)
    assert found.p >= smallest_p(5) > 0.05
    assert (found.low, found.high) == (-math.inf, math.inf)


def test_the_same_draws_give_the_same_numbers_and_other_draws_nearly(occupants):
    many = pd.concat([occupants, occupants.assign(mishap=occupants["mishap"] + 14)])
    found = [sign_flip_test(many, "y", TERMS, **NAMES, rng=stream(seed, "signs")) for seed in (1, 1, 2)]
    assert found[0] == found[1]
    assert (found[0].draws, found[0].enumerated) == (DRAWS + 1, False)
    assert found[0].p != found[2].p
    assert found[0].p == pytest.approx(found[2].p, abs=0.02)
    assert found[0].low == pytest.approx(found[2].low, abs=0.05)


def test_drawn_signs_come_near_to_all_signs(occupants, monkeypatch):
    every = sign_flip_test(occupants, "y", TERMS, **NAMES)
    monkeypatch.setattr("survstats.models.sign_flip.ENUMERATED", 3)
    drawn = sign_flip_test(occupants, "y", TERMS, **NAMES, rng=stream(3, "signs"))
    assert drawn.p == pytest.approx(every.p, abs=0.02)
    assert (drawn.low, drawn.high) == pytest.approx((every.low, every.high), abs=0.1)


def test_recoded_exposure_turns_the_interval(occupants):
    found = sign_flip_test(occupants, "y", TERMS, **NAMES)
    turned = sign_flip_test(occupants.assign(trained=1 - occupants["trained"]), "y", TERMS, **NAMES)
    assert turned.p == found.p
    assert (-turned.high, -turned.low) == pytest.approx((found.low, found.high), abs=1e-6)


def test_rows_repeated_inside_their_mishap_change_nothing(occupants):
    # taken as independent rows, twice the rows would halve the variance
    found = sign_flip_test(occupants, "y", TERMS, **NAMES)
    twice = sign_flip_test(pd.concat([occupants, occupants]), "y", TERMS, **NAMES)
    assert twice.p == found.p
    assert (twice.low, twice.high) == pytest.approx((found.low, found.high), abs=1e-6)


@pytest.mark.parametrize(
    ("change", "error", "reason"),
    [
        (lambda d: d.assign(mishap=1), NotEstimable, "one_mishap"),
        (lambda d: d.assign(trained=1), NotEstimable, "no_free_column"),
        (lambda d: d.assign(crew=d["y"]), NotEstimable, "separated"),
        (lambda d: d.assign(mishap=range(90)), CallError, "no_generator"),
        (lambda d: d.drop(columns="trained"), CallError, "missing_column"),
    ],
)
def test_what_cannot_be_tested_is_said(occupants, change, error, reason):
    with pytest.raises(error) as refused:
        sign_flip_test(change(occupants), "y", TERMS, **NAMES)
    assert refused.value.reason == reason


def all_lived(seed: int, level: float = 0.95, turned: bool = False):
    """Ten mishaps of four people; all of the trained lived."""
    rng = np.random.default_rng([2026, 14, seed])
    mishap = np.repeat(np.arange(10), 4)
    trained, far = rng.integers(0, 2, (2, 40))
    shared = rng.normal(0, 1, 10)[mishap]
    y = np.where(trained == 1, 1, (rng.random(40) < 1 / (1 + np.exp(-shared))).astype(int))
    frame = pd.DataFrame({"mishap": mishap, "trained": trained, "far": far, "y": 1 - y if turned else y})
    return frame, sign_flip_test(frame, "y", ["trained", "far"], **NAMES, level=level)


@pytest.mark.parametrize("seed", range(6))
def test_p_is_that_of_plain_enumeration_where_all_the_trained_lived(seed):
    frame, found = all_lived(seed)
    x = np.column_stack([np.ones(40), frame["trained"], frame["far"]]).astype(float)
    assert found.p == pytest.approx(
        slow_p(x, frame["y"].to_numpy(), frame["mishap"].to_numpy(), 1, 0.0), abs=1e-12
    )
    assert found.penalised
    assert found.high == math.inf
    assert found.low <= found.estimate


def test_where_all_the_trained_lived_the_closed_end_is_where_p_crosses_or_the_estimate():
    ends = []
    for seed in range(8):
        frame, found = all_lived(seed)
        x = np.column_stack([np.ones(40), frame["trained"], frame["far"]]).astype(float)
        rest = x, frame["y"].to_numpy(), frame["mishap"].to_numpy(), 1
        assert slow_p(*rest, found.low - 1e-4) <= 0.05
        ends.append(found.low < found.estimate)
        if ends[-1]:
            assert slow_p(*rest, found.low + 1e-4) > 0.05
    assert {True, False} == set(ends)


def test_where_all_the_trained_died_the_other_end_is_open():
    (_, one), (_, other) = all_lived(3), all_lived(3, turned=True)
    assert (other.p, other.low) == (one.p, -math.inf)
    assert (-other.estimate, -other.high) == pytest.approx((one.estimate, one.low), abs=1e-6)


def test_only_a_column_of_the_model_is_tested(occupants):
    with pytest.raises(CallError, match="no column"):
        sign_flip_test(occupants, "y", ["crew"], **NAMES)
