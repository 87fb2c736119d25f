"""Does each verdict get its own honest text: word by direction by form, and what would change our mind?"""

from __future__ import annotations

import datetime
import itertools
import math
import re
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from decision_samples import without_decision
from test_brief import first_page, running_text
from verdict_samples import with_gates, with_verdict

from survstats import challenge, report
from survstats.challenge.battery import CHALLENGES, FINDINGS
from survstats.challenge.verdict import GATES
from survstats.report.brief import answer, brief_content
from survstats.report.brief_word import word_told
from survstats.report.content import BriefContent, plain
from survstats.report.wording import Wording, catalogue, facts_of
from survstats.study.results import MASKED, Number

DATE = datetime.date(2026, 11, 24)
CAUSE = re.compile(r"consistent with training|improving|lowering|effect of training is", re.IGNORECASE)
NEVER = re.compile(r"\b(prov(e|es|en)|significant(ly)?|effective(ness)?|saved?)\b", re.IGNORECASE)

SUPPORTS = {
    "word": "supports",
    "direction": "benefit",
    "reading": "as_far_as_seen",
    "limits": (0.11, 0.06, 0.19),
}
HARM = {**SUPPORTS, "direction": "harm", "limits": (-0.13, -0.22, -0.04)}
NO_DIFFERENCE = {
    "word": "supports",
    "direction": "no_worthwhile_difference",
    "chance": "not_shown",
    "reading": "no",
    "limits": (0.004, -0.02, 0.03),
}
SUGGESTS = {"word": "suggests", "direction": "benefit", "limits": (0.11, 0.03, 0.19)}
SUGGESTS_HARM = {"word": "suggests", "direction": "harm", "limits": (-0.11, -0.19, -0.03)}
OPEN = {"word": "cannot_tell", "chance": "not_shown", "reading": "no"}
OPEN_BUT_MORE = {"word": "cannot_tell", "direction": "benefit", "reading": "no", "limits": (0.11, 0.03, 0.19)}
OPEN_BUT_LESS = {**OPEN_BUT_MORE, "direction": "harm", "limits": (-0.11, -0.19, -0.03)}
SMALL = {
    "word": "cannot_tell",
    "size": "smaller_than_worthwhile",
    "reading": "no",
    "limits": (0.01, 0.002, 0.018),
}
#: Verdict; its word; what the meaning says; what page 1 must not say.
CASES = {
    "supports": (SUPPORTS, "supports", "training improving survival", "harm|lowering|fewer, not more"),
    "supports_harm": (HARM, "supports harm", "training lowering survival", "improving|more often"),
    "no_difference": (
        NO_DIFFERENCE,
        "no worthwhile difference",
        "less than 5 points either way",
        "improving|lowering",
    ),
    "suggests": (SUGGESTS, "suggests", "more often than chance explains", CAUSE.pattern),
    "suggests_harm": (SUGGESTS_HARM, "suggests harm", "less often than chance explains", CAUSE.pattern),
    "cannot_tell": (OPEN, "cannot tell", "The question stays open.", CAUSE.pattern),
    "cannot_tell_more": (OPEN_BUT_MORE, "cannot tell", "more often than chance", CAUSE.pattern),
    "cannot_tell_less": (OPEN_BUT_LESS, "cannot tell", "less often than chance", CAUSE.pattern),
    "cannot_tell_small": (SMALL, "cannot tell", "too small to count", CAUSE.pattern),
}


@pytest.fixture(scope="module")
def results(demo_results):
    return without_decision(demo_results["demo_main"])


def told(results) -> BriefContent:
    return brief_content(results, date=DATE)


def change(c: BriefContent) -> str:
    block = c.blocks[2]
    return " ".join(plain(text) for text in (block.lead, *block.body))


def page(c: BriefContent) -> str:
    texts = [c.answer, c.word.word, c.word.meaning]
    texts += [text for reading in c.word.readings for text in (reading.answer, reading.reason)]
    texts += [text for block in c.blocks for text in (block.name, block.lead, *block.body)]
    return " ".join(plain(text) for text in texts)


