"""Do the fields of one person agree with each other and with the mishap?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from survstats.records.deriving import HANDS_ON, died, training_span
from survstats.records.rules.rule import Evidence, Hit, Rule

_LEFT = ("self", "assisted", "washed_out")
_TOO_YOUNG_OR_OLD = ("0_to_4", "5_to_9", "10_to_14", "75_to_79", "80_plus")
_DROWNED = ("drowning_inside", "drowning_outside")


def _spans(evidence: Evidence) -> list[Hit]:
    hits = []
    for low, high in (("egress_lo_s", "egress_hi_s"), ("t_death_lo_s", "t_death_hi_s")):
        off = evidence.occupant[low] > evidence.occupant[high]
        hits += evidence.where("occupant", off, low, high, expected=f"{low} <= {high}")
    return hits


def _time_needs_egress(evidence: Evidence) -> list[Hit]:
    off = _timed(evidence.occupant) & ~evidence.occupant["egress_outcome"].isin(_LEFT)
    return evidence.where(
        "occupant",
        off,
        "egress_outcome",
        "egress_lo_s",
        "egress_hi_s",
        expected="self, assisted or washed_out",
    )


def _survivor_left(evidence: Evidence) -> list[Hit]:
    occupant = evidence.occupant
    afloat = evidence.home["immersion_type"] != "sank"
    saved = (occupant["rescued_inside"] == "yes") & afloat
    off = (occupant["egress_outcome"] == "not_egressed") & (occupant["outcome"] == "survived") & ~saved
    return evidence.where(
        "occupant",
        off,
        "egress_outcome",
        "outcome",
        "rescued_inside",
        expected="a way out, or rescued_inside = yes in a cabin that stayed afloat",
    )


def _dead_at_immersion(evidence: Evidence) -> list[Hit]:
    occupant = evidence.occupant
    contradicted = (
        _timed(occupant) | occupant["cause_of_death"].isin(_DROWNED) | (occupant["outcome"] == "survived")
    )
    off = (occupant["alive_at_immersion"] == "no") & contradicted
    return evidence.where(
        "occupant",
        off,
        "alive_at_immersion",
        "outcome",
        "cause_of_death",
        "egress_hi_s",
        expected="no survival, no time out and no drowning where the person was dead at immersion",
    )


def _survivor_not_fatal(evidence: Evidence) -> list[Hit]:
    occupant = evidence.occupant
    off = ~died(occupant) & (occupant["injury_class_icao"] == "fatal")
    return evidence.where(
        "occupant", off, "injury_class_icao", "outcome", expected="not fatal for a survivor"
    )


def _thirty_days(evidence: Evidence) -> list[Hit]:
    occupant = evidence.occupant
    days, injury = occupant["days_to_death"], occupant["injury_class_icao"]
    graded = injury.notna() & ~injury.isin(["unknown", "na"])
    off = ((days <= 30) & graded & (injury != "fatal")) | (
        (days > 30) & ((injury == "fatal") | occupant["outcome"].isin(["died", "missing_presumed_dead"]))
    )
    return evidence.where(
        "occupant",
        off,
        "days_to_death",
        "injury_class_icao",
        "outcome",
        expected="fatal up to 30 days; after 30 days not fatal, and outcome = survived",
    )


def _cause_for_the_dead(evidence: Evidence) -> list[Hit]:
    off = (evidence.occupant["outcome"] == "died") & (evidence.occupant["cause_of_death"] == "na")
    return evidence.where("occupant", off, "cause_of_death", "outcome", expected="a cause, or undetermined")


def _trained_before(evidence: Evidence) -> list[Hit]:
    """An error where the whole month or year lies after the mishap; a warning where only its end does."""
    earliest, _, latest = training_span(evidence.occupant)
    event = evidence.home["event_date"].to_numpy("datetime64[D]")
    late = earliest > event
    fields = "training_last_date", "training_date_precision"
    expected = "a day before the mishap or on it"
    return [
        *evidence.where("occupant", late, *fields, expected=expected),
        *evidence.where("occupant", (latest > event) & ~late, *fields, expected=expected, severity="warning"),
    ]


def _untrained_without_type(evidence: Evidence) -> list[Hit]:
    occupant = evidence.occupant
    kind = occupant["training_type"]
    typed = kind.notna() & ~kind.isin(["none", "na", "unknown"])
    off = (occupant["training_ever"] == "no") & (typed | occupant["training_last_date"].notna())
    return evidence.where(
        "occupant",
        off,
        "training_ever",
        "training_type",
        "training_last_date",
        expected="training_type none and no date where training_ever is no",
    )


def _trained_with_type(evidence: Evidence) -> list[Hit]:
    off = (evidence.occupant["training_ever"] == "yes") & (evidence.occupant["training_type"] == "none")
    return evidence.where(
        "occupant", off, "training_type", "training_ever", expected="a type other than none, or unknown"
    )


def _hands_on_evidence(evidence: Evidence) -> list[Hit]:
    off = evidence.occupant["training_type"].isin(HANDS_ON) & (
        evidence.occupant["training_evidence"] == "none"
    )
    return evidence.where(
        "occupant", off, "training_evidence", "training_type", expected="evidence for a hands-on course"
    )


def _set_issued(evidence: Evidence) -> list[Hit]:
    occupant = evidence.occupant
    off = (occupant["ebs_used"] == "yes") & occupant["ebs_issued"].isin(["no", "na"])
    return evidence.where("occupant", off, "ebs_issued", "ebs_used", expected="yes where a set was used")


def _timed(occupant: pd.DataFrame) -> pd.Series[bool]:
    """Whether a time out is given; still inside when last seen (inf) is none."""
    given = occupant["egress_lo_s"].notna() | occupant["egress_hi_s"].notna()
    return given & (occupant["egress_hi_s"] != np.inf)


def _hardly_hurt(evidence: Evidence) -> list[Hit]:
    occupant = evidence.occupant
    dead = occupant["outcome"].isin(["died", "missing_presumed_dead"])
    off = dead & occupant["injury_class_icao"].isin(["none", "minor"])
    return evidence.where("occupant", off, "injury_class_icao", "outcome", expected="fatal for the dead")


def _crew_age(evidence: Evidence) -> list[Hit]:
    occupant = evidence.occupant
    odd = occupant["age_band"].isin(_TOO_YOUNG_OR_OLD) & (occupant["role"] == "flight_crew")
    return evidence.where("occupant", odd, "age_band", "role", expected="18 to 70 years for flight crew")


OCCUPANT_RULES = (
    Rule("R9", _spans),
    Rule("R11", _time_needs_egress),
    Rule("R12", _survivor_left),
    Rule("R13", _dead_at_immersion),
    Rule("R14", _survivor_not_fatal),
    Rule("R15", _thirty_days),
    Rule("R16", _cause_for_the_dead),
    Rule("R17", _trained_before),
    Rule("R18", _untrained_without_type),
    Rule("R19", _trained_with_type),
    Rule("R20", _hands_on_evidence),
    Rule("R21", _set_issued),
    Rule("R34", _crew_age),
    Rule("R43", _hardly_hurt),
)
