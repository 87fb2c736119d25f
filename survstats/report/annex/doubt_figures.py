"""Which figures show the doubts, and from which numbers?"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from survstats.report.annex.content import Picture
from survstats.report.annex.tables import coded, table_rows
from survstats.report.choices_figure import ChoiceDot, ChoicesFigure, ChoiceStrip
from survstats.report.one_out_figure import LeftOut, OneOutFigure
from survstats.report.tipping_figure import TippingFigure, TippingMark, TippingPoint
from survstats.report.wording import Wording
from survstats.study.results import StudyResults


def choices_picture(results: StudyResults, words: Wording) -> Picture | None:
    """F10: a strip of dots for each family of choice; None without a main estimate or with nothing to compare."""
    strips: dict[str, list[ChoiceDot | None]] = {}
    for row in table_rows(results, "choices"):
        points = _points(row["difference"])
        dot = None if points is None else ChoiceDot(int(_people(row["number"])), points)
        strips.setdefault(str(row["family"]), []).append(dot)
    if "effect.rd" not in results.numbers or not any(dot for dots in strips.values() for dot in dots):
        return None
    key = "annex.doubts.choices.figure"
    names = ("zero", "main", "worthwhile", "fewer", "more", "counts", "of")
    figure = ChoicesFigure(
        strips=tuple(
            ChoiceStrip(
                family,
                coded(words, "annex.doubts.choices.family", family),
                len(dots),
                tuple(dot for dot in dots if dot is not None),
            )
            for family, dots in strips.items()
        ),
        main=100 * results.numbers["effect.rd"].value,
        worthwhile=100 * results.numbers["plan.smallest_worthwhile"].value,
        alt=words.say(f"{key}.alt"),
        **{f"{name}_text": words.say(f"{key}.{name}") for name in names},
    )
    return Picture("choices", figure)


def tipping_picture(results: StudyResults, words: Wording) -> Picture | None:
    """F11: the difference over the number of unknown dead who had been trained; None where that was not tried."""
    stored = table_rows(results, "tipping")
    points = tuple(
        TippingPoint(_people(row["trained_died"]), *(100 * _people(row[name]) for name in parts))
        for row in sorted(stored, key=lambda row: _people(row["trained_died"]))
        for parts in (("difference", "low", "high"),)
        if None not in row.values()
    )
    drawn = results.numbers.get("tipping.expected")
    if len(points) < 2 or drawn is None or "tipping.unknown_dead" not in results.numbers:
        return None
    key = "annex.doubts.tipping.figure"
    expected = TippingMark(
        drawn.value,
        _height(points, drawn.value),
        words.say(f"{key}.expected"),
        words.cell("tipping.expected", "one_decimal"),
    )
    figure = TippingFigure(
        points=points,
        unknown_dead=results.numbers["tipping.unknown_dead"].value,
        expected=expected,
        not_beyond_chance=_crossing(results, words, "not_beyond_chance", points),
        no_difference=_crossing(results, words, "no_difference", points),
        line_text=words.say(f"{key}.line"),
        limits_text=words.say(f"{key}.limits"),
        x_title=words.say(f"{key}.x"),
        y_title=words.say(f"{key}.y"),
        alt=words.say(f"{key}.alt"),
    )
    return Picture("tipping", figure)


def _crossing(
    results: StudyResults, words: Wording, name: str, points: Sequence[TippingPoint]
) -> TippingMark | None:
    """The first number of people at which a limit, or the line itself, is at no difference or beyond it."""
    number = results.numbers.get(f"tipping.{name}")
    if number is None:
        return None
    text = words.say(f"annex.doubts.tipping.figure.{name}")
    place = 0.0 if name == "not_beyond_chance" else _height(points, number.value)
    return TippingMark(number.value, place, text, words.cell(f"tipping.{name}", "count"))


def _height(points: Sequence[TippingPoint], people: float) -> float:
    """The difference in points on the line through the points, at so many people."""
    for before, after in pairwise(points):
        if before.trained_died <= people <= after.trained_died:
            share = (people - before.trained_died) / (after.trained_died - before.trained_died)
            return before.points + share * (after.points - before.points)
    return points[0].points if people < points[0].trained_died else points[-1].points


def one_out_picture(results: StudyResults, words: Wording) -> Picture | None:
    """F12: the difference and its interval with each mishap left out in turn."""
    left_out = tuple(
        LeftOut(str(row["mishap"]), points, _points(row["low"]), _points(row["high"]))
        for row in table_rows(results, "one_mishap_out")
        if "mishap" in row and (points := _points(row["difference"])) is not None
    )
    if len(left_out) < 2 or "effect.rd" not in results.numbers:
        return None
    key = "annex.one_out.figure"
    some = "" if all(each.low is not None for each in left_out) else "_some"
    figure = OneOutFigure(
        left_out=left_out,
        main=100 * results.numbers["effect.rd"].value,
        marks_text=words.say(f"{key}.marks{some}"),
        main_text=words.say(f"{key}.main"),
        zero_text=words.say(f"{key}.zero"),
        nearest_text=words.say(f"{key}.nearest"),
        x_title=words.say(f"{key}.x"),
        y_title=words.say(f"{key}.y"),
        alt=words.say(f"{key}.alt"),
    )
    return Picture("one_out", figure)


def _points(cell: object) -> float | None:
    """A stored difference in points; None where there is none."""
    return 100 * float(cell) if isinstance(cell, int | float) else None


def _people(cell: object) -> float:
    """A cell that holds a number."""
    assert isinstance(cell, int | float)  # noqa: S101  (the study floor stores numbers there)
    return float(cell)
