"""F9: did the rounds of filling in settle, and do the draws go over the same ground?"""

from __future__ import annotations

import math
from dataclasses import dataclass

from survstats.report.content import Piece, Text, plain
from survstats.report.drawing_field import Field
from survstats.report.lettering import Lettered, break_lines, text_width
from survstats.report.plate import Plate, lay
from survstats.report.style import MM, SIZES, Paper
from survstats.study.results import Cell

WIDE, NARROW = 170 * MM, 84 * MM
ABREAST = 3  # panels beside each other, on a wide figure
HEIGHT = 26 * MM
THIN, THICK = 0.5, 1.8
BETWEEN = 7 * MM


@dataclass(frozen=True)
class ChainsPanel:
    """One quantity, round by round.

    Attributes
    ----------
    label : Text
        What the quantity is, with its unit.
    draws : tuple of tuple of float
        One line per draw, a value for each round; at least one draw of one round.
    """

    label: Text
    draws: tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class ChainsFigure:
    """F9: a panel per quantity; thin lines are draws, the thick one their mean.

    Attributes
    ----------
    panels : tuple of ChainsPanel
    x_title : Text
        What the numbers under the panels count.
    draw_text, mean_text : Text
        Names of the thin lines and of the thick one.
    alt : Text
    """

    panels: tuple[ChainsPanel, ...]
    x_title: Text
    draw_text: Text
    mean_text: Text
    alt: Text


def draw_chains(figure: ChainsFigure, *, narrow: bool = False, paper: Paper = "white") -> str:
    """F9 as an SVG.

    Parameters
    ----------
    figure : ChainsFigure
    narrow : bool
        For phones: one panel below the other.
    paper : {"white", "tone"}
    """
    plate = plan_chains(figure, narrow=narrow, paper=paper)
    key = "chains-narrow" if narrow else "chains"
    return plate.svg(key=key, title=plain(figure.x_title), description=plain(figure.alt))


def plan_chains(figure: ChainsFigure, *, narrow: bool = False, paper: Paper = "white") -> Plate:
    """The drawn F9, before it is written as SVG (its lettering can be inspected)."""
    size = SIZES.narrow_note if narrow else SIZES.label
    width, abreast = (NARROW, 1) if narrow else (WIDE, ABREAST)
    panel_width = (width - (abreast - 1) * BETWEEN) / abreast
    rows = [figure.panels[first : first + abreast] for first in range(0, len(figure.panels), abreast)]
    labels = {id(panel): break_lines(panel.label, panel_width, size, weight=500) for panel in figure.panels}
    gap = 1.27 * size
    key_lines = 2 if narrow else 1
    top = 1.0 * MM + key_lines * gap + 2.5 * MM
    heads = [max(len(labels[id(panel)]) for panel in row) * gap for row in rows]
    foot = break_lines(figure.x_title, width, size)
    each = HEIGHT + 2.6 * gap
    plate = lay(width, top + sum(heads) + each * len(rows) + gap * len(foot) + 1 * MM, paper)
    _key(plate, figure, size, narrow=narrow)
    for row, head in zip(rows, heads, strict=True):
        for place, panel in enumerate(row):
            left = place * (panel_width + BETWEEN)
            for line, words in enumerate(labels[id(panel)]):
                plate.write(Lettered(words, left, top + size + line * gap, size, weight=500))
            _panel(plate, panel, (left, top + head + 0.8 * gap, left + panel_width), size)
        top += head + each
    for line, words in enumerate(foot):
        y = top + size + line * gap
        plate.write(Lettered(words, width / 2, y, size, colour="soft", anchor="middle"))
    return plate


def figure_rows(figure: ChainsFigure) -> tuple[tuple[str, ...], list[tuple[Cell, ...]]]:
    """What the figure shows, as a table: names of the columns and one row per quantity, draw and round."""
    rows: list[tuple[Cell, ...]] = [
        (plain(panel.label), draw, turn, value)
        for panel in figure.panels
        for draw, line in enumerate(panel.draws, start=1)
        for turn, value in enumerate(line, start=1)
    ]
    return ("quantity", "draw", "round", "value"), rows


def _panel(plate: Plate, panel: ChainsPanel, place: tuple[float, float, float], size: float) -> None:
    """One quantity: axes, a thin line per draw, their mean on top."""
    values = [value for line in panel.draws for value in line]
    low, high = min(values), max(values)
    air = 0.06 * (high - low) or max(abs(high), 1.0) * 0.5
    ticks = _ticks(low - air, high + air)
    room = max(text_width(text, size) for _, text in ticks)
    left, top, right = place
    rounds = len(panel.draws[0])
    field = Field(
        left + room + 1.6 * MM, top, right - 3.4 * MM, top + HEIGHT, 1, rounds, low - air, high + air
    )
    colours = plate.palette
    for value, text in ticks:
        y = field.y(value)
        plate.line([field.left, field.right], [y, y], colours.hair, 0.6)
        words = Lettered(
            (Piece(text),), field.left - 1.2 * MM, y + 0.35 * size, size, colour="soft", anchor="end"
        )
        plate.write(words)
    turns = range(1, rounds + 1)
    across = [field.x(turn) for turn in turns] if rounds > 1 else [field.left, field.right]
    mean = [sum(line[turn] for line in panel.draws) / len(panel.draws) for turn in range(rounds)]
    for line, colour, width in (
        *((line, colours.line, THIN) for line in panel.draws),
        (tuple(mean), colours.sea, THICK),
    ):
        plate.line(across, [field.y(value) for value in (line if rounds > 1 else line * 2)], colour, width)
    for turn in sorted({1, rounds}):
        words = Lettered(
            (Piece(str(turn)),),
            field.x(turn),
            field.bottom + 0.6 * MM + size,
            size,
            colour="soft",
            anchor="middle",
        )
        plate.write(words)


def _ticks(low: float, high: float) -> list[tuple[float, str]]:
    """Two to five round values inside [low, high], each with its digits, a true minus."""
    rough = (high - low) / 4
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * unit for unit in (1, 2, 5, 10) if power * unit >= rough)
    if math.floor(high / step) - math.ceil(low / step) < 1:
        step /= 2
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    places = range(math.ceil(low / step), math.floor(high / step) + 1)
    return [(place * step, f"{place * step:.{decimals}f}".replace("-", "\u2212")) for place in places]


def _key(plate: Plate, figure: ChainsFigure, size: float, *, narrow: bool) -> None:
    """A piece of a thin and of the thick line, each with its name; one below the other on a phone."""
    x, y = 0.0, 1.0 * MM + size
    for text, colour, width in (
        (figure.draw_text, plate.palette.line, THIN),
        (figure.mean_text, plate.palette.sea, THICK),
    ):
        level = y - 0.35 * size
        plate.line([x, x + 8 * MM], [level, level], colour, width)
        plate.write(Lettered(text, x + 9.6 * MM, y, size))
        if narrow:
            y += 1.27 * size
        else:
            x += 15 * MM + text_width(plain(text), size)
