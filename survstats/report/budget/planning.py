"""How many more mishaps would settle it, what could the next one do, and what must be written down of it?"""

from __future__ import annotations

from survstats.report.annex.content import AnnexBlock, AnnexSection
from survstats.report.annex.tables import Row, coded, named_list, run, section, table_rows, tabled, texts, why
from survstats.report.content import Text
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

_PAPER = "budget"
_KEY = "budget.planning"


def planning(results: StudyResults, words: Wording) -> AnnexSection | None:
    """The numbers of mishaps it takes, what an extreme next one could do, and the list for the next record."""
    if "next_record" not in results.tables:
        return None
    return section(
        words,
        "planning",
        _more(results, words),
        _sizes(results, words),
        _next(results, words),
        _record(results, words),
        paper=_PAPER,
    )


def _more(results: StudyResults, words: Wording) -> AnnexBlock:
    """How many, in sentences; and what no number of mishaps does."""
    if "planning.half_width" not in results.numbers:
        told: tuple[Text, ...] = (why(words, results, "planning.half_width"),)
    else:
        keys = ("now", "settle", "years", "as_estimated", "width")
        told = tuple(line for key in keys for line in _how_many(results, words, key))
    held = results.lists.get("planning.not_by_number", [])
    if held:
        key = f"{_KEY}.more.held"
        told = (*told, named_list(words, key, held, "planning.not_by_number", of="held"))
    return AnnexBlock(words.say(f"{_KEY}.more.title"), words.say(f"{_KEY}.more.lead"), items=told)


_NEEDS = {
    "settle": "planning.mishaps_to_settle",
    "years": "planning.years_to_settle",
    "as_estimated": "planning.mishaps_if_as_estimated",
    "width": "planning.more_for_precision",
}


def _how_many(results: StudyResults, words: Wording, key: str) -> tuple[Text, ...]:
    """One sentence; another, or none of years, where no more mishaps are needed, and the reason where none is known."""
    name = _NEEDS.get(key, "")
    if name in results.absent:
        return () if key == "years" else (why(words, results, name),)
    none = words.has_number(name) and results.numbers[name].value == 0
    return texts(words, f"{_KEY}.more.{key}_none" if none else f"{_KEY}.more.{key}")


def _sizes(results: StudyResults, words: Wording) -> AnnexBlock | None:
    rows: list[Row] = [
        (
            words.cell(f"planning.{at}.mishaps", "count"),
            words.cell(f"planning.{at}.half_width", "points_tenth"),
            words.cell(f"planning.{at}.chance_worthwhile", "percent"),
            words.cell(f"planning.{at}.chance_estimate", "percent"),
        )
        for at, _ in enumerate(table_rows(results, "planning"))
    ]
    heads = ("mishaps", "half_width", "worthwhile", "estimate")
    items = texts(words, f"{_KEY}.sizes.chance")
    return tabled(words, "planning.sizes", heads, rows, numbers=heads, items=items, paper=_PAPER)


def _next(results: StudyResults, words: Wording) -> AnnexBlock:
    """What extreme mishaps would do to the word, for training and against it."""
    title, codes = words.say(f"{_KEY}.next.title"), results.codes
    if codes.get("planning.next") != "tried":
        return AnnexBlock(title, why(words, results, "planning.next_people"))
    told = [words.say(f"{_KEY}.next.best"), words.say(f"{_KEY}.next.worst")]
    for at, side in enumerate(("best", "worst")):
        state = codes.get(f"planning.next_{side}")
        said = [f"{_KEY}.next.{side}_{state}"]
        if state in ("one", "several"):
            word = codes.get(f"planning.next_{side}_word")
            about = codes.get(f"planning.next_{side}_direction")
            said.append(
                f"{_KEY}.next.then_{word}" if word == "cannot_tell" else f"{_KEY}.next.then_{word}_{about}"
            )
        told[at] = run(told[at], *texts(words, *said))
    return AnnexBlock(title, words.say(f"{_KEY}.next.lead"), items=tuple(told))


def _record(results: StudyResults, words: Wording) -> AnnexBlock | None:
    rows: list[Row] = [
        (
            coded(words, f"{_KEY}.field", str(row["field"])),
            words.say(f"{_KEY}.record.of", row=f"next_record.{at}"),
            words.say(f"{_KEY}.record.of_survived", row=f"next_record.{at}"),
        )
        for at, row in enumerate(table_rows(results, "next_record"))
    ]
    heads = ("field", "died", "survived")
    items = texts(words, f"{_KEY}.record.before", f"{_KEY}.record.uneventful")
    return tabled(words, "planning.record", heads, rows, numbers=heads[1:], items=items, paper=_PAPER)
