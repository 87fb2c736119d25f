"""Which gates of the records the figures pass: seen, enough, beyond chance, comparable; the others in `doubts`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import pandas as pd

from survstats.challenge.few_mishaps import WithinRoute
from survstats.challenge.verdict import GATES, Gate, thresholds
from survstats.effects.overlap import Overlap
from survstats.groundwork.errors import SurvstatsError
from survstats.groundwork.estimate import Estimate


@dataclass(frozen=True)
class SeenFigures:
    """How much is known of the dead and of the survivors.

    Attributes
    ----------
    documented_dead, documented_survivors : float or None
        Shares with a certificate or a roster entry, in [0, 1]; None where there is nobody.
    survivor_only : {"no", "yes", "said"}
        Whether training was ascertained for survivors only: ``said`` where the records say so although some of the
        dead have an entry.
    worst_case_excludes_zero : bool
        With every undocumented dead person unknown, the interval of the worst case lies on one side of 0.
    """

    documented_dead: float | None
    documented_survivors: float | None
    survivor_only: Literal["no", "yes", "said"]
    worst_case_excludes_zero: bool


@dataclass(frozen=True)
class EnoughFigures:
    """How much there is: g mishaps, people in each cell, degrees of freedom, and the exact within-mishap p."""

    mishaps: int
    dead: int
    survivors: int
    trained: int
    untrained: int
    df: float | None
    within_p_same_direction: float | None


def seen_gate(figures: SeenFigures) -> Gate:
    """Gate 1: is the training of the dead known as well as that of the survivors?"""
    rule = thresholds()["seen"]
    if figures.survivor_only != "no":
        said = figures.survivor_only == "said"
        return Gate("seen", "not_met", "said_survivor_only" if said else "survivor_only")
    dead, survivors = figures.documented_dead, figures.documented_survivors
    if dead is None or survivors is None:
        return Gate("seen", "not_met", "nobody_to_see")
    gap = abs(survivors - dead) - 1e-9  # shares such as 8/10 and 7/10 differ by a hair more than .1
    if dead >= rule["met_documented_dead"] and gap <= rule["met_largest_gap"]:
        return Gate("seen", "met", "documented")
    if dead >= rule["partly_documented_dead"] or figures.worst_case_excludes_zero:
        return Gate("seen", "partly_met", "gap" if dead >= rule["met_documented_dead"] else "documented")
    return Gate("seen", "not_met", "documented")


def enough_gate(figures: EnoughFigures) -> Gate:
    """Gate 2: are there enough mishaps and people?"""
    rule = thresholds()["enough"]
    fewest = min(figures.dead, figures.survivors, figures.trained, figures.untrained)
    if (
        figures.mishaps >= rule["met_mishaps"]
        and fewest >= rule["met_people"]
        and figures.df is not None
        and figures.df >= rule["met_df"]
    ):
        return Gate("enough", "met", "counts")
    if figures.mishaps >= rule["partly_mishaps"] and fewest >= rule["partly_people"]:
        by_counts = figures.mishaps < rule["met_mishaps"] or fewest < rule["met_people"]
        return Gate(
            "enough", "partly_met", "counts" if by_counts else "no_model" if figures.df is None else "df"
        )
    within_p = figures.within_p_same_direction
    if within_p is not None and within_p < rule["partly_within_p"]:
        return Gate("enough", "partly_met", "within_mishap")
    return Gate("enough", "not_met", "counts")


def beyond_chance_gate(
    difference: Estimate | None,
    narrower: Estimate | None,
    without_one: pd.DataFrame | None,
    *,
    route: WithinRoute | None = None,
) -> Gate:
    """Gate 3: is the difference more than chance, whichever mishap is left out?

    Parameters
    ----------
    difference, narrower : Estimate or None
        The difference with its 95 % and its 90 % interval; None where it could not be estimated.
    without_one : DataFrame or None
        Columns ``difference``, ``low``, ``high`` with one mishap left out a row.
    route : WithinRoute, optional
        The comparison of people in the same mishap, for a study of too few mishaps for any model; looked at only where
        there is no difference.
    """
    if difference is None or narrower is None or without_one is None:
        return Gate("beyond_chance", "not_met", "not_estimated") if route is None else _by_route(route)
    sign = 1.0 if difference.value > 0 else -1.0
    limits = without_one["low"] if sign > 0 else without_one["high"]
    if difference.excludes(0.0) and bool((sign * limits > 0).all()):
        return Gate("beyond_chance", "met", "any_one_out")
    if narrower.excludes(0.0) and bool((sign * without_one["difference"] > 0).all()):
        finding = "one_mishap_matters" if difference.excludes(0.0) else "close"
        return Gate("beyond_chance", "partly_met", finding)
    return Gate("beyond_chance", "not_met", "one_mishap_turns" if difference.excludes(0.0) else "covers_zero")


def _by_route(route: WithinRoute) -> Gate:
    rule = thresholds()["beyond_chance"]
    if (
        route.p < rule["within_met_p"]
        and route.p_without_one < rule["within_met_p_without_one"]
        and route.sign_p < rule["within_met_sign_p"]
    ):
        return Gate("beyond_chance", "met", "within_route")
    if route.p < rule["within_partly_p"] and route.sign_p < rule["within_partly_sign_p"]:
        return Gate("beyond_chance", "partly_met", "within_route_close")
    return Gate("beyond_chance", "not_met", "within_route_not_shown")


def comparable_gate(found: Overlap | None) -> Gate:
    """Gate 7: have the trained and the untrained counterparts in each other's group, in every era?"""
    if found is None:
        return Gate("comparable", "not_met", "not_estimated")
    rule = thresholds()["comparable"]
    if found.smallest_inside < rule["partly_inside"]:
        return Gate("comparable", "not_met", "overlap")
    if found.smallest_inside < rule["met_inside"]:
        return Gate("comparable", "partly_met", "overlap")
    if found.empty_eras:
        return Gate("comparable", "partly_met", "empty_era")
    if found.smallest_effective < rule["met_effective"]:
        return Gate("comparable", "partly_met", "effective")
    return Gate("comparable", "met", "overlap")


def all_eight(found: tuple[Gate, ...]) -> tuple[Gate, ...]:
    """The gates as they are.

    Raises
    ------
    SurvstatsError
        ``other_gates`` unless they are the eight of `GATES`, in order.
    """
    names = tuple(gate.name for gate in found)
    if names != GATES:
        raise SurvstatsError("other_gates", f"The word takes the gates {GATES}, not {names}.")
    return found
