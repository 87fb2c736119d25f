"""The agreed analysis: a study file, checked whole before anything runs."""

from __future__ import annotations

import difflib
import os
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from survstats.effects.question import refuse_bad_covariates
from survstats.groundwork.errors import CallError, StudyFileError
from survstats.groundwork.provenance import bytes_hash

STUDY_FILE = "study.toml"

_ONE_LINE = r"^[^\p{Cc}\p{Cf}\p{Zl}\p{Zp}]*$"  # no control letters, marks of direction, breaks of lines
Line = Annotated[str, StringConstraints(max_length=120, pattern=_ONE_LINE, strip_whitespace=True)]
Name = Annotated[str, StringConstraints(max_length=60, pattern=_ONE_LINE, strip_whitespace=True)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class QuestionPlan(_Strict):
    """What counts as trained, and how large a difference is worth having."""

    currency_months: Annotated[float, Field(gt=0, le=600)]
    smallest_worthwhile_points: Annotated[float, Field(gt=0, lt=100)]


class RecordsPlan(_Strict):
    """Where the two tables are, relative to the study folder."""

    mishap: Line = "mishap.csv"
    occupant: Line = "occupant.csv"


class ModelPlan(_Strict):
    """What the comparison is adjusted for."""

    covariates: Annotated[list[Line], Field(min_length=1)]


class PaperPlan(_Strict):
    """Who stands behind the paper."""

    prepared_by: Name = ""
    reviewed_by: Name = ""
    funding: Name = ""


class RunPlan(_Strict):
    """How random draws are started."""

    seed: Annotated[int, Field(ge=0, lt=2**32)] = 0


class StudyPlan(_Strict):
    """Everything that is agreed before the outcomes are looked at."""

    title: Annotated[Line, Field(min_length=1)]
    place: Line = ""
    invented: bool = False
    question: QuestionPlan
    records: RecordsPlan = RecordsPlan()
    model: ModelPlan
    paper: PaperPlan = PaperPlan()
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
    """

    folder: Path
    plan: StudyPlan
    plan_hash: str

    @property
    def mishap_path(self) -> Path:
        """Where the table of mishaps is."""
        return self.folder / self.plan.records.mishap

    @property
    def occupant_path(self) -> Path:
        """Where the table of occupants is."""
        return self.folder / self.plan.records.occupant


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
        With the line, what is wrong and what to write.
    """
    folder = Path(folder)
    path = folder / STUDY_FILE
    if not os.path.isdir(folder):
        raise CallError(
            "no_study", f"There is no study folder '{folder}'.", "Name a folder that holds a study.toml."
        )
    if not os.path.isfile(path):
        raise CallError(
            "no_study",
            f"The folder '{folder}' holds no {STUDY_FILE}.",
            "'survstats demo demo_small NEW_FOLDER' writes one to start from.",
        )
    try:
        raw = path.read_bytes()
    except OSError as fault:
        raise StudyFileError(
            "not_readable",
            f"{STUDY_FILE} in '{folder}' cannot be read ({fault.strerror}).",
            "Make it readable for you.",
        ) from None
    return Study(folder=folder, plan=parse_plan(raw), plan_hash=bytes_hash(raw))


def parse_plan(raw: bytes) -> StudyPlan:
    """The plan in the bytes of a study file.

    Raises
    ------
    StudyFileError
        For the first fault in the file, with its line.
    """
    try:
        text = raw.decode("utf-8-sig")
        content = tomllib.loads(text)
    except UnicodeDecodeError:
        raise StudyFileError(
            "not_text", f"{STUDY_FILE} is not a text file in UTF-8.", "Save it as plain text in UTF-8."
        ) from None
    except (ValueError, RecursionError) as fault:  # also numbers too long, lists too deep
        line = _line_in_message(str(fault), text)
        raise StudyFileError(
            "not_toml",
            f"{STUDY_FILE}, line {line}: this is not TOML.",
            'Write key = value, with text in "quotes" and [section] on a line of its own.',
            line=line,
        ) from None
    try:
        plan = StudyPlan.model_validate(content)
        refuse_bad_covariates(tuple(plan.model.covariates))
    except ValidationError as fault:
        raise _first_fault(fault.errors(), text) from None
    except StudyFileError as fault:
        line = _line_of(("model", "covariates"), text)
        raise StudyFileError(
            fault.reason, f"{_place(line)}: {fault.plain}", fault.remedy, line=line or None
        ) from None
    return plan


def _first_fault(faults: Sequence[Any], text: str) -> StudyFileError:
    located = [(_line_of(fault["loc"], text), fault) for fault in faults]
    line, fault = min(located, key=lambda pair: pair[0])
    name = _short(".".join(str(part) for part in fault["loc"] if isinstance(part, str)))
    kind = fault["type"]
    rest = f" ({len(faults) - 1} more in this file.)" if len(faults) > 1 else ""
    if kind == "extra_forbidden":
        known = _known_keys(fault["loc"][:-1])
        near = difflib.get_close_matches(str(fault["loc"][-1]), known, n=1)
        hint = f"Did you mean '{near[0]}'?" if near else f"Known here: {', '.join(known)}."
        plain, remedy = f"{_place(line)}: the key '{name}' is not known.", hint
    elif kind == "missing":
        plain, remedy = f"{_place(line)}: the key '{name}' is missing.", "Add it; the demo studies show how."
    else:
        seen = fault.get("input")
        shown = _short(repr(seen) if isinstance(seen, str) else str(seen))
        plain = f"{_place(line)}: '{name}' is {shown}, which cannot be used."
        remedy = f"Write {_wanted(kind, fault.get('ctx', {}))}."
    return StudyFileError(kind, plain, remedy + rest, line=line or None)


def _place(line: int) -> str:
    return f"{STUDY_FILE}, line {line}" if line else STUDY_FILE


def _short(text: str) -> str:
    """Text of the file for a sentence: at most 60 characters, all of them printable."""
    shown = "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in text[:60])
    return f"{shown} ..." if len(text) > 60 else shown


def _wanted(kind: str, limits: dict[str, Any]) -> str:
    wanted = {
        "greater_than": "a number greater than {gt}",
        "greater_than_equal": "a number of at least {ge}",
        "less_than": "a number less than {lt}",
        "less_than_equal": "a number of at most {le}",
        "float_type": "a number",
        "int_type": "a whole number",
        "bool_type": "true or false, without quotes",
        "string_type": 'text in "quotes"',
        "list_type": 'a list such as ["role", "light"]',
        "string_too_short": "some text",
        "string_too_long": "at most {max_length} characters",
        "string_pattern_mismatch": "text on one line, without control characters or others that cannot be seen",
        "too_short": "at least one entry",
        "model_type": "a [section] with keys under it",
        "model_attributes_type": "a [section] with keys under it",
        "finite_number": "a finite number",
    }
    return wanted.get(kind, "what the demo studies show").format(**limits)


def _known_keys(path: Sequence[str | int]) -> list[str]:
    model: Any = StudyPlan
    for part in path:
        model = model.model_fields[str(part)].annotation
    return list(model.model_fields)


def _line_of(path: Sequence[str | int], text: str) -> int:
    """The line on which a key stands, or else its section; 0 where neither is found."""
    names = tuple(part for part in path if isinstance(part, str))
    section: tuple[str, ...] = ()
    deepest, found = 0, 0
    for number, line in enumerate(text.splitlines(), start=1):
        header = re.match(r"\s*\[([^\[\]]+)\]\s*(#.*)?$", line)
        key = re.match(r"\s*([\w.\"' -]+?)\s*=", line)
        if header:
            here = section = _key_parts(header.group(1))
        elif key:
            here = (*section, *_key_parts(key.group(1)))
        else:
            continue
        if len(here) > deepest and names[: len(here)] == here:
            deepest, found = len(here), number
    return found


def _key_parts(key: str) -> tuple[str, ...]:
    return tuple(part.strip(" \t\"'") for part in key.split("."))


def _line_in_message(message: str, text: str) -> int:
    found = re.search(r"line (\d+)", message)
    return int(found.group(1)) if found else max(len(text.splitlines()), 1)
