"""What the paper about the records says: what they hold, of whom, and what the checks found."""

from __future__ import annotations

import datetime
from dataclasses import replace

from survstats.report.content import Block, Piece, Section, Text, plain
from survstats.report.head import (
    accepted_rules,
    banners,
    is_shared,
    paper_head,
    paper_words,
    population_filter,
    run_log,
    strong,
)
from survstats.report.lettering import join
from survstats.report.records_content import GapRow, GapsFigure, RecordsContent
from survstats.report.records_tables import findings, ledger, runs, together
from survstats.report.wording import Wording
from survstats.study.results import MASKED, StudyResults


def records_content(results: StudyResults, *, date: datetime.date) -> RecordsContent:
    """The content of the paper about the records.

    Parameters
    ----------
    results : StudyResults
    date : date
        The day printed on the paper.
    """
    words = paper_words(results, date)
    rows = _gap_rows(results, words)
    accepted = accepted_rules(results, words)
    return RecordsContent(
        head=paper_head(results, words, name="paper.records_name", title="paper.records_title"),
        banners=(*banners(results, words), *((accepted,) if accepted else ())),
        question=words.say("about_records.asked"),
        read=_read(results, words),
        answer=words.say(f"about_records.complete{_who(results)}"),
        known=_known(results, words, rows),
        gaps=_gaps(words, tuple(row for row in rows if not _is_whole(row))),
        together=together(results, words),
        ledger=ledger(results, words),
        findings=findings(results, words),
        blocks=tuple(block for block in (_times(results, words), _coders(results, words)) if block),
        pool=_pool(results, words),
        runs=runs(results, words),
        foot=(join(strong(words.say("foot.caution_name")), words.say("caution_records.counts")),),
        provenance=_provenance(results, words),
    )


def _counted(results: StudyResults, name: str) -> bool:
    """Whether anybody stands under this id; a masked count is of somebody."""
    number = results.numbers.get(name)
    return number is not None and number.value != 0


def _who(results: StudyResults) -> str:
    """The ending of a key by who is there: the dead, the living, both or nobody."""
    died, lived = _counted(results, "gaps.died"), _counted(results, "gaps.survived")
    if died and lived:
        return ""
    return "_nobody_lived" if died else "_nobody_died" if lived else "_nobody"


def _read(results: StudyResults, words: Wording) -> Text:
    read = "read_runs" if _has_runs(results) else "read"
    twice = _counted(results, "records.second_source_mishaps")
    return join(
        words.say(f"about_records.{read}"),
        words.say("about_records.second_source") if twice else (),
        words.say("about_records.no_row") if _counted(results, "gaps.no_row") else (),
        population_filter(results, words),
    )


def _known(results: StudyResults, words: Wording, rows: list[GapRow]) -> Section:
    """What the figure shows, and the fields known of everyone, which need no drawing."""
    whole = [row for row in rows if _is_whole(row)]
    withheld = is_shared(results)
    drawn = len(rows) > len(whole)
    items = [words.say("known.needs")]
    if whole:
        names = words.listed([plain(row.name) for row in whole])
        items.append((*words.say("known.everyone"), Piece(f" {names}.")))
    if withheld and rows:
        items.append(words.say("known.not_drawn"))
    lead = "lead_masked" if withheld else "lead_whole"
    if drawn:
        lead = "lead_alone" if _who(results) else "lead"
    return Section(words.say("known.title"), words.say(f"known.{lead}"), tuple(items))


def _is_withheld(results: StudyResults, field: str) -> bool:
    names = [f"gaps.{field}.{part}_{fate}" for part in ("known", "of") for fate in ("died", "survived")]
    return any(results.numbers[name].method == MASKED for name in names if name in results.numbers)


def _gap_rows(results: StudyResults, words: Wording) -> list[GapRow]:
    """What is known, field by field, without the fields whose counts are withheld."""
    rows = (_gap(results, words, field) for field in results.lists["gaps.fields"])
    return [row for row in rows if row]


def _is_whole(row: GapRow) -> bool:
    """Whether the field is known of everyone."""
    return all(counts is None or counts[0] == counts[1] for counts in (row.died, row.survived))


