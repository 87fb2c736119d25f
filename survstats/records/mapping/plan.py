"""What can mapping.toml say about another file?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, StringConstraints

from survstats.groundwork.errors import StudyFileError
from survstats.groundwork.toml_faults import line_of, place
from survstats.records.codebook import TABLES, TableName

MAPPING_FILE = "mapping.toml"
NOT_COLLECTED_WORD = "not_collected"
COUNTED = {"n_aboard": "everyone", "n_crew": "crew", "n_pax": "passengers"}
NUMBERED = {"occupant_id": ("mishap_id",), "run_no": ("person_code", "run_date")}

_ONE_LINE = r"^[^\p{Cc}\p{Cf}\p{Zl}\p{Zp}]*$"  # no control letters, marks of direction, breaks of lines
Word = Annotated[str, StringConstraints(min_length=1)]
Line = Annotated[str, StringConstraints(min_length=1, max_length=200, pattern=_ONE_LINE)]
Name = Annotated[
    str, StringConstraints(min_length=1, max_length=60, pattern=_ONE_LINE, strip_whitespace=True)
]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class FieldPlan(_Strict):
    """Where one field comes from (one of the first four), and how its cells are read.

    Attributes
    ----------
    column : str
        Name of their column.
    always : str
        The same value of ours in every row.
    counted : bool
        n_aboard, n_crew, n_pax: counted from the rows of the occupant table.
    numbered : bool
        occupant_id, run_no: 1, 2, ... in the order of the rows, within the mishap or the day.
    codes : mapping of str to str
        Their code: our value.
    unit : str
        Unit of their numbers.
    decimal : {".", ","}
        Sign between whole and part.
    dates : str
        How their days are written, in YYYY, MM, DD and MMM (Jan, Feb, ...).
    bands : bool
        age_band: their column holds ages, in years unless a unit is given.
    interval : bool
        Fields that are the low or high end of a time: their column holds texts such as "10 to 20 s" or "about 15 s".
    """

    column: Word | None = None
    always: str | None = None
    counted: Literal[True] | None = None
    numbered: Literal[True] | None = None
    codes: dict[str, str] = {}
    unit: Word | None = None
    decimal: Literal[".", ","] = "."
    dates: Word | None = None
    bands: Literal[True] | None = None
    interval: Literal[True] | None = None


class LocalTimePlan(_Strict):
    """Day and time by the clock of a place: they become event_date and event_time_utc."""

    date_column: Word
    time_column: Word
    dates: Word = "YYYY-MM-DD"
    zone: Word | None = None
    zone_column: Word | None = None


class TablePlan(_Strict):
    """One of their tables, or the part of a wide one that is about mishaps, occupants or trainer runs."""

    file: Line
    sheet: Word | None = None
    encoding: Line | None = None
    delimiter: Literal[",", ";", "\t", "|"] | None = None
    not_collected: list[Word] = []
    ignore: list[Word] = []
    fields: dict[str, FieldPlan] = {}


class MishapPlan(TablePlan):
    """Their table of mishaps."""

    local_time: LocalTimePlan | None = None


class MappingPlan(_Strict):
    """All that is said about their files, and who finished it."""

    checked_by: Name
    mishap: MishapPlan | None = None
    occupant: TablePlan | None = None
    training_run: TablePlan | None = None

    def tables(self) -> dict[TableName, TablePlan]:
        """The tables it speaks of."""
        plans = {"mishap": self.mishap, "occupant": self.occupant, "training_run": self.training_run}
        return {table: plan for table in TABLES if (plan := plans[table]) is not None}


@dataclass(frozen=True)
class RecordMapping:
    """A mapping that can be followed.

    Attributes
    ----------
    plan : MappingPlan
    text : str
        The file's text; tells the line of a key.
    hash : str
        SHA-256 of its bytes.
    """

    plan: MappingPlan
    text: str
    hash: str

    def line(self, *path: str) -> int:
        """The line on which a key stands, or its section; 0 where neither is found."""
        return line_of(path, self.text)

    def fault(self, reason: str, path: Sequence[str], plain: str, remedy: str) -> StudyFileError:
        """What is wrong at a key, with the line."""
        line = self.line(*path)
        return StudyFileError(reason, f"{place(MAPPING_FILE, line)}: {plain}", remedy, line=line or None)
