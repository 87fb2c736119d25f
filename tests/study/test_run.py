"""Does a study give the same numbers each time, whatever the order of its rows, under the ids others rely on?"""

from __future__ import annotations

import datetime
import math
from dataclasses import replace

import pandas as pd
import pytest
from thin import THIN, read_tables, write_tables

from survstats.groundwork.errors import RecordsError, StudyFileError
from survstats.records.demo import DEMO_NAMES, demo_folder
from survstats.study.plan import read_study
from survstats.study.run import run
from survstats.study.run_log import LOG_FILE
from survstats.study.steps import find, read_records

TODAY = datetime.date(2026, 11, 24)

#: Ids that others may rely on, as far as they are built.
IDS = [
    *(f"cohort.{name}" for name in ("aboard", "analysed", "mishaps", "died")),
    *(f"effect.survival_if_{name}_trained" for name in ("all", "none")),
    *(f"effect.{name}" for name in ("rd", "rr_death", "rd_untrained", "rd_passengers", "rd_all_aboard")),
    *("crude.rd", "within.odds_ratio", "claim.rd_low", "claim.rd_high", "unknown.rd_low", "unknown.rd_high"),
]
CODES = [f"verdict.{name}" for name in ("word", "reason", "chance", "reading", "direction", "size")]


def run_folder(folder):
    return run(read_study(folder), today=TODAY, keep_log=False)


@pytest.mark.parametrize("name", ["demo_main", "demo_null", "demo_small"])
def test_the_ids_others_rely_on_are_there(demo_results, name):
    results = demo_results[name]
    assert [one for one in IDS if one not in results.numbers] == []
    assert [one for one in CODES if one not in results.codes] == []
    assert len(results.tables["gates"].rows) == 8


def test_an_id_is_either_a_number_or_absent_with_a_reason(demo_results):
    for results in demo_results.values():
        assert not set(results.numbers) & set(results.absent)
        for name in IDS:
            assert name in results.numbers or results.absent[name]


def may_be_infinite(name, number):
    """An odds ratio where all of one group lived or died, and a strength that no hidden fitness reaches."""
    return number.unit == "odds_ratio" or name.startswith(
        ("fitness.strength", "fitness.odds", "hidden_bias.")
    )


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_no_number_is_silent_nonsense(demo_results, name):
    for one, number in demo_results[name].numbers.items():
        assert math.isfinite(number.value) or (may_be_infinite(one, number) and number.value == math.inf), one
        assert not any(math.isnan(end) for end in (number.low, number.high) if end is not None)
        if number.low is not None and number.high is not None:
            assert number.low <= number.value <= number.high
        if number.unit == "share":
            assert 0 <= number.value <= 1


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_every_gate_is_assessed_and_the_gates_decide(demo_results, name):
    results = demo_results[name]
    states = {row[1] for row in results.tables["gates"].rows}
    assert "not_assessed" not in states
    assert results.codes["verdict.reason"] == "gates"
    assert results.numbers["verdict.assessed"].value == 8


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_ledgers_add_up_and_rows_lead_back_to_the_file(demo_results, name):
    results = demo_results[name]
    for prefix, key in (("cohort", "P1"), ("all_aboard", "P2")):
        ledger = {one: n.value for one, n in results.numbers.items() if one.startswith(f"{prefix}.ledger.")}
        whole = {f"{prefix}.ledger.{one}" for one in ("aboard", "in_population", "analysed")}
        out = sum(value for one, value in ledger.items() if one not in whole)
        assert ledger[f"{prefix}.ledger.aboard"] - out == ledger[f"{prefix}.ledger.analysed"]
        assert len(results.rows[key]) == results.numbers[f"{prefix}.population"].value
    lines = (demo_folder(name) / "occupant.csv").read_text(encoding="utf-8").splitlines()
    for mishap, occupant, row in results.rows["P2"]:
        assert lines[row - 1].startswith(f"{mishap},{occupant},")


def test_two_runs_are_the_same_to_the_last_digit(demo_results):
    assert run_folder(demo_folder("demo_small")).to_json() == demo_results["demo_small"].to_json()


@pytest.mark.parametrize("seed", [1, pytest.param(2, marks=pytest.mark.slow)])
def test_the_order_of_the_rows_changes_no_number(demo_results, study_folder, seed):
    mishap, occupant = read_tables(study_folder)
    write_tables(
        study_folder, (mishap.sample(frac=1, random_state=seed), occupant.sample(frac=1, random_state=seed))
    )
    mixed, first = run_folder(study_folder), demo_results["demo_small"]
    assert mixed.codes == first.codes
    assert mixed.absent == first.absent
    assert set(mixed.numbers) == set(first.numbers)
    for name, number in first.numbers.items():
        other = mixed.numbers[name]
        for part in ("value", "low", "high"):
            if getattr(number, part) is not None:
                assert getattr(other, part) == pytest.approx(getattr(number, part), rel=1e-7, abs=1e-10), name


