"""Which tables stand in the paper about the records?"""

from __future__ import annotations

from dataclasses import replace

from survstats.report.content import Piece, Text, plain
from survstats.report.head import is_shared
from survstats.report.lettering import join
from survstats.report.records_content import TableSection
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

_COMBINATIONS = 5
"""Combinations of gaps that are printed; the table beside the paper holds more."""
_NAMES_FIELDS = ("R44",)
"""Rules about whole fields, whose names are what there is to know."""
_FIELDS = 6


def together(results: StudyResults, words: Wording) -> TableSection | None:
    """The most frequent combinations of gaps; None where there is none."""
    table = results.tables["missing_together"]
    fields = table.columns.index("fields")
    gaps = [(at, str(row[fields]).split()) for at, row in enumerate(table.rows) if row[fields]]
    rows = tuple(
        (
            (Piece(words.names(names), f"missing_together.{at}.fields"),),
            words.cell(f"missing_together.{at}.died", "count"),
            words.cell(f"missing_together.{at}.survived", "count"),
        )
        for at, names in gaps[:_COMBINATIONS]
    )
    if not rows:
        return None
    heads = ("fields", "died", "survived")
    section = table_section(words, "together", heads, rows, numbers=heads[1:])
    return replace(section, lead=words.say("together.lead_shared")) if is_shared(results) else section


def ledger(results: StudyResults, words: Wording) -> TableSection:
    """From everyone aboard to those compared, without the steps at which nobody is left out."""
    heads = ("step", "occupants", "mishaps", "survived", "died")
    table = results.tables["ledger_p1"]
    step, people = table.columns.index("step"), table.columns.index("occupants")
    rows = tuple(
        (
            words.say(f"ledger_step.{row[step]}"),
            *(words.cell(f"ledger_p1.{at}.{name}", "count") for name in heads[1:]),
        )
        for at, row in enumerate(table.rows)
        if row[people] != 0 or row[step] in ("aboard", "in_population", "analysed")
    )
    return table_section(words, "ledger", heads, rows, numbers=heads[1:])


def findings(results: StudyResults, words: Wording) -> TableSection:
    """Each rule that applied, with what to do or why it is let stand."""
    table, accepted = results.tables["findings_by_rule"], results.tables["accepted"]
    severity, rule = table.columns.index("severity"), table.columns.index("rule")
    reasons = {row[accepted.columns.index("rule")]: at for at, row in enumerate(accepted.rows)}
    rows = []
    for at, found in enumerate(table.rows):
        row = f"findings_by_rule.{at}"
        remedy = words.cell(f"{row}.remedy", "text")
        if found[severity] == "accepted" and found[rule] in reasons:
            remedy = words.say("found.let_stand", row=f"accepted.{reasons[found[rule]]}")
        code, title = words.cell(f"{row}.rule", "text"), words.cell(f"{row}.title", "text")
        if found[rule] in _NAMES_FIELDS and fields_of(str(found[rule]), results):
            title = join(
                words.say("found.about_fields", row=row), _some(fields_of(str(found[rule]), results), words)
            )
        rows.append(
            (
                code,
                words.cell(f"{row}.severity", "code"),
                title,
                () if is_shared(results) else words.cell(f"{row}.findings", "count"),
                remedy,
            )
        )
    section = table_section(
        words,
        "found",
        ("rule", "severity", "about", "findings", "remedy"),
        tuple(rows),
        numbers=("findings",),
    )
    return section if rows else TableSection(section.title, words.say("found.none"), (), (), ())


def fields_of(rule: str, results: StudyResults) -> list[str]:
    """The fields that the findings of a rule are about, each once; none where they are not told."""
    table = results.tables["findings"]
    if "field" not in table.columns:
        return []
    field = table.columns.index("field")
    return list(dict.fromkeys(str(row[field]) for row in table.rows if row[0] == rule and row[field]))


def _some(fields: list[str], words: Wording) -> Text:
    """The first few fields, as their columns are called."""
    names = fields[:_FIELDS]
    if len(fields) <= _FIELDS:
        return (Piece(words.listed(names)),)
    return (Piece(f"{', '.join(names)} {words.template('found.and_more')}"),)


def runs(results: StudyResults, words: Wording) -> TableSection | None:
    """Trainer runs by exercise; None where there are none."""
    heads = ("posture", "cross_cabin", "light", "runs", "people", "passed", "timed", "time")
    table = results.tables.get("runs")
    if table is None or not table.rows:
        return None
    rows = tuple(
        (
            *(words.cell(f"runs.{at}.{name}", "code") for name in heads[:3]),
            *(words.cell(f"runs.{at}.{name}", "count") for name in heads[3:7]),
            _time(words, f"runs.{at}"),
        )
        for at in range(len(table.rows))
    )
    return table_section(words, "exercises", heads, rows, numbers=heads[3:])


def _time(words: Wording, row: str) -> Text:
    """Median and quartiles, in words where too few got out; empty where too few were timed."""
    middle, *ends = (_seconds(words, f"{row}.time_{part}") for part in ("median", "quartile_1", "quartile_3"))
    if not (middle and all(ends)):
        return ()
    return (*middle, Piece(" ("), *ends[0], Piece("–"), *ends[1], Piece(")"))


def _seconds(words: Wording, name: str) -> Text:
    if words.is_word(name):
        return (Piece(words.template("exercises.not_reached"), name),)
    return words.cell(name, "whole_seconds")


def table_section(
    words: Wording,
    key: str,
    heads: tuple[str, ...],
    rows: tuple[tuple[Text, ...], ...],
    *,
    numbers: tuple[str, ...],
) -> TableSection:
    """A section of the catalogue as a table; columns that are empty throughout are left out."""
    kept = [at for at in range(len(heads)) if any(plain(row[at]) for row in rows)]
    return TableSection(
        title=words.say(f"{key}.title"),
        lead=words.say(f"{key}.lead"),
        heads=tuple(words.say(f"{key}.{heads[at]}") for at in kept),
        right=tuple(heads[at] in numbers for at in kept),
        rows=tuple(tuple(row[at] for at in kept) for row in rows),
    )
