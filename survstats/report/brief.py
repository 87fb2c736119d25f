"""What the board paper says: the content of its two pages, from the results of a study."""

from __future__ import annotations

import datetime
import math

from survstats.report.brief_blocks import saw_block, unseen_block
from survstats.report.brief_change import change_block
from survstats.report.brief_decision import asks, decision_lead, no_money, options
from survstats.report.brief_figures import axis_figure, break_even_figure, range_told, seats_figure
from survstats.report.brief_word import gate_key, gate_lines, gates_foot, three_words, word_box
from survstats.report.content import Block, BriefContent, Piece, Section, Text
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
    return BriefContent(
        head=paper_head(results, words, name="paper.name", title="paper.title"),
        banners=banners(results, words),
        question=words.say("decision_lead.question" if asks(results) else "question.asked"),
        population=join(words.say(f"question.{population_key(results)}"), population_filter(results, words)),
        answer=answer(results, words),
        word=word_box(results, words),
        seats=seats_figure(words) if estimated else None,
        blocks=(
            saw_block(results, words),
            unseen_block(results, words, estimated=estimated),
            change_block(results, words),
            Block(words.say("record.name"), words.say("record.lead"), (words.say("record.body"),)),
        ),
        foot=_foot(results, words),
        steady=_steady(results, words, estimated=estimated, drawn=axis is not None),
        axis=axis,
        headline=_headline(results, words),
        break_even=break_even_figure(results, words),
        assumptions=_assumptions(results, words, estimated=estimated),
        gates_title=words.say("gates.title"),
        gates=gate_lines(results, words),
        gate_key=gate_key(results, words),
        gates_foot=gates_foot(results, words),
        words_title=words.say("three_words.title"),
        words=three_words(results, words),
        decision_title=words.say("decision.title"),
        prepared_by=words.say(_named(results, "prepared")),
        reviewed_by=words.say(_named(results, "reviewed")),
        provenance=_provenance(results, words),
        decision=decision_lead(results, words),
        options=options(results, words),
    )


def _foot(results: StudyResults, words: Wording) -> tuple[Text, ...]:
    """The caution; where no decision leads the page, why no money is given."""
    caution = (*strong(words.say("foot.caution_name")), Piece(" "), *words.say("foot.caution"))
    return (caution,) if asks(results) else (caution, no_money(results, words))


def population_key(results: StudyResults) -> str:
    """Which sentence tells the population: it depends on the years that are known."""
    if "span.first_year" not in results.numbers:
        return "population_no_years"
    one_year = results.numbers["span.first_year"].value == results.numbers["span.last_year"].value
    return "population_one_year" if one_year else "population"


def answer(results: StudyResults, words: Wording) -> Text:
    """The answer in two sentences, and a third where one mishap decides a group."""
    codes = results.codes
    key = f"answer.{codes['brief.form']}"
    if codes["brief.form"] == "estimated" and words.has(f"{key}_{codes['verdict.direction']}"):
        key = f"{key}_{codes['verdict.direction']}"
    elif codes.get("verdict.few_mishaps_route") == "yes" and codes["verdict.direction"] != "none":
        key = f"answer.within_{codes['verdict.direction']}"
    found = words.say(key)
    return join(found, words.say("answer.hangs")) if hangs(results) else found


def hangs(results: StudyResults) -> bool:
    """Whether an estimate is told of which one mishap holds all deaths, or all survivors, of a group."""
    told = results.codes["brief.form"] == "estimated" and "effect.rd" in results.numbers
    return told and results.codes.get("effect.one_arm_hangs") == "yes"


def _headline(results: StudyResults, words: Wording) -> Section:
    """Why the share of trained survivors is not used."""
    title = words.say("break_even.title")
    if "claim.trained_of_survivors" not in results.numbers:
        reason = results.absent["claim.trained_of_survivors"]
        key = {"nobody_died": "no_dead", MASKED: "masked"}.get(reason, "no_survivors")
        return Section(title, words.say(f"headline.{key}"), ())
    share = results.codes["claim.share"]
    if share != "some":
        return Section(title, words.join(f"headline.lead_{share}", f"headline.nothing_{share}"), ())
    return Section(title, words.say("headline.alone"), ())


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
    return Section(words.say("assumed.title"), (), tuple(words.say(key) for key in keys))


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
        (  # on page 1 where no decision takes its place there
            f"unseen.{results.codes['records.left_out']}",
            bool(results.numbers["seen.unknown"].value) and asks(results),
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
