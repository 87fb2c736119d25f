"""F7: of people told the same chance of surviving, how many did survive?"""

from __future__ import annotations

import math
from dataclasses import dataclass

from survstats.report.content import Text, plain
from survstats.report.drawing_field import Field, spread
from survstats.report.lettering import Lettered, break_lines, text_width
from survstats.report.plate import Plate, lay, nice_ticks, tick_text
from survstats.report.style import MM, SIZES, Paper
from survstats.study.results import Cell

WIDE, NARROW = 170 * MM, 84 * MM
HEIGHT = 58 * MM
LABEL = 34 * MM  # room for the name of the diagonal beside it
DOT = 6.0
CAP = 0.95 * MM
LEADER = 4.2 * MM
DASHES = (3.2, 2.0)
FEWEST_PERCENT = 20  # that the axis of predicted risks spans


@dataclass(frozen=True)
class CalibrationBin:
    """People of much the same predicted chance, in percent.

    Attributes
    ----------
    predicted : float
        Mean chance told.
    observed, low, high : float
        Share that survived, and its limits.
    people_text : Text
        How many people.
    """

    predicted: float
    observed: float
    low: float
    high: float
    people_text: Text


@dataclass(frozen=True)
class CalibrationFigure:
    """F7: a mark for each group of people, beside the line on which told and seen agree.

    Attributes
    ----------
    bins : tuple of CalibrationBin
        Rising in ``predicted``.
    diagonal_text : Text
        Name of the line on which both agree.
    marks_text : Text
        What a mark and its whiskers are.
    people_text : Text
        What the numbers over the field count.
    x_title, y_title : Text
    alt : Text
    """

    bins: tuple[CalibrationBin, ...]
    diagonal_text: Text
    marks_text: Text
    people_text: Text
    x_title: Text
    y_title: Text
    alt: Text


def draw_calibration(figure: CalibrationFigure, *, narrow: bool = False, paper: Paper = "white") -> str:
    """F7 as an SVG.

    Parameters
    ----------
    figure : CalibrationFigure
    narrow : bool
        For phones: larger lettering, the line named in the key and not at its end.
    paper : {"white", "tone"}
    """
    plate = plan_calibration(figure, narrow=narrow, paper=paper)
    key = "calibration-narrow" if narrow else "calibration"
    return plate.svg(key=key, title=plain(figure.y_title), description=plain(figure.alt))


def plan_calibration(figure: CalibrationFigure, *, narrow: bool = False, paper: Paper = "white") -> Plate:
    """The drawn F7, before it is written as SVG (its lettering can be inspected)."""
    size = SIZES.narrow_note if narrow else SIZES.label
    width, step = (NARROW if narrow else WIDE), 1.35 * size
    sample = 9 * MM
    texts = (figure.marks_text, figure.diagonal_text) if narrow else (figure.marks_text,)
    key = [break_lines(text, width - sample, size) for text in texts]
    head = [line for text in (figure.y_title, figure.people_text) for line in break_lines(text, width, size)]
    under_key = step * sum(map(len, key)) + 1.2 * MM
    top = under_key + step * (len(head) + 1) + LEADER + 1.0 * MM
    field = _field(figure, top, width, size, narrow=narrow)
    foot = break_lines(figure.x_title, width - field.left, size)
    plate = lay(width, field.bottom + 2.2 * MM + step * (len(foot) + 1), paper)
    _key(plate, key, sample, size)
    for index, line in enumerate(head):
        plate.write(Lettered(line, 0, under_key + (index + 0.75) * step, size, colour="soft"))
    _axes(plate, field, size)
    for index, line in enumerate(foot):
        y = field.bottom + 2.0 * MM + (index + 1.75) * step
        plate.write(Lettered(line, field.left, y, size, colour="soft"))
    plate.line(*_diagonal(field), plate.palette.clay, 1.0, dashes=DASHES)
    if not narrow:
        _name_diagonal(plate, figure, field, size)
    _people(plate, figure, field, size)
    for bin_ in figure.bins:
        _mark(plate, field.x(bin_.predicted), *map(field.y, (bin_.low, bin_.observed, bin_.high)))
    return plate


def figure_rows(figure: CalibrationFigure) -> tuple[tuple[str, ...], list[tuple[Cell, ...]]]:
    """What the figure shows, as a table: names of the columns and rows."""
    header = ("people", "predicted_percent", "survived_percent", "low_percent", "high_percent")
    return header, [(plain(b.people_text), b.predicted, b.observed, b.low, b.high) for b in figure.bins]


