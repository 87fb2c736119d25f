"""What the board paper says: the content of its two pages, from the results of a study."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping

from survstats.report.brief_figures import axis_figure, break_even_figure, range_told, seats_figure
from survstats.report.content import (
    Block,
    BriefContent,
    GateLine,
    GateState,
    Piece,
    Reading,
    Section,
    Text,
    WordBox,
)
from survstats.report.head import (
    banners,
    is_shared,
    paper_head,
    paper_words,
    population_filter,
    run_log,
    strong,
)
from survstats.report.lettering import join
from survstats.report.wording import Wording
from survstats.study.results import MASKED, StudyResults

_HIDDEN = {"supports": 0.0, "suggests": 0.52, "cannot_tell": 1.0}
_BESIDE = (
    ("saw.crude", "crude.rd"),
    ("saw.passengers", "effect.rd_passengers"),
    ("saw.all_aboard", "effect.rd_all_aboard"),
)
_STATES: tuple[GateState, ...] = ("met", "partly_met", "not_met", "not_assessed")


def brief_content(results: StudyResults, *, date: datetime.date) -> BriefContent:
    """The content of the board paper.

    Parameters
    ----------
    results : StudyResults
    date : date
        The day printed on the paper.
    """
    words = paper_words(results, date)
    estimated = results.codes["brief.form"] == "estimated"
    axis = axis_figure(results, words)
    curve = break_even_figure(results, words)
    return BriefContent(
        head=paper_head(results, words, name="paper.name", title="paper.title"),
        banners=banners(results, words),
        question=words.say("question.asked"),
        population=join(words.say(f"question.{population_key(results)}"), population_filter(results, words)),
        answer=answer(results, words),
        word=_word(results, words),
        seats=seats_figure(words) if estimated else None,
        blocks=(
            _saw(results, words),
            _unseen(results, words, estimated=estimated),
            _headline(results, words),
            Block(words.say("record.name"), words.say("record.lead"), (words.say("record.body"),)),
        ),
        foot=((*strong(words.say("foot.caution_name")), Piece(" "), *words.say("foot.caution")),),
        steady=_steady(results, words, estimated=estimated, drawn=axis is not None),
        axis=axis,
        headline=Section(
            words.say("break_even.title"),
            words.say(f"break_even.{_headline_key(results, drawn=curve is not None)}"),
            (),
        ),
        break_even=curve,
        assumptions=_assumptions(results, words, estimated=estimated),
        gates_title=words.say("gates.title"),
        gates=_gates(results, words),
        gate_key=tuple(
            (state, words.say(f"gate_state.{state}" + ("_key" if state == "not_assessed" else "")))
            for state in _STATES
        ),
        decision_title=words.say("decision.title"),
        prepared_by=words.say(_named(results, "prepared")),
        reviewed_by=words.say(_named(results, "reviewed")),
        provenance=_provenance(results, words),
    )


def _headline_key(results: StudyResults, *, drawn: bool) -> str:
    if drawn:
        return "lead"
    hidden = results.absent.get("claim.trained_of_survivors") == MASKED
    return "lead_masked" if hidden else "lead_none"


def population_key(results: StudyResults) -> str:
    """Which sentence tells the population: it depends on the years that are known."""
    if "span.first_year" not in results.numbers:
        return "population_no_years"
    one_year = results.numbers["span.first_year"].value == results.numbers["span.last_year"].value
    return "population_one_year" if one_year else "population"


def answer(results: StudyResults, words: Wording) -> Text:
    """The answer in two sentences, and a third where one mishap decides a group."""
    found = words.say(f"answer.{results.codes['brief.form']}")
    return join(found, words.say("answer.hangs")) if hangs(results) else found


def hangs(results: StudyResults) -> bool:
    """Whether an estimate is told of which one mishap holds all deaths, or all survivors, of a group."""
    told = results.codes["brief.form"] == "estimated" and "effect.rd" in results.numbers
    return told and results.codes.get("effect.one_arm_hangs") == "yes"


def _word(results: StudyResults, words: Wording) -> WordBox:
    codes = results.codes
    whole = codes["verdict.reason"] == "gates"
    return WordBox(
        label=words.say("word.label"),
        word=words.say(f"word.{codes['verdict.word' if whole else 'verdict.reason']}"),
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
                words.say(f"word.reading_why.{codes['verdict.reading_why']}"),
            ),
        ),
    )


def _chance_reasons(codes: Mapping[str, str]) -> list[str]:
    keys = [f"word.chance_why.{codes['verdict.chance_why']}"]
    if codes["verdict.chance"] == "more_than_chance" and codes["verdict.size"] != "none":
        keys.append(f"word.size.{codes['verdict.size']}")
    return keys


def _saw(results: StudyResults, words: Wording) -> Block:
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
    beside = [key for key, name in _BESIDE if name in numbers]
    if beside == ["saw.all_aboard"]:
        body += [Piece(" "), *words.say("saw.all_aboard_alone")]
    elif "crude.rd" in numbers and results.codes["brief.form"] == "estimated":
        body += [Piece(" "), *words.series(*beside)]
    elif "crude.rd_exact" in numbers and results.codes["brief.form"] in ("few_mishaps", "one_mishap"):
        body += [Piece(" "), *words.say("saw.exact")]
    within = "saw.within_tied" if numbers["within.tied"].value else "saw.within"
    body += [Piece(" "), *words.say(within if numbers["within.informative"].value else "saw.within_none")]
    return Block(words.say("saw.name"), words.say(lead), (tuple(body),))


def _unseen(results: StudyResults, words: Wording, *, estimated: bool) -> Block:
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
    if estimated and numbers["seen.unknown"].value:
        keys.append(f"unseen.{results.codes['records.left_out']}")
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
    few = "_few" if results.codes["brief.form"] in ("few_mishaps", "one_mishap") else ""
    keys = [] if numbers["seen.unknown"].value else ["unseen.none_unknown"]
    if told and numbers["seen.unknown"].value:
        part = "_part" if told == "unknown" and results.codes["unknown.rows"] == "part" else ""
        keys.append(f"unseen.worst{'_status' if told == 'status' else ''}{few}{part}")
    if told == "unknown" and numbers["unknown.perhaps"].value:
        keys.append("unseen.perhaps" if numbers["seen.unknown"].value else "unseen.perhaps_alone")
    elif told == "status":
        keys.append("unseen.perhaps_out")
    return keys


def _headline(results: StudyResults, words: Wording) -> Block:
    name = words.say("headline.name")
    if "claim.trained_of_survivors" not in results.numbers:
        reason = results.absent["claim.trained_of_survivors"]
        key = {"nobody_died": "no_dead", MASKED: "masked"}.get(reason, "no_survivors")
        return Block(name, words.say(f"headline.{key}"), ())
    known = "headline.known" if "claim.trained_of_known_dead" in results.numbers else "headline.unknown"
    share = results.codes["claim.share"]
    lead = "headline.lead" if share == "some" else f"headline.lead_{share}"
    carries = "headline.alone" if share == "some" else f"headline.nothing_{share}"
    return Block(name, words.say(lead), (words.join(known, carries),))


def _steady(results: StudyResults, words: Wording, *, estimated: bool, drawn: bool) -> Section:
    without = "" if estimated else "_without"
    lead = f"steady.lead{without}" if drawn else "steady.nothing"
    if not drawn and MASKED in (results.absent.get(name) for name in ("crude.rd", "crude.rd_exact")):
        lead = "steady.masked"
    if lead == "steady.lead" and not (results.numbers["unknown.people"].value and range_told(results)):
        lead = "steady.lead_known"
    within = words.say(f"within.{_within_key(results)}")
    return Section(words.say(f"steady.title{without}"), words.say(lead), (within,))


def _assumptions(results: StudyResults, words: Wording, *, estimated: bool) -> Section:
    if not estimated:
        needed = words.say(f"needed.{results.codes['brief.form']}")
        five = ["needed.never_beyond_chance"] if results.codes["cohort.beyond_chance"] == "never" else []
        return Section(words.say("needed.title"), needed, tuple(words.say(key) for key in five))
    adjusted = len(results.lists["plan.adjusted"])
    keys = ["assumed.adjusted" + {0: "_none", 1: "_one"}.get(adjusted, "")]
    keys.append("assumed.left_out" if results.lists["plan.groups_left_out"] else "assumed.left_out_fitness")
    keys += [key for key, applies in _assumed_if(results) if applies]
    keys += _crew(results)
    return Section(
        words.say("assumed.title"), words.say("assumed.lead"), tuple(words.say(key) for key in keys)
    )


def _crew(results: StudyResults) -> list[str]:
    """What the figure holds of flight crew's training; nothing where only passengers are studied."""
    if results.codes.get("graph.crew") == "crew_after_contact":
        return ["assumed.crew"]
    return [] if list(results.lists.get("population.roles", ())) == ["passenger"] else ["assumed.crew_whole"]


