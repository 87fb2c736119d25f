"""Which option is best, what does that hang on, and what would knowing more be worth?"""

from __future__ import annotations

from survstats.report.annex.content import AnnexBlock, AnnexSection, Picture
from survstats.report.annex.tables import Row, coded, table_rows, texts
from survstats.report.budget.parts import (
    direction_of,
    form_of,
    is_carried,
    is_if,
    items,
    option_of,
    options,
    others,
    part,
    table,
)
from survstats.report.content import Piece, Text
from survstats.report.wording import Wording, guidance
from survstats.study.results import StudyResults

_AT = {
    "gain": "whole_percent",
    "survival_untrained": "whole_percent",
    "deaths_per_course": "in_million",
    "injuries_per_course": "in_million",
}
"""In what form a swung figure is told, where it is not a plain one."""
_MOST_VALUES = 8
"""Values of a life that the paper prints; the table beside it holds more."""


def worth(results: StudyResults, words: Wording, picture: Picture | None) -> AnnexSection:
    """The curves of being best, the worth of knowing, and published values for orientation."""
    carried = is_carried(results)
    return part(
        words,
        "worth",
        AnnexBlock((), (), picture, None, _chances(results, words)) if carried else None,
        _knowing(results, words) if carried else None,
        guidance_values(words),
        lead="lead" if carried else "lead_not_carried",
    )


def _chances(results: StudyResults, words: Wording) -> tuple[Text, ...]:
    """The best option at the value given, unless the records show a loss; how often each is; the worth of knowing."""
    best = f"policy.{results.codes.get('policy.best', '')}"
    harm = direction_of(results) == "harm"
    given = not harm and words.can_say("budget.worth.given", row=best) and best in options(results)
    evpi = "evpi_if" if is_if(results) else "evpi"
    return (
        *((words.say("budget.worth.harm"),) if harm else ()),
        *((words.say("budget.worth.given", row=best),) if given else ()),
        *(
            words.say("budget.worth.chance", row=option)
            for option in options(results)
            if words.can_say("budget.worth.chance", row=option)
        ),
        *texts(words, f"budget.worth.{evpi}", "budget.worth.expected"),
    )


def _knowing(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """The worth of knowing everything, at some of the values of a life."""
    stored = range(len(table_rows(results, "evpi")))
    step = max(1, -(-len(stored) // _MOST_VALUES))
    rows: list[Row] = [
        (words.cell(f"evpi.{at}.value_of_life", "money"), words.cell(f"evpi.{at}.evpi", "money"))
        for at in stored[::step]
    ]
    return table(words, "worth.knowing", ("value", "evpi"), rows, numbers=("value", "evpi"))


def guidance_values(words: Wording) -> AnnexBlock | None:
    """Published values of a life with year and source; none is applied."""
    rows: list[Row] = [
        (words.cell(f"{row}.year", "text"), words.cell(f"{row}.value", "text"))
        for row in dict.fromkeys(name.rpartition(".")[0] for name in guidance())
    ]
    notes = items(words, "guidance", ("source", "yours"))
    return table(words, "guidance", ("year", "value"), rows, numbers=("year", "value"), items=notes)


def swings(results: StudyResults, words: Wording, picture: Picture | None) -> AnnexSection | None:
    """One figure at a time, low and high."""
    rows: list[Row] = [
        (
            swung(words, str(row["input"])),
            _span(words, f"swings.{at}", ("low_at", "high_at"), _AT.get(str(row["input"]), "figure")),
            _span(words, f"swings.{at}", ("lives_low", "lives_high"), "lives"),
            _span(words, f"swings.{at}", ("cost_low", "cost_high"), "money"),
        )
        for at, row in swing_rows(results)
    ]
    if not rows:
        return None
    heads = ("input", "at", "lives", "cost")
    assumed = ("points",) if form_of(results) == "would_have_to" else ("together",)
    shown = swung_option(results)
    of = (words.say("budget.swings.of", row=shown),) if words.can_say("budget.swings.of", row=shown) else ()
    return part(
        words,
        "swings",
        AnnexBlock((), (), picture, None, (*items(words, "swings", assumed), *of)),
        table(words, "swings.table", heads, rows, numbers=heads[1:]),
    )


def swing_rows(results: StudyResults) -> list[tuple[int, dict[str, object]]]:
    """The rows of the table of swings with their places; of several options those of the first."""
    stored = list(enumerate(table_rows(results, "swings")))
    if not stored or "policy" not in stored[0][1]:
        return stored
    return [(at, row) for at, row in stored if row["policy"] == stored[0][1]["policy"]]


def swung(words: Wording, name: str) -> Text:
    """What a swung figure is called; of a rival spend, with the spend's name."""
    code, _, of = name.partition(".")
    key = "budget.swing" if words.has(f"budget.swing.{code}") else "input.name"
    told = coded(words, key, code)
    return (*told, Piece(f" ({of})")) if of and not of.isdigit() else told


def _span(words: Wording, row: str, ends: tuple[str, str], form: str) -> Text:
    low, high = (words.cell(f"{row}.{end}", form) for end in ends)
    return (*low, Piece("\u00a0to\u00a0"), *high) if low and high else ()


def swung_option(results: StudyResults) -> str:
    """The option whose figures are swung: the one the table names, else the first that is not today's."""
    stored = swing_rows(results)
    if stored and "policy" in stored[0][1]:
        return option_of(stored[0][1])
    return (others(results) or [""])[0]
