"""F11: what would the difference be if more, or fewer, of the unknown dead had been trained?"""

from __future__ import annotations

from dataclasses import dataclass

from survstats.report.content import Text, plain
from survstats.report.drawing_field import Field, spread
from survstats.report.lettering import Lettered, break_lines, text_width
from survstats.report.plate import Plate, lay, nice_ticks, tick_text
from survstats.report.style import MM, SIZES, Paper
from survstats.study.results import Cell

WIDE, NARROW = 170 * MM, 84 * MM
HEIGHT = 50 * MM
SAMPLE = 9 * MM
LINE, LIMIT = 1.6, 0.8
LIMIT_DASHES = (1.4, 1.4)
RING, DOT = 7.5, 6.5
LEADER = 4.2 * MM


@dataclass(frozen=True)
class TippingPoint:
    """The difference in points, with limits, if so many of the unknown dead had been trained."""

    trained_died: float
    points: float
    low: float
    high: float


@dataclass(frozen=True)
class TippingMark:
    """A marked point: how many people across, how many points up; what it is, and the number over the field."""

    trained_died: float
    points: float
    text: Text
    short: Text


@dataclass(frozen=True)
class TippingFigure:
    """F11: a line with its limits over the number of unknown dead who had been trained.

    Attributes
    ----------
    points : tuple of TippingPoint
        Rising in ``trained_died``.
    unknown_dead : float
        How many there are: the axis ends there.
    expected : TippingMark
        As drawn from what is known of people like them; a dot.
    not_beyond_chance, no_difference : TippingMark or None
        Where a limit, and where the line itself, meets no difference; rings. None where they never do.
    line_text, limits_text : Text
        Entries of the key.
    x_title, y_title : Text
    alt : Text
    """

    points: tuple[TippingPoint, ...]
    unknown_dead: float
    expected: TippingMark
    not_beyond_chance: TippingMark | None
    no_difference: TippingMark | None
    line_text: Text
    limits_text: Text
    x_title: Text
    y_title: Text
    alt: Text


def draw_tipping(figure: TippingFigure, *, narrow: bool = False, paper: Paper = "white") -> str:
    """F11 as an SVG.

    Parameters
    ----------
    figure : TippingFigure
    narrow : bool
        For phones: larger lettering.
    paper : {"white", "tone"}
    """
    plate = plan_tipping(figure, narrow=narrow, paper=paper)
    key = "tipping-narrow" if narrow else "tipping"
    return plate.svg(key=key, title=plain(figure.y_title), description=plain(figure.alt))


def plan_tipping(figure: TippingFigure, *, narrow: bool = False, paper: Paper = "white") -> Plate:
    """The drawn F11, before it is written as SVG (its lettering can be inspected)."""
    size = SIZES.narrow_note if narrow else SIZES.label
    width, step = (NARROW if narrow else WIDE), 1.35 * size
    marks = _marks_of(figure)
    texts = {"line": figure.line_text, "limits": figure.limits_text, **{kind: m.text for kind, m in marks}}
    key = {kind: break_lines(text, width - SAMPLE, size) for kind, text in texts.items()}
    title = break_lines(figure.y_title, width, size)
    under_key = step * sum(map(len, key.values())) + 1.6 * MM
    field = _field(figure, under_key + step * (len(title) + 1.2) + LEADER, width, size)
    foot = break_lines(figure.x_title, field.right - field.left, size)
    plate = lay(width, field.bottom + 2 * MM + step * (len(foot) + 1.7), paper)
    _key(plate, key, size)
    for index, line in enumerate(title):
        plate.write(Lettered(line, 0, under_key + (index + 0.75) * step, size, colour="soft"))
    _axes(plate, field, size)
    for index, line in enumerate(foot):
        y = field.bottom + 1.8 * MM + (index + 1.95) * step
        plate.write(Lettered(line, field.left, y, size, colour="soft"))
    _lines(plate, figure, field)
    _numbers(plate, [mark for _, mark in marks], field, size)
    for kind, mark in marks:
        _mark(plate, kind, field.x(mark.trained_died), field.y(mark.points))
    return plate


def figure_rows(figure: TippingFigure) -> tuple[tuple[str, ...], list[tuple[Cell, ...]]]:
    """What the figure shows, as a table: names of the columns and rows."""
    rows: list[tuple[Cell, ...]] = [
        ("line", point.trained_died, point.points, point.low, point.high) for point in figure.points
    ]
    rows += [(kind, mark.trained_died, mark.points, None, None) for kind, mark in _marks_of(figure)]
    return ("kind", "trained_dead_people", "value_points", "low_points", "high_points"), rows