def test_relabelled_mishaps_and_columns_in_another_order_change_no_number(demo_results, study_folder):
    mishap, occupant = read_tables(study_folder)
    for table in (mishap, occupant):
        table["mishap_id"] = table["mishap_id"].map(lambda name: f"{name[::-1]}-z")
    write_tables(study_folder, (mishap[mishap.columns[::-1]], occupant[occupant.columns[::-1]]))
    mixed, first = run_folder(study_folder), demo_results["demo_small"]
    for name, number in first.numbers.items():
        assert mixed.numbers[name].value == pytest.approx(number.value, rel=1e-7, abs=1e-10), name


def test_every_step_is_told_in_order():
    told = []
    run(read_study(demo_folder("demo_survivor_only")), progress=told.append, today=TODAY)
    assert told == [
        "reading",
        "checking",
        "counting",
        "estimating",
        "beside",
        "imputing",
        "challenging",
        "judging",
        "recency",
        "deciding",
    ]


def test_errors_in_the_records_stop_the_run_with_the_first_and_their_number(study_folder):
    mishap, occupant = read_tables(study_folder)
    occupant.loc[[3, 9], "outcome"] = "maybe"
    write_tables(study_folder, (mishap, occupant))
    with pytest.raises(RecordsError) as caught:
        run_folder(study_folder)
    told = str(caught.value)
    assert "occupant.csv, row 5, outcome: found maybe" in told
    assert "1 more" in told


FORMS = {
    "everyone_trained": "all_trained",
    "nobody_trained": "none_trained",
    "nobody_died": "all_survived",
    "all_died": "all_died",
    "one_mishap": "one_mishap",
    "two_mishaps": "few_mishaps",
    "seven_mishaps": "few_mishaps",
    "survivors_asked": "survivor_only",
    "one_occupant": "all_trained",
    "empty_covariate": "missing_value",
    "only_unknown": "no_rows",
    "nobody_alive_at_flooding": "no_rows",
}


@pytest.mark.parametrize("name", THIN)
def test_thin_data_is_no_fault_and_is_told_by_its_reason(thin_results, name):
    results = thin_results[name]
    form = results.codes["brief.form"]
    assert form == FORMS[name]
    assert ("effect.rd" in results.numbers) == (form == "estimated")
    assert results.codes["verdict.word"] == "cannot_tell"
    for one, number in results.numbers.items():
        assert math.isfinite(number.value) or may_be_infinite(one, number), one


def log_of(folder):
    path = folder / LOG_FILE
    return path.read_text(encoding="utf-8").splitlines()[1:] if path.exists() else []


def test_the_plan_is_in_the_log_before_any_outcome_is_counted(study_folder, monkeypatch):
    def stopped(*_words, **_more):
        raise KeyboardInterrupt

    monkeypatch.setattr("survstats.study.everybody.derive", stopped)
    with pytest.raises(KeyboardInterrupt):
        run(read_study(study_folder), today=TODAY)
    (line,) = log_of(study_folder)
    assert line.split(",")[1] == read_study(study_folder).analysis_hash


def test_plans_tried_on_the_same_records_are_counted(few_mishaps_folder):
    def counted():
        results = run(read_study(few_mishaps_folder), today=TODAY)
        assert results.codes["log.state"] == "kept"
        names = ("plan_number", "plans_here", "plans", "states")
        return [int(results.numbers[f"log.{name}"].value) for name in names]

    plan = few_mishaps_folder / "study.toml"
    assert counted() == [1, 1, 1, 1]
    plan.write_text(plan.read_text().replace('prepared_by = ""', 'prepared_by = "somebody"'))
    assert counted() == [1, 1, 1, 1]
    first = plan.read_text()
    plan.write_text(first.replace("currency_months = 24", "currency_months = 48"))
    assert counted() == [2, 2, 2, 1]
    mishap, occupant = read_tables(few_mishaps_folder)
    write_tables(few_mishaps_folder, (mishap.sample(frac=1, random_state=1), occupant))
    # the trainer's own runs are no part of the comparison
    runs = "person_code,run_date,run_no,course,posture,result\np1,2020-05-01,1,initial,upright,passed\n"
    (few_mishaps_folder / "training_run.csv").write_text(runs, encoding="utf-8")
    assert counted() == [2, 2, 2, 1]
    write_tables(few_mishaps_folder, (mishap.assign(wind_kt="20"), occupant))
    assert counted() == [1, 1, 2, 2]
    plan.write_text(first)
    write_tables(few_mishaps_folder, (mishap, occupant))
    assert counted() == [1, 2, 2, 2]


