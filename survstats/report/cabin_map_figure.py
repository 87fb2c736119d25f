"""The cabin map: of the people who sat in each zone, on each side, how many got out, drawn in the cabin of each class?

Nose up, one scale for all classes. The seats of a place are filled from the nose as far as the share of its people that
got out, drawn towards the share of the class; a place with too few people is hatched. Letters stand beside the cabin.
"""

from __future__ import annotations

from itertools import pairwise

from survstats.report.cabin import SEAT, SIDE
from survstats.report.cabin_floor import Floor, gap_in_hull
from survstats.report.cabin_map import NARROW, WIDE, Block, CabinMapFigure, MapCell, laid, letters
from survstats.report.content import plain
from survstats.report.lettering import Lettered
from survstats.report.style import MM, PALETTES, Palette, Paper
from survstats.report.svg import tag, wrap
from survstats.study.results import Cell


def draw_cabin_map(figure: CabinMapFigure, *, narrow: bool = False, paper: Paper = "white") -> str:
    """The cabin map as an SVG.

    Parameters
    ----------
    figure : CabinMapFigure
    narrow : bool
        For phones: one cabin below the other.
    paper : {"white", "tone"}
        What the open seats are filled with.
    """
    palette = PALETTES[paper]
    blocks, key, height = laid(figure, narrow=narrow)
    drawn = "".join(_cabin(block, palette) for block in blocks)
    drawn += _key_marks(key, palette)
    drawn += "".join(line.svg(palette) for line in letters(blocks, key))
    name = "cabin-narrow" if narrow else "cabin"
    width = NARROW if narrow else WIDE
    return wrap(drawn, width, height, key=name, title=plain(figure.title), description=plain(figure.alt))


def map_letters(figure: CabinMapFigure, *, narrow: bool = False) -> tuple[list[Lettered], float]:
    """The lettering of the map and the height of the figure, in points."""
    blocks, key, height = laid(figure, narrow=narrow)
    return list(letters(blocks, key)), height


def figure_rows(figure: CabinMapFigure) -> tuple[tuple[str, ...], list[tuple[Cell, ...]]]:
    """What the map shows, as a table: names of the columns and one row per place."""
    rows: list[tuple[Cell, ...]] = [
        (
            plain(cabin.name_text),
            cell.zone,
            cell.side,
            cell.first,
            cell.last,
            cell.people,
            cell.out,
            cell.share,
        )
        for cabin in figure.cabins
        for cell in cabin.cells
    ]
    return ("class", "zone", "side", "first_row", "last_row", "people", "out", "shrunken_share"), rows


def _cabin(block: Block, palette: Palette) -> str:
    floor, cabin = block.floor, block.cabin
    drawn = floor.hull(palette)
    for one, other in pairwise(sorted({(cell.first, cell.last) for cell in cabin.cells})):
        level = (floor.seat_top(one[1]) + SEAT + floor.seat_top(other[0])) / 2
        drawn += _line((floor.x - SIDE, level), (floor.x + floor.across + SIDE, level), palette.line, 0.5)
    for cell in cabin.cells:
        drawn += (
            _hatched(cell, floor, palette)
            if cell.share is None
            else _filled(cell, cell.share, floor, palette)
        )
    for row, side in cabin.exits:
        x = floor.x - SIDE if side == "L" else floor.x + floor.across + SIDE
        drawn += gap_in_hull(x, floor.seat_top(row) + SEAT / 2, palette)
    for label in block.labels:
        near, far = label.leader
        drawn += _line((near, label.level), (far, label.middle), palette.line, 0.5)
    return drawn


def _filled(cell: MapCell, share: float, floor: Floor, palette: Palette) -> str:
    """The seats of a place, filled from the nose as far as its share."""
    seats = [
        (x, floor.seat_top(row))
        for row in range(cell.first, cell.last + 1)
        for letter, x in floor.columns
        if letter == cell.side
    ]
    drawn = ""
    for at, (x, y) in enumerate(seats):
        drawn += seat(floor.x + x, y, min(max(share * len(seats) - at, 0.0), 1.0), palette)
    return drawn


def seat(x: float, y: float, fill: float, palette: Palette) -> str:
    """One seat, nose up, filled from the front to a part of its length in [0, 1]."""
    shape: dict[str, object] = {"x": x, "y": y, "width": SEAT, "height": SEAT, "rx": 0.6 * MM}
    edge = palette.sea if fill > 0 else palette.line
    drawn = tag(
        "rect",
        {**shape, "fill": palette.sea if fill >= 1 else palette.paper, "stroke": edge, "stroke_width": 0.7},
    )
    if 0 < fill < 1:
        drawn += tag("rect", {**shape, "height": fill * SEAT, "rx": 0.3 * MM, "fill": palette.sea})
    return drawn


def _hatched(cell: MapCell, floor: Floor, palette: Palette) -> str:
    """The ground of a place of which too little is seen."""
    across = [x for letter, x in floor.columns if letter == cell.side]
    left, top = floor.x + min(across), floor.seat_top(cell.first)
    return hatch(left, top, floor.x + max(across) + SEAT, floor.seat_top(cell.last) + SEAT, palette)


def hatch(left: float, top: float, right: float, bottom: float, palette: Palette) -> str:
    """A framed ground with strokes at 45 degrees: what cannot be seen."""
    step, path = 1.35 * MM, ""
    reach = left + top + step
    while reach < right + bottom:
        x_low, x_high = max(left, reach - bottom), min(right, reach - top)
        path += f"M{x_low:.2f} {reach - x_low:.2f}L{x_high:.2f} {reach - x_high:.2f}"
        reach += step
    frame = {"x": left, "y": top, "width": right - left, "height": bottom - top, "rx": 0.6 * MM}
    paint = {"fill": palette.paper, "stroke": palette.sea, "stroke_width": 0.7}
    return tag("rect", {**frame, **paint}) + tag(
        "path", {"d": path, "stroke": palette.sea, "stroke_width": 0.6}
    )


def _key_marks(key: list[tuple[str, Lettered]], palette: Palette) -> str:
    """A seat, a hatched ground and a gap before the lines of the key."""
    drawn = ""
    for kind, line in key:
        x, y = line.x - 6.0 * MM, line.y - 3.05 * MM
        if kind == "filled":
            drawn += seat(x, y, 0.6, palette)
        elif kind == "hatched":
            drawn += hatch(x, y, x + SEAT, y + SEAT, palette)
        elif kind == "exit":
            middle = x + SEAT / 2
            drawn += _line((middle, y - 0.6 * MM), (middle, y + SEAT + 0.6 * MM), palette.line, 0.6)
            drawn += gap_in_hull(middle, y + SEAT / 2, palette, length=2.4 * MM)
    return drawn


def _line(start: tuple[float, float], end: tuple[float, float], colour: str, width: float) -> str:
    path = f"M{start[0]:.2f} {start[1]:.2f}L{end[0]:.2f} {end[1]:.2f}"
    return tag("path", {"d": path, "fill": "none", "stroke": colour, "stroke_width": width})
