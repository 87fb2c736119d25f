"""Is what is told of the records themselves complete, consistent with the rest, and within the population?"""

from __future__ import annotations

from collections import ChainMap
from functools import partial
from pathlib import Path

import pytest
from counting_only import count_only
from scipy import stats
from thin import THIN, read_tables, write_tables

from survstats.records.demo import DEMO_NAMES
from survstats.study.plan import read_study
from survstats.study.results import StudyResults
from survstats.study.run import run

#: A public passenger table: 1309 people, of 263 of them no age is known (see tests/golden/README.md).
PASSENGERS = Path(__file__).parents[1] / "records" / "mapping" / "passengers"
FATES = ("died", "survived")


def value(results, name):
    return int(results.numbers[name].value)


def rows(results, table):
    found = results.tables[table]
    return [dict(zip(found.columns, row, strict=True)) for row in found.rows]


def changed(folder, *, plan="", carry_out=count_only, **occupant):
    """The results of a study folder with lines added to its plan and fields of all its people set."""
    mishaps, people = read_tables(folder)
    write_tables(folder, (mishaps, people.assign(**occupant)))
    file = folder / "study.toml"
    file.write_text(file.read_text(encoding="utf-8") + plan, encoding="utf-8")
    return carry_out(read_study(folder))


def demos_and_thin(demo_results, thin_results):
    return ChainMap(demo_results, thin_results)


@pytest.mark.parametrize("name", [*DEMO_NAMES, *THIN])
def test_counts_of_what_is_known_hang_together(demo_results, thin_results, name):
    results = demos_and_thin(demo_results, thin_results)[name]
    fields = results.lists["gaps.fields"]
    assert 8 <= len(fields) <= 12
    for fate in FATES:
        total = value(results, f"gaps.{fate}")
        for field in fields:
            if (field, fate) == ("cause_of_death", "survived"):
                assert results.absent[f"gaps.{field}.of_{fate}"] == "dead_only"
                continue
            concerned = value(results, f"gaps.{field}.of_{fate}")
            assert 0 <= value(results, f"gaps.{field}.known_{fate}") <= concerned <= total
            assert concerned == total or field in ("time_out", "exit_used", "seat_place")
        complete = value(results, f"gaps.complete_{fate}")
        if "trained_status" in fields:
            assert complete <= value(results, f"gaps.trained_status.known_{fate}")
        if "impact_survivability" in fields:
            assert complete <= value(results, f"gaps.impact_survivability.known_{fate}")
        together = rows(results, "missing_together")
        assert sum(row[fate] for row in together) <= total
        assert all(set(row["fields"].split()) <= set(fields) for row in together)
    assert sum(value(results, f"gaps.{fate}") for fate in FATES) == value(results, "all_aboard.population")
    assert value(results, "gaps.no_row") == value(results, "all_aboard.ledger.no_row")
    needed = results.lists["gaps.needed"]
    assert needed[:3] == ["trained_status", "alive_at_immersion", "impact_survivability"]
    assert needed[3:] == results.lists["plan.covariates"]
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
        found, pairs = results.numbers.get(f"agreement.{field}"), value(results, f"agreement.{field}_pairs")
        assert value(results, f"agreement.{field}_open") >= 0
        if pairs:
            share = results.numbers[f"agreement.{field}_share"]
            assert share.value == pytest.approx(value(results, f"agreement.{field}_same") / pairs)
            assert share.low <= share.value <= share.high
            assert share.mishaps == pairs
        if found is None:
            reason = "not_double_coded" if not pairs else "few_pairs" if pairs < 30 else "one_code_only"
            assert results.absent[f"agreement.{field}"] == reason
        else:
            assert found.mishaps == pairs >= 30
            assert found.low < found.high


def test_fewer_than_thirty_pairs_give_a_count_with_exact_limits_and_no_kappa(study_folder):
    mishaps, people = read_tables(study_folder)
    mishaps = mishaps.assign(coder_id="k1", second_coder_id="k2")
    mishaps["impact_severity_second"] = mishaps["impact_severity"] = "3"
    mishaps.loc[0, "impact_severity_second"], mishaps.loc[1, "impact_severity"] = "4", "unknown"
    write_tables(study_folder, (mishaps, people))
    results = count_only(read_study(study_folder))
    pairs = len(mishaps) - 1
    assert pairs < 30
    names = ("pairs", "same", "open")
    assert [value(results, f"agreement.severity_{name}") for name in names] == [pairs, pairs - 1, 1]
    share = results.numbers["agreement.severity_share"]
    # Clopper and Pearson's limits as quantiles of the beta distribution
    assert share.low == pytest.approx(stats.beta.ppf(0.025, pairs - 1, 2))
    assert share.high == pytest.approx(stats.beta.ppf(0.975, pairs, 1))
    assert results.absent["agreement.severity"] == "few_pairs"


