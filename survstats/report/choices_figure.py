"""F10: how far does the difference move with choices of our own, family by family of choice?"""

from __future__ import annotations

from dataclasses import dataclass

from survstats.report.content import Piece, Text, plain
from survstats.report.drawing_field import Field
from survstats.report.lettering import Lettered, break_lines, text_width
from survstats.report.plate import Plate, lay, nice_ticks, tick_text
from survstats.report.style import MM, SIZES, Paper, Weight
from survstats.study.results import Cell

WIDE, NARROW = 170 * MM, 84 * MM
NAMES, COUNTS = 40 * MM, 34 * MM
DOT, MAIN_DOT = 5.4, 8.5
APART = 0.5 * MM
DASHES, MAIN_DASHES = (3.2, 2.0), (1.2, 1.6)


@dataclass(frozen=True)
class ChoiceDot:
    """One listed choice: its number in the list and the difference in points it gives."""

    number: int
    points: float


@dataclass(frozen=True)
class ChoiceStrip:
    """The choices of one family: how many are listed, and a dot for each that could be estimated."""

    family: str
    name: Text
    listed: int
    dots: tuple[ChoiceDot, ...]


@dataclass(frozen=True)
class ChoicesFigure:
    """F10: a strip of dots for each family of choice on one axis of points.

    Attributes
    ----------
    strips : tuple of ChoiceStrip
        Those of a family in which nothing could be estimated have no dots, never a dot at 0.
    main : float
        The main estimate, in points; a dashed line through all strips.
    worthwhile : float
        The smallest worthwhile difference in points; a ground on both sides of zero.
    zero_text, main_text, worthwhile_text : Text
    fewer_text, more_text : Text
        Names of both directions of the axis.
    counts_text, of_text : Text
        What the counts at the strips are, and the word in "so many of so many".
    alt : Text
    """

    strips: tuple[ChoiceStrip, ...]
    main: float
    worthwhile: float
    zero_text: Text
    main_text: Text
    worthwhile_text: Text
    fewer_text: Text
    more_text: Text
    counts_text: Text
    of_text: Text
    alt: Text


@dataclass(frozen=True)
class _Row:
    """One strip and its place; ``level`` is the height of its lowest dots, ``clear`` where its letters end."""

    strip: ChoiceStrip
    clear: float
    level: float
    bottom: float
    letters: tuple[Lettered, ...]


def draw_choices(figure: ChoicesFigure, *, narrow: bool = False, paper: Paper = "white") -> str:
    """F10 as an SVG.

    Parameters
    ----------
    figure : ChoicesFigure
    narrow : bool
        For phones: name and count stand above each strip.
    paper : {"white", "tone"}
    """
    plate = plan_choices(figure, narrow=narrow, paper=paper)
    key = "choices-narrow" if narrow else "choices"
    title = f"{plain(figure.fewer_text)} {plain(figure.more_text)}"
    return plate.svg(key=key, title=title, description=plain(figure.alt))


