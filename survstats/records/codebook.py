"""What does each field mean, and what may stand in it?

The codebook is an open data package (Table Schema) in ``codebook.json``; loading, the field checks and the
glossary are made from it, and nothing else holds a field's name, unit or allowed values.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Any, Literal

from survstats.groundwork.errors import CallError

Kind = Literal["text", "category", "tri_state", "integer", "number", "date", "time"]
TableName = Literal["mishap", "occupant", "training_run"]
TABLES: tuple[TableName, ...] = ("mishap", "occupant", "training_run")

TRI_STATE = ("yes", "no", "unknown")
NOT_COLLECTED = ""
UNKNOWN = "unknown"
NOT_APPLICABLE = "na"


@dataclass(frozen=True)
class Field:
    """One column of one table.

    Attributes
    ----------
    table, name : str
        Where it stands.
    kind : {"text", "category", "tri_state", "integer", "number", "date", "time"}
        How its values are read.
    meaning : str
        What it means, in plain words.
    unit : str
        Unit of the numbers; empty where there is none.
    values : tuple of str
        Allowed values of a category or tri-state, in the codebook's order; else empty.
    missing : tuple of str
        Tokens that stand for no value: ``""`` not collected, ``"unknown"`` asked and not known, ``"na"`` not
        applicable. A category lists its ``unknown`` among the values.
    minimum, maximum : float or None
        Limits of the numbers, both allowed.
    limit_rule : str
        Id of the check that reports a number outside the limits.
    required : bool
        Whether every row must have a value.
    column_required : bool
        Whether the column must be in the file.
    open_ended : bool
        Whether ``inf`` (no upper end) is allowed.
    roster : bool
        Whether the collection form asks it on the roster sheet, before outcomes.
    """

    table: TableName
    name: str
    kind: Kind
    meaning: str
    unit: str
    values: tuple[str, ...]
    missing: tuple[str, ...]
    minimum: float | None
    maximum: float | None
    limit_rule: str
    required: bool
    column_required: bool
    open_ended: bool
    roster: bool


@dataclass(frozen=True)
class Codebook:
    """All fields of the three tables, in the order of the collection form."""

    mishap: tuple[Field, ...]
    occupant: tuple[Field, ...]
    training_run: tuple[Field, ...]

    def table(self, name: TableName) -> tuple[Field, ...]:
        """The fields of one table."""
        return {"mishap": self.mishap, "occupant": self.occupant, "training_run": self.training_run}[name]

    def field(self, table: TableName, name: str) -> Field:
        """One field; raises CallError (``unknown_field``) where there is none of that name."""
        for field in self.table(table):
            if field.name == name:
                return field
        raise CallError("unknown_field", f"There is no field {name} in the {table} table.")


@lru_cache(maxsize=1)
def load_codebook() -> Codebook:
    """The codebook shipped with the package (read once)."""
    text = resources.files("survstats.records").joinpath("codebook.json").read_text(encoding="utf-8")
    tables = {
        resource["name"]: tuple(_field(resource["name"], entry) for entry in resource["schema"]["fields"])
        for resource in json.loads(text)["resources"]
    }
    return Codebook(**tables)


def _field(table: TableName, entry: dict[str, Any]) -> Field:
    constraints = entry.get("constraints", {})
    values = tuple(constraints.get("enum", ()))
    return Field(
        table=table,
        name=entry["name"],
        kind=_kind(entry["type"], values),
        meaning=entry["description"],
        unit=entry.get("unit", ""),
        values=values,
        missing=tuple(entry["missingValues"]),
        minimum=constraints.get("minimum"),
        maximum=constraints.get("maximum"),
        limit_rule=entry.get("limitRule", "F6"),
        required=constraints.get("required", False),
        column_required=entry.get("columnRequired", False),
        open_ended=entry.get("openEnded", False),
        roster=entry.get("roster", False),
    )


def _kind(type_: str, values: tuple[str, ...]) -> Kind:
    if values == TRI_STATE:
        return "tri_state"
    if values:
        return "category"
    kinds: dict[str, Kind] = {
        "string": "text",
        "integer": "integer",
        "number": "number",
        "date": "date",
        "time": "time",
    }
    return kinds[type_]
