"""How does a quantity move with another, option by option: panels of lines over one axis, each named at its end?

Serves the interval between courses, the value of a life, and the points that training is assumed to add.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from survstats.report.content import Text, plain
from survstats.report.drawing_field import Field, spread
from survstats.report.even_ticks import even_ticks, tick_words
from survstats.report.lettering import Lettered, break_lines, text_width
from survstats.report.lines_content import LinesFigure, LinesPanel
from survstats.report.plate import Plate, lay
from survstats.report.style import MM, SIZES, Paper
from survstats.study.results import Cell

WIDE, NARROW = 170 * MM, 84 * MM
NAMES = 40 * MM
SAMPLE = 9 * MM
STROKES: tuple[tuple[float, tuple[float, float] | None], ...] = (
    (2.6, None),
    (1.5, (5.0, 2.2)),
    (1.5, None),
    (1.5, (1.6, 1.8)),
    (2.6, (7.0, 2.2)),
    (0.9, None),
)
"""Width and dashes of each line, so that they are told apart without a colour."""
LIMIT, LIMIT_DASHES = 0.9, (1.6, 2.0)
CLAY_DASHES = (3.2, 2.0)
MONTHS = (1, 3, 6, 12, 24, 60, 120)


def draw_lines(figure: LinesFigure, *, narrow: bool = False, paper: Paper = "white") -> str:
    """The panels as an SVG.

    Parameters
    ----------
    figure : LinesFigure
    narrow : bool
        For phones: larger lettering, the lines named in the key and not at their ends.
    paper : {"white", "tone"}
    """
    plate = plan_lines(figure, narrow=narrow, paper=paper)
    key = f"{figure.key}-narrow" if narrow else figure.key
    return plate.svg(key=key, title=plain(figure.panels[0].title), description=plain(figure.alt))


def plan_lines(figure: LinesFigure, *, narrow: bool = False, paper: Paper = "white") -> Plate:
    """The drawn panels, before they are written as SVG (the lettering can be inspected)."""
    size, width = (SIZES.narrow_note, NARROW) if narrow else (SIZES.label, WIDE)
    places, top = _key_places(figure, width, size, narrow=narrow)
    fields, bottom = _fields(figure, top, width, size, narrow=narrow)
    foot = break_lines(figure.x_title, width - fields[0].left, size, anywhere=True)
    beneath = 5.5 * MM if figure.study else 0.0
    plate = lay(width, bottom + beneath + 3 * MM + (1.3 * len(foot) + 1.6) * size, paper)
    for field in fields:
        _grounds(plate, figure, field)
    _key(plate, places, size)
    for panel, field in zip(figure.panels, fields, strict=True):
        _panel(plate, panel, field, size, narrow=narrow)
    _axis(plate, figure, fields[-1], foot, size)
    return plate


def lines_data(figure: LinesFigure) -> tuple[tuple[str, ...], list[tuple[Cell, ...]]]:
    """What the panels show, as a table: names of the columns and rows."""
    rows: list[tuple[Cell, ...]] = []
    for panel in figure.panels:
        for line in panel.lines:
            lows, highs = (values or (None,) * len(line.x) for values in (line.low, line.high))
            for each in zip(line.x, line.y, lows, highs, strict=True):
                rows.append((plain(panel.title), plain(line.name), *each))
    if figure.study:
        low, value, high = figure.study
        rows.append((plain(figure.study_text), None, value, None, low, high))
    if figure.reference is not None:
        rows.append((plain(figure.reference_text), None, figure.reference, None, None, None))
    if figure.strip:
        rows.append((plain(figure.strip_text), None, None, None, *figure.strip))
    return ("panel", "line", "across", "value", "low", "high"), rows


# ---- places --------------------------------------------------------------------------------------


def _across(figure: LinesFigure) -> tuple[float, float]:
    """What the axis spans: every point, the reference and what the records show."""
    ends = [x for panel in figure.panels for line in panel.lines for x in line.x]
    ends += [figure.reference] if figure.reference is not None else []
    ends += [figure.study[0], figure.study[2]] if figure.study else []
    low, high = min(ends), max(ends)
    return (low, high) if high > low else (low - 0.5, high + 0.5)


def _upward(panel: LinesPanel) -> tuple[float, float]:
    ends = [value for line in panel.lines for part in (line.y, line.low, line.high) for value in part]
    low, high = min(0.0, *ends), max(0.0, *ends)
    air = 0.04 * (high - low or 1.0)
    return (low - air if low < 0 else low, high + air)


def _fields(
    figure: LinesFigure, top: float, width: float, size: float, *, narrow: bool
) -> tuple[list[Field], float]:
    """A field for each panel, one under the other, and where the last one ends."""
    first, last = _across(figure)
    ticks = [
        text_width(plain(tick_words(value, panel.form)), size)
        for panel in figure.panels
        for value in even_ticks(*_upward(panel), about=4)
    ]
    left, right = 2.6 * MM + max(ticks), width - 5 * MM
    end = max(line.x[-1] for panel in figure.panels for line in panel.lines)
    if _names_at_ends(figure) and not narrow:
        reach = (end - first) / (last - first) * (right - left)
        right = right if left + reach + NAMES <= width else width - NAMES
    height = (24 if len(figure.panels) > 1 else 48) * MM
    fields = []
    for panel in figure.panels:
        title = len(break_lines(panel.title, width, size))
        top += (1.3 * title + 0.9) * size
        fields.append(Field(left, top, right, top + height, first, last, *_upward(panel)))
        top += height + 3.4 * MM
    return fields, fields[-1].bottom


def _names_at_ends(figure: LinesFigure) -> bool:
    return any(plain(line.name) for panel in figure.panels for line in panel.lines)


def _key_places(
    figure: LinesFigure, width: float, size: float, *, narrow: bool
) -> tuple[list[tuple[str, float, tuple[Lettered, ...]]], float]:
    """Kind, left end and lettering of each entry of the key, in rows, and the key's lower end."""
    entries: list[tuple[str, Text]] = []
    if narrow and _names_at_ends(figure):
        entries += [(f"line {at}", line.name) for at, line in enumerate(figure.panels[0].lines)]
    entries += [
        (kind, text)
        for kind, text in (
            ("limits", figure.limits_text),
            ("zero", figure.zero_text),
            ("reference", figure.reference_text if figure.reference is not None else ()),
            ("strip", figure.strip_text if figure.strip else ()),
            ("study", figure.study_text if figure.study else ()),
        )
        if plain(text)
    ]
    places: list[tuple[str, float, tuple[Lettered, ...]]] = []
    x, y, deepest, gap = 0.0, size, 1, 1.35 * size
    for kind, text in entries:
        lines = break_lines(text, width - SAMPLE - 1.6 * MM, size, anywhere=True)
        reach = SAMPLE + 1.6 * MM + max(text_width(plain(line), size) for line in lines)
        if x > 0 and x + reach > width:
            x, y, deepest = 0.0, y + deepest * gap, 1
        letters = tuple(
            Lettered(line, x + SAMPLE + 1.6 * MM, y + at * gap, size) for at, line in enumerate(lines)
        )
        places.append((kind, x, letters))
        x, deepest = x + reach + 5 * MM, max(deepest, len(lines))
    return places, (y + (deepest - 1) * gap + 2.6 * MM) if places else 0.0


