"""Is the shift of each measured group the main difference minus the difference without that group?"""

from __future__ import annotations

import time

import numpy as np
import pandas as pd
import pytest

from survstats.challenge.left_out_groups import GroupShift, largest_shift, left_out_groups
from survstats.effects.question import COVARIATES
from survstats.effects.risk_model import RiskModel, penalise, prepare
from survstats.effects.standardise import standardise
from survstats.groundwork.errors import CallError, NotEstimable
from survstats.groundwork.resampling import stream

GROUPS = {"crew": "role", "far": "seat", "facing": "seat", "cold": "sea"}
NAMES = {"outcome": "y", "exposure": "trained", "cluster": "mishap"}


def some_people(mishaps=40, seed=3):
    rng = stream(seed, "left out groups")
    mishap = np.repeat(np.arange(mishaps), 10)
    n = len(mishap)
    crew, far, cold = rng.integers(0, 2, (3, n))
    facing = rng.choice(["forward", "aft", "side"], n)
    trained = (rng.random(n) < 0.25 + 0.5 * crew).astype(int)
    chance = 0.25 + 0.1 * trained + 0.3 * crew - 0.1 * far + 0.05 * (facing == "aft") - 0.1 * cold
    y = (rng.random(n) < chance).astype(int)
    return pd.DataFrame(
        {
            "mishap": mishap,
            "trained": trained,
            "y": y,
            "crew": crew,
            "far": far,
            "facing": facing,
            "cold": cold,
        }
    )


def difference(frame, covariates):
    return standardise(prepare(frame, covariates=covariates, **NAMES)).difference.value


def test_each_group_is_left_out_whole_and_alone():
    frame = some_people()
    found = left_out_groups(frame, covariates=tuple(GROUPS), groups=GROUPS, **NAMES)
    main = difference(frame, tuple(GROUPS))
    assert [one.group for one in found] == ["role", "seat", "sea"]
    for one, kept in zip(
        found, (("far", "facing", "cold"), ("crew", "cold"), ("crew", "far", "facing")), strict=True
    ):
        assert one.difference == pytest.approx(difference(frame, kept), abs=1e-8)
        assert one.shift == pytest.approx(main - one.difference, abs=1e-8)
        assert one.reason is None


def test_the_group_that_matters_most_is_the_one_built_to():
    # crew are trained more often and live more often: without them held equal training looks better than it is
    found = left_out_groups(some_people(), covariates=tuple(GROUPS), groups=GROUPS, **NAMES)
    largest = largest_shift(found)
    assert largest.group == "role"
    assert largest.shift < -0.03
    assert all(abs(one.shift) <= abs(largest.shift) for one in found)


def test_the_only_group_left_out_leaves_the_crude_difference():
    frame = some_people()
    (found,) = left_out_groups(frame, covariates=("crew",), groups=GROUPS, **NAMES)
    lived = frame.groupby("trained")["y"].mean()
    assert found.difference == pytest.approx(lived[1] - lived[0], abs=1e-9)


def test_nothing_held_equal_has_nothing_to_leave_out():
    assert left_out_groups(some_people(), covariates=(), groups=GROUPS, **NAMES) == ()
    assert largest_shift(()) is None


def test_a_model_made_already_gives_the_same():
    frame, covariates = some_people(), tuple(GROUPS)
    main = prepare(frame, covariates=covariates, **NAMES)
    assert left_out_groups(
        frame, covariates=covariates, groups=GROUPS, main=main, **NAMES
    ) == left_out_groups(frame, covariates=covariates, groups=GROUPS, **NAMES)


def test_gaps_are_coded_as_in_the_main_model():
    frame = some_people()
    frame["cold"] = frame["cold"].astype(float).mask(frame.index % 7 == 0)
    frame["facing"] = frame["facing"].mask(frame.index % 11 == 0)
    found = left_out_groups(frame, covariates=tuple(GROUPS), groups=GROUPS, **NAMES)
    assert found[0].difference == pytest.approx(difference(frame, ("far", "facing", "cold")), abs=1e-8)
    assert found[2].difference == pytest.approx(difference(frame, ("crew", "far", "facing")), abs=1e-8)


