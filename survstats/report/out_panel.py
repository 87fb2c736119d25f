"""One group's panel of F4: how do its stairs, its hatch, its people still inside and its end get onto the plate?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from survstats.report.content import Text, plain
from survstats.report.drawing_field import Field, spread
from survstats.report.lettering import Lettered, break_lines, text_width
from survstats.report.plate import Plate, nice_ticks, tick_text
from survstats.report.style import MM

END = 0.3
"""The most that the words at the end of a curve may take of the width of their panel."""
EDGE, LIMIT, MODEL = 1.8, 0.9, 1.1
LIMIT_DASHES = (1.6, 2.0)
HATCH, STROKE = 1.35 * MM, 0.6


@dataclass(frozen=True)
class OutStep:
    """What is known from this second on until the next step, in per cent of the group.

    Attributes
    ----------
    seconds : float
    least, most : float
        Known to be out; out unless known to be inside.
    low, high : float or None
        Lower limit of the least and upper limit of the most; None where there is none.
    """

    seconds: float
    least: float
    most: float
    low: float | None
    high: float | None


@dataclass(frozen=True)
class OutPanel:
    """One group.

    Attributes
    ----------
    name : Text
        Which group, and how many people.
    steps : tuple of OutStep
        Rising in seconds.
    ever : float
        Per cent who got out at any time; what lies above is the ground of those who never did.
    model : tuple of (float, float)
        Seconds and per cent out by then, as the model has it; empty without one.
    inside : tuple of (float, Text)
        Seconds, and how many were known to be still inside then.
    never_text, out_text, unknown_text : Text
        Written at the end: how many never got out, how many did, of how many it is not known (may be empty).
    """

    name: Text
    steps: tuple[OutStep, ...]
    ever: float
    model: tuple[tuple[float, float], ...]
    inside: tuple[tuple[float, Text], ...]
    never_text: Text
    out_text: Text
    unknown_text: Text


def room_left(size: float) -> float:
    """Room for the per cents of the axis."""
    return text_width("100 %", size) + 2.2 * MM


def _end_lines(panel: OutPanel, each: float, size: float) -> list[tuple[Text, ...]]:
    texts = (panel.never_text, panel.out_text, panel.unknown_text)
    return [break_lines(text, END * each, size) for text in texts]


def room_right(panel: OutPanel, each: float, size: float) -> float:
    """Room for what is written at the end of a curve."""
    widths = [text_width(plain(line), size) for lines in _end_lines(panel, each, size) for line in lines]
    return 2.6 * MM + max(widths, default=0.0)


def draw_panel(
    plate: Plate, panel: OutPanel, field: Field, foot: tuple[Text, ...], *, each: float, size: float
) -> None:
    """A panel in its field, with the name of the seconds under it; ``each`` is the width of the whole panel."""
    _ground(plate, panel, field)
    _inside(plate, panel, field, size)
    _ends(plate, panel, field, _end_lines(panel, each, size), size)
    _axes(plate, field, foot, size)


def _ground(plate: Plate, panel: OutPanel, field: Field) -> None:
    """Who never got out as a ground, the hatch between least and most, the limits and the model."""
    colours = plate.palette
    level = field.y(panel.ever)
    if panel.ever < 100:
        plate.ground((field.left, field.top, field.right, level), colours.haze)
    for step, end in _spans(panel.steps, field.last):
        if step.most > step.least:
            hatch(plate, (field.x(step.seconds), field.y(step.most), field.x(end), field.y(step.least)))
    for limit in ([s.low for s in panel.steps], [s.high for s in panel.steps]):
        known = [value for value in limit if value is not None]
        if known and len(known) == len(limit):
            _stairs(plate, panel.steps, known, field, LIMIT, dashes=LIMIT_DASHES)
    for edge in ([s.least for s in panel.steps], [s.most for s in panel.steps]):
        _stairs(plate, panel.steps, edge, field, EDGE)
    drawn = [(seconds, share) for seconds, share in panel.model if seconds <= field.last]
    if len(drawn) > 1:
        plate.line(
            [field.x(second) for second, _ in drawn],
            [field.y(share) for _, share in drawn],
            colours.ink,
            MODEL,
        )
    plate.line([field.left, field.right + 1.4 * MM], [level, level], colours.line, 0.7)


def _spans(steps: Sequence[OutStep], last: float) -> list[tuple[OutStep, float]]:
    """Each step with the second at which the next one begins."""
    ends = [*(step.seconds for step in steps[1:]), last]
    spans = zip(steps, ends, strict=False)  # without a step there is one end too many
    return [(step, min(end, last)) for step, end in spans if step.seconds < min(end, last)]


def _stairs(
    plate: Plate,
    steps: Sequence[OutStep],
    values: Sequence[float],
    field: Field,
    width: float,
    *,
    dashes: tuple[float, float] | None = None,
) -> None:
    """A line that keeps its height until the next step."""
    kept = [(step.seconds, value) for step, value in zip(steps, values, strict=True)]
    kept = [(second, value) for second, value in kept if second <= field.last]
    if not kept:
        return
    corners = [kept[0]]
    for (_, before), (second, value) in pairwise(kept):
        corners += [(second, before), (second, value)]
    corners.append((field.last, kept[-1][1]))
    xs, ys = [field.x(second) for second, _ in corners], [field.y(value) for _, value in corners]
    plate.line(xs, ys, plate.palette.sea, width, dashes=dashes)


def hatch(plate: Plate, box: tuple[float, float, float, float]) -> None:
    """Strokes that rise to the right and meet those of the boxes beside: where the moment is not known."""
    left, top, right, bottom = box
    reach = HATCH * int((left + top) / HATCH)
    xs, ys = list[float](), list[float]()
    while reach < right + bottom:
        low, high = max(left, reach - bottom), min(right, reach - top)
        if low < high:
            xs += [low, high, math.nan]  # one path, its strokes apart
            ys += [reach - low, reach - high, math.nan]
        reach += HATCH
    if xs:
        plate.line(xs, ys, plate.palette.sea, STROKE)


def _inside(plate: Plate, panel: OutPanel, field: Field, size: float) -> None:
    """How many are known to be still inside, over everything that is drawn at that second."""
    told = [(second, text) for second, text in panel.inside if second <= field.last and plain(text)]
    widths = [text_width(plain(text), size) for _, text in told]
    wanted = [field.x(second) - field.left for second, _ in told]
    middles = spread(wanted, widths, 0.7 * size, field.right - field.left)
    for (second, text), middle, wide in zip(told, middles, widths, strict=True):
        x, place = field.x(second), field.left + middle
        if middle < 0.5 * wide:  # no room: left to the table
            continue
        foot = field.y(_at(panel.steps, second).most) if panel.steps else field.bottom
        base = max(
            field.y(_tallest(panel, field, place + wide / 2 + 1 * MM)) - 1.6 * MM, field.top - 0.5 * size
        )
        plate.line([place, x], [base + 0.25 * size, foot], plate.palette.line, 0.7)
        plate.write(Lettered(text, place, base, size, anchor="middle"))


def _at(steps: Sequence[OutStep], second: float) -> OutStep:
    """The step that holds at this second."""
    return next((step for step in reversed(steps) if step.seconds <= second), steps[0])


def _tallest(panel: OutPanel, field: Field, x: float) -> float:
    """The highest that is drawn left of a place, in per cent: nothing in a panel ever falls."""
    begun = [step for step in panel.steps if field.x(step.seconds) <= x]
    modelled = [share for second, share in panel.model if field.x(second) <= x + 1 * MM]
    return max([0.0, *(max(step.most, step.high or 0.0) for step in begun), *modelled[-1:]])


def _ends(plate: Plate, panel: OutPanel, field: Field, lines: list[tuple[Text, ...]], size: float) -> None:
    """At the right end: who never got out above the level, who did below it."""
    never, out, unknown = lines
    x, lowest = field.right + 2.2 * MM, field.bottom - 1.25 * size * (len(out) + len(unknown))
    below = min(max(field.y(panel.ever), field.top + 1.25 * size * (len(never) - 1)), lowest)
    for index, line in enumerate(reversed(never)):
        plate.write(Lettered(line, x, below - (0.4 + 1.25 * index) * size, size))
    for index, line in enumerate((*out, *unknown)):
        plate.write(Lettered(line, x, below + (1.05 + 1.25 * index) * size, size))


def _axes(plate: Plate, field: Field, foot: tuple[Text, ...], size: float) -> None:
    """Per cent upward, seconds across."""
    colours = plate.palette
    plate.line([field.left, field.left], [field.top, field.bottom], colours.line, 0.5)
    plate.line([field.left, field.right], [field.bottom, field.bottom], colours.line, 0.5)
    for share in (0, 25, 50, 75, 100):
        y = field.y(share)
        plate.line([field.left - 0.8 * MM, field.left], [y, y], colours.line, 0.5)
        text = tick_text(share, " %")
        plate.write(Lettered(text, field.left - 1.4 * MM, y + 0.35 * size, size, colour="soft", anchor="end"))
    base = field.bottom + 1.2 * MM + size
    for second in nice_ticks(0.0, field.last, about=6):
        x = field.x(second)
        plate.line([x, x], [field.bottom, field.bottom + 0.8 * MM], colours.line, 0.5)
        plate.write(Lettered(tick_text(second), x, base, size, colour="soft", anchor="middle"))
    for index, line in enumerate(foot):
        y = base + 1.3 * size * (index + 1)
        plate.write(Lettered(line, (field.left + field.right) / 2, y, size, colour="soft", anchor="middle"))
