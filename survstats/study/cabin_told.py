"""From where in the cabin people got out, by id: the map by zone and side, and places held against each other."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from survstats.effects.cabin_layout import Layout
from survstats.effects.cabin_zones import (
    FEWEST_PEOPLE,
    CabinCell,
    CabinClass,
    CabinZones,
    cabin_zones,
)
from survstats.effects.position import POSITIONS, held_equal, position
from survstats.groundwork.estimate import Estimate
from survstats.study.cabin_plan import layouts
from survstats.study.estimating import CLUSTER, FEWEST_MISHAPS
from survstats.study.everybody import Everybody
from survstats.study.plan import Study
from survstats.study.results import Cell
from survstats.study.results_builder import People, ResultsBuilder, people

OUT = "out"
_COUNTS = ("placed", "seat_unknown", "outside", "no_layout", "fate_unknown")
IDS = (
    *("cabin_zones", "cabin_classes", "cabin_layout", "cabin_exits"),
    *(f"cabin.{name}" for name in _COUNTS),
    "cabin.fewest",
)
POSITION_IDS = (
    *("position", "position.out_known", "position.out_unknown"),
    *(f"position.{name}_unknown" for name in POSITIONS),
)


def store_cabin(out: ResultsBuilder, study: Study, people: Everybody) -> None:
    """The map of the cabin, as counted and shrunken, and places held against each other, among everyone in P1.

    The code ``cabin.spread`` is ``none_seen`` where places spread no more than chance alone would make them: then every
    shrunken share is that of its class. Where there is no difference the reason stands in ``absent``, under
    ``position/<row>/difference``.
    """
    frame = people.primary.frame
    _store_map(out, study, frame)
    _store_position(out, study, frame)


def _store_map(out: ResultsBuilder, study: Study, frame: pd.DataFrame) -> None:
    there = set(frame["aircraft_class"].dropna().astype(str))
    laid_out = layouts(study.plan.cabin)
    drawn = tuple(one for one in laid_out if one.aircraft_class in there)
    out.lists["cabin.unused"] = [one.aircraft_class for one in laid_out if one not in drawn]
    if not drawn:
        out.leave_out("no_layout", *IDS)
        return
    found = cabin_zones(frame, drawn, outcome=OUT, cluster=CLUSTER)
    rows = frame["file_row"].to_numpy()
    for name in _COUNTS:
        out.count_people(f"cabin.{name}", people(rows[getattr(found, name)]))
    out.figure("cabin.fewest", FEWEST_PEOPLE, unit="count", method="rule")
    out.codes["cabin.spread"] = "some" if found.spread > 0 else "none_seen"
    _store_layout(out, drawn)
    _store_shares(out, found, frame)


def _store_layout(out: ResultsBuilder, drawn: Sequence[Layout]) -> None:
    """Where the places of ``cabin_zones`` are, row by row; ``cabin`` is the row of ``cabin_classes``, from 1."""
    out.table(
        "cabin_layout",
        ("cabin", "seats", "rows", "side", "first_row", "last_row"),
        [
            (at, one.seats, one.rows, side, zone.first, zone.last)
            for at, one in enumerate(drawn, start=1)
            for zone in one.zones
            for side in one.sides
        ],
    )
    out.table(
        "cabin_exits",
        ("cabin", "row", "side"),
        [(at, row, side) for at, one in enumerate(drawn, start=1) for row, side in one.exits],
    )


def _store_shares(out: ResultsBuilder, found: CabinZones, frame: pd.DataFrame) -> None:
    lucky = frame[OUT].eq(1).to_numpy(bool)
    rows = frame["file_row"].to_numpy()

    def counted(one: CabinCell | CabinClass) -> tuple[People, People]:
        return people(rows[one.rows]), people(rows[one.rows & lucky])

    out.table(
        "cabin_classes",
        ("class", "occupants", "out", "share", "low", "high"),
        [(one.layout.aircraft_class, *counted(one), *_limits(one.share)) for one in found.classes],
        rests_on=("cabin.placed",),
    )
    out.table(
        "cabin_zones",
        ("class", "zone", "side", "occupants", "out", "share", "shrunken", "low", "high"),
        [
            (one.aircraft_class, one.zone, one.side, aboard, got_out, share, _shown(one), low, high)
            for one in found.cells
            for aboard, got_out in (_enough(*counted(one)),)
            for share, low, high in (_limits(one.share),)
        ],
        rests_on=("cabin.placed",),
    )


def _enough(aboard: People, got_out: People) -> tuple[People, People | None]:
    """The people of a place, and those who got out where they are enough to say it."""
    return aboard, got_out if len(aboard.rows) >= FEWEST_PEOPLE else None


def _limits(share: Estimate | None) -> tuple[Cell, Cell, Cell]:
    return (None, None, None) if share is None else (share.value, share.low, share.high)


def _shown(cell: CabinCell) -> Cell:
    return None if cell.share is None else cell.shrunken


def _store_position(out: ResultsBuilder, study: Study, frame: pd.DataFrame) -> None:
    known = frame[OUT].notna()
    if frame.loc[known, CLUSTER].nunique() < FEWEST_MISHAPS:
        out.leave_out("few_mishaps", *POSITION_IDS)
        return
    found = position(frame, outcome=OUT, covariates=study.covariates, cluster=CLUSTER)
    if not found:
        out.leave_out("not_recorded", *POSITION_IDS)
        return
    out.count_people("position.out_known", people(frame.loc[known, "file_row"]))
    out.count_people("position.out_unknown", people(frame.loc[~known, "file_row"]))
    told_of = {name: np.zeros(len(frame), dtype=bool) for name in POSITIONS}
    for one in found:
        told_of[one.name] |= one.rows
    for name, there in told_of.items():
        out.count_people(f"position.{name}_unknown", people(frame.loc[known & ~there, "file_row"]))
    out.lists["position.held_equal"] = list(held_equal(study.covariates))
    lucky = frame[OUT].eq(1).to_numpy(bool)
    rows = frame["file_row"].to_numpy()
    told = []
    for at, one in enumerate(found):
        told.append(
            (
                *(one.name, one.level, one.reference),
                *_enough(people(rows[one.rows]), people(rows[one.rows & lucky])),
                *(one.share, *_limits(one.difference)),
            )
        )
        if one.reason is not None:
            out.absent[f"position/{at}/difference"] = one.reason
    out.table(
        "position",
        ("name", "level", "reference", "occupants", "out", "share", "difference", "low", "high"),
        told,
        rests_on=("position.out_known",),
    )
