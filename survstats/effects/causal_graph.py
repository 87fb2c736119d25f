"""What causes what in a ditching, what must be held equal, and what must not?"""

from __future__ import annotations

import tomllib
from collections.abc import Collection
from dataclasses import dataclass
from functools import cache
from pathlib import Path as FilePath
from typing import Literal

from survstats.effects import causal_paths
from survstats.effects.causal_paths import Arrows, Path
from survstats.records.cohort import Population

Stage = Literal["before", "mishap", "way_out", "outcome", "records"]
Measured = Literal["yes", "partly", "no"]
Who = Literal["everyone", "flight_crew", "free_seats", "sets_for_trained"]
State = Literal["training", "outcome", "adjusted", "asked", "unmeasured", "between", "selection", "other"]

GRAPH_FILE = FilePath(__file__).with_name("causal_graph.toml")
TRAINING, OUTCOME, RECORDS = "A", "Y", "MISS"

#: Where the number leaves out what flight crew's training does before water contact (a sentence of the papers).
CREW_AFTER_CONTACT = "crew_after_contact"


@dataclass(frozen=True)
class Node:
    """One cause.

    Attributes
    ----------
    code : str
        Short name, in capitals.
    name : str
        What it is, for messages about a study file.
    stage : {"before", "mishap", "way_out", "outcome", "records"}
        When it is settled.
    measured : {"yes", "partly", "no"}
    fields : tuple of str
        The fields that measure it, codebook and derived.
    """

    code: str
    name: str
    stage: Stage
    measured: Measured
    fields: tuple[str, ...]


@dataclass(frozen=True)
class Arrow:
    """One cause acting on another, for ``who``: everyone, flight crew, or where a circumstance holds."""

    start: str
    end: str
    who: Who


@dataclass(frozen=True)
class CausalGraph:
    """The graph as shipped.

    Attributes
    ----------
    nodes : mapping of str to Node
        By code, in the order of time.
    arrows : tuple of Arrow
    adjust_all_aboard, adjust_besides : tuple of str
        What is held equal among everyone aboard, and what besides among those alive at immersion.
    selected : mapping of population to tuple of str
        What a population fixes by its definition.
    after_outcome : tuple of str
        Fields written down only once it is known who lived.
    aside : mapping of str to tuple of str
        Fields in no place of the graph, by reason.
    """

    nodes: dict[str, Node]
    arrows: tuple[Arrow, ...]
    adjust_all_aboard: tuple[str, ...]
    adjust_besides: tuple[str, ...]
    selected: dict[Population, tuple[str, ...]]
    after_outcome: tuple[str, ...]
    aside: dict[str, tuple[str, ...]]

    def children(self, *circumstances: Who) -> Arrows:
        """Arrows that hold for everyone and under the circumstances, as children of each node."""
        holding = {"everyone", *circumstances}
        return {
            code: tuple(arrow.end for arrow in self.arrows if arrow.start == code and arrow.who in holding)
            for code in self.nodes
        }


@cache
def graph() -> CausalGraph:
    """The graph of causes, from ``causal_graph.toml``."""
    content = tomllib.loads(GRAPH_FILE.read_text(encoding="utf-8"))
    return CausalGraph(
        nodes={
            code: Node(code, node["name"], node["stage"], node["measured"], tuple(node["fields"]))
            for code, node in content["node"].items()
        },
        arrows=tuple(
            Arrow(start, end, who)
            for who, starts in content["arrows"].items()
            for start, ends in starts.items()
            for end in ends
        ),
        adjust_all_aboard=tuple(content["adjust"]["P2"]),
        adjust_besides=tuple(content["adjust"]["P1_besides"]),
        selected={name: tuple(nodes) for name, nodes in content["selection"].items()},
        after_outcome=tuple(content["after_outcome"]["fields"]),
        aside={reason: tuple(fields) for reason, fields in content["aside"].items()},
    )


def node_of(field: str) -> str | None:
    """The node that a field measures; None for a field that stands beside the graph."""
    return next((code for code, node in graph().nodes.items() if field in node.fields), None)


def descendants_of_training(*, crew: bool) -> frozenset[str]:
    """What training acts on; with ``crew``, also what it acts on for those who fly the ditching."""
    return causal_paths.descendants(_arrows(crew), TRAINING)


def adjustment_set(population: Population, *, passengers_only: bool) -> tuple[str, ...]:
    """What must be held equal, as node codes.

    Among those alive at immersion (P1) severity and warning are needed besides, since looking at the living alone
    ties the brace position to them. The pooled P1 comparison uses the same nodes as the passengers': for flight crew
    it then leaves out what a gentler impact gained (`crew_sentence`).

    Notes
    -----
    Fitness cannot be held equal, so no set of measured nodes blocks every way (`open_paths`).
    """
    del passengers_only  # the same nodes serve both; what differs is what the number then means
    found = graph()
    return found.adjust_all_aboard + (found.adjust_besides if population == "P1" else ())


