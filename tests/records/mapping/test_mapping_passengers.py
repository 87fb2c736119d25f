"""A real passenger table, brought in by a study file and a mapping file alone.

1,309 passengers of the Titanic (F. E. Harrell's titanic3, from the Encyclopedia Titanica, as carried by R's carData).
"""

from __future__ import annotations

import csv
import datetime
from collections import Counter
from pathlib import Path

import pandas as pd
import pytest

from survstats.records.loading import Records
from survstats.records.mapping.bring_in import read_mapped_records
from survstats.study.plan import read_study
from survstats.study.run import run
from survstats.study.steps import check, read_records

FOLDER = Path(__file__).parent / "passengers"
TABLE = Path(__file__).parents[2] / "golden" / "titanic_passengers.csv"
TODAY = datetime.date(2026, 1, 1)


@pytest.fixture(scope="module")
def records() -> Records:
    return read_mapped_records(FOLDER)


def test_the_published_totals(records):
    # carData's help page of TitanicSurvival: 1309 passengers, of 263 the age is not known
    assert len(records.occupant) == 1309
    assert (records.occupant["age_band"] == "unknown").sum() == 263
    assert (records.occupant["outcome"] == "survived").sum() == 500


def test_survival_by_class_and_sex_as_published(records):
    # Harrell, Regression Modeling Strategies, chapter on the Titanic (values from memory): survival by class .619,
    # .430, .255; by sex .727 and .191
    occupant = records.occupant.assign(lived=records.occupant["outcome"] == "survived")
    assert occupant.groupby("mishap_id")["lived"].mean().round(3).to_dict() == {
        "1st": 0.619,
        "2nd": 0.430,
        "3rd": 0.255,
    }
    by_sex = occupant.groupby("sex", observed=True)["lived"].mean().round(3)
    assert by_sex.to_dict() == {"female": 0.727, "male": 0.191}


def test_every_cell_of_class_sex_age_and_fate_as_the_file_has_it(records):
    with TABLE.open(encoding="utf-8", newline="") as file:
        theirs = Counter(
            (
                row["passengerClass"],
                row["sex"],
                "unknown" if row["age"] == "NA" else min(int(float(row["age"])) // 5, 16),
                {"yes": "survived", "no": "died"}[row["survived"]],
            )
            for row in csv.DictReader(file)
        )
    bands = {
        band: at for at, band in enumerate(records.occupant["age_band"].cat.categories) if band != "unknown"
    }
    ours = Counter(
        (person.mishap_id, person.sex, bands.get(person.age_band, "unknown"), person.outcome)
        for person in records.occupant.itertuples()
    )
    assert ours == theirs


def test_the_mishaps_count_their_people(records):
    assert records.mishap[["mishap_id", "n_pax", "n_aboard"]].to_numpy().tolist() == [
        ["1st", 323, 323],
        ["2nd", 277, 277],
        ["3rd", 709, 709],
    ]
    assert records.mishap["n_crew"].isna().all()
    assert (records.mishap["event_date"] == pd.Timestamp("1912-04-15")).all()


def test_a_person_can_be_walked_back_to_the_file(records):
    assert records.place("occupant", "outcome", 1307) == (TABLE.name, 1309, "survived", "no")
    assert records.place("occupant", "age_band", 1) == (TABLE.name, 3, "age", "0.9167")
    file, line, field, text = records.place("mishap", "event_date", 2)
    assert (file, field, text) == ("mapping.toml", "event_date", "1912-04-15")
    assert "1912-04-15" in (FOLDER / "mapping.toml").read_text().splitlines()[line - 1]


def test_nothing_stops_it_and_what_was_not_collected_is_said():
    study = read_study(FOLDER)
    found = check(read_records(study), study=study, today=TODAY)
    assert not found["severity"].isin(["error", "warning"]).any()
    said = set(found.loc[found["rule"] == "M7", "field"])
    assert {"training_ever", "training_type", "training_last_date", "training_evidence", "n_crew"} <= said


def test_it_is_described_and_nothing_is_compared():
    results = run(read_study(FOLDER), today=TODAY, keep_log=False)
    numbers = results.numbers
    assert numbers["all_aboard.ledger.aboard"].value == 1309
    assert numbers["all_aboard.ledger.status_unknown"].value == 1309
    assert numbers["all_aboard.ledger.analysed"].value == 0
    assert numbers["cohort.ledger.alive_at_immersion_unknown"].value == 809
    assert results.codes["verdict.word"] == "cannot_tell"
    assert not [path for path in FOLDER.iterdir() if path.suffix != ".toml"]
