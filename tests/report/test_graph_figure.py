"""Does F8 hold every cause of the graph, keep its letters and its lines apart, and tell the kinds of arrows?"""

from __future__ import annotations

import itertools
import re
from dataclasses import asdict
from typing import get_args

import pytest
from test_figures import collisions

from survstats.effects.causal_graph import adjustment_set, graph, open_paths, states
from survstats.report.content import Piece, plain
from survstats.report.graph_figure import (
    ArrowKind,
    GraphFigure,
    GraphNode,
    NodeState,
    arrow_kinds,
    draw_graph,
    plan_graph,
    plan_list,
)
from survstats.report.graph_layout import BOX_HEIGHT, LANES, PLACES, STAGES, box_of, route, stage_of
from survstats.report.style import PALETTES, SIZES

ASKED = set(adjustment_set("P1", passengers_only=False))
EDGES = [(arrow.start, arrow.end, arrow.who) for arrow in graph().arrows]


def t(text):
    return (Piece(text),)


def figure(adjusted, population="P1"):
    found = states(adjusted, population=population, passengers_only=False)
    ways = [str(path) for path in open_paths(adjusted, population=population, crew=True)]
    held = [code for code, state in found.items() if state in ("adjusted", "selection")]
    return GraphFigure(
        title=t("What acts on what"),
        nodes=tuple(GraphNode(code, t("experience over water"), state) for code, state in found.items()),
        arrows=arrow_kinds(EDGES, ways, held=held),
        heads={stage: t(stage) for stage, _, _ in STAGES},
        node_key=tuple((state, t(f"what {state} means")) for state in get_args(NodeState)),
        arrow_key=tuple((kind, t(f"what {kind} means")) for kind in get_args(ArrowKind)),
        alt=t("Boxes in four stages, with arrows."),
    )


def kinds(adjusted, population="P1"):
    return {(arrow.start, arrow.end): arrow.kind for arrow in figure(adjusted, population).arrows}


def test_every_cause_has_a_place_under_its_stage():
    assert set(PLACES) == set(graph().nodes)
    for code, node in graph().nodes.items():
        assert stage_of(code) == ("outcome" if node.stage == "records" else node.stage), code


def test_no_two_boxes_touch():
    boxes = [box_of(code, 0) for code in PLACES]
    for at, (left, top, right, bottom) in enumerate(boxes):
        for other in boxes[:at]:
            assert right < other[0] or other[2] < left or bottom < other[1] or other[3] < top


def behind(start, end):
    """Causes behind whose boxes an arrow runs."""
    points = route(start, end, 0)
    dense = [
        (x0 + step / 8 * (x1 - x0), y0 + step / 8 * (y1 - y0))
        for (x0, y0), (x1, y1) in itertools.pairwise(points)
        for step in range(9)
    ]
    found = set()
    for code in set(PLACES) - {start, end}:
        left, top, right, bottom = box_of(code, 0)
        if any(left + 0.5 < x < right - 0.5 and top - 1 < y < bottom + 1 for x, y in dense):
            found.add(code)
    return found


def told_apart():
    """Arrows that are drawn strongly in some study: training's own, and those of the ways that lanes were set for."""
    own = {pair for pair, kind in kinds(ASKED, "P2").items() if kind in ("way", "crew")}
    return sorted(own | set(LANES))


@pytest.mark.parametrize(("start", "end"), told_apart())
def test_a_strong_arrow_runs_behind_no_box(start, end):
    assert behind(start, end) == set()


def test_an_arrow_without_its_lanes_would_be_seen_to_run_behind_one(monkeypatch):
    monkeypatch.delitem(LANES, ("FIT", "Y"))
    assert behind("FIT", "Y")


@pytest.mark.parametrize("plan", [plan_graph, plan_list])
@pytest.mark.parametrize("adjusted", [set(), ASKED])
def test_letters_stand_clear(plan, adjusted):
    plate = plan(figure(adjusted))
    assert not collisions(plate.letters, plate.width, plate.height)


def test_labels_fit_their_boxes():
    plate = plan_graph(figure(ASKED))
    labels = [
        line for line in plate.letters if "experience" in plain(line.text) or plain(line.text) == "over water"
    ]
    assert len(labels) == 2 * len(PLACES)
    widths = [line.box()[2] - line.box()[0] for line in labels]
    assert max(widths) < BOX_HEIGHT * 2.4


def test_kinds_of_arrows_in_a_study_that_holds_all_equal():
    found = kinds(ASKED)
    assert found["A", "TEG"] == found["OUT", "Y"] == "way"
    assert found["A", "SEV"] == found["A", "CAPS"] == "crew"
    assert {pair for pair, kind in found.items() if kind == "open"} == {("FIT", "A"), ("FIT", "Y")}
    assert found["BRACE", "IMPD"] == found["IMPD", "Y"] == "other"  # fixed among those alive at immersion
    assert kinds(ASKED, "P2")["BRACE", "IMPD"] == "way"
    assert len(found) == sum(who in ("everyone", "flight_crew") for _, _, who in EDGES)


def test_kinds_of_arrows_in_a_study_that_holds_nothing_equal():
    found = kinds(set())
    assert found["ERA", "RESC"] == found["RESC", "Y"] == found["SEV", "INJ"] == found["AGE", "A"] == "open"
    assert found["A", "MISS"] == "other"


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("paper", ["white", "tone"])
def test_only_our_colours_faces_and_sizes(narrow, paper):
    svg = draw_graph(figure({"ROLE"}), narrow=narrow, paper=paper)
    colours = set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) - {"none"}
    assert colours <= set(asdict(PALETTES[paper]).values())
    assert set(re.findall(r'font-family="([^"]+)"', svg)) <= {"Clear Sans"}
    assert min(float(size) for size in re.findall(r'font-size="([^"]+)"', svg)) >= SIZES.note
    assert "<desc" in svg