@pytest.mark.parametrize("name", CASES)
def test_each_verdict_has_its_own_word_and_meaning(results, name):
    verdict, word, meaning, must_not = CASES[name]
    c = told(with_gates(with_verdict(results, **verdict)))
    assert plain(c.word.word) == word
    assert meaning in plain(c.word.meaning).replace("\u00a0", " ")
    assert not re.search(must_not, page(c))
    assert not NEVER.search(page(c))
    assert c.word.hidden == {"supports": 0, "suggests": 0.52, "cannot_tell": 1}[verdict["word"]]
    assert [line.reached for line in c.words] == [
        name == verdict["word"] for name in ("supports", "suggests", "cannot_tell")
    ]


def test_no_two_verdicts_say_the_same(results):
    said = [plain(told(with_verdict(results, **case[0])).word.meaning) for case in CASES.values()]
    assert len(set(said)) == len(said)


@pytest.mark.parametrize("name", CASES)
def test_every_verdict_stays_within_the_words_of_page_1(results, name):
    c = told(with_gates(with_verdict(results, **CASES[name][0], borderline="yes"), seen="partly_met"))
    assert sum(len(plain(text).split()) for text in first_page(c)) <= 450
    sentences = [
        one
        for text in running_text(c)
        for one in re.split(r"(?<=[.?!])\s+", plain(text).replace("\u00a0", " "))
        if one
    ]
    assert sum(len(one.split()) for one in sentences) / len(sentences) <= 20


def test_the_answer_says_harm_and_no_worthwhile_difference_in_its_own_words(results):
    assert "fewer, not more" in plain(told(with_verdict(results, **HARM)).answer)
    assert "under the 5 that count" in plain(told(with_verdict(results, **NO_DIFFERENCE)).answer)
    assert "fewer" not in plain(told(with_verdict(results, **SUPPORTS)).answer)


def test_borderline_is_said_where_it_is_and_only_there(results):
    for answer_, there in (("yes", True), ("no", False)):
        c = told(with_verdict(results, **SUGGESTS, borderline=answer_))
        assert ("Borderline" in plain(c.word.meaning)) == there


def test_a_size_below_what_counts_is_said_even_where_the_word_is_not_earned(results):
    assert "All of it is under the 5" in plain(told(with_verdict(results, **SMALL)).word.readings[0].reason)


# ---- the gates that decided ----------------------------------------------------------------------


def reading(results, **states: str) -> str:
    return plain(told(with_gates(results, **states)).word.readings[1].reason)


def test_at_most_two_gates_are_named_and_those_that_failed_come_first(results):
    no = with_verdict(results, **OPEN)
    assert reading(no, seen="not_met", choices="partly_met") == "Against it: missing papers of the dead."
    many = reading(no, seen="not_met", miscoding="not_met", choices="not_met", comparable="not_met")
    assert many == "Against it: missing papers of the dead and entries that may be wrong, among others."
    part = with_verdict(results, **SUGGESTS)
    assert reading(part, seen="partly_met", choices="not_met") == (
        "Held back by choices of our own and missing papers of the dead."
    )
    assert reading(with_verdict(results, **SUPPORTS)) == "Every gate that bears on it is met."


@pytest.mark.parametrize(
    ("finding", "named"),
    [("signs", "populations"), ("alarm", "deaths on impact"), ("strength_limit", "unrecorded fitness")],
)
def test_other_explanations_are_named_by_what_was_found(results, finding, named):
    part = with_verdict(results, **SUGGESTS)
    assert named in reading(part, other_explanations=f"partly_met:{finding}")


def test_where_there_is_no_worthwhile_difference_no_cause_is_asked_for(results):
    c = told(with_gates(with_verdict(results, **NO_DIFFERENCE), other_explanations="not_met"))
    assert "No difference large enough" in plain(c.word.readings[1].reason)


def test_a_hidden_trait_is_weighed_against_the_limit_only_where_the_interval_leaves_zero(results):
    for beyond, said in (("met", "may leave chance"), ("not_met", "holds zero")):
        c = told(
            with_gates(
                with_verdict(results, **OPEN),
                beyond_chance=beyond,
                other_explanations="partly_met:strength_limit",
            )
        )
        assert said in plain(c.gates[5].finding)


