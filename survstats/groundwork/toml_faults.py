"""What is wrong with a TOML file, on which line, and what should be written there?

A file for people is checked whole by a pydantic model; its first fault is told in one sentence with a remedy.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from survstats.groundwork.errors import StudyFileError
from survstats.groundwork.words import did_you_mean, visible

_KEY_PART = re.compile(r"""\s*("(?:[^"\\]|\\.)*"|'[^']*'|[\w-]+)\s*""")
_WANTED = {
    "greater_than": "a number greater than {gt}",
    "greater_than_equal": "a number of at least {ge}",
    "less_than": "a number less than {lt}",
    "less_than_equal": "a number of at most {le}",
    "float_type": "a number",
    "int_type": "a whole number",
    "bool_type": "true or false, without quotes",
    "string_type": 'text in "quotes"',
    "list_type": 'a list such as ["role", "light"]',
    "dict_type": "a [section] with keys under it",
    "literal_error": "one of {expected}",
    "string_too_short": "some text",
    "string_too_long": "at most {max_length} characters",
    "string_pattern_mismatch": "text on one line, without control characters or others that cannot be seen",
    "too_short": "at least one entry",
    "model_type": "a [section] with keys under it",
    "model_attributes_type": "a [section] with keys under it",
    "finite_number": "a finite number",
}


def read_toml(raw: bytes, *, file: str) -> tuple[dict[str, Any], str]:
    """The content of a TOML file and its text.

    Raises
    ------
    StudyFileError
        ``not_text`` where it is not UTF-8, ``not_toml`` with the line of the first fault.
    """
    text = ""
    try:
        text = raw.decode("utf-8-sig")
        return tomllib.loads(text), text
    except UnicodeDecodeError:
        raise StudyFileError(
            "not_text", f"{file} is not a text file in UTF-8.", "Save it as plain text in UTF-8."
        ) from None
    except (ValueError, RecursionError) as fault:  # also numbers too long, lists too deep
        named = re.search(r"line (\d+)", str(fault))
        line = int(named.group(1)) if named else max(len(text.splitlines()), 1)
        raise StudyFileError(
            "not_toml",
            f"{file}, line {line}: this is not TOML.",
            'Write key = value, with text in "quotes" and [section] on a line of its own.',
            line=line,
        ) from None


def first_fault(error: ValidationError, text: str, *, file: str, model: type[BaseModel]) -> StudyFileError:
    """The fault that stands first in the file, missing keys last, with its line and how many more there are.

    Parameters
    ----------
    error : ValidationError
        From ``model.model_validate``.
    text : str
        Text of the file.
    file : str
        Its name, for the sentence.
    model : type of BaseModel
        What the file was checked by; names the keys that are known where one is not.
    """
    faults = error.errors()
    located = [(fault["type"] == "missing", line_of(fault["loc"], text), fault) for fault in faults]
    _, line, fault = min(located, key=lambda place: place[:2])  # a key that is missing may be a misspelt one
    path, kind = fault["loc"], fault["type"]
    name = short(".".join(part for part in path if isinstance(part, str)))
    rest = f" ({len(faults) - 1} more in this file.)" if len(faults) > 1 else ""
    if kind == "extra_forbidden":
        known = _known_keys(model, path[:-1])
        hint = did_you_mean(str(path[-1]), known, otherwise=f"Known here: {', '.join(known)}.")
        plain, remedy = f"{place(file, line)}: the key '{name}' is not known.", hint
    elif kind == "missing":
        plain, remedy = (
            f"{place(file, line)}: the key '{name}' is missing.",
            "Add it; the demo studies show how.",
        )
    else:
        seen = fault.get("input")
        shown = short(repr(seen) if isinstance(seen, str) else str(seen))
        plain = f"{place(file, line)}: '{name}' is {shown}, which cannot be used."
        wanted = _WANTED.get(kind, "what the demo studies show").format(**fault.get("ctx", {}))
        remedy = f"Write {'true' if wanted == 'one of True' else wanted}."
    return StudyFileError(kind, plain, remedy + rest, line=line or None)


def place(file: str, line: int) -> str:
    """File and line for a sentence; the file alone where the line is 0."""
    return f"{file}, line {line}" if line else file


def short(text: str) -> str:
    """Text of the file for a sentence: at most 60 characters, all of them printable."""
    shown = visible(text[:60])
    return f"{shown} ..." if len(text) > 60 else shown


def line_of(path: Sequence[str | int], text: str) -> int:
    """The line on which a key stands, or else its section; 0 where neither is found.

    A whole number in the path counts the ``[[sections]]`` of one name, from 0.
    """
    wanted = tuple(path)
    section: tuple[str | int, ...] = ()
    seen: dict[tuple[str, ...], int] = {}
    deepest, found = 0, 0
    for number, line in enumerate(text.splitlines(), start=1):
        header = re.match(r"\s*(\[\[?)(.*?)\]\]?\s*(#.*)?$", line)
        if header:
            names = _key_parts(header.group(2))
            if header.group(1) == "[[":
                seen[names] = seen.get(names, -1) + 1
                section = (*names, seen[names])
            else:
                section = names
            here = section
        else:
            here = (*section, *_key_parts(line, until="="))
        if len(here) > deepest and wanted[: len(here)] == here:
            deepest, found = len(here), number
    return found


def _key_parts(text: str, *, until: str = "") -> tuple[str, ...]:
    """The parts of a dotted key at the start of a text; none unless the key goes up to ``until``."""
    parts, at = [], 0
    while part := _KEY_PART.match(text, at):
        parts.append(_unquoted(part.group(1)))
        at = part.end()
        if text[at : at + 1] != ".":
            break
        at += 1
    return tuple(parts) if text[at : at + 1] == until else ()


def _unquoted(part: str) -> str:
    if part[0] not in "\"'":
        return part
    try:
        return str(tomllib.loads(f"key = {part}")["key"])
    except tomllib.TOMLDecodeError:
        return part


def _known_keys(model: Any, path: Sequence[str | int]) -> list[str]:
    for part in path:
        fields = getattr(model, "model_fields", None)
        inner = fields[str(part)].annotation if fields else get_args(model)[-1]  # a list or dict of models
        choices = [choice for choice in get_args(inner) if hasattr(choice, "model_fields")]
        model = choices[0] if choices and type(None) in get_args(inner) else inner
    return list(model.model_fields)
