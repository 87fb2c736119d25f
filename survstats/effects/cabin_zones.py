"""From which places of the cabin did how many get out, zone by zone and side by side, without adjustment?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.cabin_layout import Layout, places
from survstats.effects.exact_table import clopper_pearson
from survstats.effects.intervals import jackknife_error, jackknife_estimate
from survstats.groundwork.estimate import Estimate

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: A place of the cabin has a share of its own from so many people on, and from so many mishaps; a class from so many
#: mishaps (common practice, no source).
FEWEST_PEOPLE, FEWEST_MISHAPS, FEWEST_OF_A_CLASS = 5, 2, 5


@dataclass(frozen=True)
class CabinClass:
    """The people of one class with a known place and fate, and the share of them that got out.

    Attributes
    ----------
    layout : Layout
    rows : ndarray of shape (n,)
        Who they are, a mask over the rows of the frame.
    occupants, out, mishaps : int
    share : Estimate or None
        None where the class comes from too few mishaps.
    """

    layout: Layout
    rows: Bools
    occupants: int
    out: int
    mishaps: int
    share: Estimate | None


@dataclass(frozen=True)
class CabinCell:
    """One side of one zone of a class.

    Attributes
    ----------
    aircraft_class, zone, side : str
    rows : ndarray of shape (n,)
        Who sat there, a mask over the rows of the frame.
    occupants, out, mishaps : int
    share : Estimate or None
        Share that got out, with limits of the mishap jackknife that are nowhere narrower than the exact ones of as many
        independent people; None where there are too few people or mishaps, of the place or of its class.
    deviation, deviation_se : float
        The share minus that of the class, and its standard error; NaN without a share.
    shrunken : float
        The share drawn towards that of the class; NaN without a share.
    """

    aircraft_class: str
    zone: str
    side: str
    rows: Bools
    occupants: int
    out: int
    mishaps: int
    share: Estimate | None
    deviation: float
    deviation_se: float
    shrunken: float


@dataclass(frozen=True)
class CabinZones:
    """Who got out from where.

    Attributes
    ----------
    classes : tuple of CabinClass
    cells : tuple of CabinCell
        Zone by zone from the nose, side by side from the left, class by class.
    spread : float
        Variance between places of the same class that chance does not explain (tau2); 0 where none is seen.
    placed, seat_unknown, outside, no_layout, fate_unknown : ndarray of shape (n,)
        Masks of everybody: with a place and a fate; seat not recorded; seat outside the layout; class without a layout;
        fate not known. Each person stands in one.
    """

    classes: tuple[CabinClass, ...]
    cells: tuple[CabinCell, ...]
    spread: float
    placed: Bools
    seat_unknown: Bools
    outside: Bools
    no_layout: Bools
    fate_unknown: Bools


def cabin_zones(
    frame: pd.DataFrame, layouts: Sequence[Layout], *, outcome: str, cluster: str, level: float = 0.95
) -> CabinZones:
    """How many got out from each zone and side, as counted, and drawn towards the share of their class.

    Parameters
    ----------
    frame : DataFrame of n rows
        ``aircraft_class``, ``seat_row``, ``seat_side``, and ``outcome`` with 1, 0 or a gap where it is not known.
    layouts : sequence of Layout
    outcome, cluster : str
        Column names; ``cluster`` is the mishap.
    level : float
        Coverage aimed at.

    Notes
    -----
    Nothing is held equal: who sat where went by role, operator and choice. With d the deviation of a place from its
    class and v its variance, the shrunken share is that of the class plus tau2 / (tau2 + v) of d, the rule of Efron and
    Morris 1975 (doi:10.1080/01621459.1975.10479864) as in `modification.shrink`. v is the jackknife's over mishaps, but
    no less than that of as many independent people at the share of their class: a place from which everybody got out
    shows the jackknife no spread. tau2 is one for all classes (`spread_beyond_chance`).
    """
    place, gone = places(frame, layouts)
    known = frame[outcome].notna().to_numpy(bool)
    placed = (place >= 0) & known
    out = frame[outcome].to_numpy(float) == 1
    _, codes = np.unique(frame[cluster].to_numpy(dtype=str), return_inverse=True)
    classes, cells = list[CabinClass](), list[CabinCell]()
    start = 0
    for layout in layouts:
        here = [(zone.name, side) for zone in layout.zones for side in layout.sides]
        inside = placed & (place >= start) & (place < start + len(here))
        one, without = _class(layout, inside, out, codes, level)
        classes.append(one)
        for at, (zone, side) in enumerate(here):
            rows = inside & (place == start + at)
            cells.append(_cell(one, without, (zone, side), rows, out, codes, level))
        start += len(here)
    spread = spread_beyond_chance(cells)
    shares = {one.layout.aircraft_class: one.share for one in classes}
    return CabinZones(
        classes=tuple(classes),
        cells=tuple(_shrunken(cell, shares[cell.aircraft_class], spread) for cell in cells),
        spread=spread,
        placed=placed,
        fate_unknown=(place >= 0) & ~known,
        **gone,
    )


def spread_beyond_chance(cells: Sequence[CabinCell]) -> float:
    """Variance of places around their class that chance does not explain (tau2), never below 0.

    The mean of d^2 - v over all places with a share, each weighing as many people as sat there: a moment estimate that
    small places do not drown.
    """
    told = [cell for cell in cells if cell.share is not None]
    people = sum(cell.occupants for cell in told)
    if not people:
        return 0.0
    excess = math.fsum(cell.occupants * (cell.deviation**2 - cell.deviation_se**2) for cell in told)
    return max(0.0, excess / people)


def _without_each(rows: Bools, out: Bools, codes: Codes) -> Floats:
    """The share of these people that got out without each of all g mishaps (g,); NaN where nobody is left."""
    mishaps = int(codes.max()) + 1 if len(codes) else 0
    people = np.bincount(codes[rows], minlength=mishaps)
    lucky = np.bincount(codes[rows & out], minlength=mishaps)
    left = people.sum() - people
    share = np.full(mishaps, np.nan)
    return np.asarray(np.divide(lucky.sum() - lucky, left, out=share, where=left > 0))


def _share(rows: Bools, out: Bools, codes: Codes, level: float) -> Estimate:
    """The share of some people, from at least two mishaps, that got out.

    On the logit; where all who stayed inside, or all who got out, come from one mishap, on the share itself, for the
    logit has no end then. Where everybody fared alike mishaps show no spread, and the exact limits stand alone.
    """
    there = np.unique(codes[rows])
    people, lucky = int(rows.sum()), int((rows & out).sum())
    without = _without_each(rows, out, codes)[there]
    inside = bool(np.all((without > 0) & (without < 1)))
    found = jackknife_estimate(
        lucky / people,
        without,
        scale="logit" if inside else "identity",
        unit="share",
        occupants=people,
        method="counted",
        level=level,
    )
    low, high = clopper_pearson(lucky, people, level=level)
    return replace(found, low=min(found.low, low), high=max(found.high, high))


def _class(layout: Layout, rows: Bools, out: Bools, codes: Codes, level: float) -> tuple[CabinClass, Floats]:
    mishaps = len(np.unique(codes[rows]))
    enough = mishaps >= FEWEST_OF_A_CLASS and rows.sum() >= FEWEST_PEOPLE
    share = _share(rows, out, codes, level) if enough else None
    found = CabinClass(layout, rows, int(rows.sum()), int((rows & out).sum()), mishaps, share)
    return found, _without_each(rows, out, codes)


def _cell(
    whole: CabinClass,
    without: Floats,
    name: tuple[str, str],
    rows: Bools,
    out: Bools,
    codes: Codes,
    level: float,
) -> CabinCell:
    people, lucky = int(rows.sum()), int((rows & out).sum())
    mishaps = len(np.unique(codes[rows]))
    share, deviation, error = None, math.nan, math.nan
    if whole.share is not None and people >= FEWEST_PEOPLE and mishaps >= FEWEST_MISHAPS:
        share = _share(rows, out, codes, level)
        deviation = share.value - whole.share.value
        there = np.unique(codes[whole.rows])
        moved = (_without_each(rows, out, codes) - without)[there]
        chance = whole.share.value * (1 - whole.share.value) / people
        error = max(jackknife_error(deviation, moved), math.sqrt(chance))
    return CabinCell(
        whole.layout.aircraft_class, *name, rows, people, lucky, mishaps, share, deviation, error, math.nan
    )


def _shrunken(cell: CabinCell, of_class: Estimate | None, spread: float) -> CabinCell:
    if cell.share is None or of_class is None:
        return cell
    total = spread + cell.deviation_se**2
    weight = spread / total if total > 0 else 0.0
    return replace(cell, shrunken=of_class.value + weight * cell.deviation)
