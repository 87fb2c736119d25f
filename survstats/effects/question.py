"""What is asked: whose survival, trained against what, averaged over whom."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from survstats.effects.causal_graph import descendants_of_training, graph, node_of, reason_forbidden
from survstats.groundwork.errors import StudyFileError
from survstats.records.codebook import load_codebook
from survstats.records.cohort import Population

Target = Literal["all", "untrained", "trained"]
Weighting = Literal["people", "mishaps"]

#: Columns of a derived occupant that hold what is asked about: 1 or 0, exposure NaN for who stands in neither group.
OUTCOME, EXPOSURE = "survived", "trained"

#: How many modifiers may be listed: each is one more look at the same people.
MOST_MODIFIERS = 4

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

#: Fields that training itself can move, or that follow survival, with the reason told by the graph of causes.
AFTER_TRAINING: dict[str, str] = {
    field: reason
    for field in (
        *(field for node in graph().nodes.values() for field in node.fields),
        *graph().after_outcome,
    )
    if (reason := reason_forbidden(field)) is not None
}

#: Circumstances of the mishap, in groups of two or a few, by which the effect may differ.
CIRCUMSTANCES = ("capsized", "immersion_type", "cold_water", "cold")

_ASIDE = {
    "name_or_count": "it is a name or a count, no cause",
    "how_recorded": "it tells how the record was made",
    "no_arrow": "the graph of causes has no place for it",
    "says_which_arrows": "it says which way seats or breathing sets were given out, and is used for that",
}


@dataclass(frozen=True)
class Estimand:
    """The question behind one number, printed with it.

    The contrast is always the same: hands-on training that is current at the mishap against none ever.

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
    weighting : {"people", "mishaps"}
        Every person counts the same, or every mishap (each person then weighs one over the people of the mishap).
    """

    population: Population
    passengers_only: bool
    target: Target
    currency_months: float
    weighting: Weighting = "people"

    @property
    def parts(self) -> tuple[str, ...]:
        """Codes that a paper puts into words: population, who, contrast, target, weighting."""
        return (
            f"population.{self.population.lower()}",
            "who.passengers" if self.passengers_only else "who.all_roles",
            "contrast.current_against_never",
            f"target.{self.target}",
            f"weighting.{self.weighting}",
        )

    @property
    def code(self) -> str:
        """The question in one line of codes; equal for equal questions only."""
        return " ".join((*(part.split(".")[1] for part in self.parts), f"{self.currency_months:g}_months"))


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
                f"'{name}' is no field that can be adjusted for{_why_not(name)}.",
                f"Use any of: {', '.join(COVARIATES)}.",
            )


def _why_not(field: str) -> str:
    """Why a field of the records that nothing forbids is still no covariate; empty for what is no field."""
    for reason, fields in graph().aside.items():
        if field in fields:
            return f": {_ASIDE[reason]}"
    code = node_of(field)
    if code is None:
        return ""
    instead = [name for name in graph().nodes[code].fields if name in COVARIATES]
    if instead:
        return f": the same is told by {' or '.join(instead)}"
    return f": {graph().nodes[code].name} is not among the causes that have to be held equal"


def refuse_bad_modifiers(names: tuple[str, ...], covariates: tuple[str, ...]) -> None:
    """Stop before anything runs if the effect cannot be told by a modifier's levels.

    Parameters
    ----------
    names : tuple of str
        Fields by whose levels the effect is told.
    covariates : tuple of str
        What the study adjusts for; those with a few levels are offered first.

    Raises
    ------
    StudyFileError
        ``too_many_modifiers``, ``modifier_twice``, ``forbidden_modifier`` with the reason (it follows from training),
        ``modifier_not_in_levels`` for a number, or ``unknown_modifier`` with what may be used.
    """
    if len(names) > MOST_MODIFIERS:
        raise StudyFileError(
            "too_many_modifiers",
            f"{len(names)} modifiers are listed; at most {MOST_MODIFIERS} may be.",
            "Keep those that were of interest before anyone looked: each is one more chance of a false find.",
        )
    may = [name for name in (*covariates, *CIRCUMSTANCES, *COVARIATES) if _has_levels(name)]
    offer = f"Use any of: {', '.join(dict.fromkeys(may))}."
    for at, name in enumerate(names):
        if name in names[:at]:
            raise StudyFileError("modifier_twice", f"'{name}' is listed twice.", "List it once.")
        if name in may:
            continue
        if name in AFTER_TRAINING:
            raise StudyFileError(
                "forbidden_modifier",
                f"the effect cannot be told by '{name}': {AFTER_TRAINING[name]}.",
                offer,
            )
        if name in COVARIATES:
            raise StudyFileError(
                "modifier_not_in_levels", f"'{name}' is a number, not a field with a few levels.", offer
            )
        raise StudyFileError(
            "unknown_modifier", f"'{name}' is no field by which the effect is told{_why_not(name)}.", offer
        )


def _has_levels(name: str) -> bool:
    """Whether a field that may be a modifier comes in a few levels."""
    if name in CIRCUMSTANCES:
        return True
    numbers = {
        field.name
        for table in ("mishap", "occupant")
        for field in load_codebook().table(table)
        if field.kind in ("integer", "number")
    }
    return name in COVARIATES and name not in numbers


def for_passengers_only(modifier: str) -> bool:
    """Whether levels of a modifier can be compared among passengers only: flight crew's own training moves it."""
    return node_of(modifier) in descendants_of_training(crew=True)


def groups_adjusted(names: tuple[str, ...]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Which groups of causes a study adjusts for, and which of those asked for it leaves out."""
    used = {COVARIATES[name] for name in names}
    return (
        tuple(group for group in ASKED_GROUPS if group in used),
        tuple(group for group in ASKED_GROUPS if group not in used),
    )
