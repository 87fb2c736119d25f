"""Which figures does the budget paper draw, and from which numbers?"""

from __future__ import annotations

from survstats.report.annex.content import Picture
from survstats.report.annex.tables import as_number, table_rows
from survstats.report.budget.parts import is_today, named, option_of
from survstats.report.budget.worth import swing_rows, swung, swung_option
from survstats.report.content import Text
from survstats.report.lines_content import DrawnLine, LinesFigure, LinesPanel
from survstats.report.swings_figure import SwingRow, SwingsFigure
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

_MOST_SWINGS = 10
_DRAWN_MONTHS = (12, 96)
"""Intervals that are drawn; shorter ones cost so much that they would flatten the rest."""
Rows = list[tuple[int, dict[str, object]]]


def have_to_picture(results: StudyResults, words: Wording) -> Picture | None:
    """Lives of each option against today's policy over the points that are assumed."""
    key = "budget.have_to.figure"
    lines = tuple(
        line
        for option, rows in _by_option(results, "budget_if").items()
        if not is_today(results, option)
        for line in _line(words, rows, "points", ("lives_a_year",), 100.0)
    )
    if not lines:
        return None
    shown = results.numbers.get("effect.rd")
    study = None
    if shown is not None and shown.low is not None and shown.high is not None:
        study = (100 * shown.low, 100 * shown.value, 100 * shown.high)
    figure = LinesFigure(
        key="would-have-to",
        panels=(LinesPanel(words.say(f"{key}.y"), lines, "lives", zero=True),),
        x_form="one_decimal",
        x_title=words.say(f"{key}.x"),
        alt=words.say(f"{key}.alt"),
        study=study,
        study_text=words.say(f"{key}.study"),
        zero_text=words.say(f"{key}.zero"),
    )
    return Picture("would_have_to", figure)


def _by_option(results: StudyResults, name: str) -> dict[str, Rows]:
    """The rows of a table with their places, by the option they are of."""
    found: dict[str, Rows] = {}
    for at, row in enumerate(table_rows(results, name)):
        found.setdefault(option_of(row), []).append((at, row))
    return found


def _line(
    words: Wording, rows: Rows, across: str, upward: tuple[str, ...], times: float = 1.0
) -> tuple[DrawnLine, ...]:
    """The line of one option; none where it has less than two points."""
    kept = [(at, row) for at, row in rows if all(row[name] is not None for name in (across, *upward))]
    if len(kept) < 2:
        return ()
    kept.sort(key=lambda each: as_number(each[1][across]))
    columns = [tuple(as_number(row[name]) for _, row in kept) for name in upward]
    return (
        DrawnLine(
            named(words, option_of(kept[0][1])),
            tuple(times * as_number(row[across]) for _, row in kept),
            columns[0],
        ),
    )


def interval_picture(results: StudyResults, words: Wording) -> Picture | None:
    """Lives over the months between courses, with worth and regret where a value of a life is given, else with cost."""
    key, rows = (
        "budget.interval.figure",
        [
            row
            for row in table_rows(results, "interval")
            if _DRAWN_MONTHS[0] <= as_number(row["months"]) <= _DRAWN_MONTHS[1]
        ],
    )
    lives = _track(rows, ("lives_a_year", "lives_low", "lives_high"))
    cost, worth, regret = (_track(rows, (name,)) for name in ("cost_a_year", "worth", "regret"))
    if not (lives and cost):
        return None
    panels = [LinesPanel(words.say(f"{key}.lives"), lives, "lives", zero=True)]
    if worth and regret:
        panels.append(LinesPanel(words.say(f"{key}.worth"), worth, "money", zero=True))
        panels.append(LinesPanel(words.say(f"{key}.regret"), regret, "money"))
    else:
        panels.append(LinesPanel(words.say(f"{key}.cost"), cost, "money"))
    flat = [results.numbers.get(f"interval.flat_{end}") for end in ("from", "to")]
    longest = results.numbers.get("decision.longest_months")
    figure = LinesFigure(
        key="interval",
        panels=tuple(panels),
        x_form="months_bare",
        x_title=words.say(f"{key}.x"),
        alt=words.say(f"{key}.alt"),
        reference=longest.value if longest else None,
        reference_text=words.say(f"{key}.longest"),
        strip=(flat[0].value, flat[1].value) if flat[0] and flat[1] else None,
        strip_text=words.say(f"{key}.flat"),
        limits_text=words.say(f"{key}.limits"),
    )
    return Picture("interval", figure)


def _track(rows: list[dict[str, object]], upward: tuple[str, ...]) -> tuple[DrawnLine, ...]:
    """One unnamed line over the months; none where it has less than two points."""
    kept = [row for row in rows if all(row[name] is not None for name in upward)]
    if len(kept) < 2:
        return ()
    months = tuple(as_number(row["months"]) for row in kept)
    values, *ends = (tuple(as_number(row[name]) for row in kept) for name in upward)
    low, high = ends or ((), ())
    return (DrawnLine((), months, values, low, high),)


def best_picture(results: StudyResults, words: Wording) -> Picture | None:
    """How often each option is the best one, over the value of a life."""
    key = "budget.worth.figure"
    lines = tuple(
        line
        for rows in _by_option(results, "acceptability").values()
        for line in _line(words, rows, "value_of_life", ("chance",))
    )
    if not lines:
        return None
    given = results.numbers.get("input.value_of_life")
    figure = LinesFigure(
        key="best-option",
        panels=(LinesPanel(words.say(f"{key}.y"), lines, "whole_percent"),),
        x_form="money",
        x_title=words.say(f"{key}.x"),
        alt=words.say(f"{key}.alt"),
        reference=given.value if given else None,
        reference_text=words.say(f"{key}.given"),
    )
    return Picture("best_option", figure)


def swings_picture(results: StudyResults, words: Wording) -> Picture | None:
    """The lives of an option with one figure at a time low and high, in the order of the table: the widest first."""
    key = "budget.swings.figure"
    rows = [
        SwingRow(swung(words, str(row["input"])), as_number(row["lives_low"]), as_number(row["lives_high"]))
        for _, row in swing_rows(results)
        if None not in (row["lives_low"], row["lives_high"])
    ]
    if not rows:
        return None
    option = swung_option(results)
    figure = SwingsFigure(
        rows=tuple(rows[:_MOST_SWINGS]),
        middle=None,
        low_text=words.say(f"{key}.low"),
        high_text=words.say(f"{key}.high"),
        zero_text=words.say(f"{key}.zero"),
        x_title=_title(words, option),
        alt=words.say(f"{key}.alt"),
    )
    return Picture("swings", figure)


def _title(words: Wording, option: str) -> Text:
    key = "budget.swings.figure.x"
    return (
        words.say(key, row=option) if option and words.can_say(key, row=option) else words.say(f"{key}_plain")
    )
