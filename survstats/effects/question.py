"""What is asked: whose survival, trained against what, averaged over whom."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from survstats.groundwork.errors import StudyFileError
from survstats.records.cohort import Population

Target = Literal["all", "untrained", "trained"]

#: Fields measured before immersion that may be adjusted for, by the group a reader knows them by.
COVARIATES: dict[str, str] = {
    "role": "role",
    "operator_code": "operator",
    "region_code": "operator",
    "era": "era",
    "aircraft_class": "aircraft_class",
    "seat_side": "seat",
    "seat_facing": "seat",
    "far_seat": "seat",
    "seats_to_exit": "seat",
    "exit_distance_m": "seat",
    "suit_worn": "equipment",
    "lifejacket_worn": "equipment",
    "ebs_issued": "equipment",
    "harness": "equipment",
    "sea_state_wmo": "sea_and_weather",
    "sig_wave_height_m": "sea_and_weather",
    "water_temp_c": "sea_and_weather",
    "air_temp_c": "sea_and_weather",
    "wind_kt": "sea_and_weather",
    "light": "sea_and_weather",
    "offshore_hours_band": "experience",
    "age_band": "age",
    "sex": "sex",
    "event_type": "severity",
    "impact_severity": "severity",
    "warning_time_s_lo": "warning",
}

#: Groups that the graph of causes asks for; the paper lists those that a study leaves out.
ASKED_GROUPS = (
    "role",
    "operator",
    "era",
    "aircraft_class",
    "seat",
    "equipment",
    "sea_and_weather",
    "experience",
    "age",
    "sex",
    "severity",
    "warning",
)

#: Fields that training itself can move, or that follow survival: adjusting for them removes part of the effect.
AFTER_TRAINING: dict[str, str] = {
    "egress_lo_s": "time to egress is part of how training acts",
    "egress_hi_s": "time to egress is part of how training acts",
    "egress_outcome": "getting out is part of how training acts",
    "exit_used": "the exit used is part of how training acts",
    "exit_opened_by": "opening the exit is part of how training acts",
    "ebs_used": "using the breathing set is part of how training acts",
    "brace_adopted": "bracing is part of how training acts",
    "conscious_at_immersion": "it follows the brace position, which training teaches",
    "injury_class_icao": "injury follows from bracing and escape",
    "raft_boarded": "it follows from getting out",
    "re_entered": "it follows from getting out",
    "rescued_inside": "it follows from not getting out",
    "t_rescue_min": "it is known for those who were rescued",
    "body_location": "it is known for the dead alone",
    "cause_of_death": "it is known for the dead alone",
    "days_to_death": "it is the outcome",
    "outcome": "it is the outcome",
    "alive_at_immersion": "it already defines who is compared",
    "training_ever": "it is the question itself",
    "training_type": "it is the question itself",
    "training_evidence": "how training became known depends on who lived",
    "months_since": "it is the question itself",
}


@dataclass(frozen=True)
class Estimand:
    """The question behind one number, printed with it.

    Attributes
    ----------
    population : {"P1", "P2"}
        P1: alive at immersion after an impact that could be survived. P2: all aboard.
    passengers_only : bool
        Leaves the crew out (flight crew also fly the ditching).
    target : {"all", "untrained", "trained"}
        Whose covariates the average is taken over.
    currency_months : float
        Trained means a hands-on course completed at most so many months before the mishap.
    """

    population: Population
    passengers_only: bool
    target: Target
    currency_months: float


def refuse_bad_covariates(names: tuple[str, ...]) -> None:
    """Stop before anything runs if a covariate follows from training or is none of ours.

    Raises
    ------
    StudyFileError
        ``forbidden_covariate`` with the reason, or ``unknown_covariate`` with what may be used.
    """
    for name in names:
        if name in AFTER_TRAINING:
            raise StudyFileError(
                "forbidden_covariate",
                f"'{name}' cannot be adjusted for: {AFTER_TRAINING[name]}.",
                "Take it out of covariates: adjusting for it hides part of the effect or makes one up.",
            )
        if name not in COVARIATES:
            raise StudyFileError(
                "unknown_covariate",
                f"'{name}' is no field that can be adjusted for.",
                f"Use any of: {', '.join(COVARIATES)}.",
            )


def groups_adjusted(names: tuple[str, ...]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Which groups of causes a study adjusts for, and which of those asked for it leaves out."""
    used = {COVARIATES[name] for name in names}
    return (
        tuple(group for group in ASKED_GROUPS if group in used),
        tuple(group for group in ASKED_GROUPS if group not in used),
    )
