"""F12: where does the difference stand, with its interval, when one mishap after the other is left out?"""

from __future__ import annotations

from dataclasses import dataclass

from survstats.report.content import Piece, Text, plain
from survstats.report.drawing_field import Field
from survstats.report.lettering import Lettered, break_lines, legible, text_width
from survstats.report.plate import Plate, lay, nice_ticks, tick_text
from survstats.report.style import MM, SIZES, Paper
from survstats.study.results import Cell

WIDE, NARROW = 170 * MM, 84 * MM
HEIGHT = 48 * MM
SAMPLE = 9 * MM
DASHES = (3.2, 2.0)
LARGEST_DOT, SMALLEST_DOT = 4.2, 1.6


@dataclass(frozen=True)
class LeftOut:
    """The difference in points without one mishap; limits are None where they were not worked out."""

    mishap: str
    points: float
    low: float | None
    high: float | None


@dataclass(frozen=True)
class OneOutFigure:
    """F12: a mark for each mishap left out, in the order of the difference that is left.

    Attributes
    ----------
    left_out : tuple of LeftOut
        In any order; drawn from the smallest difference to the largest.
    main : float
        The difference with every mishap in, in points.
    marks_text, main_text, zero_text : Text
        Entries of the key.
    nearest_text : Text
        What is said before the name of the ringed mishap, see `nearest`.
    x_title, y_title : Text
    alt : Text
    """

    left_out: tuple[LeftOut, ...]
    main: float
    marks_text: Text
    main_text: Text
    zero_text: Text
    nearest_text: Text
    x_title: Text
    y_title: Text
    alt: Text


def draw_one_out(figure: OneOutFigure, *, narrow: bool = False, paper: Paper = "white") -> str:
    """F12 as an SVG.

    Parameters
    ----------
    figure : OneOutFigure
    narrow : bool
        For phones: larger lettering, the key one line below the other.
    paper : {"white", "tone"}
    """
    plate = plan_one_out(figure, narrow=narrow, paper=paper)
    key = "one-out-narrow" if narrow else "one-out"
    return plate.svg(key=key, title=plain(figure.y_title), description=plain(figure.alt))


def plan_one_out(figure: OneOutFigure, *, narrow: bool = False, paper: Paper = "white") -> Plate:
    """The drawn F12, before it is written as SVG (its lettering can be inspected)."""
    size = SIZES.narrow_note if narrow else SIZES.label
    width, step = (NARROW if narrow else WIDE), 1.35 * size
    key = [
        break_lines(text, width - SAMPLE, size)
        for text in (figure.marks_text, figure.main_text, figure.zero_text)
    ]
    title = break_lines(figure.y_title, width, size)
    under_key = step * sum(map(len, key)) + 1.6 * MM
    top = under_key + step * (len(title) + 0.6)
    field = _field(figure, top, width, size)
    foot = break_lines(figure.x_title, width - field.left, size)
    named = (*figure.nearest_text, Piece(f" {legible(nearest(figure).mishap)}"))
    name = break_lines(named, width - field.left, size, weight=500)
    plate = lay(width, field.bottom + 4 * MM + step * (len(name) + len(foot) + 0.2), paper)
    _key(plate, key, size)
    for index, line in enumerate(title):
        plate.write(Lettered(line, 0, under_key + (index + 0.75) * step, size, colour="soft"))
    _axes(plate, field, size)
    for index, line in enumerate(foot):
        y = field.bottom + 3.4 * MM + (len(name) + index + 0.75) * step
        plate.write(Lettered(line, field.left, y, size, colour="soft"))
    _marks(plate, figure, field)
    _name_nearest(plate, figure, field, name, size)
    return plate


def figure_rows(figure: OneOutFigure) -> tuple[tuple[str, ...], list[tuple[Cell, ...]]]:
    """What the figure shows, as a table: names of the columns and rows."""
    header = ("kind", "mishap", "value_points", "low_points", "high_points")
    rows: list[tuple[Cell, ...]] = [("main", None, figure.main, None, None)]
    rows += [("without", each.mishap, each.points, each.low, each.high) for each in in_order(figure)]
    return header, rows


def in_order(figure: OneOutFigure) -> list[LeftOut]:
    """From the smallest difference left to the largest."""
    return sorted(figure.left_out, key=lambda each: (each.points, each.mishap))


