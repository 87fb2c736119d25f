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

from survstats.records.codebook import Field
from survstats.records.finding import Finding
from survstats.records.reading.grid import Grid

ISO = "YYYY-MM-DD"
DAY_FIRST, MONTH_FIRST = "DD/MM/YYYY", "MM/DD/YYYY"
_MONTHS = (
    "january february march april may june july august september october november december".split()  # noqa: SIM905
)
_COMMA_NUMBER = re.compile(r"[+-]?[0-9]+,([0-9]+)")
_POINT_NUMBER = re.compile(r"[+-]?[0-9]*\.[0-9]+|[+-]?[0-9]+\.")
_SLASHES = re.compile(r"([0-9]{1,2})/([0-9]{1,2})/([0-9]{4})")
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
        findings.append(
            Finding(
                "F10",
                "statement",
                grid.file,
                None,
                "",
                "numbers with a decimal comma",
                "",
                "2,5 was read as 2.5",
            )
        )
        for name in numeric:
            codes, texts = coded[name]
            points = [t.replace(",", ".") if _COMMA_NUMBER.fullmatch(t) else t for t in texts]
            if points != texts:
                columns[name] = _taken(points, codes)
                changed.add(name)
    for f in present:
        if f.kind != "date":
            continue
        codes, texts = coded[f.name]
        days, said, two_ways = _settled_dates(texts)
        findings += [Finding("F11", "statement", grid.file, None, f.name, *said_so) for said_so in said]
        wrong = np.flatnonzero(np.isin(codes, two_ways))
        findings += [_reads_two_ways(grid, f.name, int(at)) for at in wrong]
        if days != texts:
            columns[f.name] = _taken(days, codes)
            changed.add(f.name)
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
        names = [at for at, name in enumerate(_MONTHS, start=1) if month.lower() in (name, name[:3])]
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


def _settled_dates(texts: list[str]) -> tuple[list[str], list[tuple[str, str, str]], list[int]]:
    """The dates in our form, what is to be said of them, and the positions of those that read two ways."""
    order = _order_of_slashes(texts)
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
            if (found := _SLASHES.fullmatch(text)) and found[1] == found[2]:
                day, form = iso_date(text, DAY_FIRST) or text, DAY_FIRST
            elif found and order is None:
                two_ways.append(at)
        if day != text:
            said.setdefault(form, (f"dates written {form}", "", f"{text} was read as {day}"))
        days.append(day)
    return days, list(said.values()), two_ways


def _order_of_slashes(texts: list[str]) -> str | None:
    """Day first or month first, if the cells with a part above 12 agree; else None."""
    parts = [(int(found[1]), int(found[2])) for text in texts if (found := _SLASHES.fullmatch(text))]
    day_first = any(first > 12 >= second for first, second in parts)
    month_first = any(second > 12 >= first for first, second in parts)
    if day_first == month_first:
        return None
    return DAY_FIRST if day_first else MONTH_FIRST


def _reads_two_ways(grid: Grid, name: str, at: int) -> Finding:
    return Finding(
        "F3",
        "error",
        grid.file,
        grid.rows[at],
        name,
        str(grid.columns[name][at]),
        "a date that reads one way only; in this column slashes could be day/month or month/day",
        "write YYYY-MM-DD, or say dates in mapping.toml",
    )


def original(grid: Grid, name: str) -> NDArray[Any]:
    """The texts of a column as they stand in the file, shape (n,)."""
    return np.asarray(grid.columns[name], dtype=object)
