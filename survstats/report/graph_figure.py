"""F8: what causes what, which causes were held equal, and which ways stay open?"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, cast

from survstats.report.content import Text, plain
from survstats.report.graph_layout import (
    BOX_HEIGHT,
    BOX_WIDTH,
    EDGE,
    PITCH,
    PLACES,
    STAGES,
    WIDE,
    box_of,
    left_of,
    route,
    stage_of,
)
from survstats.report.lettering import Lettered, balance_lines, text_width
from survstats.report.plate import Box, Plate, lay
from survstats.report.style import MM, SIZES, Paper

NodeState = Literal["training", "outcome", "adjusted", "asked", "unmeasured", "between", "selection", "other"]
ArrowKind = Literal["way", "crew", "open", "other"]
_Key = tuple[str, Text, float]

NARROW = 84 * MM
BAR = 2.2 * MM
STEP = 1.05 * MM
KEY_STEP, KEY_AIR = 15.0 * MM, 5.0 * MM
HEADS = 5.0 * MM


@dataclass(frozen=True)
class GraphNode:
    """One cause: its code, its label, and what it is to this comparison."""

    code: str
    label: Text
    state: NodeState


@dataclass(frozen=True)
class GraphArrow:
    """One arrow, by the codes of its ends.

    ``way`` is training's own, ``crew`` its own for flight crew alone, ``open`` another way that nothing shuts.
    """

    start: str
    end: str
    kind: ArrowKind


@dataclass(frozen=True)
class GraphFigure:
    """F8: the graph of causes as one comparison sees it.

    Attributes
    ----------
    title : Text
    nodes : tuple of GraphNode
    arrows : tuple of GraphArrow
    heads : mapping of str to Text
        Names of the stages ``before``, ``mishap``, ``way_out``, ``outcome``.
    node_key, arrow_key : tuple of pairs
        What each kind of box and of arrow means, in the order in which they are told.
    alt : Text
    list_alt : Text
        Of the list for phones, which has no arrows; that of the graph where none is given.
    """

    title: Text
    nodes: tuple[GraphNode, ...]
    arrows: tuple[GraphArrow, ...]
    heads: Mapping[str, Text]
    node_key: tuple[tuple[NodeState, Text], ...]
    arrow_key: tuple[tuple[ArrowKind, Text], ...]
    alt: Text
    list_alt: Text = ()


def arrow_kinds(
    arrows: Sequence[tuple[str, str, str]], open_ways: Collection[str], *, held: Collection[str] = ()
) -> tuple[GraphArrow, ...]:
    """What each arrow is to a comparison, from the tables of the results.

    Parameters
    ----------
    arrows : sequence of (start, end, who)
        Only those for everyone and for ``flight_crew`` are drawn.
    open_ways : collection of str
        As stored: codes with ``>`` or ``<`` between them.
    held : collection of str
        Nodes held equal, or fixed by whom one looks at: training's ways through them are no part of the number.
    """
    everyone = [
        (start, end)
        for start, end, who in arrows
        if who == "everyone" and start not in held and end not in held
    ]
    moved = _reached({"A"}, everyone)
    moving = _reached({"Y"}, [(end, start) for start, end in everyone])
    opened = {pair for way in open_ways for pair in _pairs(way)}
    found = []
    for start, end, who in arrows:
        kind: ArrowKind = "other"
        if who == "flight_crew":
            kind = "crew"
        elif (start, end) in everyone and start in moved and end in moving:
            kind = "way"
        elif (start, end) in opened:
            kind = "open"
        if who in ("everyone", "flight_crew"):
            found.append(GraphArrow(start, end, kind))
    return tuple(found)


def _reached(nodes: set[str], arrows: Sequence[tuple[str, str]]) -> set[str]:
    while more := {end for start, end in arrows if start in nodes} - nodes:
        nodes = nodes | more
    return nodes


def _pairs(way: str) -> list[tuple[str, str]]:
    """The arrows of a way, each from its start to its end."""
    parts = way.split()
    steps = zip(parts[::2], parts[1::2], parts[2::2], strict=False)
    return [(one, other) if sign == ">" else (other, one) for one, sign, other in steps]


def draw_graph(figure: GraphFigure, *, narrow: bool = False, paper: Paper = "white") -> str:
    """F8 as an SVG.

    Parameters
    ----------
    figure : GraphFigure
    narrow : bool
        For phones: the causes as a list, stage by stage, without arrows.
    paper : {"white", "tone"}
    """
    plate = (plan_list if narrow else plan_graph)(figure, paper=paper)
    key = "graph-narrow" if narrow else "graph"
    return plate.svg(
        key=key, title=plain(figure.title), description=plain((narrow and figure.list_alt) or figure.alt)
    )


def plan_graph(figure: GraphFigure, *, paper: Paper = "white") -> Plate:
    """The drawn F8, before it is written as SVG (its lettering can be inspected)."""
    keys = _key_rows(figure)
    top = HEADS + len(keys) * 5.4 * MM + 2.5 * MM
    rows = max(PLACES[node.code][1] for node in figure.nodes)
    plate = lay(WIDE, top + (rows + 0.4) * PITCH + BOX_HEIGHT, paper)
    _keys(plate, keys, len(figure.node_key))
    for code, first, last in STAGES:
        _head(plate, figure.heads[code], left_of(first), left_of(last) + BOX_WIDTH, top)
    for kind in ("other", "open", "crew", "way"):
        for arrow in figure.arrows:
            if arrow.kind == kind:
                _arrow(plate, arrow, top + 2 * MM)
    for node in figure.nodes:
        _node(plate, node, box_of(node.code, top + 2 * MM), SIZES.note)
    return plate


def plan_list(figure: GraphFigure, *, paper: Paper = "white") -> Plate:
    """The causes as boxes under the head of their stage, two beside each other."""
    size, gap = SIZES.narrow_note, 2.2 * MM
    width, height = (NARROW - 2 * EDGE - gap) / 2, 12 * MM
    shown = {stage: [node for node in figure.nodes if stage_of(node.code) == stage] for stage, _, _ in STAGES}
    lines = sum(-(-len(nodes) // 2) for nodes in shown.values())
    tall = len(figure.node_key) * 6.4 * MM + len(shown) * 9.5 * MM + lines * (height + gap)
    plate = lay(NARROW, tall, paper)
    y = 4 * MM
    for state, text in figure.node_key:
        _swatch(plate, state, (EDGE, y - 3.4 * MM, EDGE + 8 * MM, y + 1.0 * MM))
        plate.write(Lettered(text, EDGE + 9.6 * MM, y, size))
        y += 6.4 * MM
    for stage, nodes in shown.items():
        y += 5 * MM
        _head(plate, figure.heads[stage], 0, NARROW, y, size=SIZES.narrow)
        y += 2 * MM
        for at, node in enumerate(nodes):
            left = EDGE + (at % 2) * (width + gap)
            _node(plate, node, (left, y, left + width, y + height), size)
            if at % 2 or node is nodes[-1]:
                y += height + gap
    return plate


def _head(
    plate: Plate, text: Text, left: float, right: float, y: float, *, size: float = SIZES.label
) -> None:
    plate.write(Lettered(text, left, y - 1.4 * MM, size, weight=700, colour="sea"))
    plate.line([left, right], [y, y], plate.palette.line, 0.5)


def _node(plate: Plate, node: GraphNode, box: Box, size: float) -> None:
    """A box with its label; the bar at its left and its edge tell what it is."""
    _swatch(plate, node.state, box)
    left, top, right, bottom = box
    bar = BAR if node.state in ("adjusted", "asked", "unmeasured") else 0.0
    weight: Literal[500, 700] = 700 if node.state in ("training", "outcome") else 500
    lines = balance_lines(node.label, right - left - bar - 2.4 * MM, size, weight=weight)
    leading = 1.15 * size
    y = (top + bottom) / 2 - (len(lines) - 1) * leading / 2 + 0.35 * size
    for line in lines:
        plate.write(Lettered(line, left + bar + 1.3 * MM, y, size, weight=weight))
        y += leading


def _swatch(plate: Plate, state: NodeState, box: Box) -> None:
    """The box without its label."""
    colours = plate.palette
    left, top, right, bottom = box
    if state in ("training", "outcome"):
        plate.frame(box, colours.ink, 1.8)
    elif state == "between":
        plate.frame(box, colours.sea, 1.5)
    elif state in ("adjusted", "asked", "other"):
        plate.frame(box, colours.line, 0.7)
    else:
        plate.ground(box, colours.paper)
        round_ = ([left, right, right, left, left], [top, top, bottom, bottom, top])
        dashes = (3.2, 2.0) if state == "unmeasured" else (1.0, 1.6)
        plate.line(*round_, colours.clay if state == "unmeasured" else colours.line, 1.0, dashes=dashes)
    bar = (left, top, left + BAR, bottom)
    if state == "adjusted":
        plate.ground(bar, colours.sea)
    elif state in ("asked", "unmeasured"):
        plate.hatch(bar, colours.clay if state == "unmeasured" else colours.sea, STEP)


def _arrow(plate: Plate, arrow: GraphArrow, top: float) -> None:
    """One arrow as a curve between the sides of two boxes, with a head unless it is one of the many thin ones."""
    points = route(arrow.start, arrow.end, top)
    colour = _stroke(plate, [point[0] for point in points], [point[1] for point in points], arrow.kind)
    if arrow.kind == "other":
        return
    (back_x, back_y), (tip_x, tip_y) = points[-min(4, len(points))], points[-1]
    length = max(((tip_x - back_x) ** 2 + (tip_y - back_y) ** 2) ** 0.5, 1e-9)
    along, across = (tip_x - back_x) / length, (tip_y - back_y) / length
    reach, spread = 1.7 * MM, 0.75 * MM
    wings = [
        (tip_x - reach * along + side * spread * across, tip_y - reach * across - side * spread * along)
        for side in (1, -1)
    ]
    head = [wings[0], (tip_x, tip_y), wings[1]]
    plate.line([point[0] for point in head], [point[1] for point in head], colour, 1.1)


def _stroke(plate: Plate, x: Sequence[float], y: Sequence[float], kind: ArrowKind) -> str:
    """The line of an arrow of a kind; its colour."""
    colours = plate.palette
    colour = {"way": colours.sea, "crew": colours.sea, "open": colours.clay, "other": colours.line}[kind]
    width = {"way": 1.1, "crew": 1.1, "open": 1.2, "other": 0.35}[kind]
    dashes = {"way": None, "crew": (1.4, 1.4), "open": (3.4, 1.8), "other": None}[kind]
    plate.line(x, y, colour, width, dashes=dashes)
    return colour


def _key_rows(figure: GraphFigure) -> list[list[_Key]]:
    """The key's entries in rows no wider than the figure, boxes first."""
    rows: list[list[_Key]] = []
    for entries in (figure.node_key, figure.arrow_key):
        used = WIDE
        for code, text in entries:
            wide = KEY_STEP + text_width(plain(text), SIZES.note)
            if used + wide - KEY_AIR > WIDE:
                rows.append([])
                used = 0.0
            rows[-1].append((code, text, wide))
            used += wide
    return rows


def _keys(plate: Plate, rows: list[list[_Key]], boxes: int) -> None:
    """What each kind of box and arrow means, beside a piece of it; the first ``boxes`` entries are boxes."""
    y, told = 3.4 * MM, 0
    for row in rows:
        x = EDGE
        for code, text, wide in row:
            if told < boxes:
                _swatch(plate, cast(NodeState, code), (x, y - 2.9 * MM, x + 8 * MM, y + 0.7 * MM))
            else:
                _stroke(plate, [x, x + 8 * MM], [y - 1.1 * MM] * 2, cast(ArrowKind, code))
            plate.write(Lettered(text, x + 9.4 * MM, y, SIZES.note))
            x, told = x + wide, told + 1
        y += 5.4 * MM
