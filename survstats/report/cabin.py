"""What does a cabin of a hundred seats look like, lying or upright?"""

from __future__ import annotations

from survstats.report.content import SeatArm
from survstats.report.style import MM, Palette
from survstats.report.svg import tag

PITCH, SEAT, AISLE = 4.95 * MM, 4.0 * MM, 3.7 * MM
ROWS, ABREAST = 25, 4
ACROSS = (ABREAST - 1) * PITCH + AISLE + SEAT
ALONG = (ROWS - 1) * PITCH + SEAT
NOSE, TAIL, SIDE = 6.2 * MM, 7.5 * MM, 2.4 * MM
CUSHION = 3.0 * MM


def seat_shapes(key: str, palette: Palette, *, upright: bool) -> str:
    """The three seats, drawn once: a cushion and the back behind it; the half seat is cut on its diagonal."""
    radius, corner = 0.9 * MM, 0.264 * MM
    far_x, far_y = CUSHION - corner, SEAT - corner
    lower_left = (
        f"M{corner:.2f} {corner:.2f}A{radius:.2f} {radius:.2f} 0 0 0 0 {radius:.2f}V{SEAT - radius:.2f}"
        f"A{radius:.2f} {radius:.2f} 0 0 0 {radius:.2f} {SEAT:.2f}H{CUSHION - radius:.2f}"
        f"A{radius:.2f} {radius:.2f} 0 0 0 {far_x:.2f} {far_y:.2f}Z"
    )
    shapes = ""
    for state in ("full", "half", "open"):
        stroke = palette.line if state == "open" else palette.sea
        fill = palette.sea if state == "full" else palette.paper
        paint = {"fill": fill, "stroke": stroke, "stroke_width": 0.7}
        cushion = tag("rect", {"width": CUSHION, "height": SEAT, "rx": radius, **paint})
        back = {
            "x": CUSHION + 0.42 * MM,
            "y": 0.15 * MM,
            "width": SEAT - CUSHION - 0.42 * MM,
            "height": SEAT - 0.3 * MM,
        }
        inside = cushion + tag("rect", {**back, "rx": 0.25 * MM, **paint})
        if state == "half":
            inside += tag("path", {"d": lower_left, "fill": palette.sea})
        turn = {"transform": "matrix(0 1 1 0 0 0)"} if upright else {}
        shapes += tag("g", {"id": f"{key}-{state}", **turn}, inside)
    return tag("defs", {}, shapes)


def seat_state(seat: int, arm: SeatArm) -> str:
    """Whether the seat (1 to 100) is full, half or open."""
    return "full" if seat <= arm.low else "half" if seat <= arm.high else "open"


def seats(arm: SeatArm, key: str, x: float, y: float, *, upright: bool) -> str:
    """A hundred seats with their first at x, y, filled row by row from the nose."""
    uses = ""
    for seat in range(ROWS * ABREAST):
        row, place = divmod(seat, ABREAST)
        along, across = row * PITCH, place * PITCH + (AISLE if place >= ABREAST // 2 else 0.0)
        right, down = (across, along) if upright else (along, across)
        uses += tag("use", {"href": f"#{key}-{seat_state(seat + 1, arm)}", "x": x + right, "y": y + down})
    return uses


def hull(x: float, y: float, palette: Palette, *, upright: bool) -> str:
    """The floor around the seats at x, y: a blunt round nose, straight sides, a tapered tail."""
    a, b, c, d = -NOSE, -SIDE, ALONG + TAIL, ACROSS + SIDE
    middle, bend = ACROSS / 2, 5.5 * MM
    points = [
        ("M", [(0.0, b)]),
        ("L", [(ALONG - 1 * MM, b)]),
        ("C", [(ALONG + 4 * MM, b), (c, middle - bend), (c, middle)]),
        ("C", [(c, middle + bend), (ALONG + 4 * MM, d), (ALONG - 1 * MM, d)]),
        ("L", [(0.0, d)]),
        ("C", [(a * 0.75, d), (a, middle + 1.2 * bend), (a, middle)]),
        ("C", [(a, middle - 1.2 * bend), (a * 0.75, b), (0.0, b)]),
    ]
    path = ""
    for command, pairs in points:
        placed = [(x + v, y + u) if upright else (x + u, y + v) for u, v in pairs]
        path += command + " ".join(f"{p:.2f} {q:.2f}" for p, q in placed)
    return tag("path", {"d": path + "Z", "fill": palette.haze, "stroke": palette.line, "stroke_width": 0.6})


def bar(points: list[tuple[float, float]], width: float, colour: str) -> str:
    """A line through points."""
    path = "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in points)
    return tag("path", {"d": path, "fill": "none", "stroke": colour, "stroke_width": width})


def dot(x: float, y: float, palette: Palette) -> str:
    """The mark of an estimate."""
    return tag("circle", {"cx": x, "cy": y, "r": 3.25, "fill": palette.sea})
