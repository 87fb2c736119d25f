"""Which causes does the graph name, what is allowed for, and which ways stay open?"""

from __future__ import annotations

from survstats.report.annex.asked import positivity
from survstats.report.annex.content import AnnexBlock, AnnexSection
from survstats.report.annex.figures import graph_picture
from survstats.report.annex.tables import Row, coded, node, said, section, table_rows, tabled, texts
from survstats.report.content import Piece, Text
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

_PATHS = 16
"""Open ways that are printed; the file beside the paper holds all."""
_ARROWS = {"<": "←", ">": "→"}


def graph(results: StudyResults, words: Wording) -> AnnexSection:
    """The graph: a figure, what is allowed for and what is not, the open ways, crew, pairs, eras."""
    picture = graph_picture(results, words)
    kinds = ("adjusted", "left_out", "unmeasured")
    told = tuple(
        item
        for kind in kinds
        for item in _nodes(results, words, kind)
        if results.lists.get(f"graph.{kind}_nodes")
    )
    first = AnnexBlock((), words.say("annex.graph.figure") if picture else (), picture, None, told)
    return section(
        words,
        "graph",
        first if picture or told else None,
        _paths(results, words),
        _crew(results, words),
        said(words, "graph.pairs", "seat", "breathing"),
        positivity(results, words),
        AnnexBlock((), (), items=texts(words, "annex.graph.forbidden")),
    )


def _crew(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """What the figure leaves out for flight crew, whose training also acts before contact."""
    if results.codes.get("graph.crew", "none") == "none":
        return said(words, "graph.crew", "before_contact", "passengers")
    return said(words, "graph.crew", "after_contact", "passengers")


def _nodes(results: StudyResults, words: Wording, kind: str) -> tuple[Text, ...]:
    """One sentence: which nodes are of a kind."""
    name = f"graph.{kind}_nodes"
    nodes = words.listed([node(words, code) for code in results.lists.get(name, ())])
    return ((*words.say(f"annex.graph.{kind}"), Piece(" "), Piece(nodes, name), Piece(".")),)


def _paths(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """The open ways that are not causal, the shortest first, and for whom they are open."""
    stored = table_rows(results, "open_paths")
    if not stored:
        return said(words, "graph.no_paths") if results.lists.get("graph.adjusted_nodes") else None
    whom: dict[str, dict[str, list[str]]] = {}
    for row in stored:
        whom.setdefault(str(row["path"]), {}).setdefault(str(row["population"]), []).append(str(row["who"]))
    shortest = sorted(whom, key=lambda path: len(path.split()))[:_PATHS]
    rows: list[Row] = [
        (
            (Piece(_path(words, path)),),
            *(_who(words, whom[path].get(population, [])) for population in ("P1", "P2")),
        )
        for path in shortest
    ]
    return tabled(words, "graph.paths", ("path", "alive", "aboard"), rows, numbers=())


def _who(words: Wording, groups: list[str]) -> Text:
    """For whom a way is open: both groups, one, or (empty) neither."""
    if len(groups) > 1:
        return words.say("annex.graph.paths.both")
    return coded(words, "annex.who", groups[0]) if groups else ()


def _path(words: Wording, path: str) -> str:
    """A path of node codes, in words."""
    return " ".join(_ARROWS.get(part) or node(words, part) for part in path.split())
