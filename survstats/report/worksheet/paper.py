"""What does the worksheet say and carry, for one study?"""

from __future__ import annotations

import datetime
from collections.abc import Mapping

from survstats.report.brief_word import word_box
from survstats.report.head import banners, paper_head, paper_words
from survstats.report.wording import Wording
from survstats.report.worksheet.content import FieldGroup, ResultLine, SheetField, WorksheetContent
from survstats.report.worksheet.drawn_worlds import drawn_worlds, has_worlds
from survstats.report.worksheet.fields import (
    field_groups,
    group_names,
    policy_names,
    spend_names,
)
from survstats.study.results import StudyResults

#: Sentences that the script fills with what it has worked out.
_SENTENCES = (
    *("lives", "lives_limits", "amount", "amount_limits", "cost_today", "courses", "courses_today", "chance"),
    *(
        "bought",
        "freed",
        "cheaper",
        "dearer",
        "same",
        "value_asked",
        "stale",
        "until_then",
        "spoken",
        "spoken_assumed",
        "spoken_back",
    ),
    *("no_lower", "no_upper_bought", "no_upper_freed", "ratio_no_limits", "changed", "changed_from"),
    *("wrong.number", "wrong.empty", "wrong.least", "wrong.above", "wrong.most", "wrong.longest"),
)
_LINES = ("lives", "cost_per_life", "extra", "cost", "courses", "chance", "worth")
_LABELS = (
    "form",
    "outcome",
    "strip_lives",
    "strip_extra",
    "strip_assumed",
    "back",
    "start_from",
    "no_script",
    "caution",
)


def worksheet_content(results: StudyResults, *, date: datetime.date) -> WorksheetContent | None:
    """What the worksheet holds; None where the study asks for no decision, or its figures are not all there.

    Parameters
    ----------
    results : StudyResults
    date : date
        The day printed on the page.
    """
    if not has_worlds(results):
        return None
    words = paper_words(results, date)
    form = results.codes["budget.form"]
    assumed = form == "would_have_to"
    groups = field_groups(results, words, assumed=assumed)
    word = word_box(results, words)
    return WorksheetContent(
        head=paper_head(results, words, name="worksheet.name", title="worksheet.paper_title"),
        banners=banners(results, words),
        question=words.say("worksheet.question"),
        lead=words.say("worksheet.lead"),
        word=word.word,
        hidden=word.hidden,
        lets_say=words.say(f"worksheet.lets_say.{_reading(results)}"),
        today=words.say("worksheet.today"),
        assumed=assumed,
        groups=groups,
        lines=tuple(_line(words, line, condition=_condition(results)) for line in _LINES),
        labels={name: words.say(f"worksheet.label.{name}") for name in _LABELS}
        | {"stale": words.say("worksheet.script.stale")},
        cautions=tuple(words.say(f"worksheet.caution.{key}") for key in _cautions(results, assumed=assumed)),
        payload=_payload(results, words, groups, assumed=assumed),
    )


def _reading(results: StudyResults) -> str:
    """Which sentence says what the word allows: by its form, and by its direction where it is not a gain."""
    form = results.codes["budget.form"]
    direction = results.codes.get("budget.direction", "benefit")
    return form if form == "would_have_to" or direction == "benefit" else f"{form}_{direction}"


def _condition(results: StudyResults) -> str:
    """On which condition lives are told: the gain that is assumed, or that training is why; empty where on none."""
    form = results.codes["budget.form"]
    if form == "would_have_to":
        return "_assumed"
    small = results.codes.get("budget.direction") == "no_worthwhile_difference"
    return "_lean" if form == "lean" and not small else ""


def _line(words: Wording, key: str, *, condition: str) -> ResultLine:
    conditional = f"worksheet.line.{key}_note{condition}"
    note = conditional if words.has(conditional) else f"worksheet.line.{key}_note"
    return ResultLine(key, words.say(f"worksheet.line.{key}"), words.say(note))


def _cautions(results: StudyResults, *, assumed: bool) -> list[str]:
    keys = ["settled", "spread", "worlds", "people", "one_ratio"]
    if "input.false_confidence" not in results.numbers:
        keys.append("no_false_confidence")
    return [*keys[:2], "assumed", *keys[2:]] if assumed else keys


def _payload(
    results: StudyResults, words: Wording, groups: tuple[FieldGroup, ...], *, assumed: bool
) -> Mapping[str, object]:
    """What the script reads."""
    names = policy_names(results)
    return {
        "worlds": drawn_worlds(results),
        "policies": [_policy(results, at) for at in range(len(names))],
        "today": names.index(results.texts["decision.today"]),
        "chosen": next(group.chosen for group in groups if group.choices),
        "assumed": assumed,
        "fields": {field.key: _rules(results, field) for group in groups for field in group.fields},
        "texts": {"decision.money": results.texts["decision.money"]},
        "sentences": {key: words.template(f"worksheet.script.{key}") for key in _SENTENCES},
    }


def _policy(results: StudyResults, at: int) -> dict[str, object]:
    months = results.numbers.get(f"policy.{at}.months")
    bought = results.lists.get(f"policy.{at}.spends", ())
    return {
        "months": months.value if months else None,
        "covered": [
            results.numbers[f"policy.{at}.covered.{place}"].value
            for place in range(len(group_names(results)))
        ],
        "bought": [name in bought for name in spend_names(results)],
    }


def _rules(results: StudyResults, field: SheetField) -> dict[str, object]:
    """What may be typed, for the script."""
    longest = field.key == "months" and "decision.longest_months" in results.numbers
    return {
        "kind": field.kind,
        "start": field.start,
        "least": field.least,
        "most": field.most,
        "above": field.above,
        "scale": field.scale,
        "may_be_empty": field.key == "value_of_life",
        "bound": "longest" if longest else "most",
    }
