"""What the board paper says in its first two blocks: what was seen, and what cannot be seen."""

from __future__ import annotations

from survstats.report.brief_decision import asks
from survstats.report.brief_figures import range_told
from survstats.report.content import Block, Piece
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

_BESIDE = (
    ("saw.crude", "crude.rd"),
    ("saw.passengers", "effect.rd_passengers"),
    ("saw.all_aboard", "effect.rd_all_aboard"),
)
_ADJUSTED = (
    ("saw.all_aboard_alone", "effect.rd_all_aboard"),
    ("saw.passengers_alone", "effect.rd_passengers"),
)
"""Where a decision opens page 1, the unadjusted difference stands on page 2 alone."""
_FEW = ("few_mishaps", "one_mishap")


def saw_block(results: StudyResults, words: Wording) -> Block:
    """What was seen: plain counts, what stands beside the main estimate, and how people of one mishap fared."""
    numbers = results.numbers
    trained, untrained = numbers["seen.trained"].value, numbers["seen.untrained"].value
    lead = "saw.lead"
    if results.codes["records.survivor_only"] == "yes":
        lead = "saw.lead_survivor_only"
    elif not trained and not untrained:
        lead = "saw.lead_neither"
    elif not trained:
        lead = "saw.lead_none_trained"
    elif not untrained:
        lead = "saw.lead_none_untrained"
    compared = "saw.neither" if results.codes["brief.form"] == "estimated" else "saw.in_groups"
    if numbers["cohort.analysed"].value == numbers["cohort.population"].value:
        compared = "saw.all_compared"
    body = [*words.join("saw.flooded", compared)]
    if beside := _beside(results):
        body += [Piece(" "), *words.series(*beside)]
    elif "crude.rd_exact" in numbers and results.codes["brief.form"] in _FEW:
        body += [Piece(" "), *words.say("saw.exact")]
    within = "saw.within_tied" if numbers["within.tied"].value else "saw.within"
    body += [Piece(" "), *words.say(within if numbers["within.informative"].value else "saw.within_none")]
    return Block(words.say("saw.name"), words.say(lead), (tuple(body),))


def _beside(results: StudyResults) -> list[str]:
    """What stands beside the main estimate: passengers alone and all aboard always, where they were estimated."""
    numbers = results.numbers
    adjusted = [key for key, name in _ADJUSTED if name in numbers]
    if adjusted and (asks(results) or "crude.rd" not in numbers):
        return [*adjusted[:1], *("saw.passengers_after" for _ in adjusted[1:])]
    told = "crude.rd" in numbers and results.codes["brief.form"] == "estimated"
    return [key for key, name in _BESIDE if name in numbers] if told else []


def unseen_block(results: StudyResults, words: Wording, *, estimated: bool) -> Block:
    """What cannot be seen: the dead of unknown training, what they could do, and what the headline leaves out."""
    numbers = results.numbers
    lead = "unseen.lead"
    keys = ["unseen.no_row"] if numbers["cohort.ledger.no_row"].value else []
    if not numbers["cohort.population"].value:
        lead, estimated = "unseen.lead_nobody", False
    elif not numbers["seen.died"].value:
        lead = "unseen.lead_nobody_died"
    elif not numbers["seen.unknown_died"].value:
        lead = "unseen.lead_none"
    if numbers["cohort.population"].value:
        keys += _range_keys(results)
    if estimated and numbers["seen.unknown"].value and not asks(results):
        keys.append(f"unseen.{results.codes['records.left_out']}")
    keys += _headline_keys(results)
    if estimated:
        keys.append("unseen.fitness")
    not_blind, unnoted = (numbers[f"records.{name}"].value for name in ("not_blind", "blind_unknown"))
    if not_blind or unnoted:
        keys.append(f"unseen.not_blind{'_both' if unnoted else ''}" if not_blind else "unseen.blind_unknown")
    return Block(words.say("unseen.name"), words.say(lead), (words.join(*keys),) if keys else ())


def _range_keys(results: StudyResults) -> list[str]:
    """What is told of the range over the unknown: all of them, or where that is withheld those of unknown training."""
    numbers = results.numbers
    if not numbers["seen.unknown"].value and not numbers["unknown.perhaps"].value:
        return ["unseen.none_unknown"]
    told = range_told(results)
    few = "_few" if results.codes["brief.form"] in _FEW else ""
    keys = [] if numbers["seen.unknown"].value else ["unseen.none_unknown"]
    if told and numbers["seen.unknown"].value:
        part = "_part" if told == "unknown" and results.codes["unknown.rows"] == "part" else ""
        keys.append(f"unseen.worst{'_status' if told == 'status' else ''}{few}{part}")
    if told == "unknown" and numbers["unknown.perhaps"].value:
        keys.append("unseen.perhaps" if numbers["seen.unknown"].value else "unseen.perhaps_alone")
    elif told == "status":
        keys.append("unseen.perhaps_out")
    return keys


def _headline_keys(results: StudyResults) -> list[str]:
    """What the survivor headline is worth; nothing where there is none, or where its counts are withheld."""
    if "claim.trained_of_survivors" not in results.numbers:
        return []
    share = results.codes["claim.share"]
    if share != "some":
        return [f"unseen.headline_{share}"]
    known = "claim.trained_of_known_dead" in results.numbers
    return ["unseen.headline" if known else "unseen.headline_unknown"]
