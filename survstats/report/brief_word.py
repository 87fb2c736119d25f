"""What the board paper says of the verdict: the word and what it means, its two readings, the gates behind it."""

from __future__ import annotations

import math
from collections.abc import Mapping

from survstats.report.brief_decision import asks
from survstats.report.content import GateLine, GateState, Piece, Reading, Text, WordBox, WordLine
from survstats.report.lettering import join
from survstats.report.wording import Wording
from survstats.study.results import MASKED, StudyResults

STATES: tuple[GateState, ...] = ("met", "partly_met", "not_met", "not_assessed")
_HIDDEN = {"supports": 0.0, "suggests": 0.52, "cannot_tell": 1.0}
#: Of gates in the same state, those that weigh most in the reading come first.
_WEIGHT = ("other_explanations", "seen", "unknown_status", "miscoding", "comparable", "choices")
_MOST_NAMED = 2


def word_box(results: StudyResults, words: Wording) -> WordBox:
    """The word, what it means here, and the two readings beside it."""
    codes = results.codes
    whole = codes["verdict.reason"] != MASKED
    return WordBox(
        label=words.say("word.label"),
        word=words.say(_word_key(codes)),
        is_word=whole,
        hidden=_HIDDEN[codes["verdict.word"]],
        readings=(
            Reading(
                words.say("word.chance_asked"),
                words.say(f"word.chance.{codes['verdict.chance_shown']}"),
                words.join(*_chance_reasons(codes)),
            ),
            Reading(
                words.say("word.reading_asked"),
                words.say(f"word.reading.{codes['verdict.reading_shown']}"),
                _reading_reason(results, words),
            ),
        ),
        meaning=meaning(results, words),
    )


def meaning(results: StudyResults, words: Wording) -> Text:
    """What the word says of these records; that it hangs on the random draws, where it does. Empty if withheld."""
    codes = results.codes
    if codes["verdict.reason"] == MASKED:
        return ()
    key = f"word.meaning.{_word_key(codes).partition('.')[2]}{_open_but(codes)}"
    beside = f"{key}_beside"  # under a decision the rest of it has been said
    keys = [beside if asks(results) and words.has(beside) else key]
    if codes.get("verdict.borderline") == "yes":
        keys.append("word.borderline")
    return words.join(*keys)


def _open_but(codes: Mapping[str, str]) -> str:
    """What is known although the word is 'cannot tell': a difference beyond chance, or that it is small."""
    if codes["verdict.word"] != "cannot_tell":
        return ""
    if codes["verdict.size"] == "smaller_than_worthwhile":
        return "_small"
    beyond = codes["verdict.chance"] == "more_than_chance" and codes["verdict.direction"] != "none"
    return f"_{codes['verdict.direction']}" if beyond else ""


def word_told(results: StudyResults, words: Wording) -> Text:
    """The word and its meaning as one text, for the terminal."""
    if results.codes["verdict.reason"] == MASKED:
        return words.say("brief_done.masked")
    named = (*words.say("brief_done.word"), Piece(" "), *words.say(_word_key(results.codes)), Piece("."))
    return join(named, meaning(results, words))


def _word_key(codes: Mapping[str, str]) -> str:
    """The word; one that is earned also says which way."""
    if codes["verdict.reason"] == MASKED:
        return f"word.{MASKED}"
    if codes["verdict.word"] == "cannot_tell":
        return "word.cannot_tell"
    return f"word.{codes['verdict.word']}_{codes['verdict.direction']}"


def _chance_reasons(codes: Mapping[str, str]) -> list[str]:
    keys = [f"word.chance_why.{codes['verdict.chance_why']}"]
    size = codes["verdict.size"]
    if size == "smaller_than_worthwhile" or (
        size != "none" and codes["verdict.chance"] == "more_than_chance"
    ):
        keys.append(f"word.size.{size}")
    return keys


def _reading_reason(results: StudyResults, words: Wording) -> Text:
    """Why the difference can be read so far and no farther: the gates that decided, at most two of them by name."""
    codes = results.codes
    why = codes["verdict.reading_why"]
    if why in (MASKED, "no_estimate", "survivor_only"):
        return words.say(f"word.reading_why.{why}")
    if codes["verdict.direction"] == "no_worthwhile_difference" and codes["verdict.reading"] == "no":
        return words.say("word.reading_why.nothing_to_explain")
    held = _held(results)
    if not held:
        return words.say("word.reading_why.all_met")
    named = [words.template(_held_key(name, finding, words)) for name, finding in held[:_MOST_NAMED]]
    rest = "_more" if len(held) > _MOST_NAMED else ""
    opening = words.say(f"word.reading_why.held_{codes['verdict.reading']}")
    closing = words.say(f"word.reading_why.closed{rest}")
    return (*opening, Piece(f" {words.listed(named)}"), *closing)


