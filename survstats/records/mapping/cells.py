"""What does one cell of another file say in our words?

A text that is not covered is handed back as `Unread`, never guessed at. Blank cells stay blank.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

from survstats.groundwork.words import MONTHS
from survstats.records.codebook import NOT_COLLECTED, Field
from survstats.records.mapping.plan import MAPPING_FILE, NOT_COLLECTED_WORD, FieldPlan
from survstats.records.mapping.units import converted, decimal_text, half_of_last_place, rounded, unit_of

ROUNDING_FACTOR = Decimal("1.5")
OLDEST_YEARS = 120

_MONTHS = tuple(name[:3] for name in MONTHS)
_DATE_PARTS = {
    "YYYY": r"(?P<Y>\d{4})",
    "MMM": r"(?P<N>[A-Za-z]{3})",
    "MM": r"(?P<M>\d{1,2})",
    "DD": r"(?P<D>\d{1,2})",
}
_TIME_WORDS = {"s": "s", "sec": "s", "secs": "s", "second": "s", "seconds": "s"}
_TIME_WORDS |= {"min": "min", "mins": "min", "minute": "min", "minutes": "min"}
_TIME_WORDS |= {"h": "h", "hr": "h", "hrs": "h", "hour": "h", "hours": "h"}
_ABOUT = r"about|approximately|approx\.?|around|circa|ca?\.?|~|≈"
_LESS = r"<=|<|≤|under|below|less than|up to|within|at most"
_MORE = r">=|>|≥|over|above|more than|at least"


@dataclass(frozen=True)
class Unread:
    """A text that the mapping does not cover: the rule (M2 a code, M4 any other), what was expected, what to do."""

    rule: str
    expected: str
    remedy: str


Reader = Callable[[str], "str | Unread"]


def cell_reader(field: Field, plan: FieldPlan) -> Reader:
    """How the cells of their column are read for one of our fields.

    Where codes are given, they are the whole language of a column of codes; our own words then count as theirs and
    must be listed too. Of a text column, texts stay as they are if the codes only name those that stand for no value.
    """
    listed = {
        code: NOT_COLLECTED if value == NOT_COLLECTED_WORD else value for code, value in plan.codes.items()
    }
    only_missing = all(value in field.missing for value in listed.values())
    closed = (bool(field.values) and not plan.bands) or (field.kind == "text" and not only_missing)
    allowed = [value for value in dict.fromkeys((*field.values, *field.missing)) if value]
    unlisted = Unread(
        "M2",
        f"a code that {MAPPING_FILE} lists",
        f"add it to codes under [{field.table}.fields.{field.name}], as {', '.join(allowed) or 'a value of ours'}",
    )
    convert = _conversion(field, plan)

    def read(text: str) -> str | Unread:
        if text in listed:
            return listed[text]
        if text == "":
            return NOT_COLLECTED
        if text in field.missing or text in field.values:
            return unlisted if listed else text
        return unlisted if closed else convert(text)

    return read


def _conversion(field: Field, plan: FieldPlan) -> Reader:
    if plan.bands:
        return lambda text: _age_band(text, plan)
    if plan.interval:
        return lambda text: _end_of_time(text, field, plan)
    if plan.dates:
        form = plan.dates
        return lambda text: day_of(text, form)
    if plan.unit or plan.decimal != ".":
        return lambda text: _amount(text, field, plan)
    return lambda text: text


def _amount(text: str, field: Field, plan: FieldPlan) -> str | Unread:
    if field.open_ended and text == "inf":
        return text
    number = _number(text, plan.decimal)
    if number is None:
        sign = "point" if plan.decimal == "." else "comma"
        return Unread("M4", f"a number with a decimal {sign}", "correct it, or list it under codes")
    if plan.unit:
        number = _within_limits(number, field, plan.unit)
    return decimal_text(number)


def _within_limits(number: Decimal, field: Field, unit: str) -> Decimal:
    """The number in the field's unit; at a limit of the field where its rounding alone took it beyond.

    28 degF stands for 27.5 to 28.5 degF, so it reaches the limit of -2 degC and is -2, not -2.22 degC; 27 degF does
    not reach it and stays what it is.
    """
    ours = unit_of(field.unit)
    value = converted(number, unit, to=ours)
    if unit == ours or field.minimum is None or field.maximum is None:
        return value
    half = half_of_last_place(number)
    low, high = Decimal(str(field.minimum)), Decimal(str(field.maximum))
    if value < low <= converted(number + half, unit, to=ours):
        return low
    if value > high >= converted(number - half, unit, to=ours):
        return high
    return value


def rounding_of(text: str, field: Field, plan: FieldPlan) -> float:
    """How far off a converted number may be, in the field's unit: half of the last place it is written to."""
    number = _number(text, plan.decimal)
    if number is None or not plan.unit:
        return 0.0
    ours, half = unit_of(field.unit), half_of_last_place(number)
    ends = [converted(number + side * half, plan.unit, to=ours) for side in (-1, 1)]
    return float(ends[1] - ends[0]) / 2


