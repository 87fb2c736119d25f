"""Can mapping.toml be followed, and if not, on which line and what should be written there?

Checked against the codebook before a cell is read: an unknown field, a code that stands for nothing of ours or a unit
of the wrong quantity stops there.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Mapping
from decimal import Decimal, InvalidOperation

from pydantic import ValidationError

from survstats.groundwork.errors import StudyFileError
from survstats.groundwork.provenance import bytes_hash
from survstats.groundwork.toml_faults import first_fault, line_of, place, read_toml, short
from survstats.groundwork.words import did_you_mean
from survstats.records import codebook
from survstats.records.codebook import NOT_APPLICABLE, UNKNOWN, TableName, load_codebook
from survstats.records.mapping.local_time import is_zone
from survstats.records.mapping.plan import (
    COUNTED,
    MAPPING_FILE,
    NOT_COLLECTED_WORD,
    NUMBERED,
    FieldPlan,
    LocalTimePlan,
    MappingPlan,
    RecordMapping,
    TablePlan,
)
from survstats.records.mapping.units import UNITS, unit_of, units_like

_DATE_PART = re.compile(r"YYYY|MMM|MM|DD")
_NUMBERS = ("integer", "number")


def parse_mapping(raw: bytes) -> RecordMapping:
    """The mapping in the bytes of a mapping file, checked against the codebook.

    Raises
    ------
    StudyFileError
        For the first fault, with its line.
    """
    content, text = read_toml(raw, file=MAPPING_FILE)
    try:
        plan = MappingPlan.model_validate(content)
    except ValidationError as error:
        raise _unchecked(content, text) or first_fault(
            error, text, file=MAPPING_FILE, model=MappingPlan
        ) from None
    mapping = RecordMapping(plan, text, bytes_hash(raw))
    faults = list(_faults(mapping))
    if faults:
        raise min(faults, key=lambda fault: (fault.reason == "field_lacking", fault.line or 0))
    return mapping


def _unchecked(content: Mapping[str, object], text: str) -> StudyFileError | None:
    if content.get("checked_by") != "":
        return None
    line = line_of(("checked_by",), text)
    return StudyFileError(
        "not_checked",
        f"{place(MAPPING_FILE, line)}: nobody has finished this mapping.",
        "Go through it, correct and complete it, and write your name or code after checked_by.",
        line=line or None,
    )


def _faults(mapping: RecordMapping) -> Iterator[StudyFileError]:
    tables = mapping.plan.tables()
    if not tables:
        yield mapping.fault(
            "no_table", (), "it speaks of no table.", "Add [mishap], [occupant] or [training_run]."
        )
    for table, plan in tables.items():
        known = {field.name: field for field in load_codebook().table(table)}
        local = mapping.plan.mishap.local_time if table == "mishap" and mapping.plan.mishap else None
        for name, field_plan in plan.fields.items():
            path = (table, "fields", name)
            if name not in known:
                yield mapping.fault(
                    "unknown_field", path, f"{table} has no field '{short(name)}'.", _near(name, known)
                )
            elif local and name in ("event_date", "event_time_utc"):
                yield mapping.fault(
                    "two_origins", path, f"'{name}' also follows from local_time.", "Take one of the two out."
                )
            else:
                yield from _field_faults(mapping, path, known[name], field_plan)
        if local:
            yield from _local_time_faults(mapping, local)
        yield from _lacking(mapping, table, plan, local is not None)
        course = plan.fields.get("training_last_date")
        if (
            course
            and course.dates
            and "DD" not in course.dates
            and "training_date_precision" not in plan.fields
        ):
            yield mapping.fault(
                "precision",
                (table, "fields", "training_last_date", "dates"),
                f"days written '{short(course.dates)}' are known to the month or year only.",
                'Say so: training_date_precision = { always = "month" }, or "year".',
            )
        used = {column for field_plan in plan.fields.values() if (column := field_plan.column)}
        for column in sorted(used.intersection(plan.ignore)):
            yield mapping.fault(
                "ignored", (table, "ignore"), f"'{short(column)}' is mapped and ignored.", "Take one out."
            )


def _lacking(
    mapping: RecordMapping, table: TableName, plan: TablePlan, has_local_time: bool
) -> Iterator[StudyFileError]:
    """Fields that must be there are mapped, or said not to have been collected: one of the two."""
    known = {field.name: field for field in load_codebook().table(table)}
    mapped = set(plan.fields) | ({"event_date", "event_time_utc"} if has_local_time else set())
    path = (table, NOT_COLLECTED_WORD)
    for name in plan.not_collected:
        if name not in known:
            yield mapping.fault(
                "unknown_field", path, f"{table} has no field '{short(name)}'.", _near(name, known)
            )
        elif known[name].required:
            yield mapping.fault(
                "required_field",
                path,
                f"'{name}' must be known in every row.",
                "Map it: it cannot be left out.",
            )
        elif name in mapped:
            yield mapping.fault(
                "two_origins",
                path,
                f"'{name}' is mapped and said not to be collected.",
                "Take one of the two out.",
            )
    open_fields = [
        f for f in known.values() if f.column_required and f.name not in mapped | set(plan.not_collected)
    ]
    for field in open_fields[:1]:
        rest = f" ({', '.join(f.name for f in open_fields[1:])} as well.)" if open_fields[1:] else ""
        way = "" if field.required else f", or name it under not_collected of [{table}]"
        yield mapping.fault(
            "field_lacking",
            (table,),
            f"nothing says where {table} field '{field.name}' comes from.",
            f"Map it under [{table}.fields.{field.name}]{way}.{rest}",
        )


def _field_faults(
    mapping: RecordMapping, path: tuple[str, str, str], field: codebook.Field, plan: FieldPlan
) -> Iterator[StudyFileError]:
    origins = [key for key in ("column", "always", "counted", "numbered") if getattr(plan, key) is not None]
    if len(origins) != 1:
        yield mapping.fault(
            "origins",
            path,
            f"'{field.name}' comes from {' and '.join(origins) or 'nowhere'}.",
            'Write one of: column = "their name", always = "our value", counted = true, numbered = true.',
        )
    how = [key for key in ("codes", "unit", "dates", "bands", "interval") if getattr(plan, key)]
    how += ["decimal"] if plan.decimal != "." else []
    if how and plan.column is None:
        yield mapping.fault(
            "no_column", (*path, how[0]), f"'{how[0]}' of '{field.name}' has no column.", "Add column."
        )
    if plan.always is not None and (wrong := _unusable(field, plan.always)):
        yield mapping.fault(
            "wrong_value", (*path, "always"), f"'{short(plan.always)}' is no value of '{field.name}'.", wrong
        )
    for code, value in plan.codes.items():
        if wrong := _unusable(field, value):
            what = f"the code '{short(code)}' of '{field.name}' stands for '{short(value)}', which is none of ours."
            yield mapping.fault("wrong_value", (*path, "codes", code), what, wrong)
    for key in (*origins, *how):
        if wrong := _misplaced(key, field, plan):
            yield mapping.fault(
                "misplaced_key", (*path, key), f"'{key}' cannot be used for '{field.name}'.", wrong
            )


def _misplaced(key: str, field: codebook.Field, plan: FieldPlan) -> str:
    """What to write instead where a key does not fit the field; empty where it fits."""
    numeric = field.kind in _NUMBERS
    if key == "counted" and field.name not in COUNTED:
        return f"Only {', '.join(COUNTED)} can be counted."
    if key == "numbered" and field.name not in NUMBERED:
        return f"Only {', '.join(NUMBERED)} can be numbered."
    if key == "bands" and field.name != "age_band":
        return "Only age_band is made from ages."
    if key == "interval" and not re.search(r"_(lo|hi)(_|$)", field.name):
        return "Only the low and high end of a time can be read from such texts."
    if key == "decimal" and not (numeric or plan.bands):
        return "Only numbers have a decimal sign."
    if key == "dates":
        return _wrong_dates(plan.dates or "", field)
    if key == "unit":
        ours = "years" if plan.bands else unit_of(field.unit)
        if not ours:
            return "It has no unit: take the line out."
        if plan.unit not in UNITS or UNITS[plan.unit].quantity != UNITS[ours].quantity:
            return f"Write one of {', '.join(units_like(ours))}."
    return ""


def _wrong_dates(form: str, field: codebook.Field | None) -> str:
    if field is not None and field.kind != "date":
        return "Only days are written so."
    parts = [part[0] for part in _DATE_PART.findall(form)]
    letters = re.sub(r"[^A-Za-z]", "", _DATE_PART.sub("", form))
    coarse = field is not None and field.name == "training_last_date" and parts and set("YM") >= set(parts)
    if (
        letters
        or len(set(parts)) != len(parts)
        or not (set(parts) == set("YMD") or (coarse and "Y" in parts))
    ):
        return (
            'Write it with YYYY, MM, DD and MMM (a name such as Jan): "DD/MM/YYYY" for 31/12/2019, '
            '"DD MMM YYYY" for 31 Dec 2019, "YYYYMMDD" for 20191231.'
        )
    return ""


def _local_time_faults(mapping: RecordMapping, plan: LocalTimePlan) -> Iterator[StudyFileError]:
    path = ("mishap", "local_time")
    if (plan.zone is None) == (plan.zone_column is None):
        yield mapping.fault(
            "zone",
            path,
            "local_time needs a zone or a zone_column, one of the two.",
            'Write for example zone = "Europe/Oslo".',
        )
    if plan.zone is not None and not is_zone(plan.zone):
        yield mapping.fault(
            "zone",
            (*path, "zone"),
            f"there is no time zone '{short(plan.zone)}'.",
            'Write a name of the IANA list, for example "Europe/Oslo".',
        )
    if wrong := _wrong_dates(plan.dates, None):
        yield mapping.fault("misplaced_key", (*path, "dates"), f"'{short(plan.dates)}' tells no day.", wrong)


def _unusable(field: codebook.Field, value: str) -> str:
    """What to write where a value of ours cannot stand in a field; empty where it can."""
    missing = {NOT_COLLECTED_WORD if token == "" else token for token in field.missing}
    if field.required:
        missing = set()
    allowed = [*field.values, *(m for m in (UNKNOWN, NOT_APPLICABLE, NOT_COLLECTED_WORD) if m in missing)]
    allowed = list(dict.fromkeys(allowed))
    if value in allowed:
        return ""
    if field.values:
        return f"Write one of {', '.join(allowed)}."
    words = f", or {', '.join(allowed)}" if allowed else ""
    if field.kind == "text":
        return (
            f"Write some text{words}." if value in ("", UNKNOWN, NOT_APPLICABLE, NOT_COLLECTED_WORD) else ""
        )
    if field.kind in _NUMBERS:
        return "" if _is_number(field, value) else f"Write a number{words}."
    try:
        (datetime.date if field.kind == "date" else datetime.time).fromisoformat(value)
    except ValueError:
        return f"Write {'YYYY-MM-DD' if field.kind == 'date' else 'HH:MM'}{words}."
    return ""


def _is_number(field: codebook.Field, value: str) -> bool:
    if field.open_ended and value == "inf":
        return True
    try:
        number = Decimal(value)
    except InvalidOperation:
        return False
    return number.is_finite() and (field.kind == "number" or number == number.to_integral_value())


def _near(name: str, known: Mapping[str, object]) -> str:
    return did_you_mean(name, known, otherwise="The codebook lists the fields.")
