"""F5: of which fields do the records know less about the dead than about the living?"""

from __future__ import annotations

from survstats.report.content import Text, plain
from survstats.report.lettering import Lettered, break_lines, text_width
from survstats.report.plate import Plate, lay
from survstats.report.records_content import GapRow, GapsFigure
from survstats.report.style import MM, SIZES, Paper

WIDE, NARROW = 170 * MM, 84 * MM
NAMES = 50 * MM
BAR = 2.7 * MM
STEP = 1.05 * MM


def draw_gaps(figure: GapsFigure, *, narrow: bool = False, paper: Paper = "white") -> str:
    """F5 as an SVG.

    Parameters
    ----------
    figure : GapsFigure
    narrow : bool
        For phones: each field's name stands above its bars.
    paper : {"white", "tone"}
    """
    plate = plan_gaps(figure, narrow=narrow, paper=paper)
    title = f"{plain(figure.key_known)}, {plain(figure.key_unknown)}"
    return plate.svg(key="gaps-narrow" if narrow else "gaps", title=title, description=plain(figure.alt))


def plan_gaps(figure: GapsFigure, *, narrow: bool = False, paper: Paper = "white") -> Plate:
    """The drawn F5, before it is written as SVG (its lettering can be inspected).

    Every bar is as long as the whole of its group; filled as far as the field is known, hatched from there on.
    """
    size = SIZES.narrow_note if narrow else SIZES.label
    width = NARROW if narrow else WIDE
    step = (5.4 if narrow else 4.1) * MM
    room = width - 1 * MM if narrow else NAMES - 4 * MM
    names = [
        break_lines(row.name, room, SIZES.narrow if narrow else SIZES.name, weight=500) for row in figure.rows
    ]
    heights = [
        (len(name) * 4.9 * MM if narrow else 0.0)
        + max(len(_bars(row)) * step, 0.0 if narrow else len(name) * 3.9 * MM)
        for row, name in zip(figure.rows, names, strict=True)
    ]
    between = (3.0 if narrow else 2.1) * MM
    top = (12.0 if narrow else 6.2) * MM
    plate = lay(width, top + sum(heights) + between * len(heights), paper)
    _key(plate, figure, size, narrow=narrow)
    left = 0.0 if narrow else NAMES
    texts = [text for row in figure.rows for text, _ in _bars(row)]
    right = width - max(text_width(plain(text), size) for text in texts) - 3 * MM
    for row, name, height in zip(figure.rows, names, heights, strict=True):
        y = top
        for line in name:
            y += (4.4 if narrow else 3.9) * MM
            weight_size = SIZES.narrow if narrow else SIZES.name
            plate.write(Lettered(line, 0, y - (0.6 if narrow else 0.9) * MM, weight_size, weight=500))
        level = (y + 0.5 * MM if narrow else top) + step / 2
        for text, (known, all_) in _bars(row):
            _bar(plate, left, right, level, known / all_)
            plate.write(Lettered(text, width, level + 0.36 * size, size, anchor="end"))
            level += step
        top += height + between
        if not narrow and row is not figure.rows[-1]:
            plate.line([0, width], [top - between / 2] * 2, plate.palette.hair, 0.6)
    return plate


def _bars(row: GapRow) -> list[tuple[Text, tuple[int, int]]]:
    """The bars of a field, the dead first, each with its text."""
    pairs = ((row.died_text, row.died), (row.survived_text, row.survived))
    return [(text, counts) for text, counts in pairs if counts is not None]


def _bar(plate: Plate, left: float, right: float, level: float, share: float) -> None:
    """One bar: filled up to the share that is known, hatched from there on."""
    sea = plate.palette.sea
    edge = left + share * (right - left)
    plate.hatch((left, level - BAR / 2, right, level + BAR / 2), sea, STEP, start=edge)
    if share > 0:
        plate.ground((left, level - BAR / 2, edge, level + BAR / 2), sea)


def _key(plate: Plate, figure: GapsFigure, size: float, *, narrow: bool) -> None:
    """What filled and hatched mean, each beside a piece of bar; one below the other on a phone."""
    x, y = 0.0, 3.2 * MM
    for text, share in ((figure.key_known, 1.0), (figure.key_unknown, 0.0)):
        _bar(plate, x, x + 8 * MM, y - 1.1 * MM, share)
        plate.write(Lettered(text, x + 9.6 * MM, y, size))
        if narrow:
            y += 5.0 * MM
        else:
            x += 15 * MM + text_width(plain(text), size)
