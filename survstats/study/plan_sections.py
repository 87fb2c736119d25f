"""What may stand in a study file, section by section, and within which bounds?"""

from __future__ import annotations

from typing import Annotated, TypeVar

from pydantic import BaseModel, Field

from survstats.study.decision_plan import DecisionPlan
from survstats.study.evidence_plan import OtherStudyPlan
from survstats.study.plan_entries import STRICT, Line, Name, Role, Word, Year, Zone

_Entry = TypeVar("_Entry")
Chosen = Annotated[list[_Entry], Field(min_length=1)]


class _Strict(BaseModel):
    model_config = STRICT


class QuestionPlan(_Strict):
    """What counts as trained, and how large a difference is worth having."""

    currency_months: Annotated[float, Field(gt=0, le=600)]
    smallest_worthwhile_points: Annotated[float, Field(gt=0, lt=100)]


class AcceptedPlan(_Strict):
    """A consistency rule that these records may break, and why."""

    rule: Word
    reason: Word


class RecordsPlan(_Strict):
    """Where the tables are, relative to the study folder (looked for where not named), and what they may break."""

    mishap: Word | None = None
    occupant: Word | None = None
    training_run: Word | None = None
    accepted: list[AcceptedPlan] = []


class PopulationPlan(_Strict):
    """Whom the study is about; what is not named is not restricted."""

    first_year: Year | None = None
    last_year: Year | None = None
    classes: Chosen[Word] = []
    operators: Chosen[Word] = []
    roles: Chosen[Role] = []


Row = Annotated[int, Field(ge=1, le=40)]


class CabinPlan(_Strict):
    """How the cabin of a class is laid out; rows alone serve the check of seats and draw no map.

    ``seats`` are the letters across a row as the records write the side of a seat, from left to right, with a space
    for an aisle ("LL RR"). ``exits`` name row and side ("1L"). ``zones`` give each row, by first and last, one name.
    `survstats.study.cabin_plan` says what must agree.
    """

    rows: Row
    seats: Word = ""
    exits: Annotated[list[Word], Field(max_length=24)] = []
    zones: dict[Zone, Annotated[list[Row], Field(min_length=2, max_length=2)]] = {}


class SharingPlan(_Strict):
    """The smallest count of people that may leave the house."""

    smallest_cell: Annotated[int, Field(ge=3, le=50)] = 5


class ModelPlan(_Strict):
    """What the comparison is adjusted for, and by what circumstances the difference is also shown.

    ``cold_water_c`` is the temperature below which water is cold; ``cold_water`` needs it.
    """

    covariates: Annotated[list[Line], Field(min_length=1)]
    modifiers: list[Line] = []
    cold_water_c: Annotated[float, Field(ge=-2, le=40)] | None = None


class ImputationPlan(_Strict):
    """How often unknown training is drawn."""

    draws: Annotated[int, Field(ge=20, le=200)] = 20


class ChallengePlan(_Strict):
    """What is thought possible of the doubts that no record can settle.

    ``fitness_floor`` is how strongly a hidden difference in fitness may act, on the log odds of having been trained and
    on those of living, per standard deviation. ``sensitivity_inferred`` is the share of trained people who died
    without a paper of it that were written down as trained. ``impact_death_margin_points`` is the difference in deaths
    on impact, in points, from which on it is an alarm.

    The bounds (common practice, no source) keep a doubt from being switched off; a value within them that doubts less
    than the one of a file that says nothing is named by `softer`.
    """

    fitness_floor: Annotated[float, Field(ge=0.1, le=3)] = 0.75
    sensitivity_inferred: Annotated[float, Field(ge=0.3, le=1)] = 0.8
    impact_death_margin_points: Annotated[float, Field(gt=0, le=20)] = 3.0

    @property
    def softer(self) -> tuple[str, ...]:
        """Which of the three doubt less than they do where the study file says nothing, in the order of the section."""
        usual = ChallengePlan()
        doubts_less = {
            "fitness_floor": self.fitness_floor < usual.fitness_floor,
            "sensitivity_inferred": self.sensitivity_inferred > usual.sensitivity_inferred,
            "impact_death_margin_points": self.impact_death_margin_points > usual.impact_death_margin_points,
        }
        return tuple(name for name, less in doubts_less.items() if less)


class BreathPlan(_Strict):
    """How long breath lasts in the water of these mishaps against a warm pool: 1 as long, .5 half as long.

    Colder water shortens it; by how much is for the user to say. The bounds are common practice, no source.
    """

    multiplier: Annotated[float, Field(ge=0.05, le=1.5)] = 1.0


class PaperPlan(_Strict):
    """Who stands behind the paper."""

    prepared_by: Name = ""
    reviewed_by: Name = ""
    funding: Name = ""


class RunPlan(_Strict):
    """How random draws are started."""

    seed: Annotated[int, Field(ge=0, lt=2**32)] = 0


class StudyPlan(_Strict):
    """Everything that is agreed before the outcomes are looked at; without a model records can be checked only."""

    title: Annotated[Line, Field(min_length=1)]
    place: Line = ""
    invented: bool = False
    question: QuestionPlan
    records: RecordsPlan = RecordsPlan()
    population: PopulationPlan = PopulationPlan()
    cabin: dict[str, CabinPlan] = {}
    model: ModelPlan | None = None
    imputation: ImputationPlan = ImputationPlan()
    challenge: ChallengePlan = ChallengePlan()
    breath: BreathPlan = BreathPlan()
    decision: DecisionPlan | None = None
    other_study: list[OtherStudyPlan] = []
    paper: PaperPlan = PaperPlan()
    sharing: SharingPlan = SharingPlan()
    run: RunPlan = RunPlan()
