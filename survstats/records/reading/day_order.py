"""Does the day or the month stand first in the dates between slashes of a column, and may its cells decide it?"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

DAY_FIRST, MONTH_FIRST = "DD/MM/YYYY", "MM/DD/YYYY"
SLASHES = re.compile(r"([0-9]{1,2})/([0-9]{1,2})/([0-9]{4})")
# Of arbitrary days three in five are above 12: where so few cells tell the order, they may be the slips.
_MANY_FOLLOW, _FEWEST_TELLING, _SMALLEST_SHARE = 10, 3, 0.1


@dataclass(frozen=True)
class Slashes:
    """How many cells of a column hold a date between slashes.

    Attributes
    ----------
    day_first, month_first : int
        Cells that tell this order by a part above 12.
    follow : int
        Cells that depend on the order and do not tell it.
    """

    day_first: int
    month_first: int
    follow: int

    @property
    def telling(self) -> int:
        """Cells that tell an order."""
        return self.day_first + self.month_first

    @property
    def order(self) -> str | None:
        """Day first or month first, if the cells with a part above 12 agree; else None."""
        if bool(self.day_first) == bool(self.month_first):
            return None
        return DAY_FIRST if self.day_first else MONTH_FIRST


def count_slashes(codes: NDArray[np.intp], texts: list[str]) -> Slashes:
    """The cells of a column, given as the number of its text in each cell and the texts."""
    cells = np.bincount(codes[codes >= 0], minlength=len(texts))
    day_first = month_first = follow = 0
    for text, n in zip(texts, cells.tolist(), strict=True):
        if found := SLASHES.fullmatch(text):
            first, second = int(found[1]), int(found[2])
            day_first += n * (first > 12 >= second)
            month_first += n * (second > 12 >= first)
            follow += n * (first <= 12 and second <= 12 and first != second)
    return Slashes(day_first, month_first, follow)


def doubt_of(slashes: Slashes, orders: Collection[str | None]) -> str:
    """Why the order of day and month is not settled although cells tell it, or an empty text."""
    if slashes.order is None:
        return ""
    if len(orders) > 1:
        return "this file has columns with the day first and columns with the month first"
    few = slashes.telling < _FEWEST_TELLING or slashes.telling < _SMALLEST_SHARE * slashes.follow
    if slashes.follow > _MANY_FOLLOW and few:
        tell = "1 cell tells" if slashes.telling == 1 else f"{slashes.telling} cells tell"
        return f"only {tell} whether the day stands first, and {slashes.follow} follow"
    return ""


def with_counts(said: tuple[str, str, str], slashes: Slashes) -> tuple[str, str, str]:
    """What is said of dates between slashes, with how many cells told their order and how many followed."""
    seen, expected, remedy = said
    if seen not in (f"dates written {DAY_FIRST}", f"dates written {MONTH_FIRST}") or not slashes.telling:
        return said
    tell = "1 cell tells" if slashes.telling == 1 else f"{slashes.telling} cells tell"
    follow = "1 follows" if slashes.follow == 1 else f"{slashes.follow} follow"
    return seen, expected, f"{remedy}; {tell} the order and {follow}"