def plan_choices(figure: ChoicesFigure, *, narrow: bool = False, paper: Paper = "white") -> Plate:
    """The drawn F10, before it is written as SVG (its lettering can be inspected)."""
    size = SIZES.narrow_note if narrow else SIZES.label
    width, step = (NARROW if narrow else WIDE), 1.35 * size
    key = [
        break_lines(text, width - 9 * MM, size)
        for text in (figure.main_text, figure.worthwhile_text, figure.zero_text)
    ]
    heads = break_lines(figure.counts_text, (width if narrow else COUNTS) - 3 * MM, size)
    under_key = step * sum(map(len, key)) + 2.0 * MM
    top = under_key + step * len(heads) + 0.4 * MM
    left, right = (3 * MM, width - 3 * MM) if narrow else (NAMES, width - COUNTS)
    low, high = _span(figure)
    rows = _rows(figure, Field(left, 0, right, 1, low, high, 0, 1), top, size, narrow=narrow)
    field = Field(left, top, right, rows[-1].bottom + 1 * MM, low, high, 0, 1)
    directions = _directions(figure, field, size)
    plate = lay(width, max(line.y for line in directions) + 0.4 * size, paper)
    _key(plate, key, size)
    place, anchor = (NARROW, "end") if narrow else (WIDE - COUNTS + 3 * MM, "start")
    for index, text in enumerate(heads):
        y = under_key + (index + 0.75) * step
        plate.write(Lettered(text, place, y, size, colour="soft", anchor=anchor))
    _references(
        plate, figure, field, [(row.clear, row.bottom) for row in rows] if narrow else [(top, field.bottom)]
    )
    for row in rows:
        for line in row.letters:
            plate.write(line)
        for dot, x, y in stacked(row.strip, field, row.level, figure.main):
            _dot(plate, x, y, main=row.strip.family == "main", other=dot.points * figure.main < 0)
    _axis(plate, field, size)
    for line in directions:
        plate.write(line)
    return plate


def figure_rows(figure: ChoicesFigure) -> tuple[tuple[str, ...], list[tuple[Cell, ...]]]:
    """What the figure shows, as a table: names of the columns and rows."""
    rows: list[tuple[Cell, ...]] = [
        (strip.family, dot.number, dot.points)
        for strip in figure.strips
        for dot in sorted(strip.dots, key=lambda dot: dot.number)
    ]
    return ("family", "number", "difference_points"), rows


def stacked(
    strip: ChoiceStrip, field: Field, level: float, main: float
) -> list[tuple[ChoiceDot, float, float]]:
    """Each dot with its place: at its value across, and as low as it stands clear of the dots before it."""
    size = MAIN_DOT if strip.family == "main" else DOT
    placed: list[tuple[ChoiceDot, float, float]] = []
    for dot in sorted(strip.dots, key=lambda dot: (abs(dot.points - main), dot.number)):
        x, y = field.x(dot.points), level
        while any(
            abs(x - there) < size + APART and abs(y - high) < size + APART - 0.01 for _, there, high in placed
        ):
            y -= size + APART
        placed.append((dot, x, y))
    return placed


def _span(figure: ChoicesFigure) -> tuple[float, float]:
    """What the axis spans: every dot, zero, and the worthwhile difference either way."""
    ends = [0.0, figure.main, figure.worthwhile, -figure.worthwhile]
    ends += [dot.points for strip in figure.strips for dot in strip.dots]
    air = 0.06 * (max(ends) - min(ends)) + 0.2
    return min(ends) - air, max(ends) + air


def _rows(figure: ChoicesFigure, field: Field, top: float, size: float, *, narrow: bool) -> list[_Row]:
    """Every strip as high as its stack of dots and its lettering need; on a phone the dots stand under the letters."""
    rows: list[_Row] = []
    gap = 1.25 * size
    end = NARROW if narrow else WIDE - COUNTS + 3 * MM
    for strip in figure.strips:
        main = strip.family == "main"
        weight: Weight = 700 if main else 500
        dot = MAIN_DOT if main else DOT
        stack = dot - min((y for _, _, y in stacked(strip, field, 0.0, figure.main)), default=0.0)
        names = break_lines(strip.name, NARROW - COUNTS if narrow else NAMES - 3 * MM, size, weight=weight)
        if narrow:
            first, clear = top + gap, top + len(names) * gap + 1.2 * MM
            bottom = clear + stack + 2.6 * MM
            level = bottom - 1.4 * MM - dot / 2
        else:
            clear, bottom = top, top + max(gap * len(names), stack) + 2.4 * MM
            first = (top + bottom - len(names) * gap) / 2 + 0.8 * size
            level = (top + bottom + stack - dot) / 2
        letters = [Lettered(line, 0, first + at * gap, size, weight=weight) for at, line in enumerate(names)]
        anchor = "end" if narrow else "start"
        letters.append(Lettered(_count(figure, strip), end, first, size, weight=400, anchor=anchor))
        rows.append(_Row(strip, clear, level, bottom, tuple(letters)))
        top = bottom
    return rows


