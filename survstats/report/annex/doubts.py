"""What would overturn it: every doubt that was tried, and how the difference fared."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from survstats.report.annex.choices import choices
from survstats.report.annex.content import AnnexBlock, AnnexSection, RowMarks
from survstats.report.annex.doubt_figures import tipping_picture
from survstats.report.annex.tables import (
    Row,
    coded,
    numbered,
    part,
    run,
    section,
    table_rows,
    tabled,
    texts,
    why,
)
from survstats.report.brief_word import variant
from survstats.report.content import GateState, Piece, Text
from survstats.report.head import is_shared
from survstats.report.records_content import TableSection
from survstats.report.wording import Wording
from survstats.study.results import MASKED, StudyResults

#: The marks of the states are those of the gates.
_MARKS: dict[str, GateState] = {
    "holds": "met",
    "weakens": "partly_met",
    "overturns": "not_met",
    "not_assessable": "not_assessed",
}


def doubts(results: StudyResults, words: Wording) -> AnnexSection:
    """Every challenge with its state, then the figures behind those that no other section holds."""
    return section(
        words,
        "doubts",
        _battery(results, words),
        _tipping(results, words),
        _entries(results, words),
        _fitness(results, words),
        _groups(results, words),
        _hidden_bias(results, words),
        _impact_death(results, words),
        _under_reporting(results, words),
        choices(results, words),
    )


def _battery(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """The challenges in order: what each asks, how the difference fared, and the sentence that says why."""
    stored = table_rows(results, "challenges")
    rows: list[Row] = []
    for row in stored:
        name = str(row["challenge"])
        rows.append(
            (
                numbered(words, f"challenge.{name}.number", coded(words, "challenge_question", name)),
                words.say("masked.count")
                if row["finding"] == MASKED
                else coded(words, "challenge_state", str(row["state"])),
                _found(results, words, _finding_key(results, words, name, str(row["finding"]))),
            )
        )
    heads = ("doubt", "state", "found")
    items = texts(words, "annex.doubts.battery.states", "annex.doubts.battery.elsewhere")
    block = tabled(words, "doubts.battery", heads, rows, numbers=(), items=items)
    if block is None:
        return None
    states = tuple(_MARKS.get(str(row["state"]), "not_assessed") for row in stored)
    return replace(block, marks=RowMarks(1, states))


def _finding_key(results: StudyResults, words: Wording, name: str, finding: str) -> str:
    """Which sentence tells a finding: of fitness another one where the interval holds no difference to explain.

    Of wrong entries another one where hardly any was put right.
    """
    key = f"challenge.{name}.{finding}"
    if name != "fitness":
        return variant(results, words, key)
    covered = f"{key}{_how(results, 'fitness.strength_limit')}"
    return covered if words.has(covered) else key


def _found(results: StudyResults, words: Wording, key: str) -> Text:
    """The sentence of a finding; where the paper is passed on, it may be that what it quotes is withheld."""
    withheld = is_shared(results) and not words.can_say(key)
    return words.say("reason.masked" if withheld else key)


def _tipping(results: StudyResults, words: Wording) -> AnnexBlock:
    """How many of the unknown dead would have to have been trained before it is no longer more than chance."""
    codes = results.codes
    way = codes.get("tipping.way", "")
    states = [(name, codes.get(f"tipping.{name}_state", "")) for name in ("chance", "difference")]
    keys = [f"{name}_{state}{f'_{way}' if state == 'crosses' else ''}" for name, state in states]
    return part(
        words,
        results,
        "tipping",
        "tipping.expected",
        "expected",
        *keys,
        "how",
        picture=tipping_picture(results, words),
    )


def _entries(results: StudyResults, words: Wording) -> AnnexBlock:
    """What wrong entries of the dead's training could make of it: both legs and the grid."""
    table = _grid(results, words)
    beside = ("grid",) if table else ()
    keys = ("people", "found", "all_unknown")
    told = part(words, results, "entries", "miscoding.rd_found", *keys, beside=beside, table=table)
    if "miscoding.rd_found" in results.numbers and "miscoding.rd_all_unknown" not in results.numbers:
        reason = why(words, results, "miscoding.rd_all_unknown")
        why_not = run(words.say("annex.doubts.entries.all_unknown_not"), reason)
        told = replace(told, items=(*told.items, why_not))
    return told


