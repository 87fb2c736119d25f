"""How long between courses, whom first, can the trainer keep up, and what does the risk matrix show of it?"""

from __future__ import annotations

import math
from dataclasses import replace

from survstats.report.annex.content import AnnexBlock, AnnexSection, Picture
from survstats.report.annex.tables import Row, coded, table_rows, texts
from survstats.report.budget.parts import form_of, items, limits, named, options, others, part, table
from survstats.report.content import Text
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

_SHOWN_MONTHS = (6, 12, 18, 24, 30, 36, 48, 60, 72, 96, 120)
"""Intervals that the paper prints besides its own; the table beside it holds more."""


def interval(results: StudyResults, words: Wording, picture: Picture | None) -> AnnexSection | None:
    """The interval that is worth most, how flat it is around it, and the longest one allowed."""
    if "interval" not in results.tables:
        return None
    codes, assumed = results.codes, form_of(results) == "would_have_to"
    finding = codes.get("interval.finding", "")
    keys = ("points", f"assumed_{codes.get('interval.shape') or 'no_value'}") if assumed else (finding,)
    if finding == "inside" and not assumed:
        keys = (_inside(results, words),)
    longest = "longest" if words.can_say("budget.interval.longest") else "no_longest"
    told = () if assumed else (_of_worlds(results), "today_regret")
    keys = (*keys, *told, longest, "beyond")
    flat_told = items(words, "interval", ("flat",) if finding == "inside" and not assumed else ())
    return part(
        words,
        "interval",
        AnnexBlock(
            (), (), picture, None, (*items(words, "interval", keys), *_cover(results, words), *flat_told)
        ),
        _by_months(results, words),
        _steps(results, words),
        lead="lead" if words.has_number("input.value_of_life") else "lead_no_value",
    )


def _inside(results: StudyResults, words: Wording) -> str:
    """Which sentence tells the best interval and how flat worth is around it."""
    flat_to = results.numbers.get("interval.flat_to")
    if flat_to is not None and not math.isfinite(flat_to.value):
        return "inside_open"
    return "inside" if words.can_say("budget.interval.inside") else "inside_best"


def _of_worlds(results: StudyResults) -> str:
    """Which sentence tells what the worlds would choose, one by one: an interval, or most of them none."""
    of_worlds = results.numbers.get("interval.best_of_worlds")
    none = of_worlds is not None and not math.isfinite(of_worlds.value)
    return "of_worlds_none" if none else "of_worlds"


def _cover(results: StudyResults, words: Wording) -> tuple[Text, ...]:
    """Whose people are kept trained while the interval moves: today's, or those of an option where there are none."""
    option = f"policy.{results.codes.get('interval.policy', '')}"
    if option in others(results):
        return texts(words, "budget.interval.cover", row=option)
    return items(words, "interval", ("today_cover",))


def _by_months(results: StudyResults, words: Wording) -> AnnexBlock | None:
    rows: list[Row] = [
        (
            words.cell(f"interval.{at}.months", "count"),
            limits(words, f"interval.{at}", "lives", ("lives_a_year", "lives_low", "lives_high")),
            words.cell(f"interval.{at}.cost_a_year", "money"),
            words.cell(f"interval.{at}.worth", "money"),
            words.cell(f"interval.{at}.regret", "money"),
        )
        for at, row in enumerate(table_rows(results, "interval"))
        if row["months"] in _SHOWN_MONTHS or row.get("own") == "yes"
    ]
    heads = ("months", "lives", "cost", "worth", "regret")
    lead = "interval.table" if any(row[4] for row in rows) else "interval.table_bare"
    return table(words, lead, heads, rows, numbers=heads)


