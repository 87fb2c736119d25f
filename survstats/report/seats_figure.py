"""F1: how many of a hundred would live, drawn as the seats of a cabin, twice?

Seats are filled in reading order from the nose, so that the front of the fill is a bar as well: full below the lower
limit, half inside the interval, open above the upper limit; the three always add up to a hundred.
"""

from __future__ import annotations

from survstats.report.cabin import (
    ABREAST,
    ACROSS,
    ALONG,
    NOSE,
    PITCH,
    SEAT,
    SIDE,
    TAIL,
    bar,
    dot,
    hull,
    seat_shapes,
    seats,
)
from survstats.report.content import SeatsFigure, plain
from survstats.report.lettering import Lettered, break_lines, join, text_width
from survstats.report.style import MM, PALETTES, SIZES, Palette, Paper
from survstats.report.svg import tag, wrap

WIDE, NARROW = 170 * MM, 84 * MM


def draw_seats(figure: SeatsFigure, *, narrow: bool = False, paper: Paper = "white") -> str:
    """F1 as an SVG.

    Parameters
    ----------
    figure : SeatsFigure
    narrow : bool
        For phones: cabins upright and side by side, nose up.
    paper : {"white", "tone"}
        What the open seats are filled with.
    """
    palette = PALETTES[paper]
    key = "seats-narrow" if narrow else "seats"
    letters, height = (narrow_letters if narrow else wide_letters)(figure)
    drawn = seat_shapes(key, palette, upright=narrow)
    drawn += (_narrow_cabins if narrow else _wide_cabins)(figure, key, palette)
    drawn += "".join(line.svg(palette) for line in letters)
    drawn += _key_seats(letters, figure, key)
    width = NARROW if narrow else WIDE
    title = plain(join(figure.difference, figure.difference_interval))
    return wrap(drawn, width, height, key=key, title=title, description=plain(figure.alt))


# ---- wide: one cabin above the other ----------------------------------------------------------

LEFT = 38.0 * MM
TOP = 3.2 * MM
BETWEEN = 19.5 * MM + 2 * SIDE
SECOND = TOP + ACROSS + BETWEEN
FIRST_BAR, SECOND_BAR = TOP + ACROSS + 5.2 * MM, SECOND - 5.2 * MM
STEP = (FIRST_BAR + SECOND_BAR) / 2
KEY = SECOND + ACROSS + 7.6 * MM


def _wide_x(people: float) -> float:
    return LEFT + people / ABREAST * PITCH - (PITCH - SEAT) / 2


def wide_letters(figure: SeatsFigure) -> tuple[list[Lettered], float]:
    """The lettering of the wide F1 and the height of the figure, in points."""
    letters: list[Lettered] = []
    for arm, top, level in ((figure.upper, TOP, FIRST_BAR), (figure.lower, SECOND, SECOND_BAR)):
        y = top + 1.2 * MM
        for line in break_lines(arm.label, 29 * MM, SIZES.name, weight=500):
            letters.append(Lettered(line, 0, y, SIZES.name, weight=500))
            y += 4.1 * MM
        y = top + ACROSS - 3.6 * MM
        letters.append(Lettered(arm.alive_text, -0.6 * MM, y, SIZES.numeral, "read", 600, "sea"))
        letters.append(Lettered(arm.unit_text, 0, y + 4.9 * MM))
        low = join(arm.interval_label, arm.low_text, by="\u00a0\u00a0")
        letters.append(Lettered(low, _wide_x(arm.low) - 1.6 * MM, level + 1.1 * MM, anchor="end"))
        letters.append(Lettered(arm.high_text, _wide_x(arm.high) + 1.6 * MM, level + 1.1 * MM))
    letters += _wide_difference(figure)
    x = LEFT
    for text in (figure.key_full, figure.key_half, figure.key_open):
        letters.append(Lettered(text, x + 5.4 * MM, KEY))
        x += 10.5 * MM + text_width(plain(text), SIZES.label)
    y = KEY
    if x + text_width(plain(figure.note), SIZES.label) > WIDE:
        x, y = LEFT, KEY + 4.4 * MM
    letters.append(Lettered(figure.note, x, y, colour="soft"))
    return letters, y + 2.0 * MM


def _wide_difference(figure: SeatsFigure) -> list[Lettered]:
    """The difference and its interval at the step: right of it, left of it, or above it, where there is room."""
    ends = sorted((_wide_x(figure.upper.alive), _wide_x(figure.lower.alive)))
    first = text_width(plain(figure.difference), SIZES.difference, face="read", weight=600) + 2.0 * MM
    whole = first + text_width(plain(figure.difference_interval), SIZES.name)
    x, y = ends[1] + 2.6 * MM, STEP + 1.7 * MM
    if x + whole > WIDE:
        x = ends[0] - 2.6 * MM - whole
    if x < 0:
        x, y = sum(ends) / 2 - whole / 2, STEP - 1.5 * MM
    return [
        Lettered(figure.difference, x, y, SIZES.difference, "read", 600, "sea"),
        Lettered(figure.difference_interval, x + first, y, SIZES.name),
    ]


