import dataclasses

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from survstats.groundwork.errors import SurvstatsError
from survstats.records.cohort import Ledger, build_cohort
from survstats.records.demo import demo_folder
from survstats.records.deriving import derive
from survstats.records.loading import read_records
from survstats.records.population import PopulationFilter


@pytest.fixture(scope="module")
def demo():
    folder = demo_folder("demo_null")  # holds a mishap from a second source
    records = read_records(folder / "mishap.csv", folder / "occupant.csv")
    return records, derive(records, currency_months=24)


def counts(cohort):
    return {line.code: line.occupants for line in cohort.ledger.lines}


P1_CODES = [
    "aboard",
    "no_row",
    "second_source",
    "impact_not_survivable",
    "survivability_unknown",
    "dead_on_impact",
    "alive_at_immersion_unknown",
    "in_population",
    "lapsed",
    "briefing_or_dry_only",
    "status_unknown",
    "analysed",
]


def test_lines_in_order(demo):
    records, derived = demo
    assert [line.code for line in build_cohort(derived, records, population="P1").ledger.lines] == P1_CODES
    passengers = build_cohort(derived, records, population="P2", passengers_only=True).ledger
    codes = [line.code for line in passengers.lines]
    assert codes == ["aboard", "no_row", "second_source", "not_passenger", *P1_CODES[7:]]


@pytest.mark.parametrize("population", ["P1", "P2"])
def test_the_demo_counted_the_slow_way(demo, population):
    records, derived = demo
    cohort = build_cohort(derived, records, population=population)
    analysed = 0
    for _, row in derived.iterrows():
        inside = row["in_p1"] if population == "P1" else row["in_p2"]
        analysed += bool(inside and row["trained_status"] in ("current", "none"))
    assert len(cohort.analysed) == analysed == cohort.ledger.line("analysed").occupants
    assert cohort.ledger.line("aboard").occupants == records.mishap["n_aboard"].sum()
    repeated = derived.loc[derived["second_source"], "mishap_id"].nunique()
    assert cohort.ledger.line("second_source").mishaps == repeated > 0
    assert set(cohort.analysed["trained"]) == {0.0, 1.0}


def test_each_exclusion_in_turn(study):
    mishaps = [
        study.mishap("M1", status_ascertained_by="mixed", n_aboard="5", n_pax="4"),
        study.mishap("M2", impact_survivability="none"),
        study.mishap("M3", impact_survivability="unknown"),
        study.mishap("M4", aircraft_class="M3"),
        study.mishap("M5"),
    ]
    occupants = [p for i in ("M1", "M2", "M3", "M4") for p in study.people(i)]
    occupants += study.people(
        "M5",
        {"alive_at_immersion": "unknown", "outcome": "died"},
        {"training_last_date": "2001-01-01"},
        {"alive_at_immersion": "no"},
    )
    records = study.records(mishaps, occupants)
    cohort = build_cohort(derive(records, currency_months=24), records, population="P1")
    assert counts(cohort) == {
        "aboard": 17,
        "no_row": 2,
        "second_source": 3,
        "impact_not_survivable": 3,
        "survivability_unknown": 3,
        "dead_on_impact": 1,
        "alive_at_immersion_unknown": 1,
        "in_population": 4,
        "lapsed": 1,
        "briefing_or_dry_only": 0,
        "status_unknown": 0,
        "analysed": 3,
    }
    assert cohort.ledger.line("aboard").died is None
    assert cohort.ledger.line("second_source").died == 1
    assert cohort.ledger.line("aboard").mishaps == 5


def test_a_ledger_that_does_not_add_up_is_refused(demo):
    records, derived = demo
    lines = build_cohort(derived, records, population="P1").ledger.lines
    for position, line in enumerate(lines):
        spoilt = list(lines)
        spoilt[position] = dataclasses.replace(line, occupants=line.occupants + 1)
        with pytest.raises(SurvstatsError, match="does not add up"):
            Ledger(tuple(spoilt)).verify()


def with_a_press_report(study):
    """One mishap of three people, and a press report of it that has two rows for seven aboard."""
    mishaps = [
        study.mishap("M1", n_aboard="7", n_pax="6", report_quality="A"),
        study.mishap("M2", aircraft_class="M1", n_aboard="7", n_pax="6", report_quality="D"),
        study.mishap("M3", event_date="1999-06-20", n_aboard="5", n_pax="4"),
        study.mishap("M4", event_date="1999-07-20"),
    ]
    people = study.people("M1") + study.people("M1")[:3]
    people = [{**person, "occupant_id": str(i)} for i, person in enumerate(people)]
    people += people[:1]
    people[-1] = {**people[-1], "occupant_id": "9"}
    return study.records(mishaps, people + study.people("M2")[:2] + study.people("M3")[:1])


