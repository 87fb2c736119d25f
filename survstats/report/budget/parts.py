"""Which options, groups and spends does a decision have, and how is a part of the budget paper made?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial

from survstats.report.annex.tables import said, section, tabled, texts
from survstats.report.content import Piece, Text
from survstats.report.wording import Wording
from survstats.study.results import MASKED, StudyResults

FORMS = ("inputs_missing", "not_drawn", "would_have_to", "lean", "recommend")
"""The forms in which there is a budget paper."""
CARRIED = ("lean", "recommend")
"""The forms in which lives rest on the records' estimate."""
DIRECTIONS = ("benefit", "harm", "no_worthwhile_difference")
NO_BREAK = "\u00a0"

part = partial(section, paper="budget")
table = partial(tabled, paper="budget")
sentences = partial(said, paper="budget")


def form_of(results: StudyResults) -> str:
    """The form of the budget case; empty where none was asked for or it is withheld."""
    form = results.codes.get("budget.form", "")
    return form if form in FORMS else ""


def is_carried(results: StudyResults) -> bool:
    """Whether lives may be told from the records' own estimate."""
    return form_of(results) in CARRIED


def is_if(results: StudyResults) -> bool:
    """Whether lives are told on one condition, that training is why: the records lean, one way or the other."""
    return form_of(results) == "lean" and direction_of(results) != "no_worthwhile_difference"


def is_worked_out(results: StudyResults) -> bool:
    """Whether any sum was done: no figure is missing, and people at risk could be drawn."""
    return form_of(results) in ("would_have_to", *CARRIED)


def direction_of(results: StudyResults) -> str:
    """Which way the word points; a benefit where it points nowhere."""
    direction = results.codes.get("budget.direction", "")
    return direction if direction in DIRECTIONS else DIRECTIONS[0]


def numbered_texts(results: StudyResults, kind: str) -> list[str]:
    """The ids ``kind.0``, ``kind.1`` ... that have a name, in order."""
    found = [f"{kind}.{at}" for at in range(len(results.texts)) if f"{kind}.{at}.name" in results.texts]
    return [row for row in found if results.texts[f"{row}.name"] != MASKED]


def options(results: StudyResults) -> list[str]:
    """The ids of the policies, as the study file lists them."""
    return numbered_texts(results, "policy")


def is_today(results: StudyResults, option: str) -> bool:
    """Whether an option is the policy of today."""
    return results.codes.get(f"{option}.today") == "yes"


def covers_anybody(results: StudyResults, option: str) -> bool:
    """Whether an option keeps anybody trained."""
    shares = (n.value for name, n in results.numbers.items() if name.startswith(f"{option}.covered."))
    return any(share > 0 for share in shares)


def has_programme(results: StudyResults) -> bool:
    """Whether anybody is kept trained today: else there is no programme to hold against none."""
    return any(is_today(results, option) and covers_anybody(results, option) for option in options(results))


def others(results: StudyResults) -> list[str]:
    """The options that are not the policy of today."""
    return [option for option in options(results) if not is_today(results, option)]


def spaced(*parts_of: Text) -> Text:
    """Texts with a comma between them, those that are empty left out."""
    found = [text for text in parts_of if text]
    return tuple(piece for at, text in enumerate(found) for piece in ((Piece(", "),) if at else ()) + text)


def option_of(row: Mapping[str, object]) -> str:
    """The id of the option that a row of a table is about."""
    return f"policy.{row['policy']}"


def named(words: Wording, row: str) -> Text:
    """The name of an option, a group or a spend."""
    return words.cell(f"{row}.name", "text")


def items(words: Wording, key: str, names: Sequence[str]) -> tuple[Text, ...]:
    """Those of the sentences under ``budget.key`` that can be said."""
    return texts(words, *(f"budget.{key}.{name}" for name in names))


def limits(words: Wording, row: str, form: str, names: tuple[str, str, str]) -> Text:
    """The estimate of a table's row with its limits; the estimate alone where it has none."""
    middle, low, high = (words.cell(f"{row}.{name}", form) for name in names)
    return with_limits(middle, low, high) if middle and low and high else middle


def with_limits(value: Text, low: Text, high: Text) -> Text:
    """ "3.1 million (1.2 to 7.4 million)": a word that both limits end in stands once."""
    word = high[-1].text.rpartition(NO_BREAK)[2]
    if word.isalpha():
        low = (*low[:-1], replace(low[-1], text=low[-1].text.removesuffix(f"{NO_BREAK}{word}")))
    return (*value, Piece(" ("), *low, Piece(f"{NO_BREAK}to{NO_BREAK}"), *high, Piece(")"))
