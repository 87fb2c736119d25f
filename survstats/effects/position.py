"""How much more often did people get out from one place than from another, with what is known of them held equal?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.question import COVARIATES
from survstats.effects.risk_model import prepare
from survstats.effects.standardise import standardise
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate

Bools = NDArray[np.bool_]

#: A place has a share and a difference from so many people on (common practice, no source).
FEWEST_PEOPLE = 5
#: What is told of where somebody sat, level by level; the first is what the others are held against.
POSITIONS: dict[str, tuple[str, ...]] = {
    "far_seat": ("no", "yes"),
    "seats_to_exit": ("0", "1", "2+"),
    "seat_facing": ("fwd", "aft", "side"),
    "seat_side": ("L", "C", "R"),
}
_SEAT = "_seat"


@dataclass(frozen=True)
class PositionLevel:
    """The people of one place.

    Attributes
    ----------
    name, level, reference : str
        As in `POSITIONS`; ``level`` is ``reference`` for those the others are held against.
    rows : ndarray of shape (n,)
        Who they are, a mask over the rows of the frame.
    occupants, out : int
    difference : Estimate or None
        Share out if all people of this place and of the reference had sat here, less if all had sat there.
    reason : str or None
        Why there is no difference; None for the reference too.
    """

    name: str
    level: str
    reference: str
    rows: Bools
    occupants: int
    out: int
    difference: Estimate | None
    reason: str | None

    @property
    def share(self) -> float | None:
        """Share of them that got out; None of too few people."""
        return self.out / self.occupants if self.occupants >= FEWEST_PEOPLE else None


def held_equal(covariates: Sequence[str]) -> tuple[str, ...]:
    """What is held equal between places: the covariates of a study without those that tell of the seat."""
    return tuple(name for name in covariates if COVARIATES.get(name) != "seat")


def position(
    frame: pd.DataFrame, *, outcome: str, covariates: Sequence[str], cluster: str, level: float = 0.95
) -> tuple[PositionLevel, ...]:
    """Who got out by distance from an exit, seats between, facing and side: as counted, and with others held equal.

    Parameters
    ----------
    frame : DataFrame of n rows
        ``outcome`` holds 1, 0 or a gap where it is not known; those count nowhere here.
    outcome, cluster : str
        Column names; ``cluster`` is the mishap.
    covariates : sequence of str
        What the study holds equal; what tells of the seat is left out (`held_equal`).
    level : float
        Coverage aimed at.

    Notes
    -----
    Each place against its reference is one model of the people of both, standardised over them (Robins 1986,
    doi:10.1016/0270-0255(86)90088-6) with a mishap jackknife. Training is not held equal: whether it is known follows
    from who died, so that a group of unknown training would bring the fate in among the background. Nothing is raised
    for thin rows: a place then has a reason in place of its difference (``few_people``, and as of `prepare` and
    `standardise`). Seats are not given out by lot: whoever sat beside an exit may differ in what nobody recorded.
    """
    people = frame[frame[outcome].notna()].reset_index(drop=True)
    people = people.assign(**{outcome: people[outcome].astype(float)})
    known = np.flatnonzero(frame[outcome].notna().to_numpy(bool))
    asked = tuple(name for name in held_equal(covariates) if people[name].notna().any())
    found = []
    for name, levels in POSITIONS.items():
        seats = _levels(people, name)
        for one in levels:
            inside = seats == one
            if not inside.any():
                continue
            result: Estimate | str | None = None
            if one != levels[0]:
                pair = people[inside | (seats == levels[0])]
                result = _difference(
                    pair.assign(**{_SEAT: inside[pair.index].astype(float)}),
                    outcome=outcome,
                    covariates=asked,
                    cluster=cluster,
                    level=level,
                )
            rows = np.zeros(len(frame), dtype=bool)
            rows[known[inside]] = True
            found.append(
                PositionLevel(
                    *(name, one, levels[0], rows, int(inside.sum()), int(people.loc[inside, outcome].sum())),
                    difference=result if isinstance(result, Estimate) else None,
                    reason=result if isinstance(result, str) else None,
                )
            )
    return tuple(found)


def _levels(people: pd.DataFrame, name: str) -> NDArray[np.object_]:
    """The place of each person as a level of `POSITIONS`; empty where it is not recorded."""
    if name != "seats_to_exit":
        return people[name].astype(object).where(people[name].notna(), "").to_numpy(dtype=object)
    seats = people[name].astype("Float64").to_numpy(float, na_value=np.nan)
    return np.select([seats == 0, seats == 1, seats >= 2], ["0", "1", "2+"], default="").astype(object)


def _difference(
    pair: pd.DataFrame, *, outcome: str, covariates: Sequence[str], cluster: str, level: float
) -> Estimate | str:
    """Share out here less there, or why it cannot be had."""
    if min((pair[_SEAT] == 1).sum(), (pair[_SEAT] == 0).sum()) < FEWEST_PEOPLE:
        return "few_people"
    try:
        model = prepare(pair, outcome=outcome, exposure=_SEAT, covariates=covariates, cluster=cluster)
        return standardise(model, level=level).difference
    except NotEstimable as fault:
        return fault.reason
