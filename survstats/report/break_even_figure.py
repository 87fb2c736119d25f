"""F3: at which share of trained people among the dead does a survivor headline mean no effect?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from survstats.report.content import BreakEvenFigure, Text, plain
from survstats.report.lettering import Lettered, balance_lines, break_lines
from survstats.report.plate import Box, Plate, lay, nice_ticks, tick_text
from survstats.report.style import MM, SIZES, Paper, Weight

STEPS = 200
GRID = 61
APART = 0.8 * MM
RING = 9.0


@dataclass(frozen=True)
class Field:
    """The drawing field in points, and the differences it spans."""

    left: float
    top: float
    right: float
    bottom: float
    low: float
    high: float

    def x(self, share: float) -> float:
        """Where a share of the dead stands."""
        return self.left + share * (self.right - self.left)

    def y(self, points: float) -> float:
        """Where a difference stands."""
        return self.bottom - (points - self.low) / (self.high - self.low) * (self.bottom - self.top)


def difference_at(figure: BreakEvenFigure, share: float) -> float | None:
    """Survival of the trained minus survival of the untrained, in points, if ``share`` of the dead were trained.

    None where one of the two groups would be empty.
    """
    trained = figure.survivors_trained + figure.dead * share
    untrained = figure.survivors_untrained + figure.dead * (1 - share)
    if trained <= 0 or untrained <= 0:
        return None
    return 100 * (figure.survivors_trained / trained - figure.survivors_untrained / untrained)


def curve(figure: BreakEvenFigure, low: float = 0.0, high: float = 1.0) -> tuple[list[float], list[float]]:
    """Shares from ``low`` to ``high`` and the difference in points at each."""
    shares = [low + (high - low) * index / STEPS for index in range(STEPS + 1)]
    pairs = [(share, points) for share in shares if (points := difference_at(figure, share)) is not None]
    return [share for share, _ in pairs], [points for _, points in pairs]


def draw_break_even(figure: BreakEvenFigure, *, narrow: bool = False, paper: Paper = "white") -> str:
    """F3 as an SVG.

    Parameters
    ----------
    figure : BreakEvenFigure
    narrow : bool
        For phones: larger lettering on more lines.
    paper : {"white", "tone"}
    """
    plate = plan_break_even(figure, narrow=narrow, paper=paper)
    key = "break-even-narrow" if narrow else "break-even"
    return plate.svg(key=key, title=plain(figure.break_even_text), description=plain(figure.alt))


def plan_break_even(figure: BreakEvenFigure, *, narrow: bool = False, paper: Paper = "white") -> Plate:
    """The drawn F3, before it is written as SVG (its lettering can be inspected)."""
    width, height = (84 * MM, 84 * MM) if narrow else (88 * MM, 55 * MM)
    size = SIZES.narrow_note if narrow else SIZES.note
    _, points = curve(figure)
    low, high = min([*points, -10.0]), max([*points, 10.0])
    low, high = min(low, -0.4 * high), max(high, -0.4 * low)
    air = 0.06 * (high - low)
    title = break_lines(figure.y_title, width, size)
    foot = break_lines(figure.x_title, width - 10 * MM, size)
    top = (1.5 + (4.6 if narrow else 3.8) * len(title)) * MM
    bottom = height - ((6.6 if narrow else 5.6) + (4.6 if narrow else 3.8) * len(foot)) * MM
    field = Field((12 if narrow else 10) * MM, top, width - 6 * MM, bottom, low - air, high + air)
    plate = lay(width, height, paper)
    _surfaces(plate, figure, field)
    _titles(plate, field, title, foot, size)
    _labels(plate, figure, field, size)
    return plate


def _surfaces(plate: Plate, figure: BreakEvenFigure, field: Field) -> None:
    """What the unknown dead allow, the line of no difference, the curve and the two marked shares."""
    colours = plate.palette
    allowed = curve(figure, figure.unknown_low, figure.unknown_high)
    ends = field.x(figure.unknown_low), field.x(figure.unknown_high)
    plate.ground((ends[0], field.top, ends[1], field.bottom), colours.haze)
    plate.line([field.left, field.right], [field.y(0)] * 2, colours.ink, 1.0)
    for (shares, points), weight in ((curve(figure), 1.1), (allowed, 3.0)):
        plate.line(
            [field.x(share) for share in shares], [field.y(value) for value in points], colours.sea, weight
        )
    even = field.x(figure.break_even)
    hollow = colours.paper
    if figure.known is not None and (known := difference_at(figure, figure.known)) is not None:
        plate.dot(field.x(figure.known), field.y(known), 6.5, fill=colours.sea, edge=colours.sea)
        if abs(field.x(figure.known) - even) < RING:
            hollow = "none"
    plate.dot(even, field.y(0), RING, fill=hollow, edge=colours.clay, width=1.8)


def _titles(plate: Plate, field: Field, title: tuple[Text, ...], foot: tuple[Text, ...], size: float) -> None:
    """Axes, their numbers and their names."""
    colours, gap = plate.palette, size * 1.27
    for index, words in enumerate(title):
        plate.write(Lettered(words, 0, 3.0 * MM + index * gap, size, colour="soft"))
    plate.line(
        [field.left, field.left, field.right], [field.top, field.bottom, field.bottom], colours.line, 0.5
    )
    for value in nice_ticks(field.low, field.high, about=6):
        y = field.y(value)
        plate.line([field.left - 0.8 * MM, field.left], [y, y], colours.line, 0.5)
        line = Lettered(
            tick_text(value), field.left - 1.6 * MM, y + 0.35 * size, size, colour="soft", anchor="end"
        )
        plate.write(line)
    for share in (0.0, 0.2, 0.4, 0.6, 0.8, 1.0):
        x = field.x(share)
        plate.line([x, x], [field.bottom, field.bottom + 0.8 * MM], colours.line, 0.5)
        words = tick_text(100 * share, "\u00a0%")
        plate.write(Lettered(words, x, field.bottom + 1.2 * MM + size, size, colour="soft", anchor="middle"))
    for index, words in enumerate(foot):
        y = field.bottom + 1.8 * MM + size * 2.2 + index * gap
        plate.write(Lettered(words, (field.left + field.right) / 2, y, size, colour="soft", anchor="middle"))


def _labels(plate: Plate, figure: BreakEvenFigure, field: Field, size: float) -> None:
    """Every label at its thing, moved no further than needed to stand clear of lines, marks and other labels."""
    zero = field.y(0)
    obstacles = list(_drawn(figure, field))
    known = figure.known if figure.known is not None else figure.unknown_high
    known_points = difference_at(figure, known) or 0.0
    middle = (field.x(figure.unknown_low) + field.x(figure.unknown_high)) / 2
    above, below = replace(field, bottom=zero), replace(field, top=zero)
    wanted: list[tuple[Text, Weight, str, float, float, Field]] = [
        (figure.above_text, 400, "soft", field.left, zero - 2 * MM, above),
        (figure.below_text, 400, "soft", field.left, zero + 2 * MM, below),
        (figure.break_even_text, 700, "clay", field.x(figure.break_even) + 16 * MM, zero - 3.5 * MM, field),
        (figure.known_text, 500, "ink", field.x(known) + 16 * MM, field.y(known_points) - 2.5 * MM, field),
        (figure.unknown_text, 400, "ink", middle, field.bottom - 5 * MM, field),
    ]
    for text, weight, colour, x, y, region in wanted:
        lines = balance_lines(text, (26 if colour == "soft" else 34) * MM, size, weight=weight)
        if not lines:
            continue
        for letters in _place(lines, weight, colour, size, (x, y), region, obstacles):
            plate.write(letters)
            left, top, right, bottom = letters.box()
            obstacles.append((left - APART, top - APART, right + APART, bottom + APART))


def _drawn(figure: BreakEvenFigure, field: Field) -> Iterable[Box]:
    """Boxes around what must not be written over: the curve, the line of no difference, the two marks."""
    air = 1.3 * MM
    shares, points = curve(figure)
    for (x, other_x), (y, other_y) in zip(
        pairwise(map(field.x, shares)), pairwise(map(field.y, points)), strict=True
    ):
        yield x - air, min(y, other_y) - air, other_x + air, max(y, other_y) + air
    yield field.left, field.y(0) - 0.9 * MM, field.right, field.y(0) + 0.9 * MM
    ring, size = field.x(figure.break_even), 2.2 * MM
    yield ring - size, field.y(0) - size, ring + size, field.y(0) + size


def _place(
    lines: tuple[Text, ...],
    weight: Weight,
    colour: str,
    size: float,
    wish: tuple[float, float],
    field: Field,
    obstacles: list[Box],
) -> list[Lettered]:
    """The lines as a block, as near to the wished middle as the field and the obstacles allow."""
    leading = 1.22 * size
    boxes = [Lettered(line, 0, 0, size, weight=weight).box() for line in lines]
    width, height = max(box[2] for box in boxes), (len(lines) - 1) * leading + 0.96 * size
    lefts = np.linspace(field.left + 1.0 * MM, field.right - width, GRID)[:, None]
    tops = np.linspace(field.top + 0.5 * MM, field.bottom - 0.5 * MM - height, GRID)[None, :]
    away = np.hypot(lefts + width / 2 - wish[0], tops + height / 2 - wish[1])
    covered = np.zeros_like(away)
    for box in obstacles:
        across = np.minimum(lefts + width, box[2]) - np.maximum(lefts, box[0])
        down = np.minimum(tops + height, box[3]) - np.maximum(tops, box[1])
        covered += np.clip(across, 0, None) * np.clip(down, 0, None)
    best = np.unravel_index(np.lexsort((away.ravel(), covered.round(6).ravel()))[0], away.shape)
    left, top = float(lefts[best[0], 0]), float(tops[0, best[1]])
    first = top + 0.74 * size
    return [
        Lettered(line, left, first + index * leading, size, weight=weight, colour=colour)
        for index, line in enumerate(lines)
    ]
