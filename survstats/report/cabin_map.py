"""Where do the cabins of the map stand, nose up and in one scale, and their letters beside them?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from survstats.report.cabin import SIDE
from survstats.report.cabin_floor import Floor, floor_of
from survstats.report.content import Text, plain
from survstats.report.drawing_field import spread
from survstats.report.lettering import Lettered, break_lines, text_width
from survstats.report.style import MM, SIZES

WIDE, NARROW = 170 * MM, 84 * MM
BETWEEN, APART = 7 * MM, 8 * MM
LEADER, CLEAR = 4.2 * MM, 1.0 * MM
NAME_ROOM = 27 * MM
LINE = 1.22  # from line to line, in sizes


@dataclass(frozen=True)
class MapCell:
    """One side of one zone.

    Attributes
    ----------
    side : {"L", "C", "R"}
    zone : str
        Name of the zone, for the data.
    first, last : int
        Rows of the zone.
    people : int
    out : int or None
        None where too few people sat there to say it.
    share : float or None
        What the seats are filled to, in [0, 1]; None where the place is hatched.
    name_text, count_text, share_text : Text
        The lines beside the place; the last is empty where it is hatched.
    """

    side: str
    zone: str
    first: int
    last: int
    people: int
    out: int | None
    share: float | None
    name_text: Text
    count_text: Text
    share_text: Text


@dataclass(frozen=True)
class MapCabin:
    """One class of aircraft.

    Attributes
    ----------
    name_text, whole_text : Text
        The class; how many of all its people got out.
    seats : str
        Letters across a row, a space for an aisle.
    rows : int
    exits : tuple of (int, str)
        Row and side, L or R.
    cells : tuple of MapCell
        From the nose, from the left.
    """

    name_text: Text
    whole_text: Text
    seats: str
    rows: int
    exits: tuple[tuple[int, str], ...]
    cells: tuple[MapCell, ...]


@dataclass(frozen=True)
class CabinMapFigure:
    """A cabin for each class; ``key_*`` say what filled seats, hatched places and gaps in the hull mean."""

    cabins: tuple[MapCabin, ...]
    title: Text
    key_filled: Text
    key_hatched: Text
    key_exit: Text
    alt: Text


@dataclass(frozen=True)
class Label:
    """The lines beside one place, and where the middle of the place is."""

    lines: tuple[Lettered, ...]
    level: float
    middle: float
    leader: tuple[float, float]


@dataclass(frozen=True)
class Block:
    """One cabin with its letters, placed."""

    cabin: MapCabin
    floor: Floor
    heading: tuple[Lettered, ...]
    labels: tuple[Label, ...]
    bottom: float


@dataclass(frozen=True)
class _Setting:
    """The size of the letters and the width of the drawing, in points."""

    size: float
    width: float

    @property
    def gap(self) -> float:
        """From line to line."""
        return LINE * self.size

    def room_beside(self, floor: Floor) -> float:
        """How wide letters beside a cabin may be."""
        free = (self.width - floor.across) / 2 - SIDE - LEADER - CLEAR
        return min(NAME_ROOM, free)


def laid(figure: CabinMapFigure, *, narrow: bool) -> tuple[list[Block], list[tuple[str, Lettered]], float]:
    """Cabins in as many columns as there is room for, long ones first; the key; the height."""
    setting = _Setting(SIZES.narrow_note, NARROW) if narrow else _Setting(SIZES.label, WIDE)
    cabins = sorted(figure.cabins, key=lambda cabin: -cabin.rows)
    reaches = [_reach(cabin, setting) for cabin in cabins]
    left, right = (max(reach[side] for reach in reaches) for side in (0, 1))
    room = left + right + BETWEEN
    bottoms = [0.0] * min(len(cabins), max(1, int((setting.width + BETWEEN) // room)))
    blocks = list[Block]()
    for cabin in cabins:
        column = bottoms.index(min(bottoms))
        top = bottoms[column] + (APART if bottoms[column] else 0.0)
        blocks.append(_block(cabin, column * room + left, top, setting))
        bottoms[column] = blocks[-1].bottom
    key, height = _key(figure, max(bottoms) + 7 * MM, setting, narrow=narrow)
    return blocks, key, height


def _reach(cabin: MapCabin, setting: _Setting) -> tuple[float, float]:
    """How far the block of a cabin reaches left and right of its middle."""
    floor = floor_of(cabin.seats, cabin.rows)
    half = floor.across / 2 + SIDE + LEADER + CLEAR
    head = max(_width(line) for line in _heading(cabin, 0, 0, setting)) / 2
    reach = [half, half]
    for cell in cabin.cells:
        at = 0 if cell.side == "L" else 1
        reach[at] = max(reach[at], half + max(_width(line) for line in _lines(cell, floor, setting)))
    return max(head, reach[0]), max(head, reach[1])


def _width(line: Lettered) -> float:
    return text_width(plain(line.text), line.size, weight=line.weight)


def _lines(cell: MapCell, floor: Floor, setting: _Setting) -> tuple[Lettered, ...]:
    """The lines beside a place, not yet placed."""
    size, room = setting.size, setting.room_beside(floor)
    return (
        *(Lettered(line, 0, 0, size, weight=500) for line in _broken(cell.name_text, room, size)),
        *(Lettered(line, 0, 0, size) for line in _broken(cell.count_text, room, size)),
        *(
            (Lettered(cell.share_text, 0, 0, size, weight=500, colour="sea"),)
            if plain(cell.share_text)
            else ()
        ),
    )


def _broken(text: Text, room: float, size: float) -> Iterator[Text]:
    """Lines no wider than ``room``; a single word that is wider is cut."""
    for line in break_lines(text, room, size, weight=500):
        if text_width(plain(line), size, weight=500) <= room:
            yield line
            continue
        letters = [replace(piece, text=letter) for piece in line for letter in piece.text]
        each = max(1, int(len(letters) * room / text_width(plain(line), size, weight=500)))
        for first in range(0, len(letters), each):
            yield tuple(letters[first : first + each])


def _heading(cabin: MapCabin, x: float, top: float, setting: _Setting) -> tuple[Lettered, ...]:
    size = setting.size
    names = _broken(cabin.name_text, 48 * MM, size)
    lines = [Lettered(line, x, 0, size, weight=500, anchor="middle") for line in names]
    lines.append(Lettered(cabin.whole_text, x, 0, size, colour="soft", anchor="middle"))
    return tuple(replace(line, y=top + size + at * setting.gap) for at, line in enumerate(lines))


def _block(cabin: MapCabin, middle: float, top: float, setting: _Setting) -> Block:
    """One cabin with its middle at ``middle`` and its heading from ``top`` on."""
    gap = setting.gap
    heading = _heading(cabin, middle, top, setting)
    floor = floor_of(cabin.seats, cabin.rows)
    stacks = [[cell for cell in cabin.cells if (cell.side == "L") == left] for left in (True, False)]
    heights = [[len(_lines(cell, floor, setting)) * gap for cell in stack] for stack in stacks]
    most = max(sum(each) + 0.5 * gap * (len(each) - 1) for each in heights)
    whole = floor.along + floor.nose + floor.tail
    first = heading[-1].y + 2.5 * MM
    floor = floor.at(middle - floor.across / 2, first + max(0.0, (most - whole) / 2) + floor.nose)
    span = max(most, whole)
    labels = []
    for left, stack, tall in zip((True, False), stacks, heights, strict=True):
        wanted = [floor.middle_of(cell.first, cell.last) - first for cell in stack]
        for cell, place, level in zip(stack, spread(wanted, tall, 0.5 * gap, span), wanted, strict=True):
            labels.append(_label(cell, floor, (first + place, first + level), setting, left=left))
    return Block(cabin, floor, heading, tuple(labels), first + span)


def _label(
    cell: MapCell, floor: Floor, levels: tuple[float, float], setting: _Setting, *, left: bool
) -> Label:
    """The lines beside a place: ``levels`` are their middle and that of the place."""
    lines = _lines(cell, floor, setting)
    edge = floor.x - SIDE if left else floor.x + floor.across + SIDE
    turn = -1 if left else 1
    y = levels[0] - len(lines) * setting.gap / 2 + 0.82 * setting.size
    written = tuple(
        replace(
            line,
            x=edge + turn * (LEADER + CLEAR),
            y=y + at * setting.gap,
            anchor="end" if left else "start",
        )
        for at, line in enumerate(lines)
    )
    return Label(written, levels[1], levels[0], (edge + turn * CLEAR, edge + turn * LEADER))


def _key(
    figure: CabinMapFigure, top: float, setting: _Setting, *, narrow: bool
) -> tuple[list[tuple[str, Lettered]], float]:
    """The lines of the key, each with its mark before the first; in a row where there is room."""
    size, width, gap, indent = setting.size, setting.width, setting.gap, 6.4 * MM
    key, x, y = list[tuple[str, Lettered]](), 0.0, top
    for kind, text in (
        ("filled", figure.key_filled),
        ("hatched", figure.key_hatched),
        ("exit", figure.key_exit),
    ):
        whole = indent + text_width(plain(text), size)
        if key and (narrow or x + whole > width):
            x, y = 0.0, y + gap + 2.0 * MM
        for at, line in enumerate(break_lines(text, width - indent, size)):
            y += gap if at else 0.0
            key.append((kind if not at else "", Lettered(line, x + indent, y, size)))
        x += whole + 6 * MM
    return key, y + 2 * MM


def letters(blocks: list[Block], key: list[tuple[str, Lettered]]) -> Iterator[Lettered]:
    """All lettering of the map."""
    for block in blocks:
        yield from block.heading
        for label in block.labels:
            yield from label.lines
    yield from (line for _, line in key)
