"""F6: how large is the difference so many months after training, inside the months that were observed?"""

from __future__ import annotations

from dataclasses import dataclass

from survstats.report.content import Text, plain
from survstats.report.drawing_field import Field
from survstats.report.lettering import Lettered, break_lines, text_width
from survstats.report.plate import Plate, lay, nice_ticks, tick_text
from survstats.report.style import MM, SIZES, Paper
from survstats.study.results import Cell

WIDE, NARROW = 170 * MM, 84 * MM
CURVE, LIMIT = 2.8, 0.9
LIMIT_DASHES = (1.6, 2.0)
RUG = 7 * MM
SAMPLE = 8 * MM
STEPS_MONTHS = (1.0, 2.0, 3.0, 6.0, 12.0, 24.0, 60.0, 120.0)


@dataclass(frozen=True)
class CurvePoint:
    """The difference so many months after training, in points, with its limits."""

    months: float
    points: float
    low: float
    high: float


@dataclass(frozen=True)
class BandPoint:
    """One band of months: who is in it, and its own difference where it has one.

    Attributes
    ----------
    from_months, to_months : float, float or None
        None: to the last month observed.
    points, low, high : float or None
        In points; None where the band has no estimate (its people are still counted).
    people_text : Text
        How many people.
    """

    from_months: float
    to_months: float | None
    points: float | None
    low: float | None
    high: float | None
    people_text: Text


@dataclass(frozen=True)
class FadingFigure:
    """F6: a curve over the observed months, a mark for each band, a rug of people.

    Attributes
    ----------
    curve : tuple of CurvePoint
        Rising in months, from the first to the last month observed; nothing is drawn beyond.
    bands : tuple of BandPoint
    rug : tuple of (float, int)
        First month of each step, and how many people's last course lay in it.
    rug_step : float
        Months in a step.
    curve_text, limits_text, bands_text, zero_text, rug_text : Text
        The key; an empty ``curve_text`` draws the limits without the curve.
    people_text : Text
        What the numbers over the field count.
    x_title, y_title : Text
    alt : Text
    """

    curve: tuple[CurvePoint, ...]
    bands: tuple[BandPoint, ...]
    rug: tuple[tuple[float, int], ...]
    rug_step: float
    curve_text: Text
    limits_text: Text
    bands_text: Text
    zero_text: Text
    rug_text: Text
    people_text: Text
    x_title: Text
    y_title: Text
    alt: Text


def draw_fading(figure: FadingFigure, *, narrow: bool = False, paper: Paper = "white") -> str:
    """F6 as an SVG.

    Parameters
    ----------
    figure : FadingFigure
    narrow : bool
        For phones: larger lettering, the key one line below the other.
    paper : {"white", "tone"}
    """
    plate = plan_fading(figure, narrow=narrow, paper=paper)
    key = "fading-narrow" if narrow else "fading"
    return plate.svg(
        key=key, title=plain(figure.curve_text or figure.limits_text), description=plain(figure.alt)
    )


def plan_fading(figure: FadingFigure, *, narrow: bool = False, paper: Paper = "white") -> Plate:
    """The drawn F6, before it is written as SVG (its lettering can be inspected)."""
    size = SIZES.narrow_note if narrow else SIZES.label
    width = NARROW if narrow else WIDE
    places, under_key = _key_places(figure, width, size)
    title = break_lines(figure.y_title, width, size)
    top = under_key + len(title) * 1.3 * size + 3.0 * MM + 1.4 * size
    height = (52 if narrow else 47) * MM
    field = _field(figure, top, top + height, width, size)
    foot = break_lines(figure.x_title, width - field.left, size)
    plate = lay(width, field.bottom + RUG + 3 * MM + (2.2 + 1.25 * len(foot)) * size, paper)
    _key(plate, places, size)
    for index, line in enumerate(title):
        plate.write(Lettered(line, 0, under_key + (index + 0.9) * 1.3 * size, size, colour="soft"))
    _people(plate, figure, field, size)
    _axes(plate, field, foot, size)
    _marks(plate, figure, field)
    _rug(plate, figure, field)
    return plate