def test_people_without_a_row_are_counted_and_in_no_figure(study_folder, demo_results):
    mishaps, people = read_tables(study_folder)
    mishaps.loc[0, "n_aboard"] = str(int(mishaps.loc[0, "n_aboard"]) + 3)
    mishaps.loc[0, "n_pax"] = str(int(mishaps.loc[0, "n_pax"]) + 3)
    write_tables(study_folder, (mishaps, people))
    results = changed(
        study_folder, plan='\n[[records.accepted]]\nrule = "R3"\nreason = "not all are known"\n'
    )
    assert value(results, "gaps.no_row") == 3
    for fate in FATES:
        assert value(results, f"gaps.{fate}") == value(demo_results["demo_small"], f"gaps.{fate}")


def test_whoever_stayed_inside_has_no_time_out_to_know(study_folder):
    _, people = read_tables(study_folder)
    died = people["outcome"] != "survived"
    results = changed(study_folder)
    stayed = people["egress_outcome"].eq("not_egressed")
    assert (died & stayed).any()
    for field in ("time_out", "exit_used"):
        assert value(results, f"gaps.{field}.of_died") <= (died & ~stayed).sum()
        assert value(results, f"gaps.{field}.of_survived") == (~died & ~stayed).sum()


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
    for fate in FATES:
        assert value(results, f"gaps.exit_used.known_{fate}") == value(results, f"gaps.exit_used.of_{fate}")
    assert value(results, "gaps.seat_place.known_died") == 0


def test_a_filter_holds_for_everything_that_is_counted(demo_results, study_folder):
    whole = demo_results["demo_small"]
    mishaps, people = read_tables(study_folder)
    years = sorted({date[:4] for date in mishaps["event_date"]})
    first = years[len(years) // 2]
    kept = set(mishaps.loc[mishaps["event_date"] >= first, "mishap_id"])
    inside = people[people["mishap_id"].isin(kept) & (people["role"] == "passenger")]
    plan = f'\n[population]\nfirst_year = {first}\nroles = ["passenger"]\n'
    results = changed(study_folder, plan=plan, carry_out=partial(run, keep_log=False))
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
    lines = [f"p1,2020-05-01,{n},initial,inverted,no,day,{10 * n},passed\n" for n in range(1, 13)]
    lines += [f"p2,2020-05-01,{n},initial,inverted,no,day,90,stopped\n" for n in range(1, 5)]
    (study_folder / "training_run.csv").write_text(header + "".join(lines), encoding="utf-8")
    results = count_only(read_study(study_folder))
    names = ("people", "runs", "passed", "timed", "ended")
    assert [value(results, f"runs.{name}") for name in names] == [2, 16, 12, 12, 4]
    (row,) = rows(results, "runs")
    # of 16 runs 4, 8 and 12 were out after 40, 80 and 120 s
    assert [row[f"time_{name}"] for name in ("quartile_1", "median", "quartile_3")] == [40, 80, 120]
    assert (row["posture"], row["timed"]) == ("inverted", 12)
    assert "training_run_file" in results.provenance


def test_a_table_brought_in_by_a_mapping_says_who_checked_it():
    results = count_only(read_study(PASSENGERS))
    assert results.texts["records.mapping_checked_by"]
    assert "mapping_file" in results.provenance
    assert value(results, "gaps.died") + value(results, "gaps.survived") == 1309
    assert value(results, "gaps.age_band.known_died") + value(results, "gaps.age_band.known_survived") == 1046
    assert value(results, "gaps.trained_status.known_survived") == 0
    assert results.lists["gaps.fields"][0] == "age_band"


def test_a_quartile_that_was_never_reached_says_so_and_comes_back_from_a_file(study_folder):
    header = "person_code,run_date,run_no,course,posture,cross_cabin,light,time_out_s,result\n"
    lines = [f"p1,2020-05-01,{n},initial,inverted,no,day,{n},passed\n" for n in range(1, 12)]
    lines += [f"p2,2020-05-01,{n},initial,inverted,no,day,,failed\n" for n in range(1, 12)]
    (study_folder / "training_run.csv").write_text(header + "".join(lines), encoding="utf-8")
    results = count_only(read_study(study_folder))
    (row,) = rows(results, "runs")
    assert (row["time_median"], row["time_quartile_3"]) == (11, "not_reached")
    assert StudyResults.from_json(results.to_json()).tables["runs"] == results.tables["runs"]
