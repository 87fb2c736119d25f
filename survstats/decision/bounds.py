"""Within which limits does each figure that is given for a decision make sense?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

#: No figure of a study file is larger.
MOST_FIGURE = 1e15
#: The shortest half-life that can be given, in months: below it next to nothing is left after a season.
SHORTEST_HALF_LIFE = 0.5


@dataclass(frozen=True)
class Bounds:
    """Within which limits a figure makes sense.

    Attributes
    ----------
    least, most : float
        In the unit of the study file; `MOST_FIGURE` where nothing but the file itself ends it.
    above : bool
        Whether it must be more than ``least``, not just as much.
    """

    least: float = 0.0
    most: float = MOST_FIGURE
    above: bool = False

    @property
    def words(self) -> str:
        """The limits for a sentence."""
        if self.most < MOST_FIGURE:
            return f"from {self.least:g} to {self.most:g}"
        return f"greater than {self.least:g}" if self.above else f"of at least {self.least:g}"

    def hold(self, figure: float) -> bool:
        """Whether a figure lies within them."""
        return (figure > self.least if self.above else figure >= self.least) and figure <= self.most


#: Months between two courses.
MONTHS_BETWEEN = Bounds(1.0, 600.0)
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


def bounds_of(name: str) -> Bounds:
    """The limits of a figure, by its name alone or with its group or spend behind a full stop."""
    return BOUNDS.get(name.partition(".")[0], Bounds())