def _count(figure: ChoicesFigure, strip: ChoiceStrip) -> Text:
    """How many of a family's listed choices point the main way."""
    same = sum(dot.points * figure.main > 0 for dot in strip.dots)
    return (*tick_text(same), Piece(f" {plain(figure.of_text)} "), *tick_text(strip.listed))


def _key(plate: Plate, key: list[tuple[Text, ...]], size: float) -> None:
    """What both lines and the ground are."""
    y, colours = 0.0, plate.palette
    for kind, lines in enumerate(key):
        middle, half = y + 0.62 * size, 0.45 * size
        if kind == 0:
            plate.line([3.25 * MM] * 2, [middle - half, middle + half], colours.sea, 0.9, dashes=MAIN_DASHES)
        elif kind == 1:
            plate.ground((0, middle - half, 6.5 * MM, middle + half), colours.haze)
            for x in (0.0, 6.5 * MM):
                plate.line([x, x], [middle - half, middle + half], colours.clay, 0.9, dashes=DASHES)
        else:
            plate.line([3.25 * MM] * 2, [middle - half, middle + half], colours.ink, 1.0)
        for line in lines:
            plate.write(Lettered(line, 9 * MM, y + size, size))
            y += 1.35 * size


def _references(plate: Plate, figure: ChoicesFigure, field: Field, spans: list[tuple[float, float]]) -> None:
    """The worthwhile ground, zero and the main estimate, through all strips; on a phone beside the dots alone."""
    colours = plate.palette
    low, high = field.x(-figure.worthwhile), field.x(figure.worthwhile)
    for top, bottom in spans:
        plate.ground((low, top, high, bottom), colours.haze)
        plate.line([field.x(0)] * 2, [top, bottom], colours.ink, 1.0)
        for x in (low, high):
            plate.line([x, x], [top, bottom], colours.clay, 0.9, dashes=DASHES)
        plate.line([field.x(figure.main)] * 2, [top, bottom], colours.sea, 0.9, dashes=MAIN_DASHES)


def _dot(plate: Plate, x: float, y: float, *, main: bool, other: bool) -> None:
    """A dot; open where it points the other way than the main estimate."""
    sea, paper = plate.palette.sea, plate.palette.paper
    plate.dot(x, y, MAIN_DOT if main else DOT, fill=paper if other else sea, edge=sea, width=1.2)


def _axis(plate: Plate, field: Field, size: float) -> None:
    colours, base = plate.palette, field.bottom + 1.2 * MM + size
    plate.line([field.left, field.right], [field.bottom] * 2, colours.line, 0.5)
    taken = -size
    for value in nice_ticks(field.first, field.last, about=7):
        letters = Lettered(tick_text(value), field.x(value), base, size, colour="soft", anchor="middle")
        start, _, end, _ = letters.box()
        if start < max(taken, 0.0) or end > plate.width:
            continue
        taken = end + 0.6 * size
        plate.line([field.x(value)] * 2, [field.bottom, field.bottom + 0.8 * MM], colours.line, 0.5)
        plate.write(letters)


def _directions(figure: ChoicesFigure, field: Field, size: float) -> list[Lettered]:
    """Both directions by name under the axis, the second below the first where one line does not hold both."""
    y = field.bottom + 1.2 * MM + 2.5 * size
    widths = [text_width(plain(text), size) for text in (figure.fewer_text, figure.more_text)]
    below = 0.0 if sum(widths) + 2 * size < field.right - field.left else 1.3 * size
    return [
        Lettered(figure.fewer_text, field.left, y, size, colour="soft"),
        Lettered(figure.more_text, field.right, y + below, size, colour="soft", anchor="end"),
    ]