def _assumed_if(results: StudyResults) -> tuple[tuple[str, bool], ...]:
    return (
        (
            "assumed.unknown" if range_told(results) else "assumed.unknown_alone",
            bool(results.numbers["unknown.people"].value),
        ),
        ("assumed.gaps", bool(results.lists["notices.gap_fields"])),
        ("assumed.recency_unclear", bool(results.numbers["seen.recency_unclear"].value)),
        ("assumed.order_unclear", bool(results.numbers["seen.order_unclear"].value)),
        ("assumed.penalised", results.codes["effect.likelihood"] == "penalised"),
    )


def _within_key(results: StudyResults) -> str:
    ratio = results.numbers.get("within.odds_ratio")
    if ratio is None:
        return MASKED if results.absent["within.odds_ratio"] == MASKED else "none"
    if math.isinf(ratio.value):
        return "highest"
    return "ratio" if ratio.value > 0 else "lowest"


def _gates(results: StudyResults, words: Wording) -> tuple[GateLine, ...]:
    lines = []
    for name, code, finding in results.tables["gates"].rows:
        state = next(known for known in _STATES if known == code)
        key = finding if finding in ("not_built", MASKED) else f"{name}_{finding}"
        lines.append(
            GateLine(
                number=(words.slot(f"gate.{name}.number", "count"),),
                name=words.say(f"gate_name.{name}"),
                state=state,
                state_text=words.say(f"gate_state.{state}"),
                finding=words.say(f"gate_finding.{key}"),
            )
        )
    return tuple(lines)


def _provenance(results: StudyResults, words: Wording) -> tuple[Text, ...]:
    lines = [
        line.removeprefix("cohort.ledger.") for line in results.numbers if line.startswith("cohort.ledger.")
    ]
    steps = [f"provenance.flow_{line}" for line in lines if words.has(f"provenance.flow_{line}")]
    left = {key: f"cohort.ledger.{key.partition('flow_')[2]}" for key in steps}
    told = [key for key, name in left.items() if results.numbers[name].value and not words.is_masked(name)]
    flow = words.series("provenance.flow", *told)
    if any(words.is_masked(name) for name in left.values()):
        flow = join(flow, words.say("provenance.flow_rest_masked"))
    which = "provenance.hashes_shared" if is_shared(results) else "provenance.hashes"
    hashes = words.join(which, "provenance.rounded")
    funding = (words.say("provenance.funding"),) if results.texts["study.funding"] else ()
    return (flow, hashes, *run_log(results, words), *funding)


def _named(results: StudyResults, role: str) -> str:
    return f"decision.{role}_named" if results.texts[f"study.{role}_by"] else f"decision.{role}"
