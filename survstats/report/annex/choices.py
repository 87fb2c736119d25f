"""How far does the difference move with choices of our own?"""

from __future__ import annotations

from survstats.report.annex.content import AnnexBlock
from survstats.report.annex.doubt_figures import choices_picture
from survstats.report.annex.tables import Row, numbered, part, table_rows, tabled, texts, with_interval
from survstats.report.content import Piece, Text
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

_DIFFERS = ("population", "exposure", "covariates", "missing", "estimator")


def choices(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """Every listed choice: a strip of dots by family, the counts in words, and each with its figure."""
    stored = table_rows(results, "choices")
    if not stored:
        return part(words, results, "choices", "choices.same_sign", "counts", "no_witnesses")
    rows: list[Row] = []
    for at, row in enumerate(stored):
        told = with_interval(words, f"choices.{at}", "points_bare")
        reason = f"reason.{row['reason']}"
        rows.append(
            (
                numbered(words, f"choices.{at}.number", _what(words, row, stored[0])),
                told or words.say(reason if words.has(reason) else "reason.other"),
            )
        )
    keys = ("counts", "range", "no_witnesses", "listed_before")
    items = texts(words, *(f"annex.doubts.choices.{key}" for key in keys))
    picture, heads = choices_picture(results, words), ("differs", "difference")
    return tabled(words, "doubts.choices", heads, rows, numbers=(), picture=picture, items=items)


def _what(words: Wording, row: dict[str, object], first: dict[str, object]) -> Text:
    """In what a choice differs from the first, the agreed one."""
    parts = [
        words.template(key) if words.has(key) else str(row[name])
        for name in _DIFFERS
        if row[name] != first[name]
        for key in (f"annex.doubts.choices.{name}.{row[name]}",)
    ]
    return (Piece("; ".join(parts)),) if parts else words.say("annex.doubts.choices.as_agreed")
