"""Does the graph of causes say what the design says, and do its ways agree with d-separation done by a library?

The arrows are the package's own agreed reading of a ditching (common practice, no source). What follows from them is
computed here a second time by networkx (its d-separation test is an implementation of its own).
"""

from __future__ import annotations

import itertools

import networkx as nx
import numpy as np
import pytest

from survstats.effects import causal_paths
from survstats.effects.causal_graph import (
    CREW_AFTER_CONTACT,
    Arrow,
    adjustment_set,
    back_doors_shut,
    crew_sentence,
    descendants_of_training,
    graph,
    left_out_ways,
    node_of,
    open_paths,
    reason_forbidden,
    states,
)
from survstats.effects.causal_paths import Path, descendants
from survstats.effects.causal_paths import open_paths as ways
from survstats.groundwork.resampling import stream
from survstats.records.codebook import load_codebook

S_MIN = set(adjustment_set("P2", passengers_only=False))
S_ALIVE = set(adjustment_set("P1", passengers_only=True))


def drawn(*circumstances):
    found = nx.DiGraph()
    for start, ends in graph().children(*circumstances).items():
        found.add_node(start)
        found.add_edges_from((start, end) for end in ends)
    return found


def told(paths):
    return [str(path) for path in paths]


def test_the_nodes_and_arrows_are_those_agreed_on():
    assert len(graph().nodes) == 28  # 26, the others aboard and being alive at immersion
    assert len(set(graph().arrows)) == len(graph().arrows)
    assert Arrow("NEAR", "TEG", "everyone") in graph().arrows  # training of the others aboard
    only_crew = {(arrow.start, arrow.end) for arrow in graph().arrows if arrow.who == "flight_crew"}
    assert only_crew == {("A", "SEV"), ("A", "CAPS")}


@pytest.mark.parametrize(
    "circumstances", [(), ("flight_crew",), ("flight_crew", "free_seats", "sets_for_trained")]
)
def test_no_cause_acts_on_itself(circumstances):
    assert nx.is_directed_acyclic_graph(drawn(*circumstances))


def test_no_arrow_leads_back_in_time():
    order = {"before": 0, "mishap": 1, "way_out": 2, "outcome": 3, "records": 4}
    stage = {code: order[node.stage] for code, node in graph().nodes.items()}
    back = {(a.start, a.end) for a in graph().arrows if stage[a.start] > stage[a.end]}
    assert back == set()


def test_descendants_agree_with_networkx():
    for crew, circumstances in ((False, ()), (True, ("flight_crew",))):
        assert descendants_of_training(crew=crew) == nx.descendants(drawn(*circumstances), "A")
    assert descendants_of_training(crew=True) - descendants_of_training(crew=False) == {"SEV", "CAPS"}


def random_graph(rng, size=7):
    names = [f"n{at}" for at in range(size)]
    return {
        name: tuple(names[later] for later in range(at + 1, size) if rng.random() < 0.35)
        for at, name in enumerate(names)
    }


def test_some_way_is_open_exactly_where_networkx_finds_no_separation():
    rng = stream(1, "tests/graphs")
    seen = set()
    for _ in range(250):
        arrows = random_graph(rng)
        names = list(arrows)
        start, end = rng.permutation(names)[:2]
        given = {name for name in names if name not in (start, end) and rng.random() < 0.4}
        library = nx.DiGraph([(a, b) for a, ends in arrows.items() for b in ends])
        library.add_nodes_from(names)
        separated = nx.is_d_separator(library, {start}, {end}, given)
        found = ways(arrows, start, end, given=given, causal=True)
        assert (not found) == separated
        seen.add(separated)
    assert seen == {True, False}


def test_every_way_listed_is_one_and_none_of_its_parts_is_listed_too():
    found = ways(graph().children("flight_crew"), "A", "Y", given={"IMPD", "ALIVE"}, causal=True)
    arrows = drawn("flight_crew")
    for path in found:
        assert (path.nodes[0], path.nodes[-1], len(set(path.nodes))) == ("A", "Y", len(path.nodes))
        for (one, other), along in zip(itertools.pairwise(path.nodes), path.along, strict=True):
            assert arrows.has_edge(one, other) if along else arrows.has_edge(other, one)
    assert not any(one.inner < other.inner for one, other in itertools.permutations(found, 2))


def test_the_ways_agree_with_separation_for_random_sets_in_our_own_graph():
    rng = stream(2, "tests/graphs")
    for _ in range(80):
        crew = bool(rng.random() < 0.5)
        arrows = graph().children(*(["flight_crew"] if crew else []))
        free = [code for code in graph().nodes if code not in ("A", "Y")]
        given = {code for code in free if rng.random() < rng.choice([0.3, 0.7])}
        library = drawn(*(["flight_crew"] if crew else []))
        library.remove_edge("A", "Y")  # never blocked
        cut = {**arrows, "A": tuple(child for child in arrows["A"] if child != "Y")}
        separated = nx.is_d_separator(library, {"A"}, {"Y"}, given)
        assert (not ways(cut, "A", "Y", given=given, causal=True)) == separated


