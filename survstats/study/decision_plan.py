"""What may stand under ``[decision]``: the question, the policies, the people, and every figure that is given.

No figure has a default. One that the money needs and that is not there is no fault of the file: `DecisionPlan.missing`
names it, and the paper explains it.
`survstats.study.decision_refusals` says what must agree.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import BaseModel, Field

from survstats.decision.bounds import MONTHS_BETWEEN, MOST_FIGURE
from survstats.study.plan_entries import STRICT, Label, Line, Role, Source, Word, Zone

MOST_POLICIES, MOST_GROUPS, MOST_SPENDS = 6, 12, 5

Figure = Annotated[float, Field(allow_inf_nan=False, ge=-MOST_FIGURE, le=MOST_FIGURE)]
Share = Annotated[float, Field(ge=0, le=1)]
Months = Annotated[float, Field(ge=MONTHS_BETWEEN.least, le=MONTHS_BETWEEN.most)]
Shape = Literal["known", "uniform", "normal", "lognormal", "beta"]
Quality = Literal["measured", "assumed", "expert", "invented"]


class _Strict(BaseModel):
    model_config = STRICT


class InputPlan(_Strict):
    """A figure that is given: how large, how far it may be off, who says so.

    ``low`` and ``high`` are the ends of a uniform shape, and hold 95 % of any other; a figure that is ``known`` has
    none.
    """

    value: Figure
    low: Figure | None = None
    high: Figure | None = None
    shape: Shape = "known"
    source: Source
    quality: Quality


class CountedPlan(_Strict):
    """Mishaps in the water, counted over so many flight hours."""

    value: Annotated[int, Field(ge=0, le=1_000_000)]
    hours: Annotated[float, Field(gt=0, le=1e12)]
    source: Source
    quality: Quality


class PolicyPlan(_Strict):
    """Whom a policy keeps trained, and how often; without ``months`` there is a first course and no refresher.

    A group that ``trained`` does not name has nobody kept trained.
    """

    name: Label
    months: Months | None = None
    trained: dict[Label, Share] = {}
    spends: Annotated[list[Label], Field(max_length=MOST_SPENDS)] = []
    cuts: Line = ""


class GroupPlan(_Strict):
    """People who are decided on together: their role and, if it is named, class of aircraft and zone of seats."""

    name: Label
    roles: Annotated[list[Role], Field(min_length=1)]
    classes: list[Word] = []
    zone: Zone | None = None
    people: InputPlan | None = None
    leavers_a_year: InputPlan | None = None
    months_since: InputPlan | None = None


class SpendPlan(_Strict):
    """A rival way to spend the money."""

    name: Label
    cost_a_year: InputPlan | None = None
    deaths_averted: InputPlan | None = None
    overlap: InputPlan | None = None


class InputsPlan(_Strict):
    """Figures about the fleet, the courses and their harm; the last four are for what is told only where given."""

    mishaps: CountedPlan | None = None
    hours_a_year: InputPlan | None = None
    first_course_cost: InputPlan | None = None
    refresher_cost: InputPlan | None = None
    travel_cost: InputPlan | None = None
    cover_cost: InputPlan | None = None
    programme_cost_a_year: InputPlan | None = None
    half_life_months: InputPlan | None = None
    deaths_per_course: InputPlan | None = None
    injuries_per_course: InputPlan | None = None
    injury_cost: InputPlan | None = None
    false_confidence: InputPlan | None = None
    value_of_life: InputPlan | None = None
    courses_a_month: InputPlan | None = None
    overdue_now: InputPlan | None = None


#: Without these there are no lives and no money.
NEEDED = (
    *("mishaps", "hours_a_year", "first_course_cost", "refresher_cost", "travel_cost", "cover_cost"),
    *("programme_cost_a_year", "half_life_months", "deaths_per_course", "injuries_per_course", "injury_cost"),
)
OPTIONAL = ("false_confidence", "value_of_life", "courses_a_month", "overdue_now")
NEEDED_OF_GROUP = ("people", "leavers_a_year")
NEEDED_OF_SPEND = ("cost_a_year", "deaths_averted", "overlap")


Letter = Literal["A", "B", "C", "D", "E"]


class MatrixPlan(_Strict):
    """A user's own steps of the risk matrix: where a level begins, a chance a year, and what its cell is called."""

    at_least: dict[Letter, Share] = {}
    cells: dict[Letter, Label] = {}


class DecisionPlan(_Strict):
    """The question, today's policy and the others, whom they are about, and what is given.

    ``years`` is how far lives and money are counted on, at two rates of discount. ``longest_months`` is what law or
    contract allows between courses.
    """

    question: Word
    today: Label
    years: Annotated[int, Field(ge=1, le=60)]
    money: Annotated[Label, Field(max_length=12)]
    discount_percent: Annotated[list[Annotated[float, Field(ge=0, le=20)]], Field(min_length=2, max_length=2)]
    longest_months: Months | None = None
    longest_source: Source | None = None
    draws: Annotated[int, Field(ge=2000, le=100_000)] = 20_000
    policy: Annotated[list[PolicyPlan], Field(min_length=2, max_length=MOST_POLICIES)]
    group: Annotated[list[GroupPlan], Field(min_length=1, max_length=MOST_GROUPS)]
    spend: Annotated[list[SpendPlan], Field(max_length=MOST_SPENDS)] = []
    matrix: MatrixPlan | None = None
    inputs: InputsPlan = InputsPlan()

    @property
    def missing(self) -> tuple[str, ...]:
        """Names of the figures that are needed and not there, each once, in the order of the file's sections."""
        parts: list[tuple[BaseModel, tuple[str, ...]]] = [(self.inputs, NEEDED)]
        parts += [(group, NEEDED_OF_GROUP) for group in self.group]
        parts += [(spend, NEEDED_OF_SPEND) for spend in self.spend]
        told = [name for part, names in parts for name in names if getattr(part, name) is None]
        return tuple(dict.fromkeys(told))

    def given(self) -> Iterator[tuple[str, tuple[str | int, ...], InputPlan]]:
        """Every figure that is there but the counted mishaps: its id, where it stands in the file, and itself.

        The id ends in the place of its group or spend, from 0: ``people.0``, ``cost_a_year.1``.
        """
        for name in (*NEEDED, *OPTIONAL):
            if isinstance(figure := getattr(self.inputs, name), InputPlan):
                yield name, ("decision", "inputs", name), figure
        for section, entries, names in (
            ("group", self.group, (*NEEDED_OF_GROUP, "months_since")),
            ("spend", self.spend, NEEDED_OF_SPEND),
        ):
            for at, entry in enumerate(entries):
                for name in names:
                    if (figure := getattr(entry, name)) is not None:
                        yield f"{name}.{at}", ("decision", section, at, name), figure