def _held(results: StudyResults) -> list[tuple[str, str]]:
    """The gates that held the reading back, with their findings: those not met, or else those partly met."""
    rows = {str(name): (str(state), str(finding)) for name, state, finding in results.tables["gates"].rows}
    failed = [name for name in _WEIGHT if rows[name][0] in ("not_met", "not_assessed")]
    partly = [name for name in _WEIGHT if rows[name][0] == "partly_met"]
    names = failed if results.codes["verdict.reading"] == "no" and failed else [*failed, *partly]
    return [(name, rows[name][1]) for name in names]


def _held_key(name: str, finding: str, words: Wording) -> str:
    special = f"held.{name}_{finding}"
    return special if words.has(special) else f"held.{name}"


def gate_lines(results: StudyResults, words: Wording) -> tuple[GateLine, ...]:
    """The eight gates, each with its state and what was found."""
    lines = []
    for name, code, finding in results.tables["gates"].rows:
        state = next(known for known in STATES if known == code)
        key = finding if finding in ("not_built", MASKED) else f"{name}_{finding}"
        lines.append(
            GateLine(
                number=(words.slot(f"gate.{name}.number", "count"),),
                name=words.say(f"gate_name.{name}"),
                state=state,
                state_text=words.say(f"gate_state.{state}"),
                finding=_finding(results, words, f"gate_finding.{key}"),
            )
        )
    return tuple(lines)


def variant(results: StudyResults, words: Wording, key: str) -> str:
    """The key of a finding's sentence, or of the one that says more where there is more to say.

    That the interval holds zero anyway, that hardly any wrong entry was put right, or that choices could not be made.
    """
    endings = {
        "_covered": results.codes["gate.beyond_chance.finding"] in ("covers_zero", "close"),
        "_slight": results.codes.get("miscoding.touched") == "slight",
        "_unmade": _number(results, "choices.not_made", otherwise=0.0) > 0,
    }
    longer = (f"{key}{ending}" for ending, applies in endings.items() if applies)
    return next((one for one in longer if words.has(one)), key)


def _number(results: StudyResults, name: str, *, otherwise: float) -> float:
    number = results.numbers.get(name)
    return otherwise if number is None or math.isnan(number.value) else number.value


def _finding(results: StudyResults, words: Wording, key: str) -> Text:
    """The sentence of a finding; where what it quotes is withheld, one without it."""
    keys = (variant(results, words, key), f"{key}_{MASKED}", f"gate_finding.{MASKED}")
    return words.say(next(one for one in keys if words.can_say(one)))


def gate_key(results: StudyResults, words: Wording) -> tuple[tuple[GateState, Text], ...]:
    """The marks of the states; that of 'not assessed' only where it occurs."""
    there = {state for _, state, _ in results.tables["gates"].rows}
    return tuple(
        (state, words.say(f"gate_state.{state}" + ("_key" if state == "not_assessed" else "")))
        for state in STATES
        if state != "not_assessed" or state in there
    )


def gates_foot(results: StudyResults, words: Wording) -> Text:
    """What the study file lets pass more easily than usual, and which word another floor of hidden fitness would give.

    The second is empty where nothing was estimated.
    """
    codes = results.codes
    softer = words.say("gates.softer") if results.lists.get("plan.challenge_softer") else ()
    lower = codes.get("verdict.word_at_lower_floor", MASKED)
    if codes["brief.form"] != "estimated" or MASKED in (lower, codes["verdict.reason"]):
        return softer
    same = "same" if lower == codes["verdict.word"] else lower
    return join(softer, words.say("gates.lower_floor"), words.say(f"gates.lower_floor_{same}"))


def three_words(results: StudyResults, words: Wording) -> tuple[WordLine, ...]:
    """How each of the three words is to be read."""
    told = results.codes["verdict.reason"] != MASKED
    return tuple(
        WordLine(
            word=words.say(f"word.{name}"),
            hidden=hidden,
            reading=words.say(f"three_words.{name}"),
            reached=told and name == results.codes["verdict.word"],
        )
        for name, hidden in _HIDDEN.items()
    )
