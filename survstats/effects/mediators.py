"""Are the seat and the breathing set partly a result of training in these records, so that both fits are needed?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import pandas as pd

from survstats.effects.causal_graph import node_of
from survstats.effects.question import COVARIATES

_ASKED_OF = ("mishap_id", "seat_choice", "ebs_issued", "ebs_issued_regardless_of_training")


@dataclass(frozen=True)
class Mediator:
    """A field that is held equal and may itself follow from training.

    Attributes
    ----------
    node : str
        ``SEAT`` or ``PPE``.
    why : {"free_seats", "sets_for_trained"}
        The circumstance, as in the graph of causes.
    fields : tuple of str
        What is put into, and taken out of, the covariates.
    people, mishaps : int
        Where the circumstance is recorded.
    unknown_people : int
        People of mishaps of which nobody knows.
    """

    node: str
    why: Literal["free_seats", "sets_for_trained"]
    fields: tuple[str, ...]
    people: int
    mishaps: int
    unknown_people: int


def mediators(frame: pd.DataFrame) -> tuple[Mediator, ...]:
    """Which of seat and breathing set must be fitted with and without, and for how many people.

    Parameters
    ----------
    frame : DataFrame of n rows
        Derived people: ``mishap_id``, ``seat_choice``, ``ebs_issued``, ``ebs_issued_regardless_of_training``.

    Returns
    -------
    tuple of Mediator
        The seat where seats were, or may have been, taken freely in any mishap; the breathing set where sets were, or
        may have been, issued to the trained alone. Empty where neither can be. Unknown is not no: where nobody knows
        how seats were given out, or sets in a mishap that had any, those people are counted as unknown and the pair is
        asked for.
    """
    free = frame["seat_choice"].eq("free")
    unsaid = ~free & ~frame["seat_choice"].eq("assigned")
    rule, mishap = frame["ebs_issued_regardless_of_training"], frame["mishap_id"]
    tied = rule.eq("no")
    issued = frame["ebs_issued"].eq("yes").groupby(mishap).transform("any")
    untold = ~tied & ~rule.eq("yes") & issued
    seat = tuple(name for name in COVARIATES if node_of(name) == "SEAT")
    found = (
        _mediator(mishap, "SEAT", "free_seats", seat, free, unsaid),
        _mediator(mishap, "PPE", "sets_for_trained", ("ebs_issued",), tied, untold),
    )
    return tuple(entry for entry in found if entry.people + entry.unknown_people)


def moved_by_training(frame: pd.DataFrame, modifier: str) -> Mediator | None:
    """Whether levels of a modifier may follow from training in these records, and for how many people.

    Where seats were taken freely, the trained may sit nearer an exit: the people of a level are then chosen by training
    in part, and differences between levels compare unlike people.

    Parameters
    ----------
    frame : DataFrame of n rows
        As for `mediators`; a circumstance whose columns are missing is taken as unknown of everybody.
    modifier : str

    Returns
    -------
    Mediator or None
        None where nothing in these records can have moved it.
    """
    if node_of(modifier) not in ("SEAT", "PPE"):
        return None
    known = frame.reindex(columns=[*dict.fromkeys([*frame.columns, *_ASKED_OF])])
    return next((entry for entry in mediators(known) if modifier in entry.fields), None)


def _mediator(
    mishap: pd.Series[str],
    node: str,
    why: Literal["free_seats", "sets_for_trained"],
    fields: tuple[str, ...],
    there: pd.Series[bool],
    unknown: pd.Series[bool],
) -> Mediator:
    return Mediator(node, why, fields, int(there.sum()), int(mishap[there].nunique()), int(unknown.sum()))
