"""Where do the seats of a cabin stand, nose up, and what does the hull around them look like?"""

from __future__ import annotations

from dataclasses import dataclass, replace

from survstats.report.cabin import AISLE, PITCH, SEAT, SIDE
from survstats.report.style import MM, Palette
from survstats.report.svg import tag


@dataclass(frozen=True)
class Floor:
    """The seats of a cabin, in points; ``x`` and ``y`` are the upper left corner of the first.

    Attributes
    ----------
    columns : tuple of (str, float)
        Side of each seat across a row, and how far right of ``x`` it stands.
    rows : int
    """

    columns: tuple[tuple[str, float], ...]
    rows: int
    x: float = 0.0
    y: float = 0.0

    @property
    def across(self) -> float:
        """From the left edge of the first seat of a row to the right edge of the last."""
        return self.columns[-1][1] + SEAT

    @property
    def along(self) -> float:
        """From the front of the first row to the back of the last."""
        return (self.rows - 1) * PITCH + SEAT

    @property
    def nose(self) -> float:
        """How far the nose reaches before the first row."""
        return 6.2 * MM

    @property
    def tail(self) -> float:
        """How far the tail reaches behind the last row."""
        return 7.5 * MM

    def at(self, x: float, y: float) -> Floor:
        """The same seats elsewhere."""
        return replace(self, x=x, y=y)

    def seat_top(self, row: int) -> float:
        """Where a row begins, rows counted from 1."""
        return self.y + (row - 1) * PITCH

    def middle_of(self, first: int, last: int) -> float:
        """The middle of some rows."""
        return (self.seat_top(first) + self.seat_top(last) + SEAT) / 2

    def hull(self, palette: Palette) -> str:
        """The ground around the seats: a blunt round nose above, straight sides, a tapered tail."""
        left, right = self.x - SIDE, self.x + self.across + SIDE
        middle, bend = self.x + self.across / 2, 0.63 * (self.across / 2 + SIDE)
        top, end = self.y, self.y + self.along
        front, back = top - self.nose, end + self.tail
        path = (
            f"M{left:.2f} {top:.2f}L{left:.2f} {end - 1 * MM:.2f}"
            f"C{left:.2f} {end + 4 * MM:.2f} {middle - bend:.2f} {back:.2f} {middle:.2f} {back:.2f}"
            f"C{middle + bend:.2f} {back:.2f} {right:.2f} {end + 4 * MM:.2f} {right:.2f} {end - 1 * MM:.2f}"
            f"L{right:.2f} {top:.2f}"
            f"C{right:.2f} {top - 0.75 * self.nose:.2f} {middle + 1.2 * bend:.2f} {front:.2f} {middle:.2f} {front:.2f}"
            f"C{middle - 1.2 * bend:.2f} {front:.2f} {left:.2f} {top - 0.75 * self.nose:.2f} {left:.2f} {top:.2f}Z"
        )
        return tag("path", {"d": path, "fill": palette.haze, "stroke": palette.line, "stroke_width": 0.9})


def floor_of(seats: str, rows: int) -> Floor:
    """The seats of a cabin from the letters across a row, a space for an aisle."""
    columns, x = list[tuple[str, float]](), 0.0
    for letter in seats:
        if letter == " ":
            x += AISLE
        else:
            columns.append((letter, x))
            x += PITCH
    return Floor(tuple(columns), rows)


def gap_in_hull(x: float, y: float, palette: Palette, *, length: float = 3.6 * MM) -> str:
    """An exit: the hull is open around y, with a stroke at either end."""
    top, bottom, reach = y - length / 2, y + length / 2, 0.9 * MM
    opening = {"d": f"M{x:.2f} {top:.2f}V{bottom:.2f}", "stroke": palette.paper, "stroke_width": 2.2}
    ends = "".join(f"M{x - reach:.2f} {level:.2f}H{x + reach:.2f}" for level in (top, bottom))
    return tag("path", opening) + tag("path", {"d": ends, "stroke": palette.ink, "stroke_width": 1.0})
