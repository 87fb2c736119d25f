"""On which papers, and in which of their parts, is a number printed, and in what form?"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass

from survstats.report.annex.content import AnnexContent, AnnexSection
from survstats.report.annex.paper import annex_content
from survstats.report.brief import brief_content
from survstats.report.content import Piece, Text, plain
from survstats.report.records_paper import records_content
from survstats.report.wording import catalogue
from survstats.study.results import StudyResults


@dataclass(frozen=True)
class Place:
    """A part of a paper in which a number stands, and the forms in which it is printed there."""

    paper: str
    part: str
    shown: tuple[str, ...]


def places(results: StudyResults, name: str) -> tuple[Place, ...]:
    """Where a number, or a cell of a table, is printed.

    Parameters
    ----------
    results : StudyResults
    name : str
        Id of a number, or a cell as ``table.row.column``.

    Returns
    -------
    tuple of Place
        In the order of the papers; empty where it is not printed.
    """
    day = datetime.date(2000, 1, 1)  # the day moves no number
    found: dict[tuple[str, str], dict[str, None]] = {}
    for content in (
        brief_content(results, date=day),
        annex_content(results, date=day),
        records_content(results, date=day),
    ):
        paper = plain(content.head.paper_name)
        for piece, part in _pieces(_parts(content), ""):
            if piece.id == name:
                found.setdefault((paper, part), {})[piece.text] = None
    return tuple(Place(paper, part, tuple(shown)) for (paper, part), shown in found.items())


def _parts(content: object) -> object:
    """The content, the sections of the annex with their numbers."""
    if not isinstance(content, AnnexContent):
        return content
    word = catalogue("en")["trace"]["section"]
    numbered = tuple(
        AnnexSection(part.key, (Piece(f"{word} {at}, "), *part.title), part.lead, part.blocks)
        for at, part in enumerate(content.sections, 1)
    )
    return (content.question, content.answer, numbered)


def _pieces(part: object, place: str) -> Iterator[tuple[Piece, str]]:
    """Every piece, with the title of the outermost headed part around it."""
    if isinstance(part, Piece):
        yield part, place
    elif isinstance(part, tuple):
        for inner in part:
            yield from _pieces(inner, place)
    elif is_dataclass(part):
        for field in fields(part):
            yield from _pieces(getattr(part, field.name), place or _title(part))


def _title(part: object) -> str:
    """The title or the name of a headed part; empty for what has none."""
    for attribute in ("title", "name"):
        found: Text | str = getattr(part, attribute, ())
        if isinstance(found, tuple) and found and all(isinstance(piece, Piece) for piece in found):
            return plain(found).replace("*", "")
    return ""
