"""What does the first page of the budget paper say: the answer, the options side by side, what rests on what?"""

from __future__ import annotations

from dataclasses import replace

from survstats.report.annex.content import AnnexBlock
from survstats.report.annex.tables import Row, coded, named_list, texts
from survstats.report.budget.parts import (
    NO_BREAK,
    covers_anybody,
    direction_of,
    form_of,
    has_programme,
    is_carried,
    is_if,
    is_today,
    is_worked_out,
    items,
    named,
    options,
    spaced,
    table,
)
from survstats.report.content import Piece, Text
from survstats.report.head import strong
from survstats.report.lettering import join
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

_RESTS = ("records", "runs", "given")
_LEADS = {
    True: ("budget.options.lead_carried", "budget.options.lead"),
    False: ("budget.options.lead",),
}


def answer(results: StudyResults, words: Wording) -> Text:
    """One strong sentence that the verdict carries, and what follows from it."""
    form = form_of(results)
    if form == "inputs_missing":
        missing = results.lists.get("budget.missing", ())
        return named_list(words, f"budget.answer.{form}", missing, "budget.missing", of="input.name")
    if not is_carried(results):
        return words.say(f"budget.answer.{form}")
    first = words.say(f"budget.answer.{form}_{direction_of(results)}")
    programme = _programme(words) if has_programme(results) else ()
    return join(first, *programme, *_cut_back(results, words), *best(results, words))


def _programme(words: Wording) -> tuple[Text, ...]:
    """What today's policy comes to against no training."""
    return texts(words, "budget.answer.programme")[:1] or texts(words, "budget.answer.programme_few")


def _cut_back(results: StudyResults, words: Wording) -> tuple[Text, ...]:
    """That the estimate was cut back to what can be, where it was in many of the worlds."""
    often = results.codes.get("budget.cut_back") == "often"
    return texts(words, "budget.answer.capped") if often else ()


def best(results: StudyResults, words: Wording) -> tuple[Text, ...]:
    """Which option is worth most at the user's own value of a life; that it hangs on one where none is given.

    Nothing is called best where the records show a loss: why is asked first.
    """
    if direction_of(results) == "harm":
        return ()
    if not words.has_number("input.value_of_life"):
        return (words.say("budget.answer.no_value"),)
    option = f"policy.{results.codes.get('policy.best', '')}"
    if option not in options(results):
        return ()
    key = "best" if words.has_number(f"{option}.chance_best") else "best_plain"
    return (words.say(f"budget.answer.{key}", row=option),)


def side_by_side(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """The options: whom they keep trained, what they cost, and what they buy as far as the verdict carries it."""
    rows: list[Row] = [
        (
            _option(results, words, option),
            words.cell(f"{option}.cost_a_year", "money_with_interval"),
            _against(results, words, option, "extra_cost_a_year", "money_with_interval"),
            *(
                _against(results, words, option, name, form) if is_carried(results) else ()
                for name, form in (("lives_a_year", "lives_with_interval"), ("chance_lives_lost", "percent"))
            ),
        )
        for option in options(results)
    ]
    condition = "_if" if is_if(results) else ""
    heads = ("option", "cost", "extra", f"lives{condition}", f"chance{condition}")
    notes = ("not_carried",) if form_of(results) == "would_have_to" else ()
    told = tuple(_what(results, words, option) for option in options(results))
    found = table(
        words, "options", heads, rows, numbers=heads[1:], items=(*told, *items(words, "options", notes))
    )
    if found is None:
        return None
    if not any(any(row[1:]) for row in rows):
        return AnnexBlock(found.title, (), items=found.items)
    lead = texts(words, *_LEADS[is_carried(results)])[0]
    return replace(found, lead=lead, folded=True)


def _option(results: StudyResults, words: Wording, option: str) -> Text:
    """The name, and that it is today's."""
    name = named(words, option)
    return (
        (*name, Piece(" ("), *words.say("budget.today_is"), Piece(")")) if is_today(results, option) else name
    )


def _what(results: StudyResults, words: Wording, option: str) -> Text:
    """What an option does: whom it keeps trained and how often, what it buys and cuts, money for each life."""
    groups = [
        (
            *words.cell(f"group.{at}.name", "text"),
            Piece(NO_BREAK),
            words.slot(f"{option}.covered.{at}", "percent"),
        )
        for at in range(len(results.texts))
        if words.has_number(f"{option}.covered.{at}")
    ]
    months = "months" if words.has_number(f"{option}.months") else "first_only"
    courses = texts(words, "budget.options.courses", row=option)
    spends = (words.slot(f"{option}.spends", "list"),) if results.lists.get(f"{option}.spends") else ()
    how = (*groups, join(words.say(f"budget.options.{months}", row=option), *courses))
    if not covers_anybody(results, option):
        how = (words.say("budget.options.nobody"),)
    who = spaced(*how, spends)
    cuts = ("cuts",) if results.texts.get(f"{option}.cuts") else ()
    per_life = [
        key
        for key, name in (("bought", "cost_per_life"), ("freed", "freed_per_life"))
        if is_carried(results) and words.has_number(f"{option}.{name}")
    ]
    more = (words.say(f"budget.options.{key}", row=option) for key in (*cuts, *per_life))
    return join((*strong(named(words, option)), Piece(": "), *who, Piece(".")), *more)


def _against(results: StudyResults, words: Wording, option: str, name: str, form: str) -> Text:
    """A number against today's policy; empty for that policy itself."""
    return () if is_today(results, option) else words.cell(f"{option}.{name}", form)


def rests(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """What of the case rests on the mishap records, on the trainer's runs, on figures given; None without a sum."""
    if not is_worked_out(results):
        return None
    rows: list[Row] = [
        (
            words.say(f"budget.rests.{name}"),
            _codes(results, words, f"budget.rests.{name}") or words.say("budget.rests.nothing"),
        )
        for name in _RESTS
        if f"budget.rests.{name}" in results.lists
    ]
    return table(words, "rests", ("from", "what"), rows, numbers=())


def _codes(results: StudyResults, words: Wording, name: str) -> Text:
    """A stored list of codes in words."""
    codes = results.lists[name]
    told = dict.fromkeys("".join(p.text for p in coded(words, "budget.part", code)) for code in codes)
    return (Piece(words.listed(list(told)), name),) if told else ()