def fading_data(figure: FadingFigure) -> tuple[tuple[str, ...], list[tuple[Cell, ...]]]:
    """What F6 shows, as a table: names of the columns and rows."""
    header = ("kind", "from_months", "to_months", "people", "value_points", "low_points", "high_points")
    rows: list[tuple[Cell, ...]] = [
        (
            "curve" if figure.curve_text else "limits",
            *(point.months, point.months, None),
            *(point.points if figure.curve_text else None, point.low, point.high),
        )
        for point in figure.curve
    ]
    rows += [
        ("band", band.from_months, band.to_months, plain(band.people_text), band.points, band.low, band.high)
        for band in figure.bands
    ]
    rows += [
        ("people", month, month + figure.rug_step, people, None, None, None) for month, people in figure.rug
    ]
    return header, rows


def _field(figure: FadingFigure, top: float, bottom: float, width: float, size: float) -> Field:
    """The field that holds every limit and zero, as wide as the observed months."""
    ends = [0.0]
    for point in figure.curve:
        ends += [point.low, point.high, *([point.points] if figure.curve_text else [])]
    for band in figure.bands:
        ends += [end for end in (band.points, band.low, band.high) if end is not None]
    air = 0.05 * max(max(ends) - min(ends), 1.0)
    low, high = min(ends) - air, max(ends) + air
    left = 1.6 * MM + max(
        text_width(plain(tick_text(value)), size) for value in nice_ticks(low, high, about=6)
    )
    return Field(
        left + 1 * MM, top, width - 3 * MM, bottom, figure.curve[0].months, figure.curve[-1].months, low, high
    )


def _key_rows(figure: FadingFigure) -> tuple[tuple[str, Text], ...]:
    rows = (
        ("curve", figure.curve_text),
        ("limits", figure.limits_text),
        ("band", figure.bands_text),
        ("zero", figure.zero_text),
        ("rug", figure.rug_text),
        ("people", figure.people_text),
    )
    return tuple(
        (kind, text)
        for kind, text in rows
        if plain(text) and (figure.bands or kind not in {"band", "people"})
    )


def _key_places(
    figure: FadingFigure, width: float, size: float
) -> tuple[list[tuple[str, float, tuple[Lettered, ...]]], float]:
    """Kind, left end and lettering of each entry of the key, in as many rows as they need, and the key's lower end."""
    places: list[tuple[str, float, tuple[Lettered, ...]]] = []
    x, y, deepest, gap = 0.0, 1.0 * size, 1, 1.3 * size
    for kind, text in _key_rows(figure):
        lines = break_lines(text, width - SAMPLE - 1.6 * MM, size)
        reach = SAMPLE + 1.6 * MM + max(text_width(plain(line), size) for line in lines)
        if x > 0 and x + reach > width:
            x, y, deepest = 0.0, y + deepest * gap, 1
        letters = tuple(
            Lettered(line, x + SAMPLE + 1.6 * MM, y + index * gap, size) for index, line in enumerate(lines)
        )
        places.append((kind, x, letters))
        x, deepest = x + reach + 5 * MM, max(deepest, len(lines))
    return places, y + (deepest - 1) * gap + 2.2 * MM


def _key(plate: Plate, places: list[tuple[str, float, tuple[Lettered, ...]]], size: float) -> None:
    """What each mark means, beside a piece of it."""
    sea, ink = plate.palette.sea, plate.palette.ink
    for kind, x, letters in places:
        y = letters[0].y - 0.33 * size
        if kind == "curve":
            plate.line([x, x + SAMPLE], [y, y], sea, CURVE)
        elif kind == "limits":
            plate.line([x, x + SAMPLE], [y, y], sea, LIMIT, dashes=LIMIT_DASHES)
        elif kind == "band":
            _dot(plate, x + SAMPLE / 2, (y - 1.5 * MM, y, y + 1.5 * MM))
        elif kind == "zero":
            plate.line([x, x + SAMPLE], [y, y], ink, 1.0)
        elif kind == "rug":
            for step, share in enumerate((0.5, 1.0, 0.7)):
                middle = x + SAMPLE / 2 + (step - 1) * 1.8 * MM
                plate.ground(
                    (middle - 0.6 * MM, y + 1.1 * MM - 2.4 * MM * share, middle + 0.6 * MM, y + 1.1 * MM), sea
                )
        else:
            _bracket(plate, x, x + SAMPLE, y)
        for line in letters:
            plate.write(line)


def _dot(plate: Plate, x: float, ys: tuple[float, float, float]) -> None:
    """An estimate with its limits, upright; the ring is filled with paper so that the curve is not taken for it."""
    upper, middle, lower = ys
    plate.line([x, x], [upper, lower], plate.palette.sea, 1.2)
    for end in (upper, lower):
        plate.line([x - 0.8 * MM, x + 0.8 * MM], [end, end], plate.palette.sea, 1.1)
    plate.dot(x, middle, 5.4, fill=plate.palette.paper, edge=plate.palette.sea)


