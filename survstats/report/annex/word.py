"""How was the word made: the gates and what each asks, the rules, what would change it, and the worst attacks?"""

from __future__ import annotations

from survstats.report.annex.content import AnnexBlock, AnnexSection, RowMarks
from survstats.report.annex.tables import (
    Row,
    coded,
    named_list,
    numbered,
    said,
    section,
    table_rows,
    tabled,
    texts,
)
from survstats.report.brief_word import STATES
from survstats.report.content import GateState, Text
from survstats.report.wording import Wording
from survstats.study.results import MASKED, StudyResults

_RULES = ("chance", "reading_far", "reading_part", "supports", "suggests", "cannot_tell", "small")


def word(results: StudyResults, words: Wording) -> AnnexSection:
    """The rule behind the word, step by step."""
    return section(
        words,
        "word",
        _gates(results, words),
        said(words, "word.rules", *_RULES),
        _change(results, words),
        said(words, "word.attacks", "entries", "fitness", "told"),
    )


def _gates(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """The gates, their states, and what each asks for to be met and to be partly met."""
    stored = table_rows(results, "gates")
    rows: list[Row] = [
        (
            numbered(words, f"gate.{row['gate']}.number", words.say(f"gate_name.{row['gate']}")),
            coded(words, "gate_state", str(row["state"])),
            _asked(words, str(row["gate"]), "met"),
            _asked(words, str(row["gate"]), "partly"),
        )
        for row in stored
    ]
    heads = ("gate", "state", "met", "partly")
    block = tabled(words, "word.gates", heads, rows, numbers=())
    if block is None:
        return None
    states = tuple(_known(str(row["state"])) for row in stored)
    return AnnexBlock(block.title, block.lead, table=block.table, marks=RowMarks(1, states))


def _known(code: str) -> GateState:
    """The state of a code."""
    return next(state for state in STATES if state == code)


def _asked(words: Wording, gate: str, state: str) -> Text:
    """What a gate asks for; empty where a threshold that it quotes is not stored."""
    key = f"annex.word.asked.{gate}_{state}"
    return words.say(key) if words.can_say(key) else ()


def _change(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """What would lift or lower the word, what another floor would have given, and whether it hangs on the draws."""
    codes, lists, key = results.codes, results.lists, "annex.word.change"
    if MASKED in (codes["verdict.reason"], codes.get("change.up_word")) or "change.up_word" not in codes:
        return None
    up, down = lists.get("change.up", ()), lists.get("change.down", ())
    items: list[Text] = []
    if up:
        items.append(
            named_list(words, f"{key}.up_{codes['change.up_word']}", up, "change.up", of="gate_name")
        )
    else:
        items.append(words.say(f"{key}.up_{'none' if codes['verdict.word'] != 'supports' else 'highest'}"))
    if down:
        items.append(named_list(words, f"{key}.down", down, "change.down", of="gate_name"))
    elif codes["verdict.word"] != "cannot_tell":
        items.append(words.say(f"{key}.down_none"))
    if "effect.rd" in results.numbers:
        lower = codes.get("verdict.word_at_lower_floor", "")
        items += texts(words, f"{key}.floor_{'same' if lower == codes['verdict.word'] else lower}")
        items += texts(words, f"{key}.borderline_{codes.get('verdict.borderline')}")
    lead = words.say(f"{key}.lead")
    return AnnexBlock(words.say(f"{key}.title"), lead, items=tuple(items))