def _wide_cabins(figure: SeatsFigure, key: str, palette: Palette) -> str:
    drawn = ""
    for arm, top, level in ((figure.upper, TOP, FIRST_BAR), (figure.lower, SECOND, SECOND_BAR)):
        drawn += hull(LEFT, top, palette, upright=False) + seats(arm, key, LEFT, top, upright=False)
        low, high = _wide_x(arm.low), _wide_x(arm.high)
        drawn += bar([(low, level), (high, level)], 1.5, palette.sea)
        for x in (low, high):
            drawn += bar([(x, level - 1.1 * MM), (x, level + 1.1 * MM)], 1.5, palette.sea)
    none, all_ = _wide_x(figure.upper.alive), _wide_x(figure.lower.alive)
    drawn += bar([(none, FIRST_BAR), (none, STEP)], 0.8, palette.ink)
    drawn += bar([(none, STEP), (all_, STEP)], 2.6, palette.ink)
    drawn += bar([(all_, STEP), (all_, SECOND_BAR)], 0.8, palette.ink)
    return drawn + dot(none, FIRST_BAR, palette) + dot(all_, SECOND_BAR, palette)


# ---- narrow: upright, side by side, nose up; the intervals and the step stand between the cabins ----

EDGE = 0.3 * MM
GAP_LEFT, GAP_RIGHT = EDGE + 2 * SIDE + ACROSS, NARROW - EDGE - 2 * SIDE - ACROSS
FIRST_LINE, SECOND_LINE = GAP_LEFT + 8.6 * MM, GAP_RIGHT - 8.6 * MM
HEADER = 30 * MM
UPRIGHT_TOP = HEADER + NOSE


def _narrow_y(people: float) -> float:
    return UPRIGHT_TOP + people / ABREAST * PITCH - (PITCH - SEAT) / 2


def narrow_letters(figure: SeatsFigure) -> tuple[list[Lettered], float]:
    """The lettering of the narrow F1 and the height of the figure, in points."""
    size = SIZES.narrow_note
    letters: list[Lettered] = []
    middle = (FIRST_LINE + SECOND_LINE) / 2
    for arm, x, end, anchor in (
        (figure.upper, 0.0, FIRST_LINE - 1.8 * MM, "end"),
        (figure.lower, GAP_RIGHT - 6 * MM, SECOND_LINE + 1.8 * MM, "start"),
    ):
        y = 4.0 * MM
        for line in break_lines(arm.label, 33 * MM, size, weight=500):
            letters.append(Lettered(line, x, y, size, weight=500))
            y += 4.6 * MM
        letters.append(Lettered(arm.alive_text, x, 20.6 * MM, 36, "read", 600, "sea"))
        letters.append(Lettered(arm.unit_text, x, 25.6 * MM, size))
        letters.append(Lettered(arm.low_text, end, _narrow_y(arm.low) - 0.6 * MM, size, anchor=anchor))
        letters.append(Lettered(arm.high_text, end, _narrow_y(arm.high) + 3.4 * MM, size, anchor=anchor))
    y = HEADER - 0.4 * MM
    letters.append(Lettered(figure.upper.interval_label, middle, y, size, anchor="middle"))
    y = UPRIGHT_TOP + ALONG + TAIL + 8.5 * MM
    letters.append(Lettered(figure.difference, 0, y, SIZES.title, "read", 600, "sea"))
    x = text_width(plain(figure.difference), SIZES.title, face="read", weight=600) + 2.4 * MM
    letters.append(Lettered(figure.difference_interval, x, y, SIZES.narrow))
    y += 3.0 * MM
    for text in (figure.key_full, figure.key_half, figure.key_open):
        y += 5.2 * MM
        letters.append(Lettered(text, 6.0 * MM, y, size))
    y += 1.0 * MM
    for line in break_lines(figure.note, NARROW, size):
        y += 4.8 * MM
        letters.append(Lettered(line, 0, y, size, colour="soft"))
    return letters, y + 2.0 * MM


def _narrow_cabins(figure: SeatsFigure, key: str, palette: Palette) -> str:
    drawn = ""
    for arm, x, line in (
        (figure.upper, EDGE + SIDE, FIRST_LINE),
        (figure.lower, GAP_RIGHT + SIDE, SECOND_LINE),
    ):
        drawn += hull(x, UPRIGHT_TOP, palette, upright=True) + seats(arm, key, x, UPRIGHT_TOP, upright=True)
        low, high = _narrow_y(arm.low), _narrow_y(arm.high)
        drawn += bar([(line, low), (line, high)], 1.5, palette.sea)
        for y in (low, high):
            drawn += bar([(line - 1.1 * MM, y), (line + 1.1 * MM, y)], 1.5, palette.sea)
    none, all_ = _narrow_y(figure.upper.alive), _narrow_y(figure.lower.alive)
    middle = (FIRST_LINE + SECOND_LINE) / 2
    drawn += bar([(FIRST_LINE, none), (middle, none)], 0.8, palette.ink)
    drawn += bar([(middle, none), (middle, all_)], 2.6, palette.ink)
    drawn += bar([(middle, all_), (SECOND_LINE, all_)], 0.8, palette.ink)
    return drawn + dot(FIRST_LINE, none, palette) + dot(SECOND_LINE, all_, palette)


def _key_seats(letters: list[Lettered], figure: SeatsFigure, key: str) -> str:
    """A seat before each line of the key."""
    drawn = ""
    for text, state in ((figure.key_full, "full"), (figure.key_half, "half"), (figure.key_open, "open")):
        line = next(line for line in letters if line.text is text)
        drawn += tag("use", {"href": f"#{key}-{state}", "x": line.x - 5.4 * MM, "y": line.y - 3.05 * MM})
    return drawn
