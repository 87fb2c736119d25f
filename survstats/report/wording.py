"""Sentences from numbers: the catalogue and its slots."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from survstats.report.content import Piece, Text
from survstats.report.rounding import FORMS, TEXT_FORMS, WHOLE_FORMS
from survstats.study.results import MASKED, Cell, Number, StudyResults

_TOKEN = re.compile(r"(\*|\{[^{}|]+\|[a-z_]+\})")
_ROW = re.compile(r"row\b|row(?=_)")
_PRINTED = (
    "acceptability",
    "accepted",
    "budget_groups",
    "budget_if",
    "budget_inputs",
    "calibration",
    "choices",
    "coefficients",
    "cabin_classes",
    "cabin_zones",
    "crude_shares",
    "egress_at",
    "egress_models",
    "egress_people",
    "empty_cells",
    "era_positivity",
    "estimators",
    "evidence",
    "evpi",
    "findings_by_rule",
    "fitness",
    "flow",
    "imputation_delta",
    "influence",
    "interval",
    "interval_steps",
    "ledger_p1",
    "left_out_groups",
    "miscoding_grid",
    "missing_together",
    "modifier_contrasts",
    "modifiers",
    "next_record",
    "one_mishap_out",
    "planning",
    "position",
    "recency",
    "runs",
    "runs_model",
    "swings",
    "whom_first",
)
"""Tables whose cells sentences may quote, as ``table.row.column`` with rows counted from 0."""
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
    cells = {
        f"{name}.{at}.{column}": cell
        for name in _PRINTED
        if name in results.tables
        for at, row in enumerate(results.tables[name].rows)
        for column, cell in zip(results.tables[name].columns, row, strict=True)
    }
    words = {name: cell for name, cell in cells.items() if isinstance(cell, str) and cell != MASKED}
    counts = {name: _cell_number(cell) for name, cell in cells.items()}
    return Facts(
        {**{name: number for name, number in counts.items() if number}, **results.numbers},
        {**sources(), **guidance(), **words, **results.texts, **hashes, **more},
        results.lists,
    )


def _cell_number(cell: Cell) -> Number | None:
    """The number in a cell of a table, None where there is none."""
    if cell == MASKED:
        return Number(math.nan, "count", MASKED)
    if isinstance(cell, str) or cell is None or math.isnan(cell):
        return None
    return Number(float(cell), "count", "table")


class Wording:
    """Makes sentences: looks a key up in the catalogue and fills its slots from the facts."""

    def __init__(self, facts: Facts, language: str = "en") -> None:
        self._facts = facts
        self._catalogue = catalogue(language)

    def say(self, key: str, *, row: str = "") -> Text:
        """The sentence of a key such as ``"saw.lead"``.

        Where a count that it quotes is withheld, the sentence of ``"saw.lead_masked"`` stands in its place if there
        is one.

        Parameters
        ----------
        key : str
        row : str
            What ``row`` in the ids of the sentence stands for: ``{row.findings|count}`` with ``row="accepted.0"``
            is the number of findings in the first row of the table of accepted rules, and ``{row_pairs|count}`` with
            ``row="agreement.severity"`` the number ``agreement.severity_pairs``.

        Raises
        ------
        KeyError
            If the key, or a number that its sentence quotes, does not exist: a fault of the program.
        """
        pieces: list[Piece] = []
        strong = False
        if self.has(f"{key}_{MASKED}") and any(self.is_masked(name) for name, _ in self._slots(key, row)):
            key = f"{key}_{MASKED}"
        slots = iter(self._slots(key, row))
        for token in _TOKEN.split(self.template(key)):
            if token == "*":  # noqa: S105
                strong = not strong
            elif _TOKEN.fullmatch(token):
                name, form = next(slots)
                pieces.append(self.slot(name, form, strong=strong))
            elif token:
                pieces.append(Piece(token, strong=strong))
        return tuple(piece for piece in pieces if piece.text)

    def _slots(self, key: str, row: str) -> list[tuple[str, str]]:
        """Id and form of every slot of a sentence."""
        found = (token[1:-1].partition("|") for token in _TOKEN.findall(self.template(key)) if token != "*")  # noqa: S105
        return [(f"{row}{name[3:]}" if _ROW.match(name) else name, form) for name, _, form in found]

    def is_masked(self, name: str) -> bool:
        """Whether the number of an id, or of a part of one, is withheld."""
        numbers = self._facts.numbers
        found = numbers.get(name) or numbers.get(name.rpartition(".")[0])
        return found is not None and found.method == MASKED

    def has_number(self, name: str) -> bool:
        """Whether a number stands under an id."""
        return name in self._facts.numbers

    def is_word(self, name: str) -> bool:
        """Whether a word stands under an id that may also have a number."""
        return name in self._facts.texts

    def template(self, key: str) -> str:
        """The unfilled sentence of a key."""
        found: Any = self._catalogue
        for part in key.split("."):
            found = found[part]
        return str(found)

    def has(self, key: str) -> bool:
        """Whether the catalogue has a sentence of this key."""
        try:
            self.template(key)
        except (KeyError, TypeError):
            return False
        return True

    def can_say(self, key: str, *, row: str = "") -> bool:
        """Whether the sentence of a key exists, and everything that it quotes."""
        return self.has(key) and all(self._is_there(name) for name, _ in self._slots(key, row))

    def _is_there(self, name: str) -> bool:
        facts = self._facts
        if name in facts.texts or name in facts.lists or name in facts.numbers:
            return True
        base, _, part = name.rpartition(".")
        return (
            part in _PARTS
            and base in facts.numbers
            and (self.is_masked(base) or getattr(facts.numbers[base], part) is not None)
        )

    def number(self, name: str) -> Number:
        """The stored number of an id."""
        return self._facts.numbers[name]

    def slot(self, name: str, form: str, *, strong: bool = False) -> Piece:
        """One number, text or list, in one of the forms of the rounding table."""
        if name in self._facts.texts and form in TEXT_FORMS:
            return Piece(TEXT_FORMS[form](self._facts.texts[name]), name, strong)
        if name in self._facts.lists:
            return Piece(self.names(self._facts.lists[name]), name, strong)
        base, part = name, "value"
        if name not in self._facts.numbers:
            base, _, part = name.rpartition(".")
            if part not in _PARTS:
                raise KeyError(name)
        number = self._facts.numbers[base]
        if number.method == MASKED:
            return Piece(self.template("masked.count"), base, strong)
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
        return in_series(*(self.say(key) for key in keys))

    def cell(self, name: str, form: str) -> Text:
        """One cell of a table, or one number; empty where there is none."""
        there = name in self._facts.numbers or name in self._facts.texts
        return (self.slot(name, form),) if there else ()

    def name(self, entry: str) -> str:
        """What a field, a group or a role is called."""
        if entry == MASKED:
            return self.template("masked.count")
        return self.template(f"group.{entry}") if self.has(f"group.{entry}") else entry

    def names(self, entries: Sequence[str]) -> str:
        """Several names as part of a sentence."""
        return self.listed([self.name(entry) for entry in entries])

    def listed(self, names: Sequence[str]) -> str:
        """Texts as part of a sentence."""
        if len(names) < 2:
            return "".join(names)
        return f"{', '.join(names[:-1])} {self.template('joining.and')} {names[-1]}"


def in_series(*parts: Text) -> Text:
    """Texts as parts of one sentence, parted by semicolons and closed by a full stop."""
    pieces: list[Piece] = []
    for part in parts:
        pieces.extend([Piece("; ")] if pieces else [])
        pieces.extend(part)
    return (*pieces, Piece("."))


@cache
def sources() -> Mapping[str, str]:
    """Where the methods come from, by ``source.name``: authors, year, DOI."""
    path = Path(__file__).with_name("sources.toml")
    return {f"source.{name}": told for name, told in tomllib.loads(path.read_text(encoding="utf-8")).items()}


@cache
def guidance() -> Mapping[str, str]:
    """Published values of a life, as ``guidance.2023.value`` and ``guidance.2023.year``; offered, never applied."""
    path = Path(__file__).with_name("value_of_life.toml")
    told = tomllib.loads(path.read_text(encoding="utf-8"))
    return {
        f"guidance.{year}.{part}": text
        for year, value in sorted(told.items(), reverse=True)
        for part, text in (("year", year), ("value", value))
    }


@cache
def catalogue(language: str) -> Mapping[str, Any]:
    """The sentences of a language, by key."""
    path = Path(__file__).with_name(f"catalogue_{language}.toml")
    return tomllib.loads(path.read_text(encoding="utf-8"))