def nearest(figure: OneOutFigure) -> LeftOut:
    """The mishap without which the difference comes nearest to none, or turns farthest."""
    sign = 1.0 if figure.main >= 0 else -1.0
    return min(figure.left_out, key=lambda each: (sign * each.points, each.mishap))


def _field(figure: OneOutFigure, top: float, width: float, size: float) -> Field:
    """The field that holds every limit, zero and the main estimate, a place across for each mishap."""
    ends = [0.0, figure.main]
    for each in figure.left_out:
        ends += [end for end in (each.low, each.points, each.high) if end is not None]
    air = 0.05 * max(max(ends) - min(ends), 1.0)
    low, high = min(ends) - air, max(ends) + air
    numbers = max(text_width(plain(tick_text(value)), size) for value in nice_ticks(low, high, about=6))
    last = len(figure.left_out) - 0.4
    return Field(numbers + 2.6 * MM, top, width - 1 * MM, top + HEIGHT, -0.6, last, low, high)


def _key(plate: Plate, key: list[tuple[Text, ...]], size: float) -> None:
    """What the marks and both lines are."""
    y, colours = 0.0, plate.palette
    for kind, lines in enumerate(key):
        middle = y + 0.62 * size
        if kind == 0:
            plate.line([3 * MM, 3 * MM], [middle - 0.5 * size, middle + 0.5 * size], colours.sea, 1.1)
            plate.dot(3 * MM, middle, LARGEST_DOT, fill=colours.sea, edge=colours.sea, width=0.4)
        elif kind == 1:
            plate.line([0, 6.5 * MM], [middle] * 2, colours.clay, 1.0, dashes=DASHES)
        else:
            plate.line([0, 6.5 * MM], [middle] * 2, colours.ink, 1.0)
        for line in lines:
            plate.write(Lettered(line, SAMPLE, y + size, size))
            y += 1.35 * size


def _axes(plate: Plate, field: Field, size: float) -> None:
    colours = plate.palette
    plate.line([field.left] * 2, [field.top, field.bottom], colours.line, 0.5)
    for value in nice_ticks(field.low, field.high, about=6):
        y = field.y(value)
        plate.line([field.left - 0.8 * MM, field.left], [y, y], colours.line, 0.5)
        x = field.left - 1.4 * MM
        plate.write(Lettered(tick_text(value), x, y + 0.35 * size, size, colour="soft", anchor="end"))


def _marks(plate: Plate, figure: OneOutFigure, field: Field) -> None:
    """Zero and the main estimate as lines, then each mishap; thinner where there are many."""
    colours = plate.palette
    pitch = field.x(1) - field.x(0)
    dot, stroke = max(SMALLEST_DOT, min(LARGEST_DOT, 0.7 * pitch)), max(0.35, min(1.1, 0.3 * pitch))
    plate.line([field.left, field.right], [field.y(0)] * 2, colours.ink, 1.0)
    for at, each in enumerate(in_order(figure)):
        x, y = field.x(at), field.y(each.points)
        if each.low is not None and each.high is not None:
            plate.line([x, x], [field.y(each.low), field.y(each.high)], colours.sea, stroke)
        plate.dot(x, y, dot, fill=colours.sea, edge=colours.sea, width=0.4)
    plate.line([field.left, field.right], [field.y(figure.main)] * 2, colours.clay, 1.0, dashes=DASHES)


def _name_nearest(
    plate: Plate, figure: OneOutFigure, field: Field, name: tuple[Text, ...], size: float
) -> None:
    """The mishap without which the difference is nearest to none: a ring, and its name under the field."""
    each, clay = nearest(figure), plate.palette.clay
    x = field.x(in_order(figure).index(each))
    plate.dot(x, field.y(each.points), 8.0, fill="none", edge=clay, width=1.4)
    widest = max((text_width(plain(line), size, weight=500) for line in name), default=0.0)
    place = max(field.left, min(x - widest / 2, plate.width - widest))
    low = field.y(each.points) + 4 if each.low is None else field.y(each.low)
    plate.line([x, x], [low, field.bottom + 1.6 * MM], clay, 0.6)
    for index, line in enumerate(name):
        y = field.bottom + 2.2 * MM + (index + 0.75) * 1.35 * size
        plate.write(Lettered(line, place, y, size, weight=500, colour="clay"))
