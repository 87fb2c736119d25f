"""The agreed analysis: a study file, checked whole before anything runs."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, partial
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from survstats.effects.question import refuse_bad_covariates
from survstats.groundwork.errors import CallError, StudyFileError
from survstats.groundwork.file_bytes import read_file
from survstats.groundwork.provenance import bytes_hash
from survstats.groundwork.toml_faults import first_fault, line_of, place, read_toml
from survstats.records.population import PopulationFilter
from survstats.study.cabin_plan import cabin_refusals
from survstats.study.decision_refusals import decision_refusals
from survstats.study.evidence_plan import evidence_refusals
from survstats.study.plan_refusals import refuse_accepted, refuse_modifiers, refuse_years
from survstats.study.plan_sections import BreathPlan, PopulationPlan, StudyPlan

STUDY_FILE = "study.toml"
MAPPING_FILE = "mapping.toml"


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
    def analysis_hash(self) -> str:
        """SHA-256 of what the numbers and the word depend on: question, population, model, imputation, challenge,
        breath (where it is not as long as in the pool), seed, accepted rules, cabins and mapping.

        Title, names, comments, who checked the mapping, and the order in which things are written do not change it.
        Neither does the decision: policies, money and what is given beside the records move no number of the records
        and no word, so that another decision is no other plan tried on them. `plan_hash` covers it.
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
            "cabins": {
                name: cabin.model_dump() if cabin.seats else cabin.rows
                for name, cabin in self.plan.cabin.items()
            },
            "mapping": {name: entry for name, entry in self.mapping_content.items() if name != "checked_by"}
            or None,
        }
        if plan.breath != BreathPlan():  # older studies name no breath, and keep their hash
            parts["breath"] = plan.breath.model_dump()
        if plan.other_study:  # may lift the word that stands beside the own one
            parts["other_study"] = sorted(json.dumps(one.model_dump()) for one in plan.other_study)
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
        chosen: PopulationPlan = self.plan.population
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
        (("population", "last_year"), partial(refuse_years, plan.population)),
    ]
    if plan.model is not None:
        covariates = tuple(plan.model.covariates)
        refusals[:0] = [
            (("model", "covariates"), partial(refuse_bad_covariates, covariates)),
            (("model", "modifiers"), partial(refuse_modifiers, plan.model)),
        ]
    refusals += cabin_refusals(plan.cabin)
    if plan.decision is not None:
        refusals += decision_refusals(plan.decision, plan.cabin)
    refusals += evidence_refusals(plan.other_study)
    for at in range(len(accepted)):
        refusals.append((("records", "accepted", at, "rule"), partial(refuse_accepted, accepted[: at + 1])))
    for path, refuse in refusals:
        try:
            refuse()
        except StudyFileError as fault:
            line = line_of(path, text)
            raise StudyFileError(
                fault.reason, f"{place(STUDY_FILE, line)}: {fault.plain}", fault.remedy, line=line or None
            ) from None
    return plan
