"""Do both legs move only what no document backs, and do they find the truth where entries are wrong?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hidden_entries_world import CAUSES, hidden_entries
from hidden_entries_world import NAMES as WORLD

from survstats.challenge import miscoding
from survstats.challenge.entries import recorded_trained
from survstats.challenge.miscoding import all_unknown_leg, found_leg, undocumented_dead
from survstats.effects.completed_sets import Question
from survstats.effects.imputation import ImputationPlan, impute
from survstats.effects.imputed_effect import imputed_effect
from survstats.effects.risk_model import prepare
from survstats.effects.standardise import standardise
from survstats.groundwork.errors import CallError, NotEstimable
from survstats.groundwork.resampling import bootstrap, stream
from survstats.models.penalised import fit_firth
from survstats.records.cohort import build_cohort
from survstats.records.demo import demo_folder
from survstats.records.deriving import derive
from survstats.records.loading import read_records

COVARIATES = ("role", "operator_code", "far_seat", "sig_wave_height_m")
NAMES = {"outcome": "survived", "exposure": "trained", "covariates": COVARIATES, "cluster": "mishap_id"}
PLAN = ImputationPlan(COVARIATES, draws=6, iterations=3, currency_months=24)
WORLD_PLAN = ImputationPlan(CAUSES, draws=20, iterations=3, cluster="mishap", always=("survived",))


@pytest.fixture(scope="module")
def primary():
    folder = demo_folder("demo_main")
    records = read_records(folder / "mishap.csv", folder / "occupant.csv")
    return build_cohort(derive(records, currency_months=24), records, population="P1").frame


@pytest.fixture(scope="module")
def world():
    return hidden_entries(1, 60)


def main(frame, names, level=0.95):
    return standardise(prepare(frame[frame["trained"].notna()], **names), level=level).difference


def found(frame, *, sensitivity=0.8, draws=20, seed=1):
    plan = ImputationPlan(CAUSES, draws=draws)
    return found_leg(frame, plan=plan, sensitivity=sensitivity, rng=stream(seed, "found"), **WORLD)


def forgotten(frame, *, fewest=10, plan=PLAN, names=NAMES, seed=1):
    return all_unknown_leg(frame, plan=plan, fewest_documented=fewest, rng=stream(seed, "forgotten"), **names)


def exposures_of(monkeypatch, frame, **options):
    """What the first leg hands on to be fitted, shape (m, n)."""
    taken = []

    def watched(frames, exposures, question, real=miscoding.completed_sets):
        taken.extend(exposures)
        return real(frames, exposures, question)

    monkeypatch.setattr(miscoding, "completed_sets", watched)
    leg = found(frame, **options)
    assert len(taken) == 1
    return taken[0], leg


def test_the_undocumented_dead_are_those_compared_who_died_without_certificate_or_roster(primary):
    rows = primary[
        (primary["survived"] == 0)
        & primary["trained_status"].isin(["current", "none"])
        & ~primary["training_evidence"].isin(["certificate", "roster"])
    ]
    assert len(rows) == 11
    assert list(np.flatnonzero(undocumented_dead(primary))) == list(rows.index)


# the first leg: found out for a share only


def test_only_undocumented_dead_people_recorded_untrained_are_ever_moved(world, monkeypatch):
    people = world.copy()
    died = np.flatnonzero(people["survived"] == 0)
    people.loc[died[::3], ["documented", "training_evidence"]] = True, "roster"
    people.loc[died[1::9], ["trained", "trained_status"]] = np.nan, "unknown"
    exposures, leg = exposures_of(monkeypatch, people)
    recorded = people["trained"].to_numpy()
    movable = undocumented_dead(people) & (recorded == 0)
    assert ((exposures == 1) & movable).any(axis=1).all()
    assert np.array_equal(exposures[:, ~movable], np.tile(recorded[~movable], (20, 1)), equal_nan=True)
    assert leg.people == pytest.approx(((exposures != recorded) & np.isfinite(exposures)).sum() / 20)
    assert leg.people > 0


def test_as_many_are_moved_as_bayes_rule_says(world):
    # with r the share seen, odds(r) (1 - s) / s summed over those recorded untrained is trained (1 - s) / s
    documented = world["documented"].to_numpy()
    recorded = int((~documented & (world["trained"] == 1)).sum())
    for sensitivity in (0.8, 0.9):
        leg = found(world, sensitivity=sensitivity, draws=120)
        assert leg.people == pytest.approx(recorded * (1 - sensitivity) / sensitivity, rel=0.12)


def test_counting_more_of_the_dead_as_trained_makes_training_look_worse(world):
    at = [found(world, sensitivity=s).difference.value for s in (1.0, 0.9, 0.8, 0.6)]
    assert at == sorted(at, reverse=True)
    assert at[0] - at[-1] > 0.05


def test_with_every_trained_person_found_out_the_leg_is_the_main_estimate(primary):
    leg = found_leg(primary, plan=PLAN, sensitivity=1.0, rng=stream(1, "found"), **NAMES)
    for one, level in ((leg.difference, 0.95), (leg.narrower, 0.9)):
        plain = main(primary, NAMES, level)
        assert (one.value, one.low, one.high) == (plain.value, plain.low, plain.high)
    assert (leg.people, leg.limit_error, leg.narrower_error, leg.value_error) == (0, 0, 0, 0)


def test_with_every_dead_person_documented_both_legs_are_the_main_estimate(primary):
    frame = primary.copy()
    dead = (frame["survived"] == 0) & (frame["trained_status"] != "unknown")
    frame.loc[dead, ["documented", "training_evidence"]] = True, "roster"
    plain = main(frame, NAMES)
    for leg in (
        found_leg(frame, plan=PLAN, sensitivity=0.8, rng=stream(1, "found"), **NAMES),
        forgotten(frame),
    ):
        assert (leg.difference.value, leg.difference.low) == (plain.value, plain.low)
        assert leg.people == 0


def test_the_narrower_interval_lies_within_the_wider_one(world):
    leg = found(world)
    assert leg.difference.low < leg.narrower.low < leg.narrower.value == leg.difference.value
    assert leg.narrower.high < leg.difference.high
    assert (leg.difference.level, leg.narrower.level) == (0.95, 0.9)
    assert leg.narrower_error > 0
    assert 0 < leg.limit_error < leg.difference.se


def test_if_no_trained_dead_person_was_ever_found_by_hearsay_some_are_moved_all_the_same(world):
    people = world.assign(trained=world["trained"].where(world["documented"] | (world["trained"] != 1), 0.0))
    assert not people.loc[undocumented_dead(people), "trained"].any()
    leg = found(people, draws=60, sensitivity=0.5)
    n = int(undocumented_dead(people).sum())
    expected = n * 0.5 / (n + 0.5)  # odds of .5 / (n + 1), of n people
    assert leg.people == pytest.approx(expected, abs=4 * np.sqrt(expected / 60))
    assert leg.people > 0
    assert leg.leans_on == ()


def test_no_sensitivity_outside_its_range(world):
    for sensitivity in (0.0, -0.2, 1.1):
        with pytest.raises(CallError):
            found(world, sensitivity=sensitivity)


def test_the_leg_finds_the_truth_where_one_in_five_trained_dead_was_missed():
    # against the estimate from true entries of the same people, so that only what entries do is left
    off = []
    for seed in range(8):
        people = hidden_entries(seed, 60)
        truth = main(people.assign(trained=people["truly"]), WORLD).value
        off.append((main(people, WORLD).value - truth, found(people, seed=seed).difference.value - truth))
    naive, leg = np.mean(off, axis=0)
    assert naive > 0.06
    assert abs(leg) < 0.03


@pytest.mark.slow
@pytest.mark.parametrize("effect", [0.9, 0.0])
def test_the_leg_finds_the_truth_over_many_sets(effect):
    off = []
    for seed in range(60):
        people = hidden_entries(seed, 60, effect=effect)
        truth = main(people.assign(trained=people["truly"]), WORLD).value
        off.append((main(people, WORLD).value - truth, found(people, seed=seed).difference.value - truth))
    naive, leg = np.mean(off, axis=0)
    error = np.std(off, axis=0, ddof=1) / np.sqrt(60)
    assert naive > 0.07
    assert abs(leg) < 0.005 + 3 * error[1]


# how often such people are recorded trained


def test_each_draw_is_the_penalised_fit_of_its_mishaps_with_the_intercept_refitted(world):
    among = undocumented_dead(world)
    question = Question("survived", "trained", ("crew", "far"), "mishap")
    entries = recorded_trained(world, among, question, draws=5, rng=stream(3, "entries"))
    assert (entries.leans_on, entries.left_out) == (("crew", "far"), ())
    weights = bootstrap(world["mishap"].nunique(), 5, stream(3, "entries"))
    times = pd.DataFrame(weights.T, index=sorted(world["mishap"].unique()))
    people = world[among]
    for draw in range(5):
        rows = people.loc[people.index.repeat(people["mishap"].map(times[draw]).astype(int))]
        fit = fit_firth(rows, "trained", ["crew", "far"])
        slopes = [one.estimate for one in fit.table.rows][1:]
        expected = fit.flic_intercept + people[["crew", "far"]].to_numpy() @ slopes
        assert entries.log_odds[draw] == pytest.approx(expected, abs=1e-6)
        chance = 1 / (1 + np.exp(-entries.log_odds[draw]))
        counts = people["mishap"].map(times[draw]).to_numpy()
        assert np.average(chance, weights=counts) == pytest.approx(rows["trained"].mean(), abs=1e-8)


def test_covariates_enter_whole_as_far_as_ten_people_of_the_rarer_entry_carry_a_column(world):
    among = undocumented_dead(world)
    trained = np.flatnonzero(among & (world["trained"] == 1))
    for kept, leans_on in ((9, ()), (10, ("crew",)), (29, ("crew", "far"))):
        people = world.copy()
        people.loc[trained[kept:], "trained"] = 0.0
        question = Question("survived", "trained", ("aircraft_class", "crew", "far"), "mishap")
        rarer_first = recorded_trained(people, among, question, draws=2, rng=stream(1, "few"))
        expected = ("aircraft_class",) if kept == 29 else leans_on  # two columns, the third finds no room
        assert rarer_first.leans_on == expected
        assert set(rarer_first.left_out) == {"aircraft_class", "crew", "far"} - set(expected)


def test_a_covariate_known_of_none_of_them_is_left_out_and_a_gap_is_coded(world):
    among = undocumented_dead(world)
    people = world.assign(
        wave=np.where(among, np.nan, 1.0), depth=world["sea_state"].where(world.index % 5 > 0)
    )
    question = Question("survived", "trained", ("wave", "depth"), "mishap")
    entries = recorded_trained(people, among, question, draws=3, rng=stream(1, "gaps"))
    assert (entries.leans_on, entries.left_out) == (("depth",), ("wave",))
    assert np.isfinite(entries.log_odds).all()


def test_a_draw_in_which_nobody_is_recorded_trained_keeps_a_small_chance():
    people = pd.DataFrame(
        {"mishap": np.repeat(np.arange(8), 4), "survived": 0, "trained": 0.0, "crew": 0.0}
    ).astype({"survived": float})
    people.loc[0, "trained"] = 1.0
    among = np.ones(32, dtype=bool)
    question = Question("survived", "trained", ("crew",), "mishap")
    entries = recorded_trained(people, among, question, draws=40, rng=stream(2, "rare"))
    weights = bootstrap(8, 40, stream(2, "rare"))
    chance = 1 / (1 + np.exp(-entries.log_odds[:, 0]))
    without = weights[:, 0] == 0
    assert 5 < without.sum() < 30
    assert chance[without] == pytest.approx(0.5 / 33, abs=1e-9)
    assert chance[~without] == pytest.approx(weights[~without, 0] / 32, abs=1e-9)


# the second leg: as if nothing had been written


def test_what_was_written_of_undocumented_dead_people_does_not_matter(primary):
    plain = forgotten(primary)
    hearsay = (primary["survived"] == 0) & ~primary["documented"]
    spoilt = primary.copy()
    rows = np.flatnonzero(hearsay & (primary["trained_status"] != "unknown"))
    assert len(rows) == plain.people == 13
    columns = ["trained_status", "trained", "training_ever", "training_type", "training_date_precision"]
    spoilt.loc[rows, columns] = "current", 1.0, "yes", "underwater_escape", "day"
    spoilt.loc[rows, "training_last_date"] = spoilt.loc[rows, "event_date"] - pd.Timedelta(days=90)
    other = forgotten(spoilt)
    assert main(spoilt, NAMES).value < main(primary, NAMES).value - 0.05
    assert other.difference == plain.difference
    assert other.limit_error == plain.limit_error


def test_half_of_what_hearsay_says_of_unknown_dead_counts_no_more_but_a_document_does(primary):
    unknown = np.flatnonzero((primary["survived"] == 0) & (primary["trained_status"] == "unknown"))
    drawn = {}
    for evidence in ("next_of_kin", "roster"):
        frame = primary.copy()
        frame.loc[unknown, ["training_ever", "training_type", "training_evidence"]] = (
            "yes",
            "briefing_only",
            evidence,
        )
        drawn[evidence] = forgotten(frame).difference.value
    assert drawn["next_of_kin"] == forgotten(primary).difference.value
    assert drawn["roster"] != drawn["next_of_kin"]


def test_the_second_leg_is_imputation_from_documented_dead_and_survivors(primary):
    frame = primary.copy()
    rows = (frame["survived"] == 0) & ~frame["documented"]
    frame["trained_status"] = frame["trained_status"].astype(object).mask(rows, "unknown")
    frame["trained"] = frame["trained"].mask(rows)
    frame.loc[rows, ["training_ever", "training_type"]] = "unknown"
    frame["training_last_date"] = frame["training_last_date"].mask(rows)
    by_hand = imputed_effect(impute(frame, plan=PLAN, rng=stream(1, "forgotten")), **NAMES)
    leg = forgotten(primary)
    assert leg.difference == by_hand.difference
    assert (leg.limit_error, leg.value_error) == (by_hand.limit_error, by_hand.value_error)
    assert (
        leg.narrower
        == imputed_effect(impute(frame, plan=PLAN, rng=stream(1, "forgotten")), level=0.9, **NAMES).difference
    )
    assert leg.difference.se > main(primary, NAMES).se


def test_the_rows_given_are_not_touched(primary):
    before = primary.copy()
    forgotten(primary)
    found_leg(primary, plan=PLAN, sensitivity=0.8, rng=stream(1, "found"), **NAMES)
    pd.testing.assert_frame_equal(primary, before)


def test_too_few_documented_dead_are_not_learnt_from(primary):
    documented = primary[(primary["survived"] == 0) & primary["documented"]]
    enough = int(documented["trained_status"].isin(["current", "none"]).sum())
    assert enough == 40 < len(documented)
    forgotten(primary, fewest=enough)
    with pytest.raises(NotEstimable) as fault:
        forgotten(primary, fewest=enough + 1)
    assert fault.value.reason == "few_documented_dead"
    with pytest.raises(NotEstimable):
        forgotten(hidden_entries(1, 30), plan=WORLD_PLAN, names=WORLD)


@pytest.mark.slow
def test_the_second_leg_finds_the_truth_where_documents_do_not_depend_on_training():
    off = []
    for seed in range(24):
        people = hidden_entries(seed, 60)
        rng = np.random.default_rng([79, seed])
        known = (people["survived"] == 0) & (rng.random(len(people)) < 0.6)
        people.loc[known, ["documented", "training_evidence"]] = True, "roster"
        people["trained"] = people["trained"].mask(known, people["truly"])
        people["trained_status"] = np.where(people["trained"] == 1, "current", "none")
        truth = main(people.assign(trained=people["truly"]), WORLD).value
        leg = forgotten(people, plan=WORLD_PLAN, names=WORLD, seed=seed)
        off.append((main(people, WORLD).value - truth, leg.difference.value - truth))
    naive, leg = np.mean(off, axis=0)
    error = np.std(off, axis=0, ddof=1) / np.sqrt(24)
    assert naive > 0.02
    assert abs(leg) < 0.01 + 3 * error[1]
    assert abs(leg) < naive
