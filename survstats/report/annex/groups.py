"""How does the difference change with the months since training, and between groups of people?"""

from __future__ import annotations

from survstats.report.annex.content import AnnexBlock, AnnexSection
from survstats.report.annex.figures import fading_picture
from survstats.report.annex.tables import (
    Row,
    coded,
    refused,
    section,
    table_rows,
    tabled,
    texts,
    why,
    with_interval,
)
from survstats.report.content import Piece, Text, plain
from survstats.report.head import is_shared
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

MONTHS = (0, 12, 24, 48)
"""Months after the course at which the difference is told, as far as they lie among those observed."""


def recency(results: StudyResults, words: Wording) -> AnnexSection:
    """The difference by months since training, and how fast it fades, or why that cannot be seen."""
    rows: list[Row] = [
        (
            band(words, results, at),
            words.cell(f"recency.{at}.occupants", "count"),
            words.cell(f"recency.{at}.survived", "count"),
            with_interval(words, f"recency.{at}", "points_bare") or words.say("annex.not_estimated"),
        )
        for at in range(len(table_rows(results, "recency")))
    ]
    heads = ("band", "occupants", "survived", "difference")
    keys = ("never", *(("unknown_date",) if _some(results, "recency.unknown_date") else ()), "whom")
    items = texts(words, *(f"annex.recency.{key}" for key in keys))
    table = tabled(words, "recency.bands", heads, rows, numbers=heads[1:], items=items)
    return section(
        words,
        "recency",
        table or refused(words, results, "fading.half_life"),
        fading(results, words) if table else None,
    )


def _some(results: StudyResults, name: str) -> bool:
    """Whether anybody stands under this id."""
    return name in results.numbers and results.numbers[name].value != 0


def band(words: Wording, results: StudyResults, at: int) -> Text:
    """A band of months since the last course."""
    row = table_rows(results, "recency")[at]
    key = "band_open" if row.get("to_months") is None else "band"
    name = f"annex.recency.{key}"
    return words.say(name, row=f"recency.{at}") if words.can_say(name, row=f"recency.{at}") else ()


def fading(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """The curve over the months observed, and the half-life or the honest refusal."""
    picture = fading_picture(results, words)
    found = "fading.half_life" in results.numbers
    dates = ("imputed_dates",) if _some(results, "fading.dates_imputed") else ()
    items = texts(words, *(f"annex.fading.{key}" for key in ("half_life", "observed", *dates, "no_further")))
    if not found:
        items = (why(words, results, "fading.half_life"), *items)
    rows: list[Row] = [
        ((Piece(f"{months}"),), words.cell(f"fading.rd_{months}", "points_with_interval"))
        for months in MONTHS
        if f"fading.rd_{months}" in results.numbers
    ]
    heads = ("months", "difference")
    table = tabled(words, "fading", heads, rows, numbers=heads, picture=picture, items=items)
    return table or AnnexBlock(words.say("annex.fading.title"), (), picture, None, items)


def levels(results: StudyResults, words: Wording) -> AnnexSection:
    """The difference at each level of the modifiers that the study file lists, and how far levels are apart."""
    rows: list[Row] = [
        (
            level(words, row),
            *(words.cell(f"modifiers.{at}.{head}", "count") for head in ("occupants", "trained", "died")),
            with_interval(words, f"modifiers.{at}", "points_bare") or words.say("annex.not_estimated"),
            words.cell(f"modifiers.{at}.shrunken", "points_bare"),
        )
        for at, row in enumerate(table_rows(results, "modifiers"))
    ]
    heads = ("level", "occupants", "trained", "died", "difference", "shrunken")
    alone = ("annex.levels.passengers_only",) if results.lists.get("modifiers.passengers_only") else ()
    items = (*texts(words, *alone), *_left_out(results, words))
    table = tabled(words, "levels.each", heads, rows, numbers=heads[1:], items=items)
    if table is None and is_shared(results):
        return section(words, "levels", AnnexBlock((), words.say("reason.masked")), lead=None)
    if table is None:
        key = "not_asked" if not results.lists.get("plan.modifiers") else "none"
        return section(words, "levels", AnnexBlock((), words.say(f"annex.levels.{key}")), lead=None)
    return section(words, "levels", table, _contrasts(results, words))


def _left_out(results: StudyResults, words: Wording) -> tuple[Text, ...]:
    """Which levels are not shown, and why, in one sentence."""
    told = []
    for entry in results.lists.get("modifiers.left_out", ()):
        if " " not in entry:  # withheld
            told.append(words.name(entry))
            continue
        modifier, *found, reason = entry.split(" ")
        named = (
            plain(level(words, {"modifier": modifier, "level": " ".join(found)}))
            if found
            else words.name(modifier)
        )
        key = f"annex.levels.why_{reason}"
        told.append(f"{named} ({words.template(key) if words.has(key) else reason.replace('_', ' ')})")
    if not told:
        return ()
    listed = Piece(words.listed(told), "modifiers.left_out")
    return ((*words.say("annex.levels.left_out"), Piece(" "), listed, Piece(".")),)


def level(words: Wording, row: dict[str, object], column: str = "level") -> Text:
    """A level of a modifier: "far from an exit", or "role: passengers" where the catalogue has no name of its own."""
    modifier, found = str(row["modifier"]), str(row[column])
    own = f"annex.modifier_level.{modifier}"
    named = coded(words, own, found)
    return named if words.has(f"{own}.{found}") else (Piece(f"{words.name(modifier)}: "), *named)


def _contrasts(results: StudyResults, words: Wording) -> AnnexBlock | None:
    rows: list[Row] = [
        (
            (
                *level(words, row),
                *words.say("annex.levels.against"),
                *level(words, row, "against"),
            ),
            with_interval(words, f"modifier_contrasts.{at}", "points_bare"),
        )
        for at, row in enumerate(table_rows(results, "modifier_contrasts"))
    ]
    return tabled(words, "levels.contrasts", ("pair", "difference"), rows, numbers=("difference",))
