"""F4: what share of each group was known to be out of the cabin by each second, and what cannot be told?"""

from __future__ import annotations

from dataclasses import dataclass

from survstats.report.content import Text, plain
from survstats.report.drawing_field import Field
from survstats.report.lettering import Lettered, break_lines, text_width
from survstats.report.out_panel import (
    EDGE,
    LIMIT,
    LIMIT_DASHES,
    MODEL,
    OutPanel,
    draw_panel,
    hatch,
    room_left,
    room_right,
)
from survstats.report.plate import Plate, lay
from survstats.report.style import MM, SIZES, Paper
from survstats.study.results import Cell

WIDE, NARROW = 170 * MM, 84 * MM
GUTTER = 7 * MM
SAMPLE = 8 * MM


@dataclass(frozen=True)
class OutFigure:
    """F4: a panel for each group over the same seconds.

    Attributes
    ----------
    panels : tuple of OutPanel
    last : float
        Seconds at the right end of every panel.
    step_text, hatch_text, limits_text, model_text, inside_text, never_text : Text
        The key; an empty text leaves its entry out.
    x_title, y_title : Text
    alt : Text
    """

    panels: tuple[OutPanel, ...]
    last: float
    step_text: Text
    hatch_text: Text
    limits_text: Text
    model_text: Text
    inside_text: Text
    never_text: Text
    x_title: Text
    y_title: Text
    alt: Text


def draw_out(figure: OutFigure, *, narrow: bool = False, paper: Paper = "white") -> str:
    """F4 as an SVG.

    Parameters
    ----------
    figure : OutFigure
    narrow : bool
        For phones: one panel below the other, larger lettering.
    paper : {"white", "tone"}
    """
    plate = plan_out(figure, narrow=narrow, paper=paper)
    return plate.svg(
        key="out-narrow" if narrow else "out", title=plain(figure.y_title), description=plain(figure.alt)
    )


def plan_out(figure: OutFigure, *, narrow: bool = False, paper: Paper = "white") -> Plate:
    """The drawn F4, before it is written as SVG (its lettering can be inspected)."""
    size = SIZES.narrow_note if narrow else SIZES.label
    width, height = (NARROW, 44 * MM) if narrow else (WIDE, 50 * MM)
    key, under_key = _key_places(figure, width, size)
    title = break_lines(figure.y_title, width, size)
    top = under_key + (1.3 * len(title) + 0.4) * size
    across = 1 if narrow else max(len(figure.panels), 1)
    each = (width - GUTTER * (across - 1)) / across
    names = [break_lines(panel.name, each, size, weight=700) for panel in figure.panels]
    head = (1.3 * max((len(name) for name in names), default=0) + 1.5) * size
    foot = break_lines(figure.x_title, each - room_left(size), size)
    under = 2.4 * MM + 1.3 * size * (1 + len(foot)) + 1.5 * MM
    rows = -(-len(figure.panels) // across)
    plate = lay(width, top + rows * (head + height + under), paper)
    _key(plate, key, size)
    for index, line in enumerate(title):
        plate.write(Lettered(line, 0, under_key + (index + 0.9) * 1.3 * size, size, colour="soft"))
    for at, (panel, name) in enumerate(zip(figure.panels, names, strict=True)):
        left, upper = (at % across) * (each + GUTTER), top + (at // across) * (head + height + under)
        for index, line in enumerate(name):
            plate.write(Lettered(line, left, upper + (index + 0.9) * 1.3 * size, size, weight=700))
        ceiling = upper + head
        right = left + each - room_right(panel, each, size)
        field = Field(left + room_left(size), ceiling, right, ceiling + height, 0.0, figure.last, 0.0, 100.0)
        draw_panel(plate, panel, field, foot, each=each, size=size)
    return plate


def out_data(figure: OutFigure) -> tuple[tuple[str, ...], list[tuple[Cell, ...]]]:
    """What F4 shows, as a table: names of the columns and rows."""
    header = (
        *("kind", "group", "seconds", "least_percent", "most_percent", "low_percent", "high_percent"),
        "people",
    )
    rows: list[tuple[Cell, ...]] = []
    for panel in figure.panels:
        name = plain(panel.name)
        rows += [
            ("share_out", name, step.seconds, step.least, step.most, step.low, step.high, None)
            for step in panel.steps
        ]
        rows += [("model", name, seconds, share, share, None, None, None) for seconds, share in panel.model]
        rows += [
            ("known_inside", name, seconds, None, None, None, None, plain(people))
            for seconds, people in panel.inside
        ]
        rows.append(("out_in_the_end", name, None, panel.ever, panel.ever, None, None, plain(panel.out_text)))
    return header, rows


def _key_places(
    figure: OutFigure, width: float, size: float
) -> tuple[list[tuple[str, float, tuple[Lettered, ...]]], float]:
    """Kind, left end and lettering of each entry of the key, and the key's lower end."""
    kinds = ("step", "hatch", "limits", "model", "inside", "never")
    texts = [(kind, getattr(figure, f"{kind}_text")) for kind in kinds]
    places: list[tuple[str, float, tuple[Lettered, ...]]] = []
    x, y, deepest, gap = 0.0, 1.0 * size, 1, 1.3 * size
    for kind, text in texts:
        if not plain(text):
            continue
        lines = break_lines(text, width - SAMPLE - 1.6 * MM, size)
        reach = SAMPLE + 1.6 * MM + max(text_width(plain(line), size) for line in lines)
        if x > 0 and x + reach > width:
            x, y, deepest = 0.0, y + deepest * gap, 1
        start = x + SAMPLE + 1.6 * MM
        places.append(
            (kind, x, tuple(Lettered(line, start, y + at * gap, size) for at, line in enumerate(lines)))
        )
        x, deepest = x + reach + 5 * MM, max(deepest, len(lines))
    return places, y + (deepest - 1) * gap + 2.2 * MM


def _key(plate: Plate, places: list[tuple[str, float, tuple[Lettered, ...]]], size: float) -> None:
    """What each mark means, beside a piece of it."""
    sea, ink = plate.palette.sea, plate.palette.ink
    for kind, x, letters in places:
        y = letters[0].y - 0.33 * size
        across, up, down = [x, x + SAMPLE], y - 1.2 * MM, y + 1.2 * MM
        if kind == "step":
            plate.line(across, [y, y], sea, EDGE)
        elif kind == "hatch":
            hatch(plate, (x, up, x + SAMPLE, down))
            for edge in (up, down):
                plate.line(across, [edge, edge], sea, EDGE)
        elif kind == "limits":
            plate.line(across, [y, y], sea, LIMIT, dashes=LIMIT_DASHES)
        elif kind == "model":
            plate.line(across, [y, y], ink, MODEL)
        elif kind == "inside":
            plate.line([x + SAMPLE / 2] * 2, [up, down], plate.palette.line, 0.7)
        else:
            plate.ground((x, up, x + SAMPLE, down), plate.palette.haze)
            plate.line(across, [down, down], plate.palette.line, 0.7)
        for line in letters:
            plate.write(line)
