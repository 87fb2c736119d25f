"""Which causes does the graph name, what is allowed for, and which ways stay open?"""

from __future__ import annotations

from collections.abc import Mapping

from survstats.report.annex.content import AnnexBlock, AnnexSection
from survstats.report.annex.figures import graph_picture
from survstats.report.annex.positivity import empty_cells, eras
from survstats.report.annex.tables import (
    Row,
    coded,
    node,
    run,
    said,
    section,
    some,
    table_rows,
    tabled,
    texts,
)
from survstats.report.content import Piece, Text
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

_PATHS = 16
"""Open ways of a kind that are printed; the file beside the paper holds all."""
_ARROWS = {"<": "←", ">": "→"}
_Whom = Mapping[str, Mapping[str, list[str]]]


def graph(results: StudyResults, words: Wording) -> AnnexSection:
    """The graph: a figure, what is allowed for and what is not, the open ways, crew, pairs, groups that are missing."""
    picture = graph_picture(results, words)
    told = _told(results, words)
    first = AnnexBlock((), words.say("annex.graph.figure") if picture else (), picture, None, told)
    return section(
        words,
        "graph",
        first if picture or told else None,
        *_paths(results, words),
        _crew(results, words),
        _pairs(results, words),
        eras(results, words),
        empty_cells(results, words),
        AnnexBlock((), (), items=texts(words, "annex.graph.forbidden")),
    )


def _told(results: StudyResults, words: Wording) -> tuple[Text, ...]:
    """What is allowed for, what in part, and what is not."""
    items = []
    for kind in ("adjusted", "partly", "left_out", "unmeasured"):
        if results.lists.get(f"graph.{kind}_nodes"):
            how = texts(words, f"annex.graph.{kind}_how")
            items.append(run(_nodes(results, words, kind), *how))
    return tuple(items)


def _nodes(results: StudyResults, words: Wording, kind: str) -> Text:
    """One sentence: which nodes are of a kind."""
    name = f"graph.{kind}_nodes"
    nodes = words.listed([node(words, code) for code in results.lists.get(name, ())])
    return (*words.say(f"annex.graph.{kind}"), Piece(" "), Piece(nodes, name), Piece("."))


def _crew(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """What the figure leaves out for flight crew, whose training also acts before contact."""
    if results.codes.get("graph.crew", "none") == "none":
        return said(words, "graph.crew", "before_contact", "passengers")
    return said(words, "graph.crew", "after_contact", "passengers")


def _pairs(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """Seat and breathing set, allowed for and not, and for how many the rule by which they went is known."""
    keys: list[str] = []
    for name, both in (("seat", "seat"), ("breathing", "breathing_set")):
        if all(f"effect.rd_{kind}_{both}" in results.numbers for kind in ("without", "with")):
            keys += [f"{name}_{who}" for who in ("people", "unknown") if some(results, f"pairs.{name}_{who}")]
            keys.append(name)
    return said(words, "graph.pairs", *keys) if keys else None


def _paths(results: StudyResults, words: Wording) -> tuple[AnnexBlock | None, ...]:
    """The open ways that are not causal: those that could be closed, then those that nothing recorded closes."""
    stored = table_rows(results, "open_paths")
    if not stored:
        return (said(words, "graph.no_paths") if results.lists.get("graph.adjusted_nodes") else None,)
    kinds: dict[str, dict[str, dict[str, list[str]]]] = {"closable": {}, "paths": {}}
    for row in stored:
        kind = kinds["closable" if row.get("closable") == "yes" else "paths"]
        whom = kind.setdefault(str(row["path"]), {})
        whom.setdefault(str(row["population"]), []).append(str(row["who"]))
    return tuple(_ways(words, kind, whom) for kind, whom in kinds.items())


def _ways(words: Wording, kind: str, whom: _Whom) -> AnnexBlock | None:
    """The shortest ways of a kind, for whom they are open, and how many of how many are printed."""
    shortest = sorted(whom, key=lambda path: len(path.split()))[:_PATHS]
    rows: list[Row] = [
        (
            (Piece(_path(words, path)),),
            *(_who(words, whom[path].get(population, [])) for population in ("P1", "P2")),
        )
        for path in shortest
    ]
    items: tuple[Text, ...] = (
        (_printed(words, len(shortest), len(whom)),) if len(shortest) < len(whom) else ()
    )
    if any("MISS" in path.split() for path in shortest):
        items += texts(words, "annex.graph.paths.selection")
    return tabled(words, f"graph.{kind}", ("path", "alive", "aboard"), rows, numbers=(), items=items)


def _printed(words: Wording, printed: int, every: int) -> Text:
    """How many of the ways of a kind stand in the table above."""
    key = "annex.graph.paths"
    count = (Piece(f"{printed}"), Piece(" "), *words.say(f"{key}.of"), Piece(f" {every}."))
    return run(words.say(f"{key}.printed"), count, words.say(f"{key}.rest"))


def _who(words: Wording, groups: list[str]) -> Text:
    """For whom a way is open: both groups, one, or (empty) neither."""
    if len(groups) > 1:
        return words.say("annex.graph.paths.both")
    return coded(words, "annex.who", groups[0]) if groups else ()


def _path(words: Wording, path: str) -> str:
    """A path of node codes, in words."""
    return " ".join(_ARROWS.get(part) or node(words, part) for part in path.split())