def _gaps(words: Wording, rows: tuple[GapRow, ...]) -> GapsFigure | None:
    """F5; None where nothing is unknown, or nobody is there."""
    if not rows:
        return None
    rows = tuple(
        replace(row, name=(Piece(plain(row.name)[:1].upper() + plain(row.name)[1:]),)) for row in rows
    )
    spoken = [
        piece for row in rows for piece in join(row.name, row.died_text, row.survived_text, (Piece("; "),))
    ]
    return GapsFigure(
        rows, words.say("known.filled"), words.say("known.hatched"), (*words.say("known.alt"), *spoken)
    )


def _gap(results: StudyResults, words: Wording, field: str) -> GapRow | None:
    counts: dict[str, tuple[int, int] | None] = {}
    for fate in ("died", "survived"):
        known, all_ = (results.numbers.get(f"gaps.{field}.{part}_{fate}") for part in ("known", "of"))
        if known is None or all_ is None or not all_.value:
            counts[fate] = None
        elif _is_withheld(results, field):
            return None
        else:
            counts[fate] = (round(known.value), round(all_.value))
    if not any(counts.values()):
        return None
    row = f"gaps.{field}"
    return GapRow(
        name=(Piece(words.name(field)),),
        died=counts["died"],
        survived=counts["survived"],
        died_text=words.say("known.dead", row=row) if counts["died"] else (),
        survived_text=words.say("known.living", row=row) if counts["survived"] else (),
    )


def _times(results: StudyResults, words: Wording) -> Block | None:
    name = words.say("times.name")
    if not _counted(results, "times.given"):
        return Block(name, words.say("times.lead_none"), ())
    given, living = (results.numbers[f"times.{count}"].value for count in ("given", "of_survivors"))
    keys = [
        f"times.{'all_' if results.numbers[f'times.{key}'].value == given and key != 'guesses' else ''}{key}"
        for key in ("points", "bands", "guesses")
        if _counted(results, f"times.{key}") and not words.is_masked(f"times.{key}")
    ]
    if _counted(results, "times.copied_mishaps") and not words.is_masked("times.copied_mishaps"):
        keys.append("times.copied")
    lead = words.say("times.lead_living" if living == given else "times.lead")
    return Block(name, lead, (words.join(*keys),) if keys else ())


def _coders(results: StudyResults, words: Wording) -> Block:
    """How far two coders agree: the codes that are the same, and kappa where there are pairs enough."""
    name = words.say("coders.name")
    fields = [
        field for field in ("survivability", "severity") if _counted(results, f"agreement.{field}_pairs")
    ]
    if not fields:
        return Block(name, words.say("coders.not_double_coded"), ())
    with_figure = any(f"agreement.{field}" in results.numbers for field in fields)
    lead, *rest = (_coded(results, words, field) for field in fields)
    return Block(
        name, lead[0], (*lead[1:], *(text for told in rest for text in told), *_scale(words, with_figure))
    )


def _scale(words: Wording, told: bool) -> tuple[Text, ...]:
    return (words.say("coders.scale"),) if told else ()


def _coded(results: StudyResults, words: Wording, field: str) -> tuple[Text, Text]:
    """Of one field: its figure, or the codes that are the same where there is none; and what else there is to say."""
    row = f"agreement.{field}"
    same = words.say("coders.same", row=row)
    more = words.say("coders.open", row=row) if _counted(results, f"{row}_open") else ()
    if row in results.numbers:
        return join(words.say(f"coders.{field}"), words.say("coders.interval", row=row)), join(same, more)
    return (
        join(words.say(f"coders.{field}_without"), same),
        join(words.say(f"coders.{results.absent[row]}"), more),
    )


def _has_runs(results: StudyResults) -> bool:
    return _counted(results, "runs.runs") and results.numbers["runs.runs"].method != MASKED


def _pool(results: StudyResults, words: Wording) -> Block | None:
    if not _has_runs(results):
        return None
    return Block(words.say("pool.name"), words.say("pool.lead"), (words.join("pool.body", "pool.only"),))


def _provenance(results: StudyResults, words: Wording) -> tuple[Text, ...]:
    keys = ["hashes_shared"] if is_shared(results) else ["records_files"]
    if "training_run_file" in results.provenance:
        keys.append("records_runs_file")
    if "mapping_file" in results.provenance:
        checked = bool(results.texts.get("records.mapping_checked_by"))
        keys += ["records_mapping", "records_checked" if checked else "records_unchecked"]
    return (words.join(*(f"provenance.{key}" for key in keys)), *run_log(results, words))