def test_an_interval_open_before_any_entry_was_doubted_is_not_blamed_on_the_entries(results):
    found = with_gates(
        with_verdict(results, **OPEN, up=("beyond_chance", "miscoding")),
        beyond_chance="not_met",
        miscoding="not_met:already_open",
    )
    c = told(found)
    assert "entries that may be wrong" not in page(c)
    assert "an interval that holds zero" in plain(c.word.readings[1].reason)
    assert "papers behind each entry" not in change(c)
    assert plain(c.gates[4].finding).startswith("the interval holds zero before any entry is doubted")


def test_entries_that_hardly_any_of_were_turned_are_not_said_to_be_put_right(results):
    whole = with_verdict(results, **SUGGESTS)
    c = told(with_gates(replace(whole, codes={**whole.codes, "miscoding.touched": "slight"})))
    assert plain(c.gates[4].finding).endswith("less than one was to be put right")


def test_choices_that_could_not_be_made_are_told(results):
    some = {**with_verdict(results, **SUGGESTS).numbers, "choices.not_made": Number(2, "count", "counted")}
    c = told(with_gates(replace(with_verdict(results, **SUGGESTS), numbers=some)))
    assert plain(c.gates[7].finding).endswith("agree; 2 could not be made")
    assert "could not be made" not in plain(
        told(with_gates(with_verdict(results, **SUGGESTS))).gates[7].finding
    )


def test_a_word_short_of_supports_says_what_else_that_takes(results):
    short = with_verdict(results, **SUGGESTS, up=("enough",))
    short = replace(short, codes={**short.codes, "change.up_word": "supports"})
    assert change(told(short)).endswith("“Supports” also takes more mishaps and people.")
    assert "also takes" not in change(told(with_verdict(results, **SUGGESTS)))


def test_every_finding_of_a_gate_has_its_sentence():
    words = Wording(facts_of_nothing())
    source = "\n".join(path.read_text("utf-8") for path in Path(challenge.__file__).parent.glob("*.py"))
    literal = set(re.findall(r'Gate\(\s*"(\w+)", "\w+", "(\w+)"', source))
    assert len(literal) > 25
    mapped = {
        "unknown_status": ("keeps_interval", "keeps_sign", "turns"),
        "miscoding": (
            *("both_hold", "weakened", "overturned", "already_open"),
            *("few_documented", "not_estimated"),
        ),
        "other_explanations": (
            *("met", "strength_limit", "strength_limit_covered", "shift", "signs", "alarm", "leg_missing"),
            *("below_floor", "populations_disagree", "within_disagrees"),
        ),
        "choices": ("most", "many", "few"),
        "beyond_chance": ("one_mishap_matters", "close", "one_mishap_turns", "covers_zero"),
    }
    assert set(mapped) <= set(GATES)
    findings = literal | {(gate, finding) for gate, found in mapped.items() for finding in found}
    assert [pair for pair in sorted(findings) if not words.has("gate_finding." + "_".join(pair))] == []
    reasons = {finding for gate, finding in findings if gate == "beyond_chance"}
    assert [reason for reason in sorted(reasons) if not words.has(f"word.chance_why.{reason}")] == []


def facts_of_nothing():
    from survstats.report.wording import Facts

    return Facts({})


def findings_with_a_sentence(name):
    """Those of a challenge that the catalogue knows; a sentence of a case of it is no finding of its own."""
    catalogue = tomllib.loads((Path(report.__file__).parent / "catalogue_en.toml").read_text("utf-8"))
    return {re.sub("(_slight|_covered)?(_masked)?$", "", key) for key in catalogue["challenge"][name]}


@pytest.mark.parametrize("name", CHALLENGES)
def test_every_finding_of_a_challenge_has_its_sentence_and_no_sentence_is_idle(name):
    assert findings_with_a_sentence(name) == set(FINDINGS[name])