# -- the adjustment sets -----------------------------------------------------------------------------------------


def test_the_sets_are_those_of_the_design():
    assert {"ROLE", "OPER", "ERA", "CLS", "SEAT", "PPE", "ENV", "EXP", "AGE", "SEX"} == S_MIN
    assert S_MIN | {"SEV", "WARN"} == S_ALIVE
    assert not S_ALIVE & descendants_of_training(crew=False)


@pytest.mark.parametrize("crew", [False, True])
@pytest.mark.parametrize(("population", "adjusted"), [("P2", S_MIN), ("P1", S_ALIVE)])
def test_fitness_is_all_that_stays_open(population, adjusted, crew):
    assert told(open_paths(adjusted, population=population, crew=crew)) == ["A < FIT > Y"]
    assert open_paths(adjusted | {"FIT"}, population=population, crew=crew) == ()


def test_back_doors_are_shut_once_fitness_is_known_or_out_of_the_graph():
    for crew in (False, True):
        assert not back_doors_shut(S_MIN, crew=crew)
        assert back_doors_shut(S_MIN | {"FIT"}, crew=crew)
        assert back_doors_shut(S_MIN, crew=crew, without={"FIT"})


@pytest.mark.parametrize("left_out", sorted(S_MIN))
def test_a_back_door_opens_where_a_cause_of_training_is_left_out(left_out):
    """By the agreed arrows class, seat, equipment, sea and sex do not act on training: the others shut their doors."""
    causes_of_training = {"ROLE", "OPER", "ERA", "EXP", "AGE"}
    opened = not back_doors_shut(S_MIN - {left_out}, crew=False, without={"FIT"})
    assert opened == (left_out in causes_of_training)
    paths = open_paths((S_MIN - {left_out}) | {"FIT"}, population="P2", crew=False)
    assert bool(paths) == opened
    assert all(left_out in path.nodes for path in paths)


def test_the_causes_of_training_alone_would_do_among_all_aboard():
    assert back_doors_shut({"ROLE", "OPER", "ERA", "EXP", "AGE"}, crew=True, without={"FIT"})


@pytest.mark.parametrize(
    ("left_out", "opened"),
    [
        ("SEV", ["A > BRACE > IMPD < SEV > INJ > OUT > Y", "A > BRACE > IMPD < SEV > CAPS > TEG > OUT > Y"]),
        ("WARN", ["A > BRACE < WARN > TEG > OUT > Y"]),
        ("CLS", ["A > BRACE > IMPD < CLS > TEG > OUT > Y"]),
        (
            "SEAT",
            ["A > BRACE > IMPD < SEAT > INJ > OUT > Y", "A > BRACE > IMPD < SEAT > TEG > OUT > Y"],
        ),
        ("PPE", []),
        ("SEX", []),
        ("ENV", []),
    ],
)
def test_looking_at_the_living_alone_opens_ways_through_the_brace_position(left_out, opened):
    known = (S_ALIVE - {left_out}) | {"FIT"}
    assert told(open_paths(known, population="P1", crew=False)) == opened
    assert open_paths(known, population="P2", crew=False) == ()  # without the selection nothing is opened


def test_for_crew_the_sea_must_be_held_equal_where_severity_is():
    known = (S_ALIVE - {"ENV"}) | {"FIT"}
    assert told(open_paths(known, population="P1", crew=True)) == ["A > SEV < ENV > Y"]


def test_time_out_held_equal_opens_a_way_and_cuts_one():
    known = S_ALIVE | {"FIT"}
    with_time = told(open_paths(known | {"TEG"}, population="P1", crew=False))
    assert "A > TEG < INJ > OUT > Y" in with_time
    cut = told(left_out_ways(known | {"TEG"}, population="P1", crew=False))
    assert "A > TEG > OUT > Y" in cut


def test_crew_alive_at_immersion_lose_what_a_gentler_impact_gained():
    assert told(left_out_ways(S_ALIVE, population="P1", crew=False)) == ["A > BRACE > IMPD > Y"]
    assert "A > SEV > IMPD > Y" in told(left_out_ways(S_ALIVE, population="P1", crew=True))
    assert crew_sentence(S_ALIVE, population="P1", passengers_only=False) == CREW_AFTER_CONTACT
    assert crew_sentence(S_ALIVE, population="P1", passengers_only=True) is None
    assert crew_sentence(S_MIN, population="P2", passengers_only=False) is None
    assert left_out_ways(S_MIN, population="P2", crew=True) == ()


