"""Which texts of a decision cannot be set, so that two options could read alike on paper?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

from survstats.groundwork.errors import StudyFileError
from survstats.groundwork.letters import letter_not_set
from survstats.groundwork.toml_faults import short
from survstats.study.decision_plan import DecisionPlan

Path = tuple[str | int, ...]


def letters_not_set(plan: DecisionPlan) -> Iterator[tuple[Path, Callable[[], None]]]:
    """What is to be tried, and where it stands: names, question, money, and the other texts within sentences."""
    told: list[tuple[Path, str]] = [
        (("decision", "question"), plan.question),
        (("decision", "money"), plan.money),
        *((("decision", "policy", at, "name"), one.name) for at, one in enumerate(plan.policy)),
        *((("decision", "policy", at, "cuts"), one.cuts) for at, one in enumerate(plan.policy)),
        *((("decision", "group", at, "name"), one.name) for at, one in enumerate(plan.group)),
        *((("decision", "spend", at, "name"), one.name) for at, one in enumerate(plan.spend)),
    ]
    if plan.matrix is not None:
        told += [(("decision", "matrix", "cells", str(key)), name) for key, name in plan.matrix.cells.items()]
    for path, text in told:
        yield path, partial(refuse_letters, text)


def refuse_letters(text: str) -> None:
    """Refuse a text that the faces of the papers cannot set: two options could read alike on paper.

    Raises
    ------
    StudyFileError
        ``letter_not_set``.
    """
    letter = letter_not_set(text)
    if letter is not None:
        raise StudyFileError(
            "letter_not_set",
            f"the papers have no letter '{letter}', which stands in '{short(text)}'.",
            "Write it in Latin, Greek or Cyrillic letters.",
        )
