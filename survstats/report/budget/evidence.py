"""What have others published, what does it come to together, and may it lift the word?"""

from __future__ import annotations

from dataclasses import replace

from survstats.report.annex.content import AnnexBlock, AnnexSection
from survstats.report.annex.tables import (
    Row,
    coded,
    run,
    said,
    section,
    table_rows,
    tabled,
    texts,
    why,
)
from survstats.report.content import Text
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

_PAPER = "budget"
_KEY = "budget.evidence"


def evidence(results: StudyResults, words: Wording) -> AnnexSection | None:
    """The publications of the study file, together and with the own data; None where it names none."""
    if "evidence" not in results.tables:
        return None
    return section(
        words,
        "evidence",
        _listed(results, words),
        _together(results, words),
        _with_own(results, words),
        said(words, "evidence.word", f"lift_{results.codes.get('evidence.lift')}", "rule", paper=_PAPER),
        said(words, "evidence.how", "pooling", "strata", "own", "halves", paper=_PAPER),
        paper=_PAPER,
    )


def _listed(results: StudyResults, words: Wording) -> AnnexBlock | None:
    rows: list[Row] = [
        _row(words, f"evidence.{at}", row) for at, row in enumerate(table_rows(results, "evidence"))
    ]
    heads = ("name", "trained", "untrained", "rr", "bias", "use")
    found = table_rows(results, "evidence")
    keys = [
        *(("survivors",) if any(row["use"] == "survivor_only" for row in found) else ()),
        *(("overlap",) if any(row["use"] in ("other_report", "same_mishaps") for row in found) else ()),
        *(("halved",) if any(row["corrected"] == "yes" for row in found) else ()),
    ]
    items = (
        *(_about(words, f"evidence.{at}") for at in range(len(found))),
        *texts(words, *(f"{_KEY}.listed.{key}" for key in keys)),
    )
    listed = tabled(
        words,
        "evidence.listed",
        heads,
        rows,
        numbers=("trained", "untrained", "rr"),
        items=items,
        paper=_PAPER,
    )
    return replace(listed, folded=True) if listed else None


def _row(words: Wording, row: str, cells: dict[str, object]) -> Row:
    counts = tuple(
        words.say(f"{_KEY}.listed.of", row=f"{row}.{group}") if cells[group] is not None else ()
        for group in ("trained", "untrained")
    )
    ratio: Text = ()
    if cells["use"] == "survivor_only":
        ratio = words.say(f"{_KEY}.listed.range", row=row)
    elif cells["rr"] is not None:
        ratio = words.say(f"{_KEY}.listed.ratio", row=row)
    return (
        words.say(f"{_KEY}.listed.named", row=row),
        *counts,
        ratio,
        coded(words, f"{_KEY}.bias", str(cells["risk_of_bias"])),
        coded(words, f"{_KEY}.use", str(cells["use"])),
    )


def _about(words: Wording, row: str) -> Text:
    """Of whom a publication speaks, what it calls trained, and where it stands."""
    return words.say(f"{_KEY}.listed.about", row=row)


def _together(results: StudyResults, words: Wording) -> AnnexBlock | None:
    if "evidence.rr_death" not in results.numbers:
        return AnnexBlock(
            words.say(f"{_KEY}.together.title"),
            run(words.say(f"{_KEY}.together.not_pooled"), why(words, results, "evidence.rr_death")),
        )
    return said(words, "evidence.together", "ratio", "further", "spread", "unlike", paper=_PAPER)


def _with_own(results: StudyResults, words: Wording) -> AnnexBlock | None:
    if "evidence.posterior" not in results.numbers:
        return AnnexBlock(words.say(f"{_KEY}.own.title"), why(words, results, "evidence.posterior"))
    return said(words, "evidence.own", "own", "posterior", "half", "beside", paper=_PAPER)
