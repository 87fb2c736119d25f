"""May this text stand in a cell of this field, and what was probably meant if not?"""

from __future__ import annotations

import math
import re
from collections.abc import Callable

import numpy as np

from survstats.groundwork.words import nearest
from survstats.records.codebook import NOT_APPLICABLE, UNKNOWN, Field

_PATTERNS = {
    "integer": re.compile(r"[+-]?[0-9]+"),
    "number": re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)"),
    "date": re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}"),
    "time": re.compile(r"([01][0-9]|2[0-3]):[0-5][0-9](:[0-5][0-9])?Z?"),
}
_EXPECTED = {
    "integer": "a whole number",
    "number": "a number with a decimal point",
    "date": "a date written YYYY-MM-DD",
    "time": "a time written HH:MM",
}
_TRUTH_WORDS = {"0", "1", "0.0", "1.0", "true", "false", "t", "f", "y", "n"}


def wrong_text(field: Field, value: str) -> tuple[str, str, str] | None:
    """Rule id, what was expected and what to do, where a cell's text is not allowed; else None."""
    if field.required and value in ("", UNKNOWN, NOT_APPLICABLE):
        return "F4", "a value in every row", "enter it; the row cannot be used without it"
    if value in field.missing:
        return None
    return _CHECKS[field.kind](field, value)


def _wrong_code(field: Field, value: str) -> tuple[str, str, str] | None:
    if value in field.values:
        return None
    expected = ", ".join(field.values[:-1]) + " or " + field.values[-1]
    if field.kind == "tri_state" and value.lower() in _TRUTH_WORDS:
        return "F5", expected, "write the word, so that no and unknown stay apart"
    near = nearest_word(value, list(field.values))
    return "F1", expected, f"did you mean {near}?" if near else "write one of the codes"


def _wrong_number(field: Field, value: str) -> tuple[str, str, str] | None:
    if field.open_ended and value.lower() == "inf":
        return None
    if _PATTERNS[field.kind].fullmatch(value) and math.isfinite(float(value)):
        return None
    expected = _EXPECTED[field.kind] + (" or inf" if field.open_ended else "")
    remedy = "write the number alone, or unknown"
    if _PATTERNS["number"].fullmatch(value.replace(",", ".")) and "," in value:
        remedy = f"did you mean {value.replace(',', '.')}?"
        if re.fullmatch(r"[+-]?[0-9]{1,3},[0-9]{3}", value):
            remedy = f"the comma may be a decimal sign or part of {value.replace(',', '')}; write it without"
    return "F2", expected, remedy


def _wrong_date(field: Field, value: str) -> tuple[str, str, str] | None:
    if field.kind == "date" and _PATTERNS["date"].fullmatch(value) and _is_day(value):
        return None
    if field.kind == "time" and _PATTERNS["time"].fullmatch(value):
        return None
    remedy = f"rewrite it, or write {UNKNOWN}" if not field.required else "rewrite it"
    if field.name == "training_last_date" and re.fullmatch(r"[0-9]{4}(-[0-9]{2})?", value):
        remedy = "write any day in it, and month or year in training_date_precision"
    return "F3", _EXPECTED[field.kind], remedy


def _anything(field: Field, value: str) -> tuple[str, str, str] | None:  # noqa: ARG001
    return None


_CHECKS: dict[str, Callable[[Field, str], tuple[str, str, str] | None]] = {
    "text": _anything,
    "category": _wrong_code,
    "tri_state": _wrong_code,
    "integer": _wrong_number,
    "number": _wrong_number,
    "date": _wrong_date,
    "time": _wrong_date,
}


def _is_day(value: str) -> bool:
    """Whether the calendar has this day, in the span that can be held (1678 to 2261)."""
    try:
        np.datetime64(value, "D")
    except ValueError:
        return False
    return 1678 <= int(value[:4]) <= 2261


def nearest_word(word: str, words: list[str]) -> str:
    """The word of the list that this one was probably meant to be, or an empty text."""
    folded = {_folded(candidate): candidate for candidate in words}
    return folded.get(nearest(_folded(word), folded, likeness=0.75) or "", "")


def _folded(word: str) -> str:
    return word.lower().replace(" ", "_").replace("-", "_")