def _field(figure: CalibrationFigure, top: float, width: float, size: float, *, narrow: bool) -> Field:
    """The field: as many predicted percentages as the groups need, in whole tens."""
    told = [bin_.predicted for bin_ in figure.bins]
    first, last = 10 * math.floor(min(told) / 10 - 0.2), 10 * math.ceil(max(told) / 10 + 0.2)
    while last - first < FEWEST_PERCENT:
        first, last = first - 10, last + 10
    left = text_width("100 %", size) + 2.2 * MM
    right = width - (0.6 * text_width("100 %", size) if narrow else LABEL)
    return Field(left, top, right, top + HEIGHT, float(max(first, 0)), float(min(last, 100)), 0.0, 100.0)


def _key(plate: Plate, key: list[tuple[Text, ...]], sample: float, size: float) -> None:
    """What a mark is, and on a phone what the line is."""
    y = 0.0
    for index, lines in enumerate(key):
        middle = y + 0.62 * size
        if index == 0:
            _mark(plate, 3 * MM, middle + 0.5 * size, middle, middle - 0.5 * size)
        else:
            plate.line([0, 6.5 * MM], [middle] * 2, plate.palette.clay, 1.0, dashes=DASHES)
        for line in lines:
            plate.write(Lettered(line, sample, y + size, size))
            y += 1.35 * size


def _axes(plate: Plate, field: Field, size: float) -> None:
    """Both axes with their percentages; hairlines upward."""
    for share in (0, 25, 50, 75, 100):
        y = field.y(share)
        colour = plate.palette.line if share == 0 else plate.palette.hair
        plate.line([field.left, field.right], [y, y], colour, 0.6)
        text = tick_text(share, " %")
        plate.write(Lettered(text, field.left - 1.6 * MM, y + 0.36 * size, size, colour="soft", anchor="end"))
    base, taken = field.bottom + 2.0 * MM + 0.75 * size, field.left - size
    for percent in nice_ticks(field.first, field.last, about=5):
        letters = Lettered(
            tick_text(percent, " %"), field.x(percent), base, size, colour="soft", anchor="middle"
        )
        start, _, end, _ = letters.box()
        if start < taken or end > plate.width:
            continue
        taken = end + 0.6 * size
        plate.line([field.x(percent)] * 2, [field.bottom, field.bottom + 0.8 * MM], plate.palette.line, 0.5)
        plate.write(letters)


def _diagonal(field: Field) -> tuple[list[float], list[float]]:
    """The line on which predicted and observed agree, as far as the field goes."""
    ends = (field.first, field.last)
    return [field.x(end) for end in ends], [field.y(end) for end in ends]


def _name_diagonal(plate: Plate, figure: CalibrationFigure, field: Field, size: float) -> None:
    """The name of the line at its upper end."""
    lines = break_lines(figure.diagonal_text, LABEL - 2 * MM, size)
    y = field.y(field.last) + 0.36 * size
    for line in lines:
        plate.write(Lettered(line, field.right + 2 * MM, y, size, colour="clay"))
        y += 1.25 * size


def _people(plate: Plate, figure: CalibrationFigure, field: Field, size: float) -> None:
    """How many people are behind each mark: one row over the field, moved apart where marks stand close."""
    widths = [text_width(plain(bin_.people_text), size) for bin_ in figure.bins]
    wanted = [field.x(bin_.predicted) for bin_ in figure.bins]
    places = spread(wanted, widths, 0.5 * size, plate.width)
    base = field.top - LEADER - 0.8 * MM
    for bin_, place, x in zip(figure.bins, places, wanted, strict=True):
        plate.write(Lettered(bin_.people_text, place, base, size, anchor="middle"))
        plate.line([place, x], [base + 0.8 * MM, field.top - 0.4 * MM], plate.palette.line, 0.5)


def _mark(plate: Plate, x: float, low: float, observed: float, high: float) -> None:
    """A dot with whiskers to its limits."""
    sea = plate.palette.sea
    plate.line([x, x], [low, high], sea, 1.3)
    for end in (low, high):
        plate.line([x - CAP, x + CAP], [end, end], sea, 1.1)
    plate.dot(x, observed, DOT, fill=sea, edge=plate.palette.paper, width=0.8)
