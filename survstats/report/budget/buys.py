"""What does each option buy and cost over the years, and what is today's policy worth against no training?"""

from __future__ import annotations

from dataclasses import replace

from survstats.report.annex.content import AnnexBlock, AnnexSection
from survstats.report.annex.tables import Row, coded, some, table_rows
from survstats.report.budget.parts import (
    has_programme,
    is_carried,
    is_if,
    items,
    limits,
    named,
    numbered_texts,
    options,
    others,
    part,
    sentences,
    table,
)
from survstats.report.wording import Wording
from survstats.study.results import StudyResults


def buys(results: StudyResults, words: Wording) -> AnnexSection:
    """Two rates side by side, the harm of the course itself, and the programme as a whole."""
    value = "value" if words.has_number("input.value_of_life") else "no_value"
    lives = "lives_if" if is_if(results) else "lives"
    programme = (lives, "life", "every", "ratio") if is_carried(results) and has_programme(results) else ()
    return part(
        words,
        "buys",
        _years(results, words),
        sentences(words, "buys.programme", *programme, value) if programme else None,
        _training(results, words),
        None if programme else AnnexBlock((), (), items=items(words, "buys.programme", (value,))),
    )


def _years(results: StudyResults, words: Wording) -> AnnexBlock | None:
    rows: list[Row] = [
        (
            named(words, option),
            words.cell(f"{option}.cost_discounted.0", "money_with_interval"),
            words.cell(f"{option}.cost_discounted.1", "money_with_interval"),
            *(
                words.cell(f"{option}.lives_discounted.{rate}", "lives_with_interval")
                if is_carried(results)
                else ()
                for rate in ("0", "1")
            ),
        )
        for option in others(results)
    ]
    heads = ("option", "cost_0", "cost_1", "lives_0", "lives_1")
    if not any(row[1] for row in rows) or not words.can_say("budget.buys.years.lead"):
        return None
    found = table(words, "buys.years", heads, rows, numbers=heads[1:])
    return replace(found, folded=True) if found else None


def _training(results: StudyResults, words: Wording) -> AnnexBlock | None:
    rows: list[Row] = [
        (named(words, option), words.cell(f"{option}.training_deaths_a_year", "lives_with_interval"))
        for option in options(results)
    ]
    if not any(row[1] for row in rows):
        return None
    return table(words, "buys.training", ("option", "deaths"), rows, numbers=("deaths",))


def exposure(results: StudyResults, words: Wording) -> AnnexSection:
    """How often a mishap comes, and why no count of deaths can confirm what the paper says."""
    told = "every_if" if is_if(results) else "every"
    every = ("deaths", told) if is_carried(results) else ()
    keys = ("counted", "between", "none", "at_risk", *every, "count", "rate")
    return part(
        words,
        "exposure",
        AnnexBlock((), (), items=items(words, "exposure", keys)),
        _groups(results, words),
    )


def _groups(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """Who of the records stands behind each group of the study file."""
    rows: list[Row] = [
        (
            words.cell(f"budget_groups.{at}.name", "text"),
            words.cell(f"budget_groups.{at}.aboard", "count"),
            limits(words, f"budget_groups.{at}", "lives", ("at_risk", "at_risk_low", "at_risk_high")),
            words.cell(f"budget_groups.{at}.untrained", "count"),
            words.cell(f"budget_groups.{at}.trained", "count"),
            coded(words, "budget.exposure.borrowed", str(row["borrowed"])),
        )
        for at, row in enumerate(table_rows(results, "budget_groups"))
    ]
    heads = ("group", "aboard", "at_risk", "untrained", "trained", "borrowed")
    none = ("no_group",) if some(results, "budget.no_group") else ()
    notes = items(words, "exposure", none)
    return table(words, "exposure.groups", heads, rows, numbers=heads[1:5], items=notes)


def rival(results: StudyResults, words: Wording) -> AnnexSection | None:
    """Other ways to spend the money; None where the study file names none."""
    rows: list[Row] = []
    for spend in numbered_texts(results, "spend"):
        at = spend.removeprefix("spend.")
        rows.append(
            (
                named(words, spend),
                *(
                    words.cell(f"input.{name}.{at}", form)
                    for name, form in (
                        ("cost_a_year", "money_with_interval"),
                        ("deaths_averted", "share_with_interval"),
                        ("overlap", "share_with_interval"),
                    )
                ),
            )
        )
    heads = ("spend", "cost", "averted", "overlap")
    if not rows:
        return None
    return part(
        words,
        "rival",
        table(words, "rival.table", heads, rows, numbers=heads[1:]),
        AnnexBlock((), (), items=items(words, "rival.says", ("joint",))),
    )
