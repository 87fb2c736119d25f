"""What does the worksheet hold: its fields, its results, its sentences and the drawn worlds behind them?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from survstats.report.content import Head, Text

FieldKind = Literal["number", "share", "tick"]


@dataclass(frozen=True)
class SheetField:
    """A figure that the reader may change.

    Attributes
    ----------
    key : str
        Its name in the page and for the script (``people.0``).
    kind : {"number", "share", "tick"}
        A typed number, a share in per cent that is slid, or something that is ticked.
    label, unit : Text
    told : Text
        Where the study's figure comes from.
    start : float or None
        The study's figure in the unit of the field; None where the field starts empty.
    least, most : float or None
        What may be typed at least and at most.
    above : bool
        Whether it must be more than ``least``, not just as much.
    scale : float
        How many of the field's units one of the study's is: 100 where a share is typed in per cent.
    """

    key: str
    kind: FieldKind
    label: Text
    start: float | None
    unit: Text = ()
    told: Text = ()
    least: float | None = None
    most: float | None = None
    above: bool = False
    scale: float = 1.0


@dataclass(frozen=True)
class FieldGroup:
    """Fields that belong together, and a sentence about them; ``choices`` are the policies one may start from."""

    key: str
    title: Text
    lead: Text
    fields: tuple[SheetField, ...]
    choices: tuple[Text, ...] = ()
    chosen: int = 0


@dataclass(frozen=True)
class ResultLine:
    """One figure of the outcome: what it is, and how to read it. The script writes the figure itself."""

    key: str
    name: Text
    note: Text


@dataclass(frozen=True)
class WorksheetContent:
    """The worksheet.

    Attributes
    ----------
    question : Text
        The study's question about the policy.
    lead : Text
        What the page is for.
    word : Text
        The word of the verdict; ``hidden`` is the hatched share of its window, ``lets_say`` what it allows here.
    today : Text
        The policy that everything is held against.
    assumed : bool
        Whether the reader assumes the gain, since the records do not carry it.
    groups : tuple of FieldGroup
    lines : tuple of ResultLine
    labels : mapping of str to Text
        Words of the page itself: its headings and its button.
    cautions : tuple of Text
    payload : mapping
        What the script reads: worlds, policies, and the sentences it fills.
    """

    head: Head
    banners: tuple[Text, ...]
    question: Text
    lead: Text
    word: Text
    hidden: float
    lets_say: Text
    today: Text
    assumed: bool
    groups: tuple[FieldGroup, ...]
    lines: tuple[ResultLine, ...]
    labels: Mapping[str, Text]
    cautions: tuple[Text, ...]
    payload: Mapping[str, object]
