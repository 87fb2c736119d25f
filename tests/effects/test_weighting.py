"""Does weighting by the chance of training agree with R, with a slow road, and with what must not move it?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from survstats.effects import weighting as module
from survstats.effects.intervals import jackknife_error
from survstats.effects.weighting import weighted_risks
from survstats.groundwork.errors import NotEstimable

NAMES = {"outcome": "y", "exposure": "trained", "cluster": "mishap"}


def found(frame, covariates=("crew", "seat_far"), **settings):
    return weighted_risks(frame, covariates=covariates, **NAMES, **settings)


def difference(risks):
    return risks[:, 0] - risks[:, 1]


def test_agrees_with_r(occupants_90):
    """Computed by R 4.2.2 with package brglm2 0.9 (MPL_Jeffreys, intercept refitted by glm with an offset)."""
    risks = found(occupants_90)
    assert risks[0] == pytest.approx([0.6534859216, 0.5793879817], rel=0, abs=1e-7)
    rd = difference(risks)
    assert rd[0] == pytest.approx(0.07409794, rel=0, abs=1e-7)
    assert jackknife_error(rd[0], rd[1:]) == pytest.approx(0.11747282, rel=0, abs=1e-6)


def slow_chances(rows, trained):
    """Firth's fit by its modified score, then the intercept alone by maximum likelihood."""
    beta = np.zeros(rows.shape[1])
    for _ in range(500):
        p = 1 / (1 + np.exp(-rows @ beta))
        w = p * (1 - p)
        inverse = np.linalg.inv(rows.T @ (rows * w[:, None]))
        leverage = np.einsum("ij,jk,ik->i", rows, inverse, rows) * w
        beta = beta + inverse @ (rows.T @ (trained - p + leverage * (0.5 - p)))
    low, high = -30.0, 30.0
    for _ in range(200):
        middle = (low + high) / 2
        p = 1 / (1 + np.exp(-(middle + rows[:, 1:] @ beta[1:])))
        low, high = (middle, high) if p.sum() < trained.sum() else (low, middle)
    return p


def slow(frame):
    rows = np.column_stack([np.ones(len(frame)), frame["crew"], frame["seat_far"]]).astype(float)
    a, y = frame["trained"].to_numpy(float), frame["y"].to_numpy(float)
    chance = slow_chances(rows, a)
    sums = np.zeros((2, 2))
    for person in range(len(a)):
        own = chance[person] if a[person] == 1 else 1 - chance[person]
        sums[int(a[person])] += np.array([y[person], 1.0]) / own
    return sums[1, 0] / sums[1, 1], sums[0, 0] / sums[0, 1]


def test_agrees_with_a_slow_road_for_all_mishaps_and_without_each(occupants_90):
    risks = found(occupants_90)
    mishaps = sorted(occupants_90["mishap"].unique())
    frames = [occupants_90, *(occupants_90[occupants_90["mishap"] != one] for one in mishaps)]
    assert risks.shape == (15, 2)
    for row, frame in zip(risks, frames, strict=True):
        assert row == pytest.approx(slow(frame), rel=0, abs=1e-7)


def test_without_covariates_it_is_the_crude_difference(occupants_90):
    seen = occupants_90.groupby("trained")["y"].mean()
    assert found(occupants_90, covariates=())[0] == pytest.approx([seen[1], seen[0]], rel=0, abs=1e-12)


def test_the_mishaps_left_out_can_be_spared_and_small_blocks_say_the_same(occupants_90, monkeypatch):
    whole = found(occupants_90)
    assert found(occupants_90, without_each=False) == pytest.approx(whole[:1], rel=0, abs=1e-12)
    monkeypatch.setattr(module, "BLOCK_CELLS", 1)
    assert found(occupants_90) == pytest.approx(whole, rel=0, abs=1e-12)


def test_changed_about_the_groups_change_places(occupants_90):
    turned = occupants_90.assign(trained=1 - occupants_90["trained"])
    assert found(turned)[:, ::-1] == pytest.approx(found(occupants_90), rel=0, abs=1e-8)


def test_a_group_from_one_mishap_and_one_group_alone_are_refused(occupants_90):
    one = occupants_90["mishap"].eq(occupants_90["mishap"].iloc[0])
    with pytest.raises(NotEstimable) as fault:
        found(occupants_90.assign(trained=one.astype(int)))
    assert fault.value.reason == "arm_in_one_mishap"
    with pytest.raises(NotEstimable) as fault:
        found(occupants_90.assign(trained=1))
    assert fault.value.reason == "one_arm"


def test_people_without_a_counterpart_are_refused(occupants_90, monkeypatch):
    monkeypatch.setattr(module, "NO_COUNTERPART", 0.45)
    with pytest.raises(NotEstimable) as fault:
        found(occupants_90)
    assert fault.value.reason == "no_overlap"


def test_a_covariate_that_settles_training_still_gives_finite_weights(occupants_90):
    settled = occupants_90.assign(told=np.where(occupants_90["seat_far"] == 1, occupants_90["trained"], 0))
    assert np.isfinite(found(pd.DataFrame(settled), covariates=("told",))).all()
