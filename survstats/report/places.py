"""On which papers, and in which of their parts, is a number printed, and in what form?"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass

from survstats.report.annex.content import AnnexContent, AnnexSection
from survstats.report.annex.paper import annex_content
from survstats.report.brief import brief_content
from survstats.report.budget.paper import budget_content
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
        budget_content(results, date=day),
        records_content(results, date=day),
    ):
        if content is None:
            continue
        paper = plain(content.head.paper_name)
        for shown, part in _shown(_parts(content), "", name):
            found.setdefault((paper, part), {})[shown] = None
    return tuple(Place(paper, part, _fullest(tuple(shown))) for (paper, part), shown in found.items())


def _fullest(shown: tuple[str, ...]) -> tuple[str, ...]:
    """The forms, without those that another one only adds a unit to ("55" beside "55 mishaps")."""
    return tuple(text for text in shown if not any(other.startswith(f"{text}\u00a0") for other in shown))


def _parts(content: object) -> object:
    """The content, the sections of the annex with their numbers."""
    if not isinstance(content, AnnexContent):
        return content
    word = catalogue("en")["trace"]["section"]
    numbered = tuple(
        AnnexSection(part.key, (Piece(f"{word} {at}, "), *part.title), part.lead, part.blocks)
        for at, part in enumerate(content.sections, 1)
    )
    return (content.question, content.answer, content.opening, numbered)


def _shown(part: object, place: str, name: str) -> Iterator[tuple[str, str]]:
    """Every form of a number, with the interval that stands behind it, and the outermost headed part around it."""
    if isinstance(part, tuple):
        for at, inner in enumerate(part):
            if isinstance(inner, Piece) and inner.id == name:
                yield inner.text + _interval(part[at + 1 : at + 6]), place
            else:
                yield from _shown(inner, place, name)
    elif is_dataclass(part):
        for field in fields(part):
            yield from _shown(getattr(part, field.name), place or _title(part), name)


def _interval(behind: tuple[object, ...]) -> str:
    """The interval that a cell of a table sets behind its estimate, each limit a piece of its own; else nothing."""
    texts = [piece.text for piece in behind if isinstance(piece, Piece)]
    return "".join(texts) if texts[:1] == [" ("] and texts[-1] == ")" else ""


def _title(part: object) -> str:
    """The title or the name of a headed part; empty for what has none."""
    for attribute in ("title", "name"):
        found: Text | str = getattr(part, attribute, ())
        if isinstance(found, tuple) and found and all(isinstance(piece, Piece) for piece in found):
            return plain(found).replace("*", "")
    return ""