def test_every_challenge_has_a_question_and_findings():
    words = Wording(facts_of_nothing())
    assert tuple(FINDINGS) == CHALLENGES
    for name in CHALLENGES:
        assert plain(words.say(f"challenge_question.{name}")).endswith("?")
    for state in ("holds", "weakens", "overturns", "not_assessable"):
        assert words.has(f"challenge_state.{state}")


def test_the_challenges_of_the_demos_can_all_be_said(demo_results):
    for name, found in demo_results.items():
        words = Wording(facts_of(found))
        for challenge_name in CHALLENGES:
            finding = found.codes[f"challenge.{challenge_name}.finding"]
            assert finding in FINDINGS[challenge_name]
            assert words.can_say(f"challenge.{challenge_name}.{finding}"), (name, challenge_name, finding)


# ---- what would change our mind ------------------------------------------------------------------


def test_a_word_falls_with_the_unknown_dead_where_some_number_of_them_would_do(results):
    c = told(with_verdict(results, **SUGGESTS))
    assert plain(c.blocks[2].lead).startswith("If 27 or more of those 41 had been trained")
    assert "To be expected is about 12." in change(c)
    assert "If 36 or more had been, no difference is left." in change(c)
    assert plain(told(with_verdict(results, **SUGGESTS_HARM)).blocks[2].lead).startswith(
        "If 27 or fewer of those 41"
    )


def test_where_no_number_of_them_would_do_it_takes_a_hidden_trait(results):
    c = told(with_verdict(results, **SUPPORTS, tipping="never"))
    assert "raising both odds 1.7 times" in change(c)
    assert "2.1 thought possible" in change(c)
    endless = Number(math.inf, "ratio", "invented")
    stronger = with_verdict(results, **SUPPORTS, tipping="never")
    both = {"fitness.odds_estimate": endless, "fitness.odds_limit": endless}
    c = told(replace(stronger, numbers={**stronger.numbers, **both}))
    assert "No hidden trait" in change(c)
    assert not re.search(r"\binf|limit times", change(c))


def test_where_neither_can_be_told_it_is_new_mishaps_or_papers(results):
    bare = with_verdict(results, **SUPPORTS, tipping="never")
    numbers = {name: number for name, number in bare.numbers.items() if not name.startswith("fitness.odds")}
    assert "New mishaps, or papers" in change(told(replace(bare, numbers=numbers)))


def test_no_worthwhile_difference_falls_with_a_larger_one(results):
    assert "larger difference" in change(told(with_verdict(results, **NO_DIFFERENCE)))


def test_what_earns_a_word_is_said_in_things_that_can_be_done(results):
    c = told(with_verdict(results, **OPEN, up=("seen", "beyond_chance")))
    lead = plain(c.blocks[2].lead)
    assert lead == "“Suggests” takes papers for more of the dead and an interval off zero."
    assert "They exist for 57 of 111; 80 % are asked." in change(c).replace("\u00a0", " ")
    assert "More mishaps, with papers" in change(told(with_verdict(results, **OPEN)))
    for gate in GATES:
        assert catalogue("en")["change_ask"][gate]


def test_a_difference_that_is_there_but_cannot_be_read_says_what_would_undo_it(results):
    assert "If 27 or more of those 41 dead" in change(
        told(with_verdict(results, **OPEN_BUT_MORE, up=("seen",)))
    )
    assert "If 27 or fewer of those 41" in change(told(with_verdict(results, **OPEN_BUT_LESS, up=("seen",))))
    assert "1.7 times" in change(told(with_verdict(results, **OPEN_BUT_MORE, tipping="never", up=("seen",))))


FORMS = (
    *("survivor_only", "few_mishaps", "one_mishap", "arm_in_one_mishap", "all_trained", "none_trained"),
    *("all_survived", "all_died", "missing_value", "too_many_fields", "not_converged", "no_rows", MASKED),
)


@pytest.mark.parametrize("form", FORMS)
def test_every_form_without_an_estimate_says_what_would_change_our_mind(form):
    words = Wording(facts_of_nothing())
    for key in (f"answer.{form}", f"change.lead_{form}", f"change.{form}", f"needed.{form}"):
        assert words.has(key), key


