"""How does the difference change with the months since training, and between groups of people?"""

from __future__ import annotations

from dataclasses import replace

from survstats.report.annex.content import AnnexBlock, AnnexSection
from survstats.report.annex.figures import fading_picture
from survstats.report.annex.tables import (
    Row,
    coded,
    named_list,
    refused,
    section,
    some,
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
    keys = ("never", *(("unknown_date",) if some(results, "recency.unknown_date") else ()), "whom")
    items = (*_bands_without(results, words), *texts(words, *(f"annex.recency.{key}" for key in keys)))
    table = tabled(words, "recency.bands", heads, rows, numbers=heads[1:], items=items)
    return section(
        words,
        "recency",
        table or refused(words, results, "fading.half_life"),
        fading(results, words) if table else None,
    )


def _bands_without(results: StudyResults, words: Wording) -> tuple[Text, ...]:
    """Why a band has no estimate: its months, and the reason."""
    bands = range(len(table_rows(results, "recency")))
    ids = {at: f"recency/{at}/difference" for at in bands}
    return tuple(
        (*band(words, results, at), Piece(": "), *why(words, results, ids[at]))
        for at in bands
        if ids[at] in results.absent
    )


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
    dates = ("imputed_dates",) if some(results, "fading.dates_imputed") else ()
    last = ("no_further" if found else "no_further_limits",) if picture else ()
    items = texts(words, *(f"annex.fading.{key}" for key in ("half_life", "observed", *dates, *last)))
    if not found:
        items = (why(words, results, "fading.half_life"), *items)
    column, form = ("difference", "points_with_interval") if found else ("limits", "interval")
    rows: list[Row] = [
        ((Piece(f"{months}"),), words.cell(f"fading.rd_{months}", form))
        for months in MONTHS
        if f"fading.rd_{months}" in results.numbers
    ]
    heads = ("months", column)
    table = tabled(words, "fading", heads, rows, numbers=heads, picture=picture, items=items)
    lead = words.say("annex.fading.lead" if found else "annex.fading.lead_limits")
    if table is None:
        return AnnexBlock(words.say("annex.fading.title"), lead if picture else (), picture, None, items)
    return replace(table, lead=lead)


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
    spread = f"annex.levels.spread_{results.codes.get('modifiers.spread')}"
    items = (*texts(words, spread, *alone), *_moved(results, words), *_left_out(results, words))
    table = tabled(words, "levels.each", heads, rows, numbers=heads[1:], items=items)
    if table is None and is_shared(results):
        return section(words, "levels", AnnexBlock((), words.say("reason.masked")), lead=None)
    if table is None:
        asked = bool(results.lists.get("plan.modifiers"))
        told = _reason(results, words) if asked else words.say("annex.levels.not_asked")
        return section(words, "levels", AnnexBlock((), told), lead=None)
    return section(words, "levels", table, _contrasts(results, words))


def _reason(results: StudyResults, words: Wording) -> Text:
    """Why no kind is told apart, though some are listed."""
    if results.absent.get("modifiers", "one_level") == "one_level":
        return words.say("annex.levels.none")
    return why(words, results, "modifiers")


def _moved(results: StudyResults, words: Wording) -> tuple[Text, ...]:
    """Which modifiers training itself may have moved in these records."""
    name = "modifiers.moved_by_training"
    found = results.lists.get(name, ())
    return (named_list(words, "annex.levels.moved", found, name),) if found else ()


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
        told.append(
            f"{named} ({words.template(key if words.has(key) else 'annex.levels.why_not_estimated')})"
        )
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