def _number(text: str, sign: str) -> Decimal | None:
    if not re.fullmatch(rf"[+-]?\d+({re.escape(sign)}\d+)?", text, re.ASCII):
        return None
    return Decimal(text.replace(sign, "."))


def _age_band(text: str, plan: FieldPlan) -> str | Unread:
    number = _number(text, plan.decimal)
    years = None if number is None else converted(number, plan.unit or "years", to="years")
    if years is None or not 0 <= years <= OLDEST_YEARS:
        return Unread("M4", f"an age of 0 to {OLDEST_YEARS} years", "correct it, or list it under codes")
    low = int(years // 5) * 5
    return "80_plus" if low >= 80 else f"{low}_to_{low + 4}"


def _end_of_time(text: str, field: Field, plan: FieldPlan) -> str | Unread:
    """The low or high end of a time in words: "10 to 20 s" is (10, 20], "about 15 s" (10, 22.5], "< 20" (0, 20]."""
    ends = _ends(" ".join(text.lower().split()), plan.decimal, plan.unit or unit_of(field.unit))
    if ends is None:
        return Unread(
            "M4",
            'a time such as "15 s", "10 to 20 s", "about 15 s", "< 20 s" or "> 60 s"',
            "rewrite it so, or list it under codes",
        )
    low, high, unit = ends
    end = low if re.search(r"_lo(_|$)", field.name) else high
    return "inf" if end is None else decimal_text(converted(end, unit, to=unit_of(field.unit)))


def _ends(text: str, sign: str, unit: str) -> tuple[Decimal, Decimal | None, str] | None:
    number = rf"(\d+(?:{re.escape(sign)}\d+)?)"
    guess = rf"(?:({_ABOUT})|({_LESS})|({_MORE}))?"
    second_number = rf"(?: ?(?:to|and|-|–|—) ?{number})?"
    form = re.compile(rf"(?:between )?{guess} ?{number}{second_number}(\+)? ?([a-z]+)?\.?", re.ASCII)
    found = form.fullmatch(text)
    if found is None:
        return None
    about, less, more, first, second, plus, word = found.groups()
    if word is not None and word not in _TIME_WORDS:
        return None
    unit = _TIME_WORDS[word] if word else unit
    low = Decimal(first.replace(sign, "."))
    high = Decimal(second.replace(sign, ".")) if second else None
    if high is not None:
        return None if about or less or more or plus or high < low else (low, high, unit)
    if " and " in text or sum(map(bool, (about, less, more, plus))) > 1:
        return None
    if about:
        return rounded(low / ROUNDING_FACTOR), rounded(low * ROUNDING_FACTOR), unit
    if less:
        return Decimal(0), low, unit
    return low, None if more or plus else low, unit


def day_of(text: str, form: str) -> str | Unread:
    """The day in a text of that form, as YYYY-MM-DD, which is understood beside every form.

    A form without day or month gives the middle of the month or year; training_date_precision says so.
    """
    wrong = Unread("M4", f"a day written {form}", "correct it, or correct dates in mapping.toml")
    found = re.fullmatch(_day_pattern(form), text, re.ASCII) or re.fullmatch(
        _day_pattern("YYYY-MM-DD"), text, re.ASCII
    )
    if found is None:
        return wrong
    parts = found.groupdict()
    if name := parts.get("N"):
        if name.lower() not in _MONTHS:
            return wrong
        parts["M"] = str(_MONTHS.index(name.lower()) + 1)
    middle = "15" if parts.get("M") else "1"
    try:
        day = datetime.date(int(parts["Y"]), int(parts.get("M") or 7), int(parts.get("D") or middle))
    except ValueError:
        return wrong
    return day.isoformat()


def _day_pattern(form: str) -> str:
    parts = re.split("(YYYY|MMM|MM|DD)", form)
    pattern = "".join(_DATE_PARTS.get(part, re.escape(part)) for part in parts)
    touching = "" in parts[2:-1:2]  # YYYYMMDD: every part has its full width
    return pattern.replace("{1,2}", "{2}") if touching else pattern