def test_a_column_that_said_the_same_as_the_group_comes_back_when_the_group_is_gone():
    # the twin of crew was dropped from the main model beside crew: without crew's group it carries what crew did
    frame = some_people().assign(twin=lambda rows: 1 - rows["crew"])
    groups = {**GROUPS, "twin": "other"}
    role, other = left_out_groups(frame, covariates=("crew", "twin"), groups=groups, **NAMES)
    assert (role.shift, other.shift) == pytest.approx((0, 0), abs=1e-9)


def test_all_are_fitted_by_the_likelihood_of_the_main_model():
    # nobody far from an exit lived: the main model is penalised, and so is the one without seats
    frame = some_people()
    frame["y"] = frame["y"].where(frame["far"].eq(0), 0)
    covariates = ("crew", "far")
    main = prepare(frame, covariates=covariates, **NAMES)
    assert main.penalised
    found = left_out_groups(frame, covariates=covariates, groups=GROUPS, **NAMES)
    without_seat = standardise(penalise(prepare(frame, covariates=("crew",), **NAMES))).difference.value
    assert found[1].difference == pytest.approx(without_seat, abs=1e-8)
    assert found[1].difference != pytest.approx(difference(frame, ("crew",)), abs=1e-6)


def test_a_group_that_cannot_be_left_out_keeps_its_reason(monkeypatch):
    frame, covariates = some_people(), ("crew", "cold")
    plain = RiskModel.risks

    def without_crew_fails(model, weights, **settings):
        if "crew" not in model.design.columns:
            raise NotEstimable("not_converged", "A refit has no finite solution.")
        return plain(model, weights, **settings)

    monkeypatch.setattr(RiskModel, "risks", without_crew_fails)
    found = left_out_groups(frame, covariates=covariates, groups=GROUPS, **NAMES)
    assert found[0] == GroupShift("role", None, None, "not_converged")
    assert found[1].shift is not None
    assert largest_shift(found) == found[1]
    assert largest_shift(found[:1]) is None


def test_a_covariate_of_no_group_is_refused():
    with pytest.raises(CallError) as caught:
        left_out_groups(some_people(), covariates=("crew", "shoes"), groups=GROUPS, **NAMES)
    assert caught.value.reason == "no_group"
    assert "shoes" in str(caught.value)


def test_what_the_main_model_cannot_carry_is_said():
    with pytest.raises(NotEstimable) as caught:
        left_out_groups(some_people().assign(trained=1), covariates=("crew",), groups=GROUPS, **NAMES)
    assert caught.value.reason == "one_arm"


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_order_labels_and_units_do_not_matter(seed):
    frame = some_people(seed=seed)
    moved = frame.sample(frac=1, random_state=seed).assign(
        mishap=lambda rows: "m" + rows["mishap"].astype(str), cold=lambda rows: 32 + 1.8 * rows["cold"]
    )
    plain, other = (
        left_out_groups(rows, covariates=tuple(GROUPS), groups=GROUPS, **NAMES) for rows in (frame, moved)
    )
    assert [one.shift for one in other] == pytest.approx([one.shift for one in plain], abs=1e-8)


def test_every_covariate_of_a_study_has_a_group():
    assert {"role", "far_seat", "light"} <= set(COVARIATES)
    assert all(COVARIATES.values())


def test_it_is_fast():
    # 400 people in 40 mishaps: some milliseconds a group on one core; the bound is wide for a busy machine
    frame = some_people()
    main = prepare(frame, covariates=tuple(GROUPS), **NAMES)
    times = []
    for _ in range(5):
        begin = time.perf_counter()
        left_out_groups(frame, covariates=tuple(GROUPS), groups=GROUPS, main=main, **NAMES)
        times.append(time.perf_counter() - begin)
    assert min(times) < 0.1
