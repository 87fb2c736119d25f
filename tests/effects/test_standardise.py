"""Does the standardised difference agree with published design values, with a slow road, and with plain sense?

Golden values: computed twice by independent code (R packages and separate NumPy) for the invented 90 occupants.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from survstats.effects.intervals import jackknife_error
from survstats.effects.one_mishap_out import one_mishap_out
from survstats.effects.risk_model import RiskModel, prepare
from survstats.effects.standardise import Effect, standardise
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import stream
from survstats.models.kernel import solve
from survstats.records.invented.worlds import simulate_logistic

COVARIATES = ("crew", "seat_far")
NUMBERS = ("if_all", "if_none", "difference", "survival_ratio", "death_ratio", "odds_ratio")


def model_of(frame: pd.DataFrame, covariates: tuple[str, ...] = COVARIATES) -> RiskModel:
    return prepare(frame, outcome="y", exposure="trained", covariates=covariates, cluster="mishap")


def effect_of(frame: pd.DataFrame, **settings: str) -> Effect:
    return standardise(model_of(frame), **settings)


def values(effect: Effect) -> np.ndarray:
    return np.array(
        [
            [getattr(effect, name).value, getattr(effect, name).low, getattr(effect, name).high]
            for name in NUMBERS
        ]
    )


def near(expected: float, rel: float = 1e-5):
    return pytest.approx(expected, rel=rel, abs=0)


def test_golden_average_over_everybody(occupants_90):
    effect = effect_of(occupants_90)
    assert effect.if_all.value == near(0.64647367)
    assert effect.if_none.value == near(0.53918300)
    assert effect.difference.value == near(0.10729067)
    assert effect.difference.se == near(0.10938327)
    assert effect.death_ratio.value == near(0.76717294)
    assert (effect.difference.mishaps, effect.difference.occupants, effect.difference.df) == (14, 90, 13)
    assert effect.difference.method == "standardised_ml"


def test_golden_error_of_the_death_ratio_is_on_its_own_scale(occupants_90):
    # the listed .20391592 is the jackknife of the ratio itself; our interval is made on the log scale, so that its
    # stored error is the jackknife of the log ratio
    effect = effect_of(occupants_90)
    left_out = (1 - effect.leave_one_out[:, 0]) / (1 - effect.leave_one_out[:, 1])
    assert jackknife_error(effect.death_ratio.value, left_out) == near(0.20391592)
    assert effect.death_ratio.scale == "log"
    logs = np.log(left_out) - math.log(effect.death_ratio.value)
    assert effect.death_ratio.se == near(math.sqrt(13 / 14 * np.sum(logs**2)), 1e-12)


def test_golden_average_over_the_untrained(occupants_90):
    effect = effect_of(occupants_90, target="untrained")
    assert effect.difference.value == near(0.10724693)
    assert effect.difference.se == near(0.10801752)
    assert effect.difference.occupants == int((occupants_90["trained"] == 0).sum())


def test_the_untrained_and_the_trained_average_to_everybody(occupants_90):
    parts = [effect_of(occupants_90, target=target).difference for target in ("trained", "untrained")]
    together = sum(part.value * part.occupants for part in parts) / 90
    assert together == near(effect_of(occupants_90).difference.value, 1e-12)


def test_golden_penalised_with_intercept_refitted(occupants_90):
    penalised = replace(model_of(occupants_90), penalised=True)
    coefficients = penalised.coefficients(np.ones((1, 14)))[0]
    assert coefficients == near([0.29526472, 0.42756626, -0.07698587, -0.29707563])
    effect = standardise(penalised)
    assert effect.if_all.value == near(0.64434269)
    assert effect.if_none.value == near(0.54199667)
    assert effect.difference.value == near(0.10234602)
    assert effect.difference.se == near(0.10324239)
    assert effect.difference.method == "standardised_firth_flic"


@pytest.mark.parametrize(("copies", "golden"), [(1, 0.10267), (2, 0.10493)])
def test_golden_shift_of_the_plain_firth_estimate_when_rows_are_doubled(occupants_90, copies, golden):
    # listed for Firth without the refitted intercept, to five decimals
    model = model_of(pd.concat([occupants_90] * copies, ignore_index=True))
    beta = solve(model.collapsed, np.ones((1, 14)), penalty="firth").coefficients[0]
    risks = [1 / (1 + np.exp(-rows @ beta)) for rows in (model.trained_rows, model.untrained_rows)]
    assert risks[0].mean() - risks[1].mean() == pytest.approx(golden, abs=6e-6)


# ---- identities -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("target", ["all", "untrained", "trained"])
def test_rows_doubled_inside_their_mishaps_change_nothing(occupants_90, target):
    once, twice = occupants_90, pd.concat([occupants_90, occupants_90], ignore_index=True)
    assert values(effect_of(twice, target=target)) == pytest.approx(
        values(effect_of(once, target=target)), rel=1e-9
    )


def test_exposure_recoded_turns_the_sign_and_keeps_the_error(occupants_90):
    one, other = effect_of(occupants_90), effect_of(occupants_90.assign(trained=1 - occupants_90["trained"]))
    assert other.difference.value == near(-one.difference.value, 1e-10)
    assert other.difference.se == near(one.difference.se, 1e-9)
    assert (other.difference.low, other.difference.high) == near(
        (-one.difference.high, -one.difference.low), 1e-9
    )
    assert other.death_ratio.value == near(1 / one.death_ratio.value, 1e-10)
    assert other.if_all.value == near(one.if_none.value, 1e-10)


def test_outcome_recoded_swaps_survival_and_death(occupants_90):
    one, other = effect_of(occupants_90), effect_of(occupants_90.assign(y=1 - occupants_90["y"]))
    assert other.difference.value == near(-one.difference.value, 1e-9)
    assert other.survival_ratio.value == near(one.death_ratio.value, 1e-9)
    assert other.death_ratio.value == near(one.survival_ratio.value, 1e-9)


@pytest.mark.parametrize("seed", range(3))
def test_row_order_labels_and_units_do_not_matter(occupants_90, seed):
    frame = occupants_90.assign(exit_m=np.round(occupants_90["tm"] / 7, 1))
    settings = {"outcome": "y", "exposure": "trained", "covariates": ("crew", "exit_m"), "cluster": "mishap"}
    first = values(standardise(prepare(frame, **settings)))
    mixed = frame.sample(frac=1, random_state=seed).assign(
        exit_m=lambda rows: rows["exit_m"] * 3.28084 + 12,
        mishap=lambda rows: "m" + (97 * rows["mishap"] % 31).astype(str),
        crew=lambda rows: rows["crew"].map({0: "passenger", 1: "crew"}),
    )
    assert values(standardise(prepare(mixed, **settings))) == pytest.approx(first, rel=1e-7)


def test_without_covariates_it_is_the_crude_difference(occupants_90):
    by = occupants_90.groupby("trained")["y"].mean()
    effect = standardise(model_of(occupants_90, ()))
    assert effect.difference.value == near(by[1] - by[0], 1e-10)
    assert effect.odds_ratio.value == near(by[1] / (1 - by[1]) / (by[0] / (1 - by[0])), 1e-9)


def test_level_widens_by_the_t_quantile(occupants_90):
    narrow = standardise(model_of(occupants_90), level=0.90).difference
    wide = standardise(model_of(occupants_90), level=0.95).difference
    # t quantiles for 13 df from printed tables: 1.7709 and 2.1604
    assert (narrow.high - narrow.value) / narrow.se == near(1.7709, 1e-4)
    assert (wide.high - wide.value) / wide.se == near(2.1604, 1e-4)


# ---- an independent slow road -----------------------------------------------------------------------------------


def slow_risk(row, beta):
    return 1 / (1 + math.exp(-sum(x * b for x, b in zip(row, beta, strict=True))))


def slow_fit(rows, outcome, firth, only_intercept_from=None):
    """Scoring; Firth's score where asked; with FLIC's second step when an offset fit is given."""
    k = len(rows[0])
    beta = np.zeros(k) if only_intercept_from is None else np.array(only_intercept_from)
    for _ in range(400):
        p = 1 / (1 + np.exp(-rows @ beta))
        information = rows.T @ (rows * (p * (1 - p))[:, None])
        inverse = np.linalg.inv(information)
        hat = p * (1 - p) * np.einsum("ij,jk,ik->i", rows, inverse, rows) if firth else np.zeros(len(rows))
        score = rows.T @ (outcome - p + hat * (0.5 - p))
        step = (
            inverse @ score
            if only_intercept_from is None
            else np.r_[score[0] / information[0, 0], np.zeros(k - 1)]
        )
        beta = beta + step / max(1.0, np.abs(step).max())
        if np.abs(step).max() < 1e-12:
            return beta
    raise AssertionError("the slow fit did not converge")


def slow_effect(rows, outcome, codes, firth):
    """Difference and jackknife error, one mishap after the other."""

    def difference(keep):
        beta = slow_fit(rows[keep], outcome[keep], firth)
        if firth:
            beta = slow_fit(rows[keep], outcome[keep], False, only_intercept_from=beta)
        total = 0.0
        for row in rows[keep]:
            total += slow_risk(np.r_[1.0, 1.0, row[2:]], beta) - slow_risk(np.r_[1.0, 0.0, row[2:]], beta)
        return total / int(keep.sum())

    whole = difference(np.ones(len(rows), dtype=bool))
    parts = [difference(codes != g) for g in sorted(set(codes))]
    return whole, math.sqrt((len(parts) - 1) / len(parts) * sum((part - whole) ** 2 for part in parts))


def random_people(seed: int, strength: float) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    mishap = np.repeat(np.arange(6), rng.integers(2, 8, 6))
    n = len(mishap)
    frame = pd.DataFrame({"mishap": mishap, "trained": rng.integers(0, 2, n), "far": rng.integers(0, 2, n)})
    eta = strength * (frame["trained"] - 0.5) - 0.5 * frame["far"] + rng.normal(0, 0.6, 6)[mishap]
    return frame.assign(y=(rng.random(n) < 1 / (1 + np.exp(-eta))).astype(int))


def test_the_slow_road_agrees_on_fifty_data_sets_some_of_them_separated():
    done = penalised = seed = 0
    while done < 50:
        frame = random_people(seed, strength=0.8 if seed % 3 else 6.0)
        seed += 1
        left_out = [frame[frame["mishap"] != g] for g in range(6)]
        if any(part[name].nunique() < 2 for part in (frame, *left_out) for name in ("y", "trained", "far")):
            continue
        model = model_of(frame, ("far",))
        effect = standardise(model)
        rows = np.column_stack([np.ones(len(frame)), frame["trained"], frame["far"]])
        value, error = slow_effect(rows, frame["y"].to_numpy(), frame["mishap"].to_numpy(), model.penalised)
        assert effect.difference.value == pytest.approx(value, abs=1e-7), seed
        assert effect.difference.se == pytest.approx(error, abs=1e-7), seed
        done, penalised = done + 1, penalised + model.penalised
    assert 5 <= penalised <= 45


def test_separated_records_give_a_finite_penalised_estimate_and_say_so(occupants_90):
    frame = occupants_90.assign(seat_far=(occupants_90["y"] == 0).astype(int))
    model = model_of(frame)
    assert model.penalised
    assert [notice.code for notice in model.notices] == ["separated"]
    assert all(math.isfinite(getattr(standardise(model), name).value) for name in NUMBERS)


def test_separation_in_a_single_replicate_penalises_all_of_them():
    # without mishap 0 every trained person lives
    frame = pd.DataFrame(
        {
            "mishap": np.repeat(np.arange(5), 4),
            "trained": [1, 1, 0, 0] * 5,
            "y": [1, 0, 1, 0] + [1, 1, 1, 0] * 4,
        }
    )
    assert model_of(frame, ()).penalised


# ---- one mishap out ---------------------------------------------------------------------------------------------


def test_one_mishap_out_is_really_dropping_its_rows(occupants_90):
    found = one_mishap_out(model_of(occupants_90))
    assert list(found["mishap"]) == [str(g) for g in range(1, 15)]
    for row in found.itertuples():
        dropped = effect_of(occupants_90[occupants_90["mishap"] != int(row.mishap)]).difference
        assert (row.difference, row.low, row.high) == pytest.approx(
            (dropped.value, dropped.low, dropped.high), rel=1e-7
        )


def test_one_mishap_out_with_few_refits_still_finds_the_limit_nearest_to_zero():
    people = simulate_logistic(80, stream(7, "nearest limits"), effect=1.2)
    model = prepare(
        people[people["impact_death"] == 0],
        outcome="survived",
        exposure="trained",
        covariates=("crew", "far"),
        cluster="mishap",
    )
    every, few = one_mishap_out(model, refits=6400), one_mishap_out(model, refits=800)
    assert len(every) == model.mishaps
    assert len(few) == 800 // model.mishaps
    assert few["low"].min() == pytest.approx(every["low"].min(), rel=1e-10)


def test_an_arm_in_a_single_mishap_is_not_estimable(occupants_90):
    alone = occupants_90.assign(trained=(occupants_90["mishap"] == 3).astype(int))
    with pytest.raises(NotEstimable, match="one mishap") as fault:
        standardise(model_of(alone, ()))
    assert fault.value.reason == "arm_in_one_mishap"


def test_pairs_that_separate_are_redone_with_the_penalised_likelihood():
    # only when mishaps 0 and 1 are both out does every trained person live
    frame = pd.DataFrame(
        {
            "mishap": np.repeat(np.arange(6), 4),
            "trained": [1, 1, 0, 0] * 6,
            "y": [1, 0, 1, 0, 1, 0, 0, 1] + [1, 1, 1, 0] * 4,
        }
    )
    model = model_of(frame, ())
    assert not model.penalised
    found = one_mishap_out(model)
    assert np.isfinite(found[["difference", "low", "high"]].to_numpy()).all()
    # with mishap 0 out the model itself is separated in a replicate: the penalised road, as when rows are dropped
    dropped = standardise(model_of(frame[frame["mishap"] != 0], ())).difference
    first = found.set_index("mishap").loc["0"]
    assert (first["difference"], first["low"]) == pytest.approx((dropped.value, dropped.low), rel=1e-7)


# ---- what cannot be estimated -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (lambda d: d[:0], "no_rows"),
        (lambda d: d.assign(trained=1), "one_arm"),
        (lambda d: d.assign(trained=0), "one_arm"),
        (lambda d: d.assign(y=1), "one_outcome"),
        (lambda d: d.assign(y=0), "one_outcome"),
        (lambda d: d.assign(mishap=1), "one_mishap"),
    ],
)
def test_too_little_is_said_not_guessed(occupants_90, change, reason):
    with pytest.raises(NotEstimable) as caught:
        model_of(change(occupants_90))
    assert caught.value.reason == reason


def test_gaps_in_a_covariate_lose_nobody(occupants_90):
    gappy = occupants_90.astype({"seat_far": float})
    gappy.loc[gappy.index[::9], "seat_far"] = np.nan
    model = model_of(gappy)
    assert model.occupants == 90
    assert ("gap_coded", "seat_far") in [
        (notice.code, notice.values.get("field")) for notice in model.notices
    ]


def test_intervals_stay_on_their_scale():
    # two mishaps of opposite results: limits may reach the edges, never beyond
    frame = pd.DataFrame(
        {"mishap": [0] * 4 + [1] * 4, "trained": [1, 1, 0, 0] * 2, "y": [1, 1, 0, 1, 0, 1, 1, 0]}
    )
    effect = standardise(model_of(frame, ()))
    for name, bottom, top in (
        ("if_all", 0, 1),
        ("if_none", 0, 1),
        ("difference", -1, 1),
        ("death_ratio", 0, math.inf),
    ):
        found = getattr(effect, name)
        assert bottom <= found.low <= found.value <= found.high <= top
    for low, high in pairwise((effect.difference.low, effect.difference.value, effect.difference.high)):
        assert low < high
