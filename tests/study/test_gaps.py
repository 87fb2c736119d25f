"""Is what is told of the records themselves complete, consistent with the rest, and within the population?"""

from __future__ import annotations

from pathlib import Path

import pytest
from thin import THIN, read_tables, write_tables

from survstats.records.demo import DEMO_NAMES
from survstats.study.plan import read_study
from survstats.study.run import run

#: A public passenger table: 1309 people, of 263 of them no age is known (see tests/golden/README.md).
PASSENGERS = Path(__file__).parents[1] / "records" / "mapping" / "passengers"
FATES = ("died", "survived")


def value(results, name):
    return int(results.numbers[name].value)


def rows(results, table):
    found = results.tables[table]
    return [dict(zip(found.columns, row, strict=True)) for row in found.rows]


def changed(folder, *, plan="", **occupant):
    """The results of a study folder with lines added to its plan and fields of all its people set."""
    mishaps, people = read_tables(folder)
    write_tables(folder, (mishaps, people.assign(**occupant)))
    file = folder / "study.toml"
    file.write_text(file.read_text(encoding="utf-8") + plan, encoding="utf-8")
    return run(read_study(folder), keep_log=False)


def demos_and_thin(demo_results, thin_results):
    return {**demo_results, **thin_results}


@pytest.mark.parametrize("name", [*DEMO_NAMES, *THIN])
def test_counts_of_what_is_known_hang_together(demo_results, thin_results, name):
    results = demos_and_thin(demo_results, thin_results)[name]
    fields = results.lists["gaps.fields"]
    assert 8 <= len(fields) <= 12
    for fate in FATES:
        total = value(results, f"gaps.{fate}")
        for field in fields:
            if (field, fate) != ("cause_of_death", "survived"):
                assert 0 <= value(results, f"gaps.{field}.known_{fate}") <= total
        complete = value(results, f"gaps.complete_{fate}")
        if "trained_status" in fields:
            assert complete <= value(results, f"gaps.trained_status.known_{fate}")
        together = rows(results, "missing_together")
        assert sum(row[fate] for row in together) <= total
        assert all(set(row["fields"].split()) <= set(fields) for row in together)
    assert sum(value(results, f"gaps.{fate}") for fate in FATES) == value(results, "all_aboard.population")
    numbers = [row["died"] + row["survived"] for row in rows(results, "missing_together")]
    assert numbers == sorted(numbers, reverse=True)
    read, again = value(results, "records.occupants"), value(results, "records.second_source_people")
    assert read - again == value(results, "all_aboard.population")


@pytest.mark.parametrize("name", [*DEMO_NAMES, *THIN])
def test_times_and_runs_hang_together(demo_results, thin_results, name):
    results = demos_and_thin(demo_results, thin_results)[name]
    given = value(results, "times.given")
    assert given == value(results, "times.points") + value(results, "times.bands")
    assert value(results, "times.multiple_of_five") <= value(results, "times.points")
    for part in ("of_survivors", "guesses"):
        assert value(results, f"times.{part}") <= given
    runs = rows(results, "runs")
    assert sum(row["runs"] for row in runs) == value(results, "runs.runs") == value(results, "records.runs")
    assert sum(row["passed"] for row in runs) == value(results, "runs.passed")


@pytest.mark.parametrize("name", [*DEMO_NAMES, *THIN])
def test_agreement_is_a_number_or_says_why_not(demo_results, thin_results, name):
    results = demos_and_thin(demo_results, thin_results)[name]
    for field in ("survivability", "severity"):
        found = results.numbers.get(f"agreement.{field}")
        if found is None:
            reasons = ("not_double_coded", "one_code_only", "few_pairs")
            assert results.absent[f"agreement.{field}"] in reasons
        else:
            assert found.mishaps >= 10


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_findings_by_rule_add_up_to_the_findings(demo_results, name):
    results = demo_results[name]
    by_rule = rows(results, "findings_by_rule")
    assert sum(row["findings"] for row in by_rule) == len(results.tables["findings"].rows)
    assert all(row["title"] and row["remedy"] for row in by_rule)
    assert len({(row["rule"], row["severity"]) for row in by_rule}) == len(by_rule)


