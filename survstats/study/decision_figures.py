"""Which given figures of a decision are refused, and what is said of the limits that they must keep?"""

from __future__ import annotations

import math
from collections.abc import Mapping

from survstats.decision.bounds import BOUNDS, MONTHS_BETWEEN, bounds_of
from survstats.groundwork.errors import StudyFileError
from survstats.study.decision_plan import InputPlan
from survstats.study.results import Cell

#: People who are counted one by one.
_COUNTED = ("people", "overdue_now")
_AS_IT_IS = "Write one value, without low, high and shape."
#: Figures that are taken as they stand and may have no limits: why not, and what to write.
KNOWN: Mapping[str, tuple[str, str]] = {
    "people": (
        "the people who are there now can be counted",
        "Write the count, without low, high and shape.",
    ),
    "value_of_life": (
        "the options are held against each other at one value",
        f"{_AS_IT_IS} The paper shows by itself what other values do.",
    ),
    "courses_a_month": ("the places at the trainer are followed as one number", _AS_IT_IS),
    "overdue_now": ("the people overdue now can be counted", "Write the count, without low, high and shape."),
    "months_since": ("a group stands at one number of months since its last course", _AS_IT_IS),
}


def refuse_figure(name: str, figure: InputPlan) -> None:
    """Refuse a figure that cannot be, or whose limits and shape do not fit together.

    Raises
    ------
    StudyFileError
        ``must_be_known``, ``outside_bounds``, ``not_whole``, and as `survstats.decision.given.check`.
    """
    from survstats.decision.given import Given, check

    stem = name.split(".")[0]
    if stem in KNOWN and figure.shape != "known":
        fault, remedy = KNOWN[stem]
        raise StudyFileError("must_be_known", f"'{stem}' has limits, but {fault}.", remedy)
    bounds = bounds_of(stem)
    for key in ("value", "low", "high"):
        told = getattr(figure, key)
        if told is not None and not bounds.hold(told):
            raise StudyFileError(
                "outside_bounds",
                f"{key} of '{stem}' is {told:g}, which cannot be.",
                f"Write a number {bounds.words}.",
            )
    if stem in _COUNTED and figure.value != round(figure.value):
        raise StudyFileError(
            "not_whole",
            f"value of '{stem}' is {figure.value:g}, but people are counted.",
            "Write a whole number.",
        )
    check(
        Given(stem, figure.value, figure.low, figure.high, figure.shape), least=bounds.least, most=bounds.most
    )


def refuse_part_of_month(key: str, months: float | None) -> None:
    """Refuse a part of a month between courses: who falls due is followed, and told, by whole months.

    Raises
    ------
    StudyFileError
        ``part_of_month``.
    """
    if months is not None and months != round(months):
        raise StudyFileError(
            "part_of_month",
            f"{key} is {months:g}, but courses are planned by whole months.",
            f"Write {key} = {math.floor(months):g} or {key} = {math.ceil(months):g}.",
        )


def bounds_table() -> tuple[tuple[str, ...], list[tuple[Cell, ...]]]:
    """Columns and rows of the table ``budget_bounds``: what may be typed for each figure where it has own limits.

    The row named ``other`` is for all that have none.
    """
    told = {**BOUNDS, "months": MONTHS_BETWEEN, "other": bounds_of("other")}
    rows: list[tuple[Cell, ...]] = [
        (name, limits.least, limits.most, int(limits.above)) for name, limits in told.items()
    ]
    return ("name", "least", "most", "above"), rows
