"""What the three figures of the board paper show, from the results of a study."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Literal

from survstats.report.content import (
    AxisFigure,
    AxisRow,
    BreakEvenFigure,
    Piece,
    RowKind,
    SeatArm,
    SeatsFigure,
)
from survstats.report.wording import Wording
from survstats.study.results import MASKED, Number, StudyResults

#: Rows of the axis in order: key in the catalogue, id, kind, family (rules part the families).
_ROWS: tuple[tuple[str, str, RowKind, str], ...] = (
    ("main", "effect.rd", "main", "main"),
    ("passengers", "effect.rd_passengers", "other", "who"),
    ("all_aboard", "effect.rd_all_aboard", "other", "who"),
    ("untrained", "effect.rd_untrained", "other", "who"),
    ("imputed", "effect.rd_imputed", "other", "imputed"),
    ("crude", "crude.rd", "unadjusted", "unadjusted"),
)


def seats_figure(words: Wording) -> SeatsFigure:
    """F1: a hundred seats, twice."""
    return SeatsFigure(
        upper=_arm(words, "none", "effect.survival_if_none_trained"),
        lower=_arm(words, "all", "effect.survival_if_all_trained"),
        difference=words.say("seats.difference"),
        difference_interval=words.say("seats.difference_interval"),
        key_full=words.say("seats.full"),
        key_half=words.say("seats.half"),
        key_open=words.say("seats.open"),
        note=words.say("seats.note"),
        alt=words.say("seats.alt"),
    )


def _arm(words: Wording, arm: str, name: str) -> SeatArm:
    number = words.number(name)
    return SeatArm(
        label=words.say(f"seats.{arm}"),
        alive=_seats(number.value),
        low=_seats(number.low),
        high=_seats(number.high),
        alive_text=words.say(f"seats.{arm}_alive"),
        unit_text=words.say("seats.unit"),
        interval_label=words.say("seats.interval_label"),
        low_text=words.say(f"seats.{arm}_low"),
        high_text=words.say(f"seats.{arm}_high"),
    )


def axis_figure(results: StudyResults, words: Wording) -> AxisFigure | None:
    """F2: all estimates on one axis of points; None where there is none."""
    numbers = results.numbers
    rows = [
        _row(words, numbers[name], _key(key, numbers), name, kind, family)
        for key, name, kind, family in _ROWS
        if name in numbers
    ]
    if results.codes["brief.form"] == "few_mishaps" and "crude.rd_exact" in numbers:
        rows.append(
            _row(words, numbers["crude.rd_exact"], "exact", "crude.rd_exact", "unadjusted", "unadjusted")
        )
    if range_told(results) and numbers["unknown.people"].value:
        rows.append(_worst_case(results, words))
    return axis_of(results, words, rows) if rows else None


def _key(key: str, numbers: Mapping[str, Number]) -> str:
    """The imputed row is named by what was drawn: training or, where that is known of everyone, gaps alone."""
    people = numbers.get("imputed.people")
    nobody = people is not None and people.value == 0
    return "imputed_fields" if key == "imputed" and nobody else key


def axis_of(results: StudyResults, words: Wording, rows: Sequence[AxisRow]) -> AxisFigure:
    """An axis of points under these rows, with zero and the smallest worthwhile difference."""
    numbers = results.numbers
    spoken = [piece for row in rows for piece in (*row.name, Piece(" "), *row.shown, Piece("; "))][:-1]
    return AxisFigure(
        rows=tuple(rows),
        worthwhile=100 * numbers["plan.smallest_worthwhile"].value,
        worthwhile_text=words.say("axis.worthwhile"),
        worthwhile_low_tick=words.say("axis.worthwhile_low"),
        worthwhile_high_tick=words.say("axis.worthwhile_high"),
        no_difference_text=words.say("axis.no_difference"),
        fewer_text=words.say("axis.fewer"),
        more_text=words.say("axis.more"),
        alt=(*words.say("axis.alt"), *spoken, Piece(".")),
    )


def _row(words: Wording, number: Number, key: str, name: str, kind: RowKind, family: str) -> AxisRow:
    return AxisRow(
        kind=kind,
        family=family,
        name=words.say(f"axis.{key}"),
        note=words.say(f"axis.{key}_note"),
        value=100 * number.value,
        low=100 * _finite(number.low, -1.0),
        high=100 * _finite(number.high, 1.0),
        outer_low=None,
        outer_high=None,
        shown=(words.slot(name, "points_with_interval"),),
        shown_outer=(),
    )


def range_told(results: StudyResults) -> Literal["unknown", "status", ""]:
    """Which range over the unknown can be told: of all of them, of those of unknown training alone, or none."""
    if "unknown.rd_low" in results.numbers:
        return "unknown"
    masked = results.absent.get("unknown.rd_low") == MASKED
    return "status" if masked and "unknown.status_rd_low" in results.numbers else ""


def _worst_case(results: StudyResults, words: Wording) -> AxisRow:
    """The range over the unknown; with few mishaps without an interval, which would say nothing."""
    key = range_told(results)
    low, high = (
        results.numbers[f"unknown.{'status_' if key == 'status' else ''}rd_{end}"] for end in ("low", "high")
    )
    few = results.codes["brief.form"] in ("few_mishaps", "one_mishap")
    part = "_part" if key == "unknown" and results.codes["unknown.rows"] == "part" else ""
    return AxisRow(
        kind="worst_case",
        family="worst_case",
        name=words.say(f"axis.{key}"),
        note=words.say(f"axis.{key}_note{part}"),
        value=None,
        low=100 * low.value,
        high=100 * high.value,
        outer_low=None if few else 100 * _finite(low.low, -1.0),
        outer_high=None if few else 100 * _finite(high.high, 1.0),
        shown=words.say(f"axis.{key}_range"),
        shown_outer=() if few else words.say(f"axis.{key}_range_outer"),
    )


def break_even_figure(results: StudyResults, words: Wording) -> BreakEvenFigure | None:
    """F3: what the survivor headline would mean for each share of the dead; None where there is no headline."""
    numbers = results.numbers
    if results.codes.get("claim.share") != "some":
        return None
    known = numbers.get("claim.trained_of_known_dead")
    return BreakEvenFigure(
        survivors_trained=round(numbers["seen.trained_survived"].value),
        survivors_untrained=round(numbers["seen.untrained_survived"].value),
        dead=round(numbers["claim.dead"].value),
        break_even=numbers["claim.trained_of_survivors"].value,
        known=None if known is None else known.value,
        unknown_low=numbers["claim.trained_of_dead_least"].value,
        unknown_high=numbers["claim.trained_of_dead_most"].value,
        break_even_text=words.say("break_even.point"),
        known_text=words.say("break_even.known") if known else (),
        unknown_text=words.say("break_even.unknown") if numbers["seen.unknown_died"].value else (),
        above_text=words.say("break_even.above"),
        below_text=words.say("break_even.below"),
        x_title=words.say("break_even.x"),
        y_title=words.say("break_even.y"),
        alt=words.say("break_even.alt"),
    )


def _seats(share: float | None) -> int:
    return math.floor(100 * _finite(share, 0.0) + 0.5)


def _finite(value: float | None, otherwise: float) -> float:
    return otherwise if value is None or not math.isfinite(value) else value
