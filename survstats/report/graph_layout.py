"""Where does each cause stand in F8, and along which line does each arrow run?"""

from __future__ import annotations

import math
from typing import Literal

from survstats.report.plate import Box
from survstats.report.style import MM

Point = tuple[float, float]
Stage = Literal["before", "mishap", "way_out", "outcome"]

WIDE = 170 * MM
COLUMNS = 6
BOX_WIDTH, BOX_HEIGHT = 23.6 * MM, 9.4 * MM
PITCH = 10.6 * MM
EDGE = 0.4 * MM
ROUND = 2.2 * MM

#: Where each node stands: column from the left, row from the top (a row is `PITCH` high).
PLACES: dict[str, tuple[int, float]] = {
    "OPER": (0, 0.0),
    "ERA": (0, 1.1),
    "ROLE": (0, 2.2),
    "EXP": (0, 3.3),
    "AGE": (0, 4.4),
    "FIT": (0, 5.5),
    "SEX": (0, 6.6),
    "CLS": (0, 7.7),
    "PPE": (1, 0.6),
    "NEAR": (1, 2.1),
    "A": (1, 4.4),
    "SEAT": (1, 6.9),
    "ENV": (2, 0.0),
    "WARN": (2, 1.1),
    "CAPS": (2, 2.2),
    "SEV": (2, 3.3),
    "BRACE": (2, 5.7),
    "IMPD": (2, 7.4),
    "EXIT": (3, 3.0),
    "DEV": (3, 5.3),
    "INJ": (3, 6.4),
    "TEG": (4, 2.9),
    "OUT": (4, 4.2),
    "RAFT": (4, 6.1),
    "RESC": (5, 2.6),
    "Y": (5, 4.7),
    "MISS": (5, 6.6),
    "ALIVE": (5, 7.7),
}

#: Through which row an arrow passes each column between its ends, so that it does not run behind a box.
LANES: dict[tuple[str, str], tuple[float, ...]] = {
    ("A", "EXIT"): (4.15,),
    ("A", "TEG"): (4.35, 3.9),
    ("A", "Y"): (4.55, 4.2, 5.2),
    ("A", "RAFT"): (4.75, 4.45),
    ("A", "DEV"): (4.95,),
    ("IMPD", "Y"): (7.4, 7.2),
    ("CAPS", "TEG"): (2.1,),
    ("FIT", "Y"): (5.6, 6.6, 7.05, 6.85),
    ("AGE", "Y"): (5.1, 5.14, 4.66, 5.4),
    ("EXP", "OUT"): (3.3, 3.9, 3.62),
    ("ERA", "RESC"): (1.35, 1.66, 1.66, 1.85),
    ("OPER", "RESC"): (-0.1, 0.56, 0.9, 1.3),
    ("PPE", "Y"): (0.56, 1.1, 1.6),
    ("ENV", "Y"): (0.2, 0.8),
    ("NEAR", "TEG"): (2.76, 2.36),
    ("WARN", "TEG"): (1.55,),
}

#: The heads over the columns: code, first and last column.
STAGES: tuple[tuple[Stage, int, int], ...] = (
    ("before", 0, 1),
    ("mishap", 2, 2),
    ("way_out", 3, 4),
    ("outcome", 5, 5),
)


def stage_of(code: str) -> Stage:
    """The stage over whose columns a node stands."""
    column = PLACES[code][0]
    return next(stage for stage, first, last in STAGES if first <= column <= last)


def left_of(column: int) -> float:
    """The left edge of a column's boxes, in points."""
    return EDGE + column * (WIDE - 2 * EDGE - BOX_WIDTH) / (COLUMNS - 1)


def box_of(code: str, top: float) -> Box:
    """Left, top, right and bottom of a node's box under a first row at ``top``, in points."""
    column, row = PLACES[code]
    left, upper = left_of(column), top + row * PITCH
    return left, upper, left + BOX_WIDTH, upper + BOX_HEIGHT


def route(start_code: str, end_code: str, top: float) -> list[Point]:
    """The points of an arrow: from the side of one box, through its lanes, to the facing side of the other."""
    start, end = box_of(start_code, top), box_of(end_code, top)
    first, last = PLACES[start_code][0], PLACES[end_code][0]
    if first == last:
        rows = sorted((PLACES[start_code][1], PLACES[end_code][1]))
        between = any(column == first and rows[0] < row < rows[1] for column, row in PLACES.values())
        return _round(start, end) if between else _straight(start, end)
    ahead = last > first
    out = (start[2] if ahead else start[0], (start[1] + start[3]) / 2)
    into = (end[0] if ahead else end[2], (end[1] + end[3]) / 2)
    lanes = LANES.get((start_code, end_code))
    if lanes is None and last - first != 1:
        return [out, into]
    points = [out]
    for column, row in zip(range(first + 1, last), lanes or (), strict=True):
        y = top + row * PITCH + BOX_HEIGHT / 2
        points += [*_bend(points[-1], (left_of(column), y)), (left_of(column) + BOX_WIDTH, y)]
    return points + _bend(points[-1], into)


def _straight(start: Box, end: Box) -> list[Point]:
    """From edge to edge of two neighbours in a column."""
    x = (start[0] + start[2]) / 2
    return [(x, start[3]), (x, end[1])] if end[1] > start[1] else [(x, start[1]), (x, end[3])]


def _round(start: Box, end: Box) -> list[Point]:
    """Round the right side of the boxes that stand between two of one column."""
    from_y, to_y = (start[1] + start[3]) / 2, (end[1] + end[3]) / 2
    turn = [(math.sin(math.pi * step / 16), (1 - math.cos(math.pi * step / 16)) / 2) for step in range(17)]
    return [(start[2] + ROUND * min(1, 2 * out), from_y + along * (to_y - from_y)) for out, along in turn]


def _bend(start: Point, end: Point, steps: int = 16) -> list[Point]:
    """A curve that leaves and arrives level; without its first point."""
    (x0, y0), (x1, y1) = start, end
    found = []
    for step in range(1, steps + 1):
        t = step / steps
        ease = 3 * t**2 - 2 * t**3
        along = 1.5 * t * (1 - t) ** 2 + 1.5 * t**2 * (1 - t) + t**3
        found.append((x0 + along * (x1 - x0), y0 + ease * (y1 - y0)))
    return found
