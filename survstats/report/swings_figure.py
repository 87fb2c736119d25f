"""Which given figure moves the lives of an option most, put low and put high?"""

from __future__ import annotations

from dataclasses import dataclass

from survstats.report.content import Text, plain
from survstats.report.even_ticks import even_ticks, tick_words
from survstats.report.lettering import Lettered, break_lines, text_width
from survstats.report.plate import Plate, lay
from survstats.report.style import MM, SIZES, Paper
from survstats.study.results import Cell

WIDE, NARROW = 170 * MM, 84 * MM
NAMES = 60 * MM
ROW = 6.4 * MM
RING = 5.0


@dataclass(frozen=True)
class SwingRow:
    """One figure: its name, and the lives a year with it low and with it high."""

    name: Text
    low: float
    high: float


@dataclass(frozen=True)
class SwingsFigure:
    """A bar for each figure from its low to its high value, the widest first.

    Attributes
    ----------
    rows : tuple of SwingRow
    middle : float or None
        Lives with every figure as it is.
    low_text, high_text, zero_text : Text
        What ring, dot and the line at zero are.
    x_title, alt : Text
    """

    rows: tuple[SwingRow, ...]
    middle: float | None
    low_text: Text
    high_text: Text
    zero_text: Text
    x_title: Text
    alt: Text


def draw_swings(figure: SwingsFigure, *, narrow: bool = False, paper: Paper = "white") -> str:
    """The bars as an SVG.

    Parameters
    ----------
    figure : SwingsFigure
    narrow : bool
        For phones: the name of each figure stands above its bar.
    paper : {"white", "tone"}
    """
    plate = plan_swings(figure, narrow=narrow, paper=paper)
    key = "swings-narrow" if narrow else "swings"
    return plate.svg(key=key, title=plain(figure.x_title), description=plain(figure.alt))


def plan_swings(figure: SwingsFigure, *, narrow: bool = False, paper: Paper = "white") -> Plate:
    """The drawn bars, before they are written as SVG (the lettering can be inspected)."""
    size, width = (SIZES.narrow_note, NARROW) if narrow else (SIZES.label, WIDE)
    step = 1.35 * size
    key = _key_lines(figure, width, size)
    reach = width if narrow else NAMES - 3 * MM
    names = [break_lines(row.name, reach, size, anywhere=True) for row in figure.rows]
    top = step * len(key) + 2 * MM
    levels, y = [], top
    for name in names:
        own = step * len(name)
        levels.append(y + own + 1.2 * MM if narrow else y + max(ROW, own + 1.2 * MM) / 2)
        y += own + 4.2 * MM if narrow else max(ROW, own + 1.2 * MM)
    foot = break_lines(figure.x_title, width if narrow else width - NAMES, size, anywhere=True)
    plate = lay(width, y + 3.2 * MM + step * (len(foot) + 1.2), paper)
    ends = [0.0, *(end for row in figure.rows for end in (row.low, row.high))]
    air = 0.05 * (max(ends) - min(ends) or 1.0)
    low, high = min(ends) - air, max(ends) + air
    left, right = (2 * MM, width - 3 * MM) if narrow else (NAMES, width - 4 * MM)

    def across(value: float) -> float:
        return left + (value - low) / (high - low) * (right - left)

    plate.line([across(0)] * 2, [top, y], plate.palette.ink, 1.0)
    if figure.middle is not None:
        plate.line([across(figure.middle)] * 2, [top, y], plate.palette.line, 0.7)
    _key(plate, key, size)
    for row, name, level in zip(figure.rows, names, levels, strict=True):
        _row(plate, name, level, (across(row.low), across(row.high)), narrow=narrow)
    plate.line([left, right], [y, y], plate.palette.line, 0.5)
    taken = -size
    for value in even_ticks(low, high, about=4 if narrow else 6):
        text = tick_words(value, "lives")
        letters = Lettered(text, across(value), y + 1.2 * MM + size, size, colour="soft", anchor="middle")
        start, _, end, _ = letters.box()
        if start < max(taken, 0) or end > width:
            continue
        taken = end + 0.8 * size
        plate.line([across(value)] * 2, [y, y + 0.8 * MM], plate.palette.line, 0.5)
        plate.write(letters)
    for at, line in enumerate(foot):
        plate.write(
            Lettered(line, 0 if narrow else left, y + 2 * MM + (2.2 + 1.3 * at) * size, size, colour="soft")
        )
    return plate


def swings_data(figure: SwingsFigure) -> tuple[tuple[str, ...], list[tuple[Cell, ...]]]:
    """What the bars show, as a table: names of the columns and rows."""
    return ("figure", "lives_at_low", "lives_at_high"), [
        (plain(row.name), row.low, row.high) for row in figure.rows
    ]


def _key_lines(figure: SwingsFigure, width: float, size: float) -> list[list[tuple[str, float, Text]]]:
    """Rows of the key: kind, left end and text of each entry."""
    rows: list[list[tuple[str, float, Text]]] = [[]]
    x = 0.0
    for kind, text in (("low", figure.low_text), ("high", figure.high_text), ("zero", figure.zero_text)):
        reach = 4.5 * MM + text_width(plain(text), size)
        if rows[-1] and x + reach > width:
            rows.append([])
            x = 0.0
        rows[-1].append((kind, x, text))
        x += reach + 5 * MM
    return rows


def _key(plate: Plate, rows: list[list[tuple[str, float, Text]]], size: float) -> None:
    for at, row in enumerate(rows):
        base = (1.0 + 1.35 * at) * size
        for kind, x, text in row:
            middle = base - 0.33 * size
            if kind == "zero":
                plate.line(
                    [x + 1.4 * MM] * 2, [middle - 0.5 * size, middle + 0.5 * size], plate.palette.ink, 1.0
                )
            else:
                _end(plate, x + 1.4 * MM, middle, hollow=kind == "low")
            plate.write(Lettered(text, x + 4.0 * MM, base, size))


def _row(
    plate: Plate,
    name: tuple[Text, ...],
    level: float,
    ends: tuple[float, float],
    *,
    narrow: bool,
) -> None:
    size = SIZES.narrow_note if narrow else SIZES.label
    step = 1.35 * size
    for at, line in enumerate(name):
        y = level - 1.8 * MM - step * (len(name) - 1 - at)
        if not narrow:
            y = level + 0.34 * size + (at - (len(name) - 1) / 2) * step
        plate.write(Lettered(line, 0, y, size))
    plate.line(list(ends), [level, level], plate.palette.sea, 2.2)
    _end(plate, ends[0], level, hollow=True)
    _end(plate, ends[1], level, hollow=False)


def _end(plate: Plate, x: float, y: float, *, hollow: bool) -> None:
    fill = plate.palette.paper if hollow else plate.palette.sea
    plate.dot(x, y, RING, fill=fill, edge=plate.palette.sea)
