"""What do the papers' own two marks look like: the cabin window of the verdict, the planks of a gate?

Both are decoration beside a word and never stand alone, so they carry no name of their own.
"""

from __future__ import annotations

from survstats.report.content import GateState
from survstats.report.style import MM, Palette
from survstats.report.svg import SVG, number, tag


def window(hidden: float, palette: Palette, *, width: float = 11.5 * MM) -> str:
    """A cabin window, hatched from below as far as the records hide the sea behind it.

    Parameters
    ----------
    hidden : float
        Share hatched, in [0, 1].
    palette : Palette
    width : float
        In points.
    """
    height, edge, radius = width * 1.24, width * 0.052, width * 0.42
    level = height * (1 - hidden)
    drawn = ""
    for step in range(1, int((width + height) / (1.35 * MM)) + 1):
        drawn += _hatch(step * 1.35 * MM, level, width, height)
    shape: dict[str, object] = {"x": 0, "y": 0, "width": width, "height": height, "rx": radius}
    clip = f"pane-{round(hidden * 100)}-{round(width)}"
    inside = tag("clipPath", {"id": clip}, tag("rect", shape))
    if hidden > 0:
        stroke = {"d": drawn, "stroke": palette.sea, "stroke_width": 0.75, "fill": "none"}
        inside += tag(
            "g", {"clip_path": f"url(#{clip})"}, tag("path", stroke) + _water(level, width, hidden, palette)
        )
    inside += tag("rect", {**shape, "fill": "none", "stroke": palette.sea, "stroke_width": edge})
    return _mark(inside, width, height, edge / 2 + 0.2)


def _hatch(reach: float, level: float, width: float, height: float) -> str:
    """One stroke at 45 degrees, rising to the right, cut to the hatched part of the pane."""
    x_low, x_high = max(0.0, reach - height), min(width, reach - level)
    if x_high <= x_low:
        return ""
    return f"M{number(x_low)} {number(reach - x_low)}L{number(x_high)} {number(reach - x_high)}"


def _water(level: float, width: float, hidden: float, palette: Palette) -> str:
    if hidden >= 1:
        return ""
    line = {"d": f"M0 {number(level)}H{number(width)}", "stroke": palette.sea, "stroke_width": 0.9}
    return tag("path", line)


def planks(state: GateState, palette: Palette) -> str:
    """Two planks over a gate: both laid when met, one when partly; struck out when not, dotted when not assessed."""
    width, height, gap = 2.85 * MM, 2.5 * MM, 0.9 * MM
    laid = {"met": 2, "partly_met": 1, "not_met": 0, "not_assessed": 0}[state]
    inside = ""
    for index in range(2):
        plank: dict[str, object] = {
            "x": index * (width + gap),
            "y": 0,
            "width": width,
            "height": height,
            "rx": 1.0,
        }
        plank["fill"] = palette.sea if index < laid else "none"
        plank["stroke"] = palette.soft if state == "not_assessed" else palette.sea
        plank["stroke_width"] = 0.7
        if state == "not_assessed":
            plank["stroke_dasharray"] = "1 1.3"
        inside += tag("rect", plank)
    if state == "not_met":
        strike = f"M-1.2 {number(height + 1.2)}L{number(2 * width + gap + 1.2)} -1.2"
        inside += tag("path", {"d": strike, "stroke": palette.ink, "stroke_width": 1.0})
    return _mark(inside, 2 * width + gap, height, 2.0)


def _mark(inside: str, width: float, height: float, margin: float) -> str:
    box = (-margin, -margin, width + 2 * margin, height + 2 * margin)
    attributes = {
        "xmlns": SVG,
        "width": f"{number(box[2])}pt",
        "height": f"{number(box[3])}pt",
        "viewBox": " ".join(number(part) for part in box),
        "aria_hidden": "true",
    }
    return tag("svg", attributes, inside)
