"""Do seat, way out, rescue and the place of the body fit together?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from survstats.records.codebook import NOT_APPLICABLE, UNKNOWN
from survstats.records.rules.rule import Evidence, Hit, Rule

_LEFT = ("self", "assisted", "washed_out")
# Minutes to rescue are mostly written whole; a time out within the half minute contradicts nothing.
_ROUNDING_S = 30.0


def _seat_in_cabin(evidence: Evidence) -> list[Hit]:
    rows = evidence.home["aircraft_class"].astype(object).map(dict(evidence.cabins)).astype(float)
    outside = (evidence.occupant["seat_row"] > rows).to_numpy(bool)
    hits = evidence.where("occupant", outside, "seat_row", expected="")
    homes = zip(rows[outside], evidence.home["aircraft_class"][outside], strict=True)
    return [
        replace(hit, expected=f"a row up to {last:.0f}, the last of {class_}")
        for hit, (last, class_) in zip(hits, homes, strict=True)
    ]


def _one_in_a_seat(evidence: Evidence) -> list[Hit]:
    occupant = evidence.occupant
    seat = ["mishap_id", "seat_row", "seat_side"]
    placed = occupant["seat_row"].notna() & occupant["seat_side"].isin(["L", "C", "R"])
    shared = occupant[placed].duplicated(seat).reindex(occupant.index, fill_value=False)
    return evidence.where(
        "occupant", shared, "seat_row", "seat_side", "mishap_id", expected="one person in a seat"
    )


def _beside_an_exit(evidence: Evidence) -> list[Hit]:
    occupant = evidence.occupant
    off = (occupant["adjacent_exit"] == "yes") & (occupant["seats_to_exit"] > 0)
    return evidence.where(
        "occupant", off, "adjacent_exit", "seats_to_exit", expected="seats_to_exit 0 beside an exit"
    )


def _rescue_time(evidence: Evidence) -> list[Hit]:
    """Picked up from the water: everyone who lived and every body found outside, nobody else."""
    occupant = evidence.occupant
    lived = occupant["outcome"] == "survived"
    place = occupant["body_location"]
    timed = occupant["t_rescue_min"].notna()
    denied = evidence.says("occupant", "t_rescue_min", NOT_APPLICABLE)
    off = (timed & ~lived & place.isin(["inside", "not_recovered"])) | (
        denied & (lived | (place == "outside"))
    )
    return evidence.where(
        "occupant",
        off,
        "t_rescue_min",
        "outcome",
        "body_location",
        expected="a time for survivors and bodies found outside alone",
    )


def _out_before_rescue(evidence: Evidence) -> list[Hit]:
    """An error where the whole span lies after the rescue; a warning where only its end does."""
    occupant = evidence.occupant
    rescue = 60 * occupant["t_rescue_min"] + _ROUNDING_S
    after = occupant["egress_lo_s"] > rescue
    partly = (occupant["egress_hi_s"] > rescue) & (occupant["egress_hi_s"] < np.inf) & ~after
    fields = "egress_hi_s", "egress_lo_s", "t_rescue_min"
    expected = "a time out before the rescue"
    return [
        *evidence.where("occupant", after, *fields, expected=expected),
        *evidence.where("occupant", partly, *fields, expected=expected, severity="warning"),
    ]


def _out_before_death(evidence: Evidence) -> list[Hit]:
    occupant = evidence.occupant
    off = (occupant["cause_of_death"] == "drowning_outside") & (
        occupant["t_death_hi_s"] < occupant["egress_lo_s"]
    )
    return evidence.where(
        "occupant",
        off,
        "t_death_hi_s",
        "egress_lo_s",
        "cause_of_death",
        expected="a death after the time out",
    )


def _body_inside(evidence: Evidence) -> list[Hit]:
    occupant = evidence.occupant
    explained = occupant["re_entered"].isin(["yes", UNKNOWN])
    off = (occupant["body_location"] == "inside") & occupant["egress_outcome"].isin(_LEFT) & ~explained
    return evidence.where(
        "occupant",
        off,
        "body_location",
        "egress_outcome",
        "re_entered",
        expected="not_egressed, or re_entered = yes or unknown",
    )


def _killed_by_impact(evidence: Evidence) -> list[Hit]:
    occupant = evidence.occupant
    later = (occupant["days_to_death"] > 0) | evidence.says("occupant", "days_to_death", UNKNOWN)
    off = (occupant["cause_of_death"] == "impact_trauma") & (occupant["alive_at_immersion"] == "yes") & ~later
    return evidence.where(
        "occupant",
        off,
        "cause_of_death",
        "alive_at_immersion",
        "days_to_death",
        expected="alive_at_immersion = no, or a death on a later day",
    )


RESCUE_RULES = (
    Rule("R22", _rescue_time),
    Rule("R23", _out_before_rescue),
    Rule("R24", _out_before_death),
    Rule("R25", _body_inside),
    Rule("R26", _killed_by_impact),
    Rule("R31", _beside_an_exit),
    Rule("R32", _one_in_a_seat),
    Rule("R35", _seat_in_cabin),
)
