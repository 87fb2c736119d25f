"""How does a list of findings read in a terminal: by rule, in columns, with nothing harmful in it?"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from itertools import groupby
from typing import NamedTuple

from survstats.groundwork.words import code_point, visible
from survstats.report.content import plain
from survstats.report.wording import Facts, Wording
from survstats.study.results import Number

PLACES, NUMBERS = 20, 4
"""Lines listed under a rule, and row numbers on a line; the file written with --out lists all."""
_SEVERITIES = ("error", "warning", "accepted", "statement")
_ABSENT_COLUMNS = "F8"
_LONGEST = 240
_GAP = 2


class FindingRow(NamedTuple):
    """One finding with the title of its rule; see `survstats.records.finding.Finding`."""

    rule: str
    severity: str
    title: str
    file: str
    row: int | None
    field: str
    seen: str
    expected: str
    remedy: str


def findings_text(findings: Iterable[Sequence[str | int | None]], *, width: int = 80) -> list[str]:
    """The findings as lines of text, none wider than ``width`` columns.

    Parameters
    ----------
    findings : iterable of rows
        Each with rule, severity, title, file, row, field, seen, expected, remedy.
    width : int
        Columns of the terminal; at least 40.

    Returns
    -------
    list of str
        Errors first, statements last, columns that are not there after all others; control letters and marks of
        direction are spelled out.
    """
    rows = sorted((FindingRow(*row) for row in findings), key=_order)  # type: ignore[arg-type]
    if not rows:
        return [_say("findings.none")]
    lines: list[str] = []
    for _, group in groupby(rows, key=lambda row: (row.severity, row.rule)):
        lines += [*([""] if lines else []), *_rule(list(group), max(width, 40))]
    return lines


def _order(row: FindingRow) -> tuple[int, bool, str, int, str]:
    """Errors first, statements last; rules by letter and number; the order within a rule stays."""
    weight, digits = _SEVERITIES.index(row.severity), row.rule[1:]
    number = int(digits) if digits.isdecimal() else 0
    return weight, row.rule == _ABSENT_COLUMNS, row.rule[:1], number, row.rule


def _rule(rows: list[FindingRow], width: int) -> list[str]:
    first = rows[0]
    head = f"{_say(f'severity.{first.severity}')} {first.rule}  "
    count = "" if first.severity == "statement" else _say("findings.count", len(rows))
    room = width - len(head) - (_cells(count) + _GAP if count else 0)
    title = _wrapped(first.title, room)
    lines = [f"{head}{_padded(title[0], room)}{' ' * _GAP}{count}".rstrip()]
    lines += [f"{' ' * len(head)}{part}" for part in title[1:]]
    left = 0
    if first.rule == _ABSENT_COLUMNS:
        lines += _absent(rows, width)
    elif first.severity == "statement":
        said = _said_together(rows)
        lines += [line for row in said[:PLACES] for line in _indented(_statement(row), width, longest=None)]
        left = len(said[PLACES:])
    else:
        return lines + _by_remedy(rows, width)
    if left:
        lines += _indented(_say("findings.more", left), width)
    for remedy in dict.fromkeys(row.remedy for row in rows if row.remedy):
        lines += _indented(remedy, width, mark="> ")
    return lines


def _by_remedy(rows: list[FindingRow], width: int) -> list[str]:
    """The places of a rule, each remedy under its own; so many lines in all, and how many findings are left."""
    lines: list[str] = []
    room, left = PLACES, 0
    for remedy in dict.fromkeys(row.remedy for row in rows):
        found = _alike([row for row in rows if row.remedy == remedy])
        left += sum(max(len(numbers), 1) for _, numbers in found[room:])
        found = found[:room]
        room -= len(found)
        if found:
            lines += _places(found, width)
            lines += _indented(remedy, width, mark="> ") if remedy else []
    return lines + (_indented(_say("findings.more", left), width) if left else [])


def _said_together(rows: list[FindingRow]) -> list[FindingRow]:
    """Statements that say the same of several columns of a file, made one that names them all."""
    together: dict[tuple[str, ...], list[FindingRow]] = {}
    for row in rows:
        together.setdefault((row.file, _harmless(row.seen), _harmless(row.expected)), []).append(row)
    return [
        row._replace(
            field=", ".join(_harmless(row.field) for row in alike if row.field), seen=seen, expected=expected
        )
        for (_, seen, expected), alike in together.items()
        for row in alike[:1]
    ]


def _statement(row: FindingRow) -> str:
    """What a statement says, led by the file and the column it is about."""
    place = ", ".join(part for part in (row.file, row.field) if part)
    said = f"{row.seen} {row.expected}".strip()
    return f"{place}: {said}" if place and said else place or said


def _absent(rows: list[FindingRow], width: int) -> list[str]:
    """The columns each file lacks, one after the other."""
    lines: list[str] = []
    for file, group in groupby(rows, key=lambda row: row.file):
        names = ", ".join(_harmless(row.field or row.seen) for row in group)
        lines += _indented(f"{_harmless(file)}: {names}", width, longest=None)
    return lines


def _alike(rows: list[FindingRow]) -> list[tuple[FindingRow, list[int]]]:
    """Findings that say the same of one column, taken together, each with the rows in which it stands."""
    together: dict[tuple[str, ...], tuple[FindingRow, list[int]]] = {}
    for row in rows:
        key = (row.file, row.field, row.seen, row.expected)
        together.setdefault(key, (row, []))[1].extend([] if row.row is None else [row.row])
    return sorted(together.values(), key=lambda pair: [found.file for found in rows].index(pair[0].file))


def _places(found: list[tuple[FindingRow, list[int]]], width: int) -> list[str]:
    """Row, field, found and expected in columns, under the name of each file."""
    rows = [row for row, _ in found]
    table = [("row", "field", "found", "expected")]
    cells = [tuple(_say(f"findings.{name}") for name in table[0])]
    cells += [_shown(row, numbers) for row, numbers in found]
    kept = [at for at in range(4) if any(row[at] for row in cells[1:])]
    widths = _widths([[row[at] for at in kept] for row in cells], width - 4)
    lines: list[str] = []
    for file, group in groupby(zip(rows, cells[1:], strict=True), key=lambda pair: pair[0].file):
        lines += _indented(file, width)
        if kept:
            heads = [cells[0]] if len(lines) == 1 else []
            for row in [*heads, *(shown for _, shown in group)]:
                lines += _columns([row[at] for at in kept], widths)
    return lines


def _shown(row: FindingRow, numbers: list[int]) -> tuple[str, ...]:
    named = ", ".join(str(number) for number in numbers[:NUMBERS])
    if len(numbers) > NUMBERS:
        named += f" {_say('findings.rows', len(numbers) - NUMBERS)}"
    return (named, row.field, row.seen or _say("findings.empty"), row.expected)


def _widths(rows: list[list[str]], width: int) -> list[int]:
    """As wide as each column wants to be; where that is too much the widest give way."""
    wants = [max(_cells(_harmless(cell)) for cell in column) for column in zip(*rows, strict=True)]
    room = width - _GAP * (len(wants) - 1)
    while sum(wants) > room:
        wants[wants.index(max(wants))] -= 1
    return wants


def _columns(cells: Sequence[str], widths: Sequence[int]) -> list[str]:
    parts = [_wrapped(cell, width) for cell, width in zip(cells, widths, strict=True)]
    lines = []
    for at in range(max(len(part) for part in parts)):
        line = [
            _padded(part[at] if at < len(part) else "", width)
            for part, width in zip(parts, widths, strict=True)
        ]
        lines.append(f"    {(' ' * _GAP).join(line)}".rstrip())
    return lines


def _indented(text: str, width: int, *, mark: str = "", longest: int | None = _LONGEST) -> list[str]:
    parts = _wrapped(text, width - 2 - len(mark), longest=longest)
    return [f"  {mark if at == 0 else ' ' * len(mark)}{part}" for at, part in enumerate(parts)]


# ---- letters and columns --------------------------------------------------------------------------------------------


def _harmless(text: str, *, longest: int | None = _LONGEST) -> str:
    """The text on one line, control letters and marks of direction spelled out, cut where it is very long."""
    cut = f"{text[:longest]}..." if longest and len(text) > longest else text
    return visible(cut.replace("\u00a0", " ").replace("\u202f", " "), instead=code_point)


def _cells(text: str) -> int:
    """Columns that a terminal needs for the text."""
    return sum(
        0 if unicodedata.combining(letter) else 2 if unicodedata.east_asian_width(letter) in "WF" else 1
        for letter in text
    )


def _padded(text: str, width: int) -> str:
    return text + " " * (width - _cells(text))


def _wrapped(text: str, width: int, *, longest: int | None = _LONGEST) -> list[str]:
    """The text in lines of at most ``width`` columns, broken at spaces, within a word only where it must be."""
    lines = [""]
    for word in _harmless(text, longest=longest).split():
        rest = word
        if lines[-1] and _cells(f"{lines[-1]} {rest}") <= width:
            lines[-1] += f" {rest}"
            continue
        if lines[-1]:
            lines.append("")
        for letter in rest:
            if _cells(lines[-1] + letter) > width:
                lines.append("")
            lines[-1] += letter
    return lines


def _say(key: str, count: int = 0) -> str:
    number = Number(float(count), "count", "counted")
    return plain(Wording(Facts({"findings.count": number})).say(key)).replace("\u00a0", " ")
