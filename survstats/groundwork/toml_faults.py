"""What is wrong with a TOML file, on which line, and what should be written there?

A file for people is checked whole by a pydantic model; its first fault is told in one sentence with a remedy.
"""

from __future__ import annotations

import json
import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel, ValidationError

from survstats.groundwork.errors import StudyFileError
from survstats.groundwork.words import did_you_mean, visible

_COMMA_IN_NUMBER = re.compile(r"=\s*[-+]?\d[\d.]*,\d")
_KEY_PART = re.compile(r"""\s*("(?:[^"\\]|\\.)*"|'[^']*'|[\w-]+)\s*""")
_WANTED = {
    "float_type": "a number",
    "int_type": "a whole number",
    "bool_type": "true or false, without quotes",
    "string_type": 'text in "quotes"',
    "list_type": "a list in [brackets]{example}",
    "dict_type": "a [section] with keys under it",
    "literal_error": "one of {expected}",
    "string_too_short": "some text",
    "string_too_long": "at most {max_length} characters",
    "string_pattern_mismatch": "text on one line, without control characters or others that cannot be seen",
    "too_short": "at least {min_length} entries",
    "too_long": "at most {max_length} entries",
    "model_type": "a [section] with keys under it",
    "model_attributes_type": "a [section] with keys under it",
    "finite_number": "a finite number",
}
_LIMIT_KINDS = ("greater_than", "greater_than_equal", "less_than", "less_than_equal")
_BOUNDS = {
    "gt": "greater than {:.10g}",
    "ge": "at least {:.10g}",
    "lt": "less than {:.10g}",
    "le": "at most {:.10g}",
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
        at_fault = text.splitlines()[line - 1 : line]
        raise StudyFileError(
            "not_toml",
            f"{file}, line {line}: this is not TOML.",
            "Write numbers with a decimal point, and without a mark between thousands: 1100 or 0.5."
            if at_fault and _COMMA_IN_NUMBER.search(at_fault[0])
            else 'Write key = value, with text in "quotes" and [section] on a line of its own.',
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
    named = path[-1] == "[key]"  # the key itself is at fault, not what stands under it
    keys = path[:-2] if named else path
    name = short(".".join(part for part in keys if isinstance(part, str)))
    rest = f" ({len(faults) - 1} more in this file.)" if len(faults) > 1 else ""
    if kind == "extra_forbidden":
        known = _known_keys(model, path[:-1])
        hint = did_you_mean(str(path[-1]), known, otherwise=f"Known here: {', '.join(known)}.")
        plain, remedy = f"{place(file, line)}: the key '{name}' is not known.", hint
    elif kind == "missing":
        plain, remedy = (
            f"{place(file, line)}: the key '{name}' is missing.",
            f"Add it{_as_in(model, path)}; the demo studies show how.",
        )
    else:
        seen = fault.get("input")
        what = f"the name {_shown(seen)} in '{name}'" if named else f"'{name}' is {_shown(seen)}, which"
        plain = f"{place(file, line)}: {what} cannot be used."
        remedy = f"Write {_keys_wanted(kind, seen, keys, model)}."
        if remedy == "Write .":
            remedy = f"Write {_wanted(kind, fault.get('ctx', {}), seen, _limits(model, path))}."
    return StudyFileError(kind, plain, remedy + rest, line=line or None)


def _shown(seen: object) -> str:
    """What stands in the file, as TOML has it."""
    if isinstance(seen, str):
        return short(repr(seen))
    if isinstance(seen, bool):
        return str(seen).lower()
    if isinstance(seen, dict):
        return "a [section]"
    if isinstance(seen, list) and any(isinstance(entry, dict) for entry in seen):
        return "a list of [[sections]]"
    return short(str(seen))


def _wanted(kind: str, context: Mapping[str, Any], seen: object, limits: Mapping[str, float]) -> str:
    """What to write instead: a number with both its limits, where it has two."""
    if kind == "too_short" and context.get("min_length") == 1:
        return "at least one entry"
    if kind not in _LIMIT_KINDS:
        example = f": [{short(json.dumps(seen, ensure_ascii=False))}]" if isinstance(seen, str | int) else ""
        wanted = _WANTED.get(kind, "what the demo studies show").format(**context, example=example)
        return "true" if wanted == "one of True" else wanted
    bounds = limits or {name: value for name, value in context.items() if name in _BOUNDS}
    within = " and ".join(_BOUNDS[name].format(bounds[name]) for name in _BOUNDS if name in bounds)
    if not within.startswith("greater") and not within.startswith("less"):
        within = f"of {within}"
    finite = not isinstance(seen, float) or math.isfinite(seen)
    hint = ""
    if finite and bounds.get("le") == 1 and isinstance(seen, int | float) and 1 < seen <= 100:
        hint = f": a share and not per cent, so {seen / 100:g} for {seen:g} %"
    return f"a {'' if finite else 'finite '}number {within}{hint}"


def _keys_wanted(kind: str, seen: object, path: Sequence[str | int], model: Any) -> str:
    """What to write for a section in place of a single value, or for a list in place of a section; else nothing."""
    if kind == "list_type" and isinstance(seen, dict):
        return f"two brackets above each entry: [[{short('.'.join(str(part) for part in path))}]]"
    if kind in ("model_type", "model_attributes_type") and not isinstance(seen, dict | list):
        wanted = _annotation(model, path)
        if "value" in getattr(wanted, "model_fields", {}):
            return f"{short(str(path[-1]))} = {_example(wanted, seen)}"
    return ""


def _as_in(model: Any, path: Sequence[str | int]) -> str:
    """How a key that is missing is written, where a single value stands behind it."""
    wanted = _annotation(model, path)
    single = wanted in (int, float, str, bool) or get_origin(wanted) is Literal
    return f": {short(str(path[-1]))} = {_example(wanted, None)}" if single else ""


def _annotation(model: Any, path: Sequence[str | int]) -> Any:
    """What must stand under a path: a model, or the type of a single value."""
    for part in path:
        model = _inner(model, part)
    return model


def _example(wanted: Any, seen: object) -> str:
    """How a value of this type is written; a section with the keys that it must have, ``seen`` as its value."""
    fields = getattr(wanted, "model_fields", None)
    if fields is not None:
        parts = [
            f"{name} = {_example(field.annotation, seen if name == 'value' else None)}"
            for name, field in fields.items()
            if field.is_required()
        ]
        return f"{{{', '.join(parts)}}}" if parts else "..."
    if isinstance(seen, int | float) and not isinstance(seen, bool):
        return f"{seen:g}"
    if get_origin(wanted) is Literal:
        return json.dumps(get_args(wanted)[0])
    return '"..."' if wanted is str else "..."


def _limits(model: Any, path: Sequence[str | int]) -> dict[str, float]:
    """The limits of a number, by the names in `_BOUNDS`; none where the path leads to no field with limits."""
    for part in path[:-1]:
        model = _inner(model, part)
    field = getattr(model, "model_fields", {}).get(path[-1])
    if field is None:
        return {}
    told = [*field.metadata]
    for choice in get_args(field.annotation):  # of a number that may be left out
        for given in getattr(choice, "__metadata__", ()):
            told += getattr(given, "metadata", [given])
    return {
        name: getattr(limit, name)
        for name in _BOUNDS
        for limit in told
        if getattr(limit, name, None) is not None
    }


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
                if names == wanted and not found:  # the list as a whole begins with its first entry
                    found, deepest = number, len(names)
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
        model = _inner(model, part)
    return list(model.model_fields)


def _inner(model: Any, part: str | int) -> Any:
    """What stands under a key of a model, or in a list or dict of models."""
    fields = getattr(model, "model_fields", None)
    inner = fields[str(part)].annotation if fields else get_args(model)[-1]
    choices = [choice for choice in get_args(inner) if hasattr(choice, "model_fields")]
    return choices[0] if choices and type(None) in get_args(inner) else inner
