"""What is counted of the records before anything is compared: doubts, people without a row, records that know."""

import pandas as pd
import pytest
from counting_only import count_only

from survstats.study.plan import read_study
from survstats.study.run import run
from survstats.study.steps import find, read_records

import datetime  # isort: skip

TODAY = datetime.date(2026, 11, 24)
ACCEPTED = '\n[[records.accepted]]\nrule = "{}"\nreason = "{}"\n'


def read(folder, table):
    return pd.read_csv(folder / f"{table}.csv", dtype=str, keep_default_na=False)


def change(folder, table, changes):
    """Spoil a table of the folder: a function that changes its frame."""
    frame = read(folder, table)
    changed = changes(frame)
    (frame if changed is None else changed).to_csv(folder / f"{table}.csv", index=False, lineterminator="\n")


def accept(folder, rule):
    file = folder / "study.toml"
    file.write_bytes(file.read_bytes() + ACCEPTED.format(rule, "as agreed").encode())


def carried_out(folder):
    return run(read_study(folder), today=TODAY, keep_log=False)


def counted(folder):
    return count_only(read_study(folder), today=TODAY)


def value(results, name):
    return results.numbers[name].value


def told_by_fate(frame):
    known = frame["training_evidence"] != "none"
    frame.loc[known, "training_evidence"] = frame.loc[known, "outcome"].map(
        lambda fate: "self_report" if fate == "survived" else "next_of_kin"
    )


def test_training_told_by_different_people_fails_the_gate_on_wrong_entries(demo_results, study_folder):
    plain = demo_results["demo_small"]
    assert plain.lists["records.banners"] == []
    assert plain.codes["gate.miscoding.finding"] != "by_fate"
    change(study_folder, "occupant", told_by_fate)
    results = carried_out(study_folder)
    assert results.lists["records.banners"] == ["R41"]
    assert results.codes["gate.miscoding.state"] == "not_met"
    assert results.codes["gate.miscoding.finding"] == "by_fate"
    assert ("miscoding", "not_met", "by_fate") in results.tables["gates"].rows


def test_survivors_alone_asked_stands_among_the_banners_and_is_no_wrong_entry(demo_results):
    results = demo_results["demo_survivor_only"]
    assert results.lists["records.banners"] == ["R38"]
    assert results.codes["gate.miscoding.finding"] != "by_fate"


def test_not_coded_blind_and_not_known_are_two_counts(study_folder):
    def blind(frame):
        frame["coded_blind"] = ["no", "no", "unknown", "", *["yes"] * (len(frame) - 4)]

    change(study_folder, "mishap", blind)
    results = counted(study_folder)
    assert value(results, "records.not_blind") == 2
    assert value(results, "records.blind_unknown") == 2


def test_a_course_of_the_year_of_the_mishap_is_counted_and_changes_no_status(demo_results, study_folder):
    before = demo_results["demo_small"]

    def coarse(frame):
        mishaps = read(study_folder, "mishap").set_index("mishap_id")
        chosen = frame.index[
            (frame["training_last_date"].str[:2] == "20") & (frame["outcome"] == "survived")
        ][:2]
        for at in chosen:
            year = mishaps.loc[frame.loc[at, "mishap_id"], "event_date"][:4]
            frame.loc[at, ["training_last_date", "training_date_precision"]] = [f"{year}-01-01", "year"]

    change(study_folder, "occupant", coarse)
    results = carried_out(study_folder)
    assert value(before, "seen.order_unclear") == 0
    assert value(results, "seen.order_unclear") == 2
    assert value(results, "seen.unknown") == value(before, "seen.unknown")
    told = find(read_records(read_study(study_folder)), study=read_study(study_folder), today=TODAY)
    assert [f.severity for f in told if f.rule == "R17"] == ["warning"] * 2


def test_people_without_a_row_make_the_range_one_of_those_with_a_row(demo_results, study_folder):
    assert demo_results["demo_small"].codes["unknown.rows"] == "whole"
    change(study_folder, "mishap", lambda frame: frame.assign(status_ascertained_by="mixed"))
    change(study_folder, "occupant", lambda frame: frame.iloc[:-2])
    results = carried_out(study_folder)
    assert value(results, "cohort.ledger.no_row") == 2
    assert results.codes["unknown.rows"] == "part"


def two_alike(folder):
    """The third mishap on the day of the second, of its class and number aboard."""

    def alike(frame):
        frame.loc[2, ["event_date", "aircraft_class", "n_crew", "n_pax", "n_aboard"]] = frame.loc[
            1, ["event_date", "aircraft_class", "n_crew", "n_pax", "n_aboard"]
        ]

    change(folder, "mishap", alike)
    change(folder, "mishap", lambda frame: frame.assign(status_ascertained_by="mixed"))


@pytest.mark.parametrize("accepted", [True, False])
def test_mishaps_that_are_said_to_be_two_stay_in(study_folder, accepted):
    two_alike(study_folder)
    change(
        study_folder,
        "occupant",
        lambda frame: frame.drop(
            frame.index[
                (frame["mishap_id"] == read(study_folder, "mishap")["mishap_id"][2])
                & (frame["training_last_date"] != "na")
            ]
        ),
    )
    if accepted:
        accept(study_folder, "R42")
    study = read_study(study_folder)
    told = {f.severity for f in find(read_records(study), study=study, today=TODAY) if f.rule == "R42"}
    assert told == {"accepted" if accepted else "warning"}
    results = carried_out(study_folder)
    left_out = value(results, "cohort.ledger.second_source")
    assert (left_out == 0) == accepted
