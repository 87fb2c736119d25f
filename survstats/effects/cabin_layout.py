"""How is a cabin laid out, and in which of its places did each person sit?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

#: Sides of the cabin as the records write them, from left to right.
SIDES = ("L", "C", "R")


@dataclass(frozen=True)
class Zone:
    """Rows ``first`` to ``last`` of a cabin under one name."""

    name: str
    first: int
    last: int


@dataclass(frozen=True)
class Layout:
    """How the cabin of one class is laid out.

    Attributes
    ----------
    aircraft_class : str
    rows : int
        Rows of seats, 1 in front.
    seats : str
        Letters across a row from left to right, a space for an aisle.
    exits : tuple of (int, str)
        Row and side, L or R.
    zones : tuple of Zone
        From the nose; each row stands in one.
    """

    aircraft_class: str
    rows: int
    seats: str
    exits: tuple[tuple[int, str], ...]
    zones: tuple[Zone, ...]

    @property
    def sides(self) -> tuple[str, ...]:
        """The sides that have seats, from left to right."""
        return tuple(side for side in SIDES if side in self.seats)


def places(
    frame: pd.DataFrame, layouts: Sequence[Layout]
) -> tuple[NDArray[np.int64], dict[str, NDArray[np.bool_]]]:
    """In which place each person sat, and of whom there is none.

    Parameters
    ----------
    frame : DataFrame of n rows
        ``aircraft_class``, ``seat_row``, ``seat_side``.
    layouts : sequence of Layout

    Returns
    -------
    ndarray of shape (n,)
        The place, counted through all layouts zone by zone and side by side, from 0; -1 for none.
    dict of str to ndarray of shape (n,)
        Masks of those without one: ``no_layout`` (class unknown or without a layout), ``seat_unknown`` (row or side
        not recorded), ``outside`` (a row or a side that this cabin does not have). Each stands in one.
    """
    kind = frame["aircraft_class"].astype(object)
    row = frame["seat_row"].astype("Float64").to_numpy(float, na_value=np.nan)
    side = frame["seat_side"].astype(object).to_numpy()
    place = np.full(len(frame), -1, dtype=np.int64)
    drawn = np.zeros(len(frame), dtype=bool)
    start = 0
    for layout in layouts:
        inside = kind.eq(layout.aircraft_class).to_numpy(bool)
        drawn |= inside
        for zone in layout.zones:
            for letter in layout.sides:
                place[inside & (row >= zone.first) & (row <= zone.last) & (side == letter)] = start
                start += 1
    told = np.isfinite(row) & np.isin(side.astype(str), SIDES)
    return place, {
        "no_layout": ~drawn,
        "seat_unknown": drawn & ~told,
        "outside": drawn & told & (place < 0),
    }
