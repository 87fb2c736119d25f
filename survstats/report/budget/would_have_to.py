"""What would have to be true for an option to be the better one?"""

from __future__ import annotations

from dataclasses import replace

from survstats.report.annex.content import AnnexBlock, AnnexSection, Picture
from survstats.report.annex.tables import Row, table_rows
from survstats.report.budget.parts import (
    has_programme,
    is_carried,
    is_today,
    items,
    limits,
    named,
    option_of,
    others,
    part,
    table,
    with_limits,
)
from survstats.report.content import Piece, Text
from survstats.report.lettering import join
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

_PER_LIFE = ("bought", "freed")


def have_to(results: StudyResults, words: Wording, picture: Picture | None) -> AnnexSection:
    """The table by assumed points, the break-evens, and what the records show beside them."""
    study = "study" if words.can_say("budget.have_to.study") else "study_none"
    notes = items(words, "have_to", ("points_note", study, "cut"))
    return part(
        words,
        "have_to",
        AnnexBlock((), (), picture, None, notes) if notes or picture else None,
        _by_points(results, words),
        _programme(results, words),
        _even(results, words),
    )


def _by_points(results: StudyResults, words: Wording) -> AnnexBlock | None:
    rows: list[Row] = [
        (named(words, option_of(row)), *_assumed(words, at, row))
        for at, row in enumerate(table_rows(results, "budget_if"))
        if not is_today(results, option_of(row))
    ]
    heads = ("option", "points", "lives", "life")
    return table(words, "have_to.table", heads, rows, numbers=heads[1:3])


def _programme(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """The same of today's policy, against nobody being trained; None where nobody is trained today."""
    if not has_programme(results):
        return None
    rows: list[Row] = [
        _assumed(words, at, row)
        for at, row in enumerate(table_rows(results, "budget_if"))
        if is_today(results, option_of(row))
    ]
    heads = ("points", "lives", "life")
    return table(words, "have_to.programme", heads, rows, numbers=("lives",))


def _assumed(words: Wording, at: int, row: dict[str, object]) -> Row:
    """Points that are assumed, lives if they hold, money for a life."""
    return (
        _points(words, at, row),
        limits(words, f"budget_if.{at}", "lives", ("lives_a_year", "lives_low", "lives_high")),
        _life(words, at, str(row["form"])),
    )


def _points(words: Wording, at: int, row: dict[str, object]) -> Text:
    """So many points; the records' own estimate is named as such and rounded as it is on page 1."""
    own = row.get("points_from") == "estimate"
    told = words.cell(f"budget_if.{at}.points", "points_bare" if own else "points_exact_bare")
    return (*told, Piece(" "), *words.say("budget.have_to.table.estimate")) if own else told


def _life(words: Wording, at: int, form: str) -> Text:
    """Money for each life or freed for each one given up, or in words that there is no such ratio."""
    key = f"budget.have_to.table.form_{form}"
    told = words.say(key) if words.has(key) else ()
    amount = _amount(words, f"budget_if.{at}")
    if form in _PER_LIFE:
        return (*amount, Piece(" "), *told) if amount else ()
    return told


def _amount(words: Wording, row: str) -> Text:
    """Money with its limits, in words where there is no upper one."""
    value, low, high = (
        words.cell(f"{row}.{name}", "money") for name in ("cost_per_life", "cost_low", "cost_high")
    )
    if not value or not (low or high):
        return value
    return with_limits(value, low or words.say("budget.no_limit"), high or words.say("budget.no_limit"))


def _even(results: StudyResults, words: Wording) -> AnnexBlock | None:
    rows: list[Row] = [
        (
            named(words, option),
            _worth_it(results, words, f"{option}.break_even_value", "money"),
            _worth_it(results, words, f"{option}.break_even_points", "points_tenth"),
            _worth_it(results, words, f"{option}.break_even_mishaps", "figure"),
        )
        for option in others(results)
    ]
    heads = ("option", "value", "points", "mishaps")
    if not any(any(row[1:]) for row in rows):
        return None
    given = words.has_number("input.value_of_life")
    alike = ("items_alike",) if given and is_carried(results) else ()
    notes = items(words, "have_to.even", ("items_points" if given else "items_no_value", *alike))
    found = table(words, "have_to.even", heads, rows, numbers=heads[1:], items=notes)
    if found is None or is_carried(results):
        return found
    assumed = items(words, "have_to.even", ("assumed" if given else "assumed_no_value",))
    return replace(found, lead=join(*assumed, found.lead))


def _worth_it(results: StudyResults, words: Wording, name: str, form: str) -> Text:
    """Above or below which figure the option is worth it; in words where it always or never is."""
    key = "budget.have_to.even"
    if words.has_number(name):
        side = f"{key}.{results.codes.get(f'{name}_form')}"
        return (*(words.say(side) if words.has(side) else ()), Piece(" "), words.slot(name, form))
    reason = f"{key}.{results.absent.get(name)}"
    return words.say(reason) if words.has(reason) else ()
