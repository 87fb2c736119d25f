"""The agreed analysis: a study file, checked whole before anything runs."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, partial
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from survstats.effects.question import refuse_bad_covariates
from survstats.groundwork.errors import CallError, StudyFileError
from survstats.groundwork.file_bytes import read_file
from survstats.groundwork.provenance import bytes_hash
from survstats.groundwork.toml_faults import first_fault, line_of, place, read_toml
from survstats.groundwork.words import did_you_mean
from survstats.records.population import PopulationFilter

STUDY_FILE = "study.toml"
MAPPING_FILE = "mapping.toml"

_Entry = TypeVar("_Entry")
_ONE_LINE = r"^[^\p{Cc}\p{Cf}\p{Zl}\p{Zp}]*$"  # no control letters, marks of direction, breaks of lines
Line = Annotated[str, StringConstraints(max_length=120, pattern=_ONE_LINE, strip_whitespace=True)]
Word = Annotated[Line, Field(min_length=1)]
Year = Annotated[int, Field(ge=1678, le=2261)]
Role = Literal["flight_crew", "technical_crew", "passenger"]
Chosen = Annotated[list[_Entry], Field(min_length=1)]
Name = Annotated[str, StringConstraints(max_length=60, pattern=_ONE_LINE, strip_whitespace=True)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


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


class CabinPlan(_Strict):
    """How many rows of seats the aircraft of a class have."""

    rows: Annotated[int, Field(ge=1, le=40)]


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
    """

    fitness_floor: Annotated[float, Field(gt=0, le=3)] = 0.75
    sensitivity_inferred: Annotated[float, Field(gt=0, le=1)] = 0.8
    impact_death_margin_points: Annotated[float, Field(gt=0, lt=100)] = 3.0


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
    paper: PaperPlan = PaperPlan()
    sharing: SharingPlan = SharingPlan()
    run: RunPlan = RunPlan()


@dataclass(frozen=True)
class Study:
    """A study folder and its plan.

    Attributes
    ----------
    folder : Path
    plan : StudyPlan
    plan_hash : str
        SHA-256 of the study file.
    mapping : bytes or None
        The file that says what another file's columns, codes and units are, if the study has one.
    """

    folder: Path
    plan: StudyPlan
    plan_hash: str
    mapping: bytes | None = None

    @cached_property
    def mapping_content(self) -> dict[str, Any]:
        """What the mapping says; nothing where there is none."""
        return {} if self.mapping is None else read_toml(self.mapping, file=MAPPING_FILE)[0]

    @property
    def covariates(self) -> tuple[str, ...]:
        """What the comparison is adjusted for; empty where the study file does not say so yet."""
        return () if self.plan.model is None else tuple(self.plan.model.covariates)

    @property
    def modifiers(self) -> tuple[str, ...]:
        """By what circumstances the difference is also shown; empty where the study file names none."""
        return () if self.plan.model is None else tuple(self.plan.model.modifiers)

    @property
    def challenge_given(self) -> bool:
        """Whether the study file says what is thought possible, or the values are those it has when it does not."""
        return "challenge" in self.plan.model_fields_set

    @property
    def analysis_hash(self) -> str:
        """SHA-256 of what the numbers and the word depend on: question, population, model, imputation, challenge, seed,
        accepted rules, cabins and mapping.

        Title, names, comments, who checked the mapping, and the order in which things are written do not change it.
        """
        plan, chosen = self.plan, self.plan.population
        parts = {
            "question": plan.question.model_dump(),
            "years": [chosen.first_year, chosen.last_year],
            "classes": sorted(set(chosen.classes)),
            "operators": sorted(set(chosen.operators)),
            "roles": sorted(set(chosen.roles)),
            "covariates": sorted(set(self.covariates)),
            "modifiers": sorted(set(self.modifiers)),
            "cold_water_c": None if plan.model is None else plan.model.cold_water_c,
            "imputation": plan.imputation.model_dump(),
            "challenge": plan.challenge.model_dump(),
            "seed": plan.run.seed,
            "accepted": sorted(self.accepted),
            "cabins": self.cabins,
            "mapping": {name: entry for name, entry in self.mapping_content.items() if name != "checked_by"}
            or None,
        }
        return bytes_hash(json.dumps(parts, sort_keys=True, default=str).encode())

    @property
    def cabins(self) -> dict[str, int]:
        """Rows of seats by aircraft class."""
        return {name: cabin.rows for name, cabin in self.plan.cabin.items()}

    @property
    def accepted(self) -> dict[str, str]:
        """The reason of each accepted rule, by its id."""
        return {entry.rule: entry.reason for entry in self.plan.records.accepted}

    @property
    def population(self) -> PopulationFilter:
        """Whom the study is about."""
        chosen = self.plan.population
        return PopulationFilter(
            first_year=chosen.first_year,
            last_year=chosen.last_year,
            classes=tuple(chosen.classes),
            operators=tuple(chosen.operators),
            roles=tuple(chosen.roles),
            alike_kept="R42" in self.accepted,
        )