# ---- marks ---------------------------------------------------------------------------------------


def _grounds(plate: Plate, figure: LinesFigure, field: Field) -> None:
    """The strip and the line to measure against, under everything else."""
    if figure.strip:
        left, right = (field.x(min(max(end, field.first), field.last)) for end in figure.strip)
        plate.ground((left, field.top, right, field.bottom), plate.palette.haze)
    if figure.reference is not None:
        x = field.x(figure.reference)
        plate.line([x, x], [field.top, field.bottom], plate.palette.clay, 1.0, dashes=CLAY_DASHES)


def _key(plate: Plate, places: Sequence[tuple[str, float, tuple[Lettered, ...]]], size: float) -> None:
    colours = plate.palette
    for kind, x, letters in places:
        y = letters[0].y - 0.33 * size
        ends = [x, x + SAMPLE]
        if kind.startswith("line"):
            width, dashes = STROKES[int(kind.split()[1]) % len(STROKES)]
            plate.line(ends, [y, y], colours.sea, width, dashes=dashes)
        elif kind == "limits":
            plate.line(ends, [y, y], colours.sea, LIMIT, dashes=LIMIT_DASHES)
        elif kind == "zero":
            plate.line(ends, [y, y], colours.ink, 1.0)
        elif kind == "reference":
            plate.line(ends, [y, y], colours.clay, 1.0, dashes=CLAY_DASHES)
        elif kind == "strip":
            plate.ground((x, y - 0.42 * size, x + SAMPLE, y + 0.42 * size), colours.haze)
            plate.line(ends, [y + 0.42 * size] * 2, colours.line, 0.5)
        else:
            _study(plate, (x, x + SAMPLE / 2, x + SAMPLE), y)
        for line in letters:
            plate.write(line)


