"""What the paper about the records says, before it is set as HTML or PDF."""

from __future__ import annotations

from dataclasses import dataclass

from survstats.report.content import Block, Head, Section, Text


@dataclass(frozen=True)
class GapRow:
    """One field of F5: of how many of the dead and of the living it is known.

    ``died`` and ``survived`` are (known, all); a group of nobody, and one that the field does not concern, is None.
    """

    name: Text
    died: tuple[int, int] | None
    survived: tuple[int, int] | None
    died_text: Text
    survived_text: Text


@dataclass(frozen=True)
class GapsFigure:
    """F5: what is known of the dead and of the living, field by field; hatched is what cannot be seen."""

    rows: tuple[GapRow, ...]
    key_known: Text
    key_unknown: Text
    alt: Text


@dataclass(frozen=True)
class TableSection:
    """A headed table: a lead sentence, heads, rows of as many cells.

    ``right`` says for each column whether it holds numbers, which stand flush right.
    """

    title: Text
    lead: Text
    heads: tuple[Text, ...]
    right: tuple[bool, ...]
    rows: tuple[tuple[Text, ...], ...]


@dataclass(frozen=True)
class RecordsContent:
    """The paper about the records themselves, two pages; what the records do not hold is None or absent.

    Attributes
    ----------
    known : Section
        What is known of the dead and of the living; the figure stands in it.
    blocks : tuple of Block
        What the times are like, and how far two coders agree.
    pool, runs : Block, TableSection
        The trainer's own runs.
    """

    head: Head
    banners: tuple[Text, ...]
    question: Text
    read: Text
    answer: Text
    known: Section
    gaps: GapsFigure | None
    together: TableSection | None
    ledger: TableSection
    findings: TableSection
    blocks: tuple[Block, ...]
    pool: Block | None
    runs: TableSection | None
    foot: tuple[Text, ...]
    provenance: tuple[Text, ...]