def _bracket(plate: Plate, left: float, right: float, y: float) -> None:
    plate.line([left, left, right, right], [y + 0.9 * MM, y, y, y + 0.9 * MM], plate.palette.line, 0.7)


def _spans(figure: FadingFigure, field: Field) -> list[tuple[BandPoint, float, float]]:
    """Each band with the part of it that was observed, in months; those outside are left out."""
    spans = []
    for band in figure.bands:
        start = max(band.from_months, field.first)
        end = field.last if band.to_months is None else min(band.to_months, field.last)
        if start < end:
            spans.append((band, start, end))
    return spans


def _people(plate: Plate, figure: FadingFigure, field: Field, size: float) -> None:
    """A bracket over each band with its people; a number that would touch the one before is left to the table."""
    level, taken = field.top - 2.0 * MM, -1.0
    for band, start, end in _spans(figure, field):
        left, right = field.x(start) + 0.4 * MM, field.x(end) - 0.4 * MM
        _bracket(plate, left, right, level)
        line = Lettered(band.people_text, (left + right) / 2, level - 1.0 * MM, size, anchor="middle")
        box = line.box()
        if box[0] > taken and box[0] >= 0 and box[2] <= plate.width:
            plate.write(line)
            taken = box[2] + 1.0 * MM


def _axes(plate: Plate, field: Field, foot: tuple[Text, ...], size: float) -> None:
    """Zero, both axes, their numbers and the name of the months."""
    colours = plate.palette
    floor = field.bottom + RUG
    plate.line([field.left, field.right], [field.y(0)] * 2, colours.ink, 1.0)
    plate.line([field.left, field.left], [field.top, field.bottom], colours.line, 0.5)
    plate.line([field.left, field.right], [floor, floor], colours.line, 0.5)
    for value in nice_ticks(field.low, field.high, about=6):
        y = field.y(value)
        plate.line([field.left - 0.8 * MM, field.left], [y, y], colours.line, 0.5)
        plate.write(
            Lettered(
                tick_text(value), field.left - 1.4 * MM, y + 0.35 * size, size, colour="soft", anchor="end"
            )
        )
    for months in _month_ticks(field):
        x = field.x(months)
        plate.line([x, x], [floor, floor + 0.8 * MM], colours.line, 0.5)
        letters = Lettered(
            tick_text(months), x, floor + 1.2 * MM + size, size, colour="soft", anchor="middle"
        )
        plate.write(letters)
    for index, line in enumerate(foot):
        y = floor + 2.0 * MM + (2.1 + 1.25 * index) * size
        plate.write(Lettered(line, (field.left + field.right) / 2, y, size, colour="soft", anchor="middle"))


def _month_ticks(field: Field) -> tuple[float, ...]:
    """Whole months inside the observed ones, at most seven: every year where that is enough."""
    span = field.last - field.first
    step = next((step for step in STEPS_MONTHS if span / step <= 6.5), span)
    ticks, month = [], 0.0
    while month <= field.last:
        if month >= field.first:
            ticks.append(month)
        month += step
    return tuple(ticks)


def _marks(plate: Plate, figure: FadingFigure, field: Field) -> None:
    """The limits, the curve, and each band's own estimate."""
    sea = plate.palette.sea
    at = [field.x(point.months) for point in figure.curve]
    for values in ([p.low for p in figure.curve], [p.high for p in figure.curve]):
        plate.line(at, [field.y(value) for value in values], sea, LIMIT, dashes=LIMIT_DASHES)
    if figure.curve_text:
        plate.line(at, [field.y(point.points) for point in figure.curve], sea, CURVE)
    for band, start, end in _spans(figure, field):
        if band.points is not None and band.low is not None and band.high is not None:
            x = field.x((start + end) / 2)
            _dot(plate, x, (field.y(band.high), field.y(band.points), field.y(band.low)))


def _rug(plate: Plate, figure: FadingFigure, field: Field) -> None:
    """How many people's last course lay so many months back, as bars on the axis."""
    floor = field.bottom + RUG
    most = max((people for _, people in figure.rug), default=1)
    for month, people in figure.rug:
        left = max(field.x(month), field.left) + 0.2 * MM
        right = min(field.x(month + figure.rug_step), field.right) - 0.2 * MM
        if people > 0 and left < right:
            plate.ground((left, floor - people / most * (RUG - 1.6 * MM), right, floor), plate.palette.sea)
