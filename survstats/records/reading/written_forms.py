"""In which form are numbers and dates written, and how do they read in ours?

Ours is the decimal point and YYYY-MM-DD. A form is taken only where the file itself leaves no other reading, and
what was taken is said (F10, F11); a cell that could be read two ways stays as it is and is an error.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.groundwork.words import MONTHS
from survstats.records.codebook import Field
from survstats.records.finding import Finding
from survstats.records.reading.day_order import (
    DAY_FIRST,
    MONTH_FIRST,
    SLASHES,
    count_slashes,
    doubt_of,
    with_counts,
)  # fmt: skip
from survstats.records.reading.grid import Grid

ISO = "YYYY-MM-DD"
_COMMA_NUMBER = re.compile(r"[+-]?[0-9]+,([0-9]+)")
_POINT_NUMBER = re.compile(r"[+-]?[0-9]*\.[0-9]+|[+-]?[0-9]+\.")
_FORMS = {
    ISO: re.compile(r"(?P<y>[0-9]{4})-(?P<m>[0-9]{2})-(?P<d>[0-9]{2})"),
    "YYYY-MM-DD 00:00": re.compile(r"(?P<y>[0-9]{4})-(?P<m>[0-9]{2})-(?P<d>[0-9]{2})[ T]00:00(:00(\.0+)?)?"),
    "DD.MM.YYYY": re.compile(r"(?P<d>[0-9]{1,2})\.(?P<m>[0-9]{1,2})\.(?P<y>[0-9]{4})"),
    "YYYY/MM/DD": re.compile(r"(?P<y>[0-9]{4})/(?P<m>[0-9]{1,2})/(?P<d>[0-9]{1,2})"),
    "D Month YYYY": re.compile(
        r"(?P<d>[0-9]{1,2})(?P<sign>[ -])(?P<m>[A-Za-z]{3,9})\.?(?P=sign)(?P<y>[0-9]{4})"
    ),
    DAY_FIRST: re.compile(r"(?P<d>[0-9]{1,2})/(?P<m>[0-9]{1,2})/(?P<y>[0-9]{4})"),
    MONTH_FIRST: re.compile(r"(?P<m>[0-9]{1,2})/(?P<d>[0-9]{1,2})/(?P<y>[0-9]{4})"),
}
DATE_FORMS = tuple(_FORMS)


@dataclass(frozen=True)
class Settled:
    """The columns of a table in our forms.

    Attributes
    ----------
    columns : mapping of str to sequence of str
        All columns; those not changed are the very ones of the grid.
    changed : frozenset of str
        Columns in which a cell reads otherwise than in the file.
    findings : tuple of Finding
        F10 and F11 (statements), and F3 (error) for dates that read two ways.
    """

    columns: Mapping[str, Sequence[str]]
    changed: frozenset[str] = frozenset()
    findings: tuple[Finding, ...] = field(default=())


def settle(grid: Grid, fields: Sequence[Field]) -> Settled:
    """Numbers with a decimal point and dates as YYYY-MM-DD, in the columns of these fields."""
    columns = dict(grid.columns)
    findings: list[Finding] = []
    present = [f for f in fields if f.name in columns]
    coded = {f.name: _distinct(columns[f.name]) for f in present if f.kind in ("integer", "number", "date")}
    numeric = [f.name for f in present if f.kind in ("integer", "number")]
    changed = set()
    if not grid.comma_separated and decimal_comma([t for name in numeric for t in coded[name][1]]):
        findings.append(_said_of_commas(grid, {name: coded[name] for name in numeric}))
        for name in numeric:
            codes, texts = coded[name]
            points = [t.replace(",", ".") if _COMMA_NUMBER.fullmatch(t) else t for t in texts]
            if points != texts:
                columns[name] = _taken(points, codes)
                changed.add(name)
    dates = {f.name: count_slashes(*coded[f.name]) for f in present if f.kind == "date"}
    orders = {slashes.order for slashes in dates.values()} - {None}
    for name, slashes in dates.items():
        codes, texts = coded[name]
        doubt = doubt_of(slashes, orders)
        days, said, two_ways = _settled_dates(texts, None if doubt else slashes.order)
        findings += [
            Finding("F11", "statement", grid.file, None, name, *with_counts(said_so, slashes))
            for said_so in said
        ]
        wrong = np.flatnonzero(np.isin(codes, two_ways))
        findings += [_reads_two_ways(grid, name, int(at), doubt) for at in wrong]
        findings += _half_converted(grid, name, codes, texts) if not wrong.size else []
        if days != texts:
            columns[name] = _taken(days, codes)
            changed.add(name)
    return Settled(columns, frozenset(changed), tuple(findings))


def decimal_comma(texts: Sequence[str]) -> bool:
    """Whether the comma is the decimal sign of these numbers.

    So if none has a point and one has a comma that cannot group thousands (1,250 alone could be either).
    """
    after = [found[1] for text in texts if (found := _COMMA_NUMBER.fullmatch(text))]
    if not any(len(digits) != 3 for digits in after):
        return False
    return not any(_POINT_NUMBER.fullmatch(text) for text in texts)


def iso_date(text: str, form: str) -> str | None:
    """The date as YYYY-MM-DD, or None where the text has not this form or there is no such day.

    ``form`` is one of `DATE_FORMS`. Years have four digits and months, where in words, are English.
    """
    found = _FORMS[form].fullmatch(text)
    if found is None:
        return None
    month = found["m"]
    if month.isalpha():
        names = [at for at, name in enumerate(MONTHS, start=1) if month.lower() in (name, name[:3])]
        names += [9] if month.lower() == "sept" else []
        if not names:
            return None
        month = str(names[0])
    try:
        return datetime.date(int(found["y"]), int(month), int(found["d"])).isoformat()
    except ValueError:
        return None


def _distinct(texts: Sequence[str]) -> tuple[NDArray[np.intp], list[str]]:
    codes, found = pd.factorize(np.asarray(texts, dtype=object))
    return codes, [str(text) for text in found]


def _taken(distinct: list[str], codes: NDArray[np.intp]) -> list[str]:
    taken: list[str] = np.array(distinct, dtype=object)[codes].tolist()
    return taken


def _said_of_commas(grid: Grid, coded: Mapping[str, tuple[NDArray[np.intp], list[str]]]) -> Finding:
    """F10; cells with exactly three decimals are counted, since their comma could have grouped thousands."""
    follow = 0
    first: tuple[int, str] | None = None
    for name, (codes, texts) in coded.items():
        three = [
            at for at, t in enumerate(texts) if (found := _COMMA_NUMBER.fullmatch(t)) and len(found[1]) == 3
        ]
        cells = np.flatnonzero(np.isin(codes, three))
        follow += len(cells)
        if len(cells) and (first is None or cells[0] < first[0]):
            first = int(cells[0]), name
    remedy = "2,5 was read as 2.5"
    if first is not None:
        at, name = first
        text = str(grid.columns[name][at])
        cells_follow = "1 cell" if follow == 1 else f"{follow} cells"
        remedy += (
            f"; {cells_follow} with exactly three decimals likewise, "
            f"the first in row {grid.rows[at]}, {name}: {text} as {text.replace(',', '.')}"
        )
    return Finding("F10", "statement", grid.file, None, "", "numbers with a decimal comma", "", remedy)


def _settled_dates(
    texts: list[str], order: str | None
) -> tuple[list[str], list[tuple[str, str, str]], list[int]]:
    """The dates in our form, what is to be said of them, and the positions of those that read two ways."""
    days: list[str] = []
    said: dict[str, tuple[str, str, str]] = {}
    two_ways: list[int] = []
    for at, text in enumerate(texts):
        day, form = text, ISO
        for form in DATE_FORMS:
            if (form not in (DAY_FIRST, MONTH_FIRST) or form == order) and (read := iso_date(text, form)):
                day = read
                break
        else:
            if (found := SLASHES.fullmatch(text)) and found[1] == found[2]:
                day, form = iso_date(text, DAY_FIRST) or text, DAY_FIRST
            elif found and order is None:
                two_ways.append(at)
        if day != text:
            said.setdefault(form, (f"dates written {form}", "", f"{text} was read as {day}"))
        days.append(day)
    return days, list(said.values()), two_ways


def _half_converted(grid: Grid, name: str, codes: NDArray[np.intp], texts: list[str]) -> list[Finding]:
    """The first text of a day among real dates: a program that turned only some into dates may have swapped them."""
    real = grid.real_dates.get(name, 0)
    left = [at for at, text in enumerate(texts) if SLASHES.fullmatch(text) or iso_date(text, "DD.MM.YYYY")]
    if not real or not left:
        return []
    cells = np.flatnonzero(np.isin(codes, left))
    what = (
        f"{real} cells of this column are dates and {len(cells)} are texts, so day and month may be swapped"
    )
    return [_reads_two_ways(grid, name, int(cells[0]), what)]


def _reads_two_ways(grid: Grid, name: str, at: int, doubt: str) -> Finding:
    return Finding(
        "F3",
        "error",
        grid.file,
        grid.rows[at],
        name,
        str(grid.columns[name][at]),
        "a date that reads one way only; "
        + (doubt or "in this column slashes could be day/month or month/day"),
        "write YYYY-MM-DD, or say dates in mapping.toml",
    )


def original(grid: Grid, name: str) -> NDArray[Any]:
    """The texts of a column as they stand in the file, shape (n,)."""
    return np.asarray(grid.columns[name], dtype=object)
