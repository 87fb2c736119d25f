"""What the board paper says: the content of its two pages, from the results of a study."""

from __future__ import annotations

import datetime

from survstats.report.brief_figures import axis_figure, break_even_figure, seats_figure
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
from survstats.report.wording import Wording, facts_of
from survstats.study.results import StudyResults

_HIDDEN = {"supports": 0.0, "suggests": 0.52, "cannot_tell": 1.0}
_STATES: tuple[GateState, ...] = ("met", "partly_met", "not_met", "not_assessed")


def brief_content(results: StudyResults, *, date: datetime.date) -> BriefContent:
    """The content of the board paper.

    Parameters
    ----------
    results : StudyResults
    date : date
        The day printed on the paper.
    """
    words = Wording(facts_of(results, paper_date=f"{date.day} {date:%B %Y}"))
    estimated = results.codes["brief.form"] == "estimated"
    invented = results.codes["study.invented"] == "yes"
    axis = axis_figure(results, words)
    curve = break_even_figure(results, words)
    return BriefContent(
        language=words.template("language"),
        title=words.say("paper.title"),
        maker=words.say("paper.maker"),
        paper_name=words.say("paper.name"),
        stamp=words.say("paper.stamp") if invented else (),
        stamp_note=words.say("paper.stamp_note") if invented else (),
        edition=words.say("paper.edition"),
        page_label=words.say("paper.page_of"),
        banners=_banners(results, words),
        question=words.say("question.asked"),
        population=words.say(f"question.{_population_key(results)}"),
        answer=words.say(f"answer.{results.codes['brief.form']}"),
        word=_word(results, words),
        seats=seats_figure(words) if estimated else None,
        blocks=(
            _saw(results, words),
            _unseen(results, words, estimated=estimated),
            _headline(results, words),
            Block(words.say("record.name"), words.say("record.lead"), (words.say("record.body"),)),
        ),
        foot=((*_strong(words.say("foot.caution_name")), Piece(" "), *words.say("foot.caution")),),
        steady=_steady(words, estimated=estimated, drawn=axis is not None),
        axis=axis,
        headline=Section(
            words.say("break_even.title"),
            words.say("break_even.lead" if curve else "break_even.lead_none"),
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


def _population_key(results: StudyResults) -> str:
    if "span.first_year" not in results.numbers:
        return "population_no_years"
    one_year = results.numbers["span.first_year"].value == results.numbers["span.last_year"].value
    return "population_one_year" if one_year else "population"


def _banners(results: StudyResults, words: Wording) -> tuple[Text, ...]:
    keys = []
    if results.codes["records.survivor_only"] == "yes":
        keys.append("survivor_only")
    keys += [rule for rule in ("R40", "R41") if rule in results.lists["records.warnings"]]
    return tuple(words.say(f"banner.{key}") for key in keys)


def _word(results: StudyResults, words: Wording) -> WordBox:
    codes = results.codes
    whole = codes["verdict.reason"] == "gates"
    return WordBox(
        label=words.say("word.label"),
        word=words.say(f"word.{codes['verdict.word']}" if whole else "word.not_all_checked"),
        is_word=whole,
        hidden=_HIDDEN[codes["verdict.word"]],
        readings=(
            Reading(
                words.say("word.chance_asked"),
                words.say(f"word.chance.{codes['verdict.chance']}"),
                words.say(f"word.chance_why.{codes['verdict.chance_why']}"),
            ),
            Reading(
                words.say("word.reading_asked"),
                words.say(f"word.reading.{codes['verdict.reading_shown']}"),
                words.say(f"word.reading_why.{codes['verdict.reading_why']}"),
            ),
        ),
    )


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
    keys = ["saw.flooded"]
    if numbers["seen.neither"].value:
        keys.append("saw.neither")
    if "effect.rd_passengers" in numbers:
        keys.append("saw.passengers")
    if "effect.rd_all_aboard" in numbers:
        keys.append("saw.all_aboard" if "saw.passengers" in keys else "saw.all_aboard_first")
    keys.append("saw.within" if numbers["within.informative"].value else "saw.within_none")
    return Block(words.say("saw.name"), words.say(lead), (words.join(*keys),))


def _unseen(results: StudyResults, words: Wording, *, estimated: bool) -> Block:
    numbers = results.numbers
    lead = "unseen.lead"
    if not numbers["cohort.population"].value:
        return Block(words.say("unseen.name"), words.say("unseen.lead_nobody"), ())
    if not numbers["seen.died"].value:
        lead = "unseen.lead_nobody_died"
    elif not numbers["seen.unknown_died"].value:
        lead = "unseen.lead_none"
    keys = []
    if not numbers["seen.unknown"].value:
        keys.append("unseen.none_unknown")
    elif "unknown.rd_low" in numbers:
        keys.append("unseen.worst")
    if estimated and numbers["seen.unknown"].value:
        keys.append(f"unseen.{results.codes['records.left_out']}")
    if estimated:
        keys.append("unseen.fitness")
    if numbers["records.not_blind"].value:
        keys.append("unseen.not_blind")
    return Block(words.say("unseen.name"), words.say(lead), (words.join(*keys),) if keys else ())


def _headline(results: StudyResults, words: Wording) -> Block:
    name = words.say("headline.name")
    if "claim.trained_of_survivors" not in results.numbers:
        reason = results.absent["claim.trained_of_survivors"]
        return Block(
            name, words.say("headline.no_dead" if reason == "nobody_died" else "headline.no_survivors"), ()
        )
    known = "headline.known" if "claim.trained_of_known_dead" in results.numbers else "headline.unknown"
    lead = {"all": "headline.lead_all", "none": "headline.lead_none", "some": "headline.lead"}
    return Block(name, words.say(lead[results.codes["claim.share"]]), (words.join(known, "headline.alone"),))


def _steady(words: Wording, *, estimated: bool, drawn: bool) -> Section:
    without = "" if estimated else "_without"
    lead = f"steady.lead{without}" if drawn else "steady.nothing"
    return Section(words.say(f"steady.title{without}"), words.say(lead), ())


def _assumptions(results: StudyResults, words: Wording, *, estimated: bool) -> Section:
    within = words.say("assumed.within" if "within.odds_ratio" in results.numbers else "assumed.within_none")
    if not estimated:
        needed = words.say(f"needed.{results.codes['brief.form']}")
        return Section(words.say("needed.title"), needed, (within,))
    left_out = "assumed.left_out" if results.lists["plan.groups_left_out"] else "assumed.left_out_fitness"
    items = [words.say("assumed.adjusted"), words.say(left_out), words.say("assumed.unknown")]
    if results.lists["notices.gap_fields"]:
        items.append(words.say("assumed.gaps"))
    items += [words.say("assumed.crew"), within]
    return Section(words.say("assumed.title"), words.say("assumed.lead"), tuple(items))


def _gates(results: StudyResults, words: Wording) -> tuple[GateLine, ...]:
    lines = []
    for name, code, finding in results.tables["gates"].rows:
        state = next(known for known in _STATES if known == code)
        key = "not_built" if finding == "not_built" else f"{name}_{finding}"
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
    sources = ["hashes", "seed"] + (["funding"] if results.texts["study.funding"] else [])
    joined = words.join(*(f"provenance.{key}" for key in sources))
    return words.say("provenance.flow"), joined, words.say("provenance.rounded")


def _named(results: StudyResults, role: str) -> str:
    return f"decision.{role}_named" if results.texts[f"study.{role}_by"] else f"decision.{role}"


def _strong(text: Text) -> Text:
    return tuple(Piece(piece.text, piece.id, strong=True) for piece in text)
