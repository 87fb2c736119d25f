"""What the graph of causes asks for, and what stays open, by id."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import pandas as pd

from survstats.effects.causal_graph import (
    RECORDS,
    adjustment_set,
    crew_sentence,
    graph,
    node_of,
    open_paths,
    states,
)
from survstats.effects.causal_paths import Path
from survstats.effects.question import COVARIATES
from survstats.records.cohort import Population
from survstats.study.results import Table
from survstats.study.results_builder import ResultsBuilder

#: Whose comparison is looked at: population, and whether flight crew are among them.
_LOOKED_AT: tuple[tuple[Population, str, bool], ...] = (
    ("P1", "passengers", False),
    ("P1", "flight_crew", True),
    ("P2", "passengers", False),
    ("P2", "flight_crew", True),
)


def store_question(out: ResultsBuilder) -> None:
    """What the main number is about, in codes."""
    out.codes |= {"question.population": "P1", "question.target": "all", "question.weighting": "people"}


def held_equal(covariates: Sequence[str], *, population: Population) -> tuple[str, ...]:
    """The covariates that serve in a population: those whose node its adjustment set holds.

    Among all aboard severity and warning are let go: for flight crew severity follows from their own training, and
    nothing ties it to training where nobody is chosen for being alive.
    """
    asked = adjustment_set(population, passengers_only=False)
    return tuple(name for name in covariates if node_of(name) in asked)


def store_graph(
    out: ResultsBuilder, covariates: Sequence[str], frames: Mapping[Population, pd.DataFrame]
) -> None:
    """Nodes, arrows, what is held equal and what is not, and the ways that stay open.

    Parameters
    ----------
    out : ResultsBuilder
    covariates : sequence of str
        Those held equal in the main estimate or, where there is none, those of the study file.
    frames : mapping of population to DataFrame
        Everyone in each population, whatever is known of their training.
    """
    nodes = graph().nodes
    adjusted = _nodes(covariates)
    asked = adjustment_set("P1", passengers_only=False)
    out.lists["graph.adjusted_nodes"] = adjusted
    out.lists["graph.partly_nodes"] = [code for code in adjusted if _in_part(code, covariates)]
    out.lists["graph.asked_nodes"] = [code for code in nodes if code in asked]
    out.lists["graph.left_out_nodes"] = [code for code in nodes if code in asked and code not in adjusted]
    out.lists["graph.unmeasured_nodes"] = [code for code, node in nodes.items() if node.measured == "no"]
    role = states(adjusted, population="P1", passengers_only=False)
    out.tables["graph_nodes"] = Table(
        ("node", "measured", "adjusted", "role"),
        tuple(
            (code, node.measured, "yes" if code in adjusted else "no", role[code])
            for code, node in nodes.items()
        ),
    )
    out.tables["graph_edges"] = Table(
        ("from", "to", "who"), tuple((arrow.start, arrow.end, arrow.who) for arrow in graph().arrows)
    )
    _store_open_paths(out, covariates, frames)
    said = crew_sentence(adjusted, population="P1", passengers_only=False)
    out.codes["graph.crew"] = "none" if said is None else said


def _nodes(covariates: Sequence[str]) -> list[str]:
    """The nodes that covariates measure, in the order of time."""
    measured = {node_of(field) for field in covariates}
    return [code for code in graph().nodes if code in measured]


def _in_part(code: str, covariates: Sequence[str]) -> bool:
    """Whether a node held equal is measured partly only, or by some of the fields that measure it."""
    node = graph().nodes[code]
    unused = [field for field in node.fields if field in COVARIATES and field not in covariates]
    return node.measured == "partly" or bool(unused)


def _store_open_paths(
    out: ResultsBuilder, covariates: Sequence[str], frames: Mapping[Population, pd.DataFrame]
) -> None:
    rows = [
        (population, who, str(path), "yes" if closes else "no")
        for population, who, crew in _LOOKED_AT
        for path, closes in _ways(
            held_equal(covariates, population=population), frames[population], population, crew=crew
        )
    ]
    out.tables["open_paths"] = Table(("population", "who", "path", "closable"), tuple(rows))
    for population in ("P1", "P2"):
        out.count(f"graph.open_paths_{population.lower()}", sum(row[0] == population for row in rows))


def _ways(
    covariates: Sequence[str], frame: pd.DataFrame, population: Population, *, crew: bool
) -> Iterator[tuple[Path, bool]]:
    """Open ways, each with whether a field that is recorded and not held equal would close it.

    Where training is unknown of anybody, those compared are chosen by how it became known, which is listed as the way
    over that node alone: it opens whatever survival acts on besides, and each of these ways would say the same again.
    """
    adjusted = _nodes(covariates)
    ways = open_paths(adjusted, population=population, crew=crew)
    if frame["trained_status"].eq("unknown").any():
        chosen = open_paths(adjusted, population=population, crew=crew, known_only=True)
        ways += tuple(path for path in chosen if RECORDS in path.inner)
    asked = adjustment_set(population, passengers_only=not crew)
    free = {code for code in asked if code not in adjusted and _recorded(code, frame)}
    for path in ways:
        yield path, bool(_passed_through(path) & free)


def _passed_through(path: Path) -> frozenset[str]:
    """The nodes of a way at which two arrows do not meet: holding one of them equal closes it."""
    inner = enumerate(path.nodes[1:-1])
    return frozenset(node for at, node in inner if not (path.along[at] and not path.along[at + 1]))


def _recorded(code: str, frame: pd.DataFrame) -> bool:
    """Whether any field of a node that may be held equal is known of anybody."""
    fields = [field for field in graph().nodes[code].fields if field in COVARIATES]
    return any((frame[field].notna() & frame[field].astype(object).ne("unknown")).any() for field in fields)