def test_a_field_nobody_was_asked_for_is_known_of_nobody_and_in_no_combination(demo_results):
    results = demo_results["demo_main"]
    assert [value(results, f"gaps.exit_used.known_{fate}") for fate in FATES] == [0, 0]
    assert not any("exit_used" in row["fields"] for row in rows(results, "missing_together"))


def test_everything_known(study_folder):
    results = changed(
        study_folder, exit_used="L1", training_evidence="roster", seat_side="L", seat_row="unknown"
    )
    known = {fate: value(results, f"gaps.{fate}") for fate in FATES}
    assert value(results, "gaps.exit_used.known_survived") == known["survived"]
    assert value(results, "gaps.seat_place.known_died") == 0


def test_a_filter_holds_for_everything_that_is_counted(demo_results, study_folder):
    whole = demo_results["demo_small"]
    mishaps, people = read_tables(study_folder)
    years = sorted({date[:4] for date in mishaps["event_date"]})
    first = years[len(years) // 2]
    kept = set(mishaps.loc[mishaps["event_date"] >= first, "mishap_id"])
    inside = people[people["mishap_id"].isin(kept) & (people["role"] == "passenger")]
    results = changed(study_folder, plan=f'\n[population]\nfirst_year = {first}\nroles = ["passenger"]\n')
    dead = (inside["outcome"] != "survived").sum()
    assert value(results, "gaps.died") == dead
    assert value(results, "all_aboard.population") == len(inside)
    assert value(results, "span.first_year") == int(first)
    assert value(results, "records.occupants") == value(whole, "records.occupants")
    out = value(results, "cohort.ledger.other_year") + value(results, "cohort.ledger.other_role")
    assert out == len(people) - len(inside)
    assert all(row["died"] == dead for row in rows(results, "missing"))
    assert value(results, "population.first_year") == int(first)
    assert results.lists["population.roles"] == ["passenger"]
    assert results.lists["population.classes"] == []
    assert {row[0] for row in results.rows["P2"]} <= kept


def test_an_accepted_rule_lets_the_study_run_and_is_told(study_folder):
    mishaps, people = read_tables(study_folder)
    mishaps.loc[0, ["sea_state_wmo", "sig_wave_height_m"]] = ["1", "6.0"]
    write_tables(study_folder, (mishaps, people))
    accepted = '\n[[records.accepted]]\nrule = "R7"\nreason = "heights were hindcast"\n'
    results = changed(study_folder, plan=accepted)
    assert results.lists["records.accepted"] == ["R7"]
    (row,) = rows(results, "accepted")
    assert (row["rule"], row["findings"], row["reason"]) == ("R7", 1, "heights were hindcast")
    assert {found["severity"] for found in rows(results, "findings") if found["rule"] == "R7"} == {"accepted"}


def test_the_trainers_table_is_read_where_it_lies_in_the_folder(study_folder):
    header = "person_code,run_date,run_no,course,posture,cross_cabin,light,time_out_s,result\n"
    lines = [f"p1,2020-05-01,{n},initial,inverted,no,day,{10 * n},passed\n" for n in (1, 2, 3)]
    (study_folder / "training_run.csv").write_text(header + "".join(lines), encoding="utf-8")
    results = run(read_study(study_folder), keep_log=False)
    assert [value(results, f"runs.{name}") for name in ("people", "runs", "passed", "timed")] == [1, 3, 3, 3]
    (row,) = rows(results, "runs")
    assert (row["posture"], row["time_median"]) == ("inverted", 20)
    assert "training_run_file" in results.provenance


def test_a_table_brought_in_by_a_mapping_says_who_checked_it():
    results = run(read_study(PASSENGERS), keep_log=False)
    assert results.texts["records.mapping_checked_by"]
    assert "mapping_file" in results.provenance
    assert value(results, "gaps.died") + value(results, "gaps.survived") == 1309
    assert value(results, "gaps.age_band.known_died") + value(results, "gaps.age_band.known_survived") == 1046
    assert value(results, "gaps.trained_status.known_survived") == 0
    assert results.lists["gaps.fields"][0] == "age_band"
