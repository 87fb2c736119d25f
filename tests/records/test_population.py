"""Is everybody the study is not about left out, counted by the first reason, and never by a misspelt word?"""

import dataclasses

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from survstats.groundwork.errors import StudyFileError
from survstats.records.cohort import build_cohort
from survstats.records.demo import demo_folder
from survstats.records.deriving import derive
from survstats.records.loading import read_records
from survstats.records.population import (
    EVERYBODY,
    PopulationFilter,
    refuse_absent_values,
    studied_mishaps,
)

REASONS = ["other_year", "other_class", "other_operator", "other_role"]


@pytest.fixture(scope="module")
def demo():
    folder = demo_folder("demo_main")
    return read_records(folder / "mishap.csv", folder / "occupant.csv")


def five_mishaps(study):
    """One in order, and one for each reason; the last person of the first mishap is of the crew."""
    mishaps = [
        study.mishap("M1", aircraft_class="B", operator_code="N"),
        study.mishap("M2", aircraft_class="B", operator_code="N", event_date="2009-12-31"),
        study.mishap("M3", aircraft_class="C", operator_code="N"),
        study.mishap("M4", aircraft_class="B", operator_code="S", event_date="2015-01-04"),
        study.mishap("M5", aircraft_class="unknown", operator_code="N"),
        study.mishap("M6", aircraft_class="B", operator_code="", event_date="2015-01-06"),
        study.mishap("M7", aircraft_class="C", operator_code="S", event_date="2016-01-01"),
    ]
    people = [person for mishap in mishaps for person in study.people(mishap["mishap_id"])]
    people[1]["role"] = "unknown"
    return study.records(mishaps, people)


FILTER = PopulationFilter(2010, 2015, ("B",), ("N",), ("passenger",))


def test_each_reason_in_turn_and_unknown_under_a_filter(study):
    records = five_mishaps(study)
    derived = derive(records, currency_months=24, population=FILTER)
    by_mishap = derived.groupby("mishap_id", sort=True)["left_out"].agg(lambda codes: codes.tolist())
    assert [str(code) for code in by_mishap["M1"]] == ["other_role", "other_role", "nan"]
    expected = {"M2": "other_year", "M3": "other_class", "M4": "other_operator", "M5": "other_class"}
    expected |= {"M6": "other_operator", "M7": "other_year"}
    for mishap, reason in expected.items():
        assert set(by_mishap[mishap]) == {reason}, mishap
    assert derived["in_p2"].sum() == derived["in_p1"].sum() == 1
    assert studied_mishaps(records.mishap, FILTER).tolist() == [True, *[False] * 6]
    ledger = build_cohort(derived, records, population="P1", chosen=FILTER).ledger
    counted = {line.code: (line.occupants, line.mishaps) for line in ledger.lines}
    assert [code for code in counted if code in REASONS] == REASONS
    assert [counted[reason] for reason in REASONS] == [(6, 2), (6, 2), (6, 2), (2, 1)]
    codes = list(counted)
    assert codes[codes.index("second_source") + 1] == "other_year"


def test_without_a_filter_there_is_no_line_and_nobody_is_left_out(study):
    records = five_mishaps(study)
    derived = derive(records, currency_months=24)
    assert derived["left_out"].isna().all()
    codes = [line.code for line in build_cohort(derived, records, population="P1").ledger.lines]
    assert not set(codes) & set(REASONS)
    assert studied_mishaps(records.mishap, EVERYBODY).all()


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"classes": ("D",)}, ["population.classes", "'D'", "B, C"]),
        ({"operators": ("N", "X")}, ["population.operators", "'X'", "N, S"]),
        ({"roles": ("technical_crew",)}, ["population.roles", "flight_crew, passenger"]),
        ({"first_year": 2017}, ["population.first_year", "2017", "2009 to 2016"]),
        ({"last_year": 2008}, ["population.last_year", "2008", "2009 to 2016"]),
        ({"classes": ("unknown",)}, ["'unknown'"]),
    ],
)
def test_a_word_that_does_not_occur_is_refused_with_those_that_do(study, wrong, words):
    records = five_mishaps(study)
    refuse_absent_values(records, FILTER)
    with pytest.raises(StudyFileError) as caught:
        refuse_absent_values(records, dataclasses.replace(FILTER, **wrong))
    told = str(caught.value)
    assert "\n" not in told
    for word in words:
        assert word in told


CLASSES = ["A_twin_2c8p", "B_light_1c4p", "C_heavy_3c16p"]


@settings(max_examples=40, deadline=None, derandomize=True, database=None)
@given(
    first=st.none() | st.integers(1990, 2030),
    last=st.none() | st.integers(1990, 2030),
    classes=st.lists(st.sampled_from(CLASSES), unique=True),
    roles=st.lists(st.sampled_from(["flight_crew", "technical_crew", "passenger"]), unique=True),
    population=st.sampled_from(["P1", "P2"]),
)
def test_any_filter_adds_up_and_leaves_in_who_the_slow_way_does(
    demo, first, last, classes, roles, population
):
    chosen = PopulationFilter(first, last, tuple(classes), (), tuple(roles))
    derived = derive(demo, currency_months=24, population=chosen)
    cohort = build_cohort(derived, demo, population=population, chosen=chosen)  # verifies its own sums
    whole = derive(demo, currency_months=24)
    assert cohort.ledger.line("aboard").occupants == demo.mishap["n_aboard"].sum()
    inside = 0
    for _, row in whole[whole[f"in_{population.lower()}"]].iterrows():
        year = row["event_date"].year
        right_year = (first is None or year >= first) and (last is None or year <= last)
        right = (not classes or row["aircraft_class"] in classes) and (not roles or row["role"] in roles)
        inside += right_year and right
    assert len(cohort.frame) == inside