def _grid(results: StudyResults, words: Wording) -> TableSection | None:
    """The plain difference where entries are wrong more or less often; only the untrained always right is printed."""
    stored = table_rows(results, "miscoding_grid")
    right = max((_number(row["specificity"]) for row in stored), default=1.0)
    kept = {
        (row["sensitivity_dead"], row["sensitivity_survivors"]): f"miscoding_grid.{at}"
        for at, row in enumerate(stored)
        if row["specificity"] == right
    }
    dead = list(dict.fromkeys(of_dead for of_dead, _ in kept))
    living = list(dict.fromkeys(of_living for _, of_living in kept))
    if len(kept) < 2 or len(kept) != len(dead) * len(living):
        return None
    key = "annex.doubts.entries.grid_of"
    rows = [
        (
            words.cell(f"{kept[of_dead, living[0]]}.sensitivity_dead", "percent"),
            *(
                words.cell(f"{kept[of_dead, each]}.difference", "points_bare") or words.say(f"{key}_none")
                for each in living
            ),
        )
        for of_dead in dead
    ]
    heads = [words.say(f"{key}_survivors", row=kept[dead[0], each]) for each in living]
    return _numbers_under([words.say(f"{key}_dead"), *heads], rows)


def _fitness(results: StudyResults, words: Wording) -> AnnexBlock:
    """How strong a hidden fitness would have to be to have made it all, and what any strength would make."""
    keys = [f"{which}{_how(results, f'fitness.strength_{which}')}" for which in ("estimate", "limit")]
    rows: list[Row] = [
        (
            words.cell(f"fitness.{at}.strength", "times_odds"),
            words.cell(f"fitness.{at}.difference", "points_tenth"),
        )
        for at in range(len(table_rows(results, "fitness")))
    ]
    heads = [words.say(f"annex.doubts.fitness.{head}") for head in ("strength", "difference")]
    table = _numbers_under(heads, rows) if rows else None
    keys += ["floor", "e_values", "e_no_gate"]
    needs = "fitness.strength_estimate"
    beside = () if needs in results.numbers else ("floor",)
    return part(words, results, "fitness", needs, *keys, beside=beside, table=table)


def _how(results: StudyResults, name: str) -> str:
    """Whether the strength is a number, nought since there is nothing to explain, or out of any strength's reach."""
    number = results.numbers.get(name)
    if number is None or 0 < number.value < math.inf or math.isnan(number.value):
        return ""
    return "_covered" if number.value <= 0 else "_never"


def _groups(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """The difference with each measured group left out in turn."""
    rows: list[Row] = [
        (
            (Piece(words.name(str(row["group"]))),),
            words.cell(f"left_out_groups.{at}.difference", "points_tenth"),
            words.cell(f"left_out_groups.{at}.shift", "points_tenth"),
        )
        for at, row in enumerate(table_rows(results, "left_out_groups"))
    ]
    heads = ("group", "difference", "shift")
    items = texts(words, "annex.doubts.groups.largest")
    return tabled(words, "doubts.groups", heads, rows, numbers=heads[1:], items=items)


def _hidden_bias(results: StudyResults, words: Wording) -> AnnexBlock:
    """How much a hidden bias inside mishaps could be before the exact comparison is no longer more than chance."""
    number = results.numbers.get("hidden_bias.gamma")
    none = number is not None and number.value <= 1
    keys = ("none", "gamma_passengers") if none else ("gamma", "gamma_passengers", "limit", "how")
    return part(words, results, "hidden_bias", "hidden_bias.gamma", *keys)


def _impact_death(results: StudyResults, words: Wording) -> AnnexBlock:
    """Whether training seems to bear on deaths that it can hardly bear on."""
    number = results.numbers.get("impact_death.rd")
    none = number is not None and number.method == "newcombe"
    alarm = f"alarm_{results.codes.get('impact_death.alarm', '')}"
    keys = ("difference_none" if none else "difference", alarm, "noticeable", "margin")
    return part(words, results, "impact_death", "impact_death.rd", *keys)


def _under_reporting(results: StudyResults, words: Wording) -> AnnexBlock:
    """What if mishaps in which everyone lived are reported less often?"""
    half = "under_reporting.rd_half"
    return part(words, results, "under_reporting", half, "half", "quarter", beside=("harmless",))


def _numbers_under(heads: Sequence[Text], rows: Sequence[Row]) -> TableSection:
    """A table of numbers that stands under a part's own title and lead."""
    return TableSection((), (), tuple(heads), (True,) * len(heads), tuple(rows))


def _number(cell: object) -> float:
    return float(cell) if isinstance(cell, int | float) else math.nan