def test_the_log_counts_papers_for_sharing(few_mishaps_folder):
    def shared(audience):
        results = run(read_study(few_mishaps_folder), today=TODAY, audience=audience)
        return int(results.numbers["log.shared"].value)

    assert [shared(audience) for audience in ("board", "sharing", "sharing", "board")] == [0, 1, 1, 1]
    plan = few_mishaps_folder / "study.toml"
    plan.write_text(plan.read_text() + '\n[population]\nroles = ["passenger"]\n')
    assert shared("sharing") == 2


def test_a_study_without_a_model_is_checked_but_not_compared(study_folder):
    plan = study_folder / "study.toml"
    text = plan.read_text()
    plan.write_text(text[: text.index("[model]")] + text[text.index("[paper]") :])
    study = read_study(study_folder)
    assert [f for f in find(read_records(study), study=study, today=TODAY) if f.severity == "error"] == []
    with pytest.raises(StudyFileError) as caught:
        run(study, today=TODAY)
    assert (caught.value.reason, caught.value.line) == ("no_model", None)
    assert "[model]" in str(caught.value)
    assert "covariates = [" in str(caught.value)
    assert log_of(study_folder) == []


def test_a_roster_without_outcomes_is_refused_before_the_log(study_folder, monkeypatch):
    study = read_study(study_folder)
    roster = replace(read_records(study), outcomes_pending=True)
    monkeypatch.setattr("survstats.study.run.read_records", lambda _study, _lock: roster)
    with pytest.raises(RecordsError) as caught:
        run(study, today=TODAY)
    assert caught.value.reason == "no_outcomes"
    assert log_of(study_folder) == []


def test_no_log_where_none_is_wanted_where_records_are_wrong_or_where_it_is_damaged(few_mishaps_folder):
    assert run_folder(few_mishaps_folder).codes["log.state"] == "not_kept"
    assert log_of(few_mishaps_folder) == []
    mishap, occupant = read_tables(few_mishaps_folder)
    write_tables(few_mishaps_folder, (mishap, occupant.assign(outcome="maybe")))
    with pytest.raises(RecordsError):
        run(read_study(few_mishaps_folder), today=TODAY)
    assert log_of(few_mishaps_folder) == []
    write_tables(few_mishaps_folder, (mishap, occupant))
    (few_mishaps_folder / LOG_FILE).write_text("nonsense")
    results = run(read_study(few_mishaps_folder), today=TODAY)
    assert results.codes["log.state"] == "damaged"
    assert "log.plans" not in results.numbers
    assert (few_mishaps_folder / LOG_FILE).read_text() == "nonsense"


def test_the_shipped_studies_keep_no_log(demo_results):
    assert {results.codes["log.state"] for results in demo_results.values()} == {"not_kept"}
    assert not any((demo_folder(name) / LOG_FILE).exists() for name in DEMO_NAMES)


@pytest.mark.parametrize("form", ["xlsx", pytest.param("parquet", marks=pytest.mark.slow)])
def test_other_file_formats_give_the_same_numbers_and_the_same_records(demo_results, study_folder, form):
    tables = dict(zip(("mishap", "occupant"), read_tables(study_folder), strict=True))
    if form == "xlsx":
        with pd.ExcelWriter(study_folder / "records.xlsx") as book:
            for name, table in tables.items():
                table.to_excel(book, sheet_name=name, index=False)
    for name, table in tables.items():
        (study_folder / f"{name}.csv").unlink()
        if form == "parquet":
            table.to_parquet(study_folder / f"{name}.parquet")
    plan = study_folder / "study.toml"
    kept = [line for line in plan.read_text().splitlines() if not line.startswith(("mishap =", "occupant ="))]
    plan.write_text("\n".join(kept))
    other, first = run_folder(study_folder), demo_results["demo_small"]
    assert other.numbers == first.numbers
    assert other.provenance["records"] == first.provenance["records"]
    assert other.provenance["plan"] == first.provenance["plan"]


def test_a_filter_that_names_what_is_not_there_stops_before_the_log(study_folder):
    plan = study_folder / "study.toml"
    plan.write_text(plan.read_text() + '\n[population]\nclasses = ["Z"]\n')
    with pytest.raises(StudyFileError, match="B_light_1c4p"):
        run(read_study(study_folder), today=TODAY)
    assert log_of(study_folder) == []
