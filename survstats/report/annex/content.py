"""What the annex, and the budget paper in its manner, says before it is set as HTML or PDF."""

from __future__ import annotations

from dataclasses import dataclass

from survstats.report.content import GateState, Head, Text
from survstats.report.figures import Figure
from survstats.report.records_content import TableSection


@dataclass(frozen=True)
class Picture:
    """A figure and the name of its files."""

    name: str
    figure: Figure


@dataclass(frozen=True)
class RowMarks:
    """A mark of the state in front of one cell of each row; ``column`` counts from 0."""

    column: int
    states: tuple[GateState, ...]


@dataclass(frozen=True)
class AnnexBlock:
    """A part of a section: how it is to be read, then a figure, a table and short items, each where there is one.

    Attributes
    ----------
    title : Text
        Empty for a part that needs no heading of its own.
    lead : Text
        What the figure or the table shows and how to read it.
    table : TableSection or None
        Its own title and lead are those of the block.
    marks : RowMarks or None
        Marks of states in the table.
    folded : bool
        Whether intervals stand under their estimates in print, so that many columns of numbers find room.
    """

    title: Text
    lead: Text
    picture: Picture | None = None
    table: TableSection | None = None
    items: tuple[Text, ...] = ()
    marks: RowMarks | None = None
    folded: bool = False


@dataclass(frozen=True)
class AnnexSection:
    """A numbered section; ``key`` is its anchor. Its number is made where it is set."""

    key: str
    title: Text
    lead: Text
    blocks: tuple[AnnexBlock, ...]


@dataclass(frozen=True)
class AnnexContent:
    """The annex, as many pages as it needs; ``contents`` heads the list of its sections.

    ``opening`` stands on the first page under the answer, before the contents: the budget paper, which is set as the
    annex is, has its options there.
    """

    head: Head
    banners: tuple[Text, ...]
    question: Text
    population: Text
    answer: Text
    contents: Text
    sections: tuple[AnnexSection, ...]
    foot: tuple[Text, ...]
    opening: tuple[AnnexBlock, ...] = ()


def pictures_of(content: AnnexContent) -> dict[str, Figure]:
    """The figures of the annex by name, in the order of its pages."""
    return {
        block.picture.name: block.picture.figure
        for blocks in (content.opening, *(section.blocks for section in content.sections))
        for block in blocks
        if block.picture is not None
    }
