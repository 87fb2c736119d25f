"""What does page 1 open with where the study file names a decision: what the records let one say, and what it costs?"""

from __future__ import annotations

from survstats.report.content import DecisionLead, Piece, Text, plain
from survstats.report.lettering import break_lines, join
from survstats.report.style import MM, SIZES
from survstats.report.wording import Wording, in_series
from survstats.study.results import StudyResults

_EARNED = ("lean", "recommend")
"""Forms in which the word carries what the options do to lives."""
_NOTHING = ("inputs_missing", "not_drawn")
"""Forms in which nothing is worked out."""
_PARTS = ("records", "runs", "given")
_MOST_NAMED = 2
_OPTIONS_WIDTH, _MOST_LINES = 82 * MM, 2
"""The place for the decision taken: options that do not fit above its lines stand in the budget paper alone."""


def decision_lead(results: StudyResults, words: Wording) -> DecisionLead | None:
    """What is said of the question of the study file, what that rests on, and one line of money.

    None where the study file names no decision.
    """
    if not asks(results):
        return None
    return DecisionLead(
        told=_told(results, words),
        rests=_rests(results, words),
        money=_money(results, words),
    )


def asks(results: StudyResults) -> bool:
    """Whether the study file names a decision; nothing of one is in results to be passed on."""
    return "decision.question" in results.texts


def no_money(results: StudyResults, words: Wording) -> Text:
    """Why no money is given: the study file names no decision, or the paper is one to be passed on."""
    return words.say(f"decision_lead.{results.codes['budget.form']}")


def options(results: StudyResults, words: Wording) -> Text:
    """What may be chosen, that of today first of all said to be so; empty where it is too long for its place."""
    if not asks(results):
        return ()
    named = [
        words.say(f"decision_lead.option{'_today' if _is_today(results, at) else ''}", row=f"policy.{at}")
        for at in _policies(results)
    ]
    told = join(words.say("decision_lead.options"), in_series(*named))
    fits = len(break_lines(told, _OPTIONS_WIDTH, SIZES.note)) <= _MOST_LINES
    return told if fits else ()


def _told(results: StudyResults, words: Wording) -> Text:
    form = results.codes["budget.form"]
    if form not in _EARNED:
        return words.say(f"decision_lead.{form}")
    direction = results.codes["budget.direction"]
    if direction != "benefit":
        return words.say(f"decision_lead.{direction}")
    best = results.codes.get("policy.best")
    said = words.say(f"decision_lead.{form}")
    if best is None:
        return join(said, words.say("decision_lead.no_value"))
    return join(said, words.say(f"decision_lead.best{_if(form)}", row=f"policy.{best}"))


def _if(form: str) -> str:
    """A word that merely leans carries lives and ranking on one condition: that training is why."""
    return "_if" if form == "lean" else ""


def _rests(results: StudyResults, words: Wording) -> Text:
    """Which part rests on what; nothing of a kind is said only of the trainer's runs, since one may expect it."""
    if results.codes["budget.form"] in _NOTHING:
        return ()
    told = [_part(results, words, kind) for kind in _PARTS]
    return in_series(*(part for part in told if part))


def _part(results: StudyResults, words: Wording, kind: str) -> Text:
    name = f"budget.rests.{kind}"
    codes = results.lists.get(name, ())
    if not codes:
        return words.say("decision_lead.rests_runs_none") if kind == "runs" else ()
    named = dict.fromkeys(_named(words, f"decision_lead.part.{code}", code) for code in codes)
    opening = f"decision_lead.rests_{_quality(results) if kind == 'given' else kind}"
    return (*words.say(opening), Piece(" "), Piece(words.listed(list(named)), name))


def _quality(results: StudyResults) -> str:
    """Whether the given figures were measured, all, some or none of them."""
    told = [
        code
        for name, code in results.codes.items()
        if name.startswith("input.") and name.endswith(".quality")
    ]
    measured = told.count("measured")
    return "given" if measured == len(told) else "partly" if measured else "assumed"


def _money(results: StudyResults, words: Wording) -> Text:
    """What another policy costs against that of today, and what it does to lives as far as the word carries that."""
    form = results.codes["budget.form"]
    if form in _NOTHING:
        said = words.say(f"decision_lead.money_{form}")
        return (*said, *_missing(results, words)) if form == "inputs_missing" else said
    row = f"policy.{_other(results)}"
    way = "less" if results.numbers[f"{row}.extra_cost_a_year"].value < 0 else "more"
    lives = f"lives{_if(form)}" if form in _EARNED else "lives_not_known"
    return in_series(words.say(f"decision_lead.{way}", row=row), words.say(f"decision_lead.{lives}", row=row))


def _missing(results: StudyResults, words: Wording) -> Text:
    """Which figures are missing, where they are few enough to be named."""
    codes = results.lists["budget.missing"]
    if len(codes) > _MOST_NAMED:
        return (Piece(" "), *words.say("decision_lead.several"), Piece("."))
    named = [_named(words, f"input.name.{code}", code) for code in codes]
    return (Piece(" "), Piece(words.listed(named), "budget.missing"), Piece("."))


def _named(words: Wording, key: str, code: str) -> str:
    """What the catalogue calls a code; the code itself where it has no name for it."""
    return words.template(key) if words.has(key) else words.name(code)


def _other(results: StudyResults) -> int:
    """The policy that is set against today's: the best one where that is another, else the first other in the file."""
    best = results.codes.get("policy.best")
    if best is not None and not _is_today(results, int(best)):
        return int(best)
    return next(at for at in _policies(results) if not _is_today(results, at))


def _policies(results: StudyResults) -> range:
    return range(sum(name.startswith("policy.") and name.endswith(".name") for name in results.texts))


def _is_today(results: StudyResults, at: int) -> bool:
    return results.codes[f"policy.{at}.today"] == "yes"


def lead_told(lead: DecisionLead) -> str:
    """The lead as one text, for the terminal."""
    return " ".join(plain(text) for text in (lead.told, lead.money) if plain(text))
