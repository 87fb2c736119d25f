"""Which ways stay open, which of them a recorded field would close, and what is held equal among all aboard."""

from __future__ import annotations

import networkx
import numpy as np
import pytest

from survstats.effects.causal_graph import adjustment_set, graph, node_of
from survstats.effects.question import COVARIATES
from survstats.records.demo import DEMO_NAMES, demo_folder
from survstats.study.estimating import model_of
from survstats.study.everybody import everybody
from survstats.study.graph_told import held_equal, store_graph
from survstats.study.judge import store_beside
from survstats.study.plan import read_study
from survstats.study.results_builder import ResultsBuilder
from survstats.study.steps import read_records

HELD = ("role", "operator_code", "far_seat", "age_band", "impact_severity", "warning_time_s_lo")


@pytest.fixture(scope="module")
def people():
    study = read_study(demo_folder("demo_small"))
    return everybody(study, read_records(study))


def ways(covariates, **frames):
    out = ResultsBuilder()
    store_graph(out, covariates, frames)
    return out, {row[:3]: row[3] for row in out.tables["open_paths"].rows}


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_how_training_became_known_is_an_open_way(demo_results, name):
    results = demo_results[name]
    rows = results.tables["open_paths"].rows
    for population in ("P1", "P2"):
        for who in ("passengers", "flight_crew"):
            assert (population, who, "A > MISS < Y", "no") in rows
        counted = results.numbers[f"graph.open_paths_{population.lower()}"].value
        assert counted == sum(row[0] == population for row in rows)


def test_where_all_training_is_known_nobody_was_chosen_by_it(people):
    known = people.primary.frame[people.primary.frame["trained_status"] != "unknown"]
    _, found = ways(HELD, P1=known, P2=people.everyone.frame)
    there = {population for population, _, path in found if "MISS" in path}
    assert there == {"P2"}


def test_a_way_can_be_closed_where_a_recorded_node_on_it_may_be_held_equal(people):
    """Each way alone, its meeting points held: d-separation by networkx says whether another node closes it."""
    _, found = ways(("role", "operator_code"), P1=people.primary.frame, P2=people.everyone.frame)
    assert set(found.values()) == {"yes", "no"}
    for (population, _, path), closable in found.items():
        drawn = networkx.DiGraph()
        parts = path.split()
        for at in range(0, len(parts) - 2, 2):
            ends = parts[at], parts[at + 2]
            drawn.add_edge(*(ends if parts[at + 1] == ">" else ends[::-1]))
        meeting = {node for node in drawn if drawn.in_degree(node) == 2}
        may = set(adjustment_set(population, passengers_only=False)) & set(drawn) - {"ROLE", "OPER"}
        closes = any(networkx.is_d_separator(drawn, {"A"}, {"Y"}, meeting | {node}) for node in may - meeting)
        assert closable == ("yes" if closes else "no"), path


def test_a_field_that_nobody_recorded_closes_nothing(people):
    frames = {"P1": people.primary.frame, "P2": people.everyone.frame}
    _, before = ways(("role",), **frames)
    blank = {name: frame.assign(age_band=np.nan) for name, frame in frames.items()}
    blank["P2"]["age_band"] = "unknown"
    _, after = ways(("role",), **blank)
    assert before.keys() == after.keys()
    age = {key for key in before if key[2] == "A < AGE > Y"}
    assert len(age) == 4
    assert {before[key] for key in age} == {"yes"}
    assert {after[key] for key in age} == {"no"}


def test_holding_equal_where_two_arrows_meet_closes_nothing(people):
    weather = [name for name in graph().nodes["ENV"].fields if name in COVARIATES]
    frames = {"P1": people.primary.frame, "P2": people.everyone.frame}
    key = ("P1", "flight_crew", "A > SEV < ENV > Y")
    assert ways(("role",), **frames)[1][key] == "yes"
    blank = {name: frame.assign(**dict.fromkeys(weather, np.nan)) for name, frame in frames.items()}
    assert blank["P1"]["impact_severity"].notna().any()
    assert ways(("role",), **blank)[1][key] == "no"


def test_nodes_measured_in_part_or_by_some_fields_are_named(people):
    frames = {"P1": people.primary.frame, "P2": people.everyone.frame}
    out, _ = ways(("role", "age_band", "operator_code"), **frames)
    assert out.lists["graph.partly_nodes"] == ["OPER", "AGE"]  # the region is left out; ages come in bands
    out, _ = ways(("role", "region_code", "operator_code"), **frames)
    assert out.lists["graph.partly_nodes"] == []


def test_among_all_aboard_severity_and_warning_are_let_go(people):
    assert held_equal(HELD, population="P1") == HELD
    kept = held_equal(HELD, population="P2")
    assert kept == ("role", "operator_code", "far_seat", "age_band")
    assert not {"SEV", "WARN"} & {node_of(name) for name in kept}


def test_the_number_for_all_aboard_does_not_move_with_severity(people):
    out = ResultsBuilder()
    found = store_beside(out, people, ("role", "impact_severity"))
    assert out.lists["plan.adjusted_all_aboard"] == ["role"]
    other = ResultsBuilder()
    alone = store_beside(other, people, ("role",))
    assert found.all_aboard.difference.value == pytest.approx(alone.all_aboard.difference.value, abs=1e-12)
    assert found.passengers.difference.value != pytest.approx(alone.passengers.difference.value, abs=1e-6)
    assert "impact_severity" in {
        term.name for term in model_of(people.everyone.analysed, ("role", "impact_severity")).design.terms
    }
