"""In which kinds of people is one of the groups missing, so that the model speaks where nobody was seen?"""

from __future__ import annotations

from survstats.report.annex.content import AnnexBlock
from survstats.report.annex.tables import Row, coded, some, table_rows, tabled, texts
from survstats.report.content import Piece, Text
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

ARMS = ("trained", "untrained")
_CELLS = 8
"""Combinations that are printed; the file beside the paper holds all."""


def eras(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """How many trained and never trained people there are in each era."""
    rows = (
        ((Piece(_spaced(row["era"])),), *_arms(words, f"era_positivity.{at}"))
        for at, row in enumerate(table_rows(results, "era_positivity"))
    )
    return tabled(words, "graph.eras", ("era", *ARMS), rows, numbers=ARMS)


def empty_cells(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """The combinations of role, class and era in which nobody of a group is there."""
    stored = table_rows(results, "empty_cells")
    if not (stored and some(results, "overlap.one_sided")):
        return None
    rows: list[Row] = [
        (
            coded(words, "group", str(stored[at]["role"])),
            *((Piece(_spaced(stored[at][name])),) for name in ("aircraft_class", "era")),
            *_arms(words, f"empty_cells.{at}"),
        )
        for at in range(min(len(stored), _CELLS))
    ]
    key = "people" if len(stored) <= _CELLS else "few"
    heads = ("role", "aircraft_class", "era", *ARMS)
    items = texts(words, f"annex.graph.empty.{key}")
    return tabled(words, "graph.empty", heads, rows, numbers=ARMS, items=items)


def _arms(words: Wording, row: str) -> tuple[Text, ...]:
    return tuple(words.cell(f"{row}.{arm}", "count") for arm in ARMS)


def _spaced(cell: object) -> str:
    return str(cell).replace("_", " ")
