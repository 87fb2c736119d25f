"""Within which limits does each given figure of a decision make sense, and which are refused?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from survstats.groundwork.errors import StudyFileError
from survstats.study.decision_plan import InputPlan


@dataclass(frozen=True)
class Bounds:
    """Within which limits a figure makes sense, and whether they themselves are in."""

    least: float = 0.0
    most: float = float("inf")
    above: bool = False

    @property
    def words(self) -> str:
        """The limits for a sentence."""
        if self.most < float("inf"):
            return f"from {self.least:g} to {self.most:g}"
        return f"greater than {self.least:g}" if self.above else f"of at least {self.least:g}"

    def hold(self, figure: float) -> bool:
        """Whether a figure lies within them."""
        return (figure > self.least if self.above else figure >= self.least) and figure <= self.most


#: The shortest half-life in months, as `survstats.decision.draw_worlds` has it.
SHORTEST_HALF_LIFE = 0.5
_POSITIVE, _SHARE = Bounds(above=True), Bounds(most=1.0)
#: What is no sum of money and no plain count has limits of its own; the others are 0 or more.
BOUNDS: Mapping[str, Bounds] = {
    "hours_a_year": _POSITIVE,
    "half_life_months": Bounds(SHORTEST_HALF_LIFE),
    "people": _POSITIVE,
    "value_of_life": _POSITIVE,
    "courses_a_month": _POSITIVE,
    "false_confidence": _SHARE,
    "deaths_per_course": _SHARE,
    "injuries_per_course": _SHARE,
    "deaths_averted": _SHARE,
    "overlap": _SHARE,
    "leavers_a_year": Bounds(most=10.0),
}


def refuse_figure(name: str, figure: InputPlan) -> None:
    """Refuse a figure that cannot be, or whose limits and shape do not fit together.

    Raises
    ------
    StudyFileError
        ``must_be_known``, ``outside_bounds``, and as `survstats.decision.given.check`.
    """
    from survstats.decision.given import Given, check

    stem = name.split(".")[0]
    if stem == "people" and figure.shape != "known":
        raise StudyFileError(
            "must_be_known",
            "'people' has limits, but the people who are there now can be counted.",
            "Write the count, without low, high and shape.",
        )
    bounds = BOUNDS.get(stem, Bounds())
    for key in ("value", "low", "high"):
        told = getattr(figure, key)
        if told is not None and not bounds.hold(told):
            raise StudyFileError(
                "outside_bounds",
                f"{key} of '{stem}' is {told:g}, which cannot be.",
                f"Write a number {bounds.words}.",
            )
    check(
        Given(stem, figure.value, figure.low, figure.high, figure.shape), least=bounds.least, most=bounds.most
    )