def test_few_mishaps_can_earn_a_word_by_comparison_within_them(thin_results):
    few = with_verdict(
        thin_results["seven_mishaps"],
        **{**SUGGESTS, "limits": None},
        few_mishaps_route="yes",
        chance_why="within_route",
    )
    better = Number(6, "count", "invented")
    numbers = {**few.numbers, "within.better": better, "within.informative": better}
    c = told(with_gates(replace(few, numbers=numbers), beyond_chance="met:within_route"))
    assert "the trained did better in 6 of 6" in plain(c.answer).replace("\u00a0", " ")
    assert plain(c.word.word) == "suggests"
    assert "whichever mishap is left out" in plain(c.word.readings[0].reason)
    assert "goes the other way" in plain(c.blocks[2].lead)
    assert c.seats is None
    harm = replace(
        few, codes={**few.codes, "verdict.direction": "harm", "verdict.chance_shown": "less_often"}
    )
    assert "the trained did worse" in plain(told(harm).answer)


# ---- the foot of the gates, the terminal, what is withheld ---------------------------------------


def test_the_word_at_a_lower_floor_is_told(results):
    assert "Were 1.6 thought possible in gate 6, the word would be the same." in plain(
        told(with_verdict(results, **SUPPORTS)).gates_foot
    )
    for word in ("suggests", "cannot_tell"):
        other = with_verdict(results, **SUPPORTS, word_at_lower_floor=word)
        assert f"“{word.replace('_', ' ')}”" in plain(told(other).gates_foot)


def test_a_word_that_is_withheld_is_not_told_in_any_other_place(results):
    shared = with_verdict(results, **OPEN, reason=MASKED, reading_shown=MASKED, reading_why=MASKED)
    c = told(shared)
    assert not c.word.is_word
    assert c.word.meaning == c.gates_foot == ()
    assert not any(line.reached for line in c.words)
    assert "withheld" in change(c)
    words = Wording(facts_of(shared))
    assert "withheld" in plain(word_told(shared, words))


def test_the_terminal_tells_the_word_and_what_it_means(results):
    for verdict, word in ((SUPPORTS, "supports."), (HARM, "supports harm."), (OPEN, "cannot tell.")):
        found = with_verdict(results, **verdict)
        words = Wording(facts_of(found))
        assert plain(word_told(found, words)).startswith(f"The word: {word}")
        assert plain(answer(found, words))


def test_the_key_shows_not_assessed_only_where_it_occurs(results):
    for states, there in (({}, False), ({"seen": f"not_assessed:{MASKED}"}, True)):
        c = told(with_gates(results, **states))
        assert ("not_assessed" in [state for state, _ in c.gate_key]) == there


def test_thresholds_and_choices_are_said_to_be_fixed_before_outcomes_were_read(results):
    line = plain(told(results).provenance[1]).replace("\u00a0", " ")
    assert line.startswith("Sealed before the program read outcomes: study file ")
    for name in ("study_file", "verdict_thresholds", "choices"):
        digest = results.provenance[name]
        assert f"{digest[:4]} {digest[4:8]}" in line


def test_every_word_and_direction_there_can_be_has_a_text():
    words = Wording(facts_of_nothing())
    for word, direction in itertools.product(
        ("supports", "suggests"), ("benefit", "harm", "no_worthwhile_difference")
    ):
        if (word, direction) != ("suggests", "no_worthwhile_difference"):
            assert words.has(f"word.{word}_{direction}")
            assert words.has(f"word.meaning.{word}_{direction}")


def test_where_chance_comes_back_further_out_both_ends_are_said(results):
    dips = with_verdict(results, **SUGGESTS, tipping="dips")
    ends = {
        f"tipping.chance_{end}": Number(people, "people", "imputed")
        for end, people in (("from", 3), ("to", 7))
    }
    few = {"tipping.expected": Number(0.4, "people", "imputed")}
    c = told(replace(dips, numbers={**dips.numbers, **ends, **few}))
    assert plain(c.blocks[2].lead) == "If 3 to 7 of those 41 had been trained, this may be chance."
    assert "To be expected is less than one." in change(c)
