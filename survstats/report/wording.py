"""Sentences from numbers: the catalogue, the slots, and the one table by which numbers are rounded."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from survstats.report.content import Piece, Text
from survstats.study.results import Number, StudyResults

NO_BREAK = "\u00a0"
MINUS = "\u2212"
_TOKEN = re.compile(r"(\*|\{[^{}|]+\|[a-z_]+\})")
_PARTS = ("value", "low", "high", "level", "df", "mishaps", "occupants")


@dataclass(frozen=True)
class Facts:
    """What sentences may quote: numbers, texts and lists by id."""

    numbers: Mapping[str, Number]
    texts: Mapping[str, str] = field(default_factory=dict)
    lists: Mapping[str, Sequence[str]] = field(default_factory=dict)


def facts_of(results: StudyResults, **texts: str) -> Facts:
    """The facts of a study; ``texts`` adds what only the paper knows (the date)."""
    hashes = {f"provenance.{name}": value for name, value in results.provenance.items()}
    more = {name.replace("_", ".", 1): value for name, value in texts.items()}
    return Facts(results.numbers, {**results.texts, **hashes, **more}, results.lists)


class Wording:
    """Makes sentences: looks a key up in the catalogue and fills its slots from the facts."""

    def __init__(self, facts: Facts, language: str = "en") -> None:
        self._facts = facts
        self._catalogue = catalogue(language)

    def say(self, key: str) -> Text:
        """The sentence of a key such as ``"saw.lead"``.

        Raises
        ------
        KeyError
            If the key, or a number that its sentence quotes, does not exist: a fault of the program.
        """
        pieces: list[Piece] = []
        strong = False
        for token in _TOKEN.split(self.template(key)):
            if token == "*":  # noqa: S105
                strong = not strong
            elif _TOKEN.fullmatch(token):
                name, _, form = token[1:-1].partition("|")
                pieces.append(self.slot(name, form, strong=strong))
            elif token:
                pieces.append(Piece(token, strong=strong))
        return tuple(piece for piece in pieces if piece.text)

    def template(self, key: str) -> str:
        """The unfilled sentence of a key."""
        found: Any = self._catalogue
        for part in key.split("."):
            found = found[part]
        return str(found)

    def has(self, key: str) -> bool:
        """Whether the catalogue has this key."""
        try:
            self.template(key)
        except (KeyError, TypeError):
            return False
        return True

    def number(self, name: str) -> Number:
        """The stored number of an id."""
        return self._facts.numbers[name]

    def slot(self, name: str, form: str, *, strong: bool = False) -> Piece:
        """One number, text or list, in one of the forms of the rounding table."""
        if name in self._facts.texts:
            return Piece(TEXT_FORMS[form](self._facts.texts[name]), name, strong)
        if name in self._facts.lists:
            return Piece(self._listed(self._facts.lists[name]), name, strong)
        base, part = name, "value"
        if name not in self._facts.numbers:
            base, _, part = name.rpartition(".")
            if part not in _PARTS:
                raise KeyError(name)
        number = self._facts.numbers[base]
        if form in WHOLE_FORMS:
            return Piece(WHOLE_FORMS[form](number), base, strong)
        return Piece(FORMS[form](float(getattr(number, part))), base, strong)

    def join(self, *keys: str) -> Text:
        """Several sentences in a row, with spaces between."""
        pieces: list[Piece] = []
        for key in keys:
            if pieces:
                pieces.append(Piece(" "))
            pieces.extend(self.say(key))
        return tuple(pieces)

    def series(self, *keys: str) -> Text:
        """Parts of one sentence, parted by semicolons and closed by a full stop."""
        pieces: list[Piece] = []
        for key in keys:
            pieces.extend([Piece("; ")] if pieces else [])
            pieces.extend(self.say(key))
        return (*pieces, Piece("."))

    def _listed(self, entries: Sequence[str]) -> str:
        names = [
            self.template(f"group.{entry}") if self.has(f"group.{entry}") else entry for entry in entries
        ]
        if len(names) < 2:
            return "".join(names)
        return f"{', '.join(names[:-1])} {self.template('joining.and')} {names[-1]}"


@cache
def catalogue(language: str) -> Mapping[str, Any]:
    """The sentences of a language, by key."""
    path = Path(__file__).with_name(f"catalogue_{language}.toml")
    return tomllib.loads(path.read_text(encoding="utf-8"))


# ---- the rounding table: nowhere else does a number become text ---------------------------------------------------


def _whole(value: float) -> str:
    if not math.isfinite(value):
        return "no limit"
    rounded = math.floor(abs(value) + 0.5)
    return f"{MINUS if value < 0 and rounded else ''}{rounded:,}".replace(",", NO_BREAK)


def _points_bare(value: float) -> str:
    """Whole points; a figure that would round to 0 without being 0 keeps a decimal, so that its side shows."""
    points = 100 * value
    if 0.05 <= abs(points) < 0.5:
        return f"{points:.1f}".replace("-", MINUS)
    return _whole(points)


def _points_exact(value: float) -> str:
    return f"{100 * value:.6g}".replace("-", MINUS)


def _share(value: float) -> str:
    """A share in whole per cent; never 0 or 100 unless it is exactly that."""
    if 0 < value < 0.005:
        return "<1"
    return ">99" if 0.995 <= value < 1 else _whole(100 * value)


def _points(value: float) -> str:
    bare = _points_bare(value)
    return f"{bare}{NO_BREAK}{'point' if bare in ('1', MINUS + '1') else 'points'}"


def _counted(one: str, many: str) -> Callable[[float], str]:
    return lambda value: f"{_whole(value)}{NO_BREAK}{one if round(value) == 1 else many}"


def _ratio(value: float) -> str:
    return (
        f"{value:#.2g}".rstrip(".")
        if value < 99
        else _whole(value)
        if math.isfinite(value)
        else "without limit"
    )


def _signed(value: float) -> str:
    return f"{100 * value:+.1f}"


def _plain_percent(value: float) -> str:
    return f"{round(100 * value, 2):g}"


def _typed_percent(value: float) -> str:
    return f"{_plain_percent(value)} %"


def _percent_step(value: float) -> str:
    return "a whole per cent" if value == 1 else f"{value:g} per cent"


def _months(value: float) -> str:
    return f"{value:g}{NO_BREAK}{'month' if value == 1 else 'months'}"


def _pair(low: str, high: str) -> str:
    return f"{low}{NO_BREAK}to{NO_BREAK}{high}"


FORMS: dict[str, Callable[[float], str]] = {
    "count": _whole,
    "year": lambda value: f"{value:.0f}",
    "percent": lambda value: f"{_share(value)}{NO_BREAK}%",
    "whole_percent": _share,
    "of_hundred": lambda value: f"{_share(value)}{NO_BREAK}of{NO_BREAK}100",
    "points": _points,
    "points_bare": _points_bare,
    "points_exact": lambda value: f"{_points_exact(value)}{NO_BREAK}{'point' if value == 0.01 else 'points'}",
    "points_exact_bare": _points_exact,
    "minus_points_exact_bare": lambda value: _points_exact(-value),
    "points_signed": _signed,
    "percent_step": _percent_step,
    "percent_two": lambda value: f"{100 * value:.2f} %",
    "ratio": _ratio,
    "months": _months,
    "people": _counted("person", "people"),
    "mishaps": _counted("mishap", "mishaps"),
    "water_mishaps": _counted("helicopter water mishap", "helicopter water mishaps"),
    "unknown_people": lambda value: f"{_whole(value)}{NO_BREAK}unknown",
    "errors": _counted("error", "errors"),
    "warnings": _counted("warning", "warnings"),
    "statements": _counted("statement", "statements"),
}

WHOLE_FORMS: dict[str, Callable[[Number], str]] = {
    "interval": lambda n: _pair(_points_bare(_limit(n.low)), _points_bare(_limit(n.high))),
    "percent_interval": lambda n: _pair(_share(_limit(n.low)), _share(_limit(n.high))),
    "ratio_interval": lambda n: _pair(_ratio(_limit(n.low)), _ratio(_limit(n.high))),
    "points_with_interval": lambda n: (
        f"{_points_bare(n.value)} ({_pair(_points_bare(_limit(n.low)), _points_bare(_limit(n.high)))})"
    ),
    "percent_range": lambda n: (
        _typed_percent(n.value)
        if n.low == n.high or n.low is None
        else f"{_plain_percent(n.low)} to {_plain_percent(_limit(n.high))} %"
    ),
}

TEXT_FORMS: dict[str, Callable[[str], str]] = {
    "text": lambda text: text,
    "hash": lambda text: f"{text[:4]}{NO_BREAK}{text[4:8]}",
    "on_place": lambda text: f", {text}" if text else "",
}


def _limit(value: float | None) -> float:
    return math.nan if value is None else value
