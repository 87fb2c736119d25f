"""Is everything the annex quotes stored, or absent with a reason, and right where it can be worked out anew?"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from thin import THIN

from survstats.effects.augmented import augmented
from survstats.models.fitted import Coefficient
from survstats.models.population_average import fit_population_average
from survstats.records.demo import DEMO_NAMES, demo_folder
from survstats.study.adequacy_told import reading_of
from survstats.study.annex import ESTIMATORS
from survstats.study.beside import store_unknown_survivability
from survstats.study.circumstances import store_circumstances, with_circumstances
from survstats.study.estimating import store_main
from survstats.study.everybody import everybody, in_fixed_order
from survstats.study.pairs import store_pair
from survstats.study.plan import read_study
from survstats.study.results_builder import ResultsBuilder
from survstats.study.steps import read_records

NUMBERS = [
    *(one for one in ESTIMATORS),
    *("effect.number_needed", "effect.augmented_gap"),
    *("flip.log_odds", "flip.p", "flip.smallest_p", "firth.log_odds"),
    *("within.odds_ratio_mid_p", "within.odds_ratio_adjusted"),
    *(f"random.{name}" for name in ("log_odds", "spread", "within", "between", "difference")),
    *("recency.unknown_date", "recency.never"),
    *(f"fading.{name}" for name in ("half_life", "rd_0", "rd_12", "rd_24", "rd_48")),
    *(f"fading.{name}" for name in ("first_month", "last_month", "dates_imputed")),
    *(f"imputed.{name}" for name in ("people", "people_died", "draws", "iterations", "fraction_missing")),
    *(f"adequacy.{name}" for name in ("events_per_column", "calibration_slope", "calibration_intercept")),
    "adequacy.largest_leverage",
    *(f"pairs.{name}_{kind}" for name in ("seat", "breathing") for kind in ("people", "unknown")),
    *("graph.open_paths_p1", "graph.open_paths_p2", "overlap.one_sided"),
]
TABLES = {
    "estimators": "id population target weighting value low high df mishaps occupants",
    "coefficients": "term estimate se df low high",
    "recency": "band from_months to_months occupants survived difference low high",
    "fading_curve": "months difference low high",
    "fading_months": "from_months occupants",
    "modifiers": "modifier level occupants trained died difference low high shrunken",
    "modifier_contrasts": "modifier level against difference low high",
    "imputation_chains": "draw iteration quantity value",
    "imputation_delta": "delta_dead delta_survivors difference low high",
    "calibration": "from_risk to_risk occupants predicted survived_share low high",
    "influence": "mishap occupants leverage change",
    "open_paths": "population who path closable",
    "graph_nodes": "node measured adjusted role",
    "graph_edges": "from to who",
    "era_positivity": "era trained untrained",
    "empty_cells": "role aircraft_class era trained untrained",
    "flow": "step current never lapsed briefing unknown all",
    "crude_shares": "status survived died all of_row_survived of_survivors of_dead",
}
LISTS = [f"graph.{kind}_nodes" for kind in ("adjusted", "partly", "asked", "left_out", "unmeasured")]
#: Codes, the number without which each is not stored, and what it may be.
CODES = {
    "effect.one_arm_hangs": ("effect.rd", "yes no"),
    "effect.roads": ("effect.augmented_gap", "alike apart"),
    "flip.kind": ("flip.p", "enumerated drawn"),
    "random.reading": ("random.difference", "not_told_apart differ"),
    "random.spread_state": ("random.spread", "none some"),
    "adequacy.calibration": ("adequacy.calibration_slope", "no_better too_sure fits"),
}


@pytest.fixture(scope="module")
def main_people():
    study = read_study(demo_folder("demo_main"))
    return study, everybody(study, read_records(study))


@pytest.fixture(scope="module")
def small_people():
    study = read_study(demo_folder("demo_small"))
    return study, everybody(study, read_records(study))


def check_ids(results):
    for name in NUMBERS:
        assert (name in results.numbers) != (name in results.absent), name
    for name, columns in TABLES.items():
        assert (name in results.tables) != (name in results.absent), name
        if name in results.tables:
            assert results.tables[name].columns == tuple(columns.split()), name
    for name in LISTS:
        assert name in results.lists, name
    for part in ("population", "target", "weighting"):
        assert results.codes[f"question.{part}"]
    for name, (number, words) in CODES.items():
        assert (name in results.codes) == (number in results.numbers), name
        assert results.codes.get(name) in (None, *words.split()), name
    for kind in ("fields", "leans_on", "left_out"):
        assert (f"imputed.{kind}" in results.lists) == ("effect.rd_imputed" in results.numbers), kind
    assert ("modifiers.spread" in results.codes) == ("modifiers" in results.tables)
    assert all(results.absent.values())


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_every_id_of_the_annex_is_stored_or_absent_with_a_reason(demo_results, name):
    check_ids(demo_results[name])


@pytest.mark.parametrize("name", THIN)
def test_thin_studies_store_the_same_ids(thin_results, name):
    check_ids(thin_results[name])


def test_with_fewer_than_eight_mishaps_only_the_exact_route_gives_numbers(thin_results):
    results = thin_results["seven_mishaps"]
    for name in (*ESTIMATORS, "flip.p", "firth.log_odds", "random.spread", "adequacy.calibration_slope"):
        assert results.absent[name] in ("few_mishaps", "not_moved", "none_added"), name
    for name in ("recency", "modifiers", "imputation_delta", "influence", "fading_curve"):
        assert name not in results.tables
    assert results.numbers["seen.survival_trained"].method == "clopper_pearson"
    assert results.tables["crude_shares"].rows


def test_the_main_demo_gives_every_table(demo_results):
    assert [name for name in TABLES if name not in demo_results["demo_main"].tables] == []


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_the_flow_adds_up_line_by_line_and_step_by_step(demo_results, name):
    rows = {row[0]: row[1:] for row in demo_results[name].tables["flow"].rows}
    for counts in rows.values():
        assert sum(counts[:-1]) == counts[-1]
    whole = ("aboard", "all_aboard", "in_population", "analysed")
    for at in range(6):
        gone = sum(counts[at] for step, counts in rows.items() if step not in whole)
        assert rows["aboard"][at] - gone == rows["analysed"][at]
    assert rows["analysed"][2:5] == (0, 0, 0)
    ledger = {row[0]: row[1] for row in demo_results[name].tables["ledger_p1"].rows}
    assert {step: counts[-1] for step, counts in rows.items() if step != "all_aboard"} == ledger
    assert rows["all_aboard"][-1] == len(demo_results[name].rows["P2"])


def test_crude_shares_by_plain_counting(demo_results, main_people):
    frame = main_people[1].primary.frame
    counted = pd.crosstab(frame["trained_status"], frame["survived"])
    for row in demo_results["demo_main"].tables["crude_shares"].rows[:-1]:
        code = {"never": "none", "briefing": "briefing_or_dry_only"}.get(row[0], row[0])
        died, lived = counted.loc[code, 0], counted.loc[code, 1]
        assert row[1:4] == (lived, died, lived + died)
        shares = (lived / (lived + died), lived / counted[1].sum(), died / counted[0].sum())
        assert row[4:] == pytest.approx(shares)


def test_estimators_repeat_the_numbers_in_a_fixed_order(demo_results):
    results = demo_results["demo_main"]
    rows = results.tables["estimators"].rows
    assert [row[0] for row in rows] == [one for one in ESTIMATORS if one in results.numbers]
    for name, *_, value, low, high, df, mishaps, occupants in rows:
        number = results.numbers[name]
        told = (number.value, number.low, number.high, number.df, number.mishaps, number.occupants)
        assert (value, low, high, df, mishaps, occupants) == told
    assert dict(zip((row[0] for row in rows), (row[1:4] for row in rows), strict=True))[
        "effect.rd_mishap_average"
    ] == ("P1", "all", "mishaps")


def test_models_called_alone_give_what_is_stored(demo_results, main_people):
    study, people = main_people
    numbers, frame = demo_results["demo_main"].numbers, people.primary.analysed
    names = {"outcome": "survived", "exposure": "trained", "cluster": "mishap_id"}
    alone = augmented(frame, covariates=study.covariates, **names)
    assert numbers["effect.rd_augmented"].value == pytest.approx(alone.difference.value, rel=1e-8)
    gap = numbers["effect.rd"].value - numbers["effect.rd_augmented"].value
    assert numbers["effect.augmented_gap"].value == pytest.approx(gap, rel=1e-8)
    apart = abs(gap) > alone.minus_standardised.se
    assert demo_results["demo_main"].codes["effect.roads"] == ("apart" if apart else "alike")
    filled = frame.assign(
        sig_wave_height_m=frame["sig_wave_height_m"].fillna(frame["sig_wave_height_m"].mean()),
        gap=frame["sig_wave_height_m"].isna().astype(float),
    )
    columns = ["trained", *study.covariates, "gap"]
    found = fit_population_average(filled, "survived", columns, cluster="mishap_id")
    risks = [found.mean_risk(filled, setting={"trained": value}) for value in (1.0, 0.0)]
    assert numbers["effect.rd_population_average"].value == pytest.approx(risks[0] - risks[1], rel=1e-6)


def test_leverages_add_up_to_the_columns_and_changes_are_those_of_the_jackknife(demo_results):
    results = demo_results["demo_main"]
    rows = results.tables["influence"].rows
    assert sum(row[2] for row in rows) == pytest.approx(results.numbers["effect.columns"].value)
    assert max(row[2] for row in rows) == results.numbers["adequacy.largest_leverage"].value
    changes = np.array([row[3] for row in rows])
    assert (np.diff(np.abs(changes)) <= 1e-12).all()
    g, main = len(rows), results.numbers["effect.rd"]
    error = math.sqrt((g - 1) / g * (changes**2).sum())
    assert (main.high - main.low) / 2 == pytest.approx(2.004879 * error, rel=1e-5)  # t(54), computed by scipy
    assert sum(row[1] for row in rows) == results.numbers["cohort.analysed"].value


def test_bands_and_levels_hold_people_of_the_right_kind(demo_results, main_people):
    results, frame = demo_results["demo_main"], main_people[1].primary.frame
    months = frame["months_since"].where(frame["trained_status"].isin(["current", "lapsed"]))
    for _, low, high, occupants, survived, *_ in results.tables["recency"].rows:
        inside = (months > low) | ((low == 0) & (months == 0))
        inside &= months <= (math.inf if high is None else high)
        assert (occupants, survived) == (inside.sum(), frame.loc[inside, "survived"].sum())
    assert sum(row[1] for row in results.tables["fading_months"].rows) == months.notna().sum()
    levels = {row[:2]: row[2:5] for row in results.tables["modifiers"].rows}
    far = main_people[1].primary.analysed.query("far_seat == 'yes'")
    assert levels["far_seat", "yes"] == (len(far), far["trained"].sum(), (far["survived"] == 0).sum())
    capsized = main_people[1].passengers.analysed.query("capsized == 'yes'")
    assert levels["capsized", "yes"][0] == len(capsized)
    assert results.lists["modifiers.passengers_only"] == ["capsized"]


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [
        (-0.3, 0.3, "no_better"),
        (-0.1, 1.4, "no_better"),
        (-0.9, -0.2, "no_better"),
        (0.1, 0.9, "too_sure"),
        (0.1, 1.2, "fits"),
        (1.1, 1.9, "fits"),
    ],
)
def test_what_the_slope_of_the_calibration_says(low, high, told):
    assert reading_of(Coefficient("slope", (low + high) / 2, 0.1, 9.0, low, high)) == told


def test_within_and_between_are_told_apart_only_where_the_limits_are(demo_results):
    for results in demo_results.values():
        if (found := results.numbers.get("random.difference")) is not None:
            apart = found.low > 0 or found.high < 0
            assert results.codes["random.reading"] == ("differ" if apart else "not_told_apart")
            none = results.numbers["random.spread"].value < 1e-3
            assert results.codes["random.spread_state"] == ("none" if none else "some")


def test_shrunken_levels_that_are_all_the_whole_show_no_spread(demo_results):
    for results in demo_results.values():
        if "modifiers" in results.tables:
            whole = {results.numbers[f"effect.rd{name}"].value for name in ("", "_passengers")}
            alike = {row[8] for row in results.tables["modifiers"].rows} <= whole
            assert results.codes["modifiers.spread"] == ("none_seen" if alike else "some")


def test_levels_without_a_whole_difference_say_why(demo_results, small_people):
    results = demo_results["demo_survivor_only"]
    assert results.absent["modifiers"] == results.absent["effect.rd"] == "one_outcome"
    assert results.lists["modifiers.left_out"] == [
        f"{name} one_outcome" for name in results.lists["plan.modifiers"]
    ]
    people, out = small_people[1], ResultsBuilder()
    out.absent |= {"effect.rd": "separated", "effect.rd_passengers": "one_arm"}
    frame = people.primary.analysed
    store_circumstances(
        out, ("capsized", "far_seat"), everyone=(frame, (), None), passengers=(frame, (), None)
    )
    assert out.lists["modifiers.left_out"] == ["capsized one_arm", "far_seat separated"]
    assert out.absent["modifier_contrasts"] == "one_level"


def test_an_arm_whose_deaths_one_mishap_holds_is_told(small_people):
    people = small_people[1]
    frame = people.primary.analysed
    deaths = frame["trained"].eq(1) & frame["survived"].eq(0)
    first = frame.loc[deaths, "mishap_id"].iloc[0]
    hanging = frame.assign(survived=frame["survived"].mask(deaths & frame["mishap_id"].ne(first), 1))
    for rows, told in ((frame, "no"), (hanging, "yes")):
        out = ResultsBuilder()
        store_main(out, rows, ("role",))
        assert out.codes["effect.one_arm_hangs"] == told


def test_the_delta_range_without_delta_is_the_imputed_difference(demo_results):
    results = demo_results["demo_main"]
    rows = {row[:2]: row[2] for row in results.tables["imputation_delta"].rows}
    assert rows[0.0, 0.0] == pytest.approx(results.numbers["effect.rd_imputed"].value, rel=1e-8)
    assert rows[-3.0, 0.0] > rows[0.0, 0.0] > rows[3.0, 0.0]
    people = results.numbers["imputed.people"].value, results.numbers["imputed.people_died"].value
    assert people == (results.numbers["seen.unknown"].value, results.numbers["seen.unknown_died"].value)


def test_cold_water_is_below_the_limit_and_unknown_is_not_warm():
    frame = pd.DataFrame({"water_temp_c": [14.9, 15.0, np.nan]})
    assert with_circumstances(frame, cold_water_c=15)["cold_water"].tolist() == ["yes", "no", "unknown"]
    assert with_circumstances(frame, cold_water_c=None)["cold_water"].tolist() == ["unknown"] * 3


def test_the_fixed_order_depends_on_no_name_and_no_place(main_people):
    frame = main_people[1].primary.frame
    first = in_fixed_order(frame)
    mixed = frame.sample(frac=1, random_state=3)
    mixed = mixed.assign(
        mishap_id=mixed["mishap_id"].map(lambda name: name[::-1]), file_row=range(len(mixed)), occupant_id="x"
    )
    second = in_fixed_order(mixed)
    names = [name for name in frame.columns if name not in ("occupant_id", "file_row", "mishap_file_row")]
    pd.testing.assert_frame_equal(first[names], second[names])
    assert first["mishap_id"].nunique() == frame["mishap_id"].nunique()


def test_a_pair_is_fitted_only_where_training_can_have_moved_the_seat(main_people):
    frame, covariates = main_people[1].primary.analysed, ("role", "light")
    kept = {"name": "seat", "added": "far_seat", "whole": None}
    out = ResultsBuilder()
    store_pair(out, frame, covariates, fields=(), **kept)
    assert out.absent == {"effect.rd_without_seat": "not_moved", "effect.rd_with_seat": "not_moved"}
    out = ResultsBuilder()
    store_pair(out, frame, covariates, fields=("far_seat",), **kept)
    without, with_seat = (out.numbers[f"effect.rd_{kind}_seat"].value for kind in ("without", "with"))
    other = ResultsBuilder()
    store_pair(other, frame, (*covariates, "far_seat"), fields=("far_seat",), **kept)
    assert other.numbers["effect.rd_with_seat"].value == pytest.approx(with_seat, rel=1e-10)
    assert other.numbers["effect.rd_without_seat"].value == pytest.approx(without, rel=1e-10)
    assert without != pytest.approx(with_seat, abs=1e-6)


def test_mishaps_of_unknown_survivability_are_added_where_there_are_any(main_people):
    study, people = main_people
    derived = people.derived
    out = ResultsBuilder()
    store_unknown_survivability(out, derived, people.primary.analysed, study.covariates)
    found = out.numbers["effect.rd_unknown_survivability"]
    unknown = ~derived["impact_survivability"].isin(["survivable", "partially_survivable", "none"])
    alive = derived["alive_at_immersion"].eq("yes") | (
        derived["survived"].eq(1) & ~derived["alive_at_immersion"].eq("no")
    )
    added = (derived["in_p2"] & unknown & alive & derived["trained"].notna()).sum()
    assert found.occupants == len(people.primary.analysed) + added
    assert added > 0
    out = ResultsBuilder()
    settled = derived.assign(impact_survivability="none")
    store_unknown_survivability(out, settled, people.primary.analysed, study.covariates)
    assert out.absent == {"effect.rd_unknown_survivability": "none_added"}


def test_another_seed_moves_what_is_drawn_and_nothing_else(main_people, demo_results):
    from survstats.study.run import run  # here alone a study is carried out again

    study = read_study(demo_folder("demo_small"))
    plan = study.plan.model_copy(update={"run": study.plan.run.model_copy(update={"seed": 5})})
    other, first = run(replace(study, plan=plan), keep_log=False), demo_results["demo_small"]
    drawn = {name for name, number in first.numbers.items() if other.numbers.get(name) != number}
    of_draws = (
        "effect.rd_imputed",
        "imputed.fraction_missing",
        "flip.",
        "tipping.",
        "miscoding.",
        "choices.",
    )
    assert not [name for name in drawn if not name.startswith(of_draws)]
    assert "effect.rd_imputed" in drawn
