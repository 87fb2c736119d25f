"""What would change our mind? The block of page 1 that says what it would take to lose the word, or to earn one."""

from __future__ import annotations

import math

from survstats.report.brief_decision import asks
from survstats.report.content import Block, Piece, Text
from survstats.report.lettering import join
from survstats.report.wording import Wording
from survstats.study.results import MASKED, StudyResults


def change_block(results: StudyResults, words: Wording) -> Block:
    """What would change our mind.

    A word that was earned falls with the unknown dead, or with a hidden difference between people; one that was not is
    earned by the checks that keep it back; where nothing was estimated, what is missing comes first.
    """
    codes = results.codes
    if MASKED in (codes["verdict.reason"], codes["brief.form"]):
        lead, body = words.say("change.lead_masked"), words.say("change.masked")
    elif codes["verdict.word"] != "cannot_tell":
        lead, body = _would_fall(results, words)
        body = body if asks(results) else join(body, _short_of_supports(results, words))
    elif codes["brief.form"] == "estimated":
        lead, body = _would_rise(results, words)
    else:
        lead, body = (
            words.say(f"change.lead_{codes['brief.form']}"),
            words.say(f"change.{codes['brief.form']}"),
        )
    return Block(words.say("change.name"), lead, (body,) if body else ())


def _would_fall(results: StudyResults, words: Wording) -> tuple[Text, Text]:
    """What would take the word away: lead, and sentences under it."""
    codes = results.codes
    direction = codes["verdict.direction"]
    if direction == "no_worthwhile_difference":
        return words.say("change.lead_small"), words.say("change.small")
    if codes.get("verdict.few_mishaps_route") == "yes":
        return words.say("change.lead_route"), words.say("change.route")
    if way := _way(results, words):
        more = [key for key in (_expected(words), _left(results, words)) if key]
        return words.say(f"change.lead_unknown_{way}"), words.join(*more)
    if _told(words, "fitness.odds_limit"):
        key = "fitness" if math.isfinite(words.number("fitness.odds_limit").value) else "no_fitness"
        return words.say(f"change.lead_{key}"), words.say(f"change.{key}")
    return words.say("change.lead_papers"), words.say("change.papers")


def _short_of_supports(results: StudyResults, words: Wording) -> Text:
    """What keeps 'suggests' from being 'supports', where few enough gates do."""
    asked = results.lists.get("change.up", ())
    if results.codes["change.up_word"] != "supports" or not asked:
        return ()
    named = words.listed([words.template(_ask(results, words, gate)) for gate in asked])
    return (*words.say("change.short_of_supports"), Piece(f" {named}."))


def _would_rise(results: StudyResults, words: Wording) -> tuple[Text, Text]:
    """What would earn a word; under it what would take away the difference that is there."""
    codes = results.codes
    asked = results.lists.get("change.up", ())
    ways = [words.template(_ask(results, words, gate)) for gate in asked]
    lead = words.say("change.lead_several")
    if ways:
        opening = words.say(f"change.lead_up_{codes['change.up_word']}")
        lead = (*opening, Piece(" "), Piece(words.listed(ways), strong=True), Piece("."))
    keys = [_how(gate, words) for gate in asked] or [_how("several", words)]
    if codes["verdict.chance"] == "more_than_chance" and codes["verdict.direction"] != "none":
        keys.append(_undone(results, words))
    elif _crosses(results, words, "difference", "no_difference"):
        keys.append(f"change.no_difference_{_side(results)}")
    return lead, words.join(*(key for key in keys if key and words.can_say(key)))


def _how(gate: str, words: Wording) -> str:
    """How what a gate asks for may come about, or all that is asked; where it was worked out, with how many mishaps."""
    plain, counted = {
        "beyond_chance": ("change_how.beyond_chance", "change.settle"),
        "several": ("change.several", "change.settle_several"),
    }.get(gate, (f"change_how.{gate}", ""))
    more = "planning.mishaps_to_settle"
    known = counted and _told(words, more) and words.number(more).value > 0
    return counted if known else plain


def _ask(results: StudyResults, words: Wording, gate: str) -> str:
    """What a gate asks for; another thing where it was the open interval that failed it."""
    special = f"change_ask.{gate}_{results.codes[f'gate.{gate}.finding']}"
    return special if words.has(special) else f"change_ask.{gate}"


def _undone(results: StudyResults, words: Wording) -> str:
    """What would leave no more than chance, where the word was not earned: the unknown dead, or else fitness."""
    if way := _way(results, words):
        return f"change.unknown_{way}"
    finite = _told(words, "fitness.odds_limit") and math.isfinite(words.number("fitness.odds_limit").value)
    return "change.fitness_alone" if finite else ""


def _way(results: StudyResults, words: Wording) -> str:
    """Which numbers of the unknown dead would leave no more than chance: so many or more, or fewer, or some between."""
    if _crosses(results, words, "chance", "not_beyond_chance"):
        return _side(results)
    dips = results.codes.get("tipping.chance_state") == "dips"
    return (
        "dips" if dips and _told(words, "tipping.chance_from") and _told(words, "tipping.chance_to") else ""
    )


def _side(results: StudyResults) -> str:
    """Where training helps more of the dead take it away, where it harms fewer."""
    number = results.numbers.get("effect.rd")
    return "harm" if number is not None and number.value < 0 else "benefit"


def _crosses(results: StudyResults, words: Wording, state: str, number: str) -> bool:
    """Whether some number of the unknown dead would do it, and that number may be told."""
    crosses = results.codes.get(f"tipping.{state}_state") == "crosses"
    return crosses and _told(words, f"tipping.{number}") and _told(words, "tipping.unknown_dead")


def _told(words: Wording, name: str) -> bool:
    return words.has_number(name) and not words.is_masked(name)


def _expected(words: Wording) -> str:
    return "change.expected" if _told(words, "tipping.expected") else ""


def _left(results: StudyResults, words: Wording) -> str:
    """What would leave no difference at all, or that nothing would."""
    if _crosses(results, words, "difference", "no_difference"):
        return f"change.left_{_side(results)}"
    return "change.left_always" if results.codes.get("tipping.difference_state") == "never" else ""