def crew_sentence(adjusted: Collection[str], *, population: Population, passengers_only: bool) -> str | None:
    """`CREW_AFTER_CONTACT` where the number leaves out part of what flight crew's training does, else None."""
    if passengers_only:
        return None
    cut, cut_for_others = (
        {str(way) for way in left_out_ways(adjusted, population=population, crew=crew)}
        for crew in (True, False)
    )
    return CREW_AFTER_CONTACT if cut - cut_for_others else None


def open_paths(
    adjusted: Collection[str], *, population: Population, crew: bool, known_only: bool = False
) -> tuple[Path, ...]:
    """Ways other than training's own by which trained and untrained differ in survival, given what is held equal.

    Parameters
    ----------
    adjusted : collection of str
        Node codes.
    population : {"P1", "P2"}
        P1 fixes death at impact and being alive at immersion, which ties their causes to each other.
    crew : bool
        Whether the arrows that hold for flight crew are in.
    known_only : bool
        Count in that only people of known training are compared. Training and survival both decide whose training
        is known, so that this way is open whatever is held equal.

    Returns
    -------
    tuple of Path
        As of `causal_paths.open_paths`; ``str`` of one gives its nodes and arrows.
    """
    given = {*adjusted, *graph().selected[population]} | ({RECORDS} if known_only else set())
    return causal_paths.open_paths(_arrows(crew), TRAINING, OUTCOME, given=given)


def left_out_ways(adjusted: Collection[str], *, population: Population, crew: bool) -> tuple[Path, ...]:
    """Training's own ways to survival that the number leaves out, since a node on them is held equal or fixed."""
    given = [code for code in graph().nodes if code in {*adjusted, *graph().selected[population]}]
    return causal_paths.blocked_ways(_arrows(crew), TRAINING, OUTCOME, given=given)


def back_doors_shut(adjusted: Collection[str], *, crew: bool, without: Collection[str] = ()) -> bool:
    """Whether the nodes block every way into training: d-separation in the graph without training's own arrows.

    Parameters
    ----------
    adjusted : collection of str
        Node codes; none may descend from training.
    crew : bool
    without : collection of str
        Nodes taken out of the graph first (what one supposes not to matter).

    Notes
    -----
    Back-door criterion: Pearl 1995, Causal diagrams for empirical research (doi:10.1093/biomet/82.4.669).
    """
    import networkx  # takes a while, and the commands do not need it to start

    arrows = _arrows(crew)
    drawn = networkx.DiGraph()
    drawn.add_nodes_from(arrows)
    drawn.add_edges_from((start, end) for start, ends in arrows.items() if start != TRAINING for end in ends)
    drawn.remove_nodes_from(without)
    return bool(networkx.is_d_separator(drawn, {TRAINING}, {OUTCOME}, set(adjusted) - set(without)))


def states(adjusted: Collection[str], *, population: Population, passengers_only: bool) -> dict[str, State]:
    """What each node is to one comparison, by code.

    ``asked`` is a node of the adjustment set that the study does not hold equal, ``between`` lies on training's way
    to survival, ``selection`` decides who is among those compared.
    """
    asked = adjustment_set(population, passengers_only=passengers_only)
    moved = descendants_of_training(crew=not passengers_only)
    found: dict[str, State] = {}
    for code, node in graph().nodes.items():
        if code in (TRAINING, OUTCOME):
            found[code] = "training" if code == TRAINING else "outcome"
        elif code in adjusted:
            found[code] = "adjusted"
        elif code in asked:
            found[code] = "asked"
        elif node.measured == "no":
            found[code] = "unmeasured"
        elif code in (*graph().selected[population], RECORDS):
            found[code] = "selection"
        else:
            found[code] = "between" if code in moved else "other"
    return found


def reason_forbidden(field: str) -> str | None:
    """Why a field must not be adjusted for, from its place in the graph; None where nothing forbids it."""
    found = graph()
    if field in found.after_outcome:
        return "it is known only together with who lived"
    code = node_of(field)
    if code is None or code in adjustment_set("P1", passengers_only=False):
        return None
    if code in (TRAINING, OUTCOME):
        return "it is the question itself" if code == TRAINING else "it is the outcome"
    for crew in (False, True):
        if code in descendants_of_training(crew=crew):
            return ("for flight crew, " if crew else "") + _place(code, crew)
    return None


def _place(code: str, crew: bool) -> str:
    """Where a descendant of training stands, in words, with the way on which it lies."""
    found, arrows = graph(), _arrows(crew)
    onto = causal_paths.shortest_way(arrows, TRAINING, code)
    onward = causal_paths.shortest_way(arrows, code, OUTCOME)
    assert onto is not None  # noqa: S101  (it descends from training)
    nodes = onto.nodes + (onward.nodes[1:] if onward else ())
    way = ", ".join(found.nodes[node].name for node in nodes)
    name = found.nodes[code].name
    if onward:
        return f"{name} lies between training and survival ({way})"
    if code in causal_paths.descendants(arrows, OUTCOME):
        return f"{name} follows from training and from who lived"
    return f"{name} follows from training ({way}), and decides who is compared"


def _arrows(crew: bool) -> Arrows:
    return graph().children("flight_crew") if crew else graph().children()
