"""F2: where do all estimates stand on one axis of points, beside zero and the smallest worthwhile difference?"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from survstats.report.content import AxisFigure, AxisRow, Text, plain
from survstats.report.lettering import Lettered, break_lines, text_width
from survstats.report.plate import Plate, lay, nice_ticks, tick_text
from survstats.report.style import MM, SIZES, Paper, Weight

WIDE, NARROW = 170 * MM, 84 * MM
NAMES = 56 * MM
DASHES = (3.2, 2.0)
ROOMY, TIGHT, MANY = 8.1 * MM, 7.1 * MM, 6
"""Least height of a row, and of one where there are more rows than so many."""
HALF, STEP = 1.35 * MM, 1.1 * MM


@dataclass(frozen=True)
class Scale:
    """Points of survival on the paper: from ``low`` at ``left`` to ``high`` at ``right``."""

    low: float
    high: float
    left: float
    right: float

    def x(self, value: float) -> float:
        """Where the value stands."""
        return self.left + (value - self.low) / (self.high - self.low) * (self.right - self.left)


@dataclass(frozen=True)
class Band:
    """One row and its place: ``top`` to ``bottom``, its mark at ``level``, its lettering."""

    row: AxisRow
    top: float
    level: float
    bottom: float
    letters: tuple[Lettered, ...]


def draw_axis(figure: AxisFigure, *, narrow: bool = False, paper: Paper = "white") -> str:
    """F2 as an SVG.

    Parameters
    ----------
    figure : AxisFigure
    narrow : bool
        For phones: name and value stand above each bar, the reference lines beside the bars only.
    paper : {"white", "tone"}
    """
    plate = plan_axis(figure, narrow=narrow, paper=paper)
    title = f"{plain(figure.fewer_text)} {plain(figure.more_text)}"
    return plate.svg(key="axis-narrow" if narrow else "axis", title=title, description=plain(figure.alt))


def plan_axis(figure: AxisFigure, *, narrow: bool = False, paper: Paper = "white") -> Plate:
    """The drawn F2, before it is written as SVG (its lettering can be inspected)."""
    bands = _narrow_bands(figure) if narrow else _wide_bands(figure)
    scale = _scale(figure, narrow)
    floor = bands[-1].bottom + 0.5 * MM
    plate = lay(NARROW if narrow else WIDE, floor + 11 * MM, paper)
    _references(plate, figure, scale, bands, narrow)
    for band in bands:
        for line in band.letters:
            plate.write(line)
        _mark(plate, band, scale)
    if not narrow:
        for above, below in pairwise(bands):
            if above.row.family != below.row.family:
                plate.line([0, plate.width], [above.bottom] * 2, plate.palette.hair, 0.6)
    _axis(plate, figure, scale, floor, narrow)
    return plate


def _scale(figure: AxisFigure, narrow: bool) -> Scale:
    """The scale that holds every limit, zero and both worthwhile marks, with a little air at both ends."""
    ends = [-figure.worthwhile, 0.0, figure.worthwhile]
    for row in figure.rows:
        ends += [end for end in (row.low, row.high, row.outer_low, row.outer_high) if end is not None]
    air = 0.04 * (max(ends) - min(ends))
    values = max(
        text_width(plain(t), SIZES.name, weight=700)
        for row in figure.rows
        for t in (row.shown, row.shown_outer)
    )
    left, right = (3 * MM, NARROW - 3 * MM) if narrow else (NAMES, WIDE - values - 4 * MM)
    return Scale(min(ends) - air, max(ends) + air, left, right)


def _head_lines(figure: AxisFigure, scale: Scale, *, narrow: bool) -> list[Lettered]:
    """The names of zero and of the worthwhile mark, at their lines; on two levels where one does not hold both."""
    size, width = (SIZES.narrow, NARROW) if narrow else (SIZES.label, WIDE)
    worth_width = text_width(plain(figure.worthwhile_text), size, weight=500)
    none_width = text_width(plain(figure.no_difference_text), size)
    worth = min(scale.x(figure.worthwhile), width - worth_width)
    start = max(scale.x(0) + 0.3 * MM - none_width, 0.0)
    level = 3.4 * MM
    apart = start + none_width + 1.5 * MM <= worth
    return [
        Lettered(figure.no_difference_text, start, level if apart else level + 4.4 * MM, size),
        Lettered(figure.worthwhile_text, max(worth, 0.0), level, size, weight=500, colour="clay"),
    ]


def _wide_bands(figure: AxisFigure) -> list[Band]:
    top = _top(figure, False)
    least, air = (TIGHT, 0.3 * MM) if len(figure.rows) > MANY else (ROOMY, 1.4 * MM)
    bands = []
    for row in figure.rows:
        weight: Weight = 700 if row.kind == "main" else 500
        names = break_lines(row.name, NAMES - 3 * MM, SIZES.name, weight=weight)
        notes = break_lines(row.note, NAMES - 3 * MM, SIZES.note)
        height = max(least, (len(names) * 3.5 + len(notes) * 3.3) * MM + air)
        y = top + (height - (len(names) * 3.5 + len(notes) * 3.3) * MM) / 2
        letters = []
        for name in names:
            y += 3.5 * MM
            letters.append(Lettered(name, 0, y - 0.8 * MM, SIZES.name, weight=weight))
        for note in notes:
            y += 3.3 * MM
            letters.append(Lettered(note, 0, y - 0.7 * MM, SIZES.note, colour="soft"))
        level = top + height / 2
        shown: Weight = 700 if row.kind == "main" else 400
        values = [text for text in (row.shown, row.shown_outer) if plain(text)]
        for index, text in enumerate(values):
            line = level + 1.15 * MM + (index - (len(values) - 1) / 2) * 3.7 * MM
            letters.append(Lettered(text, WIDE, line, SIZES.name, weight=shown, anchor="end"))
        bands.append(Band(row, top, level, top + height, tuple(letters)))
        top += height
    return bands


def _narrow_bands(figure: AxisFigure) -> list[Band]:
    top = _top(figure, True)
    bands = []
    for row in figure.rows:
        weight: Weight = 700 if row.kind == "main" else 500
        shown: Weight = 700 if row.kind == "main" else 400
        values: list[Text] = [text for text in (row.shown, row.shown_outer) if plain(text)]
        room = NARROW - max(text_width(plain(text), SIZES.narrow, weight=shown) for text in values) - 3 * MM
        names = break_lines(row.name, room, SIZES.narrow, weight=weight)
        notes = break_lines(row.note, room, SIZES.narrow_note)
        letters, y = [], top
        for name in names:
            y += 4.6 * MM
            letters.append(Lettered(name, 0, y, SIZES.narrow, weight=weight))
        for note in notes:
            y += 4.4 * MM
            letters.append(Lettered(note, 0, y, SIZES.narrow_note, colour="soft"))
        line = top
        for text in values:
            line += 4.6 * MM
            letters.append(Lettered(text, NARROW, line, SIZES.narrow, weight=shown, anchor="end"))
        level = max(y, line) + 4.4 * MM
        bands.append(Band(row, top, level, level + 3.6 * MM, tuple(letters)))
        top = level + 4.0 * MM
    return bands


def _top(figure: AxisFigure, narrow: bool) -> float:
    """Where the first row begins: under one or two levels of head lines."""
    heads = _head_lines(figure, _scale(figure, narrow), narrow=narrow)
    return max(line.y for line in heads) + (1.8 if narrow else 3.4) * MM


def _references(plate: Plate, figure: AxisFigure, scale: Scale, bands: list[Band], narrow: bool) -> None:
    """Zero, the worthwhile marks and the strip between them, with their names."""
    heads = _head_lines(figure, scale, narrow=narrow)
    for line in heads:
        plate.write(line)
    top = max(line.y for line in heads) + 1.4 * MM
    spans = (
        [(band.level - 2.6 * MM, band.bottom) for band in bands]
        if narrow
        else [(top, bands[-1].bottom + 0.5 * MM)]
    )
    low, high = scale.x(-figure.worthwhile), scale.x(figure.worthwhile)
    for start, end in spans:
        plate.ground((low, start, high, end), plate.palette.haze)
        plate.line([scale.x(0)] * 2, [start, end], plate.palette.ink, 1.0)
        for x in (low, high):
            plate.line([x, x], [start, end], plate.palette.clay, 0.9, dashes=DASHES)


def _mark(plate: Plate, band: Band, scale: Scale) -> None:
    """The interval and its estimate, by the kind of row."""
    row, y, sea = band.row, band.level, plate.palette.sea
    if row.kind == "worst_case":
        low = row.low if row.outer_low is None else row.outer_low
        high = row.high if row.outer_high is None else row.outer_high
        _whiskers(plate, scale.x(low), scale.x(high), y, 1.1)
        plate.hatch((scale.x(row.low), y - HALF, scale.x(row.high), y + HALF), plate.palette.sea, STEP)
        return
    low_x, high_x = scale.x(row.low), scale.x(row.high)
    if row.kind == "main":
        plate.line([low_x, high_x], [y, y], sea, 3.0)
    else:
        _whiskers(plate, low_x, high_x, y, 1.5)
    if row.value is not None:
        fill = plate.palette.paper if row.kind == "unadjusted" else sea
        plate.dot(scale.x(row.value), y, 8.5 if row.kind == "main" else 5.4, fill=fill, edge=sea)


def _whiskers(plate: Plate, low: float, high: float, y: float, width: float) -> None:
    plate.line([low, high], [y, y], plate.palette.sea, width)
    for x in (low, high):
        plate.line([x, x], [y - 0.95 * MM, y + 0.95 * MM], plate.palette.sea, 1.1)


def _axis(plate: Plate, figure: AxisFigure, scale: Scale, floor: float, narrow: bool) -> None:
    """The axis, its numbers (those of the worthwhile marks first) and the names of both directions."""
    size = SIZES.narrow_note if narrow else SIZES.note
    plate.line([scale.left, scale.right], [floor, floor], plate.palette.line, 0.5)
    base = floor + 4.3 * MM
    taken: list[tuple[float, float]] = []
    tight = scale.x(figure.worthwhile) - scale.x(0) < 5.0 * MM
    for value, text, side in (
        (-figure.worthwhile, figure.worthwhile_low_tick, "end"),
        (figure.worthwhile, figure.worthwhile_high_tick, "start"),
    ):
        plate.line([scale.x(value)] * 2, [floor, floor + 0.9 * MM], plate.palette.clay, 0.8)
        anchor = side if tight else "middle"
        letters = Lettered(text, scale.x(value), base, size, colour="clay", anchor=anchor)
        plate.write(letters)
        taken.append((letters.box()[0], letters.box()[2]))
    ticks = nice_ticks(scale.low, scale.high, about=6 if narrow else 8)
    for value in sorted(ticks, key=abs):
        letters = Lettered(tick_text(value), scale.x(value), base, size, colour="soft", anchor="middle")
        left, _, right, _ = letters.box()
        if any(left < end + 1.2 * MM and start < right + 1.2 * MM for start, end in taken):
            continue
        taken.append((left, right))
        plate.line([scale.x(value)] * 2, [floor, floor + 0.8 * MM], plate.palette.line, 0.5)
        plate.write(letters)
    base += (4.8 if narrow else 4.4) * MM
    plate.write(Lettered(figure.fewer_text, scale.left, base, size, colour="soft"))
    plate.write(Lettered(figure.more_text, scale.right, base, size, colour="soft", anchor="end"))