def _marks_of(figure: TippingFigure) -> list[tuple[str, TippingMark]]:
    """The marks that are there and their kinds, from left to right."""
    kinds = ("expected", "not_beyond_chance", "no_difference")
    marks = (figure.expected, figure.not_beyond_chance, figure.no_difference)
    there = [(kind, mark) for kind, mark in zip(kinds, marks, strict=True) if mark]
    return sorted(there, key=lambda each: each[1].trained_died)


def _field(figure: TippingFigure, top: float, width: float, size: float) -> Field:
    ends = [0.0, *(end for point in figure.points for end in (point.low, point.high))]
    air = 0.05 * max(max(ends) - min(ends), 1.0)
    low, high = min(ends) - air, max(ends) + air
    numbers = max(text_width(plain(tick_text(value)), size) for value in nice_ticks(low, high, about=6))
    last = max(figure.unknown_dead, 1.0)
    return Field(numbers + 2.6 * MM, top, width - 4 * MM, top + HEIGHT, 0.0, last, low, high)


def _key(plate: Plate, key: dict[str, tuple[Text, ...]], size: float) -> None:
    """What each line and each mark is, beside a piece of it."""
    y, sea = 0.0, plate.palette.sea
    for kind, lines in key.items():
        middle = y + 0.62 * size
        if kind == "line":
            plate.line([0, 6.5 * MM], [middle] * 2, sea, LINE)
        elif kind == "limits":
            plate.line([0, 6.5 * MM], [middle] * 2, sea, LIMIT, dashes=LIMIT_DASHES)
        else:
            _mark(plate, kind, 3.25 * MM, middle)
        for line in lines:
            plate.write(Lettered(line, SAMPLE, y + size, size))
            y += 1.35 * size


def _mark(plate: Plate, kind: str, x: float, y: float) -> None:
    """A dot for what is expected, a ring where a limit meets no difference, a ring around a dot where the line does."""
    sea, clay = plate.palette.sea, plate.palette.clay
    if kind == "expected":
        plate.dot(x, y, DOT, fill=sea, edge=sea)
        return
    plate.dot(x, y, RING, fill="none", edge=clay, width=1.6)
    if kind == "no_difference":
        plate.dot(x, y, 2.4, fill=clay, edge=clay, width=0.4)


def _axes(plate: Plate, field: Field, size: float) -> None:
    """Both axes with their numbers, people across and points upward, and zero."""
    colours = plate.palette
    plate.line([field.left] * 2, [field.top, field.bottom], colours.line, 0.5)
    plate.line([field.left, field.right], [field.bottom] * 2, colours.line, 0.5)
    plate.line([field.left, field.right], [field.y(0)] * 2, colours.ink, 1.0)
    for value in nice_ticks(field.low, field.high, about=6):
        y = field.y(value)
        plate.line([field.left - 0.8 * MM, field.left], [y, y], colours.line, 0.5)
        x = field.left - 1.4 * MM
        plate.write(Lettered(tick_text(value), x, y + 0.35 * size, size, colour="soft", anchor="end"))
    for people in nice_ticks(0, field.last, about=min(8, round(field.last) or 1)):
        x, base = field.x(people), field.bottom + 1.2 * MM + size
        letters = Lettered(tick_text(people), x, base, size, colour="soft", anchor="middle")
        if letters.box()[2] <= plate.width:
            plate.line([x, x], [field.bottom, field.bottom + 0.8 * MM], colours.line, 0.5)
            plate.write(letters)


def _lines(plate: Plate, figure: TippingFigure, field: Field) -> None:
    sea = plate.palette.sea
    across = [field.x(point.trained_died) for point in figure.points]
    for limit in ("low", "high"):
        upward = [field.y(getattr(point, limit)) for point in figure.points]
        plate.line(across, upward, sea, LIMIT, dashes=LIMIT_DASHES)
    plate.line(across, [field.y(point.points) for point in figure.points], sea, LINE)


def _numbers(plate: Plate, marks: list[TippingMark], field: Field, size: float) -> None:
    """How many people each mark stands for, in one row over the field, and a thin line down to the mark."""
    widths = [text_width(plain(mark.short), size, weight=500) for mark in marks]
    wanted = [field.x(mark.trained_died) for mark in marks]
    base = field.top - LEADER - 0.8 * MM
    for mark, place, x in zip(marks, spread(wanted, widths, 0.6 * size, plate.width), wanted, strict=True):
        plate.write(Lettered(mark.short, place, base, size, weight=500, anchor="middle"))
        upright = [field.top - 0.4 * MM, field.y(mark.points)]
        plate.line([place, x], [base + 0.8 * MM, upright[0]], plate.palette.line, 0.5)
        plate.line([x, x], upright, plate.palette.line, 0.5)
