"""A small study that is right in every way, to be spoilt one cell at a time."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from survstats.records.codebook import load_codebook
from survstats.records.loading import Records, read_records

Row = dict[str, str]

MISHAP = {
    "mishap_id": "M1",
    "event_date": "2015-06-20",
    "aircraft_class": "B",
    "n_crew": "1",
    "n_pax": "2",
    "n_aboard": "3",
    "impact_survivability": "survivable",
    "sea_state_wmo": "4",
    "sig_wave_height_m": "2.0",
    "water_temp_c": "9.5",
    "immersion_type": "capsized_afloat",
    "status_ascertained_by": "roster_all",
}
TRAINED = {
    "training_ever": "yes",
    "training_type": "underwater_escape",
    "training_last_date": "2014-06-20",
    "training_date_precision": "day",
    "training_evidence": "certificate",
}
UNTRAINED = {"training_ever": "no", "training_type": "none", "training_evidence": "roster"}
LIVED = {
    "alive_at_immersion": "yes",
    "egress_outcome": "self",
    "egress_lo_s": "10",
    "egress_hi_s": "20",
    "outcome": "survived",
    "injury_class_icao": "minor",
    "cause_of_death": "na",
}
DROWNED = {
    "alive_at_immersion": "yes",
    "egress_outcome": "not_egressed",
    "outcome": "died",
    "injury_class_icao": "fatal",
    "days_to_death": "0",
    "cause_of_death": "drowning_inside",
}
PEOPLE = [
    {"role": "flight_crew", "seat_row": "1", "seat_side": "L", **TRAINED, **LIVED},
    {"role": "passenger", "seat_row": "2", "seat_side": "L", **TRAINED, **LIVED},
    {"role": "passenger", "seat_row": "2", "seat_side": "R", **UNTRAINED, **DROWNED},
]


def one_mishap(mishap_id: str = "M1", **changes: str) -> Row:
    return {**MISHAP, "mishap_id": mishap_id, "aircraft_class": mishap_id, **changes}


def its_people(mishap_id: str = "M1", *changes: Row) -> list[Row]:
    """The three people of a mishap; a change for each of the first, second, third."""
    changes = (*changes, *({},) * 3)
    return [
        {"mishap_id": mishap_id, "occupant_id": str(i), **person, **changes[i]}
        for i, person in enumerate(PEOPLE)
    ]


def write_csv(path: Path, rows: list[Row], columns: list[str]) -> Path:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    return path


class Study:
    """Rows to begin with, and a way to read them as records."""

    def __init__(self, folder: Path) -> None:
        self.mishap_path, self.occupant_path = folder / "mishap.csv", folder / "occupant.csv"
        self.mishap = one_mishap
        self.people = its_people
        self.trained, self.untrained, self.lived, self.drowned = TRAINED, UNTRAINED, LIVED, DROWNED

    def records(self, mishaps: list[Row], occupants: list[Row]) -> Records:
        book = load_codebook()
        write_csv(self.mishap_path, mishaps, [f.name for f in book.mishap])
        write_csv(self.occupant_path, occupants, [f.name for f in book.occupant])
        return read_records(self.mishap_path, self.occupant_path)


@pytest.fixture
def study(tmp_path: Path) -> Study:
    return Study(tmp_path)


@pytest.fixture(scope="session")
def study_once(tmp_path_factory: pytest.TempPathFactory) -> Study:
    """The same, for property tests: hypothesis runs many examples in one test."""
    return Study(tmp_path_factory.mktemp("study"))