@pytest.mark.parametrize("adjusted", [set(), S_MIN, S_ALIVE, S_ALIVE | {"FIT"}])
def test_whose_training_is_known_opens_a_way_that_nothing_shuts(adjusted):
    found = open_paths(adjusted, population="P2", crew=False, known_only=True)
    assert "A > MISS < Y" in told(found)
    assert not any("MISS" in path.nodes for path in open_paths(adjusted, population="P2", crew=False))


def test_free_seats_and_sets_for_the_trained_make_them_part_of_training():
    free = descendants(graph().children("free_seats"), "A")
    assert "SEAT" in free
    assert "PPE" in descendants(graph().children("sets_for_trained"), "A")
    assert not {"SEAT", "PPE"} & descendants_of_training(crew=True)


def test_the_others_aboard_share_causes_with_training_that_are_held_equal():
    assert "A < OPER > NEAR > TEG > OUT > Y" in told(
        open_paths(S_ALIVE - {"OPER"} | {"FIT"}, population="P1", crew=False)
    )


# -- fields ------------------------------------------------------------------------------------------------------


def test_every_field_of_the_codebook_has_exactly_one_place():
    nodes = graph().nodes.values()
    placed = [field for node in nodes for field in node.fields] + list(graph().after_outcome)
    placed += [field for fields in graph().aside.values() for field in fields]
    assert len(placed) == len(set(placed))
    book = {field.name for table in ("mishap", "occupant") for field in load_codebook().table(table)}
    assert book - set(placed) == set()


def test_what_is_not_measured_has_no_field_and_the_rest_has_some():
    for node in graph().nodes.values():
        assert (node.measured == "no") == (node.fields == ()), node.code
    assert node_of("egress_lo_s") == "TEG"
    assert node_of("shoe_size") is None


def test_a_reason_is_the_way_on_which_the_field_lies():
    assert reason_forbidden("egress_hi_s") == (
        "time out lies between training and survival (training, time out, getting out, survival)"
    )
    assert reason_forbidden("immersion_type").startswith("for flight crew, capsizing")
    assert reason_forbidden("far_seat") is None
    assert reason_forbidden("impact_severity") is None  # asked for, and said to leave something out for crew
    assert "who lived" in reason_forbidden("training_evidence")
    assert "who is compared" in reason_forbidden("alive_at_immersion")


def test_reasons_follow_the_arrows(monkeypatch):
    """Take the arrows of the brace position away, and its reason goes too."""
    real = graph()
    fewer = tuple(arrow for arrow in real.arrows if "BRACE" not in (arrow.start, arrow.end))
    changed = type(real)(**{**vars(real), "arrows": fewer})
    monkeypatch.setattr("survstats.effects.causal_graph.graph", lambda: changed)
    assert reason_forbidden("brace_adopted") is None
    assert reason_forbidden("egress_hi_s")


# -- what each node is to one comparison -------------------------------------------------------------------------


def test_states_of_a_study_that_adjusts_for_little():
    found = states({"ROLE", "SEAT"}, population="P1", passengers_only=False)
    assert set(found) == set(graph().nodes)
    assert {code for code, state in found.items() if state == "adjusted"} == {"ROLE", "SEAT"}
    assert {code for code, state in found.items() if state == "asked"} == S_ALIVE - {"ROLE", "SEAT"}
    assert {code for code, state in found.items() if state == "unmeasured"} == {"FIT"}
    assert {code for code, state in found.items() if state == "selection"} == {"IMPD", "ALIVE", "MISS"}
    assert (found["A"], found["Y"], found["CAPS"], found["NEAR"]) == (
        "training",
        "outcome",
        "between",
        "other",
    )
    passengers = states({"ROLE"}, population="P2", passengers_only=True)
    assert (passengers["CAPS"], passengers["SEV"], passengers["IMPD"]) == ("other", "other", "between")


def test_a_path_tells_its_arrows():
    path = Path(("A", "M", "Y"), (True, False))
    assert (str(path), path.causal, path.inner) == ("A > M < Y", False, {"M"})
    assert causal_paths.shortest_way({"a": ("b",), "b": ()}, "b", "a") is None


def test_the_table_of_a_known_example():
    """M-shape: Z is a child of two hidden causes; held equal it opens the only way (Greenland, Pearl and Robins 1999,
    Causal diagrams for epidemiologic research, doi:10.1097/00001648-199901000-00008; from memory)."""
    arrows = {"U": ("A", "Z"), "W": ("Y", "Z"), "A": ("Y",), "Z": (), "Y": ()}
    assert ways(arrows, "A", "Y") == ()
    assert told(ways(arrows, "A", "Y", given={"Z"})) == ["A < U > Z < W > Y"]
    assert ways(arrows, "A", "Y", given={"Z", "U"}) == ()
    assert np.array_equal(told(ways(arrows, "A", "Y", causal=True)), ["A > Y"])