def _steps(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """What each step to a shorter interval buys, where no value of a life is given."""
    if words.has_number("input.value_of_life"):
        return None
    rows: list[Row] = [
        (
            words.cell(f"interval_steps.{at}.from_months", "count"),
            words.cell(f"interval_steps.{at}.to_months", "count"),
            words.cell(f"interval_steps.{at}.lives_more", "lives"),
            words.cell(f"interval_steps.{at}.cost_more", "money"),
            words.cell(f"interval_steps.{at}.cost_per_life", "money"),
        )
        for at in range(len(table_rows(results, "interval_steps")))
    ]
    heads = ("from", "to", "lives", "cost", "life")
    return table(words, "interval.steps", heads, rows, numbers=heads)


# ---- whom first ----------------------------------------------------------------------------------


def whom(results: StudyResults, words: Wording) -> AnnexSection | None:
    """Groups by what a course gains them, with how sure their order is."""
    stored = table_rows(results, "whom_first")
    if not stored:
        return None
    rows: list[Row] = [
        (
            words.cell(f"whom_first.{at}.group", "text"),
            coded(words, "budget.whom.course", str(row.get("course", ""))) if row.get("course") else (),
            words.cell(f"whom_first.{at}.people", "count"),
            words.cell(f"whom_first.{at}.courses", "figure"),
            limits(words, f"whom_first.{at}", "lives", ("gain_lives", "low", "high")),
            words.cell(f"whom_first.{at}.chance_first", "percent"),
            words.cell(f"whom_first.{at}.cost", "money"),
            _chosen(words, row["chosen"]),
        )
        for at, row in enumerate(stored)
    ]
    heads = ("group", "course", "people", "courses", "gain", "chance", "cost", "chosen")
    method = (results.codes.get("whom.method", ""),) if words.has_number("whom.capacity") else ()
    basis = f"basis_{results.codes.get('whom.basis')}"
    if form_of(results) == "would_have_to":
        keys: tuple[str, ...] = ("points", "assumed_alike", "horizon", basis)
    else:
        keys = ("horizon", "capacity", *method, "order", basis)
    notes = items(words, "whom.says", keys)
    found = table(words, "whom.table", heads, rows, numbers=heads[2:7], items=notes)
    return part(words, "whom", replace(found, folded=True) if found else None)


def _chosen(words: Wording, cell: object) -> Text:
    """Whether the plan holds the group; empty where there is no plan."""
    if cell is None or cell == "":
        return ()
    return words.say(f"budget.whom.says.{'yes' if cell in (1, 'yes') else 'no'}")


# ---- the pool and the matrix ---------------------------------------------------------------------


def pool(results: StudyResults, words: Wording) -> AnnexSection | None:
    """Courses due beside courses that can be held, option by option."""
    rows: list[Row] = [
        (
            named(words, option),
            words.cell(f"{option}.demand_a_month", "figure"),
            _state(words, results.codes.get(f"{option}.pool", "")),
            words.cell(f"{option}.overdue_at_start", "count"),
            words.cell(f"{option}.backlog_gone_month", "count"),
            words.cell(f"{option}.overdue_after", "count"),
        )
        for option in options(results)
    ]
    heads = ("option", "demand", "state", "start", "gone", "overdue")
    if not any(row[1] for row in rows):
        return None
    notes = items(words, "pool", ("capacity", "followed", f"overdue_{results.codes.get('pool.overdue')}"))
    notes = notes or (words.say("budget.pool.none"),)
    found = table(words, "pool.table", heads, rows, numbers=(heads[1], *heads[3:]), items=notes)
    return part(words, "pool", replace(found, folded=True) if found else None)


def _state(words: Wording, code: str) -> Text:
    return coded(words, "budget.pool.table", code) if code else ()


def matrix(results: StudyResults, words: Wording) -> AnnexSection | None:
    """One sentence on the risk matrix, and whose matrix it is."""
    if not words.has_number("matrix.unchanged"):
        return None
    source = "own" if results.codes.get("matrix.source") == "study_file" else "standard"
    assumed = ("points",) if form_of(results) == "would_have_to" else ()
    return part(
        words,
        "matrix",
        AnnexBlock((), (), items=items(words, "matrix", ("unchanged", *assumed, "item", "severity", source))),
    )
