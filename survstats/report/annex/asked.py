"""Which question is answered, who is counted, and what is missing of whom?"""

from __future__ import annotations

from survstats.report.annex.content import AnnexBlock, AnnexSection
from survstats.report.annex.tables import coded, said, section, some, table_rows, tabled, texts
from survstats.report.content import Piece
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

STATUSES = ("current", "never", "lapsed", "briefing", "unknown", "all")


def question(results: StudyResults, words: Wording) -> AnnexSection:
    """The question in words: population, contrast, target, weighting, and what is allowed for."""
    codes = [
        f"{part}_{results.codes.get(f'question.{part}', own)}"
        for part, own in (("population", "P1"), ("target", "all"))
    ]
    weighting = f"weighting_{results.codes.get('question.weighting', '')}"
    keys = (codes[0], "contrast", "neither", "outcome", "measure", codes[1], weighting, *_adjusted(results))
    return section(
        words,
        "question",
        AnnexBlock((), (), items=texts(words, *(f"annex.question.{key}" for key in keys))),
    )


def _adjusted(results: StudyResults) -> tuple[str, ...]:
    """What is allowed for; nothing where no model was made."""
    if "effect.rd" not in results.numbers:
        return ()
    gaps = ("gaps",) if results.lists.get("notices.gap_fields") else ()
    return ("adjusted" if results.lists.get("plan.adjusted") else "adjusted_none", *gaps)


def flow(results: StudyResults, words: Wording) -> AnnexSection:
    """From everyone aboard to those compared, by what is known of their training."""
    rows = (
        (
            coded(words, "ledger_step", str(row["step"])),
            *(words.cell(f"flow.{at}.{status}", "count") for status in STATUSES),
        )
        for at, row in enumerate(table_rows(results, "flow"))
    )
    table = tabled(words, "flow.steps", ("step", *STATUSES), rows, numbers=STATUSES)
    return section(words, "flow", table or _ledger(results, words))


def _ledger(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """The steps of the ledger, where they are not told apart by training."""
    heads = ("occupants", "mishaps", "survived", "died")
    rows = (
        (
            coded(words, "ledger_step", str(row["step"])),
            *(words.cell(f"ledger_p1.{at}.{head}", "count") for head in heads),
        )
        for at, row in enumerate(table_rows(results, "ledger_p1"))
    )
    return tabled(words, "flow.ledger", ("step", *heads), rows, numbers=heads)


def missing(results: StudyResults, words: Wording) -> AnnexSection:
    """Of how many of the dead and of the living each field is known."""
    heads = ("known_died", "of_died", "known_survived", "of_survived")
    rows = (
        (
            (Piece(words.name(field)),),
            *(words.cell(f"gaps.{field}.{head}", "count") for head in heads),
        )
        for field in results.lists.get("gaps.fields", ())
    )
    items = texts(words, "annex.missing.complete", "annex.missing.needed", "annex.missing.where")
    table = tabled(words, "missing.fields", ("field", *heads), rows, numbers=heads, items=items)
    return section(words, "missing", table)


def crude(results: StudyResults, words: Wording) -> AnnexSection:
    """Who lived and died by training, with the shares of both kinds, and the difference without adjustment."""
    counts, shares = ("survived", "died", "all"), ("of_row_survived", "of_survivors", "of_dead")
    rows = [
        (
            coded(words, "annex.status", str(row["status"])),
            *(words.cell(f"crude_shares.{at}.{head}", "count") for head in counts),
            *(words.cell(f"crude_shares.{at}.{head}", "percent") for head in shares),
        )
        for at, row in enumerate(table_rows(results, "crude_shares"))
    ]
    heads = ("status", *counts, *shares)
    table = tabled(words, "crude.shares", heads, rows, numbers=heads[1:])
    exact = ("exact", "exact_rd") if results.codes["brief.form"] in ("few_mishaps", "one_mishap") else ()
    perhaps = ("perhaps",) if some(results, "unknown.perhaps") else ()
    return section(words, "crude", table, said(words, "crude.plain", "rd", *exact, "range", *perhaps))
