"""What the graph of causes asks for, and what stays open, by id."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from survstats.effects.causal_graph import (
    adjustment_set,
    crew_sentence,
    graph,
    node_of,
    open_paths,
    states,
)
from survstats.records.cohort import Population
from survstats.study.counting import COMPARED
from survstats.study.estimating import ERA, EXPOSURE
from survstats.study.results import Table
from survstats.study.results_builder import ResultsBuilder, people

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


def store_graph(out: ResultsBuilder, covariates: Sequence[str]) -> None:
    """Nodes, arrows, what is held equal and what is not, and the ways that stay open.

    ``covariates`` are those held equal in the main estimate or, where there is none, those of the study file.
    """
    nodes = graph().nodes
    measured = {node_of(field) for field in covariates}
    adjusted = [code for code in nodes if code in measured]
    asked = adjustment_set("P1", passengers_only=False)
    out.lists["graph.adjusted_nodes"] = adjusted
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
    out.tables["open_paths"] = Table(
        ("population", "who", "path"),
        tuple(
            (population, who, str(path))
            for population, who, crew in _LOOKED_AT
            for path in open_paths(adjusted, population=population, crew=crew)
        ),
    )
    said = crew_sentence(adjusted, population="P1", passengers_only=False)
    out.codes["graph.crew"] = "none" if said is None else said


def store_eras(out: ResultsBuilder, frame: pd.DataFrame) -> None:
    """How many of those compared were trained and never trained in each era."""
    eras = frame[ERA].astype(object).where(frame[ERA].notna(), "unknown").astype(str)
    out.table(
        "era_positivity",
        ("era", "trained", "untrained"),
        [
            (era, *(people(group.loc[group[EXPOSURE] == value, "file_row"]) for value in (1, 0)))
            for era, group in frame.groupby(eras)
        ],
        rests_on=COMPARED,
    )
