"""What may be said of the case in one sentence, and which sentences go beyond it?"""

from __future__ import annotations

from survstats.report.annex.content import AnnexBlock, AnnexSection
from survstats.report.annex.tables import Row, texts
from survstats.report.budget.parts import (
    direction_of,
    form_of,
    has_programme,
    is_carried,
    others,
    part,
    table,
)
from survstats.report.content import Text
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

_ALWAYS = ("headline", "count", "worth")
_DONT: dict[str, tuple[str, ...]] = {
    "inputs_missing": ("rough", *_ALWAYS),
    "not_drawn": ("useless", "perlife", *_ALWAYS),
    "would_have_to": ("useless", "ranked", "perlife", *_ALWAYS, "years"),
    "lean": ("sure", "lives", *_ALWAYS, "free", "years"),
    "recommend": ("lives", *_ALWAYS, "free", "years"),
}
_OF_A_CUT = ("free", "gained")
"""Sentences about cutting what is done today."""


def saying(results: StudyResults, words: Wording) -> AnnexSection:
    """The strongest honest sentence, and a list of sentences not to say with the reason for each."""
    form, direction = form_of(results), direction_of(results)
    key = f"budget.saying.lead_{direction}_{form}" if is_carried(results) else f"budget.saying.lead_{form}"
    nobody = () if has_programme(results) else (f"{key}_nobody",)
    strongest = texts(words, *nobody, key) or (words.say("budget.saying.lead_would_have_to"),)
    dont = _DONT[form]
    if is_carried(results) and direction == "harm":
        dont = ("gained", *(name for name in dont if name != "free"))
    if nobody:
        dont = tuple(name for name in dont if name not in _OF_A_CUT)
    rows: list[Row] = [
        (words.say(f"budget.saying.dont.{name}_say"), words.say(f"budget.saying.dont.{name}_why"))
        for name in dont
        if words.can_say(f"budget.saying.dont.{name}_why")
    ]
    return part(
        words,
        "saying",
        AnnexBlock(words.say("budget.saying.strongest.title"), strongest[0], items=_even(results, words)),
        table(words, "saying.dont", ("say", "why"), rows, numbers=()),
    )


def _even(results: StudyResults, words: Wording) -> tuple[Text, ...]:
    """For each option, how much training would have to add, where a value of a life is given."""
    sides = {option: results.codes.get(f"{option}.break_even_points_form", "") for option in others(results)}
    return tuple(
        words.say(f"budget.saying.strongest.{side}", row=option)
        for option, side in sides.items()
        if words.can_say(f"budget.saying.strongest.{side}", row=option)
    )
