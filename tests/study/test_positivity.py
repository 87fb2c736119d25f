"""Who is compared where one group is missing, and whose seat or set training can have moved?"""

from __future__ import annotations

import pandas as pd
import pytest

from survstats.effects.mediators import mediators
from survstats.records.demo import DEMO_NAMES, demo_folder
from survstats.study.everybody import everybody
from survstats.study.pairs import store_pairs
from survstats.study.plan import read_study
from survstats.study.positivity import store_positivity
from survstats.study.results_builder import ResultsBuilder
from survstats.study.steps import read_records


@pytest.fixture(scope="module")
def analysed():
    study = read_study(demo_folder("demo_main"))
    return everybody(study, read_records(study)).primary.analysed


def test_kinds_that_lack_a_group_by_plain_counting(demo_results, analysed):
    results = demo_results["demo_main"]
    rows = results.tables["empty_cells"].rows
    counted = pd.crosstab(
        [analysed[name].astype(str) for name in ("role", "aircraft_class", "era")], analysed["trained"]
    )
    empty = counted[(counted == 0).any(axis=1)]
    assert {row[:3]: row[3:] for row in rows} == {
        cell: (trained, untrained) for cell, untrained, trained in empty.itertuples(name=None)
    }
    assert results.numbers["overlap.one_sided"].value == empty.to_numpy().sum()
    assert len(rows) > 3


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_each_kind_has_people_of_one_group_alone(demo_results, name):
    rows = demo_results[name].tables["empty_cells"].rows
    assert all((row[3] == 0) != (row[4] == 0) for row in rows)
    assert demo_results[name].numbers["overlap.one_sided"].value == sum(row[3] + row[4] for row in rows)


def test_a_gap_is_a_kind_of_its_own(analysed):
    out = ResultsBuilder()
    store_positivity(out, analysed.assign(aircraft_class=float("nan"), role="crew"))
    assert {row[1] for row in out.tables["empty_cells"].rows} <= {"unknown"}
    out = ResultsBuilder()
    everyone = analysed[analysed["trained"] == 1]
    store_positivity(out, everyone)
    assert out.people["overlap.one_sided"] == frozenset(everyone["file_row"])


def test_people_of_free_seats_are_those_of_their_mishaps(demo_results, analysed):
    numbers = demo_results["demo_main"].numbers
    free = analysed["seat_choice"].eq("free")
    assert numbers["pairs.seat_people"].value == free.sum() > 0
    assert numbers["pairs.seat_unknown"].value == (~free & analysed["seat_choice"].ne("assigned")).sum()


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"seat_choice": float("nan")},
        {"seat_choice": "assigned", "ebs_issued_regardless_of_training": "no"},
        {"ebs_issued_regardless_of_training": "unknown", "ebs_issued": "yes"},
        {"ebs_issued_regardless_of_training": float("nan"), "seat_choice": "free"},
    ],
)
def test_the_rows_are_as_many_as_the_rule_counts(analysed, changes):
    frame = analysed.assign(**changes)
    out = ResultsBuilder()
    store_pairs(out, frame, ("role",), whole=None)
    found = {one.node: one for one in mediators(frame)}
    for node, short in (("SEAT", "seat"), ("PPE", "breathing")):
        one = found.get(node)
        assert len(out.people[f"pairs.{short}_people"]) == (one.people if one else 0)
        assert len(out.people[f"pairs.{short}_unknown"]) == (one.unknown_people if one else 0)


def test_a_modifier_that_training_can_have_moved_is_named(demo_results):
    results = demo_results["demo_main"]
    assert "far_seat" in results.lists["plan.modifiers"]
    assert results.lists["modifiers.moved_by_training"] == ["far_seat"]