def _panel(plate: Plate, panel: LinesPanel, field: Field, size: float, *, narrow: bool) -> None:
    """The title, the numbers upward, the lines and, where there is room, their names at their ends."""
    title = break_lines(panel.title, plate.width, size)
    for at, line in enumerate(title):
        y = field.top - (1.3 * (len(title) - at) - 0.45) * size
        plate.write(Lettered(line, 0, y, size, colour="soft"))
    for value in even_ticks(field.low, field.high, about=4):
        y = field.y(value)
        plate.line([field.left - 0.8 * MM, field.left], [y, y], plate.palette.line, 0.5)
        text = tick_words(value, panel.form)
        place = field.left - 1.6 * MM
        plate.write(Lettered(text, place, y + 0.36 * size, size, colour="soft", anchor="end"))
    plate.line([field.left] * 2, [field.top, field.bottom], plate.palette.line, 0.5)
    if panel.zero:
        plate.line([field.left, field.right], [field.y(0)] * 2, plate.palette.ink, 1.0)
    for at, drawn in enumerate(panel.lines):
        x = [field.x(value) for value in drawn.x]
        for part in (drawn.low, drawn.high):
            if part:
                plate.line(x, [field.y(v) for v in part], plate.palette.sea, LIMIT, dashes=LIMIT_DASHES)
        width, dashes = STROKES[at % len(STROKES)]
        plate.line(x, [field.y(value) for value in drawn.y], plate.palette.sea, width, dashes=dashes)
    if not narrow:
        _names(plate, panel, field, size)


def _names(plate: Plate, panel: LinesPanel, field: Field, size: float) -> None:
    """The name of each line beside its end, moved apart where ends stand close."""
    named = sorted((line for line in panel.lines if plain(line.name)), key=lambda line: field.y(line.y[-1]))
    if not named:
        return
    step = 1.2 * size
    texts = [break_lines(line.name, NAMES - 5 * MM, size, anywhere=True) for line in named]
    ends = [field.y(line.y[-1]) for line in named]
    heights, air = [step * len(text) for text in texts], 0.5 * size
    room = field.bottom - field.top + size
    if sum(heights) + air * (len(heights) - 1) > room:  # else they keep clear of the numbers under the axis
        room += size
    middles = spread([end - field.top + size for end in ends], heights, air, room)
    for line, text, middle, end in zip(named, texts, middles, ends, strict=True):
        place, x = middle + field.top - size, field.x(line.x[-1])
        plate.line([x + 0.5 * MM, x + 3.4 * MM], [end, place], plate.palette.line, 0.5)
        for at, words in enumerate(text):
            y = place + (at - (len(text) - 1) / 2) * step + 0.34 * size
            plate.write(Lettered(words, x + 4.2 * MM, y, size))


def _axis(plate: Plate, figure: LinesFigure, field: Field, foot: tuple[Text, ...], size: float) -> None:
    """The axis with its numbers and name; under it what the records show."""
    plate.line([field.left, field.right], [field.bottom] * 2, plate.palette.line, 0.5)
    base = field.bottom + 1.4 * MM + size
    taken = field.left - size
    for value in _along(figure, field):
        letters = Lettered(
            tick_words(value, figure.x_form), field.x(value), base, size, colour="soft", anchor="middle"
        )
        start, _, end, _ = letters.box()
        if start < taken or end > plate.width:
            continue
        taken = end + 0.8 * size
        plate.line([field.x(value)] * 2, [field.bottom, field.bottom + 0.8 * MM], plate.palette.line, 0.5)
        plate.write(letters)
    if figure.study:
        low, value, high = (field.x(part) for part in figure.study)
        base += 4.6 * MM
        _study(plate, (low, value, high), base - 1.2 * MM)
    for at, line in enumerate(foot):
        y = base + 0.8 * MM + (1.3 * at + 1.1) * size
        plate.write(Lettered(line, field.left, y, size, colour="soft"))


def _along(figure: LinesFigure, field: Field) -> tuple[float, ...]:
    """The numbers along the axis; months go by half years, years or more."""
    if figure.x_form != "months_bare":
        return even_ticks(field.first, field.last, about=6)
    step = next((step for step in MONTHS if (field.last - field.first) / step <= 8), MONTHS[-1])
    return tuple(step * at for at in range(math.ceil(field.first / step), int(field.last // step) + 1))


def _study(plate: Plate, ends: tuple[float, float, float], y: float) -> None:
    """An estimate and its interval, lying."""
    low, value, high = ends
    plate.line([low, high], [y, y], plate.palette.sea, 1.5)
    for x in (low, high):
        plate.line([x, x], [y - 0.95 * MM, y + 0.95 * MM], plate.palette.sea, 1.1)
    plate.dot(value, y, 5.4, fill=plate.palette.sea, edge=plate.palette.sea)