@pytest.mark.parametrize("population", ["P1", "P2"])
def test_people_without_a_row_stand_with_the_mishap_that_is_left_out(study, population):
    records, chosen = with_a_press_report(study), PopulationFilter(first_year=2010)
    derived = derive(records, currency_months=24, population=chosen)
    ledger = build_cohort(derived, records, population=population, chosen=chosen).ledger
    assert ledger.line("aboard").occupants == 7 + 7 + 5 + 3
    assert ledger.line("no_row").occupants == 0
    press, old = ledger.line("second_source"), ledger.line("other_year")
    assert (press.occupants, press.survived, press.died, press.mishaps) == (7, None, None, 1)
    assert (old.occupants, old.survived, old.died, old.mishaps) == (8, None, None, 2)
    assert ledger.line("in_population").occupants == 7
    everybody = build_cohort(derive(records, currency_months=24), records, population=population).ledger
    assert everybody.line("no_row").occupants == 4 + 3
    assert everybody.line("second_source").occupants == 7


def test_a_ledger_that_counts_a_second_source_among_people_without_a_row_is_refused(study):
    records = with_a_press_report(study)
    derived = derive(records, currency_months=24)
    lines = {line.code: line for line in build_cohort(derived, records, population="P1").ledger.lines}
    moved = {
        "second_source": dataclasses.replace(lines["second_source"], occupants=2),
        "no_row": dataclasses.replace(
            lines["no_row"], occupants=12, mishap_ids=lines["no_row"].mishap_ids | {"M2"}
        ),
    }
    with pytest.raises(SurvstatsError, match="does not add up at no_row"):
        Ledger(tuple((lines | moved).values())).verify()


NOBODY = {"training_ever": "no", "training_type": "none", "training_last_date": ""}
LIVED = {"outcome": "survived", "cause_of_death": "na", "days_to_death": "", "injury_class_icao": "none"}
DIED = {"outcome": "died", "egress_outcome": "not_egressed", "egress_lo_s": "", "egress_hi_s": ""}
EVERYONE = {"training_ever": "yes", "training_type": "underwater_escape", "training_last_date": "2015-01-01"}
LAPSED = {**EVERYONE, "training_last_date": "1999-01-01"}
DEAD_BEFORE = {**DIED, "alive_at_immersion": "no"}


@pytest.mark.parametrize("change", [NOBODY, EVERYONE, LIVED, DIED, LAPSED, DEAD_BEFORE])
@pytest.mark.parametrize("population", ["P1", "P2"])
@pytest.mark.parametrize("passengers_only", [True, False])
def test_thin_records_are_not_bad_records(study, change, population, passengers_only):
    records = study.records([study.mishap()], study.people("M1", change, change, change))
    derived = derive(records, currency_months=24)
    cohort = build_cohort(derived, records, population=population, passengers_only=passengers_only)
    expected = 0 if change is LAPSED or (change is DEAD_BEFORE and population == "P1") else len(cohort.frame)
    assert len(cohort.analysed) == expected


def test_survivors_only_and_a_mishap_without_rows(study):
    records = study.records([study.mishap(), study.mishap("M2")], study.people()[:2])
    cohort = build_cohort(derive(records, currency_months=24), records, population="P1")
    assert counts(cohort)["no_row"] == 4
    assert cohort.ledger.line("no_row").mishaps == 2
    assert len(cohort.analysed) == 2


@settings(max_examples=25, deadline=None, derandomize=True, database=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_row_order_does_not_matter(demo, seed):
    records, derived = demo
    shuffled = derived.sample(frac=1, random_state=seed)
    first = build_cohort(derived, records, population="P1")
    second = build_cohort(shuffled, records, population="P1")
    assert first.ledger == second.ledger
    rows = second.analysed.sort_values("file_row", ignore_index=True)
    pd.testing.assert_frame_equal(first.analysed, rows)


@settings(max_examples=40, deadline=None, derandomize=True, database=None)
@given(
    chosen=st.lists(
        st.sampled_from([{}, NOBODY, LIVED, DIED, LAPSED, DEAD_BEFORE, {"training_ever": "unknown"}]),
        min_size=9,
        max_size=9,
    ),
    impact=st.lists(st.sampled_from(["survivable", "none", "unknown", ""]), min_size=3, max_size=3),
    kept=st.integers(1, 9),
)
def test_any_records_add_up(study_once, chosen, impact, kept):
    ids = ("M1", "M2", "M3")
    mishaps = [study_once.mishap(i, impact_survivability=s) for i, s in zip(ids, impact, strict=True)]
    people = [p for k, i in enumerate(ids) for p in study_once.people(i, *chosen[3 * k : 3 * k + 3])]
    records = study_once.records(mishaps, people[:kept])
    derived = derive(records, currency_months=24)
    cohort = build_cohort(derived, records, population="P1")
    assert len(cohort.frame) == derived["in_p1"].sum()
    assert counts(cohort)["aboard"] == 9
