"""What a paper says, before it is set as HTML or PDF: one content model for both.

Every run of text is a `Piece`. A piece that shows a number carries the id of that number in the results; a test
changes each number in turn and demands that exactly its own pieces change.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

GateState = Literal["met", "partly_met", "not_met", "not_assessed"]
RowKind = Literal["main", "other", "unadjusted", "worst_case"]


@dataclass(frozen=True)
class Piece:
    """A run of text; ``id`` names the stored number or code it shows, if it shows one."""

    text: str
    id: str | None = None
    strong: bool = False


Text = tuple[Piece, ...]


def plain(text: Text) -> str:
    """The text without its marks."""
    return "".join(piece.text for piece in text)


@dataclass(frozen=True)
class Block:
    """A named block of page 1: a lead line and sentences under it."""

    name: Text
    lead: Text
    body: tuple[Text, ...]


@dataclass(frozen=True)
class Reading:
    """One of the two readings beside the word."""

    question: Text
    answer: Text
    reason: Text


@dataclass(frozen=True)
class WordBox:
    """The verdict: a word, or the sentence that stands in its place, and the two readings.

    Attributes
    ----------
    label : Text
        What stands above the word.
    word : Text
        The word, or the sentence in its place.
    is_word : bool
        False where a sentence stands in the word's place (it is set smaller).
    hidden : float
        Share of the cabin window that is hatched, in [0, 1]: 0 supports, .52 suggests, 1 cannot tell.
    readings : tuple of Reading
    meaning : Text
        What the word says of these records, in a sentence; empty where the word is withheld.
    """

    label: Text
    word: Text
    is_word: bool
    hidden: float
    readings: tuple[Reading, ...]
    meaning: Text = ()


@dataclass(frozen=True)
class WordLine:
    """One of the three words and how it is to be read; ``reached`` where it is the word of this paper."""

    word: Text
    hidden: float
    reading: Text
    reached: bool


@dataclass(frozen=True)
class SeatArm:
    """One cabin of a hundred seats; numbers are people of 100, already rounded."""

    label: Text
    alive: int
    low: int
    high: int
    alive_text: Text
    unit_text: Text
    interval_label: Text
    low_text: Text
    high_text: Text


@dataclass(frozen=True)
class SeatsFigure:
    """F1: a hundred seats, twice. ``lower`` is 'if all', ``upper`` is 'if none'."""

    upper: SeatArm
    lower: SeatArm
    difference: Text
    difference_interval: Text
    key_full: Text
    key_half: Text
    key_open: Text
    note: Text
    alt: Text


@dataclass(frozen=True)
class AxisRow:
    """One estimate on the axis of points; values in points, None where there is only a range."""

    kind: RowKind
    family: str
    name: Text
    note: Text
    value: float | None
    low: float
    high: float
    outer_low: float | None
    outer_high: float | None
    shown: Text
    shown_outer: Text


@dataclass(frozen=True)
class AxisFigure:
    """F2: all estimates on one axis of points.

    ``low``/``high`` of a ``worst_case`` row are the range (hatched bar), ``outer_*`` its interval (whiskers). A row
    that could not be estimated is absent, never at 0.
    """

    rows: tuple[AxisRow, ...]
    worthwhile: float
    worthwhile_text: Text
    worthwhile_low_tick: Text
    worthwhile_high_tick: Text
    no_difference_text: Text
    fewer_text: Text
    more_text: Text
    alt: Text


@dataclass(frozen=True)
class BreakEvenFigure:
    """F3: the difference in points as a function of the share of the dead who had been trained.

    Attributes
    ----------
    survivors_trained, survivors_untrained, dead : float
        Counts behind the curve; no whole ones where a share was told.
    break_even : float
        Share of the dead at which there is no effect, in [0, 1].
    known : float or None
        Share among the dead whose status is known, None where none is known.
    unknown_low, unknown_high : float
        What the unknown dead allow, in [0, 1].
    """

    survivors_trained: float
    survivors_untrained: float
    dead: float
    break_even: float
    known: float | None
    unknown_low: float
    unknown_high: float
    break_even_text: Text
    known_text: Text
    unknown_text: Text
    above_text: Text
    below_text: Text
    x_title: Text
    y_title: Text
    alt: Text


@dataclass(frozen=True)
class GateLine:
    """One gate of the verdict."""

    number: Text
    name: Text
    state: GateState
    state_text: Text
    finding: Text


@dataclass(frozen=True)
class Section:
    """A headed part of page 2: a lead sentence and short items under it."""

    title: Text
    lead: Text
    items: tuple[Text, ...]


@dataclass(frozen=True)
class Head:
    """What stands on every page of a paper.

    ``stamp`` is empty for real records. ``notes`` stand at the foot of every page: for whom the paper is, and which
    rules the study file lets stand.
    """

    language: str
    title: Text
    maker: Text
    paper_name: Text
    stamp: Text
    stamp_note: Text
    edition: Text
    page_label: Text
    notes: tuple[Text, ...]


@dataclass(frozen=True)
class DecisionLead:
    """What page 1 says first of the decision that the study file names; its question stands above it.

    Attributes
    ----------
    told : Text
        What the records let one say about it.
    rests : Text
        Which part of that rests on records, on trainer runs, on given figures; empty where nothing was worked out.
    money : Text
        One line of money, or that none is given and why.
    """

    told: Text
    rests: Text
    money: Text


@dataclass(frozen=True)
class BriefContent:
    """The board paper, two pages.

    ``banners`` are cautions that must stand above the question's answer (for example that only survivors' training
    was recorded). Figures are None where the records carry none. ``gates_foot`` says which word another threshold would
    have given; it is empty where there is no estimate. ``question`` is the decision's where the study file names
    one, and ``decision`` None where it does not; ``options`` are what may be chosen, for the decision taken.
    """

    head: Head
    banners: tuple[Text, ...]
    question: Text
    population: Text
    answer: Text
    word: WordBox
    seats: SeatsFigure | None
    blocks: tuple[Block, ...]
    foot: tuple[Text, ...]
    steady: Section
    axis: AxisFigure | None
    headline: Section
    break_even: BreakEvenFigure | None
    assumptions: Section
    gates_title: Text
    gates: tuple[GateLine, ...]
    gate_key: tuple[tuple[GateState, Text], ...]
    gates_foot: Text
    words_title: Text
    words: tuple[WordLine, ...]
    decision_title: Text
    prepared_by: Text
    reviewed_by: Text
    provenance: tuple[Text, ...]
    decision: DecisionLead | None = None
    options: Text = ()