def read_study(folder: str | Path) -> Study:
    """Read and check a study folder's plan.

    Parameters
    ----------
    folder : str or Path
        The folder that holds ``study.toml``.

    Raises
    ------
    CallError
        ``no_study`` if there is no such folder or no study file in it.
    StudyFileError
        With the line, what is wrong and what to write; as of `read_file` where a file cannot be read.
    """
    folder = Path(folder)
    path = folder / STUDY_FILE
    if not os.path.isdir(folder):
        raise CallError(
            "no_study", f"There is no study folder '{folder}'.", "Name a folder that holds a study.toml."
        )
    if not os.path.lexists(path):
        raise CallError(
            "no_study",
            f"The folder '{folder}' holds no {STUDY_FILE}.",
            "'survstats demo demo_small NEW_FOLDER' writes one to start from.",
        )
    raw, mapping = read_file(path, kind=StudyFileError), folder / MAPPING_FILE
    return Study(
        folder=folder,
        plan=parse_plan(raw),
        plan_hash=bytes_hash(raw),
        mapping=read_file(mapping, kind=StudyFileError) if os.path.lexists(mapping) else None,
    )


def parse_plan(raw: bytes) -> StudyPlan:
    """The plan in the bytes of a study file.

    Raises
    ------
    StudyFileError
        For the first fault in the file, with its line.
    """
    content, text = read_toml(raw, file=STUDY_FILE)
    try:
        plan = StudyPlan.model_validate(content)
    except ValidationError as fault:
        raise first_fault(fault, text, file=STUDY_FILE, model=StudyPlan) from None
    accepted = plan.records.accepted
    refusals: list[tuple[tuple[str | int, ...], Callable[[], None]]] = [
        (("population", "last_year"), partial(_refuse_years, plan.population)),
    ]
    if plan.model is not None:
        covariates = tuple(plan.model.covariates)
        refusals[:0] = [
            (("model", "covariates"), partial(refuse_bad_covariates, covariates)),
            (("model", "modifiers"), partial(_refuse_modifiers, plan.model)),
        ]
    for at in range(len(accepted)):
        refusals.append((("records", "accepted", at, "rule"), partial(_refuse_accepted, accepted[: at + 1])))
    for path, refuse in refusals:
        try:
            refuse()
        except StudyFileError as fault:
            line = line_of(path, text)
            raise StudyFileError(
                fault.reason, f"{place(STUDY_FILE, line)}: {fault.plain}", fault.remedy, line=line or None
            ) from None
    return plan


def _refuse_modifiers(model: ModelPlan) -> None:
    if "cold_water" in model.modifiers and model.cold_water_c is None:
        raise StudyFileError(
            "no_cold_water_c",
            "'cold_water' needs to know below how many degrees Celsius water is cold.",
            "Add the line cold_water_c = ... with that number to [model].",
        )
    if model.modifiers:
        from survstats.effects.question import refuse_bad_modifiers

        refuse_bad_modifiers(tuple(model.modifiers), tuple(model.covariates))


def _refuse_years(chosen: PopulationPlan) -> None:
    first, last = chosen.first_year, chosen.last_year
    if first is not None and last is not None and first > last:
        raise StudyFileError(
            "years_crossed",
            f"the last year of the population, {last}, comes before the first, {first}.",
            "Write the earlier of both as first_year.",
        )


def _refuse_accepted(entries: list[AcceptedPlan]) -> None:
    """Refuse the last of the rules named so far."""
    from survstats.records.rules.rulebook import RULEBOOK

    rule = entries[-1].rule
    may = [name for name, card in RULEBOOK.items() if card.acceptable]
    if rule not in RULEBOOK:
        hint = did_you_mean(rule, may, otherwise=f"Those that can be accepted: {', '.join(may)}.")
        raise StudyFileError("unknown_rule", f"there is no rule '{rule}'.", hint)
    if rule not in may:
        raise StudyFileError(
            "not_acceptable",
            f"rule {rule} ({RULEBOOK[rule].title}) cannot be accepted.",
            "Mend the records, or take it out.",
        )
    if rule in [entry.rule for entry in entries[:-1]]:
        raise StudyFileError("rule_twice", f"rule {rule} is accepted twice.", "Put both reasons into one.")
